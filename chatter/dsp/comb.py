"""Find a comb of harmonics and follow its base frequency in time.

In: spectra of short windows and a window of base frequencies. Out: base frequency, how it moves, how
sure. The score of a base is the sum over its harmonics of the capped log ratio of power to floor: the
log-likelihood ratio, up to a constant, of lines of unknown strength in exponential noise.
Source: harmonic summation, D. J. Hermes, J. Acoust. Soc. Am. 83 (1988) 257 to 264; the cap is our own.
Leaves out: what turns at that frequency.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.dsp.spectra import peak_frequency_hz

Floats = NDArray[np.float64]
CAP = 6.0  # nepers of power, 26 dB: many harmonics count for more than one loud line
PEAK_NEPERS = 2.0  # 9 dB above the floor
PEAK_BOTTOM_HZ = 100.0
PEAK_CAP = 8.0  # nepers, 35 dB
LOUDNESS = 0.15  # exponent of a peak's power in its weight
MOST_PEAKS = 40
LEAST_PEAKS = 3
SEEDS = 12  # loudest peaks tried as the family's base
FOLLOW_CAP = 16.0  # once the comb is known, flat tops would only blur it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comb:
    """A comb's base frequency along the windows."""

    base_hz: float  # mean
    base_sd_hz: float
    times_s: Floats  # shape (t,), window centres
    track_hz: Floats  # shape (t,), smoothed base frequency at each centre
    score: float  # nepers above what noise alone gives on average
    z: float  # the score in standard deviations of the scores of other bases in the window


def excess_nepers(powers: Floats, floor: Floats, *, cap: float = CAP) -> Floats:
    """Give log(power / floor), between 0 and `cap`. Shapes are broadcast."""
    return np.clip(np.log(np.maximum(powers, 1e-30) / floor), 0.0, cap)


def comb_scores(
    excess: Floats, *, bin_hz: float, bases_hz: Floats, orders: NDArray[np.int64], weights: Floats
) -> Floats:
    """Sum the excess over the harmonics of each base.

    Parameters
    ----------
    excess
        Shape (f,) or (t, f), nepers.
    bin_hz
        Bin width.
    bases_hz
        Shape (b,).
    orders, weights
        Shape (k,).

    Returns
    -------
    NDArray
        Shape (b,) or (t, b).
    """
    at = np.outer(bases_hz, orders) / bin_hz  # (b, k), bins
    low = np.clip(at.astype(np.int64), 0, excess.shape[-1] - 2)
    part = np.clip(at - low, 0.0, 1.0)
    values = excess[..., low] * (1 - part) + excess[..., low + 1] * part
    return np.asarray(values @ weights)


def loud_peaks(powers: Floats, floor: Floats, *, bin_hz: float) -> tuple[Floats, Floats]:
    """List the loudest narrow peaks.

    Parameters
    ----------
    powers, floor
        Shape (f,).
    bin_hz
        Bin width.

    Returns
    -------
    frequencies_hz, weights
        Shapes (p,), at most MOST_PEAKS: nepers above the floor, less for fainter peaks.
    """
    excess = np.log(np.maximum(powers, 1e-30) / floor)
    at = np.flatnonzero((powers[1:-1] >= powers[:-2]) & (powers[1:-1] > powers[2:])) + 1
    at = at[(excess[at] > PEAK_NEPERS) & (at * bin_hz > PEAK_BOTTOM_HZ)]
    if len(at) == 0:
        return np.zeros(0), np.zeros(0)
    loud = np.log(powers[at])
    weights = np.clip(excess[at], 0, PEAK_CAP) * np.exp(LOUDNESS * (loud - loud.max()))
    order = np.argsort(weights)[::-1][:MOST_PEAKS]
    return np.array([peak_frequency_hz(powers, int(k), bin_hz) for k in at[order]]), weights[order]


def explained_weight(
    frequencies_hz: Floats, weights: Floats, *, bases_hz: Floats, teeth: int, width_hz: float = 1.0
) -> Floats:
    """Give how much of the peaks each base explains by its comb and one family |±f + k·teeth·base|.

    Loud chatter buries the comb, but its lines keep the teeth's spacing.

    Parameters
    ----------
    frequencies_hz, weights
        Shape (p,).
    bases_hz
        Shape (b,).
    teeth
        Harmonics that are multiples of it count fully, others for 0.6.
    width_hz
        Standard deviation of a peak's place.

    Returns
    -------
    NDArray
        Shape (b,), in units of the weights.
    """
    if len(frequencies_hz) < LEAST_PEAKS:
        return np.zeros(len(bases_hz))
    spacing = (bases_hz * teeth)[:, None]
    folded = np.abs(frequencies_hz / spacing - np.round(frequencies_hz / spacing)) * spacing
    turn = bases_hz[:, None]
    off_turn = np.abs(frequencies_hz / turn - np.round(frequencies_hz / turn)) * turn
    by_comb = np.maximum(
        np.exp(-0.5 * (folded / width_hz) ** 2), 0.6 * np.exp(-0.5 * (off_turn / width_hz) ** 2)
    )
    best = np.zeros(len(bases_hz))
    for seed in range(min(len(frequencies_hz), SEEDS)):
        by_family = 0.9 * np.exp(-0.5 * ((folded - folded[:, seed : seed + 1]) / width_hz) ** 2)
        by_family[:, seed] = 0.0  # the seed explains itself at any base
        best = np.maximum(best, np.maximum(by_comb, by_family) @ weights)
    return best


