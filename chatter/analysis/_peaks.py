"""The best speeds of a map: peaks of the limit, with the speeds around them that carry most of it.

In: limit depths over speed. Out: peaks, the one that takes most metal first.
Leaves out: what spindle, tool and power allow.
"""

import math
from collections.abc import Sequence

from chatter.model import BestSpeed
from chatter.model.map import VIEW_OVER_LOWEST

MOST = 5
PEAK_OVER_LOWEST = 1.25  # and over the saddle to a higher peak; own choice: less isn't worth a change
WINDOW_SHARE = 0.7  # own choice: of the peak's limit; this near to it most of a lobe's width is left
LEAST_WINDOW = 0.01  # own choice: no open-loop spindle keeps its speed to better than a hundredth


def find_best_speeds(
    limit_depth: Sequence[float],
    *,
    speeds_rpm: Sequence[float],
    most_depth: float | None,
    most_is_wanted: bool = False,
) -> tuple[BestSpeed, ...]:
    """Give the peaks of the limit.

    Parameters
    ----------
    limit_depth
        One a speed, in any unit; infinite where nothing chatters.
    speeds_rpm
        Rising.
    most_depth
        Depth above which limits count alike; None for twelve times the lowest.
    most_is_wanted
        True where no deeper cut is wanted: speeds that carry all of that depth are windows then, if they are
        wide enough for a spindle to keep.

    Returns
    -------
    tuple
        At most five, with windows that don't overlap, ranked by the depth that a window carries times speed,
        which is the metal removed at the same chip load and width.
    """
    lowest = min(limit_depth)
    if math.isinf(lowest):
        return ()
    cap = VIEW_OVER_LOWEST * lowest if most_depth is None else most_depth
    capped = [min(depth, cap) for depth in limit_depth]
    found: list[tuple[float, int, int, BestSpeed]] = []
    for first, last in _summits(capped):
        top = capped[first]
        if most_is_wanted and top == cap and _is_wide(speeds_rpm[first], speeds_rpm[last]):
            low, high = first, last
        elif top < PEAK_OVER_LOWEST * min(capped):
            continue
        else:
            reach = _reach(capped, first, -1), _reach(capped, last, +1)
            if reach[0] is None or reach[1] is None:
                continue
            low, high = reach[0], reach[1]
        if not _is_wide(speeds_rpm[low], speeds_rpm[high]):
            continue
        middle = (speeds_rpm[first] + speeds_rpm[last]) / 2
        at = min(range(first, last + 1), key=lambda index: abs(speeds_rpm[index] - middle))
        depth = limit_depth[at]
        best = BestSpeed(
            rpm=speeds_rpm[at],
            limit_depth=depth if math.isfinite(depth) else None,
            low_rpm=speeds_rpm[low],
            high_rpm=speeds_rpm[high],
            window_depth=min(capped[low : high + 1]),
        )
        found.append((best.window_depth * best.middle_rpm, low, high, best))
    chosen: list[tuple[float, int, int, BestSpeed]] = []
    for one in sorted(found, key=lambda peak: -peak[0]):
        if all(one[2] < other[1] or one[1] > other[2] for other in chosen):
            chosen.append(one)
    return tuple(best for *_, best in chosen[:MOST])


def _is_wide(low_rpm: float, high_rpm: float) -> bool:
    """Say whether a spindle can keep between two speeds."""
    return high_rpm >= (1 + LEAST_WINDOW) * low_rpm


def _reach(depths: Sequence[float], start: int, step: int) -> int | None:
    """Give the last index that carries most of the peak's depth; None where a higher peak is too near.

    Beside a higher peak the window ends at the saddle between them.
    """
    top, end = depths[start], start
    for index in range(start + step, len(depths) if step > 0 else -1, step):
        if depths[index] < WINDOW_SHARE * top:
            break
        if depths[index] > top:
            passed = range(start, index, step)
            end = min(passed, key=lambda at: depths[at])
            return end if top >= PEAK_OVER_LOWEST * depths[end] else None
        end = index
    return end


def _summits(depths: Sequence[float]) -> list[tuple[int, int]]:
    """Give first and last index of every flat run that is higher than its neighbours; ends count too."""
    summits = []
    first = 0
    for index in range(1, len(depths) + 1):
        if index < len(depths) and depths[index] == depths[first]:
            continue
        left = first == 0 or depths[first - 1] < depths[first]
        right = index == len(depths) or depths[index] < depths[first]
        if left and right:
            summits.append((first, index - 1))
        first = index
    return summits
