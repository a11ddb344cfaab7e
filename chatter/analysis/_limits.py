"""Limit depths over speed for a map, by either method.

In: modes, what cuts, a range of speeds. Out: depths in mm and chatter frequencies, one a speed.
Source: milling/lobes.py (zero order) and milling/semi_discretization.py; both name theirs.
Leaves out: every check of values (_map.py), and the map's unit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.analysis._peaks import find_best_speeds
from chatter.milling.lobes import limit_depths_m
from chatter.milling.semi_discretization import MillingSystem, multiplier_map
from chatter.milling.stability import immersion_angles_rad
from chatter.model import BestSpeed, MapCut, MapMode
from chatter.model.map import VIEW_OVER_LOWEST

Floats = NDArray[np.float64]

SPEEDS = 1201  # zero order
EXACT_SPEEDS = 200
EXACT_DEPTHS = 80
STEPS_PER_LOBE = 5  # own choice: with fewer speeds between two lobes a peak's place and height are chance
STEPS_PER_WINDOW = 12  # own choice: a window's ends are known to a twelfth of its width
ROUNDS = 4  # own choice: windows shrink as they are looked at closer; then they are told as they are known
LEAST_OVER_LOWEST = 0.1  # exact limits at low immersion lie down to a quarter of zero-order ones
UNKNOWN_TOP_MM = 100.0  # how deep to look where zero order finds no limit at all
UM_PER_M = 1e6
MM_PER_M = 1e3
PA_PER_MPA = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limit depths; infinite, with a frequency that is not a number, where nothing chatters."""

    speeds_rpm: tuple[float, ...]
    depth_mm: tuple[float, ...]
    chatter_hz: tuple[float, ...]
    top_mm: float | None  # no deeper depths were looked at; None: no end
    coarse_below_rpm: float | None  # lobes of the highest mode lie too close for these speeds; None: nowhere
    best: tuple[BestSpeed, ...]  # depths in mm; none below `coarse_below_rpm`


def find_limits(
    modes: tuple[MapMode, ...],
    *,
    cut: MapCut,
    low_rpm: float,
    high_rpm: float,
    max_depth_mm: float | None,
    exact: bool,
) -> Limits:
    """Give the limit depth at evenly spaced speeds, and at more of them about the windows of the best speeds.

    Stiffness or pressure not known count as 1.
    """
    system = _system(modes, cut=cut, rpm=low_rpm)
    speeds = np.linspace(low_rpm, high_rpm, EXACT_SPEEDS if exact else SPEEDS)
    coarse_rpm = _find_coarse_rpm(system, speeds=speeds)
    quick_mm, _ = _find_quick(system, speeds=speeds)
    top_mm, depths_mm = max_depth_mm, None
    if exact:
        lowest_mm = float(quick_mm.min())
        if top_mm is None:
            top_mm = VIEW_OVER_LOWEST * lowest_mm if math.isfinite(lowest_mm) else UNKNOWN_TOP_MM
        depths_mm = np.geomspace(LEAST_OVER_LOWEST * min(lowest_mm, top_mm), top_mm, EXACT_DEPTHS)
    limit_mm, chatter_hz = np.empty(0), np.empty(0)
    seen, more = np.empty(0), speeds
    for _ in range(ROUNDS):
        found_mm, found_hz = _find(system, speeds=more, depths_mm=depths_mm, top_mm=top_mm)
        seen = np.concatenate([seen, more])
        order = np.argsort(seen)
        seen = seen[order]
        limit_mm = np.concatenate([limit_mm, found_mm])[order]
        chatter_hz = np.concatenate([chatter_hz, found_hz])[order]
        best = find_best_speeds(
            limit_mm.tolist(),
            speeds_rpm=seen.tolist(),
            most_depth=top_mm,
            most_is_wanted=max_depth_mm is not None,
        )
        best = tuple(one for one in best if one.low_rpm >= (coarse_rpm or 0.0))
        more = _look_closer(seen, best=best)
        if not more.size:
            break
    return Limits(
        speeds_rpm=tuple(seen.tolist()),
        depth_mm=tuple(limit_mm.tolist()),
        chatter_hz=tuple(np.where(np.isfinite(limit_mm), chatter_hz, np.nan).tolist()),
        top_mm=top_mm,
        coarse_below_rpm=coarse_rpm,
        best=best,
    )


def _find_quick(system: MillingSystem, *, speeds: Floats) -> tuple[Floats, Floats]:
    """Give zero-order limits in mm, infinite where there are none, and their frequencies."""
    limit_m, chatter_hz = limit_depths_m(system, speeds_rpm=speeds)
    return np.where(np.isfinite(limit_m) & (limit_m > 0), limit_m, np.inf) * MM_PER_M, chatter_hz


