"""Work in angle: follow the spindle's phase, and take away what repeats every turn.

In: samples, and the rotation frequency along time. Out: phase in turns, the part that repeats turn by
turn, and the rest, both back in time.
Source: computed order tracking, K. R. Fyfe and E. D. S. Munck, Mech. Syst. Signal Process. 11 (1997)
187 to 205; synchronous averaging, common practice.
Leaves out: where the rotation frequency comes from (chatter/dsp/comb.py).
"""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]


def phase_turns(*, count: int, rate_hz: float, times_s: Floats, rotation_hz: Floats) -> Floats:
    """Integrate a rotation frequency.

    Parameters
    ----------
    count
        Number of samples.
    rate_hz
        Sample rate.
    times_s, rotation_hz
        Shape (t,), knots of the frequency; held constant outside.

    Returns
    -------
    NDArray
        Shape (count,), turns, 0 at the first sample.
    """
    at_s = np.arange(count) / rate_hz
    frequency = np.interp(at_s, times_s, rotation_hz)
    return np.concatenate([[0.0], np.cumsum((frequency[1:] + frequency[:-1]) / 2)]) / rate_hz


def refine_phase(
    samples: Floats, phase: Floats, *, rate_hz: float, orders: NDArray[np.int64], block_s: float
) -> Floats:
    """Correct a phase by the drift of strong harmonics.

    Each harmonic k of a block has a complex amplitude; its angle moves k times the phase's error.

    Parameters
    ----------
    samples, phase
        Shape (n,); phase in turns.
    rate_hz
        Sample rate.
    orders
        Shape (k,): harmonics to trust.
    block_s
        Length of a block; the error must stay below half a turn of the highest order in half of it.

    Returns
    -------
    NDArray
        Shape (n,), corrected phase, turns.
    """
    size = max(16, round(block_s * rate_hz))
    hop = size // 2
    count = 1 + (len(samples) - size) // hop
    if count < 3 or len(orders) == 0:
        return phase
    window = np.hanning(size)
    starts = np.arange(count) * hop
    frames = np.lib.stride_tricks.sliding_window_view(samples, size)[starts] * window
    turns = np.lib.stride_tricks.sliding_window_view(phase, size)[starts]
    step = np.zeros(count - 1)
    weight = np.zeros(count - 1)
    for order in orders:
        amplitude = np.sum(frames * np.exp(-2j * np.pi * order * turns), axis=1)
        product = amplitude[1:] * np.conj(amplitude[:-1])
        size_of = np.abs(product)
        mean = np.median(size_of) + 1e-30
        trust = size_of / (size_of + mean)
        step += trust * order * np.angle(product) / (2 * np.pi)
        weight += trust * order**2
    drift = np.concatenate([[0.0], np.cumsum(step / np.maximum(weight, 1e-12))])
    drift = ndimage.gaussian_filter1d(drift, 1.0, mode="nearest")
    centres = starts + size / 2
    return np.asarray(phase + np.interp(np.arange(len(samples)), centres, drift))


def split_repeating(samples: Floats, phase: Floats, *, turns: int) -> tuple[Floats, Floats]:
    """Part a sound into what repeats every turn and what does not.

    Parameters
    ----------
    samples
        Shape (n,).
    phase
        Shape (n,), turns, rising.
    turns
        Length of the sliding average, turns (Hann weights).

    Returns
    -------
    repeating, rest
        Shapes (n,); their sum is `samples` inside the span of whole turns, and `rest` is 0 outside it.
    """
    first, last = int(np.ceil(phase[0])), int(np.floor(phase[-1]))
    whole = last - first
    if whole < 3:
        return np.zeros_like(samples), samples.copy()
    per_turn = int(np.ceil(len(samples) / max(phase[-1] - phase[0], 1e-9)))
    grid = first + np.arange(whole * per_turn) / per_turn
    at = np.interp(grid, phase, np.arange(len(samples), dtype=np.float64))
    in_angle = ndimage.map_coordinates(samples, [at], order=3, mode="nearest").reshape(whole, per_turn)
    width = max(3, min(turns | 1, whole | 1))
    weights = np.hanning(width + 2)[1:-1]
    total = ndimage.convolve1d(in_angle, weights, axis=0, mode="constant")
    norm = ndimage.convolve1d(np.ones(whole), weights, mode="constant")
    average = total / norm[:, None]
    back = (phase - first) * per_turn
    repeating = ndimage.map_coordinates(average.ravel(), [back], order=3, mode="nearest")
    inside = (phase >= first) & (phase <= last - 1 / per_turn)
    repeating = np.where(inside, repeating, 0.0)
    return repeating, np.where(inside, samples - repeating, 0.0)
