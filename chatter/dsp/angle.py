"""Work in angle: follow the spindle's phase, and take away what repeats every turn.

In: samples, and the rotation frequency along time. Out: phase in turns, the part that repeats turn by
turn, and the rest, both back in time.
Source: computed order tracking, K. R. Fyfe and E. D. S. Munck, Mech. Syst. Signal Process. 11 (1997)
187 to 205; synchronous averaging, common practice.
Leaves out: where the rotation frequency comes from (chatter/dsp/comb.py).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]
LEAST_NORM = 1e-30  # keeps silence from dividing by zero
PATTERN_ROUNDS, LOUDER = 4, 0.9  # rounds that the pattern settles in; quantile that is called loud
STRONG = 20.0  # power over noise, at which a harmonic has half its full trust


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
    signals: Sequence[NDArray[np.floating]],
    phase: Floats,
    *,
    rate_hz: float,
    orders: NDArray[np.int64],
    block_s: float,
    most: float,
) -> Floats:
    """Correct a phase by the drift of harmonics.

    Each harmonic k of a block has a complex amplitude; its angle moves k times the phase's error. The
    drift from block to block is the weighted median over harmonics and signals, so that a few of them
    disturbed by neighbours don't count.

    Parameters
    ----------
    signals
        Arrays of shape (n,), all with the same turns in them.
    phase
        Shape (n,), turns.
    rate_hz
        Sample rate.
    orders
        Shape (k,): harmonics to trust.
    block_s
        Length of a block; the error must stay below half a turn of the highest order in half of it.
    most
        Largest correction of the speed, as a share of it.

    Returns
    -------
    NDArray
        Shape (n,), corrected phase, turns.
    """
    size = max(16, round(block_s * rate_hz))
    hop = size // 2
    count = 1 + (len(phase) - size) // hop
    if count < 3 or len(orders) == 0 or not signals:
        return phase
    window = np.hanning(size)
    starts = np.arange(count) * hop
    noises, amplitudes = _block_amplitudes(signals, phase, starts=starts, window=window, orders=orders)
    drifts, trusts = [], []
    for noise, own in zip(noises, amplitudes, strict=True):
        for order, amplitude in zip(orders, own, strict=True):
            product = amplitude[1:] * np.conj(amplitude[:-1])
            strength = np.abs(product) / (noise[1:] * noise[:-1] + 1e-30)
            drifts.append(np.angle(product) / (2 * np.pi * order))
            trusts.append(order**2 * strength / (strength + STRONG))
    step = _weighted_median(np.array(drifts), np.array(trusts))
    step = ndimage.gaussian_filter1d(step, 1.0, mode="nearest")
    usual = (phase[starts[1:] + hop] - phase[starts[:-1] + hop]) * most
    drift = np.concatenate([[0.0], np.cumsum(np.clip(step, -usual, usual))])
    centres = starts + size / 2
    # Beyond the outer centres the speed goes on as it was.
    before = drift[0] - (drift[1] - drift[0]) * centres[0] / hop
    after = drift[-1] + (drift[-1] - drift[-2]) * (len(phase) - centres[-1]) / hop
    at = np.concatenate([[0.0], centres, [float(len(phase))]])
    return np.asarray(
        phase + np.interp(np.arange(len(phase)), at, np.concatenate([[before], drift, [after]]))
    )


def _block_amplitudes(
    signals: Sequence[NDArray[np.floating]],
    phase: Floats,
    *,
    starts: NDArray[np.int64],
    window: Floats,
    orders: NDArray[np.int64],
) -> tuple[Floats, NDArray[np.complex128]]:
    """Give the noise and the complex amplitude of each order, signal by signal and block by block.

    The wave of an order is that of the order before, times a power of the first: one exponential in all.
    Single precision is enough: its rounding turns an angle by about a millionth of a turn.

    Returns
    -------
    noises, amplitudes
        Shapes (s, t), (s, k, t).
    """
    size = len(window)
    stacked = np.array(signals, dtype=np.float32)
    angle = (-2 * np.pi * (phase - np.floor(phase))).astype(np.float32)
    turn = np.empty(len(phase), dtype=np.complex64)
    turn.real, turn.imag = np.cos(angle), np.sin(angle)
    noises = np.empty((len(signals), len(starts)))
    amplitudes = np.empty((len(signals), len(orders), len(starts)), dtype=np.complex128)
    waves = np.empty((2, len(orders), size), dtype=np.float32)
    for block, start in enumerate(starts):
        part = stacked[:, start : start + size]
        one = turn[start : start + size]
        wave, reached = window.astype(np.complex64), 0
        for place, order in enumerate(orders):
            for _ in range(order - reached):
                wave *= one
            reached = order
            waves[0, place], waves[1, place] = wave.real, wave.imag
        noises[:, block] = np.median(np.abs(part), axis=1)
        amplitudes[:, :, block] = part @ waves[0].T + 1j * (part @ waves[1].T)
    return noises * np.sqrt(np.sum(window**2)), amplitudes


def _weighted_median(values: Floats, weights: Floats) -> Floats:
    """Give the weighted median along the first axis. Shapes (k, t)."""
    order = np.argsort(values, axis=0)
    ranked = np.take_along_axis(values, order, axis=0)
    total = np.cumsum(np.take_along_axis(weights, order, axis=0), axis=0)
    middle = np.argmax(total >= 0.5 * total[-1], axis=0)
    return np.asarray(np.take_along_axis(ranked, middle[None, :], axis=0)[0])


def _whole_turns(phase: Floats) -> tuple[int, int]:
    """Give the first and last whole number of turns inside a phase."""
    return int(np.ceil(phase[0])), int(np.floor(phase[-1]))


def _by_turns(samples: Floats, phase: Floats) -> Floats:
    """Give the whole turns one by one, on one grid of angles. Shape (whole turns, angles)."""
    first, last = _whole_turns(phase)
    whole = last - first
    per_turn = int(np.ceil(len(samples) / max(phase[-1] - phase[0], 1e-9)))
    grid = first + np.arange(whole * per_turn) / per_turn
    at = np.interp(grid, phase, np.arange(len(samples), dtype=np.float64))
    turned: Floats = ndimage.map_coordinates(samples, [at], order=3, mode="nearest")
    return turned.reshape(whole, per_turn)


def follow_gain(samples: Floats, phase: Floats, *, turns: int) -> tuple[Floats, Floats]:
    """Follow how loud what repeats every turn is, and all of the sound, from turn to turn.

    Method: the best single pattern for all turns and its factor in each, by turns of least squares.

    Parameters
    ----------
    samples, phase
        As for `split_repeating`.
    turns
        Length of the average over neighbours, turns (Hann weights), odd.

    Returns
    -------
    repeating, level
        Shapes (whole turns,), both 1 in the louder turns (their ninth decile): the pattern's factor, and the
        root mean square of everything. Empty where there are less than three turns.
    """
    first, last = _whole_turns(phase)
    if last - first < 3:
        return np.zeros(0), np.zeros(0)
    in_angle = _by_turns(samples, phase)
    in_angle = in_angle - in_angle.mean(axis=1, keepdims=True)
    weights = np.hanning(turns + 2)[1:-1]
    weights /= weights.sum()
    smooth = ndimage.convolve1d(in_angle, weights, axis=0, mode="nearest")
    pattern = smooth.mean(axis=0)
    factor = np.ones(len(smooth))
    for _ in range(PATTERN_ROUNDS):
        factor = smooth @ pattern / max(float(pattern @ pattern), LEAST_NORM)
        pattern = factor @ smooth / max(float(factor @ factor), LEAST_NORM)
    power = ndimage.convolve1d((in_angle**2).mean(axis=1), weights, mode="nearest")
    level = np.sqrt(power / max(float(np.quantile(power, LOUDER)), LEAST_NORM))
    return factor / max(float(np.quantile(factor, LOUDER)), LEAST_NORM), level


def split_repeating(
    samples: Floats, phase: Floats, *, turns: int, gain: Floats | None = None
) -> tuple[Floats, Floats]:
    """Part a sound into what repeats every turn and what does not.

    Parameters
    ----------
    samples
        Shape (n,).
    phase
        Shape (n,), turns, rising.
    turns
        Length of the sliding average, turns (Hann weights).
    gain
        Shape (whole turns,), from `follow_gain`: how loud what repeats is in each turn; even where not given.

    Returns
    -------
    repeating, rest
        Shapes (n,); their sum is `samples` inside the span of whole turns, and `rest` is 0 outside it.
    """
    first, last = _whole_turns(phase)
    whole = last - first
    if whole < 3:
        return np.zeros_like(samples), samples.copy()
    in_angle = _by_turns(samples, phase)
    per_turn = in_angle.shape[1]
    level = np.ones(whole) if gain is None else gain
    width = max(3, min(turns | 1, whole | 1))
    weights = np.hanning(width + 2)[1:-1]
    total = ndimage.convolve1d(level[:, None] * in_angle, weights, axis=0, mode="constant")
    norm = ndimage.convolve1d(level**2, weights, mode="constant")
    average = level[:, None] * total / np.maximum(norm, LEAST_NORM)[:, None]
    back = (phase - first) * per_turn
    repeating = ndimage.map_coordinates(average.ravel(), [back], order=3, mode="nearest")
    inside = (phase >= first) & (phase <= last - 1 / per_turn)
    repeating = np.where(inside, repeating, 0.0)
    return repeating, np.where(inside, samples - repeating, 0.0)
