"""What does not repeat from turn to turn: how loud it is, and whether it lies in one place between the turns.

In: the spectra of a steady part, its speed, what is background. Out: logs of ratios of power.
Why: chips, voices and bumps fill the spectrum evenly; chatter stands in places that are one fraction of a
turn away from the comb. High up every cut repeats less, so that low and high tones are weighed apart.
Source: the once-per-turn share after Schmitz, Medicus and Dutterer, Machining Sci. Tech. 6 (2002) 215;
families |±f_c + k·f_rot| after Insperger, Stépán, Bayly and Mann, J. Sound Vib. 262 (2003) 333 to 345.
Leaves out: single lines (chatter/cut/evidence.py).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from chatter.cut.spectrum import CutSpectra
from chatter.dsp.spectra import TINY, frame_powers

Floats = NDArray[np.float64]
BOTTOM_HZ = 100.0  # below, phones roll off and mains hum lives
LOW_TEETH = 5.0  # the low tones end at this multiple of the tooth-passing frequency
LEAST_BAND_HZ = 50.0  # of a band; with less it is not told apart
MOMENT_S, MOMENT_TURNS = 0.1, 6.0  # of a moment, at least; some turns: no single tooth's strike counts
FEWEST_MOMENTS = 6
REACH = 1.5  # of a moment's line, in parts of one over its length
FLOOR = 1e-3  # of what does not repeat: no ratio is more extreme
PARTS = 8  # of half a turn, into which places between the comb's lines are sorted
EVEN_HZ = 125.0  # within which a place is compared with its surroundings
OVER_IDLE = 1.5  # how many times the idle power doesn't count
LEAST_PLACES = 3  # of a part that takes part


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moments:
    """What does not repeat, frequency by frequency, at some quantiles over short moments."""

    hz: Floats  # shape (f,)
    length_s: float  # of a moment
    powers: tuple[Floats, ...]  # for each quantile, shape (f,): of even noise the mean, at each of them


def hear_moments(spectra: CutSpectra, *, quantiles: tuple[float, ...], rotation_hz: float) -> Moments:
    """Split a steady part into moments.

    Parameters
    ----------
    spectra
        Of the steady part.
    quantiles
        Which moments count, at each frequency by itself: 0.5 the usual one, less the quieter ones. Voices and
        bumps come and go, chatter stays.
    rotation_hz
        Rotation frequency: a moment lasts six turns, 0.1 s at least.

    Returns
    -------
    Moments
    """
    rest = spectra.rest_samples
    moment_s = min(max(MOMENT_S, MOMENT_TURNS / rotation_hz), len(rest) / spectra.rate_hz / FEWEST_MOMENTS)
    _, hz, frames = frame_powers(
        rest.astype(np.float32),
        rate_hz=spectra.rate_hz,
        window_s=moment_s,
        hop_s=moment_s / 2,
        pad=2,  # as that of the spectra, so that sums over a band compare
        top_hz=float(spectra.hz[-1]),
    )
    levels = np.quantile(frames, quantiles, axis=0)
    powers = [level / -np.log1p(-quantile) for level, quantile in zip(levels, quantiles, strict=True)]
    return Moments(hz=hz, length_s=moment_s, powers=tuple(powers))


def loudness(
    power: Floats, moments: Moments, spectra: CutSpectra, *, tooth_hz: float, without_hz: Floats
) -> tuple[float, float]:
    """Compare what does not repeat with what does, in low and in high tones.

    Parameters
    ----------
    power
        Shape (f,), one of the moments' powers.
    moments, spectra
        Of the same steady part.
    tooth_hz
        Tooth-passing frequency; high tones begin at five times that.
    without_hz
        Shape (k,), frequencies of lines that are left out.

    Returns
    -------
    low, high
        Logs of power ratios; the same number twice where one of the bands can't be heard.
    """
    hz, own = moments.hz, power
    if spectra.idle is not None:
        longer = 2 / spectra.line_width_hz / moments.length_s
        own = np.maximum(power - longer * np.interp(hz, spectra.hz, spectra.idle), 0.0)
    reach_hz = max(spectra.line_width_hz, REACH / moments.length_s)
    for line_hz in without_hz:
        own = np.where(np.abs(hz - line_hz) <= reach_hz, 0.0, own)
    repeating = spectra.repeating

    def ratio(low_hz: float, high_hz: float) -> float:
        wide = (spectra.hz > low_hz) & (spectra.hz <= high_hz)
        floor = FLOOR * float(spectra.rest[wide].sum()) + TINY
        heard = float(own[(hz > low_hz) & (hz <= high_hz)].sum())
        return float(np.log((heard + floor) / (float(repeating[wide].sum()) + floor)))

    top_hz, middle_hz = float(spectra.hz[-1]), LOW_TEETH * tooth_hz
    if not BOTTOM_HZ + LEAST_BAND_HZ < middle_hz < top_hz - LEAST_BAND_HZ:
        return ratio(BOTTOM_HZ, top_hz), ratio(BOTTOM_HZ, top_hz)
    return ratio(BOTTOM_HZ, middle_hz), ratio(middle_hz, top_hz)


def concentration(spectra: CutSpectra, *, among: NDArray[np.bool_], rotation_hz: float) -> float:
    """Say how much louder one fraction of a turn is than the others, whatever the tone.

    Parameters
    ----------
    spectra
        Of the steady part.
    among
        Shape (f,), the places that are compared: they lie clear of the comb.
    rotation_hz
        Rotation frequency.

    Returns
    -------
    float
        Log of the loudest eighth over the mean of all eighths; 0 where none is louder.
    """
    own = spectra.rest if spectra.idle is None else np.maximum(spectra.rest - OVER_IDLE * spectra.idle, 0.0)
    beside = uniform_filter1d(own, max(1, round(EVEN_HZ / spectra.bin_hz)))
    even = own / np.maximum(beside, TINY)
    turns = spectra.hz / rotation_hz
    away = np.abs(turns - np.round(turns))
    part = np.minimum((away * 2 * PARTS).astype(int), PARTS - 1)
    places = np.bincount(part[among], minlength=PARTS)
    power = np.bincount(part[among], weights=even[among], minlength=PARTS)
    means = power[places > LEAST_PLACES] / places[places > LEAST_PLACES]
    if not means.size or means.mean() <= 0:
        return 0.0
    return float(np.log(means.max() / means.mean()))
