"""Sounds of a school's workshop: a panel of many modes, a room of walls, noises, a phone with a limiter.

In: forces, samples, a source of random numbers. Out: samples.
Written apart from chatter/simulate/phone.py, so that what is fitted there can be checked on another kind.
Source: image sources in a rectangular room, J. B. Allen and D. A. Berkley, J. Acoust. Soc. Am. 65 (1979) 943;
a cascade of formants, D. H. Klatt, J. Acoust. Soc. Am. 67 (1980) 971; a spectral gate after S. F. Boll, IEEE
Trans. ASSP 27 (1979) 113. Levels are free: nothing here is calibrated.
Leaves out: how sound is scattered and swallowed differently at each frequency.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Floats = NDArray[np.float64]
SOUND_M_S = 343.0  # at 20 °C; textbook
PANEL_MODES = 36
FAINT = 1e-12  # keeps filters off numbers too small to be quick
VOWELS_HZ = (
    (730, 1090, 2440),
    (270, 2290, 3010),
    (300, 870, 2240),
    (530, 1840, 2480),
)  # Peterson, Barney 1952


def unit(samples: Floats) -> Floats:
    """Bring samples to unit rms."""
    return np.asarray(samples / (np.sqrt(np.mean(samples**2)) + 1e-30))


def panel_acceleration(force: Floats, rng: np.random.Generator, *, rate_hz: float) -> Floats:
    """Give how the clamped work and its table shake: the sum of many modes' acceleration."""
    kick = np.diff(force, prepend=force[0], n=2, append=force[-1]) + FAINT * np.std(force) * rng.normal(
        size=len(force)
    )
    total = np.zeros(len(force))
    for hz in np.exp(rng.uniform(np.log(150), np.log(9000), PANEL_MODES)):
        angle = 2 * np.pi * hz / rate_hz
        radius = np.exp(-float(rng.uniform(0.012, 0.05)) * angle)
        gain = rng.normal() / hz  # wider modes lie higher: about the same share for each octave
        total += gain * signal.lfilter([1.0], [1, -2 * radius * np.cos(angle), radius**2], kick)
    return total


