"""Two tap tests held against each other: what a change did to each mode.

In: the modes before and after. Out: matched modes, their changes and a plain sentence each.
Method: modes are matched nearest first, within a fifth of their frequency; spreads add in squares.
Source: propagation of independent errors (GUM, JCGM 100:2008, 5.1); thresholds are our own.
Leaves out: why a mode moved.
"""

import math

from chatter.model.tap import ModeChange, TapComparison, TapMode

FARTHEST = 0.2  # of ln f between a mode before and after; own choice
SURE = 2.0  # spreads that a change must exceed to be called one
LN_60_DB = 6.91
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
    return _one_sided(None, mode, f"The mode at {mode.frequency_hz:,.0f} Hz was not heard before.")


def _gone(mode: TapMode) -> ModeChange:
    return _one_sided(mode, None, f"The mode at {mode.frequency_hz:,.0f} Hz is not heard any more.")


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
    """Say in one sentence what became of a mode."""
    if shift_sd is not None and abs(shift) <= SURE * shift_sd:
        moved = f"The mode at {after.frequency_hz:,.0f} Hz stayed where it was"
    else:
        way = "up" if shift > 0 else "down"
        moved = (
            f"The mode moved {way} from {before.frequency_hz:,.1f} to {after.frequency_hz:,.1f} Hz "
            f"({shift:+.2f} %)"
        )
    if factor is None:
        return f"{moved}; what the change did to its damping can't be told, because the room rang along."
    times = f"decay time from {_ms(before)} to {_ms(after)} ms"
    if factor_sd is None or abs(factor - 1) <= SURE * factor_sd:
        spread = "" if factor_sd is None else f" ± {factor_sd:.2f}"
        return f"{moved}; its damping is the same within what can be heard ({factor:.2f}{spread} times)."
    word = "more" if factor > 1 else "less"
    return f"{moved}; it is damped {word} than before: {factor:.2f} ± {factor_sd:.2f} times, {times}."


def _ms(mode: TapMode) -> str:
    decay_s = LN_60_DB / (2 * math.pi * mode.frequency_hz * mode.damping_ratio)
    return f"{1000 * decay_s:,.0f}"
