"""Settings of a setup that were heard stable, best first: one rule for the next cut, the map and the card.

In: the cuts made, what is known of the setup. Out: those that hold, in the order of the metal they remove.
Leaves out: what was never cut (chatter/advice/next_cut.py).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from chatter.advice.machines import ChatterLine
from chatter.advice.near import are_one_speed, speeds_apart
from chatter.milling.limits import SpeedRange, feed_at_mm_min, find_speed_range
from chatter.model.cut import CutSetup, Verdict
from chatter.model.notebook import DOUBTFUL

SAME_METAL = 1 + 1e-9  # rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeCut:
    """One cut of the setup that carries a verdict."""

    rpm: float  # true
    set_rpm: float
    depth_mm: float  # of a ramped pass that chattered, where the chatter began
    verdict: Verdict
    chatter_probability: float
    lines: tuple[ChatterLine, ...] = ()  # strongest first; empty where no chatter was heard
    feed_mm_min: float | None = None
    depth_sd_mm: float | None = None  # of where the chatter began; None where no ramp told it
    surely_from_mm: float | None = None  # of a ramped pass, from where on it chattered for sure

    @property
    def spoils_from_mm(self) -> float:
        """Where it wasn't stable: no stable cut as deep holds at its speed."""
        return self.depth_mm if self.surely_from_mm is None else self.surely_from_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldSetting:
    """A setting that was heard stable, and at no lesser depth anything else."""

    number: int  # of its cut among those given
    cuts: int  # at this speed, this deep or deeper, all stable
    chatter_probability: float  # the highest of the cuts of just this depth
    spoilt_mm: float | None  # shallowest at this speed, deeper than this, that was not stable

    @property
    def is_doubtful(self) -> bool:
        """Say whether a surer setting goes before it, though it removes less."""
        return self.chatter_probability > DOUBTFUL


@dataclass(frozen=True, slots=True, kw_only=True)
class BestSoFar:
    """The setting that removes most of those heard stable for sure; a doubtful one where there is none."""

    number: int  # of its cut among those given
    rpm: float  # true
    set_rpm: float
    depth_mm: float
    feed_mm_min: float | None  # None where it wasn't told, also where other cuts told theirs
    removal_mm3_min: float | None  # None where feed or width isn't known
    chatter_probability: float
    passed_over: HeldSetting | None = None  # would remove more, but is doubtful


def find_held(cuts: tuple[MadeCut, ...], *, setup: CutSetup) -> Iterator[HeldSetting]:
    """Give the settings that hold, those that remove most first, doubtful ones among them.

    A setting holds where it was heard stable inside the limits, and where no cut of the same speed, by the
    dial or truly, was heard otherwise at its depth or a lesser one, be it before or after. A ramped pass was
    heard so from where it chattered for sure.
    """
    rpm, set_rpm = (np.array([getattr(cut, name) for cut in cuts]) for name in ("rpm", "set_rpm"))
    depth_mm = np.array([cut.depth_mm for cut in cuts])
    sure_mm = np.array([cut.spoils_from_mm for cut in cuts])
    chance = np.array([cut.chatter_probability for cut in cuts])
    stable = np.array([cut.verdict == "stable" for cut in cuts], dtype=bool)
    inside = [number for number, cut in enumerate(cuts) if stable[number] and is_inside(cut, setup=setup)]
    for number in sorted(inside, key=lambda number: -_metal(cuts[number], setup=setup)):
        deep = depth_mm[number]
        # By the dial too: a card is read by it, and load may have slowed one cut and not the other.
        near = are_one_speed(rpm, rpm[number]) | are_one_speed(set_rpm, set_rpm[number])
        spoils = near & ~stable
        if np.min(sure_mm[spoils], initial=np.inf) > deep:
            # A ramp may have begun to chatter deeper than was heard: at a depth that was stable it had not.
            from_mm = np.where(depth_mm > deep, depth_mm, sure_mm)[spoils]
            spoilt_mm = float(np.min(from_mm, initial=np.inf))
            yield HeldSetting(
                number=number,
                cuts=int(np.sum(near & stable & (depth_mm >= deep))),
                chatter_probability=float(chance[near & stable & (depth_mm == deep)].max()),
                spoilt_mm=None if np.isinf(spoilt_mm) else spoilt_mm,
            )


