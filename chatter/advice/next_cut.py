"""The next cut that is most worth making with a setup.

In: the cuts made, what is known of the setup, tapped modes. Out: a speed and a depth to cut and record, or
that nothing is left to gain; with the reason in one sentence.
Method: machines that would have done what was heard (chatter/advice/machines.py) give the chance that each
speed and depth is stable; the setting with the largest expected gain in removal rate over the best stable one
so far is taken, with a small worth for what a doubtful cut teaches. One step ahead only.
Leaves out: where the history is kept; feeds other than the one that keeps the chip load.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from chatter.advice.machines import ChatterLine, HeardCut, Machines, draw_machines
from chatter.advice.shapes import KnownMode
from chatter.advice.speeds import score_depths, smooth_over_speeds, speed_grid_rpm
from chatter.advice.words import tell_machines
from chatter.errors import InputError
from chatter.milling.limits import (
    SpeedRange,
    feed_at_mm_min,
    feed_to_suggest_mm_min,
    find_speed_range,
    power_needed_w,
    takes_thick_chips,
)
from chatter.model.cut import CutSetup, Verdict
from chatter.model.notebook import SAME_SPEED

Floats = NDArray[np.float64]

BOLDEST_STEP = 1.5  # own choice: over the deepest stable cut so far
MOST_CUTS = 5  # own choice: so many cuts a practitioner gives a setup
LEAST_GAIN = 0.05  # own choice: less than this share of the best isn't worth a cut
LEARNING = 0.05  # own choice: worth of the most doubtful cut, as a share of the best
FIRST_CHANCE, LATER_CHANCE = 0.75, 0.9  # asked of a cut while none was stable yet; own choice
SPEEDS, DEPTHS, SHALLOWEST = 181, 16, 0.12  # of the grid; the last a share of its deepest
LEAST_WIDTH = 1.001  # of the grid of speeds; own choice
TRIED_AGAIN = 0.9  # of a depth that chattered: at much the same speed nothing deeper is tried; own choice
DOUBTFUL = 0.2  # a stable verdict with more chance of chatter counts only where there is no surer; own choice
LIGHTER_SHARE = 0.45  # of the depth of a cut that may double its period; own choice
STEP_DOWN = 0.6  # of the depth where a chattering cut tells of no machine; own choice


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeCut:
    """One cut of the setup that carries a verdict."""

    rpm: float  # true
    set_rpm: float
    depth_mm: float
    verdict: Verdict
    chatter_probability: float
    lines: tuple[ChatterLine, ...] = ()  # strongest first; empty where no chatter was heard
    feed_mm_min: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BestSoFar:
    """The setting with the highest removal rate that was heard stable."""

    set_rpm: float
    depth_mm: float
    feed_mm_min: float | None
    removal_mm3_min: float | None  # None where feed or width isn't known


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCut:
    """What to cut next, or the setting to keep."""

    action: Literal["cut", "done"]
    rpm: float  # true
    set_rpm: float
    depth_mm: float
    feed_mm_min: float | None
    stable_probability: float | None  # None where nothing heard tells of the machine
    best: BestSoFar | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChanceGrid:
    """How likely a cut is stable over speed and depth."""

    speeds_rpm: Floats  # (n,), true, rising
    depths_mm: Floats  # (m,), rising
    stable_probability: Floats  # (m, n)


def find_best(cuts: tuple[MadeCut, ...], *, setup: CutSetup) -> BestSoFar | None:
    """Give the stable cut inside the limits that removed most, unless it chattered when it was made again."""
    stable = [
        number for number, cut in enumerate(cuts) if cut.verdict == "stable" and _is_inside(cut, setup=setup)
    ]
    doubtful = {number for number in stable if cuts[number].chatter_probability > DOUBTFUL}
    stable.sort(key=lambda number: (number in doubtful, -cuts[number].set_rpm * cuts[number].depth_mm))
    held = (cuts[number] for number in stable if not _chattered_later(cuts, number))
    best = next(held, None)
    if best is None:
        return None
    feed = best.feed_mm_min or feed_to_suggest_mm_min(setup, set_rpm=best.set_rpm)
    removal = None
    if feed is not None and setup.width_mm is not None:
        removal = feed * best.depth_mm * setup.width_mm
    return BestSoFar(set_rpm=best.set_rpm, depth_mm=best.depth_mm, feed_mm_min=feed, removal_mm3_min=removal)


def _chattered_later(cuts: tuple[MadeCut, ...], number: int) -> bool:
    """Say whether a setting that was stable chattered when it was cut again, or a shallower one did."""
    cut = cuts[number]
    return any(
        later.verdict == "chatter"
        and abs(later.rpm / cut.rpm - 1) < SAME_SPEED
        and later.depth_mm <= cut.depth_mm
        for later in cuts[number + 1 :]
    )


def draw_history(
    cuts: tuple[MadeCut, ...], *, setup: CutSetup, known: tuple[KnownMode, ...] = ()
) -> Machines | None:
    """Draw machines that explain a history; their depths are shares of the last cut's."""
    last_mm = cuts[-1].depth_mm
    heard = tuple(
        HeardCut(
            rpm=cut.rpm,
            depth_share=cut.depth_mm / last_mm,
            chatter_probability=cut.chatter_probability,
            lines=cut.lines,
        )
        for cut in reversed(cuts)
    )
    return draw_machines(heard, setup=setup, known=known)


