"""Whether the sound of a cut fits the speed and the flutes that the user named.

In: the samples of one cut and what was said of it. Out: a finding where the sound favours other facts.
Method: every fundamental from a fraction of the named tooth-passing frequency to a multiple of it is scored
by its harmonics: each adds its height above the floor, capped, and costs a fixed price, so that a fraction of
the true one pays for harmonics that are not there and a multiple misses some. Run-out and doubled periods put
power on fractions of tooth passing, and so does chatter that locks to every second to tenth tooth: a comb on
any of these, or on a multiple, fits the named facts. So half or twice the speed can't be told, nor can an
eighth (chatter/cut/mix_up.py asks about some). The thresholds were chosen on simulated "workshop" scenes.
Source: harmonic summation, D. J. Hermes, J. Acoust. Soc. Am. 83 (1988) 257 to 264; the price is our own.
Leaves out: measuring the speed (chatter/cut/spindle.py).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.dsp.spectra import frame_powers, ring_floor, running_floor
from chatter.model import Finding

Floats = NDArray[np.float64]
WINDOW = 0.06  # share by which the true speed may differ from the dialled one, as in spindle.py
PAD = 4
TOP_HZ = 9000.0
BOTTOM_HZ = 60.0
MOST = 24  # harmonics of one fundamental
LEAST = 6  # harmonics that must stand out
CAP = 5.0  # nepers of power
PRICE = 2.2  # nepers a harmonic must stand out by to pay for itself; noise reaches 1 on average
STANDS_OUT = 3.0  # nepers
IDLE_TIMES = 4.0  # 6 dB: what is hardly louder than in the idle sound is no part of the cut
LEAST_SCORE = 14.0
LARGEST_RIVAL = 0.4  # share of the best score that the named facts may reach
RANGE = (0.1, 8.5)  # of the named tooth-passing frequency
MOST_FLUTES = 8
OWN = 0.002  # share by which a harmonic's place may be off
LOCKED, MOST_MULTIPLE = 10, 9  # fractions and multiples of tooth passing that fit what was named


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Sound that speaks against the named speed or flutes."""

    finding: Finding
    tooth_hz: float  # tooth-passing frequency that it favours


def find_doubt(
    samples: Floats,
    *,
    rate_hz: float,
    bandwidth_hz: float,
    programmed_rpm: float,
    flutes: int,
    idle: Floats | None = None,
) -> Doubt | None:
    """Say so when the sound of a cut clearly has the comb of another speed or flute count.

    Parameters
    ----------
    samples
        Shape (n,): the steady part of one cut.
    rate_hz, bandwidth_hz
        Sample rate; highest frequency carried.
    programmed_rpm, flutes
        What the user named, rev/min and teeth.
    idle
        Shape (m,): sound of the same recording without cutting.

    Returns
    -------
    Doubt or None
        None where the sound fits what was named.
    """
    other_hz = favoured_hz(
        samples,
        rate_hz=rate_hz,
        bandwidth_hz=bandwidth_hz,
        programmed_rpm=programmed_rpm,
        flutes=flutes,
        idle=idle,
    )
    if other_hz is None:
        return None
    teeth = other_hz / (programmed_rpm / 60)
    count = round(teeth)
    as_flutes = 1 < count <= MOST_FLUTES and count != flutes and abs(teeth / count - 1) < WINDOW
    alike = f", as with {count} flutes" if as_flutes else ""
    message = (
        f"The lines of the cut stand at multiples of {other_hz:.0f} Hz{alike}, not of the "
        f"{programmed_rpm / 60 * flutes:.0f} Hz at which the named teeth strike: check the speed and the "
        "flute count, and that the recording plays at its true speed."
    )
    finding = Finding(code="facts-do-not-fit", severity="warning", message=message)
    return Doubt(finding=finding, tooth_hz=other_hz)


