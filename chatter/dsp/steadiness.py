"""How long a narrow band of sound keeps its phase.

In: samples and the centres of bands. Out: coherence of each band with itself some time later.
Why: a self-sustained vibration keeps its phase; a mode that noise excites loses it as it dies away.
Source: the autocorrelation as the transform of the power spectrum (N. Wiener, Acta Math. 55 (1930) 117).
Leaves out: which bands matter (chatter/cut/evidence.py).
"""

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft

from chatter.dsp.spectra import TINY

Floats = NDArray[np.float64]
REACH = 4.0  # half widths at which the weights end: e^-16


def band_coherence(
    samples: Floats, *, rate_hz: float, centres_hz: Floats, half_width_hz: float, lag_s: float
) -> Floats:
    """Give how alike each band is to itself a lag later.

    Parameters
    ----------
    samples
        Shape (n,), longer than the lag.
    rate_hz
        Samples per second.
    centres_hz
        Shape (k,), between 0 and half the rate.
    half_width_hz
        Of the Gaussian weights on power, to e^-1.
    lag_s
        The time between.

    Returns
    -------
    NDArray
        Shape (k,), 0 to 1: 1 for a steady tone, about exp(-(π·half width·lag)²) for white noise.

    Raises
    ------
    ValueError
        The samples are no longer than the lag.
    """
    lag = round(lag_s * rate_hz)
    count = len(samples)
    if lag >= count:
        raise ValueError(f"{count} samples are no longer than a lag of {lag}")
    size = next_fast_len(count + lag, real=True)  # zeros behind keep the end from meeting the start
    spectrum = rfft(samples, n=size)
    power = spectrum.real**2 + spectrum.imag**2
    bin_hz = rate_hz / size
    found = np.empty(len(centres_hz))
    for index, centre_hz in enumerate(centres_hz):
        low = max(0, int((centre_hz - REACH * half_width_hz) / bin_hz))
        high = min(len(power), int((centre_hz + REACH * half_width_hz) / bin_hz) + 2)
        at_hz = np.arange(low, high) * bin_hz
        band = power[low:high] * np.exp(-(((at_hz - centre_hz) / half_width_hz) ** 2))
        turned = np.sum(band * np.exp(2j * np.pi * at_hz * (lag / rate_hz)))
        found[index] = np.abs(turned) / max(band.sum(), TINY)
    return np.asarray(np.minimum(found * count / (count - lag), 1.0))
