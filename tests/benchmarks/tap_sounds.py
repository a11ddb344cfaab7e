"""Made tap recordings whose modes were chosen: sounds for tests and for tests/benchmarks/taps.py.

A tap is a click of 1 ms (noise under half a sine) and modes that ring from its start; the phone cuts below
80 Hz (second-order Butterworth, as the simulated phone of chatter/simulate); noise is white. A room is a
direct sound and an exponentially decaying noise tail from 3 ms on, with a chosen ratio of their energies; a
shoebox is a rectangular room by image sources, from pyroomacoustics, a general-purpose library.
"""

import numpy as np
from scipy import signal

RATE_HZ = 48_000


def ring(modes, count, rate_hz=RATE_HZ):
    """Sum modes (Hz, damping ratio, amplitude, phase) that start at 0; Hz without damping."""
    t = np.arange(count) / rate_hz
    total = np.zeros(count)
    for hz, damping, amplitude, phase in modes:
        omega = 2 * np.pi * hz
        total += (
            amplitude * np.exp(-damping * omega * t) * np.sin(omega * np.sqrt(1 - damping**2) * t + phase)
        )
    return total


def room(rng, *, decay_s, direct_to_reverberant_db, rate_hz=RATE_HZ):
    """Give an impulse response: a direct sound of 1 and a tail that falls by 60 dB in `decay_s`."""
    count = int(1.3 * decay_s * rate_hz)
    tail = rng.normal(size=count) * 10 ** (-3 * np.arange(count) / (decay_s * rate_hz))
    tail[: int(0.003 * rate_hz)] = 0
    tail *= 10 ** (-direct_to_reverberant_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return tail


def shoebox(rng, *, decay_s, direct_to_reverberant_db, rate_hz=RATE_HZ):
    """Give an impulse response, direct sound 1, of a rectangular room, the phone as near as the ratio asks.

    How near follows from the critical distance, 0.057 sqrt(volume / decay time): H. Kuttruff, Room Acoustics.
    """
    import pyroomacoustics

    while True:
        size_m = np.array([rng.uniform(3, 7), rng.uniform(2.6, 5), rng.uniform(2.3, 3.2)])
        try:
            absorption, order = pyroomacoustics.inverse_sabine(decay_s, size_m)
        except ValueError:  # so large that not even bare air dies away so fast
            continue
        source_m = np.array([rng.uniform(0.8, size_m[0] - 0.8), rng.uniform(0.8, size_m[1] - 0.8), 1.1])
        away = rng.normal(size=3)
        critical_m = 0.057 * np.sqrt(size_m.prod() / decay_s)
        away *= max(0.05, critical_m * 10 ** (-direct_to_reverberant_db / 20)) / np.linalg.norm(away)
        phone_m = source_m + away
        if np.all(phone_m > 0.1) and np.all(phone_m < size_m - 0.1):
            break
    pyroomacoustics.random.seed(int(rng.integers(2**31)))
    walls = pyroomacoustics.Material(absorption)
    house = pyroomacoustics.ShoeBox(
        size_m, fs=rate_hz, materials=walls, max_order=min(order, 45), use_rand_ism=True, max_rand_disp=0.05
    )
    house.add_source(source_m)
    house.add_microphone(phone_m)
    house.compute_rir()
    response = house.rir[0][0]
    direct = int(np.argmax(np.abs(response)))
    return response[max(0, direct - 20) : direct + round(1.3 * decay_s * rate_hz)] / response[direct]


def record(
    rng,
    modes,
    *,
    taps=3,
    snr_db=45.0,
    gap_s=1.5,
    click=None,
    response=None,
    rate_hz=RATE_HZ,
    strengths=None,
    lead_s=1.0,
    noise=None,
    times_s=None,
):
    """Give samples of shape (n,) at a peak of 0.5, and the times of the taps.

    `modes` are (Hz, damping ratio, level in dB). The noise lies `snr_db` below the peak of the loudest decay.
    """
    if times_s is None:
        times_s = lead_s + gap_s * np.arange(taps) + rng.uniform(-0.1, 0.1, taps)
    strengths = rng.uniform(0.6, 1.0, len(times_s)) if strengths is None else strengths
    total = np.zeros(int((times_s[-1] + gap_s) * rate_hz))
    peak = 0.0
    click = rng.uniform(0.3, 2.0) if click is None else click
    sos = signal.butter(2, 80, "highpass", fs=rate_hz, output="sos")
    signs = rng.choice([-1.0, 1.0], len(modes))  # where it was struck and heard: the same for all taps
    for time_s, strength in zip(times_s, strengths, strict=True):
        at = round(time_s * rate_hz)
        count = len(total) - at
        parts = [
            (hz, damping, sign * 10 ** (level_db / 20), rng.uniform(-0.5, 0.5))
            for (hz, damping, level_db), sign in zip(modes, signs, strict=True)
        ]
        decay = ring(parts, count, rate_hz)
        largest = float(np.abs(decay[: int(0.1 * rate_hz)]).max()) or 1.0
        blow = np.zeros(count)
        width = round(1e-3 * rate_hz)
        burst = rng.normal(size=width) * np.sin(np.pi * (np.arange(width) + 0.5) / width)
        blow[:width] = click * largest * burst / np.abs(burst).max()
        total[at:] += strength * (decay + blow)
        peak = max(peak, strength * largest)
    if response is not None:
        total = signal.oaconvolve(total, response)[: len(total)]
    total = signal.sosfilt(sos, total)
    hiss = rng.normal(size=len(total)) if noise is None else noise(len(total))
    total = total + peak * 10 ** (-snr_db / 20) * hiss
    return 0.5 * total / np.abs(total).max(), np.asarray(times_s)


def draw_mode(rng, *, least_t60_s=0.015):
    """Draw a mode of the asked range: 150 to 3,000 Hz, 0.5 to 6 %, both even in log."""
    while True:
        hz = np.exp(rng.uniform(np.log(150), np.log(3000)))
        damping = np.exp(rng.uniform(np.log(0.005), np.log(0.06)))
        if 6.91 / (2 * np.pi * hz * damping) >= least_t60_s:
            return hz, damping
