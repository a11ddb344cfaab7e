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
BOTTOM_HZ = 60.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """One spectrum that may show a comb."""

    excess: Floats  # shape (f,), nepers above the floor, from a padded transform
    bin_hz: float
    top_hz: float  # harmonics above are left out
    most: int  # highest order used
    between: float  # weight of harmonics between those of the teeth
    scale: float  # weight of the whole spectrum


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
    orders = [layer_orders(layer, low_hz=low_hz, high_hz=high_hz) for layer in layers]
    step = min(layer.bin_hz / at[-1] for layer, at in zip(layers, orders, strict=True)) / 1.5
    bases = np.arange(low_hz, high_hz + step, step)
    scores = np.zeros(len(bases))
    for layer, at in zip(layers, orders, strict=True):
        weights = layer.scale * np.where(at % teeth == 0, 1.0, layer.between)
        scores += comb_scores(layer.excess, bin_hz=layer.bin_hz, bases_hz=bases, orders=at, weights=weights)
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


def layer_orders(layer: Layer, *, low_hz: float, high_hz: float) -> NDArray[np.int64]:
    """Give the harmonics of a layer that are used: inside its spectrum, above the phone's roll-off."""
    orders = np.arange(1, int(np.clip(layer.top_hz / high_hz, 1, layer.most)) + 1)
    return orders[orders * low_hz >= min(BOTTOM_HZ, low_hz)]
