"""Two tap tests held against each other: what a change did to each mode.

In: the modes before and after. Out: matched modes, their changes and a plain sentence each, which
says too whether the change is for the better.
Method: modes are matched nearest first, within a fifth of their frequency; spreads add in squares.
Source: propagation of independent errors (GUM, JCGM 100:2008, 5.1); thresholds are our own.
Leaves out: why a mode moved.
"""

import math

from chatter.model.tap import ModeChange, TapComparison, TapMode

FARTHEST = 0.2  # of ln f between a mode before and after; own choice
SURE = 2.0  # spreads that a change must exceed to be called one
# Own choices: tapped by another hand or on another day the same part may give as much.
LEAST_SHIFT_PERCENT = 0.5  # of the frequency
LEAST_DAMPING_SHARE = 0.05  # of the damping, and of the depth that goes with it
LN_60_DB = 6.91
MOST_DIGITS = 3  # after the point: the fit's own floor of the damping allows no more (pipeline.py)
BETTER = "which is better against chatter"
WORSE = "which is worse against chatter"
LEVEL_WEIGHT = 0.01  # of a decibel, against ln f: of two as near, the one as loud


def compare_taps(
    after: tuple[TapMode, ...], *, before: tuple[TapMode, ...], before_file: str
) -> TapComparison:
    """Match the modes of two tap tests and say what changed.

    Parameters
    ----------
    after, before
        Modes of the two tests, strongest first.
    before_file
        Name of the recording before the change.

    Returns
    -------
    TapComparison
        The strongest mode after the change first; modes that are gone last.
    """
    pairs = sorted(
        (
            abs(math.log(new.frequency_hz / old.frequency_hz))
            + LEVEL_WEIGHT * abs(new.level_db - old.level_db),
            i,
            j,
        )
        for i, new in enumerate(after)
        for j, old in enumerate(before)
        if abs(math.log(new.frequency_hz / old.frequency_hz)) < FARTHEST
    )
    partner: dict[int, int] = {}
    for _, i, j in pairs:
        if i not in partner and j not in partner.values():
            partner[i] = j
    changes = [_change(before[partner[i]], new) if i in partner else _new(new) for i, new in enumerate(after)]
    changes += [_gone(old) for j, old in enumerate(before) if j not in partner.values()]
    matched = [change for change in changes if change.before and change.after]
    says = matched[0].says if matched else "No mode of the one test is found in the other."
    return TapComparison(before_file=before_file, changes=tuple(changes), says=says)


def _new(mode: TapMode) -> ModeChange:
    says = f"The mode at {mode.frequency_hz:,.0f} Hz was not heard before: it can chatter too."
    return _one_sided(None, mode, says)


def _gone(mode: TapMode) -> ModeChange:
    says = (
        f"The mode at {mode.frequency_hz:,.0f} Hz is not heard any more: better, if the tap was as hard and "
        "at the same place."
    )
    return _one_sided(mode, None, says)


def _one_sided(before: TapMode | None, after: TapMode | None, says: str) -> ModeChange:
    return ModeChange(
        before=before,
        after=after,
        frequency_change_percent=None,
        frequency_change_sd_percent=None,
        damping_factor=None,
        damping_factor_sd=None,
        says=says,
    )


def _change(before: TapMode, after: TapMode) -> ModeChange:
    ratio = after.frequency_hz / before.frequency_hz
    shift = 100 * (ratio - 1)
    shift_sd = None
    if before.frequency_sd_hz is not None and after.frequency_sd_hz is not None:
        shift_sd = (
            100
            * ratio
            * math.hypot(
                before.frequency_sd_hz / before.frequency_hz, after.frequency_sd_hz / after.frequency_hz
            )
        )
    factor = factor_sd = None
    if before.damping_bound == "none" and after.damping_bound == "none":
        factor = after.damping_ratio / before.damping_ratio
        if before.damping_ratio_sd is not None and after.damping_ratio_sd is not None:
            factor_sd = factor * math.hypot(
                before.damping_ratio_sd / before.damping_ratio, after.damping_ratio_sd / after.damping_ratio
            )
    return ModeChange(
        before=before,
        after=after,
        frequency_change_percent=shift,
        frequency_change_sd_percent=shift_sd,
        damping_factor=factor,
        damping_factor_sd=factor_sd,
        says=_say(before, after, shift, shift_sd, factor, factor_sd),
    )


