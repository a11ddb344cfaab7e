"""The loudness of bands along time, and the comb of its spectrum.

In: samples and a rate. Out: how much the spectrum of each band's envelope stands above its floor. Whatever
strikes once a tooth makes every band louder and softer at that rate, chip noise and chatter's own lines
alike; where chatter lies does not matter, so chatter can't pull this comb out of place.
Source: envelope spectra, common practice in bearing and propeller diagnosis; the envelope is the modulus of
the analytic signal, D. Gabor, J. IEE 93 (1946) 429 to 457.
Leaves out: what the comb belongs to.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from chatter.dsp.spectra import TINY, frame_powers, ring_floor, running_floor

Floats = NDArray[np.float64]
Envelopes = list[NDArray[np.float32]]
LOWEST_HZ = 315.0
BANDS = 10
OCTAVES = 0.5  # width of a band
ORDER = 2  # of each flank: gentle, so that a band passes modulation faster than its own width
LEAST_GAIN = 0.03  # flanks are cut off there
REACH = 2.5  # times the centre, and as far below it: the gain falls to LEAST_GAIN at 2.42 times
RATE_HZ = 5000.0  # of the envelopes
TOP_HZ = 2400.0  # of their spectra
CAP = 6.0  # nepers, as for lines
PAD = 4
WINDOWS = 1.3  # least length of a sound, in windows
NOUGHT = 1e-12  # of the loudest place: what is fainter is rounding
CLEARLY = 1.0  # nepers above the floor: noise alone seldom reaches it; own choice


def band_envelopes(samples: Floats, *, rate_hz: float, top_hz: float) -> tuple[float, Envelopes]:
    """Give the envelope of each half-octave band.

    Parameters
    ----------
    samples
        Shape (n,).
    rate_hz
        Sample rate.
    top_hz
        No band reaches above it.

    Returns
    -------
    envelope_rate_hz, envelopes
        Each of shape (m,), without its mean; no band at all when `top_hz` is too low.
    """
    count = len(samples)
    padded = fft.next_fast_len(count, real=True)
    spectrum = fft.rfft((samples - samples.mean()).astype(np.float32), padded)
    length_s = padded / rate_hz
    out = fft.next_fast_len(max(4, round(RATE_HZ * length_s)), real=True)
    envelopes: Envelopes = []
    for band in range(BANDS):
        low_hz = LOWEST_HZ * 2 ** (band * OCTAVES)
        high_hz = low_hz * 2**OCTAVES
        if high_hz > top_hz:
            break
        centre_hz = np.sqrt(low_hz * high_hz)
        first = max(1, int(centre_hz / REACH * length_s))
        last = min(len(spectrum), int(centre_hz * REACH * length_s))
        hz = np.arange(first, last) / length_s
        off = (hz**2 - centre_hz**2) / (hz * (high_hz - low_hz))
        gain = 1 / np.sqrt(1 + (off**2) ** ORDER)  # a square is much quicker than a power
        kept = np.flatnonzero(gain > LEAST_GAIN)
        part = spectrum[first:last][kept[0] : kept[-1] + 1] * gain[kept[0] : kept[-1] + 1].astype(np.float32)
        # One-sided, shifted to zero: the modulus stays. Twice the width holds the modulus' own spectrum.
        shifted = np.zeros(fft.next_fast_len(2 * len(part)), dtype=np.complex64)
        shifted[: len(part)] = part
        own = fft.rfft(np.abs(fft.ifft(shifted)))
        coarse = np.zeros(out // 2 + 1, dtype=np.complex64)  # what lies above a band's own rate stays nought
        shared = min(len(own), len(coarse))
        coarse[:shared] = own[:shared]
        envelope = fft.irfft(coarse, out)[: max(8, int(count / padded * out))]
        envelopes.append(envelope - envelope.mean())
    return out / length_s, envelopes


def envelope_excess(
    envelopes: Envelopes,
    *,
    rate_hz: float,
    window_s: float,
    spacing_hz: float,
    beside: tuple[float, Envelopes] | None = None,
) -> tuple[float, Floats]:
    """Give how far the mean spectrum of the envelopes stands above its floor, and above that of other sound.

    Parameters
    ----------
    envelopes, rate_hz
        From band_envelopes.
    window_s
        Length of a Hann window.
    spacing_hz
        Distance of the lines that are looked for: the floor spans three of them.
    beside
        Rate and envelopes of another sound, from band_envelopes: what stands clearly above its floor there,
        a compressor's thumps for one, counts by so much less here.

    Returns
    -------
    bin_hz, excess
        Bin width, and shape (f,): nepers, mean over the bands, each between 0 and 6.
    """
    total: Floats | None = None
    bin_hz = 1.0
    for band, envelope in enumerate(envelopes):
        bin_hz, excess = _excess_of(envelope, rate_hz=rate_hz, window_s=window_s, spacing_hz=spacing_hz)
        if beside is not None and band < len(beside[1]):
            other_hz, other = beside[0], beside[1][band]
            there_hz, there = _excess_of(
                other,
                rate_hz=other_hz,
                window_s=min(window_s, len(other) / other_hz / WINDOWS),
                spacing_hz=spacing_hz,
            )
            there = np.maximum(ndimage.maximum_filter1d(there, 2 * PAD + 1) - CLEARLY, 0.0)
            at = np.arange(len(excess)) * bin_hz / there_hz
            excess = np.maximum(excess - np.interp(at, np.arange(len(there)), there), 0.0)
        total = excess if total is None else total + excess
    if total is None:
        return bin_hz, np.zeros(2)
    return bin_hz, total / len(envelopes)


def _excess_of(
    envelope: NDArray[np.float32], *, rate_hz: float, window_s: float, spacing_hz: float
) -> tuple[float, Floats]:
    """Give bin width and excess of one envelope."""
    _, hz, powers = frame_powers(
        envelope, rate_hz=rate_hz, window_s=window_s, hop_s=window_s / 4, pad=PAD, top_hz=TOP_HZ
    )
    bin_hz = float(hz[1])
    return bin_hz, line_excess(powers.mean(axis=0), bin_hz=bin_hz, spacing_hz=spacing_hz, pad=PAD)


def line_excess(power: Floats, *, bin_hz: float, spacing_hz: float, pad: int) -> Floats:
    """Give how far a mean spectrum stands above its floor and above the skirts of loud lines.

    Parameters
    ----------
    power
        Shape (f,), of Hann windows padded `pad` times.
    bin_hz
        Bin width.
    spacing_hz
        Distance of the lines that are looked for.
    pad
        As given to the transform.

    Returns
    -------
    NDArray
        Shape (f,), nepers between 0 and 6.
    """
    power = np.maximum(power, NOUGHT * power.max())
    floor = running_floor(power, width_bins=max(9, int(3 * spacing_hz / bin_hz)))
    lobe = 2 * pad
    # Beside loud lines the window's skirts hide the rest: only what stands above them counts here.
    skirts = ring_floor(power, inner_bins=lobe + 2, outer_bins=4 * lobe)
    return np.asarray(np.clip(np.log(np.maximum(power, TINY) / np.maximum(floor, skirts)), 0.0, CAP))