def room_response(rng: np.random.Generator, *, rate_hz: float, reach_m: tuple[float, float]) -> Floats:
    """Give the echoes of a room with flat walls, from a source to a phone at a distance in a range."""
    size = np.array([rng.uniform(4, 9), rng.uniform(3, 7), rng.uniform(2.4, 3.4)])
    reflects = float(rng.uniform(0.55, 0.85))
    phone = size * rng.uniform(0.3, 0.7, 3)
    away = rng.normal(size=3)
    source = phone + away / np.linalg.norm(away) * rng.uniform(*reach_m)
    source = np.clip(source, 0.15, size - 0.15)
    order = np.arange(-5, 6)
    cells = np.array(np.meshgrid(order, order, order, indexing="ij")).reshape(3, -1).T
    response = np.zeros(int(0.45 * rate_hz))
    for flip in np.array(np.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij")).reshape(3, -1).T:
        places = (1 - 2 * flip) * source + 2 * cells * size
        distance = np.maximum(0.1, np.linalg.norm(places - phone, axis=1))
        bounces = np.abs(cells - flip).sum(axis=1) + np.abs(cells).sum(axis=1)
        at = distance / SOUND_M_S * rate_hz
        whole = at.astype(np.int64)
        strength = reflects**bounces / distance
        inside = whole < len(response) - 1
        np.add.at(response, whole[inside], (strength * (1 - at + whole))[inside])
        np.add.at(response, whole[inside] + 1, (strength * (at - whole))[inside])
    first = int(np.flatnonzero(response)[0])
    return response[first:]  # times count from the first arrival


def in_walls(samples: Floats, response: Floats) -> Floats:
    """Let samples sound in a room; same length."""
    return np.asarray(signal.oaconvolve(samples, response)[: len(samples)])


def belt_fan(rng: np.random.Generator, count: int, *, rate_hz: float) -> Floats:
    """Give a fan on a belt: mains harmonics, the belt's slap, and some rush of air."""
    t = np.arange(count) / rate_hz
    mains_hz = float(rng.choice([50.0, 60.0])) * (1 + rng.normal() * 3e-4)
    hum = sum(
        rng.uniform(0.1, 1) * (2.0 if k % 2 == 0 else 0.6) / k * np.sin(2 * np.pi * k * mains_hz * t + k)
        for k in range(1, 17)
    )
    slap_hz = rng.uniform(6, 14)
    slap = np.maximum(0, np.sin(2 * np.pi * slap_hz * t + np.cumsum(rng.normal(size=count)) * 2e-3)) ** 12
    rush = signal.lfilter([0.05], [1, -0.95], rng.normal(size=count))
    return unit(unit(np.asarray(hum)) + rng.uniform(0.3, 1) * unit(slap * rush) + 0.7 * unit(rush))


def second_machine(rng: np.random.Generator, count: int, *, rate_hz: float) -> Floats:
    """Give another mill: its own comb, uneven teeth, chips; it may begin or end a cut while this one runs."""
    t = np.arange(count) / rate_hz
    turn_hz = float(np.exp(rng.uniform(np.log(500), np.log(12_000)))) / 60
    flutes = int(rng.integers(2, 7))
    knots = np.arange(0, t[-1] + 1, 0.5)
    wander = np.interp(t, knots, rng.normal(size=len(knots)))
    phase = 2 * np.pi * np.cumsum(turn_hz * (1 + 4e-4 * wander)) / rate_hz
    comb = np.zeros(count)
    for k in range(1, int(min(6000, 60 * turn_hz) / turn_hz)):
        size = (1.0 if k % flutes == 0 else 0.15) * rng.uniform(0.2, 1) / (1 + k * turn_hz / 1500)
        comb += size * np.sin(k * phase + rng.uniform(0, 6))
    chips = signal.lfilter([0.2], [1, -0.8], rng.normal(size=count))
    sound = unit(comb) + 0.5 * unit(chips)
    if rng.random() < 0.3:
        change = rng.uniform(0.2, 0.8) * t[-1]
        side = 1.0 if rng.random() < 0.5 else -1.0
        sound = sound * (0.3 + 0.7 / (1 + np.exp(-side * (t - change) / 0.2)))
    return unit(sound)


def speech(rng: np.random.Generator, count: int, *, rate_hz: float) -> Floats:
    """Give someone talking: vowels from pulses through three formants, hissed consonants, pauses."""
    out = np.zeros(count)
    at = int(rng.uniform(0, 0.5) * rate_hz)
    pitch_hz = rng.uniform(95, 220)
    while at < count - int(0.4 * rate_hz):
        hiss = int(rng.uniform(0.04, 0.12) * rate_hz)
        low = rng.uniform(1800, 4500)
        sos = signal.butter(2, [low, min(1.7 * low, 0.45 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
        out[at : at + hiss] += 0.5 * unit(signal.sosfilt(sos, rng.normal(size=hiss))) * np.hanning(hiss)
        at += int(0.7 * hiss)
        length = int(rng.uniform(0.1, 0.28) * rate_hz)
        glide = np.linspace(rng.uniform(0.9, 1.15), rng.uniform(0.85, 1.1), length)
        turns = np.cumsum(pitch_hz * glide) / rate_hz
        vowel = np.diff(np.floor(turns), prepend=0.0)
        for hz in VOWELS_HZ[int(rng.integers(len(VOWELS_HZ)))]:
            angle, radius = 2 * np.pi * hz / rate_hz, np.exp(-np.pi * rng.uniform(60, 140) / rate_hz)
            vowel = signal.lfilter([1.0], [1, -2 * radius * np.cos(angle), radius**2], vowel)
        end = min(count, at + length)
        out[at:end] += (unit(np.diff(vowel, prepend=0.0)) * np.hanning(length))[: end - at]
        at = end + (int(rng.uniform(0.2, 0.9) * rate_hz) if rng.random() < 0.2 else 0)
    return unit(out)


def bumps(rng: np.random.Generator, count: int, *, rate_hz: float) -> Floats:
    """Give steps and dropped things; unit rms where they sound."""
    out = np.zeros(count)
    length = int(0.4 * rate_hz)
    t = np.arange(length) / rate_hz
    for start in rng.integers(0, max(1, count - length), size=int(rng.integers(2, 7))):
        thud = np.sin(2 * np.pi * rng.uniform(50, 140) * t) * np.exp(-t / rng.uniform(0.03, 0.08))
        clang_hz = rng.uniform(700, 4000)
        clang = np.sin(2 * np.pi * clang_hz * t) * np.exp(-t / rng.uniform(0.01, 0.08)) * rng.uniform(0, 0.6)
        out[start : start + length] += rng.uniform(0.3, 1) * (thud + clang)
    loud = np.abs(out) > 0.05 * np.abs(out).max()
    return np.asarray(out / np.sqrt(np.mean(out[loud] ** 2)))


def air_blast(rng: np.random.Generator, count: int, *, rate_hz: float) -> Floats:
    """Give an air nozzle: white towards high tones, fluttering."""
    hiss = np.diff(rng.normal(size=count + 1)) + 0.4 * rng.normal(size=count)
    flutter = 1 + 0.3 * unit(signal.lfilter([1e-3], [1, -0.999], rng.normal(size=count)))
    sos = signal.butter(1, 0.3 * rate_hz, fs=rate_hz, output="sos")
    return unit(signal.sosfilt(sos, hiss) * flutter)


def limiter(samples: Floats, *, rate_hz: float, lift: float, release_s: float) -> Floats:
    """Lift quiet sound and hold loud sound at full scale: at once down, slowly up again."""
    block = int(0.005 * rate_hz)
    peak = np.maximum.reduceat(np.abs(samples), np.arange(0, len(samples), block)) + 1e-9
    allowed = np.minimum(lift, 0.8 * np.abs(samples).max() / peak)
    gain = np.empty_like(allowed)
    now = allowed[0]
    rise = np.exp(block / (release_s * rate_hz))
    for i, most in enumerate(allowed):
        now = min(most, now * rise)
        gain[i] = now
    return np.asarray(samples * np.interp(np.arange(len(samples)), np.arange(len(gain)) * block, gain))


def spectral_gate(samples: Floats, *, rate_hz: float, floor: float) -> Floats:
    """Take out what sounded in the first second, as a phone's noise suppression does."""
    size = 1024
    _, times, bins = signal.stft(samples, rate_hz, nperseg=size)
    power = np.abs(bins) ** 2
    smooth = signal.lfilter([0.3], [1, -0.7], power, axis=1)
    noise = 2.0 * smooth[:, (times > 0.1) & (times < 1.0)].mean(axis=1, keepdims=True)
    gain = np.maximum(floor, 1 - noise / (smooth + 1e-20))
    _, out = signal.istft(bins * gain, rate_hz, nperseg=size)
    return np.asarray(out[: len(samples)], dtype=np.float64)
