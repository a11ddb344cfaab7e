"""Stability of milling by semi-discretization: whether a small disturbance grows from tooth to tooth.

In: modes of the tool along x (feed) and y, immersion, cutting coefficients, speed and depth. Out: the
largest Floquet multiplier over one tooth period (above 1 in size: chatter; near -1: period doubling), over
a grid of speeds and depths, and the depth at which it reaches 1. With uneven pitch the period is one turn.
Methods: `largest_multiplier` is the published one, slow and plain: the delayed term is held constant over
each of k steps a tooth period, at the mean of its two ends; the cutting force's direction is averaged over
each step; the disturbance is then carried exactly. `multiplier_map` is our fast one: each step's force, its
present and its delayed part alike, acts as one push in the step's middle, and between pushes the modes swing
exactly (operator splitting: G. Strang, SIAM J. Numer. Anal. 5, 1968, from memory). Both err with the square
of the step and meet in the limit (tests/reference/test_semi_discretization.py); docs/stability.md compares.
Source: T. Insperger and G. Stépán, Int. J. Numer. Meth. Eng. 61 (2004) 117 to 141.
Leaves out: run-out, helix, process damping; disturbances so large that a tooth leaves the cut.
"""

import math
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from chatter.errors import BadValueError
from chatter.milling.stability import directional_factors

Floats = NDArray[np.float64]
LEAST_STEPS = 120  # a tooth period; the error of a multiplier falls with the square of the steps
STEPS_PER_SWING = (
    30  # of the fastest mode: 0.5 % of a multiplier (tests/reference/test_semi_discretization.py)
)
DENSE = 600  # beyond this size only the largest multipliers are worked out, by Arnoldi iteration
PUSHES_PER_SWING = 40  # of the fastest mode; with the next, 0.7 % of 150 limit depths, half of them within
LEAST_PUSHES = 120  # in one tooth's arc of cut; 0.02 % (tests/reference/test_semi_discretization.py)
TOLERANCE = 1e-3  # of the limit depth
GROW = 1.02  # between trial depths: a narrower island of chatter below the limit is missed
MOST_PUSHES = 20_000  # in one arc, own choice: 100 MB a processor; the fastest mode swings 500 times there
SAME_ANGLE_RAD = 1e-9  # own choice: far above rounding, far below any step


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
    pitch_rad: tuple[float, ...] | None = None  # turned from each tooth to the one cutting next; None: even


def steps_for(system: MillingSystem) -> int:
    """Give the steps a tooth period that keep `largest_multiplier` within a few thousandths."""
    swings = float(system.natural_hz.max()) * 60 / (system.rpm * system.flutes)
    return max(LEAST_STEPS, math.ceil(STEPS_PER_SWING * swings))


def largest_multiplier(system: MillingSystem, *, depth_m: float, steps: int | None = None) -> complex:
    """Give the largest multiplier of a disturbance over one period, by the published method.

    Parameters
    ----------
    system
        What cuts, and how.
    depth_m
        Axial depth, m.
    steps
        A (mean) tooth period; `steps_for(system)` when not given.

    Returns
    -------
    complex
        Over one tooth period, or over one turn where the pitch is given. Size above 1: the cut is unstable.
        Real and negative: period doubling.

    Raises
    ------
    BadValueError
        A part of the system is out of its range.
    """
    check_system(system)
    check_grid("rpm", np.array([system.rpm]))
    wanted = steps_for(system) if steps is None else steps
    matrix = _monodromy(system, depth_m, wanted if system.pitch_rad is None else wanted * system.flutes)
    if len(matrix) <= DENSE:
        found = np.asarray(linalg.eigvals(matrix))
    else:
        start = np.ones(len(matrix))  # fixed, so that the same system gives the same answer
        found = np.asarray(sparse.linalg.eigs(matrix, k=6, ncv=60, v0=start, return_eigenvectors=False))
    return complex(found[np.argmax(np.abs(found))])


