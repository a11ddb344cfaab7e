"""Milling in the time domain: teeth, a springy tool, and the surface they leave behind.

In: a tool, its modes, cutting conditions and a depth along time. Out: forces and displacements.
Method: each tooth's chip is the distance between where its edge is and the surface that earlier teeth left
at the same angle; a tooth that has left the work cuts nothing, and the surface it missed stays for the next
(multiple regeneration). Each mode moves by its exact response to a force held over one step.
Source: Y. Altintas, Manufacturing Automation, 2nd ed., 2012, chapters 2 and 4 (kinematics, dynamic
milling); T. L. Schmitz and K. S. Smith, Machining Dynamics, 2009, chapter 4 (time-domain simulation).
Leaves out: helix, process damping, edge forces, the feed's trochoid (a circle is used, common practice).
"""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
STEPS_PER_TURN = 720  # at least; teeth and surface share this grid
STEPS_PER_PERIOD = 40  # of the fastest mode


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """One mode at the tool point, along x (feed) or y (normal to it)."""

    axis: str  # "x" or "y"
    frequency_hz: float
    damping_ratio: float
    stiffness_n_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """A cutter and what it is held by."""

    flutes: int
    modes: tuple[Mode, ...]
    runout_m: tuple[float, ...] = ()  # radial offset of each tooth; none when empty


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """How the tool meets the work."""

    rpm: float
    immersion: float  # radial width over diameter, 0 to 1
    direction: str  # "up" or "climb"
    feed_per_tooth_m: float
    pressure_pa: float  # tangential cutting pressure
    force_ratio: float  # radial over tangential

    def angles_rad(self) -> tuple[float, float]:
        """Give entry and exit angle from the y axis, turning the way the tool turns.

        >>> Conditions(rpm=1, immersion=0.5, direction="up", feed_per_tooth_m=1, pressure_pa=1,
        ...            force_ratio=0).angles_rad()
        (0.0, 1.5707963267948966)
        """
        if self.direction == "up":
            return 0.0, float(np.arccos(1 - 2 * self.immersion))
        return float(np.arccos(2 * self.immersion - 1)), float(np.pi)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedCut:
    """Forces on the tool and its motion; all shapes (n,)."""

    rate_hz: float  # mean rate: one sample a step of angle
    time_s: Floats
    force_x_n: Floats
    force_y_n: Floats
    x_m: Floats
    y_m: Floats
    chip_m: Floats  # largest chip thickness of any tooth


def steps_per_turn(tool: Tool, conditions: Conditions) -> int:
    """Give the angular grid: fine enough for teeth and for the fastest mode, a multiple of the flutes."""
    fastest = max(mode.frequency_hz for mode in tool.modes)
    wanted = max(STEPS_PER_TURN, STEPS_PER_PERIOD * fastest / (conditions.rpm / 60))
    return int(np.ceil(wanted / tool.flutes)) * tool.flutes


def simulate_cut(
    tool: Tool,
    conditions: Conditions,
    *,
    depth_m: Floats,
    speed_factor: Floats | None = None,
    noise: Floats | None = None,
    steps: int | None = None,
) -> SimulatedCut:
    """Cut along time.

    Parameters
    ----------
    tool, conditions
        What cuts, and how.
    depth_m
        Shape (n,): axial depth at each angular step; 0 out of the work.
    speed_factor
        Shape (n,): speed over `conditions.rpm` at each step; 1 when not given.
    noise
        Shape (n,): factor on the force at each step (chip formation); 1 when not given.
    steps
        Steps a turn; a multiple of the flutes. Chosen from the modes when not given.

    Returns
    -------
    SimulatedCut

    Source: Altintas 2012, equations 2.19 and 4.26 (forces from chip thickness).
    """
    count = len(depth_m)
    per_turn = steps_per_turn(tool, conditions) if steps is None else steps
    factor = np.ones(count) if speed_factor is None else speed_factor
    rough = np.ones(count) if noise is None else noise
    entry, leave = conditions.angles_rad()
    runout = np.zeros(tool.flutes) if not tool.runout_m else np.asarray(tool.runout_m, dtype=np.float64)
    axis = np.array([0 if mode.axis == "x" else 1 for mode in tool.modes])
    omega = np.array([2 * np.pi * mode.frequency_hz for mode in tool.modes])
    zeta = np.array([mode.damping_ratio for mode in tool.modes])
    stiffness = np.array([mode.stiffness_n_m for mode in tool.modes])
    step_s = 60 / (conditions.rpm * per_turn) / factor
    force, motion, chip = _run(
        depth_m, step_s, rough, per_turn, tool.flutes, entry, leave, runout,
        conditions.feed_per_tooth_m, conditions.pressure_pa, conditions.force_ratio,
        axis, omega, zeta, stiffness,
    )  # fmt: skip
    return SimulatedCut(
        rate_hz=conditions.rpm / 60 * per_turn,
        time_s=np.cumsum(step_s),
        force_x_n=force[0],
        force_y_n=force[1],
        x_m=motion[0],
        y_m=motion[1],
        chip_m=chip,
    )