def favoured_hz(
    samples: Floats,
    *,
    rate_hz: float,
    bandwidth_hz: float,
    programmed_rpm: float,
    flutes: int,
    idle: Floats | None = None,
) -> float | None:
    """Give the tooth-passing frequency that the sound favours, None where it fits what was named, Hz."""
    tooth_hz = programmed_rpm / 60 * flutes
    top_hz = min(TOP_HZ, 0.42 * rate_hz, 0.95 * bandwidth_hz)
    excess, bin_hz = _excess(samples, rate_hz=rate_hz, top_hz=top_hz, idle=idle)
    low_hz, high_hz = max(BOTTOM_HZ / 2, RANGE[0] * tooth_hz), min(RANGE[1] * tooth_hz, top_hz / LEAST)
    if high_hz <= low_hz:
        return None
    ratio = 0.7 * bin_hz / top_hz
    bases = low_hz * np.exp(np.arange(0, np.log(high_hz / low_hz), ratio))
    scores, standing = _scores(excess, bases, bin_hz=bin_hz, top_hz=top_hz)
    fits = np.zeros(len(bases), dtype=np.bool_)
    for part in (*range(1, LOCKED + 1), 2 * flutes):  # run-out, and chatter locked to every n-th tooth
        fits |= np.abs(bases * part / tooth_hz - 1) < WINDOW
    for part in range(1, 2 * flutes):
        if 2 * flutes % part == 0:  # run-out with halves of it: teeth that cut in turns
            fits |= np.abs(bases / (tooth_hz * part / (2 * flutes)) - 1) < WINDOW
    taken = fits | (standing < LEAST)
    for part in range(2, MOST_MULTIPLE + 1):  # a weak fundamental
        taken |= np.abs(bases / (part * tooth_hz) - 1) < WINDOW
    best = int(np.argmax(np.where(taken, -np.inf, scores)))
    if taken[best] or scores[best] < LEAST_SCORE:
        return None
    multiple = bases / bases[best]  # the best one's own harmonics are no rivals
    nearest = np.maximum(np.round(multiple), 1.0)
    own = (nearest >= 2) & (np.abs(multiple / nearest - 1) < OWN)
    rivals = scores[fits & ~own]
    if len(rivals) and rivals.max() > LARGEST_RIVAL * scores[best]:
        return None
    return float(bases[best])


def _excess(samples: Floats, *, rate_hz: float, top_hz: float, idle: Floats | None) -> tuple[Floats, float]:
    """Give how far each bin stands above its surroundings and above the idle sound, nepers."""
    window_s = min(0.5, len(samples) / rate_hz / 2)
    _, hz, powers = frame_powers(
        samples.astype(np.float32),
        rate_hz=rate_hz,
        window_s=window_s,
        hop_s=window_s / 2,
        pad=PAD,
        top_hz=top_hz * 1.05,
    )
    mean = powers.mean(axis=0)
    lobe = 2 * PAD
    floor = running_floor(mean, width_bins=max(9, round(150 / hz[1])))
    floor = np.maximum(floor, ring_floor(mean, inner_bins=lobe + 2, outer_bins=4 * lobe))
    if idle is not None and len(idle) >= window_s * rate_hz:
        _, _, quiet = frame_powers(
            idle.astype(np.float32),
            rate_hz=rate_hz,
            window_s=window_s,
            hop_s=window_s / 2,
            pad=PAD,
            top_hz=top_hz * 1.05,
        )
        floor = np.maximum(floor, IDLE_TIMES * quiet.mean(axis=0)[: len(floor)])
    return np.clip(np.log(np.maximum(mean, 1e-30) / floor), 0.0, CAP), float(hz[1])


def _scores(excess: Floats, bases: Floats, *, bin_hz: float, top_hz: float) -> tuple[Floats, Floats]:
    """Score each fundamental, and count its harmonics that stand out: shapes (b,)."""
    scores, standing = np.zeros(len(bases)), np.zeros(len(bases))
    for order in range(1, MOST + 1):
        at_hz = bases * order
        inside = (at_hz >= BOTTOM_HZ) & (at_hz <= top_hz)
        bins = np.clip(np.round(at_hz / bin_hz).astype(np.int64), 1, len(excess) - 2)
        height = np.maximum(excess[bins], np.maximum(excess[bins - 1], excess[bins + 1]))
        scores += np.where(inside, height - PRICE, 0.0)
        standing += inside & (height > STANDS_OUT)
    return scores, standing
