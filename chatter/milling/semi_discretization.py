"""Stability of milling by semi-discretization: whether a small disturbance grows from tooth to tooth.

In: modes of the tool along x (feed) and y, immersion, cutting coefficients, speed and depth. Out: the
largest Floquet multiplier over one tooth period (above 1 in size: chatter; near -1: period doubling), and
the depth at which it reaches 1.
Method: the delayed term is held constant over each of k steps a tooth period, at the mean of its two ends;
the cutting force's direction is averaged over each step; the disturbance is then carried exactly.
Source: T. Insperger and G. Stépán, Int. J. Numer. Meth. Eng. 61 (2004) 117 to 141.
Leaves out: run-out, uneven pitch, helix, process damping; disturbances so large that a tooth leaves the cut.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from chatter.milling.stability import directional_factors

Floats = NDArray[np.float64]
LEAST_STEPS = 120  # a tooth period; the error of a multiplier falls with the square of the steps
STEPS_PER_SWING = (
    30  # of the fastest mode: 0.2 % of a multiplier (tests/reference/test_semi_discretization.py)
)
DENSE = 600  # beyond this size only the largest multipliers are worked out, by Arnoldi iteration
TOLERANCE = 1e-3  # of the limit depth
GROW = 1.1  # between trial depths: a narrower island of chatter below the limit is missed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MillingSystem:
    """A tool with its modes and the way it cuts; mode arrays have shape (modes,)."""

    natural_hz: Floats
    damping_ratio: Floats
    stiffness_n_per_m: Floats
    along_y: NDArray[np.bool_]  # False: along the feed
    flutes: int
    rpm: float
    entry_rad: float  # from the y axis, turning with the tool
    exit_rad: float
    tangential_pa: float
    radial_ratio: float  # radial over tangential coefficient


def steps_for(system: MillingSystem) -> int:
    """Give the steps a tooth period that keep a multiplier within a few thousandths."""
    swings = float(system.natural_hz.max()) * 60 / (system.rpm * system.flutes)
    return max(LEAST_STEPS, math.ceil(STEPS_PER_SWING * swings))


def largest_multiplier(system: MillingSystem, *, depth_m: float, steps: int | None = None) -> complex:
    """Give the largest multiplier of a disturbance over one tooth period.

    Parameters
    ----------
    system
        What cuts, and how.
    depth_m
        Axial depth, m.
    steps
        A tooth period; `steps_for(system)` when not given.

    Returns
    -------
    complex
        Size above 1: the cut is unstable. Real and negative: period doubling.
    """
    matrix = _monodromy(system, depth_m, steps_for(system) if steps is None else steps)
    if len(matrix) <= DENSE:
        found = np.asarray(linalg.eigvals(matrix))
    else:
        start = np.ones(len(matrix))  # fixed, so that the same system gives the same answer
        found = np.asarray(sparse.linalg.eigs(matrix, k=6, ncv=60, v0=start, return_eigenvectors=False))
    return complex(found[np.argmax(np.abs(found))])


def limit_depth_m(system: MillingSystem, *, most_m: float, steps: int | None = None) -> float:
    """Give the smallest unstable depth, m, found by growing the depth and then bisection.

    Returns
    -------
    float
        inf when no trial depth up to `most_m` is unstable.
    """

    def unstable(depth_m: float) -> bool:
        return abs(largest_multiplier(system, depth_m=depth_m, steps=steps)) > 1

    low, high = 0.0, most_m / 1000
    while not unstable(high):
        if high >= most_m:
            return math.inf
        low, high = high, min(most_m, GROW * high)
    while high - low > TOLERANCE * high:
        middle = (low + high) / 2
        low, high = (low, middle) if unstable(middle) else (middle, high)
    return (low + high) / 2


def _directions(system: MillingSystem, steps: int) -> Floats:
    """Give the mean of the force's direction over each step: shape (steps, 2, 2), forces by moves."""
    pitch = 2 * math.pi / system.flutes
    edges = np.arange(steps + 1) * pitch / steps
    starts = edges[:-1, None] + pitch * np.arange(system.flutes)
    ends = edges[1:, None] + pitch * np.arange(system.flutes)
    clipped = [np.clip(angle, system.entry_rad, system.exit_rad) for angle in (starts, ends)]
    factors = directional_factors(clipped[0], exit_rad=clipped[1], radial_ratio=system.radial_ratio)
    rows = [[factors.xx, factors.xy], [factors.yx, factors.yy]]
    # The factors are twice the integral over the angle; summed over the teeth.
    return np.asarray(np.moveaxis(np.array(rows).sum(axis=-1), -1, 0) / (2 * pitch / steps))


def _monodromy(system: MillingSystem, depth_m: float, steps: int) -> Floats:
    """Give the matrix that carries a disturbance over one tooth period.

    Its state: places and speeds of the modes, then the tool's places at those past steps that a later
    tooth will cut into.
    """
    modes = len(system.natural_hz)
    omega = 2 * math.pi * system.natural_hz
    axes = np.array([~system.along_y, system.along_y], dtype=np.float64)  # (2, modes): moves from modes
    cutting = system.tangential_pa * depth_m * _directions(system, steps)
    # Force on a mode over its mass, per move of the tool: (steps, modes, 2)
    push = (omega**2 / system.stiffness_n_per_m)[:, None] * (axes.T @ cutting)
    whole = np.zeros((steps, 2 * modes + 2, 2 * modes + 2))
    whole[:, :modes, modes : 2 * modes] = np.eye(modes)
    whole[:, modes : 2 * modes, :modes] = push @ axes - np.diag(omega**2)
    whole[:, modes : 2 * modes, modes : 2 * modes] = -np.diag(2 * system.damping_ratio * omega)
    whole[:, modes : 2 * modes, 2 * modes :] = -push  # the surface left one tooth period ago
    carry = linalg.expm(whole * (60 / (system.rpm * system.flutes) / steps))
    cuts = np.any(cutting != 0, axis=(1, 2))
    needed = cuts | np.append(
        False, cuts[:-1]
    )  # step i looks back at places i and i + 1, the last at state 0
    used = axes.any(axis=1)
    column = 2 * modes + used.sum() * (np.cumsum(needed) - 1)
    size = 2 * modes + int(used.sum() * needed.sum())
    state = np.eye(2 * modes, size)
    now = axes @ state[:modes]
    past = np.zeros((steps + 1, 2, size))  # places one tooth period ago, from the state at its end
    for step in np.flatnonzero(needed).tolist():
        past[step, used, column[step] : column[step] + used.sum()] = np.eye(int(used.sum()))
    past[steps] = now
    rows = [np.zeros((0, size))]
    for step in range(steps):
        if needed[step]:
            rows.append((axes @ state[:modes])[used])
        held = (past[step] + past[step + 1]) / 2
        state = carry[step, : 2 * modes, : 2 * modes] @ state + carry[step, : 2 * modes, 2 * modes :] @ held
    return np.concatenate([state, *rows])
