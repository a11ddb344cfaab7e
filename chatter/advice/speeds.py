"""Speeds ranked by how likely the cut is to be stable there.

In: likely machines, a grid of speeds. Out: probabilities, and the few speeds to try one after another.
Leaves out: where the machines come from; one cut or a history serve alike.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.advice.machines import Machines

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MOST_WINDOWS = 3  # own choice: more than three tries at one depth nobody makes
KEEP_OUT_SHARE = 0.005  # nearer than 0.5 % to the present speed is no change
NEAR_PEAK_SHARE = 0.9  # a window reaches to where the probability falls below this share of its peak
LEAST_CHANCE = 0.02  # own choice: a further speed less likely than that, the earlier ones failed, is no try
APART_SHARE = 0.015  # of a further speed from the windows before it; they part at a third of that
ROOM_SHARE = 0.005  # own choice: on either side of a speed to dial, where its window has that much
MOST_MOVES = 4  # a speed moved into its window gets a window of its own
NEAR_SHARE = 0.1  # own choice: natural frequencies within a tenth are told as one
SMOOTHING = np.array([1, 2, 3, 2, 1]) / 9
# Own choice: keeps the advice under half a second. With a damping of 1 % or more, lobes as far down as that
# hardly part: what is deeper than the limit of any of them chatters.
MOST_LOBES = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A run of speeds about as likely as the one to try; true speeds."""

    rpm: float
    low_rpm: float
    high_rpm: float
    stable_probability: float


def speed_grid_rpm(low_rpm: float, *, high_rpm: float, points: int = 301) -> Floats:
    """Give evenly spaced ratios of speed from low to high."""
    return np.geomspace(low_rpm, high_rpm, points)


def find_stable(machines: Machines, *, speeds_rpm: Floats, flutes: int) -> Bools:
    """Say which machines are stable at the present depth, at each speed. Shape (machines, n)."""
    (one,) = _find_stable(machines, depth_shares=np.ones(1), speeds_rpm=speeds_rpm, flutes=flutes)
    return np.asarray(one)


def score_depths(machines: Machines, *, depth_shares: Floats, speeds_rpm: Floats, flutes: int) -> Floats:
    """Give the probability that a cut is stable at each depth and speed.

    Parameters
    ----------
    machines
        Equally likely machines.
    depth_shares
        Shape (m,), over the present depth, rising.
    speeds_rpm
        Shape (n,), from `speed_grid_rpm`: ratios evenly spaced, rising.
    flutes
        Evenly pitched teeth.

    Returns
    -------
    NDArray
        Shape (m, n), 0 to 1, falling with the depth.
    """
    stable = _find_stable(machines, depth_shares=depth_shares, speeds_rpm=speeds_rpm, flutes=flutes)
    probability: Floats = stable.mean(axis=1)
    return probability


