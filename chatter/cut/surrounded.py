"""Part a cut from what was switched on before it and runs on after it: a vacuum, an air blast.

In: one channel, its sections, the measured comb. Out: the sections without what surrounds the cut in them.
Method: a loud spell that holds a louder one is asked whether its beginning and its end sound alike and unlike
the middle, and whether they lack the teeth.
Source: our own.
Leaves out: what surrounds a cut on one side only, and the idling spindle (chatter/cut/standing.py).
"""

from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from chatter.cut.engagement import LEAST_CONTRAST, LEAST_QUIET, CombTrack, within
from chatter.cut.sections import BESIDE_S, LEAST_S, TOP_HZ, Section, Sections, band_levels_db, find_sections

Floats = NDArray[np.float64]
LEAST_SIDE_S = 0.25  # own choice: of what is switched on before a cut, and off after it
LEAST_CUT_S = 2 * (LEAST_S + LEAST_SIDE_S)  # with what surrounds it
# Own choice: of the unlikeness of each side to the middle, that they may be unlike each other.
ALIKE = 0.5


def leave_surroundings(
    samples: Floats,
    sections: Sections,
    comb: CombTrack,
    *,
    rate_hz: float,
    bandwidth_hz: float,
    rotation_hz: float,
) -> Sections:
    """Shorten the cuts by what sounds alike before and after them.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    sections
        Loud spells, and where it idles.
    comb
        Of the teeth, along time.
    rate_hz, bandwidth_hz, rotation_hz
        Sample rate; highest frequency carried; the spindle's turns a second.

    Returns
    -------
    Sections
        What surrounded a cut is idle then. The same object where nothing does.
    """
    inner = {}
    for section in sections.cuts:
        core = _find_core(
            samples[int(section.start_s * rate_hz) : int(section.end_s * rate_hz)],
            rate_hz=rate_hz,
            bandwidth_hz=bandwidth_hz,
            rotation_hz=rotation_hz,
        )
        if core is not None:
            start_s, end_s = section.start_s + core.start_s, section.start_s + core.end_s
            inner[section] = replace(core, start_s=start_s, end_s=end_s)
    if not inner:
        return sections
    times_s, contrast = comb.times_s, comb.contrast
    quiet = within(times_s, sections.idle)
    if quiet.sum() < LEAST_QUIET:
        return sections
    most = float(np.median(contrast[quiet])) + LEAST_CONTRAST
    sides: list[tuple[float, float]] = []
    cuts: list[Section] = []
    for section in sections.cuts:
        core = inner.get(section, section)
        beside = ((section.start_s, core.start_s - BESIDE_S / 2), (core.end_s + BESIDE_S / 2, section.end_s))
        heard = [contrast[within(times_s, [span])] for span in beside]
        toothless = core is not section and all(len(one) > 0 and np.median(one) < most for one in heard)
        cuts.append(core if toothless else section)
        sides.extend(beside if toothless else ())
    if not sides:
        return sections
    return replace(sections, cuts=tuple(cuts), idle=tuple(sorted((*sections.idle, *sides))))


def _find_core(part: Floats, *, rate_hz: float, bandwidth_hz: float, rotation_hz: float) -> Section | None:
    """Give the one louder spell of a part whose beginning and end sound alike and unlike it; None without."""
    last_s = len(part) / rate_hz
    hear = partial(_spectrum_db, part, rate_hz=rate_hz, top_hz=min(bandwidth_hz, TOP_HZ))
    middle_s = last_s / 2
    ends = ((0.0, LEAST_SIDE_S), (last_s - LEAST_SIDE_S, last_s))
    if last_s < LEAST_CUT_S or not _stands_out(
        hear((middle_s - LEAST_S, middle_s + LEAST_S)), [hear(end) for end in ends], alike=1.0
    ):
        return None  # soon told, as of most cuts
    found = find_sections(part, rate_hz=rate_hz, bandwidth_hz=bandwidth_hz, rotation_hz=rotation_hz).cuts
    if len(found) != 1 or min(found[0].start_s, last_s - found[0].end_s) < LEAST_SIDE_S:
        return None
    core = found[0]
    if core.end_s - core.start_s < LEAST_S:
        return None
    sides = ((0.0, core.start_s - BESIDE_S / 2), (core.end_s + BESIDE_S / 2, last_s))
    inside = hear((core.start_s + BESIDE_S, core.end_s - BESIDE_S))
    return core if _stands_out(inside, [hear(side) for side in sides], alike=ALIKE) else None


def _spectrum_db(part: Floats, span_s: tuple[float, float], *, rate_hz: float, top_hz: float) -> Floats:
    """Give the mean levels of the bands between two times. Shape (bands,)."""
    heard = part[int(span_s[0] * rate_hz) : int(span_s[1] * rate_hz)]
    return np.asarray(band_levels_db(heard, rate_hz=rate_hz, top_hz=top_hz)[1].mean(axis=0))


def _stands_out(middle: Floats, sides: list[Floats], *, alike: float) -> bool:
    """Say whether the middle is louder than both sides, and these are more alike by far."""
    unlike = min(np.std(middle - side) for side in sides)
    louder = min(np.mean(middle - side) for side in sides)
    return bool(louder > 0 and np.std(sides[0] - sides[1]) < alike * unlike)
