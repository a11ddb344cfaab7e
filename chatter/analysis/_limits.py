"""Limit depths over speed for a map, by either method.

In: modes, what cuts, a range of speeds. Out: depths in mm and chatter frequencies, one a speed.
Source: milling/lobes.py (zero order) and milling/semi_discretization.py; both name theirs.
Leaves out: every check of values (_map.py), and the map's unit.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.milling.lobes import limit_depths_m
from chatter.milling.semi_discretization import MillingSystem, multiplier_map
from chatter.milling.stability import immersion_angles_rad
from chatter.model import MapCut, MapMode
from chatter.model.map import VIEW_OVER_LOWEST

Floats = NDArray[np.float64]

SPEEDS = 1201  # zero order
EXACT_SPEEDS = 200
EXACT_DEPTHS = 80
STEPS_PER_LOBE = 5  # own choice: with fewer speeds between two lobes a peak's place and height are chance
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


def find_limits(
    modes: tuple[MapMode, ...],
    *,
    cut: MapCut,
    low_rpm: float,
    high_rpm: float,
    max_depth_mm: float | None,
    exact: bool,
) -> Limits:
    """Give the limit depth at evenly spaced speeds; stiffness or pressure not known count as 1."""
    system = _system(modes, cut=cut, rpm=low_rpm)
    speeds = np.linspace(low_rpm, high_rpm, EXACT_SPEEDS if exact else SPEEDS)
    limit_m, chatter_hz = limit_depths_m(system, speeds_rpm=speeds)
    limit_mm = np.where(np.isfinite(limit_m) & (limit_m > 0), limit_m, np.inf) * MM_PER_M
    top_mm = max_depth_mm
    if exact:
        lowest_mm = float(limit_mm.min())
        if top_mm is None:
            top_mm = VIEW_OVER_LOWEST * lowest_mm if math.isfinite(lowest_mm) else UNKNOWN_TOP_MM
        least_mm = LEAST_OVER_LOWEST * min(lowest_mm, top_mm)
        depths_mm = np.geomspace(least_mm, top_mm, EXACT_DEPTHS)
        multipliers = multiplier_map(system, speeds_rpm=speeds, depths_m=depths_mm / MM_PER_M)
        limit_mm, chatter_hz = _cross(
            multipliers, speeds=speeds, depths_mm=depths_mm, system=system, near_hz=chatter_hz
        )
    chatter_hz = np.where(np.isfinite(limit_mm), chatter_hz, np.nan)
    return Limits(
        speeds_rpm=tuple(speeds.tolist()),
        depth_mm=tuple(limit_mm.tolist()),
        chatter_hz=tuple(chatter_hz.tolist()),
        top_mm=top_mm,
        coarse_below_rpm=_find_coarse_rpm(system, speeds=speeds),
    )


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
