"""Tones that sound both just before the teeth touch and just after they leave: no chatter of theirs.

In: the channel, a section of it, the spectra of its steady part. Out: their power, as sound without cutting.
Method: an axis drive sings from a moment before the cut to a moment after it, too short for the mean of the
idle parts to show. So short windows around both ends of a section are looked at; a line that is not much
fainter there than in the cut, at both ends, and the teeth by far more so, is not the cut's. What lies at the
teeth's lines while idling, too, is none of theirs.
What rings on after a cut, or begins while the teeth hardly touch, sounds at one end only.
Source: common practice (axis drives sing only while feeding); thresholds are our own.
Leaves out: what sounds all the while (chatter/cut/spectrum.py), other recordings (chatter/cut/air_pass.py).
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chatter.cut.sections import Section
from chatter.cut.spectrum import COMB_FROM_HZ, CutSpectra, comb_power
from chatter.dsp.spectra import find_tops, frame_powers, line_ring, peak_frequency_hz

Floats = NDArray[np.float64]
Spans = tuple[tuple[float, float], ...]
WINDOW_S, HOP_S = 0.2, 0.05
OUTSIDE_S, INSIDE_S = 0.6, 0.2  # how far a window may reach: the tone itself makes a cut seem to begin early
FAINTER = 0.5  # all sound, over that in the cut
AS_LOUD = 0.25  # -6 dB: a line's power over that in the cut, at least; else it is an echo, or another tone
TEETH_GONE = 0.03  # -15 dB: the teeth's beside such a line; beside a louder one as much more
MOST_LOUD = 8.0  # 9 dB: no drive gets louder, but automatic gain may, before the cut
QUIET_S = 2.0  # how far what is beyond a span reaches
MOST_NOISE = 0.3  # of the teeth's power in the cut: more is not taken away
SAME_HZ = 1.5  # what a short window tells of a line's frequency
STANDS_OUT = 6.0  # times the power around it: 8 dB, as a line of the cut does
PAD = 4


def add_beside(
    spectra: CutSpectra,
    samples: Floats,
    section: Section,
    *,
    idle: Spans,
    rate_hz: float,
    rotation_hz: float,
    flutes: int,
) -> CutSpectra:
    """Count tones that sound at both ends of a cut as sound without cutting; both must be in the file.

    Parameters
    ----------
    spectra
        Of the section's steady part.
    samples
        Shape (n,), the channel.
    section
        Where it is loud.
    idle
        Spans without cutting, s.
    rate_hz, rotation_hz, flutes
        Sample rate; the comb.
    """
    if section.open_start or section.open_end:
        return spectra
    lines = _tops(spectra.rest, bin_hz=spectra.bin_hz, width_hz=spectra.line_width_hz)
    if not lines:
        return spectra
    start_s, end_s = section.start_s, section.end_s
    before, after = (
        _heard(
            samples,
            span_s,
            _shared(idle, beyond_s),
            lines=lines,
            spectra=spectra,
            rate_hz=rate_hz,
            tooth_hz=rotation_hz * flutes,
        )
        for span_s, beyond_s in (
            ((start_s - OUTSIDE_S, start_s + INSIDE_S), (start_s - QUIET_S, start_s - OUTSIDE_S)),
            ((end_s - INSIDE_S, end_s + OUTSIDE_S), (end_s + OUTSIDE_S, end_s + QUIET_S)),
        )
    )
    both = before & after
    if not both:
        return spectra
    power = np.zeros(len(spectra.hz)) if spectra.idle is None else spectra.idle.copy()
    reach = max(1, round(spectra.line_width_hz / spectra.bin_hz))
    for at in both:
        place = slice(max(0, at - reach), at + reach + 1)
        power[place] = np.maximum(power[place], spectra.rest[at])
    return replace(spectra, idle=power)


def _shared(idle: Spans, beyond_s: tuple[float, float]) -> Spans:
    """Give the parts of a span that lie in idle ones."""
    parts = ((max(a, beyond_s[0]), min(b, beyond_s[1])) for a, b in idle)
    return tuple(part for part in parts if part[0] < part[1])


def _heard(
    samples: Floats,
    span_s: tuple[float, float],
    quiet: Spans,
    *,
    lines: list[tuple[float, int]],
    spectra: CutSpectra,
    rate_hz: float,
    tooth_hz: float,
) -> set[int]:
    """Give the bins of those lines that sound in a span while the teeth are fainter by far.

    What lies at the teeth's lines in the quiet beyond it, too, is no tooth's. The more of them is left, the
    louder a line must be.
    """
    found: set[int] = set()
    hz, powers = _windows(samples, span_s, spectra=spectra, rate_hz=rate_hz)
    teeth_in_cut = float(comb_power(spectra.whole[None], spectra.hz, base_hz=tooth_hz)[0])
    if not len(powers) or teeth_in_cut <= 0:
        return found
    noises = [
        comb_power(beyond, at_hz, base_hz=tooth_hz)
        for at_hz, beyond in (_windows(samples, one, spectra=spectra, rate_hz=rate_hz) for one in quiet)
        if len(beyond)
    ]
    noise = float(np.median(np.concatenate(noises))) if noises else 0.0
    teeth = comb_power(powers, hz, base_hz=tooth_hz) - min(noise, MOST_NOISE * teeth_in_cut)
    least = AS_LOUD * np.maximum(teeth / (TEETH_GONE * teeth_in_cut), 1.0)
    all_in_cut = _all(spectra.whole[None], spectra.hz, window_s=2 / spectra.line_width_hz)
    fainter = _all(powers, hz, window_s=WINDOW_S) < FAINTER * all_in_cut
    asked = fainter & (least < MOST_LOUD)
    for power, share in zip(powers[asked], least[asked], strict=True):
        tops = _tops(power, bin_hz=float(hz[1]), width_hz=2 / WINDOW_S)
        for line_hz, at in lines:
            near = [power[one] for one_hz, one in tops if abs(one_hz - line_hz) < SAME_HZ]
            if near and max(near) > share * spectra.rest[at]:
                found.add(at)
    return found


def _windows(
    samples: Floats, span_s: tuple[float, float], *, spectra: CutSpectra, rate_hz: float
) -> tuple[Floats, Floats]:
    """Give the spectra of short windows in what the file holds of a span: shapes (f,), (t, f); t may be 0."""
    part = samples[int(max(0.0, span_s[0]) * rate_hz) : int(max(0.0, span_s[1]) * rate_hz)]
    if len(part) < WINDOW_S * rate_hz:
        return np.zeros(0), np.zeros((0, 0))
    _, hz, powers = frame_powers(
        part.astype(np.float32),
        rate_hz=rate_hz,
        window_s=WINDOW_S,
        hop_s=HOP_S,
        pad=PAD,
        top_hz=float(spectra.hz[-1]),
    )
    return hz, powers


def _all(powers: Floats, hz: Floats, *, window_s: float) -> Floats:
    """Give the power of all sound above the phone's roll-off, but for one factor. Shape (t,).

    The longer a window, the less of a noise falls on each bin, scaled so that lines keep their power.
    """
    return np.asarray(powers[:, hz > COMB_FROM_HZ].mean(axis=1) * window_s)


def _tops(power: Floats, *, bin_hz: float, width_hz: float) -> list[tuple[float, int]]:
    """Give frequency and bin of every line that stands out."""
    ring = line_ring(power, bin_hz=bin_hz, width_hz=width_hz)
    tops = find_tops(power)
    loud = tops[power[tops] > STANDS_OUT * ring[tops]]
    return [(peak_frequency_hz(power, int(at), bin_hz), int(at)) for at in loud]