@njit(cache=True)
def _run(  # noqa: C901  one compiled loop: calls inside it would only hide it
    depth: Floats,
    step_s: Floats,
    rough: Floats,
    per_turn: int,
    flutes: int,
    entry: float,
    leave: float,
    runout: Floats,
    feed: float,
    pressure: float,
    ratio: float,
    axis: NDArray[np.int64],
    omega: Floats,
    zeta: Floats,
    stiffness: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Step through the cut; see simulate_cut."""
    count = len(depth)
    modes = len(omega)
    force = np.zeros((2, count))
    motion = np.zeros((2, count))
    chip = np.zeros(count)
    place = np.zeros(modes)
    speed = np.zeros(modes)
    # Surface left at each angle of the turn, along that angle's radius, seen from the moving tool:
    # each tooth pitch the feed brings it nearer by feed * sin(angle).
    surface = np.zeros(per_turn)
    seen = np.zeros(per_turn, dtype=np.int64)  # step at which it was last brought up to date
    pitch = per_turn // flutes
    sin = np.sin(2 * np.pi * np.arange(per_turn) / per_turn)
    cos = np.cos(2 * np.pi * np.arange(per_turn) / per_turn)
    step_feed = feed / pitch  # per step
    last_s = -1.0
    a11 = np.zeros(modes)
    a12 = np.zeros(modes)
    a21 = np.zeros(modes)
    a22 = np.zeros(modes)
    for i in range(count):
        dt = step_s[i]
        if abs(dt - last_s) > 1e-5 * dt:
            for m in range(modes):
                damped = omega[m] * np.sqrt(1 - zeta[m] ** 2)
                decay = np.exp(-zeta[m] * omega[m] * dt)
                s, c = np.sin(damped * dt), np.cos(damped * dt)
                a11[m] = decay * (c + zeta[m] * omega[m] / damped * s)
                a12[m] = decay * s / damped
                a21[m] = -decay * omega[m] ** 2 / damped * s
                a22[m] = decay * (c - zeta[m] * omega[m] / damped * s)
            last_s = dt
        x = 0.0
        y = 0.0
        for m in range(modes):
            if axis[m] == 0:
                x += place[m]
            else:
                y += place[m]
        fx = 0.0
        fy = 0.0
        for tooth in range(flutes):
            at = (i + tooth * pitch) % per_turn
            angle = 2 * np.pi * at / per_turn
            inside = entry <= angle <= leave
            if not inside:
                continue
            # Work left standing beyond the edge since the last visit: the tool moved toward it by feed.
            elapsed = i - seen[at]
            surface[at] -= step_feed * elapsed * sin[at]
            seen[at] = i
            edge = x * sin[at] + y * cos[at] + runout[tooth]
            thick = edge - surface[at]
            if depth[i] <= 0.0:
                surface[at] = edge
                continue
            if thick > 0.0:
                surface[at] = edge
                if thick > chip[i]:
                    chip[i] = thick
                tangential = pressure * depth[i] * thick * rough[i]
                radial = ratio * tangential
                fx += -tangential * cos[at] - radial * sin[at]
                fy += tangential * sin[at] - radial * cos[at]
        force[0, i] = fx
        force[1, i] = fy
        motion[0, i] = x
        motion[1, i] = y
        for m in range(modes):
            rest = (fx if axis[m] == 0 else fy) / stiffness[m]
            off = place[m] - rest
            new = a11[m] * off + a12[m] * speed[m]
            speed[m] = a21[m] * off + a22[m] * speed[m]
            place[m] = new + rest
            if abs(place[m]) < 1e-24 and abs(speed[m]) < 1e-20:
                place[m] = 0.0  # numbers too small to hold slow the processor down
                speed[m] = 0.0
    return force, motion, chip
