"""One mode heard in a room: how likely each damping is, when every echo strikes the ear like a weaker tap.

In: the spectrum of one mode's decay. Out: the middle and spread of its frequency and damping, and how much of
the sound is room.
Method: a room's response is a direct sound and an even crowd of echoes whose power falls by 60 dB in about a
known time (Gaussian noise under an exponential). Each echo starts the mode's decay anew, and with it those of
the modes beside it, so what the room adds has a known covariance at every damping; the likelihood of the
spectrum is exact, taken at the room's likeliest decay, and weighed over damping and strength of the room.
Source: the room as decaying Gaussian noise: Polack, 1988, as in Kuttruff, Room Acoustics (decaying diffuse
sound); prior spreads and grids are our own, each on its line.
Leaves out: single strong echoes.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, optimize

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

ECHOES_PER_BIN = 2  # columns of echoes for each bin of the band: finer changes nothing (own trial)
STRENGTH_MIDDLE = np.log(0.05)  # reverberant over direct energy a step from the machine; own choice
STRENGTH_SPREAD = 1.5  # of its logarithm: a factor of 20 both ways at two spreads
STRENGTHS = np.linspace(-7.0, 1.5, 18)  # ln of it
DAMPING_REACH = 5.0  # spreads to both sides
DAMPING_STEPS = 13


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """What the likelihood says of one mode."""

    frequency_hz: float  # damped
    frequency_sd_hz: float
    log_decay: float  # mean of ln of the decay rate in 1/s
    log_decay_sd: float
    log_strength: float  # mean of ln of reverberant over direct energy


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """Another mode in the band: its echoes are heard there, too."""

    frequency_hz: float  # damped
    decay_1_s: float
    amplitude: complex  # the weighed mode's is 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heard:
    """The spectrum of one mode, its amplitude brought to 1."""

    values: Complexes  # shape (bins,)
    noise_power: Floats  # shape (bins,), mean square of the noise
    hz: Floats
    length_s: float
    rate_hz: float
    neighbours: tuple[Neighbour, ...] = ()


def weigh_mode(
    heard: Heard, *, frequency_hz: float, decay_1_s: float, room_decay_1_s: float, room_spread: float
) -> Weighed:
    """Weigh damping and frequency of one mode.

    Parameters
    ----------
    heard
        Its spectrum.
    frequency_hz, decay_1_s
        Damped frequency and decay rate to begin at.
    room_decay_1_s
        Decay rate of the room's amplitude, 6.91 over its time for 60 dB.
    room_spread
        Of its logarithm.
    """
    echoes = _Echoes(heard)
    point = np.array([0.0, np.log(decay_1_s), STRENGTH_MIDDLE, 0.0])
    width_hz = decay_1_s / (2 * np.pi)

    def cost(trial: Floats) -> float:
        return -_likelihood(
            echoes,
            frequency_hz=frequency_hz + trial[0] * width_hz,
            log_decay=trial[1],
            log_strength=trial[2],
            room_decay_1_s=room_decay_1_s * float(np.exp(room_spread * trial[3])),
        ) + 0.5 * float(trial[3] ** 2)

    start = point + np.vstack((np.zeros(4), np.diag([0.1, 0.2, 1.0, 1.0])))
    best = optimize.minimize(
        cost,
        point,
        method="Nelder-Mead",
        options={"maxfev": 110, "xatol": 1e-3, "fatol": 1e-2, "initial_simplex": start},
    )
    at, lowest = best.x, float(best.fun)
    spread = _curvature(cost, at, lowest, 1)
    shift = _curvature(cost, at, lowest, 0)
    damping = at[1] + np.linspace(-1, 1, DAMPING_STEPS) * min(1.5, DAMPING_REACH * spread)
    near = STRENGTHS[np.argsort(np.abs(STRENGTHS - at[2]))[:5]]
    log = np.array([[-cost(np.array([at[0], one, other, at[3]])) for other in near] for one in damping])
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = float(np.sum(weight.sum(axis=1) * damping))
    variance = float(np.sum(weight.sum(axis=1) * (damping - mean) ** 2))
    return Weighed(
        frequency_hz=float(frequency_hz + at[0] * width_hz),
        frequency_sd_hz=shift * width_hz,
        log_decay=mean,
        log_decay_sd=float(np.sqrt(variance)),
        log_strength=float(np.sum(weight.sum(axis=0) * near)),
    )


def _curvature(cost: Callable[[Floats], float], at: Floats, lowest: float, axis: int) -> float:
    """Give the spread along one axis, from how fast the likelihood falls."""
    step = 0.02
    for _ in range(14):
        moved = [at.copy(), at.copy()]
        moved[0][axis] -= step
        moved[1][axis] += step
        rise = 0.5 * (cost(moved[0]) + cost(moved[1])) - lowest
        if rise > 2.0:
            step /= 2
        elif rise < 0.1 and step < 1:
            step *= 2
        else:
            break
    return float(step / np.sqrt(2 * max(rise, 0.02)))


class _Echoes:
    """What stays the same at every damping: the moments of the echoes and their turns at each bin."""

    def __init__(self, heard: Heard) -> None:
        self.heard = heard
        count = ECHOES_PER_BIN * heard.hz.size
        self.at_s = (np.arange(count) + 0.5) / count * heard.length_s
        self.s = 2j * np.pi * heard.hz
        self.turns = np.exp(-np.outer(self.s, self.at_s))
        self.last = np.exp(-self.s * heard.length_s)
        self.beside_direct = np.zeros((heard.hz.size, 0), dtype=np.complex128)
        self.beside_started = np.zeros_like(self.turns)
        for one in heard.neighbours:
            direct, started = self.ring(complex(-one.decay_1_s, 2 * np.pi * one.frequency_hz))
            self.beside_direct = np.column_stack((self.beside_direct, direct))
            self.beside_started += one.amplitude * started

    def ring(self, pole: complex) -> tuple[Complexes, Complexes]:
        """Give a mode's spectrum where it is struck at once, (bins,), and by each echo, (bins, echoes)."""
        below = 1 - np.exp((pole - self.s) / self.heard.rate_hz)
        direct = (1 - np.exp(pole * self.heard.length_s) * self.last) / below
        left = np.exp(pole * (self.heard.length_s - self.at_s))
        return direct, (self.turns - np.outer(self.last, left)) / below[:, None]


