"""The compiled part of the stability map: carrying a disturbance over a period, and its largest multiplier.

In: tables made by chatter/milling/semi_discretization.py. Out: multipliers, for a row of depths.
Method: the period is a list of pushes; between two pushes each mode swings freely and exactly. The largest
multiplier comes from Arnoldi iteration (W. E. Arnoldi, Quart. Appl. Math. 9, 1951, from memory), so that the
matrix of the period is never made.
Leaves out: checks of what is given; choosing the pushes.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
FIRST_LOOK = 12  # Arnoldi steps before the multiplier is worked out; own choice, only speed hangs on it
NEXT_LOOK = 6  # steps to the next look
MOST_STEPS = 320  # memory; a multiplier that hasn't settled by then is NaN
SETTLED = 1e-5  # largest change of the multiplier, of its size or 0.1, between two looks


@njit(cache=True, nogil=True)
def _carry(
    state: Floats,
    node: NDArray[np.int64],
    drift: Floats,
    push: Floats,
    axis: NDArray[np.int64],
    slot: NDArray[np.int64],
    depth_m: float,
) -> None:
    """Carry places, speeds and the surface left (one vector) over one period, in place."""
    modes = len(axis)
    used = slot.max() + 1
    surface = 2 * modes
    move = np.zeros(2)
    for event in range(len(node) + 1):
        move[0] = 0.0
        move[1] = 0.0
        for m in range(modes):
            place = drift[event, m, 0] * state[m] + drift[event, m, 1] * state[modes + m]
            state[modes + m] = drift[event, m, 2] * state[m] + drift[event, m, 3] * state[modes + m]
            state[m] = place
            move[axis[m]] += place
        if event == len(node):
            break
        at = surface + used * node[event]
        x = 0.0
        y = 0.0
        if slot[0] >= 0:
            x = depth_m * (move[0] - state[at + slot[0]])
            state[at + slot[0]] = move[0]
        if slot[1] >= 0:
            y = depth_m * (move[1] - state[at + slot[1]])
            state[at + slot[1]] = move[1]
        for m in range(modes):
            state[modes + m] += push[node[event], m, 0] * x + push[node[event], m, 1] * y


@njit(cache=True, nogil=True)
def find_multipliers(
    depths_m: Floats,
    node: NDArray[np.int64],
    drift: Floats,
    push: Floats,
    axis: NDArray[np.int64],
    slot: NDArray[np.int64],
    start: Floats,
) -> Complexes:
    """Give the largest multiplier at each depth: inf beyond all numbers, NaN where it didn't settle.

    Parameters
    ----------
    depths_m
        Shape (depths,).
    node
        Shape (pushes,): which place of the arc each push belongs to, in order of time.
    drift
        Shape (pushes + 1, modes, 4): place and speed over natural angular frequency, carried freely to the
        next push, the last to the end of the period.
    push
        Shape (nodes, modes, 2): change of that speed per depth and per move along x and y.
    axis
        Shape (modes,): 0 along x, 1 along y.
    slot
        Shape (2,): where the surface keeps moves along x and y; -1 for an axis without modes.
    start
        Shape (size,): where the iteration starts.
    """
    size = len(start)
    most = min(size, MOST_STEPS)
    found = np.full(len(depths_m), np.nan + 0j)
    basis = np.zeros((most + 1, size))
    for row in range(len(depths_m)):
        small = np.zeros((most + 1, most), dtype=np.complex128)
        basis[0] = start / np.sqrt(np.sum(start * start))
        before = np.inf
        look = min(FIRST_LOOK, most)
        for step in range(1, most + 1):
            vector = basis[step].copy()
            vector[:] = basis[step - 1]
            _carry(vector, node, drift, push, axis, slot, depths_m[row])
            length = np.sqrt(np.sum(vector * vector))
            if not np.isfinite(length):
                found[row] = np.inf
                break
            for _ in range(2):  # once leaves rounding behind
                share = basis[:step] @ vector
                vector -= share @ basis[:step]
                small[:step, step - 1] += share
            rest = np.sqrt(np.sum(vector * vector))
            closed = rest <= 1e-13 * length
            if step in (look, most) or closed:
                values = np.linalg.eigvals(small[:step, :step].copy())
                best = values[np.argmax(np.abs(values))]
                size_now = np.abs(best)
                if closed or step == size or np.abs(size_now - before) <= SETTLED * max(size_now, 0.1):
                    found[row] = best
                    break
                before = size_now
                look = step + NEXT_LOOK
            small[step, step - 1] = rest
            basis[step] = vector / rest
    return found
