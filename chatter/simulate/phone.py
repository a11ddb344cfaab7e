"""A phone that records a simulated cut: radiation, room, shop noise, automatic gain, microphone.

In: forces and motion. Out: samples as a phone would store them, before the codec.
Source: exponential room decay after M. R. Schroeder, J. Acoust. Soc. Am. 37 (1965) 409; the rest is
common practice. Levels are free: nothing here is calibrated.
Leaves out: real rooms and real phones.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from chatter.simulate.milling import SimulatedCut

Floats = NDArray[np.float64]
LEAST_OVER = 8  # ticks of the fine clock for one sample of the phone, at least
TICKS_PER_STEP = 2  # and for one step of angle, at least


def on_clock(cut: SimulatedCut, values: Floats, *, rate_hz: float) -> Floats:
    """Bring values on the angular grid to a phone's clock, without aliases.

    Lines between the steps bend at each of them, so the fine clock ticks often enough that what the bends
    hold above half its rate is faint: what folds back lies off the spindle's comb, where chatter would be.

    Returns
    -------
    NDArray
        Shape (round(duration * rate_hz),).
    """
    over = max(LEAST_OVER, int(np.ceil(TICKS_PER_STEP * cut.rate_hz / rate_hz)))
    fine_hz = rate_hz * over
    at = np.arange(int(cut.time_s[-1] * fine_hz)) / fine_hz
    return np.asarray(signal.resample_poly(np.interp(at, cut.time_s, values), 1, over))


def resonate(values: Floats, *, rate_hz: float, frequency_hz: float, damping_ratio: float) -> Floats:
    """Pass a sound through one resonance of unit gain at rest. Shapes (n,)."""
    omega = 2 * np.pi * frequency_hz
    b, a = signal.bilinear([omega**2], [1, 2 * damping_ratio * omega, omega**2], rate_hz)
    faint = 1e-12 * np.std(values) * np.sign(np.sin(np.arange(len(values))))  # keeps the filter off denormals
    return np.asarray(signal.lfilter(b, a, values + faint))


def in_room(
    samples: Floats, rng: np.random.Generator, *, rate_hz: float, decay_s: float, wet: float
) -> Floats:
    """Add a room whose sound falls by 60 dB in `decay_s`; `wet` is reverberant over direct rms."""
    length = int(decay_s * rate_hz)
    tail = rng.normal(size=length) * 10 ** (-3 * np.arange(length) / length)
    tail[: int(0.003 * rate_hz)] = 0
    tail *= wet / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return np.asarray(signal.oaconvolve(samples, tail)[: len(samples)])


def coloured(
    rng: np.random.Generator, count: int, *, rate_hz: float, low_hz: float, high_hz: float
) -> Floats:
    """Give noise of unit rms between two frequencies."""
    sos = signal.butter(2, [low_hz, min(high_hz, 0.45 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    noise = signal.sosfilt(sos, rng.normal(size=count))
    return np.asarray(noise / np.std(noise))


def vacuum(rng: np.random.Generator, count: int, *, rate_hz: float) -> Floats:
    """Give a shop vacuum of unit rms: broad noise, and a whine with harmonics that wanders a little."""
    base_hz = rng.uniform(250, 900)
    wander = 1 + 0.002 * np.cumsum(rng.normal(size=count)) / np.sqrt(count)
    phase = 2 * np.pi * np.cumsum(base_hz * wander) / rate_hz
    whine = sum(rng.uniform(0.2, 1) / k * np.sin(k * phase + rng.uniform(0, 6)) for k in (1, 2, 3, 4))
    sound = coloured(rng, count, rate_hz=rate_hz, low_hz=200, high_hz=6000) + rng.uniform(0.2, 1.2) * whine
    return np.asarray(sound / np.std(sound))


def compressor(rng: np.random.Generator, count: int, *, rate_hz: float) -> Floats:
    """Give a piston compressor of unit rms: thumps at some 15 to 25 Hz with many harmonics."""
    t = np.arange(count) / rate_hz
    base_hz = rng.uniform(15, 25)
    thump = np.exp(-((t * base_hz) % 1) * rng.uniform(8, 20))
    rough = coloured(rng, count, rate_hz=rate_hz, low_hz=100, high_hz=2500)
    sound = thump * rough + 0.3 * signal.lfilter([1, -1], [1, -0.95], thump)
    return np.asarray(sound / np.std(sound))


def radio(rng: np.random.Generator, count: int, *, rate_hz: float) -> Floats:
    """Give babble of unit rms: gliding voices with syllables."""
    t = np.arange(count) / rate_hz
    total = np.zeros(count)
    for _ in range(2):
        knots = np.arange(0, t[-1] + 1, 0.15)
        pitch = np.interp(t, knots, rng.uniform(90, 240, len(knots)))
        loud = np.interp(t, knots, rng.uniform(0, 1, len(knots)) ** 2)
        phase = 2 * np.pi * np.cumsum(pitch) / rate_hz
        voice = np.sum([np.sin(k * phase) / k for k in range(1, 14)], axis=0)
        formant = resonate(voice, rate_hz=rate_hz, frequency_hz=rng.uniform(500, 1800), damping_ratio=0.1)
        total += loud * formant
    total += 0.1 * np.std(total) * coloured(rng, count, rate_hz=rate_hz, low_hz=200, high_hz=5000)
    return np.asarray(total / np.std(total))


def air_blast(rng: np.random.Generator, count: int, *, rate_hz: float) -> Floats:
    """Give an air nozzle of unit rms: high broad noise."""
    return coloured(rng, count, rate_hz=rate_hz, low_hz=1500, high_hz=14_000)


def automatic_gain(samples: Floats, *, rate_hz: float, target: float = 0.15, strength: float = 0.6) -> Floats:
    """Even out the level as a phone's recorder does: quick down, slow up."""
    block = int(0.02 * rate_hz)
    level = np.sqrt(np.add.reduceat(samples**2, np.arange(0, len(samples), block)) / block + 1e-10)
    held = np.empty_like(level)
    now = level[0]
    for i, value in enumerate(level):
        now += (value - now) * (0.5 if value > now else 0.03)
        held[i] = now
    gain = (target / held) ** strength
    at = np.arange(len(held)) * block
    return np.asarray(samples * np.interp(np.arange(len(samples)), at, gain))


def microphone(samples: Floats, rng: np.random.Generator, *, rate_hz: float, peak: float) -> Floats:
    """High-pass at 80 Hz, scale to a peak, add the noise floor, clip at full scale."""
    sos = signal.butter(2, 80, "highpass", fs=rate_hz, output="sos")
    heard = signal.sosfilt(sos, samples)
    heard = heard * (peak / np.abs(heard).max()) + 2e-4 * rng.normal(size=len(heard))
    return np.asarray(np.clip(heard, -1, 1))