def _find(
    system: MillingSystem, *, speeds: Floats, depths_mm: Floats | None, top_mm: float | None
) -> tuple[Floats, Floats]:
    """Give limits and frequencies by the method that was asked for: exact where depths are given."""
    limit_mm, chatter_hz = _find_quick(system, speeds=speeds)
    if depths_mm is not None:
        multipliers = multiplier_map(system, speeds_rpm=speeds, depths_m=depths_mm / MM_PER_M)
        return _cross(multipliers, speeds=speeds, depths_mm=depths_mm, system=system, near_hz=chatter_hz)
    return np.where(limit_mm > (math.inf if top_mm is None else top_mm), np.inf, limit_mm), chatter_hz


def _look_closer(speeds: Floats, *, best: Sequence[BestSpeed]) -> Floats:
    """Give speeds to add, so that no step at either end of a window, or inside it, is wide beside it.

    A limit can fall by half between two speeds: a window's end, and the depth it carries, are no surer than
    the steps there are fine.
    """
    more: list[float] = []
    low, high = speeds[:-1], speeds[1:]
    for one in best:
        finest = (one.high_rpm - one.low_rpm) / STEPS_PER_WINDOW
        touches = (high >= one.low_rpm) & (low <= one.high_rpm) & (high - low > finest)
        for at in np.flatnonzero(touches):
            parts = math.ceil((high[at] - low[at]) / finest)
            more += np.linspace(low[at], high[at], parts + 1)[1:-1].tolist()
    return np.unique(more)


def _find_coarse_rpm(system: MillingSystem, *, speeds: Floats) -> float | None:
    """Give the speed below which the steps are too wide for the lobes; None where they are fine enough.

    Two lobes lie n / k apart, with k = 60 f / (N n) the lobe's number: [rpm²] * [teeth] / ([s/min] * [1/s]).
    """
    step = float(speeds[1] - speeds[0])
    coarse = math.sqrt(STEPS_PER_LOBE * step * 60 * float(system.natural_hz.max()) / system.flutes)
    return coarse if coarse > speeds[0] else None


def _system(modes: tuple[MapMode, ...], *, cut: MapCut, rpm: float) -> MillingSystem:
    """Put modes and cut in SI units; a mode both ways is one along the feed and one across it."""
    each = [
        (mode, axis == "y")
        for mode in modes
        for axis in (("x", "y") if mode.axis == "both" else (mode.axis,))
    ]
    entry, leave = immersion_angles_rad(np.array(cut.width_mm / cut.diameter_mm), direction=cut.direction)
    return MillingSystem(
        natural_hz=np.array([mode.frequency_hz for mode, _ in each]),
        damping_ratio=np.array([mode.damping_ratio for mode, _ in each]),
        stiffness_n_per_m=np.array([(mode.stiffness_n_per_um or 1.0) * UM_PER_M for mode, _ in each]),
        along_y=np.array([along_y for _, along_y in each]),
        flutes=cut.flutes,
        rpm=rpm,
        entry_rad=float(entry),
        exit_rad=float(leave),
        tangential_pa=(cut.pressure_mpa or 1.0) * PA_PER_MPA,
        radial_ratio=cut.radial_ratio,
    )


def _cross(
    multipliers: NDArray[np.complex128],
    *,
    speeds: Floats,
    depths_mm: Floats,
    system: MillingSystem,
    near_hz: Floats,
) -> tuple[Floats, Floats]:
    """Find, at each speed, the smallest depth at which the multiplier reaches 1, and the frequency there.

    A multiplier tells the frequency only up to multiples of the tooth passing frequency, and up to its sign:
    the member of that family next to the zero-order frequency is given, or next to the softest mode.
    """
    # Without a cut the slowest decay of any mode is left: where the first depth already chatters, the limit
    # lies between it and none.
    decay = float(np.min(system.damping_ratio * 2 * math.pi * system.natural_hz))
    at_rest = -decay * 60 / (speeds * system.flutes)
    growth = np.concatenate([at_rest[:, None], np.log(np.maximum(np.abs(multipliers), 1e-300))], axis=1)
    depths = np.concatenate([[0.0], depths_mm])
    over = growth > 0
    some, first = over.any(axis=1), over.argmax(axis=1)
    row = np.arange(speeds.size)
    before = np.maximum(first - 1, 0)
    low, high = growth[row, before], growth[row, first]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(high > low, -low / (high - low), 1.0)
    limit = np.where(some, depths[before] + share * (depths[first] - depths[before]), np.inf)
    softest = int(np.argmin(system.stiffness_n_per_m * system.damping_ratio))
    near = np.where(np.isfinite(near_hz), near_hz, system.natural_hz[softest])
    tooth_hz = speeds * system.flutes / 60
    base = np.abs(np.angle(multipliers[row, np.maximum(first - 1, 0)])) / (2 * math.pi) * tooth_hz
    above = base + np.round((near - base) / tooth_hz) * tooth_hz
    below = -base + np.round((near + base) / tooth_hz) * tooth_hz
    return limit, np.where(np.abs(above - near) <= np.abs(below - near), above, below)