def _find_stable(machines: Machines, *, depth_shares: Floats, speeds_rpm: Floats, flutes: int) -> Bools:
    """Say which machines are stable. Shape (m, machines, n)."""
    per_turn = 60 / flutes  # [s/min] / [teeth/rev]
    most_turns = int(per_turn * machines.trial_hz.max() / speeds_rpm[0])  # from tooth to tooth, swings
    limit, hz, phase = machines.depth_share, machines.trial_hz, machines.phase_turns
    over = (limit > 0) & (limit < depth_shares[-1])
    branch, machine, trial = np.nonzero(over[..., :-1] & over[..., 1:])
    both = np.maximum(limit[branch, machine, trial], limit[branch, machine, trial + 1])
    first = np.searchsorted(depth_shares, both, side="right")  # depth from which both ends chatter
    branch, machine, trial, first = (
        index[first < depth_shares.size] for index in (branch, machine, trial, first)
    )
    left_rpm, right_rpm = per_turn * hz[machine, trial], per_turn * hz[machine, trial + 1]
    left_phase, right_phase = phase[branch, machine, trial], phase[branch, machine, trial + 1]
    hits = np.zeros((depth_shares.size, hz.shape[0], speeds_rpm.size + 1))
    flat, row = hits.reshape(-1), (first * hz.shape[0] + machine) * (speeds_rpm.size + 1)
    step = np.log(speeds_rpm[1] / speeds_rpm[0])

    def add(low: Floats, high: Floats) -> None:
        """Count what chatters from one index of the grid to before another."""
        first_at, end_at = (np.clip(index, 0, speeds_rpm.size).astype(np.intp) for index in (low, high))
        inside = end_at > first_at
        np.add.at(flat, row[inside] + first_at[inside], 1)
        np.add.at(flat, row[inside] + end_at[inside], -1)

    for whole in range(min(most_turns, MOST_LOBES) + 1):
        # Along the edge of chatter the speed n = 60 f / (N (whole + phase)) moves without a gap, so all
        # speeds between two neighbours chatter.
        one = left_rpm / (whole + left_phase)
        two = right_rpm / (whole + right_phase)
        add(
            np.ceil(np.log(np.minimum(one, two) / speeds_rpm[0]) / step),
            np.floor(np.log(np.maximum(one, two) / speeds_rpm[0]) / step) + 1,
        )
    if most_turns > MOST_LOBES:
        below = np.minimum(left_rpm, right_rpm) / (MOST_LOBES + 1)
        add(np.zeros(below.size), np.floor(np.log(below / speeds_rpm[0]) / step) + 1)
    # What chatters at a depth chatters at all deeper ones.
    return np.asarray(np.cumsum(np.cumsum(hits, axis=0), axis=2)[..., :-1] == 0)


def find_natural_hz(machines: Machines, stable: Bools, *, rpm: float, speeds_rpm: Floats) -> float:
    """Give the natural frequency near which most machines lie that are stable at a speed.

    What was heard often fits two quite different modes; a speed is good for one of them.

    Parameters
    ----------
    machines, stable, speeds_rpm, flutes
        As given to and by `find_stable`.
    rpm
        True speed; where it is stable on no machine, all machines count.
    """
    hz = machines.natural_hz
    there = stable[:, np.argmin(np.abs(speeds_rpm - rpm))]
    hz = np.sort(hz[there] if there.any() else hz)
    near = np.searchsorted(hz, hz * (1 + NEAR_SHARE), side="right") - np.arange(hz.size)
    first = int(np.argmax(near))
    return float(np.median(hz[first : first + near[first]]))


def find_windows(
    stable: Bools, *, speeds_rpm: Floats, present_rpm: float, allowed: Bools | None = None
) -> tuple[Window, ...]:
    """Give the speeds to try one after another, likeliest first.

    The first is the likeliest of all. Each further one is the likeliest among the machines on which those
    chosen before it chatter: a second try on the same hope would fail with the first.

    Parameters
    ----------
    stable
        Shape (machines, n), from `find_stable`.
    speeds_rpm
        Shape (n,), from `speed_grid_rpm`; true speeds.
    present_rpm
        True; it is never suggested.
    allowed
        Shape (n,): speeds that may be suggested; None for all.

    Returns
    -------
    tuple
        At most `MOST_WINDOWS`. Equally likely first speeds rank by removal rate, which goes with the speed at
        the same chip load.
    """
    chance = smooth_over_speeds(stable.mean(axis=0))
    open_ = np.abs(speeds_rpm / present_rpm - 1) > KEEP_OUT_SHARE  # may lie in a window
    if allowed is not None:
        open_ = open_ & allowed
    free = open_  # may be a speed to dial
    failed = np.ones(len(stable))  # how far all speeds chosen so far chatter, on each machine
    windows: list[Window] = []
    while free.any() and len(windows) < MOST_WINDOWS and failed.any():
        then = smooth_over_speeds(failed @ stable / failed.sum())
        rank = np.where(free, np.round(then, 2), -1.0)
        peak = int(np.flatnonzero(rank == rank.max())[-1])
        if windows and then[peak] < LEAST_CHANCE:
            break
        top_low, top_high = _reach(then >= 0.98 * then[peak], free, peak)
        centre = (top_low + top_high) // 2
        window = _find_window(centre, then=then, chance=chance, open_=open_, speeds_rpm=speeds_rpm)
        windows.append(window)
        failed = failed * (1 - _holds_at(stable, window.rpm, speeds_rpm=speeds_rpm))
        free = free & _is_apart(window, speeds_rpm=speeds_rpm, share=APART_SHARE)
        open_ = open_ & _is_apart(window, speeds_rpm=speeds_rpm, share=APART_SHARE / 3)
    return tuple(sorted(windows, key=lambda window: -round(window.stable_probability, 2)))


