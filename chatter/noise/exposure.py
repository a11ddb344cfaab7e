"""What one day of this noise is for the operator's hearing, by EU, NIOSH and OSHA criteria.

In: LAeq at the microphone in dB, distances in m, minutes a day. Out: an `Exposure`.
Source: Directive 2003/10/EC, Article 3; NIOSH 98-126, chapter 1; OSHA 29 CFR 1910.95 and its Appendix A.
Leaves out: other noise of the day, and hearing that is hurt already.
"""

import math
from dataclasses import dataclass

from chatter.errors import BadValueError
from chatter.model.noise_effects import Exposure, HearingProtection
from chatter.noise.room import (
    ABSORPTION_RANGE,
    REVERBERATION_DB,
    UNKNOWN_ROOM_M3,
    absorption_area_m2,
    nearer_db,
    origin_range_m,
)

DAY_MIN = 480.0  # 8 h: all three rules
EU_LOWER_DB, EU_UPPER_DB, EU_LIMIT_DB = 80.0, 85.0, 87.0  # Directive 2003/10/EC, Article 3: LEX,8h
EU_PEAKS_DB = (135.0, 137.0, 140.0)  # same: LCpeak of lower and upper action value and limit
NIOSH_DB, NIOSH_EXCHANGE_DB = 85.0, 3.0  # NIOSH 98-126, 1.1: T = 480 / 2^((L - 85)/3) min
NIOSH_FROM_DB = 80.0  # NIOSH 98-126, 1.1.3: lower sound isn't counted
NIOSH_CEILING_DB = 140.0  # NIOSH 98-126, ceiling limit, whatever the dose (from memory)
OSHA_DB, OSHA_EXCHANGE_DB = 90.0, 5.0  # 29 CFR 1910.95, Appendix A: T = 8 / 2^((L - 90)/5) h
OSHA_CONSERVATION_FROM_DB = (
    80.0  # 29 CFR 1910.95(d)(2)(i): the dose of the action level counts from here (from memory)
)
OSHA_LIMIT_FROM_DB = 90.0
OSHA_CEILING_DB = (
    115.0  # 29 CFR 1910.95, Table G-16: its last row, a quarter of an hour or less (from memory)
)
OSHA_ACTION_PERCENT = 50.0  # 29 CFR 1910.95(c)(1)
NEAR_M = 0.3  # own choice: nearer than about the size of the source no law of distance holds
LEAST_M, MOST_M = 0.01, 100.0
MOST_LEVEL_DB = 500.0  # own choice: no full scale that may be told makes more of any recording, or less


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """What happens to the level from the phone to the ear."""

    step_db: float
    down_db: float = 0.0  # the truth may lie this much below
    up_db: float = 0.0  # or this much above
    said: str


def niosh_percent(level_db: float, *, minutes: float) -> float:
    """Give the daily dose by NIOSH: 85 dBA for 8 h, 3 dB exchange, from 80 dBA.

    Source: NIOSH 98-126, 1.1: D = 100 C/T.

    >>> niosh_percent(88, minutes=240)
    100.0
    """
    return _dose_percent(level_db, minutes, NIOSH_DB, NIOSH_EXCHANGE_DB, NIOSH_FROM_DB)


def osha_percent(level_db: float, *, minutes: float, from_db: float = OSHA_CONSERVATION_FROM_DB) -> float:
    """Give the daily dose by OSHA: 90 dBA for 8 h, 5 dB exchange.

    Source: 29 CFR 1910.95, Appendix A. `from_db`: 80 dBA for hearing conservation, 90 for the limit.

    >>> osha_percent(95, minutes=240)
    100.0
    """
    return _dose_percent(level_db, minutes, OSHA_DB, OSHA_EXCHANGE_DB, from_db)


