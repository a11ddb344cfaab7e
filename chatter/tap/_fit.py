"""Damped vibrations fitted to the spectra of several decays at once.

In: spectra of decays that share their poles, the noise at each frequency, a first guess of the poles. Out:
the poles, an amplitude for each decay, what is left, and how far the poles may be off.
Method: the spectrum of a damped vibration cut out between two moments is known in closed form, so the fit is
exact for decays of any length; amplitudes are solved linearly inside a Levenberg-Marquardt search for the
poles (variable projection). In noise of the given strength that is the likeliest answer,
and it holds for close modes.
Source: Golub and Pereyra, SIAM J. Numer. Anal. 10/2, 1973; Kaufman, BIT 15, 1975 (the shortened derivative).
Leaves out: how many modes there are, and where to begin.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

STEPS = 25
STILL = 3e-5  # relative fall of the misfit at which the search ends
LEAST_DECAY_1_S = 0.5  # 14 s for 60 dB: nothing tapped in a shop rings longer
FARTHEST = 0.35  # of ln f from the guess; a pole that wanders farther was no pole


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectra:
    """Spectra of decays, cut out alike."""

    values: Complexes  # shape (taps, bins)
    noise: Floats  # shape (bins,), rms of the noise in a bin, real and imaginary part each
    hz: Floats  # shape (bins,)
    count: int  # samples in each decay
    rate_hz: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """Poles shared by all decays."""

    poles: Floats  # shape (p, 2): ln of f_damped in Hz, ln of the decay rate in 1/s
    amplitudes: Complexes  # shape (taps, p), at the first sample cut out
    rest: Complexes  # shape (taps, bins), over noise
    misfit: float  # sum of squares of the rest
    information: Floats  # shape (taps, 2p, 2p)
    pulls: Floats  # shape (taps, 2p): how each decay alone would move the poles


def fit_poles(spectra: Spectra, guess: Floats) -> Fit:
    """Fit poles to all decays together.

    Parameters
    ----------
    spectra
        What was cut out.
    guess
        Shape (p, 2): ln of the damped frequency in Hz, ln of the decay rate in 1/s.
    """
    data = _real(spectra.values / spectra.noise)
    poles = guess.copy()
    now = _project(spectra, poles, data)
    damp = 1e-3
    for _ in range(STEPS):
        information, pull, _, _ = now.slopes()
        total, push = information.sum(axis=0), pull.sum(axis=0)
        better = None
        for _ in range(6):
            step = np.linalg.solve(total + damp * np.diag(np.diag(total) + 1e-30), push).reshape(-1, 2)
            step = np.clip(step, -0.5, 0.5)
            trial = _project(spectra, _bounded(poles + step, guess, spectra), data)
            if trial.misfit < now.misfit:
                better = trial
                break
            damp *= 8
        if better is None:
            break
        fall = (now.misfit - better.misfit) / now.misfit
        now, poles, damp = better, better.poles, max(damp / 8, 1e-9)
        if fall < STILL:
            break
    information, pull, amplitudes, rest = now.slopes()
    return Fit(
        poles=poles,
        amplitudes=amplitudes,
        rest=rest,
        misfit=now.misfit,
        information=information,
        pulls=pull,
    )


def gains(spectra: Spectra, fit: Fit, trial: Floats) -> Floats:
    """Give by how much the misfit would fall with one more pole, for each of the trial poles (n, 2)."""
    base = np.linalg.qr(_columns(spectra, fit.poles)[0])[0] if len(fit.poles) else None
    rest = _real(fit.rest)
    found = np.empty(len(trial))
    for index, pole in enumerate(trial):
        columns, _ = _columns(spectra, pole[None])
        if base is not None:
            columns = columns - base @ (base.T @ columns)
        found[index] = float(np.sum((np.linalg.qr(columns)[0].T @ rest) ** 2))
    return found


def no_poles(spectra: Spectra) -> Fit:
    """Give the fit of nothing: everything is left."""
    rest = spectra.values / spectra.noise
    taps = len(rest)
    return Fit(
        poles=np.empty((0, 2)),
        amplitudes=np.empty((taps, 0), dtype=np.complex128),
        rest=rest,
        misfit=float(np.sum(np.abs(rest) ** 2)),
        information=np.empty((taps, 0, 0)),
        pulls=np.empty((taps, 0)),
    )


def shape_of(spectra: Spectra, pole: Floats, *, mirrored: bool = False) -> Complexes:
    """Give the spectrum of one turning pointer of length 1 at the first sample. Shape (bins,).

    A vibration of complex amplitude c is half of c times this, and half of c's conjugate times its mirror.
    """
    z = _number(spectra, pole)
    return np.asarray(_spectrum(spectra, z.conjugate() if mirrored else z)[0])


class _Projection:
    """The linear half of the fit, at given poles."""

    def __init__(self, spectra: Spectra, poles: Floats, data: Floats) -> None:
        self.poles = poles
        self._bins = len(spectra.hz)
        columns, self._slopes = _columns(spectra, poles)
        self._base, self._upper = np.linalg.qr(columns)
        inside = self._base.T @ data  # (2p, taps)
        self._rest = data - self._base @ inside
        self._inside = inside
        self.misfit = float(np.sum(self._rest**2))

    def slopes(self) -> tuple[Floats, Floats, Complexes, Complexes]:
        """Give the information and pull of each decay, amplitudes, and the rest."""
        weights = np.linalg.lstsq(self._upper, self._inside, rcond=1e-12)[0]  # (2p, taps)
        count, taps = len(self.poles), weights.shape[1]
        information = np.empty((taps, 2 * count, 2 * count))
        pull = np.empty((taps, 2 * count))
        for tap in range(taps):
            pairs = weights[:, tap].reshape(count, 2)
            # d(model)/d(theta): one column for each parameter of each pole
            by_pole = [
                self._slopes[2 * p + q][0] * pairs[p, 0] + self._slopes[2 * p + q][1] * pairs[p, 1]
                for p in range(count)
                for q in range(2)
            ]
            slope = np.stack(by_pole, axis=1)
            slope -= self._base @ (self._base.T @ slope)
            information[tap] = slope.T @ slope
            pull[tap] = slope.T @ self._rest[:, tap]
        amplitudes = (weights[0::2] + 1j * weights[1::2]).T
        rest = (self._rest[: self._bins] + 1j * self._rest[self._bins :]).T
        return information, pull, amplitudes, rest


def _project(spectra: Spectra, poles: Floats, data: Floats) -> _Projection:
    return _Projection(spectra, poles, data)


def _bounded(poles: Floats, guess: Floats, spectra: Spectra) -> Floats:
    low_hz, high_hz = max(20.0, 0.5 * float(spectra.hz[0])), float(spectra.hz[-1])
    bounded = poles.copy()
    bounded[:, 0] = np.clip(poles[:, 0], guess[:, 0] - FARTHEST, guess[:, 0] + FARTHEST)
    bounded[:, 0] = np.clip(bounded[:, 0], np.log(low_hz), np.log(high_hz))
    bounded[:, 1] = np.clip(poles[:, 1], np.log(LEAST_DECAY_1_S), np.log(4 * high_hz))
    return bounded


def _real(values: Complexes) -> Floats:
    """Stack real and imaginary parts. Shape (taps, bins) to (2 bins, taps)."""
    return np.asarray(np.concatenate((values.real, values.imag), axis=1).T)


def _number(spectra: Spectra, pole: Floats) -> complex:
    """Give the factor from one sample to the next."""
    return complex(np.exp((-np.exp(pole[1]) + 2j * np.pi * np.exp(pole[0])) / spectra.rate_hz))


def _spectrum(spectra: Spectra, z: complex) -> tuple[Complexes, Complexes]:
    """Give the transform of z**n over the samples cut out, and its slope over z."""
    turn = np.exp(-2j * np.pi * spectra.hz / spectra.rate_hz)  # each bin turns whole times in `count`
    last = z**spectra.count
    below = 1 - z * turn
    value = (1 - last) / below
    slope = -spectra.count * (last / z) / below + value * turn / below
    return value, slope


def _columns(spectra: Spectra, poles: Floats) -> tuple[Floats, list[tuple[Floats, Floats]]]:
    """Give the two columns of each pole (2 bins, 2p), and how each parameter moves both."""
    bins, count = len(spectra.hz), len(poles)
    columns = np.empty((2 * bins, 2 * count))
    slopes: list[tuple[Floats, Floats]] = []
    for index, pole in enumerate(poles):
        z = _number(spectra, pole)
        over, over_slope = _spectrum(spectra, z)
        under, under_slope = _spectrum(spectra, z.conjugate())
        over, under = over / spectra.noise, under / spectra.noise
        for column, (a, b) in enumerate(((0.5, 0.5), (0.5j, -0.5j))):
            value = a * over + b * under
            columns[:bins, 2 * index + column] = value.real
            columns[bins:, 2 * index + column] = value.imag
        turns = 2j * np.pi * np.exp(pole[0]) / spectra.rate_hz  # dz / z for ln f
        falls = -np.exp(pole[1]) / spectra.rate_hz  # dz / z for ln of the decay rate
        for factor in (turns, falls):
            up = over_slope / spectra.noise * z * factor
            down = under_slope / spectra.noise * z.conjugate() * np.conj(factor)
            even, odd = 0.5 * (up + down), 0.5j * (up - down)
            slopes.append((np.concatenate((even.real, even.imag)), np.concatenate((odd.real, odd.imag))))
    return columns, slopes
