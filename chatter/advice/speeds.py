"""Speeds ranked by how likely the cut is to be stable there.

In: likely machines, a grid of speeds. Out: probabilities, and the windows around their peaks.
Leaves out: where the machines come from; one cut or a history serve alike.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.advice.machines import Machines

Floats = NDArray[np.float64]

MOST_WINDOWS = 5
KEEP_OUT_SHARE = 0.005  # nearer than 0.5 % to the present speed is no change
NEAR_PEAK_SHARE = 0.9  # a window reaches to where the probability falls below this share of its peak
WORTH_SHARE = 0.5  # a further window is worth a cut if it is at least half as likely as the best
APART_SHARE = 0.02
OWN_PEAK = 9  # grid points that a further window's peak stands above
MOST_LOBES_IN_FULL = 50  # own choice: keeps the advice under a third of a second on one core


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A run of speeds around a peak of probability; true speeds."""

    rpm: float
    low_rpm: float
    high_rpm: float
    stable_probability: float


def speed_grid_rpm(low_rpm: float, *, high_rpm: float, points: int = 301) -> Floats:
    """Give evenly spaced ratios of speed from low to high."""
    return np.geomspace(low_rpm, high_rpm, points)


def score_speeds(machines: Machines, *, speeds_rpm: Floats, flutes: int) -> Floats:
    """Give the probability that the present depth is stable at each speed, as `score_depths` does."""
    (row,) = score_depths(machines, depth_shares=np.ones(1), speeds_rpm=speeds_rpm, flutes=flutes)
    return np.asarray(row)


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
    per_turn = 60 / flutes  # [s/min] / [teeth/rev]
    most_turns = per_turn * float(machines.trial_hz.max()) / speeds_rpm[0]
    # Far down the lobes the work grows with their number, and little tells them apart: fewer machines do.
    every = int(np.ceil(most_turns / MOST_LOBES_IN_FULL))
    limit = machines.depth_share[:, ::every]
    hz = machines.trial_hz[::every]
    phase = machines.phase_turns[:, ::every]
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
    for whole in range(int(most_turns) + 1):
        # Along the edge of chatter the speed n = 60 f / (N (whole + phase)) moves without a gap, so all
        # speeds between two neighbours chatter.
        one = left_rpm / (whole + left_phase)
        two = right_rpm / (whole + right_phase)
        low = np.ceil(np.log(np.minimum(one, two) / speeds_rpm[0]) / step)
        high = np.floor(np.log(np.maximum(one, two) / speeds_rpm[0]) / step) + 1
        low = np.clip(low, 0, speeds_rpm.size).astype(np.intp)
        high = np.clip(high, 0, speeds_rpm.size).astype(np.intp)
        inside = high > low
        np.add.at(flat, row[inside] + low[inside], 1)
        np.add.at(flat, row[inside] + high[inside], -1)
    # What chatters at a depth chatters at all deeper ones.
    chatters = np.cumsum(np.cumsum(hits, axis=0), axis=2)[..., :-1] > 0
    probability: Floats = 1 - chatters.mean(axis=1)
    return probability


def find_windows(
    probability: Floats, *, speeds_rpm: Floats, present_rpm: float, most: int = MOST_WINDOWS
) -> tuple[Window, ...]:
    """Give separate windows around the likeliest speeds, best first.

    Equally likely speeds rank by removal rate, which goes with the speed at the same chip load.
    """
    smooth = smooth_over_speeds(probability)
    free = np.abs(speeds_rpm / present_rpm - 1) > KEEP_OUT_SHARE
    wanted = free
    windows: list[Window] = []
    best = 0.0
    # A further window has a peak of its own: the shoulder of one already given is no other speed to try.
    peaks = smooth >= ndimage.maximum_filter1d(smooth, OWN_PEAK, mode="nearest")
    while free.any() and len(windows) < most:
        if not wanted.any():
            break
        rank = np.where(wanted, np.round(smooth, 2), -1.0)
        peak = int(np.flatnonzero(rank == rank.max())[-1])
        if windows and smooth[peak] < WORTH_SHARE * best:
            break
        low, high = _reach(smooth >= NEAR_PEAK_SHARE * smooth[peak], free, peak)
        top_low, top_high = _reach(smooth >= 0.98 * smooth[peak], free, peak)
        centre = (top_low + top_high) // 2
        best = max(best, float(smooth[peak]))
        windows.append(
            Window(
                rpm=float(speeds_rpm[centre]),
                low_rpm=float(speeds_rpm[low]),
                high_rpm=float(speeds_rpm[high]),
                stable_probability=float(np.clip(smooth[centre], 0, 1)),
            )
        )
        apart = (speeds_rpm >= speeds_rpm[low] * (1 - APART_SHARE)) & (
            speeds_rpm <= speeds_rpm[high] * (1 + APART_SHARE)
        )
        free = free & ~apart
        wanted = free & peaks
    return tuple(windows)


def smooth_over_speeds(probability: Floats) -> Floats:
    """Give the probability averaged over five neighbours: draws are few, and speeds are never exact."""
    kernel = np.array([1, 2, 3, 2, 1]) / 9
    smooth: Floats = np.convolve(np.pad(probability, 2, mode="edge"), kernel, mode="valid")
    return smooth


def _reach(near: NDArray[np.bool_], free: NDArray[np.bool_], peak: int) -> tuple[int, int]:
    """Give the first and last of the run of near and free speeds around the peak."""
    barred = np.flatnonzero(~(near & free))
    below, above = barred[barred < peak], barred[barred > peak]
    low = int(below[-1]) + 1 if below.size else 0
    high = int(above[0]) - 1 if above.size else near.size - 1
    return low, high