def daily_exposure(
    laeq_db: float,
    *,
    mic_distance_m: float,
    ear_distance_m: float,
    minutes: float,
    uncertainty_db: float = 0.0,
    lcpeak_db: float | None = None,
    lasmax_db: float | None = None,
    indoors: bool = False,
    room_m3: float | None = None,
    level_known: bool = True,
) -> Exposure:
    """Give the operator's daily exposure, and whether hearing protection is due.

    The level goes from microphone to ear by 20 lg of the distances, as in a free field; with a room's volume,
    by direct and reverberant sound. Neither holds nearer than about 0.3 m.

    Parameters
    ----------
    laeq_db
        LAeq at the microphone while cutting, dB.
    mic_distance_m, ear_distance_m
        From the cut, m.
    minutes
        Of cutting in a day, above 0 and at most 1440.
    uncertainty_db
        Of the level at the microphone, dB.
    lcpeak_db
        LCpeak at the microphone, dB; None where it isn't known: then protection is never "not due".
    lasmax_db
        LASmax at the microphone, dB, for the ceiling on steady sound; None: LAeq stands in.
    indoors, room_m3
        The room and its volume, m³; indoors without a volume no fall is reckoned where the ear is farther
        away than the microphone.
    level_known
        Whether the level can be relied on: where not, there are no doses, and nothing is told as safe.

    Returns
    -------
    Exposure
        Levels, doses and sentences; protection goes by the high end of the range. That adds, in squares, what
        the way from phone to ear leaves open; it adds nothing where both are equally far from the cut.

    Raises
    ------
    BadValueError
        A number is not finite or out of range.
    """
    _check(laeq_db, mic_distance_m, ear_distance_m, minutes, uncertainty_db)
    way = _way_to_ear(mic_distance_m, ear_distance_m, indoors=indoors, room_m3=room_m3)
    step_db = way.step_db
    down_db, up_db = math.hypot(uncertainty_db, way.down_db), math.hypot(uncertainty_db, way.up_db)
    ear_db = laeq_db + step_db
    share_db = 10 * math.log10(minutes / DAY_MIN)
    lex_db = ear_db + share_db
    high_db = lex_db + up_db
    peak_db = None if lcpeak_db is None else lcpeak_db + step_db
    to_wear_min = DAY_MIN * 10 ** ((EU_UPPER_DB - ear_db) / 10)
    high_peak_db = None if peak_db is None else peak_db + up_db
    says = _say_protection((lex_db, high_db), (peak_db, high_peak_db), level_known=level_known)
    niosh = osha = osha_pel = None
    if level_known:
        niosh, osha = niosh_percent(ear_db, minutes=minutes), osha_percent(ear_db, minutes=minutes)
        osha_pel = osha_percent(ear_db, minutes=minutes, from_db=OSHA_LIMIT_FROM_DB)
        says += _say_doses(lex_db, niosh=niosh, osha=osha)
    loudest_db = ear_db if lasmax_db is None else lasmax_db + step_db
    loud = (loudest_db, loudest_db + up_db) if level_known else (None, None)
    says.append(_say_ceilings(loud, (peak_db, high_peak_db)))
    says.append(way.said)
    return Exposure(
        ear_distance_m=float(ear_distance_m),
        LEX8h_db=lex_db,
        niosh_percent=niosh,
        osha_percent=osha,
        osha_pel_percent=osha_pel,
        minutes=float(minutes),
        ear_db=ear_db,
        low_db=lex_db - down_db,
        high_db=high_db,
        minutes_to_wear=to_wear_min if level_known and to_wear_min <= 1440 else None,
        protection=_careful(_protection(high_db, high_peak_db), peak_db if level_known else None),
        peaks_known=peak_db is not None,
        says=tuple(says),
    )


def _dose_percent(
    level_db: float, minutes: float, base_db: float, exchange_db: float, from_db: float
) -> float:
    if level_db < from_db:
        return 0.0
    return 100 * minutes / DAY_MIN * 2 ** ((level_db - base_db) / exchange_db)


def _protection(lex_db: float, peak_db: float | None) -> HearingProtection:
    """Give what an action value asks for (Directive 2003/10/EC, Article 6)."""
    lower_db, upper_db, _ = EU_PEAKS_DB
    if lex_db >= EU_UPPER_DB or (peak_db is not None and peak_db >= upper_db):
        return "must be worn"
    if lex_db >= EU_LOWER_DB or (peak_db is not None and peak_db >= lower_db):
        return "must be at hand"
    return "not due"


