"""Machines that would chatter as the recording did.

In: chatter frequency, speed, what is known of the cut. Out: a sample of machines (natural frequencies,
damping, stiffness ratio, force ratio, immersion, depth over limit) that chatter at that frequency.
Method: shapes of machines are drawn from a prior with the x mode at frequency 1; the phase between one
tooth's wave and the next, known from heard frequency and speed, says where on its lobes each shape stands,
and so its natural frequency. Stability after Altintas and Budak 1995 (chatter/milling/stability.py).
Leaves out: period doubling.
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
PHASE_SPREAD_TURNS = 0.04  # what zero order gets wrong of the phase; tuned on 60 random two-mode machines
CHATTER_DEPTHS = (1.1, 3.5)  # depth over limit of a cut that clearly chatters; own choice
MARGINAL_DEPTHS = (0.9, 1.4)
MOST_TOOTH_GROWTH = 0.8  # own choice: log growth from tooth to tooth at three times the limit or so


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shapes:
    """Machines with the x mode at frequency and stiffness 1; arrays of shape (SHAPES, 1)."""

    x_damping: Floats
    y_damping: Floats
    y_hz: Floats
    y_stiffness: Floats
    factors: stability.DirectionalFactors

    def respond(self, growth: Floats | float) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Give both receptances at the trial frequencies, growing by exp(2 pi growth) a cycle."""
        trial = TRIAL_RATIO * (1 - 1j * np.asarray(growth))
        x_mode = stability.receptance_m_per_n(
            trial, natural_hz=1.0, damping_ratio=self.x_damping, stiffness_n_per_m=1.0
        )
        y_mode = stability.receptance_m_per_n(
            trial, natural_hz=self.y_hz, damping_ratio=self.y_damping, stiffness_n_per_m=self.y_stiffness
        )
        return x_mode, y_mode


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Stands:
    """Where shapes stand on their lobes; one entry a crossing."""

    shape: NDArray[np.intp]
    ratio: Floats  # chatter over x mode's frequency
    depth: Floats  # present depth where it grows, limit depth where it doesn't
    grows: NDArray[np.bool_]
    weight: Floats
    base_hz: Floats


def draw_machines(
    bases: tuple[BaseFrequency, ...], *, rpm: float, verdict: Verdict, setup: CutSetup
) -> Machines | None:
    """Draw machines that chatter at one of the base frequencies at this true speed.

    The same input gives the same machines. None where no drawn shape can chatter so.
    """
    rng = np.random.default_rng(SEED)
    shapes = _draw_shapes(rng, setup)
    x_mode, y_mode = shapes.respond(0.0)
    edge = stability.find_boundary(x_mode, y_m_per_n=y_mode, factors=shapes.factors, flutes=setup.flutes)
    low, high = MARGINAL_DEPTHS if verdict == "marginal" else CHATTER_DEPTHS
    most_growth = 0.0 if verdict == "marginal" else MOST_TOOTH_GROWTH
    found = [
        _stand(shapes, rng=rng, base=base, rpm=rpm, flutes=setup.flutes, most_growth=most_growth)
        for base in bases
    ]
    shape = np.concatenate([one.shape for one in found])
    ratio = np.concatenate([one.ratio for one in found])
    depth = np.concatenate([one.depth for one in found])
    grows = np.concatenate([one.grows for one in found])
    weight = np.concatenate([one.weight for one in found])
    x_hz = np.concatenate([one.base_hz for one in found]) / ratio
    # Held at its limit by the tool leaving the cut, chatter says nothing of the depth: draw that.
    limit_share = np.exp(-rng.uniform(math.log(low), math.log(high), shape.size))
    per_depth = limit_share / depth
    if grows.any():
        limit, _ = stability.limit_at_speed(
            stability.Boundary(
                depth_times_kt=edge.depth_times_kt[:, shape[grows]],
                phase_turns=edge.phase_turns[:, shape[grows]],
            ),
            frequency_hz=x_hz[grows, None] * TRIAL_RATIO,
            speed_rpm=rpm,
            flutes=setup.flutes,
        )
        per_depth[grows] = 1 / depth[grows]
        limit_share[grows] = limit / depth[grows]
        weight = np.where((limit_share * low <= 1.0001) & (limit_share * high >= 0.9999), weight, 0.0)
    if weight.sum() <= 0:
        return None
    pick = _resample(weight, rng=rng)
    shape, x_hz, ratio, per_depth = shape[pick], x_hz[pick], ratio[pick], per_depth[pick]
    second = shapes.y_hz[shape, 0]
    nearest = np.where(np.abs(np.log(ratio)) < np.abs(np.log(ratio / second)), x_hz, x_hz * second)
    return Machines(
        trial_hz=x_hz[:, None] * TRIAL_RATIO,
        phase_turns=edge.phase_turns[:, shape],
        depth_share=edge.depth_times_kt[:, shape] * per_depth[:, None],
        natural_hz=nearest,
        limit_share=limit_share[pick],
    )


