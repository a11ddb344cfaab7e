"""What the answer about a noise says, in sentences that the text and the page share.

In: a `NoiseDocument` or a part of one. Out: plain sentences and figures as they are read.
Leaves out: any judgement, and any layout.
"""

import math

from chatter.model.noise import FULL_SCALE_IN_DOUBT, NoiseDocument, NoiseTone
from chatter.model.noise_effects import Evening, Exposure, Neighbour, NeighbourPart

CAUTIONS = (
    "This is no legal measurement: a phone is no sound level meter. Local codes and licensed practice "
    "decide.",
    "Wear hearing protection at the machine whenever you have to raise your voice there, or are not sure.",
)
SHOWN_TONES = 6
# What may make the answer too kind stands below it.
FIRST_FINDINGS = (FULL_SCALE_IN_DOUBT, "distance-unlikely", "neighbour-far", "idle-counts", "uneven-level")
IN_DOUBT = "the level is in doubt"
TOLD_GAIN_DB = 0.5  # a smaller one rounds to nothing
# Nominal midbands of third octaves, IEC 61260-1:2014, 5.5 and annex E.
NOMINAL_HZ = (
    *(25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000),
    *(2500, 3150, 4000, 5000, 6300, 8000, 10_000, 12_500, 16_000),
)
LEAST_ADJUSTMENT_DB = 0.05  # smaller ones show as 0.0
TOO_SHORT = "The recording is too short to judge tones: record at least ten seconds."
LEVEL_WORDS = {
    "LAeq_db": "mean of it all, as heard (LAeq)",
    "LCeq_db": "mean with its bass (LCeq)",
    "LZeq_db": "mean, unweighted (LZeq)",
    "LAFmax_db": "loudest moment (LAFmax)",
    "LASmax_db": "loudest second (LASmax)",
    "LCpeak_db": "highest peak (LCpeak)",
    "LAF10_db": "exceeded a tenth of the time (LAF10)",
    "LAF50_db": "exceeded half of the time (LAF50)",
    "LAF90_db": "exceeded nearly always (LAF90)",
    "LAE_db": "all of it in one second (LAE)",
}
# What a level of cutting sound outdoors is like to the neighbour. WHO, Guidelines for Community Noise, 1999,
# 4.1 and 4.2: sleep with a window open needs 45 dB outside, few are moderately annoyed below 50 dB outdoors,
# few seriously below 55 dB, and speech at a metre is understood in full up to about 55 dB.
LIKE = (
    (30.0, "hardly heard, even on a quiet night"),
    (45.0, "heard when it is quiet, and soft enough to sleep by"),
    (50.0, "heard in the garden; with an open window it disturbs sleep"),
    (55.0, "annoying to some in the garden, by day"),
    (65.0, "seriously annoying; talk outside needs a raised voice"),
    (float("inf"), "loud: talk outside is hard, and it is heard through closed windows"),
)

COUNTED_FROM_DB = 4.0  # ISO 1996-2:2007, C.2.4: audibility above which a tone costs an adjustment
# What to do about a tone by where it comes from; chatter first, since it alone can go altogether.
CHANGES: dict[str, str] = {
    "chatter": "The tone at {hz} is chatter: change to a stable lobe (chatter cut says which), and it goes.",
    "tooth passing": "The tone at {hz} is the teeth: another speed moves it, another flute count (or a "
    "cutter with uneven pitch) spreads it, less depth makes it weaker.",
    "spindle": "The tone at {hz} is the spindle's turning: run-out or balance. Clean the collet, seat the "
    "tool anew, and check the bearings.",
    "other": "The tone at {hz} belongs neither to teeth nor to spindle: look for a fan, a vacuum, a pump or "
    "a drive.",
}


def tell_number(value: float, *, digits: int = 0) -> str:
    """Give a number with so many digits, and never a zero with a minus.

    >>> tell_number(-0.04, digits=1)
    '0.0'
    """
    return f"{round(value, digits) + 0.0:.{digits}f}"


def tell_between(low: float, high: float, *, to: str = "and") -> str:
    """Give the two ends of a range in whole numbers."""
    return f"{tell_number(low)} {to} {tell_number(high)}"


def tell_spread(part: NeighbourPart, *, minus: str = "-") -> str:
    """Give how far the truth may lie below and above a part; empty where it has no range."""
    down, up = tell_number(part.down_db, digits=1), tell_number(part.up_db, digits=1)
    if down == up == "0.0":
        return ""
    return f"{'0' if down == '0.0' else minus + down} to {'0' if up == '0.0' else '+' + up}"


def tell_at_phone(document: NoiseDocument, *, sure: str) -> str:
    """Give the level at the phone and how sure it is; where idle time holds the mean down, both levels."""
    mean_db, cutting_db = document.levels.LAeq_db or 0.0, document.cutting_db or 0.0
    if document.idle_gain_db < TOLD_GAIN_DB:
        return f"{tell_number(mean_db)} dB(A) at the phone{sure}"
    return (
        f"{tell_number(cutting_db)} dB(A) at the phone while it cuts, {tell_number(mean_db)} with its quiet "
        f"parts{sure}"
    )


def list_messages(document: NoiseDocument, *, first: bool) -> tuple[str, ...]:
    """Give the findings' sentences: those that stand below the answer, or all others."""
    return tuple(
        one["message"] for one in document.recording["findings"] if (one["code"] in FIRST_FINDINGS) == first
    )


