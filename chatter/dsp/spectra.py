"""Power spectra by averaged windows, their floors, and narrow lines in them.

In: samples and a rate. Out: one-sided power per bin (mean square, so that a sine of rms A
reads A² when its frequency meets a bin), floors and line prominence on the same grid.
Source: P. D. Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70 to 73; window gains after
F. J. Harris, Proc. IEEE 66 (1978) 51 to 83.
Leaves out: names of lines (chatter/cut/lines.py).
"""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.fft import next_fast_len, rfft

Floats = NDArray[np.float64]
TINY = 1e-20  # mean square far below one step of 24-bit sound (1e-15); keeps logarithms finite
# Where the bins wanted end below HALVED_BELOW of the rate, every other sample says as much. The half-band
# filter before that passes them within 1e-6, and what folds onto them lies 120 dB down.
HALVED_BELOW, HALF_TAPS, HALF_BETA = 0.2, 20, 12.3
LONG = 4096  # own choice: shorter windows gain little


def frame_powers(
    samples: NDArray[np.floating],
    *,
    rate_hz: float,
    window_s: float,
    hop_s: float,
    pad: int = 1,
    top_hz: float | None = None,
) -> tuple[Floats, Floats, Floats]:
    """Give the power spectrum of each Hann window.

    Source: Welch (1967), modified periodogram; scaled by the window's sum, so lines keep their power.

    Parameters
    ----------
    samples
        Shape (n,), at least one window long; a shorter input is one shorter window. Single precision is
        twice as quick: its rounding lies 130 dB and more below the loudest line, under any phone's noise.
    rate_hz
        Samples per second.
    window_s, hop_s
        Window length and step, s, to the nearest sample of the rate that is used.
    pad
        The transform is `pad` windows long (zeros after the window).
    top_hz
        Bins above it are left out; all are kept when not given. Long windows are heard at half the rate, or
        less, where that says as much up to there; their bins may lie a little elsewhere then.

    Returns
    -------
    times_s, frequencies_hz, powers
        Shapes (t,), (f,), (t, f): window centres, bins, mean square per line.
    """
    values = np.asarray(samples)
    while _is_too_fine(len(values), rate_hz=rate_hz, window_s=window_s, top_hz=top_hz):
        values, rate_hz = halve_rate(values), rate_hz / 2
    n = len(values)
    size = max(8, min(round(window_s * rate_hz), n))
    hop = max(1, round(hop_s * rate_hz))
    count = 1 + max(0, (n - size) // hop)
    window = hann(size)
    weights = window.astype(values.dtype if values.dtype == np.float32 else np.float64)
    length = int(pad * size)
    length = next_fast_len(length, real=True)
    frames = np.lib.stride_tricks.sliding_window_view(values, size)[::hop][:count]
    scale = 2.0 / window.sum() ** 2
    bins = length // 2 + 1
    if top_hz is not None:
        bins = min(bins, int(np.ceil(top_hz * length / rate_hz)) + 1)
    powers = np.empty((count, bins))
    block = max(8, 400_000 // length)  # what stays near the processor
    for start in range(0, count, block):
        spectrum = rfft(frames[start : start + block] * weights, n=length, axis=1)
        kept = spectrum[:, :bins]
        powers[start : start + block] = scale * (kept.real**2 + kept.imag**2)
    times_s = np.asarray((np.arange(count) * hop + size / 2) / rate_hz, dtype=np.float64)
    frequencies_hz = np.asarray(np.arange(bins) * (rate_hz / length), dtype=np.float64)
    return times_s, frequencies_hz, powers


def _is_too_fine(count: int, *, rate_hz: float, window_s: float, top_hz: float | None) -> bool:
    """Say whether half the rate says as much, and sooner."""
    return top_hz is not None and top_hz < HALVED_BELOW * rate_hz and min(window_s * rate_hz, count) > LONG


def halve_rate(samples: NDArray[np.floating]) -> NDArray[np.floating]:
    """Give sound at half its rate: what lies below a fifth of the old rate stays.

    Source: half-band filter, windowed by J. F. Kaiser's; A. V. Oppenheim and R. W. Schafer, Discrete-Time
    Signal Processing.

    Parameters
    ----------
    samples
        Shape (n,), two or more; silence is assumed before and after.

    Returns
    -------
    NDArray
        Shape ((n + 1) // 2,), the same precision; its first sample is at the time of the first.
    """
    away = np.arange(1 - 2 * HALF_TAPS, 2 * HALF_TAPS, 2)  # odd: all others but the middle one are nought
    taps = np.sinc(away / 2) / 2 * np.i0(HALF_BETA * np.sqrt(1 - (away / (2 * HALF_TAPS)) ** 2))
    taps = (taps / (2 * taps.sum())).astype(samples.dtype)
    even, odd = samples[::2], samples[1::2]
    between = np.convolve(odd, taps)[HALF_TAPS - 1 : HALF_TAPS - 1 + len(even)]
    halved = samples.dtype.type(0.5) * even
    halved[: len(between)] += between
    return halved


def frames_between(
    samples: NDArray[np.floating],
    start_s: float,
    end_s: float,
    *,
    rate_hz: float,
    window_s: float,
    hop_s: float,
    top_hz: float,
) -> tuple[Floats, Floats, Floats]:
    """Give the power spectrum of each Hann window between two times, in single precision.

    Parameters
    ----------
    samples
        Shape (n,).
    start_s, end_s
        From the first sample.
    rate_hz, window_s, hop_s, top_hz
        As for `frame_powers`.

    Returns
    -------
    times_s, frequencies_hz, powers
        As from `frame_powers`; times from the first sample.
    """
    first = int(start_s * rate_hz)
    part = samples[first : int(end_s * rate_hz)].astype(np.float32)
    times_s, hz, powers = frame_powers(part, rate_hz=rate_hz, window_s=window_s, hop_s=hop_s, top_hz=top_hz)
    return times_s + first / rate_hz, hz, powers


def hann(size: int) -> Floats:
    """Give a periodic Hann window of shape (size,).

    Written out because a whole library of filters would have to load for it. Source: Harris (1978).
    """
    return np.asarray(0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size))


def running_floor(powers: Floats, *, width_bins: int, quantile: float = 0.5) -> Floats:
    """Give a running quantile of the spectrum: what lies under its lines.

    Parameters
    ----------
    powers
        Shape (f,), mean square per bin.
    width_bins
        Full width of the running window, bins.
    quantile
        0.5 is the median.

    Returns
    -------
    NDArray
        Shape (f,), at least TINY.
    """
    size = max(3, width_bins | 1)
    # A coarse grid is enough for a floor and keeps wide windows cheap.
    step = max(1, size // 24)
    if step == 1:
        return np.maximum(ndimage.percentile_filter(powers, 100 * quantile, size=size, mode="nearest"), TINY)
    usable = len(powers) // step * step
    small = np.quantile(powers[:usable].reshape(-1, step), quantile, axis=1)
    floor = ndimage.percentile_filter(small, 100 * quantile, size=max(3, size // step), mode="nearest")
    at = (np.arange(len(small)) + 0.5) * step
    return np.maximum(np.interp(np.arange(len(powers)), at, floor), TINY)


def ring_floor(powers: Floats, *, inner_bins: int, outer_bins: int) -> Floats:
    """Give the median power on both sides of each bin, leaving out the bin's own line.

    A line stands above it, a hump wider than `inner_bins` does not.

    Parameters
    ----------
    powers
        Shape (f,).
    inner_bins, outer_bins
        The ring reaches from `inner_bins` to `outer_bins` away, on each side.

    Returns
    -------
    NDArray
        Shape (f,): the larger of the two sides' medians, at least TINY.
    """
    span = outer_bins - inner_bins + 1
    side = ndimage.median_filter(powers, size=span, mode="nearest")
    shift = inner_bins + span // 2
    left = np.concatenate([np.full(shift, side[0]), side[:-shift]])
    right = np.concatenate([side[shift:], np.full(shift, side[-1])])
    return np.asarray(np.maximum(np.maximum(left, right), TINY))


def line_ring(powers: Floats, *, bin_hz: float, width_hz: float) -> Floats:
    """Give the ring floor that suits lines of a width, half the main lobe of the window. Shape (f,)."""
    inner = line_reach_bins(bin_hz=bin_hz, width_hz=width_hz)
    return ring_floor(powers, inner_bins=inner, outer_bins=inner + max(6, round(5 * width_hz / bin_hz)))


def line_reach_bins(*, bin_hz: float, width_hz: float) -> int:
    """Give how many bins on each side of its top a line of a width takes up."""
    return max(2, round(1.5 * width_hz / bin_hz))


def find_tops(powers: Floats) -> NDArray[np.intp]:
    """Give the bins that are louder than both beside them; of two equal ones the last. Shape (k,), rising."""
    middle = powers[1:-1]
    return np.flatnonzero((middle >= powers[:-2]) & (middle > powers[2:])) + 1


def peak_frequency_hz(powers: Floats, index: int, bin_hz: float) -> float:
    """Refine a peak by a parabola through the logarithm of three bins.

    Source: common practice for Hann windows (J. O. Smith, Spectral Audio Signal Processing, 2011).
    """
    if index <= 0 or index >= len(powers) - 1:
        return index * bin_hz
    a, b, c = np.log(np.maximum(powers[index - 1 : index + 2], TINY))
    bend = a - 2 * b + c
    shift = 0.0 if bend >= 0 else float(np.clip(0.5 * (a - c) / bend, -0.5, 0.5))
    return (index + shift) * bin_hz
