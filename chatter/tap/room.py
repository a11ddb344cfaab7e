"""What the room does to a decay: is one heard, how long it rings, and what that leaves known of the damping.

In: decays and their modes. Out: the room's decay; each mode's damping weighed against the room, with a bound
where the room leaves too much open.
Method: what the modes don't explain, just after the blow, is the room's answer to the click; its power is
followed until it sinks into the noise. Each mode is then weighed by the likelihood in _reverberation.py.
Source: thresholds are our own, each on its line.
Leaves out: single strong echoes.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.tap._fit import Fit, shape_of
from chatter.tap._reverberation import Heard, Neighbour, Weighed, weigh_mode
from chatter.tap.decays import Decays
from chatter.tap.modes import Found

Floats = NDArray[np.float64]

UNEXPLAINED = 1.2  # what is left, over the noise, that needs another cause than noise
FAINTEST_ROOM = 3e-4  # of the decays' energy: a room 35 dB down changes no damping; own choice
USUAL_DECAY_S = 0.45  # of a workshop; own choice, used where the room's own decay can't be followed
DECAYS_S = (0.15, 1.2)  # what is believed
ROOM_SPREAD = 0.3  # of ln of the decay: what is followed is up to a third too slow; own choice
HOP_S = 0.006
LN_60_DB = 6.91  # ln(1000): amplitude over 60 dB
BAND_WIDTHS = (
    6.0  # decay rates over 2 pi to each side; wider bands tell no more (own trial, benchmarks/taps.py)
)
LEAST_BAND_HZ = 30.0
MOST_BINS = 48
LEAST_BINS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """How long the room rings."""

    decay_s: float  # for 60 dB
    measured: bool  # else the usual one is taken


def hear_room(decays: Decays, found: Found) -> Room | None:
    """Say whether something other than modes and noise is heard after the blows.

    Returns
    -------
    Room or None
        None where modes and noise explain everything.
    """
    numbers = 2 * found.spectra.values.size
    excess_energy = found.fit.misfit - numbers
    if found.fit.misfit / numbers < UNEXPLAINED or excess_energy < FAINTEST_ROOM * found.power:
        return None
    count, hz = found.spectra.count, found.spectra.hz
    full = np.zeros((len(decays.pieces), count // 2 + 1), dtype=np.complex128)
    grid_hz = decays.rate_hz / count
    full[:, np.round(hz / grid_hz).astype(int)] = found.fit.rest
    rest = np.fft.irfft(full, count, axis=1)  # over noise: each bin of it weighs alike
    hop = max(1, round(HOP_S * decays.rate_hz))
    hops = count // hop
    power = (rest[:, : hops * hop] ** 2).reshape(len(rest), hops, hop).mean(axis=(0, 2))
    base = (
        2 * 2 * hz.size / count**2
    )  # of noise alone: two parts of 1 in each bin, both halves of the spectrum
    excess = power / base - 1
    below = np.flatnonzero(excess[1:] < 0.5)
    last = int(below[0]) + 1 if below.size else hops
    if last < 6:
        return Room(decay_s=USUAL_DECAY_S, measured=False)
    at_s = np.arange(1, last) * HOP_S
    slope = float(np.polyfit(at_s, np.log(excess[1:last]), 1)[0])
    decay_s = 2 * LN_60_DB / -slope if slope < 0 else np.inf
    if not DECAYS_S[0] <= decay_s <= DECAYS_S[1]:
        return Room(decay_s=USUAL_DECAY_S, measured=False)
    # what is left holds modes that the room prolongs, so it dies away too slowly: halfway to the usual one
    return Room(decay_s=float(np.sqrt(decay_s * USUAL_DECAY_S)), measured=True)


def weigh_in_room(decays: Decays, fit: Fit, *, index: int, room: Room) -> Weighed:
    """Weigh the damping of one mode of a fit against the room.

    Parameters
    ----------
    decays
        Cut out alike.
    fit
        All modes.
    index
        The mode.
    room
        How long it rings.
    """
    hz, decay_1_s = np.exp(fit.poles[index])
    band_hz = float(np.clip(BAND_WIDTHS * decay_1_s / (2 * np.pi), LEAST_BAND_HZ, 0.45 * hz))
    heard_s = max(decays.heard_s, 4 / float(decay_1_s), 0.03)
    length_s = min(heard_s, max(0.04, 3 / float(decay_1_s), MOST_BINS / (2 * band_hz)))
    length_s = max(length_s, LEAST_BINS / (2 * band_hz))
    spectra = decays.spectra(length_s=length_s, high_hz=8000.0)
    values = spectra.values.copy()
    amplitude = fit.amplitudes[:, index]
    strength = float(np.sum(np.abs(amplitude) ** 2))
    neighbours = []
    for number, pole in enumerate(fit.poles):
        values -= 0.5 * np.conj(fit.amplitudes[:, number, None]) * shape_of(spectra, pole, mirrored=True)
        if number == index:
            continue
        other_hz, other_1_s = np.exp(pole)
        if abs(other_hz - hz) < band_hz + other_1_s / np.pi:
            share = np.vdot(amplitude, fit.amplitudes[:, number]) / strength
            neighbours.append(
                Neighbour(frequency_hz=float(other_hz), decay_1_s=float(other_1_s), amplitude=complex(share))
            )
        else:
            values -= 0.5 * fit.amplitudes[:, number, None] * shape_of(spectra, pole)
    joined = 2 * np.sum(np.conj(amplitude)[:, None] * values, axis=0) / strength
    noise_power = 8 * spectra.noise**2 / strength  # two parts of noise**2 each, amplitude doubled
    step_hz = float(spectra.hz[1] - spectra.hz[0])
    near = np.flatnonzero(np.abs(spectra.hz - hz) <= max(band_hz, 3 * step_hz))
    near = near[:: max(1, -(-near.size // (2 * MOST_BINS)))]
    heard = Heard(
        values=joined[near],
        noise_power=noise_power[near],
        hz=spectra.hz[near],
        length_s=spectra.count / spectra.rate_hz,
        rate_hz=spectra.rate_hz,
        neighbours=tuple(neighbours),
    )
    return weigh_mode(
        heard,
        frequency_hz=float(hz),
        decay_1_s=float(decay_1_s),
        room_decay_1_s=LN_60_DB / room.decay_s,
        room_spread=ROOM_SPREAD,
    )
