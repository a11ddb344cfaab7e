"""Machines that would chatter as the recording did.

In: chatter frequency, speed, what is known of the cut. Out: a sample of machines (natural frequencies,
damping, stiffness ratio, force ratio, immersion, depth over limit) that chatter at that frequency.
Method: shapes of machines are drawn from a prior with the x mode at frequency 1; the phase between one
tooth's wave and the next, known from heard frequency and speed, says where on its lobes each shape stands,
and so its natural frequency. Stability after Altintas and Budak 1995 (chatter/milling/stability.py).
Leaves out: period doubling; the change of frequency as chatter grows beyond its onset.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.milling import stability
from chatter.model.cut import CutSetup, Verdict

Floats = NDArray[np.float64]

SHAPES = 500  # own choice: steadies the probabilities to about 0.02
DRAWS = 500
SEED = 1995
TRIAL_RATIO = np.geomspace(0.55, 1.9, 420)  # chatter over x mode's frequency; steps of 0.3 %, finest mode 2 %
DAMPING_RANGE = (0.01, 0.06)  # tool-point modes 0.01 to 0.05 are usual: common practice, from memory
FORCE_RATIO_RANGE = (0.1, 0.6)  # radial over tangential: 0.25 to 0.6 in published end-milling tables
PHASE_SPREAD_TURNS = 0.02  # own choice: what zero order and grown chatter get wrong of the phase
CHATTER_DEPTHS = (1.1, 3.5)  # depth over limit of a cut that clearly chatters; own choice
MARGINAL_DEPTHS = (0.9, 1.4)


@dataclass(frozen=True, slots=True, kw_only=True)
class BaseFrequency:
    """One measured line that may be the chatter's base frequency."""

    frequency_hz: float
    weight: float  # adds to 1 over the candidates


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Machines:
    """Equally likely machines; the first axis of each array counts them."""

    trial_hz: Floats  # (machines, trials)
    phase_turns: Floats  # (2, machines, trials)
    depth_share: Floats  # (2, machines, trials): limit over the present depth; not above 0 means none
    natural_hz: Floats  # (machines,): of the mode nearest the chatter
    limit_share: Floats  # (machines,): limit at the present speed over the present depth


def draw_machines(
    bases: tuple[BaseFrequency, ...], *, rpm: float, verdict: Verdict, setup: CutSetup
) -> Machines | None:
    """Draw machines that chatter at one of the base frequencies at this true speed.

    The same input gives the same machines. None where no drawn shape can chatter so.
    """
    rng = np.random.default_rng(SEED)
    boundary, second_ratio = _draw_shapes(rng, setup)
    found = [_stand(boundary, rng=rng, base=base, rpm=rpm, flutes=setup.flutes) for base in bases]
    shape, ratio, depth, weight, base_hz = (np.concatenate(parts) for parts in zip(*found, strict=True))
    if weight.sum() <= 0:
        return None
    pick = _resample(weight, rng=rng)
    shape, ratio, depth, base_hz = shape[pick], ratio[pick], depth[pick], base_hz[pick]
    low, high = MARGINAL_DEPTHS if verdict == "marginal" else CHATTER_DEPTHS
    limit_share = 1 / np.exp(rng.uniform(math.log(low), math.log(high), shape.size))
    x_hz = base_hz / ratio
    y_hz = x_hz * second_ratio[shape]
    nearest = np.where(np.abs(np.log(base_hz / x_hz)) < np.abs(np.log(base_hz / y_hz)), x_hz, y_hz)
    return Machines(
        trial_hz=x_hz[:, None] * TRIAL_RATIO,
        phase_turns=boundary.phase_turns[:, shape],
        depth_share=boundary.depth_times_kt[:, shape] * (limit_share / depth)[:, None],
        natural_hz=nearest,
        limit_share=limit_share,
    )


