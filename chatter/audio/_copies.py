"""Bands that a codec made up from other bands.

In: one channel. Out: where the made-up part begins.
Method: low-rate codecs store a core band and copy or fold it upward. Two bands of a real sound flutter each
in its own way, a copy flutters with its original: the levels of all bins over time are correlated with one
another, and a stretch of one shift (copy) or one sum (fold) of frequencies that agrees is no coincidence.
Source: spectral band replication, ISO/IEC 14496-3, 4.6.18; the thresholds are our own: copies reach 0.9 and
more, simulated cuts stay below 0.15 (tests/unit/audio/test_copies.py).
Leaves out: bands filled with noise of the codec's own.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Samples = NDArray[np.float32]
Floats = NDArray[np.float64]
BLOCK = 1024
LONGEST_S = 15.0  # looked at, from the middle of the recording
LEAST_FRAMES = 200
BOTTOM_HZ = 500.0
LEAST_SHIFT_HZ = 1500.0
STRETCH_HZ = 1500.0  # of bins that must agree
AGREES = 0.5  # mean correlation over the stretch
SMOOTH = 41  # bins and frames over which common loudness is taken out


def made_up_from_hz(channel: Samples, *, rate_hz: float, bandwidth_hz: float) -> float | None:
    """Find the lowest frequency above which the sound is a copy of what lies below.

    Parameters
    ----------
    channel
        Shape (n,).
    rate_hz, bandwidth_hz
        Sample rate; highest frequency carried.

    Returns
    -------
    float or None
        Hz; None when every band flutters by itself.
    """
    most = round(LONGEST_S * rate_hz)
    start = max(0, (len(channel) - most) // 2)
    part = channel[start : start + most]
    count = 1 + (len(part) - BLOCK) // (BLOCK // 2)
    if count < LEAST_FRAMES:
        return None
    bin_hz = rate_hz / BLOCK
    likeness = _likeness(part, bins=int(0.97 * bandwidth_hz / bin_hz))
    low, shift, width = (round(hz / bin_hz) for hz in (BOTTOM_HZ, LEAST_SHIFT_HZ, STRETCH_HZ))
    found = [
        *_agreeing(likeness, low=low, shift=shift, width=width),
        *_folded(likeness, low=low, shift=shift, width=width),
    ]
    return min(found) * bin_hz if found else None


def _likeness(part: Samples, *, bins: int) -> Floats:
    """Correlate the flutter of every bin with every other: shape (bins, bins)."""
    frames = np.lib.stride_tricks.sliding_window_view(part, BLOCK)[:: BLOCK // 2]
    spectrum = np.fft.rfft(frames * np.hanning(BLOCK).astype(np.float32), axis=1)[:, :bins]
    flutter = np.log(spectrum.real**2 + spectrum.imag**2 + 1e-13)
    for axis in (1, 0):
        flutter -= ndimage.uniform_filter1d(flutter, SMOOTH, axis=axis)
    flutter = np.clip(flutter, -3, 3)
    flutter /= flutter.std(axis=0) + 1e-9
    return np.asarray(flutter.T @ flutter / len(flutter), dtype=np.float64)


def _agreeing(likeness: Floats, *, low: int, shift: int, width: int) -> list[int]:
    """Give where stretches begin that are copies at one shift."""
    starts = []
    for step in range(shift, len(likeness) - low - width):
        first = _first_stretch(np.diagonal(likeness, step)[low:], width)
        if first is not None:
            starts.append(low + first + step)
    return starts


def _folded(likeness: Floats, *, low: int, shift: int, width: int) -> list[int]:
    """Give where stretches begin that are mirror images about one frequency."""
    starts = []
    size = len(likeness)
    for total in range(2 * low + shift + 2 * width, 2 * size - shift):
        lower = np.arange(max(low, total - size + 1), (total - shift) // 2 + 1)
        if len(lower) < width:
            continue
        upward = lower[::-1]  # the highest lower bin is the lowest mirror image
        first = _first_stretch(likeness[upward, total - upward], width)
        if first is not None:
            starts.append(total - int(upward[first]))
    return starts


def _first_stretch(values: Floats, width: int) -> int | None:
    """Give the bin at which the first agreeing stretch begins."""
    over = np.flatnonzero(_sliding_mean(values, width) > AGREES)
    if len(over) == 0:
        return None
    inside = values[over[0] : over[0] + width]  # half of it may lie before the copy
    return int(over[0]) + int(np.flatnonzero(ndimage.uniform_filter1d(inside, 5) > AGREES)[0])


def _sliding_mean(values: Floats, width: int) -> Floats:
    if len(values) < width:
        return np.zeros(0)
    total = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray((total[width:] - total[:-width]) / width)