def _say(
    before: TapMode,
    after: TapMode,
    shift: float,
    shift_sd: float | None,
    factor: float | None,
    factor_sd: float | None,
) -> str:
    """Say in one sentence what became of a mode, and whether that is for the better.

    Source: the lowest limit of the depth goes by the most negative real part of a mode's response,
    -1 / (4 k z (1 + z)) for stiffness k and damping ratio z (by hand from that response; the rule is J.
    Tlusty's), so more damping is better; a frequency moves the speeds and no more.
    """
    has_moved = _is_change(shift, spread=shift_sd, least=LEAST_SHIFT_PERCENT)
    way = "up" if shift > 0 else "down"
    moved = (
        f"The mode moved {way} from {before.frequency_hz:,.1f} to {after.frequency_hz:,.1f} Hz "
        f"({shift:+.2f} %), and the speeds that it favours with it"
        if has_moved
        else f"The mode at {after.frequency_hz:,.0f} Hz stayed where it was"
    )
    if factor is None:
        return (
            f"{moved}; whether it is damped better or worse can't be told, because its damping "
            f"{_when_bounded(before, after)} is known only as a bound: tap more often, phone nearer."
        )
    heard = _times(factor, factor_sd)
    if factor_sd is None or not _is_change(factor - 1, spread=factor_sd, least=LEAST_DAMPING_SHARE):
        is_sure = factor_sd is not None and max(abs(factor - 1), factor_sd) < LEAST_DAMPING_SHARE
        end = ": nothing has changed that matters." if is_sure and not has_moved else "."
        return (
            f"{moved}; its damping is the same within what tapping again gives ({heard}), so neither better "
            f"nor worse against chatter{end}"
        )
    word, verdict = ("more", BETTER) if factor > 1 else ("less", WORSE)
    times = f"decay time from {_ms(before)} to {_ms(after)} ms"
    return f"{moved}; it is damped {word} than before, {verdict}: {heard}, {times}."


def _when_bounded(before: TapMode, after: TapMode) -> str:
    """Say which of the two tests gives only a bound."""
    if before.damping_bound == after.damping_bound:
        return "before and now"
    return "before" if before.damping_bound == "upper" else "now"


def _is_change(change: float, *, spread: float | None, least: float) -> bool:
    """Say whether a change is as large as one that matters, and larger than chance makes it."""
    return abs(change) >= least and (spread is None or abs(change) > SURE * spread)


def _times(factor: float, factor_sd: float | None) -> str:
    """Give a factor to the digit that its spread begins with, and the spread rounded up: never ± 0.

    >>> _times(1.7333, 0.0043), _times(1.7333, 0.13), _times(1.0, 0.0)
    ('1.733 ± 0.005 times', '1.7 ± 0.2 times', '1.000 ± 0.001 times')
    """
    if factor_sd is None:
        return f"{factor:.2f} times"
    shown = max(factor_sd, 10.0**-MOST_DIGITS)
    digits = min(MOST_DIGITS, max(0, -math.floor(math.log10(shown))))
    up = math.ceil(round(shown * 10**digits, 6)) / 10**digits
    return f"{factor:.{digits}f} ± {up:.{digits}f} times"


def _ms(mode: TapMode) -> str:
    decay_s = LN_60_DB / (2 * math.pi * mode.frequency_hz * mode.damping_ratio)
    return f"{1000 * decay_s:,.0f}"