def tell_shares(there: Neighbour) -> list[str]:
    """Say how much of the sound gets out where, loudest first; openings of one name in one sentence."""
    said = []
    for name in dict.fromkeys(share.name for share in there.shares):
        alike = [share for share in there.shares if share.name == name]
        percent, area_m2 = sum(one.percent for one in alike), sum(one.area_m2 for one in alike)
        shown = f"{percent:.0f}" if percent >= 0.5 else "Less than 1"
        where = f"the {name} ({area_m2:g} m²)"
        if len(alike) > 1:
            where = f"{len(alike)} × {name} (together {area_m2:g} m²)"
        said.append(f"{shown} % gets out by {where}.")
    return said


def tell_evening(document: NoiseDocument) -> str | None:
    """Say how much cutting fits the evening, or that it can't be told; None where no limit was told."""
    evening = document.evening
    if evening is None:
        return None
    return tell_fit(evening)


def tell_fit(evening: Evening) -> str:
    """Say how many minutes of cutting fit an evening under its limit; never more than fit."""
    limit = f"an evening of {evening.reference_h:g} h under {evening.limit_db:g} dB"
    told = (evening.minutes, evening.minutes_low, evening.minutes_high, evening.minutes_per_hour)
    known = [minutes for minutes in told if minutes is not None]
    if len(known) < len(told):
        return f"How much cutting fits {limit} can't be told: {IN_DOUBT}."
    if known[1] >= 60 * evening.reference_h:
        return f"All of {limit} may be cutting, even at the high end of the level's range."
    fit, low, high, hourly = map(math.floor, known)
    if high < 1:
        return f"Not even a minute of cutting fits {limit}."
    if fit < 1:
        at_best = f"{tell_minutes(high)} if the level lies at the low end of its range"
        return f"Less than a minute of cutting fits {limit}; {at_best}."
    fits = "fits" if fit == 1 else "fit"
    if low < 1:
        between = f"{high} at the low end of the level's range, not even one at the high end"
    else:
        between = f"between {low} and {high} over the level's range"
    each = f"{hourly}" if hourly else "less than 1"
    return f"{tell_minutes(fit)} of cutting {fits} {limit} ({between}); {each} in each hour by itself."


def tell_minutes(minutes: float) -> str:
    """Give minutes in words; below one with the digits that they have."""
    shown = f"{minutes:.0f}" if minutes >= 1 else f"{minutes:.1g}"
    return f"{shown} minute" + ("" if shown == "1" else "s")


def tell_likeness(document: NoiseDocument) -> str:
    """Say what the rated level of cutting is like to the neighbour, outdoors; without a stop."""
    if document.level_in_doubt:
        return f"what that is like can't be told, because {IN_DOUBT}"
    return next(words for limit_db, words in LIKE if (document.rated_db or 0.0) < limit_db)


def tell_doses(ear: Exposure) -> tuple[str, str]:
    """Give the doses by NIOSH and by OSHA as they are read."""
    niosh, osha = (
        "not known" if dose is None else f"{dose:.0f} %" for dose in (ear.niosh_percent, ear.osha_percent)
    )
    return niosh, osha


def tell_rating(document: NoiseDocument) -> str:
    """Say at what level it rates, and whether tones are in that; without a capital and a full stop."""
    rated_db, adjustment_db = document.rated_db or 0.0, document.tonal_adjustment_db
    if adjustment_db is None:
        tones = "the recording is too short to judge tones, so without them "
    else:
        tones = "with its tones " if adjustment_db >= LEAST_ADJUSTMENT_DB else ""
    return f"{tones}it rates as {tell_number(rated_db)} dB"


def tell_calibration(document: NoiseDocument, *, because: bool = True) -> str:
    """Say where the levels come from and how sure they are; with `because` what makes them less sure, too."""
    calibration = document.calibration
    sure = f"±{calibration.uncertainty_db:.0f} dB"
    if calibration.source == "typical phone":
        said = (
            f"No calibration was given, so a typical phone is assumed: every level is {sure}. "
            "Calibrate to be surer (chatter calibrate)."
        )
    elif calibration.source == "saved":
        said = f"Calibration {calibration.name!r}: every level is {sure}."
    else:
        said = f"Full scale given as {calibration.full_scale_db:g} dB: every level is {sure}."
    return " ".join([said, *(calibration.because if because else ())])


def tell_changes(tones: tuple[NoiseTone, ...], adjustment_db: float) -> list[str]:
    """Say what to change about the tones that cost an adjustment, one sentence a source, chatter first."""
    if adjustment_db < 0.5 or not tones:
        return []
    counted = [tone for tone in tones if tone.audibility_db > COUNTED_FROM_DB]
    found = sorted({tone.source for tone in counted if tone.source is not None}, key=list(CHANGES).index)
    if not found:
        return [
            "To learn what makes the tone, tell speed and flutes, and record one cut of under two minutes."
        ]
    return [
        CHANGES[source].format(
            hz=tell_hz(
                max(
                    (tone for tone in counted if tone.source == source), key=lambda tone: tone.audibility_db
                ).frequency_hz
            )
        )
        for source in found
    ]


def tell_length(seconds: float) -> str:
    """Give a length of sound in the unit that it is read in."""
    if seconds < 1:
        return f"{seconds:.2f} s"
    if seconds < 120:
        return f"{seconds:.1f} s"
    return f"{seconds / 60:.0f} minutes" if seconds < 7200 else f"{seconds / 3600:.1f} hours"


def tell_band(midband_hz: float) -> str:
    """Give a third-octave band by its nominal name, as meters and tables do.

    >>> tell_band(630.957), tell_band(1258.93), tell_band(31.6228)
    ('630 Hz', '1,250 Hz', '31.5 Hz')
    """
    nominal = min(NOMINAL_HZ, key=lambda name: abs(math.log(name / midband_hz)))
    return f"{nominal:,g} Hz"


def tell_hz(hz: float) -> str:
    """Give a frequency with the digits that it is read with."""
    return f"{hz:,.0f} Hz" if hz >= 100 else f"{hz:.1f} Hz"
