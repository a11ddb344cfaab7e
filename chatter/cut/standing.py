"""Part a cut from the spindle that idles before and after it, where both are loud beside the rest.

In: one channel, a section of it, its measured speed. Out: the section without what idles at its ends.
Method: where the spindle is started and stopped within the recording, or a vacuum runs on after the cut, a
loud spell holds more than the cut. The levels of the spindle's own harmonics are parted into two states; a
softer one at an end is no lighter cut where its harmonics are strong at other orders, since the teeth of one
tool leave much the same pattern at any depth.
Source: two-class threshold after N. Otsu, IEEE Trans. SMC 9 (1979) 62 to 66; the rest is our own.
Leaves out: what is loud without the comb (chatter/cut/engagement.py).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.cut.sections import LEAST_S, Section, Sections
from chatter.cut.study import StudiedCut
from chatter.cut.two_states import part_in_two
from chatter.dsp.spectra import TINY, frame_powers

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
WINDOW_S, WINDOW_TURNS, HOP_S = 0.2, 5.0, 0.05
BLOCK_WINDOWS = 400  # at once, so that a long cut takes no more memory
BOTTOM_HZ, TOP_HZ = 100.0, 8000.0
MOST_ORDERS, FEWEST_ORDERS = 24, 5
FASTER, SLOWER = 0.008, 0.01  # shares by which the speed may differ from the measured one
SMOOTHED = 5  # windows whose median is taken
LEAST_GAP = 0.8  # nepers between the states
LEAST_SEPARATION = 2.5  # and in pooled standard deviations
LEAST_SPREAD = 0.1  # nepers, so that a steady spindle decides nothing
LEAST_END_S = 0.5  # of a state at an end
BESIDE_S = 0.15  # left out beside the cut
AROUND = 5  # orders whose mean is taken from each: room and phone colour both states alike
LEAST_RISE = 0.5  # nepers by which the orders and the teeth's own rise; chatter raises what lies between
LEAST_ADDED = 0.1  # of the louder state's power, that counts as added by the teeth
MOST_ALIKE = 0.6  # correlation of the orders; in simulated steps of the depth 0.67 and more
STATES = 3  # that are left at an end, one after another


@dataclass(frozen=True, slots=True, kw_only=True)
class PartedSection:
    """A section, and what idles at its ends."""

    section: Section
    idle: tuple[tuple[float, float], ...]  # s


def leave_idling(
    samples: Floats,
    sections: Sections,
    cuts: tuple[StudiedCut, ...],
    *,
    rate_hz: float,
    flutes: int,
    study: Callable[..., StudiedCut | None],
) -> tuple[Sections, tuple[StudiedCut, ...]]:
    """Leave out what idles at the ends of the cuts, and study those anew beside it.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    sections, cuts
        Loud spells and idle spans; what was found in the spells.
    rate_hz, flutes
        Sample rate; teeth.
    study
        Takes a section and idle spans, as study_section.

    Returns
    -------
    sections, cuts
        What is left; the same objects where nothing idles at an end.
    """
    parted = [
        part_section(samples, cut.section, rate_hz=rate_hz, rotation_hz=cut.speed.rotation_hz, flutes=flutes)
        for cut in cuts
    ]
    idle = tuple(sorted((*sections.idle, *(span for one in parted for span in one.idle))))
    again = [study(one.section, idle=idle) if one.idle else None for one in parted]
    if not any(again):
        return sections, cuts
    found = tuple(cut if other is None else other for cut, other in zip(cuts, again, strict=True))
    shorter = [cut.section for cut in again if cut is not None]
    left = [
        _around([cut.section for cut in found if whole.holds(cut.section)])
        if any(whole.holds(one) for one in shorter)
        else whole
        for whole in sections.cuts
    ]
    return replace(sections, cuts=tuple(left), idle=idle), found


def _around(parts: list[Section]) -> Section:
    """Give the section from the first of some parts to the last."""
    return replace(parts[0], end_s=parts[-1].end_s, open_end=parts[-1].open_end)


def part_section(
    samples: Floats, section: Section, *, rate_hz: float, rotation_hz: float, flutes: int
) -> PartedSection:
    """Leave out what idles at the ends of a section.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    section
        A loud spell with the spindle's comb.
    rate_hz, rotation_hz, flutes
        Sample rate; the comb.

    Returns
    -------
    PartedSection
        The section itself where nothing idles at its ends.
    """
    first_s = section.start_s
    part = samples[int(first_s * rate_hz) : int(section.end_s * rate_hz)]
    times_s, levels, bands = _levels(part, rate_hz=rate_hz, rotation_hz=rotation_hz)
    first = int(BOTTOM_HZ / rotation_hz) + 1  # order of the first level
    teeth = np.arange(first, first + levels.shape[1]) % flutes == 0
    idle: list[tuple[float, float]] = []
    if levels.shape[1] < FEWEST_ORDERS or not teeth.any():
        return PartedSection(section=section, idle=())
    low, high = 0, len(times_s)
    for _ in range(STATES):
        inside = slice(low, high)
        begin, end = max((_loud_span(one[inside]) for one in (levels, bands)), key=lambda span: span[2])[:2]
        begin, end = low + begin, low + end
        loud = levels[begin:end]
        starts = begin - low >= LEAST_END_S / HOP_S and _idles(levels[low:begin], loud, teeth=teeth)
        ends = high - end >= LEAST_END_S / HOP_S and _idles(levels[end:high], loud, teeth=teeth)
        if not (starts or ends):
            break
        if starts:
            idle.append((float(times_s[low]), float(times_s[begin]) - BESIDE_S))
            low = begin
        if ends:
            idle.append((float(times_s[end - 1]) + BESIDE_S, float(times_s[high - 1])))
            high = end
    if not idle:
        return PartedSection(section=section, idle=())
    parted = replace(
        section,
        start_s=first_s + float(times_s[low]) if low else section.start_s,
        end_s=first_s + float(times_s[high - 1]) if high < len(times_s) else section.end_s,
        open_start=section.open_start and not low,
        open_end=section.open_end and high == len(times_s),
    )
    if parted.end_s - parted.start_s < LEAST_S:
        return PartedSection(section=section, idle=())
    spans = tuple((first_s + a, first_s + b) for a, b in idle if b - a > BESIDE_S)
    return PartedSection(section=parted, idle=spans)


def _levels(part: Floats, *, rate_hz: float, rotation_hz: float) -> tuple[Floats, Floats, Floats]:
    """Give times, s, log powers of the spindle's orders and of bands: shapes (t,), (t, k), (t, b)."""
    hop, size_s = round(HOP_S * rate_hz), max(WINDOW_S, WINDOW_TURNS / rotation_hz)
    block = BLOCK_WINDOWS * hop
    pieces = []
    for start in range(0, max(1, len(part) - round(size_s * rate_hz)), block):
        times_s, hz, powers = frame_powers(
            part[start : start + block - hop + round(size_s * rate_hz)].astype(np.float32),
            rate_hz=rate_hz,
            window_s=size_s,
            hop_s=HOP_S,
            top_hz=min(TOP_HZ, 0.45 * rate_hz),
        )
        at_hz = rotation_hz * np.arange(1, MOST_ORDERS + 1)
        at_hz = at_hz[(at_hz > BOTTOM_HZ) & (at_hz * (1 + FASTER) < hz[-2])]
        lows = np.floor((1 - SLOWER) * at_hz / hz[1]).astype(int)
        highs = np.ceil((1 + FASTER) * at_hz / hz[1]).astype(int) + 1
        orders = [powers[:, low:high].max(axis=1) for low, high in zip(lows, highs, strict=True)]
        edges_hz = BOTTOM_HZ * 2 ** np.arange(0, np.log2(hz[-2] / BOTTOM_HZ), 1 / 3)
        bands = np.add.reduceat(powers, np.unique(np.searchsorted(hz, edges_hz)), axis=1)[:, :-1]
        levels = np.log(np.array(orders).T.reshape(len(times_s), -1) + TINY)
        pieces.append((times_s + start / rate_hz, levels, np.log(bands + TINY)))
    return (
        np.concatenate([one[0] for one in pieces]),
        np.concatenate([one[1] for one in pieces]),
        np.concatenate([one[2] for one in pieces]),
    )


