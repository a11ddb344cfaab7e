"""The depth at which a simulated cut begins to chatter.

In: a tool and conditions. Out: the smallest unstable axial depth.
Method: bisection on the simulator without noise, run-out included (it changes the limit, because fewer
teeth cut); a cut is stable when two turns one after the other end up alike, without run-out two teeth.
Source: once-per-turn repetition as the test of stability, T. L. Schmitz, J. Sound Vib. 262 (2003) 721.
Leaves out: islands of stability above the first limit; period doubling of an even number of teeth with
run-out, which repeats every turn.
"""

import numpy as np

from chatter.simulate.milling import Conditions, Tool, simulate_cut, steps_per_turn

TOLERANCE = 0.02  # of the limit; labels keep 20 % away from it
ALIKE = 0.01  # of the feed per tooth


def is_stable(tool: Tool, conditions: Conditions, *, depth_m: float) -> bool:
    """Say whether a cut of this depth settles to repeating every turn.

    Returns
    -------
    bool
    """
    per_turn = steps_per_turn(tool, conditions)
    slowest = min(mode.damping_ratio * mode.frequency_hz for mode in tool.modes)
    turns = int(max(40, 3.0 / slowest * conditions.rpm / 60 + 20))
    cut = simulate_cut(tool, conditions, depth_m=np.full(per_turn * turns, depth_m))
    # Equal teeth must move alike one by one: with an even number of them, period doubling repeats every turn.
    period = per_turn if any(tool.runout_m) else per_turn // tool.flutes
    last = cut.x_m[-2 * per_turn :], cut.y_m[-2 * per_turn :]
    apart = max(float(np.abs(path[period:] - path[:-period]).max()) for path in last)
    return apart < ALIKE * conditions.feed_per_tooth_m


def limit_depth_m(tool: Tool, conditions: Conditions, *, most_m: float = 0.05) -> float:
    """Give the smallest unstable depth, m, found by doubling and bisection.

    Returns
    -------
    float
        `most_m` when even that depth is stable.
    """
    low, high = 0.0, 2e-5
    while is_stable(tool, conditions, depth_m=high):
        low, high = high, 1.6 * high
        if high > most_m:
            return most_m
    while (high - low) > TOLERANCE * high:
        middle = (low + high) / 2
        if is_stable(tool, conditions, depth_m=middle):
            low = middle
        else:
            high = middle
    return (low + high) / 2