def multiplier_map(
    system: MillingSystem, *, speeds_rpm: Floats, depths_m: Floats, steps: int | None = None
) -> NDArray[np.complex128]:
    """Give the largest multiplier of a disturbance over one period at each speed and depth.

    The first call on a machine compiles for some seconds; the result is kept on disk.

    Parameters
    ----------
    system
        What cuts, and how; its own speed is not used.
    speeds_rpm
        Shape (speeds,), above 0.
    depths_m
        Shape (depths,), 0 or more.
    steps
        A (mean) tooth period, for tests of convergence; when not given, enough at each speed to keep a
        multiplier near 1 within 0.3 %.

    Returns
    -------
    NDArray
        Shape (speeds, depths). Over one tooth period, or over one turn where the pitch is given. Size above
        1: the cut is unstable (inf where it is beyond all numbers). Real and negative: period doubling.

    Raises
    ------
    BadValueError
        A part of the system, a speed or a depth is out of its range; a speed is too slow to follow the
        fastest mode.
    """
    from chatter.milling import _semi_kernel  # compiled: only loaded where it is used

    check_system(system)
    speeds, depths = check_grid("speeds_rpm", speeds_rpm), np.asarray(depths_m, dtype=np.float64)
    if depths.ndim != 1 or not np.all(np.isfinite(depths) & (depths >= 0)):
        raise BadValueError("depths_m", depths_m, "a list of finite depths of 0 or more")

    def work(rpm: float) -> NDArray[np.complex128]:
        found = _semi_kernel.find_multipliers(depths, *_tables(replace(system, rpm=rpm), steps))
        if np.isnan(found).any():
            raise BadValueError("speeds_rpm", rpm, "a higher speed: at this one no multiplier stands out")
        return np.asarray(found)

    if len(speeds) * len(depths) == 0:
        return np.zeros((len(speeds), len(depths)), dtype=np.complex128)
    if len(speeds) == 1:
        return work(float(speeds[0]))[None]
    with ThreadPoolExecutor(os.cpu_count()) as pool:  # the compiled part frees the interpreter
        return np.array(list(pool.map(work, speeds.tolist())))


def limit_depth_m(system: MillingSystem, *, most_m: float, steps: int | None = None) -> float:
    """Give the smallest unstable depth, m, found by growing the depth and then bisection.

    Bisection alone would jump over a depth range of chatter with stable depths above it; so the depth
    grows by 2 % a trial, up from a thousandth of `most_m`, until the first one that is unstable.

    Returns
    -------
    float
        inf when no trial depth up to `most_m` is unstable.

    Raises
    ------
    BadValueError
        A part of the system or the depth is out of its range.
    """
    if not (math.isfinite(most_m) and most_m > 0):
        raise BadValueError("most_m", most_m, "a finite depth above 0")
    check_grid("rpm", np.array([system.rpm]))
    speed = np.array([system.rpm])

    def unstable(depths_m: Floats) -> NDArray[np.bool_]:
        found = multiplier_map(system, speeds_rpm=speed, depths_m=depths_m, steps=steps)
        return np.asarray(np.abs(found[0]) > 1)

    trials = np.append(most_m / 1000 * GROW ** np.arange(math.ceil(math.log(1000) / math.log(GROW))), most_m)
    for some in np.array_split(np.arange(len(trials)), 20):  # the first few often hold the answer
        bad = some[unstable(trials[some])]
        if len(bad):
            break
    else:
        return math.inf
    low, high = (0.0 if bad[0] == 0 else float(trials[bad[0] - 1])), float(trials[bad[0]])
    while high - low > TOLERANCE * high:
        middle = (low + high) / 2
        low, high = (low, middle) if unstable(np.array([middle]))[0] else (middle, high)
    return (low + high) / 2


def check_grid(name: str, values: Floats) -> Floats:
    """Give the values back as an array if all are finite and above 0."""
    grid = np.asarray(values, dtype=np.float64)
    if grid.ndim != 1 or not np.all(np.isfinite(grid) & (grid > 0)):
        raise BadValueError(name, values, "a list of finite numbers above 0")
    return grid


def check_system(system: MillingSystem) -> None:
    """Refuse a system that can't be a cutting tool.

    Raises
    ------
    BadValueError
        The first part that is out of its range.
    """
    for name in ("natural_hz", "damping_ratio", "stiffness_n_per_m"):
        check_grid(name, getattr(system, name))
    if np.any(system.damping_ratio >= 1):
        raise BadValueError("damping_ratio", system.damping_ratio, "ratios under 1: a mode that swings")
    modes = len(system.natural_hz)
    if modes == 0 or any(
        len(part) != modes for part in (system.damping_ratio, system.stiffness_n_per_m, system.along_y)
    ):
        raise BadValueError("natural_hz", system.natural_hz, "one mode or more, each with all four numbers")
    if system.flutes < 1 or system.flutes != int(system.flutes):
        raise BadValueError("flutes", system.flutes, "a whole number of at least 1")
    if not (math.isfinite(system.tangential_pa) and system.tangential_pa > 0):
        raise BadValueError("tangential_pa", system.tangential_pa, "a finite number above 0")
    if not (math.isfinite(system.radial_ratio) and system.radial_ratio >= 0):
        raise BadValueError("radial_ratio", system.radial_ratio, "a finite number of 0 or more")
    if not (0 <= system.entry_rad < system.exit_rad <= math.pi + SAME_ANGLE_RAD):
        raise BadValueError(
            "entry_rad", system.entry_rad, f"angles from 0 to pi, entry before exit ({system.exit_rad:g})"
        )
    if system.pitch_rad is not None and (
        len(system.pitch_rad) != system.flutes
        or not min(system.pitch_rad) > 0
        or abs(sum(system.pitch_rad) - 2 * math.pi) > 1e-6  # what degrees with six places leave
    ):
        raise BadValueError("pitch_rad", system.pitch_rad, "an angle above 0 for each tooth, in all 2 pi")


