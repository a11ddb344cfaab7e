"""From when on a decay is free, and whether it is one: long contacts, and decays that are bent.

In: decays cut out from just after the blow. Out: the same from a later moment where that is needed, their
fit, the room heard in them; which poles of a fit are no modes of their own.
Method: while mallet and part touch, and the click is heard, the part is no free vibration: the fit then needs
poles that are gone at once, or leaves much. Where a later beginning needs neither it is taken. Two poles at
one frequency of which one dies away far sooner are one decay that gets slower: automatic gain that comes
back, or a joint that slips only while it swings widely.
Source: thresholds are our own, each on its line.
Leaves out: single echoes.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.model.tap import LOWEST_HZ
from chatter.tap._fit import Fit
from chatter.tap.decays import CLICK_S, Decays
from chatter.tap.modes import Found, fit_decays
from chatter.tap.room import LN_60_DB, Room, hear_room

Floats = NDArray[np.float64]

LATER_S = (0.0, 1.8e-3, 4.2e-3, 7.0e-3)  # than the first: rubber touches a frame for 5 ms; own choice
HASTY_1_S = LN_60_DB / 0.010  # 60 dB in 10 ms: two thirds of the shortest decay that is asked for
SLOWER = 0.5  # of a hasty pole's decay rate has what it stands beside
BESIDE_DB = -35.0  # and this much of its energy after the fit's beginning; own choice
HEARD_DB = -25.0  # of the strongest has a hasty pole that matters: fainter ones are not told
BENT_APART = 2.0, 15.0  # decay rates of one bent decay: less is two modes, more is the blow; own choice
BENT_DB = -12.0  # energy of its later part re the earlier: fainter, and a room may have prolonged it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Begun:
    """Decays, their fit and what else was heard, from the first moment at which they are free."""

    decays: Decays
    found: Found
    room: Room | None
    is_bent: bool


def begin_fit(decays: Decays, *, least_power: float) -> Begun:
    """Fit the decays from the first moment on at which they are free; from the first where there is none.

    Parameters
    ----------
    decays
        Cut out from the end of the click on.
    least_power
        Mean square of the first 10 ms that a decay must have to be used from a later moment.
    """
    first: Begun | None = None
    for later_s in LATER_S:
        trial = decays.later(later_s)
        if later_s and not is_loud(trial, least_power=least_power).all():
            break
        found = fit_decays(trial, length_s=fit_length_s(trial))
        room = hear_room(trial, found)
        bent = room is None and bool(bent_poles(found.fit))
        begun = Begun(
            decays=trial, found=found, room=room, is_bent=bent or (first is not None and first.is_bent)
        )
        first = first or begun
        if room is None and not _holds_the_blow(found.fit, start_s=trial.start_s):
            return begun
    assert first is not None  # the first is always tried
    return first


def _holds_the_blow(fit: Fit, *, start_s: float) -> bool:
    told = energies(fit, start_s=told_before_s(start_s))
    return any(told[index] > max(told) * 10 ** (HEARD_DB / 10) for index in hasty_poles(fit))


def fit_length_s(decays: Decays) -> float:
    """Give how much of each decay a fit uses."""
    return max(0.03, 1.1 * decays.heard_s)


def is_loud(decays: Decays, *, least_power: float) -> NDArray[np.bool_]:
    """Say of each decay, shape (taps,), whether its first 10 ms have the mean square asked for."""
    early = decays.pieces[:, : max(1, round(0.01 * decays.rate_hz))]
    return np.asarray((early**2).mean(axis=1) > least_power)


def energies(fit: Fit, *, start_s: float = 0.0) -> Floats:
    """Give the energy of each pole, shape (p,), on the mean over taps, from `start_s` before the fit on."""
    decay_1_s = np.exp(fit.poles[:, 1])
    power = np.mean(np.abs(fit.amplitudes) ** 2, axis=0)
    return np.asarray(power * np.exp(2 * np.minimum(decay_1_s * start_s, 3.0)) / (4 * decay_1_s))


def told_before_s(start_s: float) -> float:
    """Give how long before the fit a mode is taken to have rung: not through a contact that lasted."""
    return start_s if start_s <= CLICK_S else 0.0


def hasty_poles(fit: Fit) -> list[int]:
    """Give the poles that are gone at once beside one that rings on: the blow, not the part."""
    decay_1_s = np.exp(fit.poles[:, 1])
    after = energies(fit)
    return [
        index
        for index in range(len(fit.poles))
        if decay_1_s[index] > HASTY_1_S
        and np.any((decay_1_s < SLOWER * decay_1_s[index]) & (after > after[index] * 10 ** (BESIDE_DB / 10)))
    ]


def bent_poles(fit: Fit) -> dict[int, int]:
    """Give the poles that are the earlier part of a bent decay, each with the pole of its later part."""
    hz, decay_1_s = np.exp(fit.poles[:, 0]), np.exp(fit.poles[:, 1])
    after = energies(fit)
    later: dict[int, int] = {}
    order = [int(index) for index in np.argsort(decay_1_s)]
    for slow in order:  # the slowest first: it is the last part of all it goes with
        if slow in later or hz[slow] < LOWEST_HZ or decay_1_s[slow] > HASTY_1_S:
            continue
        slower = slow  # the part of the decay after this one: a decay may need three
        for index in order:
            if (
                index not in later
                and decay_1_s[index] > BENT_APART[0] * decay_1_s[slow]
                and decay_1_s[index] < BENT_APART[1] * decay_1_s[slower]
                and abs(hz[index] - hz[slow]) < decay_1_s[slower] / (2 * np.pi)
                and after[slow] > after[index] * 10 ** (BENT_DB / 10)
            ):
                later[index] = slow
                slower = index
    return later