def _is_apart(window: Window, *, speeds_rpm: Floats, share: float) -> Bools:
    return (speeds_rpm < window.low_rpm * (1 - share)) | (speeds_rpm > window.high_rpm * (1 + share))


def _find_window(centre: int, *, then: Floats, chance: Floats, open_: Bools, speeds_rpm: Floats) -> Window:
    """Give the window around a likely speed, and in it the speed to dial, with room on both sides.

    Where the likeliest speed lies at the edge of its window the one to dial is moved inside, as no spindle
    holds a speed that well: to the middle of a window that is narrower than the room on both sides.
    """
    log_rpm = np.log(speeds_rpm)
    at = float(log_rpm[centre])
    for _ in range(MOST_MOVES):
        here = int(np.argmin(np.abs(log_rpm - at)))
        excess = np.min(
            [one - NEAR_PEAK_SHARE * np.interp(at, log_rpm, one) for one in (then, chance)], axis=0
        )
        low, high = _reach((excess >= 0) | (np.arange(excess.size) == here), open_, here)
        low_at = _edge(low, low - 1, excess=excess, open_=open_, log_rpm=log_rpm)
        high_at = _edge(high, high + 1, excess=excess, open_=open_, log_rpm=log_rpm)
        room = min(ROOM_SHARE, (high_at - low_at) / 2)
        inside = min(max(at, low_at + room), high_at - room)
        if inside == at:
            break
        at = inside
    return Window(
        rpm=float(np.exp(at)),
        low_rpm=float(np.exp(low_at)),
        high_rpm=float(np.exp(high_at)),
        stable_probability=float(np.clip(np.interp(at, log_rpm, chance), 0, 1)),
    )


def _edge(last: int, beyond: int, *, excess: Floats, open_: Bools, log_rpm: Floats) -> float:
    """Give where a window ends between its last speed of the grid and the one beyond, if that is open."""
    if not 0 <= beyond < open_.size or not open_[beyond] or not excess[beyond] < 0 <= excess[last]:
        return float(log_rpm[last])
    part = excess[last] / (excess[last] - excess[beyond])
    return float(log_rpm[last] + part * (log_rpm[beyond] - log_rpm[last]))


def score_any(stable: Bools, *, tried_rpm: tuple[float, ...], speeds_rpm: Floats) -> float | None:
    """Give the probability that one at least of the tried speeds is stable; None without any."""
    if not tried_rpm:
        return None
    fails = [1 - _holds_at(stable, rpm, speeds_rpm=speeds_rpm) for rpm in tried_rpm]
    return round(float(1 - np.prod(fails, axis=0).mean()), 3)


def _holds_at(stable: Bools, rpm: float, *, speeds_rpm: Floats) -> Floats:
    """Give the share of five speeds around one at which each machine is stable. Shape (machines,)."""
    around = np.argmin(np.abs(speeds_rpm - rpm)) + np.arange(SMOOTHING.size) - SMOOTHING.size // 2
    return np.asarray(stable[:, np.clip(around, 0, speeds_rpm.size - 1)] @ SMOOTHING)


def smooth_over_speeds(probability: Floats) -> Floats:
    """Give the probability averaged over five neighbours: draws are few, and speeds are never exact."""
    smooth: Floats = np.convolve(np.pad(probability, 2, mode="edge"), SMOOTHING, mode="valid")
    return smooth


def _reach(near: NDArray[np.bool_], free: NDArray[np.bool_], peak: int) -> tuple[int, int]:
    """Give the first and last of the run of near and free speeds around the peak."""
    barred = np.flatnonzero(~(near & free))
    below, above = barred[barred < peak], barred[barred > peak]
    low = int(below[-1]) + 1 if below.size else 0
    high = int(above[0]) - 1 if above.size else near.size - 1
    return low, high
