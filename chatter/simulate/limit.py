"""The depth at which a simulated cut begins to chatter, and how.

In: a tool and conditions. Out: whether a cut of some depth settles, how it fails to, and the smallest depth
at which it does.
Method: the simulator without noise. A cut is stable when two turns one after the other end up alike, or
grow alike the longer it runs. Run-out takes part: it changes the limit, because fewer teeth cut. Only
period doubling of an even number of teeth repeats every turn; it shows as a difference from tooth to tooth
when the same cut is run without run-out.
Source: once-per-turn repetition as the test of stability, T. L. Schmitz, J. Sound Vib. 262 (2003) 721.
Leaves out: islands of stability above the first limit, and narrow ones of chatter below it.
"""

from dataclasses import replace

import numpy as np

from chatter.simulate.milling import Conditions, SimulatedCut, Tool, simulate_cut, steps_per_turn

TOLERANCE = 0.02  # of the limit; labels keep 20 % away from it
ALIKE = 0.01  # of the feed per tooth
WINDOW = 8  # turns over which the largest difference is taken; beats are shorter
SHRINKING = 0.8  # a difference that loses this much over half a run is on its way out
LONGEST = 3  # times a run may double its length to settle
GROW = 1.3  # between trial depths


def motion_kind(tool: Tool, conditions: Conditions, *, depth_m: float, least_s: float = 0.0) -> str:
    """Say how a cut of this depth moves once it has settled.

    Parameters
    ----------
    tool, conditions, depth_m
        What cuts, how, and how deep.
    least_s
        Run at least this long before saying that it won't settle: close to the limit it takes its time.

    Returns
    -------
    str
        "none": it repeats as its teeth and run-out make it. "flip": every second tooth is alike, by period
        doubling. "hopf": it doesn't repeat.
    """
    per_turn = steps_per_turn(tool, conditions)
    cut, repeats = _settle(tool, conditions, depth_m=depth_m, period=per_turn, least_s=least_s)
    if not repeats:
        # With an odd number of teeth a doubled period is two turns.
        once, twice = (
            _apart(cut, period=k * per_turn, end=len(cut.x_m), window=WINDOW * per_turn) for k in (1, 2)
        )
        return "flip" if twice < 0.1 * once else "hopf"
    if tool.flutes % 2:
        return "none"
    even = replace(tool, runout_m=())
    pair = per_turn // tool.flutes * 2
    _, by_tooth = _settle(even, conditions, depth_m=depth_m, period=pair // 2, least_s=least_s)
    if by_tooth:
        return "none"
    _, by_pair = _settle(even, conditions, depth_m=depth_m, period=pair, least_s=least_s)
    return "flip" if by_pair else "none"  # not even by pairs: only run-out keeps this cut quiet


def is_stable(tool: Tool, conditions: Conditions, *, depth_m: float) -> bool:
    """Say whether a cut of this depth settles, without period doubling.

    Returns
    -------
    bool
    """
    return motion_kind(tool, conditions, depth_m=depth_m) == "none"


def limit_depth_m(tool: Tool, conditions: Conditions, *, most_m: float = 0.05) -> float:
    """Give the smallest unstable depth, m, found by growing the depth and bisection.

    Returns
    -------
    float
        `most_m` when even that depth is stable.
    """
    low, high = 0.0, 2e-5
    while is_stable(tool, conditions, depth_m=high):
        low, high = high, GROW * high
        if high > most_m:
            return most_m
    while (high - low) > TOLERANCE * high:
        middle = (low + high) / 2
        if is_stable(tool, conditions, depth_m=middle):
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _settle(
    tool: Tool, conditions: Conditions, *, depth_m: float, period: int, least_s: float
) -> tuple[SimulatedCut, bool]:
    """Run until the motion repeats after `period` steps, or plainly won't."""
    per_turn = steps_per_turn(tool, conditions)
    slowest = min(mode.damping_ratio * mode.frequency_hz for mode in tool.modes)
    turns = int(max(40, 3.0 / slowest * conditions.rpm / 60 + 20, least_s * conditions.rpm / 60))
    for doubling in range(LONGEST + 1):
        cut = simulate_cut(tool, conditions, depth_m=np.full(per_turn * turns * 2**doubling, depth_m))
        count = len(cut.x_m)
        late, early = (
            _apart(cut, period=period, end=end, window=WINDOW * per_turn) for end in (count, count // 2)
        )
        if late < ALIKE * conditions.feed_per_tooth_m:
            return cut, True
        if late > SHRINKING * early:
            return cut, False
    return cut, True


def _apart(cut: SimulatedCut, *, period: int, end: int, window: int) -> float:
    """Give the largest move from one period to the next in the window before a step, m."""
    paths = (path[max(0, end - window) : end] for path in (cut.x_m, cut.y_m))
    return max(float(np.abs(path[period:] - path[:-period]).max()) for path in paths)