def find_base(
    excess: Floats,
    *,
    bin_hz: float,
    low_hz: float,
    high_hz: float,
    top_hz: float,
    teeth: int,
    bottom_hz: float = 60.0,
    most: int = 60,
    peaks: tuple[Floats, Floats] | None = None,
) -> tuple[float, float, float]:
    """Find the base whose harmonics stand out most.

    Parameters
    ----------
    excess
        Shape (f,), nepers above the floor, from a padded transform.
    bin_hz
        Bin width.
    low_hz, high_hz
        Bases to try.
    top_hz, bottom_hz
        Harmonics outside are left out.
    teeth
        Every `teeth`-th harmonic has weight 1, the others 0.35: they are there only with run-out.
    most
        Highest order used.
    peaks
        Frequencies and weights from loud_peaks; a base that explains them scores higher.

    Returns
    -------
    base_hz, score, z
        Best base, its score above the median of all bases, and that in robust standard deviations.
    """
    count = int(np.clip(top_hz / high_hz, 1, most))
    orders = np.arange(1, count + 1)
    orders = orders[orders * low_hz >= min(bottom_hz, low_hz)]
    tooth = orders % teeth == 0
    weights = np.where(tooth, 1.0, 0.35)
    step = bin_hz / orders[-1] / 1.5
    bases = np.arange(low_hz, high_hz + step, step)
    scores = comb_scores(excess, bin_hz=bin_hz, bases_hz=bases, orders=orders, weights=weights)
    if peaks is not None:
        scores = scores + explained_weight(peaks[0], peaks[1], bases_hz=bases, teeth=teeth)
    best = int(np.argmax(scores))
    middle = float(np.median(scores))
    spread = 1.4826 * float(np.median(np.abs(scores - middle))) + 1e-9
    # Capped lines have flat tops: take the middle of the top's run.
    low_end = high_end = best
    level = scores[best] - 0.05 * (scores[best] - middle)
    while low_end > 0 and scores[low_end - 1] >= level:
        low_end -= 1
    while high_end < len(scores) - 1 and scores[high_end + 1] >= level:
        high_end += 1
    base_hz = float((bases[low_end] + bases[high_end]) / 2)
    return base_hz, float(scores[best] - middle), float((scores[best] - middle) / spread)


def follow_base(
    excess: Floats,
    *,
    times_s: Floats,
    bin_hz: float,
    base_hz: float,
    span: float,
    top_hz: float,
    weights_of: Floats,
) -> tuple[Floats, Floats]:
    """Follow the base in each window near a known value.

    Parameters
    ----------
    excess
        Shape (t, f), nepers.
    times_s
        Shape (t,).
    bin_hz
        Bin width.
    base_hz
        Value to start from.
    span
        Largest share by which the base may differ from it.
    top_hz
        Highest harmonic used.
    weights_of
        Shape (k,): weight of harmonics 1 to k.

    Returns
    -------
    track_hz, strength
        Shapes (t,): the base in each window, and the height of its score's peak, nepers.
    """
    count = min(len(weights_of), max(1, int(top_hz / base_hz)))
    orders = np.arange(1, count + 1)
    keep = weights_of[:count] > 0
    orders, weights = orders[keep], weights_of[:count][keep]
    if len(orders) == 0:
        return np.full(len(times_s), base_hz), np.zeros(len(times_s))
    step = bin_hz / orders[-1] / 2
    steps = min(400, int(np.ceil(span * base_hz / step)))
    bases = np.asarray(
        base_hz + np.arange(-steps, steps + 1) * (span * base_hz / max(1, steps)), dtype=np.float64
    )
    scores = comb_scores(excess, bin_hz=bin_hz, bases_hz=bases, orders=orders, weights=weights)
    # Neighbouring windows share half their sound and a spindle has inertia: smooth over three windows.
    if len(scores) >= 3:
        padded = np.vstack([scores[:1], scores, scores[-1:]])
        scores = (padded[:-2] + 2 * padded[1:-1] + padded[2:]) / 4
    best = np.argmax(scores, axis=1)
    rows = np.arange(len(best))
    inner = np.clip(best, 1, len(bases) - 2)
    a, b, c = scores[rows, inner - 1], scores[rows, inner], scores[rows, inner + 1]
    bend = a - 2 * b + c
    shift = np.where(bend < -1e-12, np.clip(0.5 * (a - c) / np.minimum(bend, -1e-12), -1, 1), 0.0)
    track = bases[inner] + shift * (bases[1] - bases[0])
    return track, scores[rows, best] - np.median(scores, axis=1)