def _draw_shapes(rng: np.random.Generator, setup: CutSetup) -> tuple[stability.Boundary, Floats]:
    """Draw machines with the x mode at frequency and stiffness 1, and work out their edges of chatter."""

    def damping() -> Floats:
        return np.exp(rng.uniform(math.log(DAMPING_RANGE[0]), math.log(DAMPING_RANGE[1]), (SHAPES, 1)))

    x_damping, y_damping = damping(), damping()
    second_ratio = np.exp(rng.normal(0, 0.12, (SHAPES, 1)))  # own choice: a tool is much the same both ways
    stiffness_ratio = np.exp(rng.normal(0, 0.4, (SHAPES, 1)))
    force_ratio = rng.uniform(*FORCE_RATIO_RANGE, (SHAPES, 1))
    entry, leave = _draw_arcs(rng, setup)
    factors = stability.directional_factors(entry, exit_rad=leave, radial_ratio=force_ratio)
    x_mode = stability.receptance_m_per_n(
        TRIAL_RATIO, natural_hz=1.0, damping_ratio=x_damping, stiffness_n_per_m=1.0
    )
    y_mode = stability.receptance_m_per_n(
        TRIAL_RATIO, natural_hz=second_ratio, damping_ratio=y_damping, stiffness_n_per_m=stiffness_ratio
    )
    boundary = stability.find_boundary(x_mode, y_m_per_n=y_mode, factors=factors, flutes=setup.flutes)
    return boundary, second_ratio[:, 0]


def _draw_arcs(rng: np.random.Generator, setup: CutSetup) -> tuple[Floats, Floats]:
    """Give the arcs of cut: the one told, or a spread of slots and side cuts."""
    if setup.width_mm is not None and setup.diameter_mm is not None:
        width = np.full((SHAPES, 1), min(1.0, setup.width_mm / setup.diameter_mm))
    else:
        width = np.where(rng.random((SHAPES, 1)) < 0.3, 1.0, rng.uniform(0.1, 1.0, (SHAPES, 1)))
    up = stability.immersion_angles_rad(width, direction="up")
    climb = stability.immersion_angles_rad(width, direction="climb")
    upward = rng.random((SHAPES, 1)) < {"up": 1.0, "climb": 0.0, None: 0.5}[setup.direction]
    return np.where(upward, up[0], climb[0]), np.where(upward, up[1], climb[1])


def _stand(
    boundary: stability.Boundary, *, rng: np.random.Generator, base: BaseFrequency, rpm: float, flutes: int
) -> tuple[NDArray[np.intp], Floats, Floats, Floats, Floats]:
    """Find where on its lobes each shape stands: shape, chatter over x mode, limit, weight, base."""
    turns = base.frequency_hz / (rpm * flutes / 60)
    spread = rng.normal(0, PHASE_SPREAD_TURNS, (boundary.phase_turns.shape[1], 1))
    away = boundary.phase_turns - (turns + spread)
    left, right = away[..., :-1], away[..., 1:]
    depth = boundary.depth_times_kt
    crossed = (np.floor(left) != np.floor(right)) & (depth[..., :-1] > 0) & (depth[..., 1:] > 0)
    branch, shape, trial = np.nonzero(crossed)
    ratio = TRIAL_RATIO[trial]
    at = depth[branch, shape, trial]
    step = np.log(TRIAL_RATIO[1] / TRIAL_RATIO[0])
    slope = (right - left)[branch, shape, trial] / step  # turns per e-fold of frequency
    # Density of natural frequencies for one heard frequency: flat prior over log, so 1 / (d ln fc / d ln fn)
    weight = np.clip(np.abs(1 - turns / slope), 0, 5)
    lowest = np.full(boundary.phase_turns.shape[1], np.inf)
    np.minimum.at(lowest, shape, at)
    # of several lobes that this phase allows, the cut chatters on the lowest or near it
    weight *= np.exp(-0.5 * (np.log(at / lowest[shape]) / 0.3) ** 2)
    total = weight.sum()
    if total > 0:
        weight = weight * base.weight / total
    return shape, ratio, at, weight, np.full(shape.size, base.frequency_hz)


def _resample(weight: Floats, *, rng: np.random.Generator) -> NDArray[np.intp]:
    """Give indices of equally likely draws (systematic resampling)."""
    edges = np.cumsum(weight) / weight.sum()
    return np.minimum(np.searchsorted(edges, (np.arange(DRAWS) + rng.random()) / DRAWS), weight.size - 1)