def _pitches(system: MillingSystem) -> Floats:
    """Give the angle from each tooth to the next, and so the delay of the next."""
    if system.pitch_rad is None:
        return np.full(system.flutes, 2 * math.pi / system.flutes)
    return np.array(system.pitch_rad) * (2 * math.pi / sum(system.pitch_rad))


def _arc_edges(system: MillingSystem, step_rad: float) -> Floats:
    """Cut one tooth's arc into steps that lie alike for every tooth in the work at once.

    Else the steps of two teeth would lie across each other, and the error would not fall evenly.
    """
    pitch = 2 * math.pi / system.flutes
    arc = system.exit_rad - system.entry_rad
    turns = math.floor(arc / pitch + SAME_ANGLE_RAD)
    rest = max(arc - turns * pitch, 0.0)
    ends = {system.entry_rad + j * pitch for j in range(turns + 1)}
    ends |= {system.entry_rad + j * pitch + rest for j in range(turns + 1)}
    edges = [system.entry_rad]
    for end in sorted(ends):
        if end - edges[-1] > SAME_ANGLE_RAD:
            count = math.ceil((end - edges[-1]) / step_rad - SAME_ANGLE_RAD)
            edges.extend(np.linspace(edges[-1], end, count + 1)[1:].tolist())
    return np.array(edges)


def _tables(
    system: MillingSystem, steps: int | None
) -> tuple[NDArray[np.int64], Floats, Floats, NDArray[np.int64], NDArray[np.int64], Floats]:
    """Give what the compiled part asks for: see its `find_multipliers`."""
    turn_rad_s = system.rpm * 2 * math.pi / 60
    if steps is None:
        arc = system.exit_rad - system.entry_rad
        step_rad = min(arc / LEAST_PUSHES, turn_rad_s / (PUSHES_PER_SWING * float(system.natural_hz.max())))
    else:
        step_rad = 2 * math.pi / system.flutes / steps
    if (system.exit_rad - system.entry_rad) / step_rad > MOST_PUSHES:
        raise BadValueError(
            "speeds_rpm", system.rpm, "a higher speed: the fastest mode swings too often while a tooth cuts"
        )
    edges = _arc_edges(system, step_rad)
    middle = (edges[:-1] + edges[1:]) / 2 - system.entry_rad
    factors = directional_factors(edges[:-1], exit_rad=edges[1:], radial_ratio=system.radial_ratio)
    # The factors are twice the integral over the angle; over the turning speed: force per move, times time.
    rows = np.array([[factors.xx, factors.xy], [factors.yx, factors.yy]]) / (2 * turn_rad_s)
    axis = system.along_y.astype(np.int64)
    omega = 2 * math.pi * system.natural_hz
    # [Pa] * [rad/s] / [N/m] * [s]: speed over omega, per depth and move
    gain = system.tangential_pa * omega / system.stiffness_n_per_m
    push = np.ascontiguousarray(np.moveaxis(rows[axis] * gain[:, None, None], -1, 0))

    if system.pitch_rad is None:
        period = 2 * math.pi / system.flutes
        passes, node = np.mod(middle + SAME_ANGLE_RAD, period) - SAME_ANGLE_RAD, np.arange(len(middle))
    else:
        period = 2 * math.pi
        lags = np.cumsum(_pitches(system))
        passes = np.mod((middle + lags[:, None]).ravel(), period)
        node = np.tile(np.arange(len(middle)), system.flutes)
    order = np.argsort(passes, kind="stable")
    times = np.clip(passes[order], 0, period) / turn_rad_s
    gaps = np.diff(times, prepend=0.0, append=period / turn_rad_s)[:, None]
    zeta = system.damping_ratio
    share = np.sqrt(1 - zeta**2)
    sin, cos = np.sin(omega * share * gaps), np.cos(omega * share * gaps)
    fade = np.exp(-zeta * omega * gaps)
    swing = [cos + zeta / share * sin, sin / share, -sin / share, cos - zeta / share * sin]
    drift = np.stack([fade * part for part in swing], axis=-1)

    used = [bool(np.any(axis == 0)), bool(np.any(axis == 1))]
    slot = np.array([0 if used[0] else -1, int(used[0]) if used[1] else -1])
    size = 2 * len(axis) + sum(used) * len(middle)
    start = np.random.default_rng(0).normal(size=size)  # fixed: the same system gives the same answer
    return node[order].astype(np.int64), drift, push, axis, slot, start


