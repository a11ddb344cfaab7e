"""Frequency weightings A, C and Z as digital filters that carry on from block to block.

In: samples of one channel, block after block. Out: the same samples, weighted.
Method: poles are matched (z = exp(-2π f / rate)); numerators are fitted to the standard's formula by linear
least squares on the squared response, so that the weighting holds close to half the rate, where the bilinear
transform falls away (2.7 dB at 12.5 kHz and 48 kHz).
Source: IEC 61672-1:2013, Annex E (poles, formula); M. Vicanek, Matched Second Order Digital Filters, 2016
(the fit of the numerator).
Leaves out: levels (levels.py).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.errors import BadValueError

Floats = NDArray[np.float64]
# IEC 61672-1:2013, Annex E: frequencies of the poles, Hz.
POLE_1_HZ, POLE_2_HZ, POLE_3_HZ, POLE_4_HZ = 20.598997, 107.65265, 737.86223, 12_194.217
REFERENCE_HZ = 1000.0  # every weighting is 0 dB there
FIT_FROM_HZ, FIT_TO_HZ = 15.0, 22_000.0  # own choice: what is heard, and a little more
# Below the rounding of any sample: left alone, states go on fading in digital silence to numbers so small
# that processors are many times slower with them.
LEAST_STATE = 1e-30
FIT_SHARE = 0.47  # of the rate: closer to half of it no filter of this order follows


def a_weighting_db(frequency_hz: Floats) -> Floats:
    """Give the A weighting at each frequency.

    Source: IEC 61672-1:2013, Annex E.

    Parameters
    ----------
    frequency_hz
        Shape (n,), Hz, each above 0. Exact band centres, not their rounded names.

    Returns
    -------
    NDArray
        Shape (n,), dB, to add to an unweighted level.

    Raises
    ------
    BadValueError
        A frequency is not finite, or not above 0.
    """
    square = _squares(frequency_hz)
    return _in_db(_a_power(square) / _a_power(np.array([REFERENCE_HZ**2])))


def c_weighting_db(frequency_hz: Floats) -> Floats:
    """Give the C weighting at each frequency, as `a_weighting_db` does for A."""
    square = _squares(frequency_hz)
    return _in_db(_c_power(square) / _c_power(np.array([REFERENCE_HZ**2])))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighted:
    """One block in each weighting; every array has the block's shape (n,)."""

    a: Floats
    c: Floats
    z: Floats  # the samples as they are, with any constant offset (levels.py takes it out)


class WeightingFilters:
    """A and C weighting of one channel, with the state that carries on to the next block."""

    def __init__(self, rate_hz: float) -> None:
        self._sections = design_sections(rate_hz)
        self._states = [np.zeros((len(part), 2)) for part in self._sections]
        self._begun = False

    def weigh(self, samples: NDArray[np.floating]) -> Weighted:
        """Weigh the next block.

        Parameters
        ----------
        samples
            Shape (n,), in any unit.

        Returns
        -------
        Weighted
            The block in each weighting, in the same unit.
        """
        from scipy.signal import sosfilt, sosfilt_zi

        values = np.asarray(samples, dtype=np.float64)
        if len(values) == 0:
            return Weighted(a=values, c=values, z=values)
        if not self._begun:
            # A constant offset that was there before the recording began makes no thump.
            self._states[0] = sosfilt_zi(self._sections[0]) * float(values.mean())
            self._begun = True
        c, self._states[0] = sosfilt(self._sections[0], values, zi=self._states[0])
        a, self._states[1] = sosfilt(self._sections[1], c, zi=self._states[1])
        for state in self._states:
            state[np.abs(state) < LEAST_STATE] = 0.0
        return Weighted(a=np.asarray(a), c=np.asarray(c), z=values)


