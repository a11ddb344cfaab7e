"""Let a cut reach to where its teeth enter and leave the work, though chatter makes only its middle loud.

In: the studied cuts, the comb along time, the idle beside the cuts. Out: the cuts with earlier begins and
later ends.
Method: before a cut that seems to begin, its tooth-passing lines are asked for a step up from idling: they
rise more than what lies between them, most of them do, they stay, and are louder than idling after the cut.
Source: our own.
Leaves out: what is judged: that was the loud part.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.cut.engagement import HOP_S, CombTrack, within
from chatter.cut.study import StudiedCut
from chatter.model import JudgedCut

Floats = NDArray[np.float64]
Spans = tuple[tuple[float, float], ...]
LEAST_S, LEAST_BEFORE_S = 0.2, 0.4  # of the quiet end; of idling before it
AFTER_S = 2.5  # how far idling on the other side of the cut is asked for
LATE_S = 0.05  # by which a window hears a step of some nepers before it comes
TELLING = 5  # the lines that rise most in the cut are followed
# Own choices, in nepers: the telling lines' least step, and the same over idling after the cut; the step in
# deviations of idling. Share of the cut's lines that rise, and by how much; how much more than what lies
# between them. Share of windows past half of the step.
LEAST_STEP, LEAST_OVER_AFTER, LEAST_DEVIATIONS = 1.0, 0.8, 5.0
SHARE_OF_LINES, LEAST_RISE, LEAST_OVER_GAPS = 0.6, 0.5, 0.35
STAYS = 0.9
LEAST_SPREAD = 0.15  # nepers, of idling
SMOOTHED = 5  # windows


def reach_quiet_ends(
    cuts: tuple[JudgedCut, ...], studied: tuple[StudiedCut, ...], comb: CombTrack, *, idle: Spans
) -> tuple[JudgedCut, ...]:
    """Give the judged cuts with the quiet ends that belong to them.

    Parameters
    ----------
    cuts, studied
        What was said of each, and its loud part; in time order.
    comb
        Of the teeth, along the recording.
    idle
        Spans without cutting, as heard so far, s.

    Returns
    -------
    tuple of JudgedCut
        Only their times differ, and only where a quiet end is found.
    """
    turned = replace(comb, times_s=-comb.times_s[::-1], lines=comb.lines[::-1], gaps=comb.gaps[::-1])
    spans = tuple((-end_s, -start_s) for start_s, end_s in idle)
    reached = []
    for i, cut in enumerate(cuts):
        section = studied[i].section
        last_s = studied[i - 1].section.end_s if i else float(comb.times_s[0])
        next_s = studied[i + 1].section.start_s if i + 1 < len(cuts) else float(comb.times_s[-1])
        if cut.start_s is not None:
            start_s = _reach(comb, (section.start_s, section.end_s), beyond_s=last_s, idle=idle)
            cut = replace(cut, start_s=start_s)
        if cut.end_s is not None:
            end_s = -_reach(turned, (-section.end_s, -section.start_s), beyond_s=-next_s, idle=spans)
            cut = replace(cut, end_s=end_s)
        reached.append(cut)
    return tuple(reached)


def _reach(comb: CombTrack, cut_s: tuple[float, float], *, beyond_s: float, idle: Spans) -> float:
    """Give when the teeth enter the work: before a cut that seems to begin, or then."""
    start_s, end_s = cut_s
    at_s, edge_s = comb.times_s, comb.window_s / 2  # in a window nearer to an edge both sides of it sound
    inside = within(at_s, [(start_s + 2 * edge_s, end_s - 2 * edge_s)])
    before = within(at_s, [(beyond_s + edge_s, start_s - edge_s)])
    after = within(at_s, idle) & within(at_s, [(end_s + edge_s, end_s + AFTER_S)])
    least = round(LEAST_BEFORE_S / HOP_S)
    if min(inside.sum(), after.sum()) < SMOOTHED or before.sum() < least + round(LEAST_S / HOP_S):
        return start_s
    lines, gaps = comb.lines[before], comb.gaps[before]
    rise = np.median(comb.lines[inside], axis=0) - np.median(lines, axis=0)
    telling = np.argsort(rise)[-TELLING:]
    level = lines[:, telling].mean(axis=1)
    step = _find_step(level, first=least, last=len(level) - round(LEAST_S / HOP_S))
    low, high = np.median(level[:step]), np.median(level[step:])
    deviation = max(LEAST_SPREAD, 1.4826 * float(np.median(np.abs(level[:step] - low))))
    over_after = high - np.median(comb.lines[after][:, telling].mean(axis=1))
    stays = ndimage.uniform_filter1d(level[step:], SMOOTHED, mode="nearest") > (low + high) / 2
    steps_up = (
        high - low > max(LEAST_STEP, LEAST_DEVIATIONS * deviation)
        and over_after > LEAST_OVER_AFTER
        and stays.mean() > STAYS
    )
    if not (steps_up and _is_of_teeth(lines, gaps, step=step, asked=rise > LEAST_STEP)):
        return start_s
    return min(start_s, float(at_s[before][step]) + LATE_S)


def _find_step(level: Floats, *, first: int, last: int) -> int:
    """Give the first window of the higher one of two levels, by least squares."""
    at = np.arange(first, last + 1)
    sums, count = np.cumsum(level), len(level)
    rise = (sums[-1] - sums[at - 1]) / (count - at) - sums[at - 1] / at
    return int(at[np.argmax(at * (count - at) * rise * np.abs(rise))])


def _is_of_teeth(lines: Floats, gaps: Floats, *, step: int, asked: NDArray[np.bool_]) -> bool:
    """Say whether most of the lines asked for rise, and more than what lies between them."""
    if not asked.any():
        return False
    rises, between = (np.median(one[step:], axis=0) - np.median(one[:step], axis=0) for one in (lines, gaps))
    more = float(np.median((rises - between)[asked]))
    return float(np.mean(rises[asked] > LEAST_RISE)) >= SHARE_OF_LINES and more > LEAST_OVER_GAPS