def _directions(system: MillingSystem, steps: int) -> Floats:
    """Give the mean of the force's direction over each step: shape (steps, teeth, 2, 2), forces by moves."""
    pitches = _pitches(system)
    period = pitches[0] if system.pitch_rad is None else 2 * math.pi
    width = period / steps
    starts = np.mod(np.arange(steps)[:, None] * width - (np.cumsum(pitches) - pitches), 2 * math.pi)
    total = np.zeros((steps, system.flutes, 2, 2))
    for turn in (0, 2 * math.pi):  # a step may begin before a turn ends and end after
        ends = [
            np.clip(angle - turn, system.entry_rad, system.exit_rad) for angle in (starts, starts + width)
        ]
        factors = directional_factors(ends[0], exit_rad=ends[1], radial_ratio=system.radial_ratio)
        rows = np.array([[factors.xx, factors.xy], [factors.yx, factors.yy]])
        total += np.moveaxis(rows, (0, 1), (2, 3)) / (2 * width)  # the factors are twice the integral
    return total


def _monodromy(system: MillingSystem, depth_m: float, steps: int) -> Floats:
    """Give the matrix that carries a disturbance over one period of so many steps.

    Its state: places and speeds of the modes, then the tool's places at those past steps that a later
    tooth will cut into.
    """
    modes = len(system.natural_hz)
    omega = 2 * math.pi * system.natural_hz
    axes = np.array([~system.along_y, system.along_y], dtype=np.float64)  # (2, modes): moves from modes
    cutting = system.tangential_pa * depth_m * _directions(system, steps)
    if system.pitch_rad is None:  # all teeth look back as far
        period_s, back = 60 / (system.rpm * system.flutes), np.array([float(steps)])
        cutting = cutting.sum(axis=1, keepdims=True)
    else:
        period_s, back = 60 / system.rpm, np.roll(_pitches(system), 1) / (2 * math.pi) * steps
    push = (omega**2 / system.stiffness_n_per_m)[:, None] * axes.T  # (modes, 2): force over mass
    whole = np.zeros((steps, 2 * modes + 2, 2 * modes + 2))
    whole[:, :modes, modes : 2 * modes] = np.eye(modes)
    whole[:, modes : 2 * modes, :modes] = push @ cutting.sum(axis=1) @ axes - np.diag(omega**2)
    whole[:, modes : 2 * modes, modes : 2 * modes] = -np.diag(2 * system.damping_ratio * omega)
    whole[:, modes : 2 * modes, 2 * modes :] = -push
    carry = linalg.expm(whole * (period_s / steps))
    # Each tooth of each step looks at three places around its own, one period's steps added to count from 0;
    # the held value is the mean of the two ends of the step, each between two of those places.
    seen = np.arange(steps)[:, None] - back + steps
    first = np.floor(seen + SAME_ANGLE_RAD).astype(np.int64)
    part = np.clip(seen - first, 0, 1)
    shares = np.stack([(1 - part) / 2, np.full_like(part, 0.5), part / 2])
    needed = np.zeros(2 * steps + 3, dtype=np.bool_)
    for ahead in range(3):
        looks = np.any(cutting != 0, axis=(2, 3)) & (shares[ahead] > SAME_ANGLE_RAD)
        needed[(first + ahead)[looks]] = True
    kept = np.flatnonzero(needed[:steps])
    used = axes.any(axis=1)
    size = 2 * modes + int(used.sum()) * len(kept)
    state = np.eye(2 * modes, size)
    places = np.zeros((2 * steps + 3, 2, size))
    for count, step in enumerate(kept.tolist()):
        column = 2 * modes + int(used.sum()) * count
        places[step, used, column : column + used.sum()] = np.eye(int(used.sum()))
    places[steps] = axes @ state[:modes]
    for step in range(steps):
        force = np.zeros((2, size))
        for tooth in np.flatnonzero(np.any(cutting[step] != 0, axis=(1, 2))).tolist():
            at = first[step, tooth]
            held = np.tensordot(shares[:, step, tooth], places[at : at + 3], axes=1)
            force += cutting[step, tooth] @ held
        state = carry[step, : 2 * modes, : 2 * modes] @ state + carry[step, : 2 * modes, 2 * modes :] @ force
        places[steps + step + 1] = axes @ state[:modes]
    return np.concatenate([state, *places[kept + steps][:, used]])
