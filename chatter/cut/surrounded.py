"""Part a cut from what was switched on before it and runs on after it: a vacuum, an air blast.

In: one channel, its sections, the measured comb. Out: the sections without what surrounds the cut in them.
Method: a loud spell that holds a louder one is asked whether its beginning and its end sound alike and unlike
the middle, and whether they lack the teeth.
Source: our own.
Leaves out: what surrounds a cut on one side only, and the idling spindle (chatter/cut/standing.py).
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chatter.cut.engagement import LEAST_CONTRAST, LEAST_QUIET, comb_contrast, within
from chatter.cut.sections import BESIDE_S, TOP_HZ, Section, Sections, band_levels_db, find_sections

Floats = NDArray[np.float64]
LEAST_SIDE_S = 0.25  # own choice: of what is switched on before a cut, and off after it
# Own choice: of the unlikeness of each side to the middle, that they may be unlike each other.
ALIKE = 0.5


def leave_surroundings(
    samples: Floats,
    sections: Sections,
    *,
    rate_hz: float,
    bandwidth_hz: float,
    rotation_hz: float,
    flutes: int,
) -> Sections:
    """Shorten the cuts by what sounds alike before and after them.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    sections
        Loud spells, and where it idles.
    rate_hz, bandwidth_hz
        Sample rate; highest frequency carried.
    rotation_hz, flutes
        The comb.

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
    times_s, contrast = comb_contrast(
        samples, rate_hz=rate_hz, top_hz=min(bandwidth_hz, 0.45 * rate_hz), tooth_hz=rotation_hz * flutes
    )
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
        bare = core is not section and all(len(one) > 0 and np.median(one) < most for one in heard)
        cuts.append(core if bare else section)
        sides.extend(beside if bare else ())
    if not sides:
        return sections
    return replace(sections, cuts=tuple(cuts), idle=tuple(sorted((*sections.idle, *sides))))


def _find_core(part: Floats, *, rate_hz: float, bandwidth_hz: float, rotation_hz: float) -> Section | None:
    """Give the one louder spell of a part whose beginning and end sound alike and unlike it; None without."""
    found = find_sections(part, rate_hz=rate_hz, bandwidth_hz=bandwidth_hz, rotation_hz=rotation_hz).cuts
    last_s = len(part) / rate_hz
    if len(found) != 1 or min(found[0].start_s, last_s - found[0].end_s) < LEAST_SIDE_S:
        return None
    core = found[0]
    times_s, levels = band_levels_db(part, rate_hz=rate_hz, top_hz=min(bandwidth_hz, TOP_HZ))
    before, middle, after = (
        levels[within(times_s, [span])].mean(axis=0)
        for span in (
            (0.0, core.start_s - BESIDE_S / 2),
            (core.start_s + BESIDE_S, core.end_s - BESIDE_S),
            (core.end_s + BESIDE_S / 2, last_s),
        )
    )
    unlike = min(np.std(middle - side) for side in (before, after))
    louder = min(np.mean(middle - side) for side in (before, after))
    return core if louder > 0 and np.std(before - after) < ALIKE * unlike else None