def grid_chances(
    machines: Machines, *, last_depth_mm: float, speeds_rpm: Floats, depths_mm: Floats, flutes: int
) -> ChanceGrid:
    """Give the chance of a stable cut at each speed and depth.

    Parameters
    ----------
    machines
        From `draw_history`.
    last_depth_mm
        Depth of the last cut of that history.
    speeds_rpm, depths_mm
        Shapes (n,) from `speed_grid_rpm`, and (m,), rising.
    flutes
        Cutting edges.
    """
    rows = score_depths(
        machines, depth_shares=depths_mm / last_depth_mm, speeds_rpm=speeds_rpm, flutes=flutes
    )
    smooth = np.array([smooth_over_speeds(row) for row in rows])
    return ChanceGrid(
        speeds_rpm=speeds_rpm, depths_mm=depths_mm, stable_probability=np.clip(smooth, 0.0, 1.0)
    )


def choose_next(
    cuts: tuple[MadeCut, ...],
    *,
    setup: CutSetup,
    known: tuple[KnownMode, ...] = (),
    boldest_step: float = BOLDEST_STEP,
    weighed: tuple[MadeCut, ...] | None = None,
) -> NextCut:
    """Choose the next cut, or say that none is worth making.

    Parameters
    ----------
    cuts
        At least one, oldest first.
    setup
        What is known: its `rpm` and `feed_mm_min` are the last cut's as dialled; limits of speed, depth and
        power are never passed.
    known
        Tapped modes and humps.
    boldest_step
        Most that the depth may grow over the deepest stable cut so far, above 1. Before any cut was stable,
        nothing deeper than the shallowest one that chattered is tried.
    weighed
        The cuts that tell of the machine, where a long history holds more than are worth weighing; all of
        them when not given.

    Raises
    ------
    InputError
        The limits leave no speed to try.
    """
    best = find_best(cuts, setup=setup)
    if len(cuts) >= MOST_CUTS and best is not None:
        return _done(best, cuts, why=f"{len(cuts)} cuts are made: use the best that was heard stable.")
    limits = range_to_try(cuts, setup=setup)
    if limits.is_empty:
        raise InputError(
            f"the limits of spindle and tool leave no speed to try (lowest {limits.low_rpm:,g} rpm, highest "
            f"{limits.high_rpm:,g}): copy the setup with the right ones, and record a cut inside them"
        )
    deepest_mm = _deepest_mm(cuts, setup=setup, boldest_step=boldest_step)
    told = cuts if weighed is None else weighed
    machines = draw_history(told, setup=setup, known=known) if told else None
    if machines is None:
        return _step_blindly(cuts, setup=setup, limits=limits, best=best, deepest_mm=deepest_mm)
    slip = true_per_set(cuts)
    # A grid has a width, also where the spindle has one speed only; what is dialled stays inside the limits.
    low, high = limits.low_rpm, max(limits.high_rpm, limits.low_rpm * LEAST_WIDTH)
    grid = grid_chances(
        machines,
        last_depth_mm=told[-1].depth_mm,
        speeds_rpm=speed_grid_rpm(low * slip, high_rpm=high * slip, points=SPEEDS),
        depths_mm=deepest_mm * np.geomspace(SHALLOWEST, 1.0, DEPTHS),
        flutes=setup.flutes,
    )
    removal = grid.depths_mm[:, None] * grid.speeds_rpm[None, :] / slip  # at the same chip load and width
    able = _has_power(grid, slip=slip, setup=setup) & ~_was_spoilt(grid, cuts) & _one_step(grid, cuts)
    chance = np.where(able, grid.stable_probability, 0.0)
    if best is None:
        tried = sum(cut.verdict != "stable" for cut in cuts)
        at = _likely(chance, removal, asked=FIRST_CHANCE if tried <= 1 else LATER_CHANCE)
        why = f"No cut was stable yet; this one should be, in {tell_machines(round(float(chance[at]), 3))}."
    else:
        had = best.set_rpm * best.depth_mm
        more = np.maximum(removal / had - 1, 0.0)
        gain = chance * more
        if gain.max() < LEAST_GAIN:
            return _done(
                best, cuts, why=f"No further cut promises {100 * LEAST_GAIN:.0f} % more than the best so far."
            )
        doubt = np.where(more > 0, 4 * chance * (1 - chance), 0.0)
        at = _place(gain + LEARNING * doubt)
        same = ", at the same chip load," if takes_thick_chips(setup) else ""
        why = (
            f"It would{same} remove {100 * more[at]:.0f} % more than the best stable cut so far, and is "
            f"stable in {tell_machines(round(float(chance[at]), 3))}."
        )
    set_rpm = _dialled(float(grid.speeds_rpm[at[1]]) / slip, low=limits.low_rpm, high=limits.high_rpm)
    return NextCut(
        action="cut",
        rpm=set_rpm * slip,
        set_rpm=set_rpm,
        depth_mm=round_down(float(grid.depths_mm[at[0]])),
        feed_mm_min=feed_to_suggest_mm_min(setup, set_rpm=set_rpm),
        stable_probability=round(float(chance[at]), 3),
        best=best,
        why=why,
    )


