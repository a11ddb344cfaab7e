"""How much cutting fits an evening under a limit that the user states, and what helps.

In: a `Neighbour`, a limit in dB, minutes of cutting, measures. Out: an `Evening`.
Method: L = rating + 10 lg(minutes of cutting / minutes of the reference time), silence in between.
Source: ISO 1996-1 (rating level: equivalent level with adjustments, over a reference time).
Leaves out: other noise, extra penalties for evening or night, limits on single peaks, and every law.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from chatter.errors import BadValueError
from chatter.model.noise_effects import Evening, Neighbour
from chatter.noise.measures import Measure

EVENING_H = 4.0  # own choice: a usual evening, also the evening of Lden (19 to 23, Directive 2002/49/EC)
MOST_DISTANCE_M = 200.0  # own choice: no advice to move farther than that
SAID_MEASURES = 4  # own choice
OPEN_NAMES = ("open ", "tilted ")  # of the table of walls: what air gets in by
GUIDANCE = (
    "WHO, Guidelines for Community Noise 1999, Table 4.1: outdoor living area by day and evening "
    "50 dB LAeq over 16 h (moderate annoyance), 55 dB (serious annoyance).",
    "Same: outside a bedroom with the window open 45 dB LAeq over 8 h of night, single events 60 dB LAFmax.",
    "Same: indoors by day and evening 35 dB LAeq over 16 h; in a bedroom at night 30 dB LAeq over 8 h.",
    "WHO, Night Noise Guidelines for Europe 2009: 40 dB Lnight outside, a mean over a year (from memory).",
    "These are guidance, not law, and none of them carries the tone adjustment: local codes decide.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """What an `Evening` holds, where the level is known."""

    limit_db: float
    reference_h: float
    minutes: float
    minutes_low: float
    minutes_per_hour: float
    rated_db: float
    quieter_by_db: float


def rate_evening(
    neighbour: Neighbour,
    *,
    limit_db: float,
    minutes: float | None = None,
    reference_h: float = EVENING_H,
    measures: Sequence[Measure] = (),
    level_known: bool = True,
) -> Evening:
    """Hold an evening of cutting against a limit.

    Source: ISO 1996-1: Leq over the reference time, with the tonal adjustment of the time in which it cuts.

    Parameters
    ----------
    neighbour
        The level at the neighbour while the machine cuts.
    limit_db
        The limit for the rated level, dB, from 0 to 140: the user's own, whatever it stands on.
    minutes
        Minutes of cutting wanted; None: cutting throughout. More than the reference time counts as all of it.
    reference_h
        The time that the limit's mean is taken over, h, above 0 and at most 24.
    measures
        From `try_measures`.
    level_known
        Whether the level can be relied on: where not, no minutes are given, and nothing is said to help.

    Returns
    -------
    Evening
        Its minutes go by the most likely level; `minutes_low` and `minutes_high` by the ends of its range.

    Raises
    ------
    BadValueError
        A number is not finite or out of range.
    """
    if not 0 <= limit_db <= 140:
        raise BadValueError("limit", limit_db, "a level from 0 to 140 dB")
    if not 0 < reference_h <= 24:
        raise BadValueError("reference time", reference_h, "a time above 0 and not above 24 h")
    if minutes is not None and not 0 < minutes <= 24 * 60:
        raise BadValueError("minutes of cutting", minutes, "a time above 0 and not above 1440 minutes")
    whole_min = 60 * reference_h
    asked_min = whole_min if minutes is None else min(minutes, whole_min)
    rated_db = neighbour.rating_db + 10 * math.log10(asked_min / whole_min)
    adjustment_db = neighbour.rating_db - neighbour.LAeq_db
    quieter_db = max(0.0, rated_db - limit_db)
    fit = _Fit(
        limit_db=float(limit_db),
        reference_h=float(reference_h),
        minutes=_fitting_min(neighbour.rating_db, limit_db, whole_min),
        minutes_low=_fitting_min(neighbour.high_db + adjustment_db, limit_db, whole_min),
        minutes_per_hour=_fitting_min(neighbour.rating_db, limit_db, 60.0),
        rated_db=rated_db,
        quieter_by_db=quieter_db,
    )
    high_min = _fitting_min(neighbour.low_db + adjustment_db, limit_db, whole_min)
    return Evening(
        limit_db=fit.limit_db,
        reference_h=fit.reference_h,
        minutes=fit.minutes if level_known else None,
        minutes_low=fit.minutes_low if level_known else None,
        minutes_high=high_min if level_known else None,
        minutes_per_hour=fit.minutes_per_hour if level_known else None,
        asked_minutes=None if minutes is None else float(minutes),
        rated_db=rated_db,
        quieter_by_db=quieter_db if level_known else None,
        helps=_list_helps(fit, neighbour, asked_min, measures) if level_known else (),
        guidance=GUIDANCE,
    )


def _fitting_min(rating_db: float, limit_db: float, whole_min: float) -> float:
    """Give the minutes of cutting whose mean over the whole time meets the limit."""
    return min(whole_min, whole_min * 10 ** ((limit_db - rating_db) / 10))


def _list_helps(
    evening: _Fit, neighbour: Neighbour, asked_min: float, measures: Sequence[Measure]
) -> tuple[str, ...]:
    whole_min = 60 * evening.reference_h
    share_db = 10 * math.log10(asked_min / whole_min)
    helps = [_say_fit(evening, asked_min)]
    if evening.quieter_by_db > 0:
        helps += _say_measures(evening, share_db, measures)
        helps += _say_distance(evening, neighbour)
        helps.append(_say_minutes(evening))
    return tuple(helps)


def _say_fit(evening: _Fit, asked_min: float) -> str:
    evening_is = f"{evening.reference_h:g} h"
    shown = f"{asked_min:.0f}" if asked_min >= 1 else f"{asked_min:.1g}"
    cutting = (
        f"{shown} minute of cutting in {evening_is} rates"
        if shown == "1"
        else (f"{shown} minutes of cutting in {evening_is} rate")
    )
    what = f"{cutting} at {round(evening.rated_db)} dB"
    if evening.quieter_by_db > 0:
        return f"{what}, {_db(evening.quieter_by_db)} above the limit of {evening.limit_db:g} dB."
    sure = evening.minutes_low >= asked_min * (1 - 1e-9)
    doubt = "" if sure else ", but not at the high end of the range"
    return f"{what}, within the limit of {evening.limit_db:g} dB{doubt}."


def _say_measures(evening: _Fit, share_db: float, measures: Sequence[Measure]) -> list[str]:
    """Say what each measure gives, the strongest first."""
    said = []
    for one in sorted(measures, key=lambda one: one.rating_db):
        rated_db = one.rating_db + share_db
        verdict = (
            "which is enough"
            if rated_db <= evening.limit_db
            else f"still {_db(rated_db - evening.limit_db)} too much"
        )
        said.append(f"{one.words}: {_db(one.gain_db)} quieter, {round(rated_db)} dB, {verdict}.")
    if said and min(one.rating_db for one in measures) + share_db > evening.limit_db:
        said[0] = f"No single measure is enough. Nearest: {said[0]}"
    return said[:SAID_MEASURES]


def _say_distance(evening: _Fit, neighbour: Neighbour) -> list[str]:
    """Say how far away would do by distance alone (20 lg of it); indoors where the sound gets out instead."""
    if neighbour.shares:
        name = neighbour.shares[0].name
        alike = [share.percent for share in neighbour.shares if share.name == name]
        all_of_them = "" if len(alike) == 1 else f" (all {len(alike)} together)"
        airing = (
            " Air by an opening that faces away from the neighbour." if name.startswith(OPEN_NAMES) else ""
        )
        return [
            "Moving the machine about in the room helps little: what counts is where the sound gets out. "
            f"{sum(alike):.0f} % of it goes by the {name}{all_of_them}.{airing}"
        ]
    needed_m = neighbour.distance_m * 10 ** (evening.quieter_by_db / 20)
    if needed_m > MOST_DISTANCE_M:
        return []
    return [
        f"By distance alone it would have to be {needed_m:.0f} m away instead of {neighbour.distance_m:g} m."
    ]


def _say_minutes(evening: _Fit) -> str:
    if evening.minutes < 1:
        return "Cutting for less time is no way out: less than a minute fits the limit."
    hourly = math.floor(evening.minutes_per_hour)
    by_hour = f"{hourly}" if hourly else "less than 1"
    fit, safe = math.floor(evening.minutes), math.floor(evening.minutes_low)
    return (
        f"Or cut for {fit} minute{'' if fit == 1 else 's'} only, in all (to be on the safe side "
        f"{safe or 'less than one'}), or {by_hour} in each hour where the limit counts by the hour."
    )


def _db(value_db: float) -> str:
    """Give a difference in dB with the digits that it carries: tenths below 1 dB, so that it is never 0."""
    return f"{max(value_db, 0.1):.1f} dB" if value_db < 1 else f"{value_db:.0f} dB"