def rank_held(cuts: tuple[MadeCut, ...], *, setup: CutSetup, most: int) -> tuple[HeldSetting, ...]:
    """Give the best settings that hold, one a speed: sure ones first, and of them those that remove most."""
    sure: list[HeldSetting] = []
    doubtful: list[HeldSetting] = []
    for held in find_held(cuts, setup=setup):
        alike = doubtful if held.is_doubtful else sure
        if not _is_taken(cuts, held, by=alike):
            alike.append(held)
        if len(sure) == most:
            break
    others = [held for held in doubtful if not _is_taken(cuts, held, by=sure)]
    return (*sure, *others)[:most]


def find_best(cuts: tuple[MadeCut, ...], *, setup: CutSetup) -> BestSoFar | None:
    """Give the best of the settings that hold; see `rank_held`."""
    doubtful = best = None
    for held in find_held(cuts, setup=setup):
        if not held.is_doubtful:
            best = held
            break
        doubtful = doubtful or held
    best, passed_over = (doubtful, None) if best is None else (best, doubtful)
    if best is None:
        return None
    cut = cuts[best.number]
    if passed_over is not None:
        more = _metal(cuts[passed_over.number], setup=setup) / _metal(cut, setup=setup)
        passed_over = passed_over if more > SAME_METAL else None
    removal = None
    if cut.feed_mm_min is not None and setup.width_mm is not None:
        removal = cut.feed_mm_min * cut.depth_mm * setup.width_mm
    return BestSoFar(
        number=best.number,
        rpm=cut.rpm,
        set_rpm=cut.set_rpm,
        depth_mm=cut.depth_mm,
        feed_mm_min=cut.feed_mm_min,
        removal_mm3_min=removal,
        chatter_probability=best.chatter_probability,
        passed_over=passed_over,
    )


def keep_chip_load(setup: CutSetup, best: BestSoFar | None) -> CutSetup:
    """Give the setup with the speed and feed of the best so far, whose chip load further cuts keep."""
    if best is None or best.feed_mm_min is None:
        return setup
    return replace(setup, rpm=best.set_rpm, feed_mm_min=best.feed_mm_min)


def _metal(cut: MadeCut, *, setup: CutSetup) -> float:
    """Give what the removal rate goes with: all cuts of a setup are equally wide."""
    feed = cut.feed_mm_min or feed_at_mm_min(setup, set_rpm=cut.set_rpm)
    return cut.depth_mm * (cut.set_rpm if feed is None else feed)


def _is_taken(cuts: tuple[MadeCut, ...], held: HeldSetting, *, by: list[HeldSetting]) -> bool:
    set_rpm = cuts[held.number].set_rpm
    return any(are_one_speed(set_rpm, cuts[one.number].set_rpm) for one in by)


def lies_near(cut: MadeCut, *, rpm: float, set_rpm: float, within: float) -> bool:
    """Say whether a cut was made within a share of a speed, truly or by the dial: chatter slows some."""
    return bool(min(speeds_apart(cut.rpm, rpm), speeds_apart(cut.set_rpm, set_rpm)) <= within)


def allows_speed(setup: CutSetup, *, set_rpm: float) -> bool:
    """Say whether a dialled speed keeps the limits that were told."""
    fastest = [rpm for rpm in (setup.max_rpm, setup.tool_max_rpm) if rpm is not None]
    return all(set_rpm <= rpm for rpm in fastest) and (setup.min_rpm is None or set_rpm >= setup.min_rpm)


def is_inside(cut: MadeCut, *, setup: CutSetup) -> bool:
    """Say whether a cut that was made keeps the limits that were told."""
    return allows_speed(setup, set_rpm=cut.set_rpm) and (
        setup.most_depth_mm is None or cut.depth_mm <= setup.most_depth_mm
    )


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


def true_per_set(cuts: tuple[MadeCut, ...]) -> float:
    """Give the true speed over the dialled one, the middle of the cuts."""
    return float(np.median([cut.rpm / cut.set_rpm for cut in cuts]))