def design_sections(rate_hz: float) -> tuple[Floats, Floats]:
    """Design the filters: C from samples, A from C.

    Parameters
    ----------
    rate_hz
        Sample rate, Hz, above 0.

    Returns
    -------
    c, a
        Second-order sections, each of shape (2, 6); the second runs after the first.

    Raises
    ------
    BadValueError
        `rate_hz` is not a rate.
    """
    if not (np.isfinite(rate_hz) and rate_hz > 0):
        raise BadValueError("rate_hz", rate_hz, "a sample rate above 0 Hz")
    top_hz = min(FIT_SHARE * rate_hz, FIT_TO_HZ)
    bottom_hz = min(FIT_FROM_HZ, top_hz / 10)
    # Even in pitch and even in frequency: neither end of the range is sacrificed to the other.
    grid_hz = np.concatenate([np.geomspace(bottom_hz, top_hz, 600), np.linspace(top_hz / 20, top_hz, 600)])
    square = grid_hz**2
    low = _high_pass(POLE_1_HZ, POLE_1_HZ, rate_hz)
    pole = float(np.exp(-2 * np.pi * POLE_4_HZ / rate_hz))
    poles = np.array([1.0, -2 * pole, pole**2])
    wanted = _c_power(square) / _c_power(np.array([REFERENCE_HZ**2]))
    have = _power(np.array([low, [1.0, 0.0, 0.0, *poles]]), grid_hz, rate_hz)
    c_sections = np.array([low, [*_numerator(wanted / have, grid_hz, rate_hz), *poles]])
    middle = _high_pass(POLE_2_HZ, POLE_3_HZ, rate_hz)
    wanted = _a_power(square) / _a_power(np.array([REFERENCE_HZ**2]))
    have = _power(np.vstack([c_sections, middle]), grid_hz, rate_hz)
    a_sections = np.array([middle, [*_numerator(wanted / have, grid_hz, rate_hz), 1.0, 0.0, 0.0]])
    return c_sections, a_sections


def _squares(frequency_hz: Floats) -> Floats:
    values = np.asarray(frequency_hz, dtype=np.float64)
    if not np.isfinite(values).all() or not (values > 0).all():
        raise BadValueError("frequency_hz", frequency_hz, "frequencies above 0 Hz")
    return values**2


def _in_db(power: Floats) -> Floats:
    return np.asarray(10 * np.log10(power))


def _c_power(square: Floats) -> Floats:
    """Give the squared C response, but for a constant, at squared frequencies. IEC 61672-1:2013, Annex E."""
    return np.asarray(square**2 / ((square + POLE_1_HZ**2) ** 2 * (square / POLE_4_HZ**2 + 1) ** 2))


def _a_power(square: Floats) -> Floats:
    """Give the squared A response, but for a constant, at squared frequencies. IEC 61672-1:2013, Annex E."""
    return np.asarray(_c_power(square) * square**2 / ((square + POLE_2_HZ**2) * (square + POLE_3_HZ**2)))


def _high_pass(first_hz: float, second_hz: float, rate_hz: float) -> Floats:
    """Give a section with two zeros at 0 Hz and two matched real poles."""
    first, second = np.exp(-2 * np.pi * np.array([first_hz, second_hz]) / rate_hz)
    return np.array([1.0, -2.0, 1.0, 1.0, -(first + second), first * second])


def _power(sections: Floats, grid_hz: Floats, rate_hz: float) -> Floats:
    """Give the squared response of sections in series at each frequency."""
    delay = np.exp(-2j * np.pi * grid_hz / rate_hz)
    response = np.ones(len(grid_hz), dtype=np.complex128)
    for b0, b1, b2, _, a1, a2 in sections:
        response *= (b0 + b1 * delay + b2 * delay**2) / (1 + a1 * delay + a2 * delay**2)
    return np.asarray(response.real**2 + response.imag**2)


def _numerator(wanted: Floats, grid_hz: Floats, rate_hz: float) -> Floats:
    """Fit three coefficients whose squared response is the one wanted, in relative error.

    The squared response of b0 + b1/z + b2/z² is linear in the cosines of its angle; the coefficients follow
    from the roots inside the unit circle.
    """
    cosines = np.cos(2 * np.pi * np.outer(grid_hz / rate_hz, np.arange(3)))
    weights, *_ = np.linalg.lstsq(cosines / wanted[:, None], np.ones(len(grid_hz)), rcond=None)
    mirrored = np.concatenate([weights[:0:-1] / 2, weights[:1], weights[1:] / 2])
    roots = np.roots(mirrored)
    inside = roots[np.argsort(np.abs(roots))][:2]
    taps = np.real(np.poly(inside))
    gain = float(np.sqrt(weights.sum())) / abs(float(taps.sum()))  # both at 0 Hz
    return np.asarray(gain * taps)