def _loud_span(levels: Floats) -> tuple[int, int, float]:
    """Give the first window of the louder state and the one after its last; all of them for one state."""
    mean = ndimage.median_filter(levels.mean(axis=1), size=SMOOTHED, mode="nearest")
    loud = mean > part_in_two(mean)
    least = int(LEAST_END_S / HOP_S)
    if min(loud.sum(), (~loud).sum()) < least:
        return 0, len(mean), 0.0
    gap = float(np.median(mean[loud]) - np.median(mean[~loud]))
    pooled = np.sqrt((mean[loud].var() + mean[~loud].var()) / 2) + LEAST_SPREAD
    if gap < LEAST_GAP or gap < LEAST_SEPARATION * pooled:
        return 0, len(mean), 0.0
    at = np.flatnonzero(loud)
    return int(at[0]), int(at[-1]) + 1, gap / pooled


def _idles(soft: Floats, loud: Floats, *, teeth: Bools) -> bool:
    """Say whether a state at an end lacks the teeth of the louder one. Shapes (t, k), (u, k), (k,)."""
    under, over = np.median(soft, axis=0), np.median(loud, axis=0)
    if min(np.mean(over - under), np.mean((over - under)[teeth])) < LEAST_RISE:
        return False
    added = np.log(np.maximum(np.exp(over) - np.exp(under), LEAST_ADDED * np.exp(over)))
    own, all_of_it, more = (
        pattern - ndimage.uniform_filter1d(pattern, AROUND, mode="nearest")
        for pattern in (under, over, added)
    )
    return max(_correlation(own, all_of_it), _correlation(own, more)) < MOST_ALIKE


def _correlation(first: Floats, second: Floats) -> float:
    """Give the correlation of two patterns about zero; 1 where one of them is flat."""
    size = float(np.sqrt(np.sum(first**2) * np.sum(second**2)))
    return float(np.sum(first * second)) / size if size > 0 else 1.0