def _likelihood(
    echoes: _Echoes, *, frequency_hz: float, log_decay: float, log_strength: float, room_decay_1_s: float
) -> float:
    """Give the logarithm of the likelihood, the amplitudes chosen best."""
    if not -12 < log_strength < 3 or not -2 < log_decay < 10:
        return -1e12
    heard = echoes.heard
    pole = -np.exp(log_decay) + 2j * np.pi * frequency_hz
    direct, started = echoes.ring(complex(pole))
    power = 2 * room_decay_1_s * np.exp(log_strength - 2 * room_decay_1_s * echoes.at_s)
    power *= heard.length_s / echoes.at_s.size
    started = (started + echoes.beside_started) * np.sqrt(power)
    covariance = started @ started.conj().T
    covariance[np.diag_indices(heard.hz.size)] += heard.noise_power
    lower = linalg.cholesky(covariance, lower=True, check_finite=False)
    columns = np.column_stack((heard.values, direct, echoes.beside_direct))
    columns = linalg.solve_triangular(lower, columns, lower=True, check_finite=False)
    upper = np.asarray(np.linalg.qr(columns[:, ::-1], mode="r"))  # the data come last: what the modes leave
    misfit = float(np.abs(upper[-1, -1]) ** 2)
    prior = 0.5 * ((log_strength - STRENGTH_MIDDLE) / STRENGTH_SPREAD) ** 2
    return float(-misfit - 2 * np.sum(np.log(np.diag(lower).real)) - prior)