def _draw_shapes(rng: np.random.Generator, setup: CutSetup) -> _Shapes:
    """Draw machines with the x mode at frequency and stiffness 1."""

    def damping() -> Floats:
        return np.exp(rng.uniform(math.log(DAMPING_RANGE[0]), math.log(DAMPING_RANGE[1]), (SHAPES, 1)))

    x_damping, y_damping = damping(), damping()
    force_ratio = rng.uniform(*FORCE_RATIO_RANGE, (SHAPES, 1))
    entry, leave = _draw_arcs(rng, setup)
    return _Shapes(
        x_damping=x_damping,
        y_damping=y_damping,
        y_hz=np.exp(rng.normal(0, 0.12, (SHAPES, 1))),  # own choice: a tool is much the same both ways
        y_stiffness=np.exp(rng.normal(0, 0.4, (SHAPES, 1))),
        factors=stability.directional_factors(entry, exit_rad=leave, radial_ratio=force_ratio),
    )


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
    shapes: _Shapes,
    *,
    rng: np.random.Generator,
    base: BaseFrequency,
    rpm: float,
    flutes: int,
    most_growth: float,
) -> _Stands:
    """Find where on its lobes each shape stands, half of them growing, half held at the limit."""
    turns = base.frequency_hz / (rpm * flutes / 60)
    tooth_growth = rng.uniform(0, 1, (SHAPES, 1)) * most_growth * (rng.random((SHAPES, 1)) < 0.5)
    x_mode, y_mode = shapes.respond(tooth_growth / (2 * math.pi * turns))
    eigenvalue = stability.find_eigenvalues(x_mode, y_m_per_n=y_mode, factors=shapes.factors)
    spread = rng.normal(0, PHASE_SPREAD_TURNS, (SHAPES, 1))
    # One tooth's wave against the next: the depth is real only where the phases fit.
    regeneration = 1 - np.exp(-2j * math.pi * (turns + spread) - tooth_growth)
    depth = -4 * math.pi / flutes * eigenvalue / regeneration
    left, right = depth[..., :-1], depth[..., 1:]
    branch, shape, trial = np.nonzero(
        ((left.imag > 0) != (right.imag > 0)) & (left.real > 0) & (right.real > 0)
    )
    at = left.real[branch, shape, trial]
    phase = np.angle(right[branch, shape, trial] / left[branch, shape, trial]) / -math.pi
    slope = phase / math.log(TRIAL_RATIO[1] / TRIAL_RATIO[0])  # turns per e-fold of frequency
    # Density of natural frequencies for one heard frequency: flat prior over log, so 1 / (d ln fc / d ln fn)
    weight = np.clip(np.abs(1 - turns / slope), 0, 5)
    lowest = np.full(SHAPES, np.inf)
    np.minimum.at(lowest, shape, at)
    # of several lobes that this phase allows, the cut chatters on the lowest or near it
    weight *= np.exp(-0.5 * (np.log(at / lowest[shape]) / 0.3) ** 2)
    total = weight.sum()
    return _Stands(
        shape=shape,
        ratio=TRIAL_RATIO[trial],
        depth=at,
        grows=tooth_growth[shape, 0] > 0,
        weight=weight * base.weight / total if total > 0 else weight,
        base_hz=np.full(shape.size, base.frequency_hz),
    )


def _resample(weight: Floats, *, rng: np.random.Generator) -> NDArray[np.intp]:
    """Give indices of equally likely draws (systematic resampling)."""
    edges = np.cumsum(weight) / weight.sum()
    return np.minimum(np.searchsorted(edges, (np.arange(DRAWS) + rng.random()) / DRAWS), weight.size - 1)
