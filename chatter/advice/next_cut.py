"""The next cut that is most worth making with a setup.

In: the cuts made, what is known of the setup, tapped modes. Out: a speed and a depth to cut and record, or
that nothing is left to gain; with the reason in one sentence.
Method: machines that would have done what was heard give the chance that each speed and depth is stable
(chatter/advice/chances.py); the setting with the largest expected gain in removal rate over the best stable
one so far (chatter/advice/heard.py) is taken, with a small worth for what a doubtful cut teaches. One step
ahead only.
Leaves out: where the history is kept; feeds other than the one that keeps the chip load.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from chatter.advice.chances import ChanceGrid, draw_history, grid_chances
from chatter.advice.heard import (
    BestSoFar,
    MadeCut,
    allows_speed,
    find_best,
    find_held,
    keep_chip_load,
    lies_near,
    range_to_try,
    true_per_set,
)
from chatter.advice.machines import Machines
from chatter.advice.near import are_one_speed, speeds_apart
from chatter.advice.shapes import KnownMode
from chatter.advice.speeds import speed_grid_rpm
from chatter.advice.words import tell_machines
from chatter.errors import InputError
from chatter.milling.limits import (
    SpeedRange,
    feed_at_mm_min,
    feed_to_suggest_mm_min,
    power_needed_w,
    takes_thick_chips,
)
from chatter.model.cut import CutSetup

Floats = NDArray[np.float64]

BOLDEST_STEP = 1.5  # own choice: over the deepest stable cut so far
MOST_CUTS = 5  # own choice: so many cuts a practitioner gives a setup
LEAST_GAIN = 0.05  # own choice: less than this share of the best isn't worth a cut
LEARNING = 0.05  # own choice: worth of the most doubtful cut, as a share of the best
FIRST_CHANCE, LATER_CHANCE = 0.75, 0.9  # asked of a cut while none was stable yet; own choice
LIKELY, HOPELESS = 0.5, 0.2  # above the first a cut "should be" stable, below the last it is not; own choice
SPEEDS, DEPTHS, SHALLOWEST = 181, 16, 0.12  # of the grid; the last a share of its deepest
LEAST_WIDTH = 1.001  # of the grid of speeds; own choice
LEAST_MM = 0.01  # own choice: nobody can set less
HARDLY_MM = 0.02  # own choice: a shallower cut is hardly one
# Of a depth that chattered: nothing deeper is tried within this share of its speed. Own choices; in another's
# simulator 6 of 35 such cuts were stable, where the machines promised 16.
TRIED_AGAIN, MUCH_THE_SAME = 0.9, 0.03
STEP_DOWN = 0.6  # of the depth where a chattering cut tells of no machine; own choice
CHANGE_FIRST = (
    "Better change something else first: a shorter or stiffer tool, less width, work clamped better."
)
FEED_UNTOLD = " Its feed wasn't told: keep the one that it was cut with."
NO_MORE = f"No further cut promises {100 * LEAST_GAIN:.0f} % more than the best so far."


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
        Most that the depth may grow over the deepest cut that was heard stable and holds, above 1. Where none
        does, nothing deeper than the shallowest one that chattered is tried.
    weighed
        The cuts that tell of the machine, where a long history holds more than are worth weighing; all of
        them when not given.

    Raises
    ------
    InputError
        The limits leave no speed to try, or the spindle has not the power for any cut.
    """
    best = find_best(cuts, setup=setup)
    limits = range_to_try(cuts, setup=setup)
    told = cuts if weighed is None else weighed
    machines = draw_history(told, setup=setup, known=known) if told else None
    setup = keep_chip_load(setup, best)
    last_mm = told[-1].depth_mm if told else math.nan
    history = _History(cuts=cuts, last_mm=last_mm, limits=limits)
    if len(cuts) >= MOST_CUTS and best is not None:
        why = f"{len(cuts)} cuts are made: use the best that was heard stable."
        return _done(best, history, machines, setup=setup, why=why)
    if limits.is_empty:
        raise InputError(
            f"the limits of spindle and tool leave no speed to try (lowest {limits.low_rpm:,g} rpm, highest "
            f"{limits.high_rpm:,g}): copy the setup with the right ones, and record a cut inside them"
        )
    deepest_mm = deepest_to_try_mm(cuts, setup=setup, best=best, boldest_step=boldest_step)
    driven_mm = powered_mm(deepest_mm, set_rpm=limits.low_rpm, setup=setup)  # the slowest takes the least
    if best is None and driven_mm < min(LEAST_MM, deepest_mm):
        raise too_weak(setup)
    if machines is None:
        return _step_blindly(history, setup=setup, best=best, deepest_mm=deepest_mm)
    if best is None:
        return _make_stable(history, machines, setup=setup, deepest_mm=driven_mm)
    return _gain(history, machines, setup=setup, best=best, deepest_mm=driven_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class _History:
    """What was cut, and what it tells."""

    cuts: tuple[MadeCut, ...]
    last_mm: float  # depth to which the machines' limits are told
    limits: SpeedRange

    @property
    def slip(self) -> float:
        """True speed over the dialled one."""
        return true_per_set(self.cuts)

    def chances(self, machines: Machines, *, depths_mm: Floats, flutes: int) -> ChanceGrid:
        """Give the chances over the speeds that may be dialled."""
        # A grid has a width, also where the spindle has one speed only; the dial stays inside the limits.
        low = self.limits.low_rpm
        high = max(self.limits.high_rpm, low * LEAST_WIDTH)
        return grid_chances(
            machines,
            cuts=self.cuts,
            last_depth_mm=self.last_mm,
            speeds_rpm=speed_grid_rpm(low * self.slip, high_rpm=high * self.slip, points=SPEEDS),
            depths_mm=depths_mm,
            flutes=flutes,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Choice:
    """Places that may be cut, each with what it removes and its chance; 0 where it may not be cut."""

    grid: ChanceGrid
    removal: Floats  # rpm times mm: at the same chip load and width the removal rate goes with it
    chance: Floats  # (depths, speeds), as the two above


def _look(history: _History, machines: Machines, *, setup: CutSetup, deepest_mm: float) -> _Choice:
    """Look at the speeds that may be dialled, down to a depth."""
    shallowest = min(max(SHALLOWEST, LEAST_MM / deepest_mm), 1.0)
    depths_mm = deepest_mm * np.geomspace(shallowest, 1.0, DEPTHS)
    grid = history.chances(machines, depths_mm=depths_mm, flutes=setup.flutes)
    able = _has_power(grid, slip=history.slip, setup=setup)
    able &= ~_was_spoilt(grid, history.cuts) & _one_step(grid, history.cuts, setup=setup)
    return _Choice(
        grid=grid,
        removal=grid.depths_mm[:, None] * grid.speeds_rpm[None, :] / history.slip,
        chance=np.where(able, grid.stable_probability, 0.0),
    )


def _make_stable(history: _History, machines: Machines, *, setup: CutSetup, deepest_mm: float) -> NextCut:
    """Choose a cut that is likely to be stable, where none was so far."""
    choice = _look(history, machines, setup=setup, deepest_mm=deepest_mm)
    while choice.chance.max() < HOPELESS and SHALLOWEST * deepest_mm > LEAST_MM:
        deepest_mm *= SHALLOWEST
        choice = _look(history, machines, setup=setup, deepest_mm=deepest_mm)
    if not choice.chance.any():
        return _step_blindly(history, setup=setup, best=None, deepest_mm=deepest_mm)
    tried = sum(cut.verdict != "stable" for cut in history.cuts)
    at = _likely(choice.chance, choice.removal, asked=FIRST_CHANCE if tried <= 1 else LATER_CHANCE)
    chance = round(float(choice.chance[at]), 3)
    none = "No cut was stable yet"
    if any(cut.verdict == "stable" for cut in history.cuts):
        none = "No cut counts as stable yet (what was heard so chattered at less depth, or breaks a limit)"
    if choice.grid.depths_mm[at[0]] < HARDLY_MM:
        why = (
            f"{none}, and chatter or power leave hardly any depth: this cut is stable in "
            f"{tell_machines(chance)}. {CHANGE_FIRST}"
        )
    elif chance >= LIKELY:
        why = f"{none}; this one should be, in {tell_machines(chance)}."
    elif chance >= HOPELESS:
        why = f"{none}; this one is in {tell_machines(chance)}, and none promises more."
    else:
        why = (
            f"{none}, and none that was looked at is likely to be: this one is in "
            f"{tell_machines(chance)}. {CHANGE_FIRST}"
        )
    return _cut_at(choice, at, history=history, setup=setup, best=None, why=why)


def _gain(
    history: _History, machines: Machines, *, setup: CutSetup, best: BestSoFar, deepest_mm: float
) -> NextCut:
    """Choose the cut that promises most over the best so far, or say that none does."""
    choice = _look(history, machines, setup=setup, deepest_mm=deepest_mm)
    had = best.set_rpm * best.depth_mm
    more = np.maximum(choice.removal / had - 1, 0.0)
    gain = choice.chance * more
    if gain.max() < LEAST_GAIN:
        return _done(best, history, machines, setup=setup, why=NO_MORE)
    doubt = np.where(more > 0, 4 * choice.chance * (1 - choice.chance), 0.0)
    at = _place(gain + LEARNING * doubt)
    same = ", at the same chip load," if takes_thick_chips(setup) else ""
    chosen = _cut_at(choice, at, history=history, setup=setup, best=best, why="")
    percent = 100 * (chosen.set_rpm * chosen.depth_mm / had - 1)
    why = (
        f"It would{same} remove {percent:,.0f} % more than the best stable cut so far, and is "
        f"stable in {tell_machines(round(float(choice.chance[at]), 3))}."
    )
    return replace(chosen, why=why)


def _cut_at(
    choice: _Choice,
    at: tuple[int, int],
    *,
    history: _History,
    setup: CutSetup,
    best: BestSoFar | None,
    why: str,
) -> NextCut:
    """Give the place chosen as a setting that can be dialled."""
    limits, slip = history.limits, history.slip
    depth_mm, rpm = float(choice.grid.depths_mm[at[0]]), float(choice.grid.speeds_rpm[at[1]])
    set_rpm = _dialled(rpm / slip, low=limits.low_rpm, high=limits.high_rpm)
    if _is_quiet(history.cuts) and depth_mm > max(cut.depth_mm for cut in history.cuts):
        # Deeper at a speed that was cut: at just that one.
        kept = [cut for cut in history.cuts if allows_speed(setup, set_rpm=cut.set_rpm)]
        set_rpm = min(kept, key=lambda cut: abs(cut.rpm / rpm - 1)).set_rpm
    return NextCut(
        action="cut",
        rpm=set_rpm * slip,
        set_rpm=set_rpm,
        depth_mm=round_down(powered_mm(depth_mm, set_rpm=set_rpm, setup=setup)),
        feed_mm_min=feed_to_suggest_mm_min(setup, set_rpm=set_rpm),
        stable_probability=round(float(choice.chance[at]), 3),
        best=best,
        why=why,
    )


def too_weak(setup: CutSetup) -> InputError:
    """Give the error of a spindle that can drive no cut."""
    return InputError(
        f"the spindle's {setup.spindle_power_w:,g} W drive no cut of {LEAST_MM:g} mm at the width and "
        "the chip load told: check these numbers, or copy the setup with less width and feed less"
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


def deepest_to_try_mm(
    cuts: tuple[MadeCut, ...], *, setup: CutSetup, best: BestSoFar | None, boldest_step: float
) -> float:
    """Give the deepest that may be tried."""
    if best is None:
        spoilt = [cut.depth_mm for cut in cuts if cut.verdict != "stable"]
        deepest = max(min(spoilt or [cut.depth_mm for cut in cuts], default=math.inf), LEAST_MM)
    else:
        deepest = boldest_step * max(cuts[one.number].depth_mm for one in find_held(cuts, setup=setup))
    return deepest if setup.most_depth_mm is None else min(deepest, setup.most_depth_mm)


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
    slip = true_per_set(cuts)
    for cut in cuts:
        if cut.verdict == "chatter":
            near = speeds_apart(grid.speeds_rpm, cut.rpm) <= MUCH_THE_SAME
            near |= speeds_apart(grid.speeds_rpm, slip * cut.set_rpm) <= MUCH_THE_SAME
            spoilt |= (grid.depths_mm[:, None] >= TRIED_AGAIN * cut.depth_mm) & near[None, :]
    return spoilt


def _is_quiet(cuts: tuple[MadeCut, ...]) -> bool:
    """Say whether no cut has chattered: what was heard tells little of the machine then."""
    return all(cut.verdict == "stable" for cut in cuts)


def _one_step(grid: ChanceGrid, cuts: tuple[MadeCut, ...], *, setup: CutSetup) -> NDArray[np.bool_]:
    """Say where not both speed and depth are new, while no cut has chattered. Shape (depths, speeds).

    Another speed is tried at a depth that was stable.
    """
    if not _is_quiet(cuts):
        return np.ones(grid.stable_probability.shape, dtype=np.bool_)
    cut_rpm = np.array([cut.rpm for cut in cuts if allows_speed(setup, set_rpm=cut.set_rpm)])
    there = np.any(are_one_speed(grid.speeds_rpm[None, :], cut_rpm[:, None]), axis=0, keepdims=True)
    deepest_mm = max(cut.depth_mm for cut in cuts)
    return np.asarray((grid.depths_mm[:, None] <= deepest_mm) | there)


def _done(
    best: BestSoFar, history: _History, machines: Machines | None, *, setup: CutSetup, why: str
) -> NextCut:
    """Give the setting to keep, one that was heard stable."""
    chance = 1 - best.chatter_probability
    if machines is not None and not history.limits.is_empty:
        depths_mm = np.array([best.depth_mm])
        grid = history.chances(machines, depths_mm=depths_mm, flutes=setup.flutes)
        there = float(grid.stable_probability[0, np.argmin(np.abs(grid.speeds_rpm - best.rpm))])
        chance = max(chance, there)  # the grid may end beside a speed of another slip
    if best.feed_mm_min is None and setup.feed_mm_min is not None:  # another cut's isn't this one's
        why += FEED_UNTOLD
    return NextCut(
        action="done",
        rpm=best.rpm,
        set_rpm=best.set_rpm,
        depth_mm=best.depth_mm,
        feed_mm_min=None if takes_thick_chips(setup) else best.feed_mm_min,
        stable_probability=round(chance, 3),
        best=best,
        why=why,
    )


def _step_blindly(
    history: _History, *, setup: CutSetup, best: BestSoFar | None, deepest_mm: float
) -> NextCut:
    """Go deeper where nothing chattered, and shallower where chatter tells of no machine."""
    cuts, limits = history.cuts, history.limits
    last = cuts[-1]
    if best is None:
        depth_mm = min(deepest_mm, max(STEP_DOWN * min(cut.depth_mm for cut in cuts), LEAST_MM))
        set_rpm = last.set_rpm
        why = "The chatter heard tells of no machine that would do so: take less depth at the same speed."
        if _is_quiet(cuts):
            why = "No cut has chattered, but none was inside the setup's limits: this one is."
        elif depth_mm < HARDLY_MM:
            why = f"The chatter heard leaves hardly any depth. {CHANGE_FIRST}"
    else:
        between_mm = _between_mm(cuts, best)
        set_rpm, depth_mm = best.set_rpm, min(deepest_mm, between_mm)
        why = "No cut has chattered yet, so nothing tells where deeper ones would: go deeper in steps."
        if math.isfinite(between_mm):
            why = "The chatter heard tells of no machine that would do so: go between it and the stable cut."
        elif not _is_quiet(cuts):
            why = (
                "The chatter heard tells of no machine that would do so, and was heard at other speeds: go "
                "deeper at this one in steps."
            )
        elif depth_mm < best.depth_mm * (1 + LEAST_GAIN):
            set_rpm, depth_mm = limits.high_rpm, min(depth_mm, best.depth_mm)
            why = "The depth has reached its limit without chatter: try the fastest speed."
    set_rpm = min(max(set_rpm, limits.low_rpm), limits.high_rpm)
    depth_mm = powered_mm(depth_mm, set_rpm=set_rpm, setup=setup)
    if best is not None and set_rpm * depth_mm < (1 + LEAST_GAIN) * best.set_rpm * best.depth_mm:
        return _done(best, history, None, setup=setup, why=NO_MORE)
    return NextCut(
        action="cut",
        rpm=set_rpm * history.slip,
        set_rpm=set_rpm,
        depth_mm=round_down(depth_mm),
        feed_mm_min=feed_to_suggest_mm_min(setup, set_rpm=set_rpm),
        stable_probability=None,
        best=best,
        why=why,
    )


def _between_mm(cuts: tuple[MadeCut, ...], best: BestSoFar) -> float:
    """Give a depth between the best and what wasn't stable at much its speed, no deeper than may be tried."""
    near = [
        cut
        for cut in cuts
        if cut.verdict != "stable"
        and lies_near(cut, rpm=best.rpm, set_rpm=best.set_rpm, within=MUCH_THE_SAME)
    ]
    middle_mm = math.sqrt(best.depth_mm * min((cut.depth_mm for cut in near), default=math.inf))
    return min(middle_mm, *(TRIED_AGAIN * cut.depth_mm for cut in near if cut.verdict == "chatter"), math.inf)


def powered_mm(depth_mm: float, *, set_rpm: float, setup: CutSetup) -> float:
    """Give the depth, or the lesser one that the spindle can drive."""
    feed = feed_at_mm_min(setup, set_rpm=set_rpm)
    needed_w = power_needed_w(setup, set_rpm=set_rpm, feed_mm_min=feed, depth_mm=depth_mm)
    if needed_w is None or setup.spindle_power_w is None or needed_w <= setup.spindle_power_w:
        return depth_mm
    return depth_mm * setup.spindle_power_w / needed_w
