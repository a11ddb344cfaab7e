"""When the part was struck: the onsets of taps; double hits, clipped taps and running machines told apart.

In: samples of one channel. Out: the time of each tap, with the reason where it can't be used.
Method: a linear predictor learnt from the recording foretells ringing (and the beating of close modes) and
leaves only what is new; a blow stands out of what is left within a millisecond, a voice or a motor does not.
The same is done once more below 2 kHz: a soft mallet on a frame or a knuckle on thin work leaves little above
it, and the noise there would hide the blow.
Source: linear prediction by the autocorrelation method (Makhoul, Proc. IEEE 63, 1975); thresholds are own.
Leaves out: what rings after the blow.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, ndimage, signal

from chatter.tap._bounces import find_bounces
from chatter.tap._running import find_even, is_running

Floats = NDArray[np.float64]
Fault = Literal["double", "clipped", "too-soft", "running", "unlike"]

ORDER = 48  # of the predictor: some ten modes and the slope of the microphone; own choice
EDGE = 12  # samples at the beginning that a change of the rate spoils (its filter reaches 10 to each side)
HOP_S = 0.5e-3
SLOW_RATE_HZ = 4000.0  # of the second look; a contact of 2 ms has little above 1 kHz (half a sine: -20 dB)
SLOW_HOP_S = 1e-3  # 4 samples: of 2, noise alone now and then looks like a blow
BEFORE_S = 0.012  # a blow must stand out of this much before it
RISE_DB = 9.0  # and by this much; with the next, tuned on simulated taps (tests/benchmarks/taps.py)
ABOVE_NOISE_DB = 12.0  # in what the predictor leaves
JUMP_DB = 3.0  # the sound itself, just after the blow over the 40 ms before it: hum may be loud
SOFTEST_DB = 26.0  # below the loudest blow: no tap, but something that stirred
SAME_BLOW_S = 0.004
GROUP_S = 0.2  # blows closer than this are one tap that hit twice
DOUBLE_DB = 20.0  # softer second blows disturb the decay too little to matter
CLIP_SHARE = 0.985  # of the largest sample
FLAT = 2e-4  # of the largest sample: three samples in a row this much alike stand still
LOWEST_CLIP = 0.3  # a wave that ends lower than this was cut off by nothing known
FULL_SCALE = 0.9999  # the last but two steps of 16 bits
AT_FULL_SCALE = 2  # samples there: one may be chance
OVERSHOOT = 1.02  # codecs throw clipped waves above full scale; a whole sine stays below it


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """One tap."""

    time_s: float
    fault: Fault | None  # why it can't be used


@dataclass(frozen=True, slots=True, kw_only=True)
class Blow:
    """Something that began at once."""

    time_s: float
    level_db: float  # of what is not foretold, re the loudest
    is_double: bool  # a second hit follows at once


def find_onsets(samples: Floats, *, rate_hz: float) -> tuple[Onset, ...]:
    """Find every tap of a recording.

    Parameters
    ----------
    samples
        Shape (n,), full scale 1.
    rate_hz
        Sample rate.

    Returns
    -------
    tuple of Onset
        In the order of time; a double hit is one of them.
    """
    hop = max(1, round(HOP_S * rate_hz))
    if samples.size < 40 * hop or not samples.any():
        return ()
    blows = _blows(samples, rate_hz=rate_hz, hop_s=HOP_S)
    step = round(rate_hz / SLOW_RATE_HZ)
    if step > 1:
        low = np.asarray(signal.resample_poly(samples, 1, step))
        blows = _joined(blows, _blows(low, rate_hz=rate_hz / step, hop_s=SLOW_HOP_S))
    return _judge(blows, _hops(samples, hop), samples, hop=hop, rate_hz=rate_hz)


def _blows(samples: Floats, *, rate_hz: float, hop_s: float) -> list[Blow]:
    """Find every blow: what begins within a millisecond, is not foretold, and makes the sound louder."""
    hop = max(1, round(hop_s * rate_hz))
    fresh = _hops(_unforeseen(samples), hop)
    heard = _hops(samples, hop)
    quiet = _quiet_level(fresh)
    before = max(2, round(BEFORE_S / hop_s))
    trailing = ndimage.maximum_filter1d(fresh, before, origin=(before - 1) // 2, mode="nearest")
    reference = np.concatenate(
        (np.full(2, quiet), trailing[:-2])
    )  # the hop next to a blow may hold its start
    rise = fresh / np.maximum(reference, 1e-4 * quiet + 1e-300)
    stands = (rise > 10 ** (RISE_DB / 10)) & (fresh > quiet * 10 ** (ABOVE_NOISE_DB / 10))
    found: list[tuple[int, float]] = []  # hop, energy of the blow
    for index in np.flatnonzero(stands):
        energy = float(fresh[index : index + 4].max())
        if found and index - found[-1][0] <= round(SAME_BLOW_S / hop_s):
            found[-1] = (found[-1][0], max(found[-1][1], energy))
            continue
        found.append((int(index), energy))
    found = [(index, energy) for index, energy in found if _jumps(heard, index, hop_s=hop_s)]
    least = quiet * 10 ** (ABOVE_NOISE_DB / 10)
    twice, echoes = find_bounces(fresh, blows=[index for index, _ in found], hop_s=hop_s, least=least)
    found = [(index, energy) for index, energy in found if index not in echoes]
    loudest = max((energy for _, energy in found), default=0.0)
    return [
        Blow(
            time_s=index * hop / rate_hz,
            level_db=10 * float(np.log10(energy / loudest)),
            is_double=index in twice,
        )
        for index, energy in found
        if energy > loudest * 10 ** (-SOFTEST_DB / 10)
    ]


def _joined(blows: list[Blow], slow: list[Blow]) -> list[Blow]:
    """Add what only the second look found; where both found something the first is the sharper one."""
    known_s = np.array([blow.time_s for blow in blows])
    new = [blow for blow in slow if not (np.abs(known_s - blow.time_s) < GROUP_S).any()]
    return sorted([*blows, *new], key=lambda blow: blow.time_s)


def _judge(
    blows: list[Blow], heard: Floats, samples: Floats, *, hop: int, rate_hz: float
) -> tuple[Onset, ...]:
    """Group blows to taps and look for faults."""
    hops = [min(round(blow.time_s * rate_hz / hop), heard.size - 1) for blow in blows]
    onsets: list[Onset] = []
    top = float(np.abs(samples).max())
    index = 0
    while index < len(blows):
        start = index
        index += 1
        while index < len(blows) and (hops[index] - hops[index - 1]) * HOP_S < GROUP_S:
            index += 1
        group = hops[start:index]
        at = _sharpen(samples, group[0], hop=hop)
        until = hops[index] if index < len(blows) else heard.size
        end = min(
            samples.size, at + round(0.3 * rate_hz), until * hop if index < len(blows) else samples.size
        )
        fault: Fault | None = None
        ran = bool(onsets) and onsets[-1].fault == "running"
        if is_running(heard, blows=group, until=until, hop_s=HOP_S, ran=ran):
            fault = "running"
        elif _is_clipped(samples[at:end], top):
            fault = "clipped"
        elif _is_double(blows[start:index]):
            fault = "double"
        onsets.append(Onset(time_s=at / rate_hz, fault=fault))
    even = find_even([onset.time_s for onset in onsets])
    return tuple(
        replace(onset, fault="running") if index in even else onset for index, onset in enumerate(onsets)
    )


def _is_double(blows: list[Blow]) -> bool:
    """Say whether a tap hit twice, so loud that it matters."""
    strongest = blows[0].level_db
    for blow in blows[1:]:
        if blow.level_db > strongest - DOUBLE_DB:
            return True
        strongest = max(strongest, blow.level_db)
    return any(blow.is_double for blow in blows)


def _unforeseen(samples: Floats) -> Floats:
    """Give what a linear predictor can't foretell from the samples before."""
    step = max(1, samples.size // 2_000_000)
    part = samples[: step * (samples.size // step)]
    size = 1 << (2 * part.size - 1).bit_length()
    power = np.abs(np.fft.rfft(part, size)) ** 2
    lags = np.fft.irfft(power, size)[: ORDER + 1]
    lags[0] *= 1 + 1e-9  # keeps a recording of one pure tone solvable
    weights = linalg.solve_toeplitz(lags[:-1], lags[1:])
    left = np.asarray(signal.lfilter(np.concatenate(([1.0], -weights)), [1.0], samples))
    left[: ORDER + EDGE] = 0.0  # nothing came before: all of it would be news
    return left


def _hops(values: Floats, hop: int) -> Floats:
    """Give the mean square of each hop."""
    count = values.size // hop
    return np.asarray((values[: count * hop].reshape(count, hop) ** 2).mean(axis=1))


def _quiet_level(energy: Floats) -> float:
    """Give the level between taps: they fill less than half of any recording."""
    return float(np.median(energy)) + 1e-14


def _jumps(heard: Floats, index: int, *, hop_s: float) -> bool:
    """Say whether the sound as a whole is louder after a blow than before."""
    before = heard[max(0, index - round(0.040 / hop_s)) : max(0, index - 1)]
    after = heard[index : index + round(0.006 / hop_s)]
    if not before.size:  # the recording begins with it: the decay may still be heard whole
        return True
    return float(after.max()) > float(np.quantile(before, 0.9)) * 10 ** (JUMP_DB / 10)


def _sharpen(samples: Floats, index: int, *, hop: int) -> int:
    """Give the first sample of a blow that begins in or just before this hop."""
    low, high = max(0, (index - 1) * hop), min(samples.size, (index + 4) * hop)
    part = np.abs(samples[low:high])
    base = float(np.abs(samples[max(0, low - 10 * hop) : low]).max(initial=0.0))
    over = np.flatnonzero(part > max(1.5 * base, 0.1 * float(part.max())))
    return low + int(over[0]) if over.size else index * hop


def _is_clipped(part: Floats, top: float) -> bool:
    """Say whether a tap's wave stands still at the recording's top, or a codec threw it above full scale."""
    if top < LOWEST_CLIP or part.size < 8:
        return False
    size = np.abs(part)
    if float(size.max()) > OVERSHOOT or np.count_nonzero(size >= FULL_SCALE) >= AT_FULL_SCALE:
        return True
    still = FLAT * top
    for side in (part, -part):
        high = np.flatnonzero(side[1:-3] > CLIP_SHARE * top) + 1
        a, b, c = side[high], side[high + 1], side[high + 2]
        flat = (np.abs(a - b) < still) & (np.abs(b - c) < still)
        # a round top that is flat to FLAT over three samples falls by four times as much on the next
        steep = np.minimum(side[high - 1], side[high + 3]) < a - 20 * still
        if (steep & flat).any():
            return True
    return False