def _careful(due: HearingProtection, peak_db: float | None) -> HearingProtection:
    """Keep protection at hand where only unknown peaks could ask for it (own choice, on the careful side)."""
    return "must be at hand" if due == "not due" and peak_db is None else due


def _say_protection(
    lex_range_db: tuple[float, float],
    peak_range_db: tuple[float | None, float | None],
    *,
    level_known: bool,
) -> list[str]:
    """Say what is due by level and peaks, and what can't be told."""
    high_db, (peak_db, high_peak_db) = lex_range_db[1], peak_range_db
    if not level_known and _protection(high_db, high_peak_db) == "not due":
        return [
            "Whether hearing protection is due can't be told: the level is in doubt. Keep it at hand, and "
            "wear it wherever you have to raise your voice."
        ]
    if peak_db is not None:
        return [_say_due(lex_range_db, peak_range_db)]
    if _protection(high_db, high_peak_db) == "not due":
        return [
            "Whether hearing protection is due can't be told: the level alone doesn't ask for it, but the "
            "peaks at the ear are not known. Keep it at hand, and wear it wherever it bangs or cracks."
        ]
    return [
        _say_due(lex_range_db, peak_range_db),
        "The peaks at the ear are not known: wear protection wherever it bangs or cracks.",
    ]


def _say_due(lex_range_db: tuple[float, float], peak_range_db: tuple[float | None, float | None]) -> str:
    """Say what is due by what is known; both ranges go from the likeliest to the high end."""
    (lex_db, high_db), (peak_db, high_peak_db) = lex_range_db, peak_range_db
    likely, cautious = _protection(lex_db, peak_db), _protection(high_db, high_peak_db)
    if cautious == "not due":
        return "Hearing protection is not due by this day's exposure; wear it where the noise bothers you."
    order, needed_db, needed_peak_db = {
        "must be worn": ("Wear hearing protection", EU_UPPER_DB, EU_PEAKS_DB[1]),
        "must be at hand": ("Keep hearing protection at hand", EU_LOWER_DB, EU_PEAKS_DB[0]),
    }[cautious]
    if high_db < needed_db:
        at_most = "" if cautious == likely else " at the high end of the range"
        return f"{order}: the peaks reach {needed_peak_db:.0f} dB (C) at the ear{at_most}."
    reach = f"{order}: a day like this reaches {needed_db:.0f} dB LEX,8h"
    if cautious == likely:
        return f"{reach}."
    return f"{reach} at the high end of the range ({round(high_db)} dB; most likely {round(lex_db)} dB)."


def _say_doses(lex_db: float, *, niosh: float, osha: float) -> list[str]:
    """Say which daily limits are reached."""
    says = []
    if lex_db > EU_LIMIT_DB:
        says.append(
            f"EU: at most 87 dB LEX,8h may reach the ear, protection worn; without it {round(lex_db)} dB do."
        )
    if niosh >= 100:
        says.append(f"NIOSH: {niosh:.0f} % of the dose that it recommends as the most for a day.")
    if osha >= OSHA_ACTION_PERCENT:
        says.append(
            f"OSHA: {osha:.0f} % of its dose; from 50 % a workplace needs hearing tests and protection."
        )
    return says


def _say_ceilings(
    loud_range_db: tuple[float | None, float | None], peak_range_db: tuple[float | None, float | None]
) -> str:
    """Say whether the ceilings are kept; both ranges go from the likeliest to the high end."""
    return (
        f"Ceilings, whatever the dose: {OSHA_CEILING_DB:.0f} dB(A) by OSHA (29 CFR 1910.95, Table G-16), "
        f"{_judge(loud_range_db, OSHA_CEILING_DB)}; peaks of {NIOSH_CEILING_DB:.0f} dB by NIOSH (98-126), "
        f"{_judge(peak_range_db, NIOSH_CEILING_DB)}."
    )