def choose_lighter(
    cuts: tuple[MadeCut, ...], *, setup: CutSetup, rpm: float, set_rpm: float, depth_mm: float
) -> NextCut:
    """Choose the cut that tells period doubling from run-out: the same speed, less than half the depth.

    Parameters
    ----------
    cuts, setup
        As for `choose_next`; there may be no cut yet.
    rpm, set_rpm, depth_mm
        Of the cut that could not be told, at a speed that `allows_speed`.
    """
    lighter_mm = LIGHTER_SHARE * depth_mm
    if setup.most_depth_mm is not None:
        lighter_mm = min(lighter_mm, setup.most_depth_mm)
    return NextCut(
        action="cut",
        rpm=rpm,
        set_rpm=set_rpm,
        depth_mm=round_down(lighter_mm),
        feed_mm_min=feed_to_suggest_mm_min(setup, set_rpm=set_rpm),
        stable_probability=None,
        best=find_best(cuts, setup=setup),
        why="Half the tooth-passing frequency is loud in the last cut, from run-out (the tool turns a little "
        "off centre) or from a kind of chatter. This cut at less than half the depth tells which: run-out "
        "stays as loud beside the other sounds of the cut, the chatter gets far softer.",
    )


def round_down(depth_mm: float) -> float:
    """Give a depth that can be dialled, not above the one given: hundredths of a millimetre, or finer."""
    step = 0.01 if depth_mm >= 0.1 else 0.001
    return max(round(math.floor(depth_mm / step + 1e-6) * step, 3), 0.001)


