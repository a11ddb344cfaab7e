"""Sounds of a shop that are no cut and no chatter, for a moment each.

In: a kind and a random generator. Out: samples, rms 1 where they sound.
Source: invented; each kind as it sounds in any shop (common practice).
Leaves out: sounds that go on (chatter/simulate/phone.py).
"""

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Floats = NDArray[np.float64]
LENGTH_S = 0.9
SOUNDS = ("knock", "clap", "ring", "bell", "voice", "whistle", "beep", "clicks", "squeal")


def make_sound(kind: str, rng: np.random.Generator, *, rate_hz: int) -> Floats:
    """Make one sound. Shape (n,), 0.9 s."""
    t = np.arange(int(LENGTH_S * rate_hz)) / rate_hz
    sound = _MAKERS[kind](rng, t)
    return np.asarray(sound / np.sqrt(np.mean(sound[np.abs(sound) > 1e-3 * np.abs(sound).max()] ** 2)))


def _knock(rng: np.random.Generator, t: Floats) -> Floats:
    """A bump of the bench: low noise that dies within a tenth of a second."""
    return np.asarray(signal.lfilter([1], [1, -0.97], rng.normal(size=len(t))) * np.exp(-t / 0.06))


def _clap(rng: np.random.Generator, t: Floats) -> Floats:
    """Noise of some milliseconds, and the room."""
    return np.asarray(rng.normal(size=len(t)) * (np.exp(-t / 0.004) + 0.15 * np.exp(-t / 0.08)))


def _ring(rng: np.random.Generator, t: Floats) -> Floats:
    """A dropped tool: some modes at random that die away."""
    rings = [
        rng.uniform(0.2, 1)
        * np.sin(2 * np.pi * rng.uniform(500, 8000) * t + rng.uniform(0, 6))
        * np.exp(-t / rng.uniform(0.03, 0.3))
        for _ in range(int(rng.integers(5, 12)))
    ]
    return np.asarray(np.sum(rings, axis=0))


def _bell(rng: np.random.Generator, t: Floats) -> Floats:
    """A telephone's bell."""
    base_hz = rng.uniform(500, 2000)
    parts = [
        level * np.sin(2 * np.pi * base_hz * ratio * t)
        for ratio, level in ((1, 1.0), (2, 0.4), (3, 0.3), (5.4, 0.2))
    ]
    return np.asarray(np.sum(parts, axis=0) * np.exp(-t / 0.2))


def _voice(rng: np.random.Generator, t: Floats) -> Floats:
    """One syllable: harmonics of a gliding pitch, three formants."""
    sway = 0.15 * np.sin(2 * np.pi * rng.uniform(1, 3) * t + rng.uniform(0, 6))
    pitch_hz = rng.uniform(95, 230) * (1 + sway)
    turns = np.cumsum(pitch_hz) * (t[1] - t[0])
    formants_hz = rng.uniform([300, 900, 2200], [800, 2200, 3200])
    sound = np.zeros(len(t))
    for k in range(1, 35):
        off = (k * pitch_hz.mean() - formants_hz) / 90
        sound += float(np.sum(np.array([1, 0.5, 0.3]) / (1 + off**2))) * np.sin(2 * np.pi * k * turns)
    return _shaped(sound, t, length_s=rng.uniform(0.2, 0.7))


def _whistle(rng: np.random.Generator, t: Floats) -> Floats:
    """One gliding tone and a little of its double."""
    turns = np.cumsum(rng.uniform(900, 2500) * (1 + 0.1 * t)) * (t[1] - t[0])
    return _shaped(np.sin(2 * np.pi * turns) + 0.1 * np.sin(4 * np.pi * turns), t, length_s=0.5)


def _beep(rng: np.random.Generator, t: Floats) -> Floats:
    """Three short square waves."""
    return np.asarray(np.sign(np.sin(2 * np.pi * rng.uniform(1800, 4000) * t)) * (t % 0.2 < 0.12) * (t < 0.6))


def _clicks(rng: np.random.Generator, t: Floats) -> Floats:
    """Chips that hit a guard."""
    sound = np.zeros(len(t))
    for at in rng.integers(0, len(t) // 2, 30):
        sound[at : at + 60] += rng.uniform(0.3, 1) * rng.normal(size=60)
    return sound


def _squeal(rng: np.random.Generator, t: Floats) -> Floats:
    """A wavering tone with multiples and side tones, as a slide that sticks and slips."""
    turns = rng.uniform(1500, 4000) * t + rng.uniform(1, 4) * np.sin(2 * np.pi * rng.uniform(20, 60) * t) / 6
    parts = [np.sin(2 * np.pi * k * turns) / k for k in (1, 2, 3)]
    return _shaped(np.sum(parts, axis=0), t, length_s=0.4)


def _shaped(sound: Floats, t: Floats, *, length_s: float) -> Floats:
    """Let it swell and end within some hundredths of a second."""
    return np.asarray(sound * np.clip(np.minimum(t, length_s - t) / 0.03, 0, 1))


_MAKERS = dict(
    zip(SOUNDS, (_knock, _clap, _ring, _bell, _voice, _whistle, _beep, _clicks, _squeal), strict=True)
)