def _judge(range_db: tuple[float | None, float | None], ceiling_db: float) -> str:
    likely_db, high_db = range_db
    if likely_db is None or high_db is None:
        return "which can't be told here"
    if likely_db > ceiling_db:
        return f"passed ({round(likely_db)} dB)"
    return f"passed at the high end of the range ({round(high_db)} dB)" if high_db > ceiling_db else "kept"


def _way_to_ear(mic_m: float, ear_m: float, *, indoors: bool, room_m3: float | None) -> _Way:
    """Give what the level does from phone to ear, with what distances and room leave open, in squares."""
    room_m2 = absorption_area_m2(room_m3) if indoors and room_m3 is not None else None  # checks the volume
    if mic_m == ear_m:
        said = "The phone lay as far from the cut as your ear: the level there is taken as it is."
        return _Way(step_db=0.0, said=said)
    step_db = nearer_db(mic_m, to_m=ear_m, absorption_m2=room_m2)
    unknown_room = indoors and room_m3 is None and step_db < 0
    (mic_near_m, mic_far_m), (ear_near_m, ear_far_m) = origin_range_m(mic_m), origin_range_m(ear_m)
    down = [
        step_db - nearer_db(mic_near_m, to_m=ear_m, absorption_m2=room_m2),
        step_db - nearer_db(mic_m, to_m=ear_far_m, absorption_m2=room_m2),
    ]
    up = [
        nearer_db(mic_far_m, to_m=ear_m, absorption_m2=room_m2) - step_db,
        nearer_db(mic_m, to_m=ear_near_m, absorption_m2=room_m2) - step_db,
    ]
    if unknown_room:
        step_db = 0.0
    if indoors:
        rooms_m3 = UNKNOWN_ROOM_M3 if room_m3 is None else (room_m3, room_m3)
        steps_db = [
            nearer_db(mic_m, to_m=ear_m, absorption_m2=absorption_area_m2(volume_m3, absorption=share))
            for volume_m3, share in zip(rooms_m3, ABSORPTION_RANGE, strict=True)
        ]
        down += [max(0.0, step_db - min(steps_db)), REVERBERATION_DB]
        up += [max(0.0, max(steps_db) - step_db), REVERBERATION_DB]
    return _Way(
        step_db=step_db,
        down_db=math.hypot(*down),
        up_db=math.hypot(*up),
        said=_say_way(ear_m, mic_m, in_a_room=room_m2 is not None, unknown_room=unknown_room),
    )


def _say_way(ear_m: float, mic_m: float, *, in_a_room: bool, unknown_room: bool) -> str:
    if unknown_room:
        said = (
            "The room throws sound back and its volume is not known: the level at the ear is taken to be as "
            "high as at the phone"
        )
    elif in_a_room:
        said = "From phone to ear by direct and reverberant sound of a room of that volume"
    else:
        said = "From phone to ear as in the open (6 dB for each doubling); in a room it falls less"
    if min(ear_m, mic_m) < NEAR_M:
        return f"{said}; nearer than {NEAR_M:g} m that is only a guess: record with the phone beside the ear."
    return f"{said}."


def _check(laeq_db: float, mic_m: float, ear_m: float, minutes: float, uncertainty_db: float) -> None:
    if not abs(laeq_db) <= MOST_LEVEL_DB:
        needed = f"one from {-MOST_LEVEL_DB:g} to {MOST_LEVEL_DB:g} dB"
        raise BadValueError("level at the microphone", laeq_db, needed)
    for name, distance_m in (("distance of the microphone", mic_m), ("distance of the ear", ear_m)):
        if not LEAST_M <= distance_m <= MOST_M:
            raise BadValueError(name, distance_m, f"a distance from {LEAST_M:g} to {MOST_M:g} m")
    if not 0 < minutes <= 1440:
        raise BadValueError("minutes of cutting", minutes, "a time above 0 and not above 1440 minutes a day")
    if not 0 <= uncertainty_db < 60:
        raise BadValueError("uncertainty", uncertainty_db, "one from 0 to below 60 dB")
