"""Name every significant line and hump of a cut.

In: spectra, speed and evidence of a steady part. Out: lines with kinds, strongest first.
Source: design terms of the trade; a hump's width is its half-power width (common practice).
Leaves out: the verdict.
"""

import numpy as np
from numpy.typing import NDArray

from chatter.cut.evidence import Evidence, Peak
from chatter.cut.spectrum import CutSpectra
from chatter.dsp.spectra import TINY, running_floor
from chatter.model import Line, LineKind

Floats = NDArray[np.float64]
MOST_HARMONICS = 30
HARMONIC_NEPERS = 2.3  # 10 dB above the floor: a harmonic worth naming
HUMP_NEPERS = 1.15  # 5 dB above the wide floor
MOST_HUMPS = 4
SMOOTH_HZ = 24.0  # noise is rough: humps are sought in a floor that runs over this much
LEAST_HUMP_HZ = 16.0  # a hump is at least this wide, and four line widths


def name_lines(
    spectra: CutSpectra, evidence: Evidence, *, rotation_hz: float, flutes: int, chattering: bool
) -> tuple[Line, ...]:
    """Name the lines of one steady part.

    Parameters
    ----------
    spectra, evidence
        Of the same steady part.
    rotation_hz, flutes
        Its comb.
    chattering
        Whether the family off the comb is called chatter.

    Returns
    -------
    tuple of Line
        Strongest first.
    """
    lines = _harmonics(spectra, rotation_hz=rotation_hz, flutes=flutes)
    base = {id(peak): place for place, peak in enumerate(evidence.base)}
    multiplied = {id(peak) for peak in evidence.family} - set(base)
    peaks = evidence.peaks
    if chattering:  # broad chatter has no narrow line; the loudest place of a lone one may be its line
        added = tuple(peak for peak in evidence.family if peak not in peaks)
        width_hz = spectra.line_width_hz
        peaks = added + tuple(
            peak
            for peak in peaks
            if all(abs(peak.frequency_hz - one.frequency_hz) > width_hz for one in added)
        )
    for peak in peaks:
        kind: LineKind = "unexplained"
        order = None
        if peak.in_idle:
            kind = "background"
        elif chattering and id(peak) in base:
            kind = "chatter" if base[id(peak)] == 0 else "chatter sideband"
        elif chattering and id(peak) in multiplied:
            kind, order = "chatter sideband", evidence.multiple
        lines.append(_line(peak, kind, order=order))
    lines.extend(_humps(spectra, rotation_hz=rotation_hz, peaks=evidence.peaks))
    return tuple(sorted(lines, key=lambda line: -line.level_db))


def _line(peak: Peak, kind: LineKind, *, order: int | None) -> Line:
    level_db = 10 * float(np.log10(max(peak.power, TINY)))
    return Line(frequency_hz=peak.frequency_hz, width_hz=None, level_db=level_db, kind=kind, order=order)


def _harmonics(spectra: CutSpectra, *, rotation_hz: float, flutes: int) -> list[Line]:
    """Give the comb's lines that stand out."""
    floor = running_floor(spectra.whole, width_bins=max(9, int(3 * rotation_hz / spectra.bin_hz)))
    found: list[Line] = []
    for order in range(1, int(spectra.hz[-1] / rotation_hz)):
        at = order * rotation_hz / spectra.bin_hz
        low, high = max(0, int(at) - 1), min(len(spectra.whole), int(at) + 3)
        if low >= high:
            continue
        index = low + int(np.argmax(spectra.whole[low:high]))
        if np.log(max(spectra.whole[index], TINY) / floor[index]) < HARMONIC_NEPERS:
            continue
        in_idle = spectra.idle is not None and spectra.idle[index] > 0.5 * spectra.whole[index]
        tooth = order % flutes == 0
        kind: LineKind = "background" if in_idle else "tooth passing" if tooth else "spindle harmonic"
        found.append(
            Line(
                frequency_hz=order * rotation_hz,
                width_hz=None,
                level_db=10 * float(np.log10(max(spectra.whole[index], TINY))),
                kind=kind,
                order=None if in_idle else order // flutes if tooth else order,
            )
        )
    return sorted(found, key=lambda line: -line.level_db)[:MOST_HARMONICS]


def _humps(spectra: CutSpectra, *, rotation_hz: float, peaks: tuple[Peak, ...]) -> list[Line]:
    """Give broad rises of the part that does not repeat: modes that chip formation excites."""
    bin_hz, width_hz = spectra.bin_hz, spectra.line_width_hz
    smooth_bins = max(3, round(max(SMOOTH_HZ, 3 * width_hz) / bin_hz))
    rest = running_floor(spectra.rest, width_bins=smooth_bins)
    wide = running_floor(spectra.rest, width_bins=max(smooth_bins * 5, round(800 / bin_hz)), quantile=0.4)
    rise = np.log(rest / wide)
    if spectra.idle is not None:
        idle = running_floor(spectra.idle, width_bins=smooth_bins)
        rise = np.where(rest > 2 * idle, rise, 0.0)
    least_hz = max(LEAST_HUMP_HZ, 4 * width_hz)
    found: list[Line] = []
    used = np.zeros(len(rise), dtype=bool)
    used[spectra.hz < 150] = True
    for _ in range(MOST_HUMPS):
        free = np.where(used, 0.0, rise)
        index = int(np.argmax(free))
        if free[index] < HUMP_NEPERS:
            break
        low = high = index
        while low > 0 and rest[low - 1] > 0.5 * rest[index]:
            low -= 1
        while high < len(rest) - 1 and rest[high + 1] > 0.5 * rest[index]:
            high += 1
        used[max(0, 2 * low - index - 5) : 2 * high - index + 6] = True
        width = (high - low + 1) * bin_hz
        lone = any(abs(peak.frequency_hz - index * bin_hz) < 2 * width_hz for peak in peaks)
        centre_hz = float((low + high) / 2 * bin_hz)
        again = any(abs(centre_hz - other.frequency_hz) < width for other in found)
        if width < least_hz or width > 0.4 * index * bin_hz or lone or again:
            continue
        found.append(
            Line(
                frequency_hz=centre_hz,
                width_hz=float(width),
                level_db=10 * float(np.log10(max(rest[index], TINY))),
                kind="resonance",
                order=None,
            )
        )
    return found