def _place(worth: Floats) -> tuple[int, int]:
    depth, speed = np.unravel_index(int(np.argmax(worth)), worth.shape)
    return int(depth), int(speed)


def _likely(chance: Floats, removal: Floats, *, asked: float) -> tuple[int, int]:
    """Give the place that promises most among those likely enough, or the likeliest where none is."""
    enough = chance >= min(asked, float(chance.max()) - 0.02)
    return _place(np.where(enough, chance * removal, -1.0))


def _deepest_mm(cuts: tuple[MadeCut, ...], *, setup: CutSetup, boldest_step: float) -> float:
    """Give the deepest that may be tried."""
    stable = [cut.depth_mm for cut in cuts if cut.verdict == "stable"]
    deepest = boldest_step * max(stable) if stable else min(cut.depth_mm for cut in cuts)
    return deepest if setup.most_depth_mm is None else min(deepest, setup.most_depth_mm)


def range_to_try(cuts: tuple[MadeCut, ...], *, setup: CutSetup) -> SpeedRange:
    """Give the speeds that may be dialled.

    Without a known fastest one none is above what was dialled; without a known slowest one those are in it
    that were dialled.
    """
    dialled = [cut.set_rpm for cut in cuts]
    found = find_speed_range(replace(setup, rpm=max(dialled) if setup.max_rpm is None else setup.rpm))
    if setup.min_rpm is None:
        found = replace(found, low_rpm=min(found.low_rpm, *dialled))
    return found


def allows_speed(setup: CutSetup, *, set_rpm: float) -> bool:
    """Say whether a dialled speed keeps the limits that were told."""
    fastest = [rpm for rpm in (setup.max_rpm, setup.tool_max_rpm) if rpm is not None]
    return all(set_rpm <= rpm for rpm in fastest) and (setup.min_rpm is None or set_rpm >= setup.min_rpm)


def _is_inside(cut: MadeCut, *, setup: CutSetup) -> bool:
    """Say whether a cut that was made keeps the limits that were told."""
    return allows_speed(setup, set_rpm=cut.set_rpm) and (
        setup.most_depth_mm is None or cut.depth_mm <= setup.most_depth_mm
    )


def true_per_set(cuts: tuple[MadeCut, ...]) -> float:
    """Give the true speed over the dialled one, the middle of the cuts."""
    return float(np.median([cut.rpm / cut.set_rpm for cut in cuts]))


def _dialled(set_rpm: float, *, low: float, high: float) -> float:
    """Give a speed in tens of rpm, inside the limits."""
    return min(max(round(set_rpm, -1), low), high)


def _has_power(grid: ChanceGrid, *, slip: float, setup: CutSetup) -> NDArray[np.bool_]:
    """Say where the spindle can drive the cut, as far as that is known. Shape (depths, speeds)."""
    able = np.ones(grid.stable_probability.shape, dtype=np.bool_)
    if setup.spindle_power_w is None:
        return able
    for column, rpm in enumerate((grid.speeds_rpm / slip).tolist()):
        feed = feed_at_mm_min(setup, set_rpm=rpm)
        needed_w = power_needed_w(setup, set_rpm=rpm, feed_mm_min=feed, depth_mm=1.0)
        if needed_w is None:
            return able
        able[:, column] = needed_w * grid.depths_mm <= setup.spindle_power_w  # power goes with depth
    return able


def _was_spoilt(grid: ChanceGrid, cuts: tuple[MadeCut, ...]) -> NDArray[np.bool_]:
    """Say where a cut much like one that chattered would only chatter again. Shape (depths, speeds)."""
    spoilt = np.zeros(grid.stable_probability.shape, dtype=np.bool_)
    for cut in cuts:
        if cut.verdict == "chatter":
            near = np.abs(grid.speeds_rpm / cut.rpm - 1) < SAME_SPEED
            spoilt |= (grid.depths_mm[:, None] >= TRIED_AGAIN * cut.depth_mm) & near[None, :]
    return spoilt


