"""Find a comb of harmonics.

In: spectra and a window of base frequencies. Out: base frequency, how sure. The score of a base is the sum
over its harmonics of the capped log ratio of power to floor: the log-likelihood ratio, up to a constant, of
lines of unknown strength in exponential noise.
Source: harmonic summation, D. J. Hermes, J. Acoust. Soc. Am. 83 (1988) 257 to 264; the cap is our own.
Leaves out: what turns at that frequency.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
# Ratios to a base that lie between small fractions: combs there share few harmonics with its own.
APART = (
    (0.55, 0.64),
    (0.69, 0.73),
    (0.77, 0.79),
    (0.81, 0.94),
    (1.06, 1.19),
    (1.21, 1.24),
    (1.26, 1.31),
    (1.36, 1.48),
    (1.52, 1.65),
    (1.68, 1.9),
)
FRACTIONS = (3 / 5, 2 / 3, 3 / 4, 4 / 5, 5 / 6, 6 / 5, 5 / 4, 4 / 3, 3 / 2, 5 / 3)
ON_FRACTION = 0.003  # share of a base by which a comb at a fraction of it may be off
AROUND = 0.025  # share on each side whose median a score there is counted from


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """One spectrum that may show a comb."""

    excess: Floats  # shape (f,), nepers above the floor, from a padded transform
    bin_hz: float
    top_hz: float  # harmonics above are left out
    most: int  # highest order used
    between: float  # weight of harmonics between those of the teeth
    scale: float  # weight of the whole spectrum
    fade: float = np.inf  # orders over which the weights of harmonics fall, as a normal curve does


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


def find_base(
    layers: tuple[Layer, ...], *, low_hz: float, high_hz: float, teeth: int
) -> tuple[float, float, float]:
    """Find the base whose harmonics stand out most, in all spectra together.

    Parameters
    ----------
    layers
        Spectra that may show the comb.
    low_hz, high_hz
        Bases to try.
    teeth
        Every `teeth`-th harmonic has weight 1; the others are there only with run-out.

    Returns
    -------
    base_hz, score, z
        Best base, its score above the median of all bases, and that in robust standard deviations.
    """
    bases, scores = _score_bases(layers, low_hz=low_hz, high_hz=high_hz, teeth=teeth)
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


def score_apart(layers: tuple[Layer, ...], *, base_hz: float, teeth: int) -> float:
    """Give the best score above the median among bases that share few harmonics with a given one.

    Parameters
    ----------
    layers, teeth
        As for find_base.
    base_hz
        The given base; those tried lie at 0.55 to 1.9 times it.
    """
    best = -np.inf
    for low, high in APART:
        _, scores = _score_bases(layers, low_hz=low * base_hz, high_hz=high * base_hz, teeth=teeth)
        best = max(best, float(scores.max() - np.median(scores)))
    return best


def score_at_fractions(layers: tuple[Layer, ...], *, base_hz: float, teeth: int) -> float:
    """Give the best score above the median around it at small fractions of a given base, 3/5 to 5/3.

    Parameters
    ----------
    layers, teeth
        As for find_base.
    base_hz
        The given base. Where the true one is 5/4 of it, every fifth of its harmonics is a fourth of the true
        one, so both are heard; but the true one stands out more.
    """
    best = -np.inf
    for fraction in FRACTIONS:
        near_hz = fraction * base_hz
        bases, scores = _score_bases(
            layers, low_hz=near_hz * (1 - AROUND), high_hz=near_hz * (1 + AROUND), teeth=teeth
        )
        there = scores[np.abs(bases / near_hz - 1) <= ON_FRACTION]
        best = max(best, float(there.max() - np.median(scores)))
    return best


def _score_bases(
    layers: tuple[Layer, ...], *, low_hz: float, high_hz: float, teeth: int
) -> tuple[Floats, Floats]:
    """Give closely spaced bases and their scores in all spectra together: shapes (b,)."""
    orders = [layer_orders(layer, high_hz=high_hz) for layer in layers]
    step = min(layer.bin_hz / at[-1] for layer, at in zip(layers, orders, strict=True)) / 1.5
    bases = np.arange(low_hz, high_hz + step, step)
    scores = np.zeros(len(bases))
    for layer, at in zip(layers, orders, strict=True):
        weights = layer.scale * np.where(at % teeth == 0, 1.0, layer.between)
        weights = weights * np.exp(-0.5 * (at / layer.fade) ** 2)
        scores += comb_scores(layer.excess, bin_hz=layer.bin_hz, bases_hz=bases, orders=at, weights=weights)
    return bases, scores


def layer_orders(layer: Layer, *, high_hz: float) -> NDArray[np.int64]:
    """Give the harmonics of a layer that are used: those inside its spectrum for every base tried."""
    return np.arange(1, int(np.clip(layer.top_hz / high_hz, 1, layer.most)) + 1)