def _one_step(grid: ChanceGrid, cuts: tuple[MadeCut, ...]) -> NDArray[np.bool_]:
    """Say where not both speed and depth are new, while no cut has chattered. Shape (depths, speeds).

    What was heard tells little of the machine then: another speed is tried at a depth that was stable.
    """
    if any(cut.verdict != "stable" for cut in cuts):
        return np.ones(grid.stable_probability.shape, dtype=np.bool_)
    cut_rpm = np.array([cut.rpm for cut in cuts])
    away = np.min(np.abs(grid.speeds_rpm[None, :] / cut_rpm[:, None] - 1), axis=0)
    deepest_mm = max(cut.depth_mm for cut in cuts)
    return np.asarray((grid.depths_mm[:, None] <= deepest_mm) | (away[None, :] < SAME_SPEED))


def _done(best: BestSoFar, cuts: tuple[MadeCut, ...], *, why: str) -> NextCut:
    """Give the setting to keep, one that was heard stable."""
    held = max(
        (cut for cut in cuts if cut.set_rpm == best.set_rpm and cut.depth_mm == best.depth_mm),
        key=lambda cut: -cut.chatter_probability,
    )
    return NextCut(
        action="done",
        rpm=best.set_rpm * true_per_set(cuts),
        set_rpm=best.set_rpm,
        depth_mm=best.depth_mm,
        feed_mm_min=best.feed_mm_min,
        stable_probability=round(1 - held.chatter_probability, 3),
        best=best,
        why=why,
    )


def _step_blindly(
    cuts: tuple[MadeCut, ...],
    *,
    setup: CutSetup,
    limits: SpeedRange,
    best: BestSoFar | None,
    deepest_mm: float,
) -> NextCut:
    """Go deeper where nothing chattered, and shallower where chatter tells of no machine."""
    last = cuts[-1]
    if best is None:
        depth_mm = min(deepest_mm, STEP_DOWN * min(cut.depth_mm for cut in cuts))
        set_rpm = last.set_rpm
        why = "The chatter heard tells of no machine that would do so: take less depth at the same speed."
    else:
        spoilt = [cut.depth_mm for cut in cuts if cut.verdict != "stable"]
        depth_mm = deepest_mm if not spoilt else min(deepest_mm, math.sqrt(best.depth_mm * min(spoilt)))
        set_rpm = best.set_rpm
        why = "No cut has chattered yet, so nothing tells where deeper ones would: go deeper in steps."
        if spoilt:
            why = "The chatter heard tells of no machine that would do so: go between it and the stable cut."
        elif depth_mm < best.depth_mm * (1 + LEAST_GAIN):
            set_rpm = limits.high_rpm
            why = "The depth has reached its limit without chatter: try the fastest speed."
    set_rpm = min(max(set_rpm, limits.low_rpm), limits.high_rpm)
    depth_mm = _powered_mm(depth_mm, set_rpm=set_rpm, setup=setup)
    if best is not None and set_rpm * depth_mm < (1 + LEAST_GAIN) * best.set_rpm * best.depth_mm:
        return _done(
            best, cuts, why=f"No further cut promises {100 * LEAST_GAIN:.0f} % more than the best so far."
        )
    return NextCut(
        action="cut",
        rpm=set_rpm * true_per_set(cuts),
        set_rpm=set_rpm,
        depth_mm=round_down(depth_mm),
        feed_mm_min=feed_to_suggest_mm_min(setup, set_rpm=set_rpm),
        stable_probability=None,
        best=best,
        why=why,
    )


def _powered_mm(depth_mm: float, *, set_rpm: float, setup: CutSetup) -> float:
    """Give the depth, or the lesser one that the spindle can drive."""
    feed = feed_at_mm_min(setup, set_rpm=set_rpm)
    needed_w = power_needed_w(setup, set_rpm=set_rpm, feed_mm_min=feed, depth_mm=depth_mm)
    if needed_w is None or setup.spindle_power_w is None or needed_w <= setup.spindle_power_w:
        return depth_mm
    return depth_mm * setup.spindle_power_w / needed_w
