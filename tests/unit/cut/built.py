"""Built recordings whose answer we chose: a comb, with or without a line off it, between idle parts."""

import numpy as np

from chatter.cut.spindle import Speed
from chatter.model import CutSetup, Recording

RATE_HZ = 16_000
SETUP = CutSetup(rpm=6000, flutes=2)


def recording(samples):
    sound = np.atleast_2d(np.asarray(samples, dtype=np.float32))
    return Recording(
        file="built.wav", sha256="0" * 64, samples=sound, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2
    )


def built_cut(rng, *, rpm=5940.0, cuts=((2.0, 4.5),), chatter_hz=None, lone_hz=None, seconds=7.0):
    """Give samples with idle noise throughout and tooth passing (2 flutes) inside each cut."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    turn_hz = rpm / 60
    cutting = sum(np.sin(2 * np.pi * 2 * k * turn_hz * t + k) / k for k in range(1, 12))
    cutting = cutting + 0.15 * rng.normal(size=len(t))
    if chatter_hz is not None:
        for k in (-4, -2, 0, 2, 4):
            cutting = cutting + (0.8 if k == 0 else 0.2) * np.sin(2 * np.pi * (chatter_hz + k * turn_hz) * t)
    if lone_hz is not None:
        cutting = cutting + 0.5 * np.sin(2 * np.pi * lone_hz * t)
    sound = 0.02 * rng.normal(size=len(t))
    for start_s, end_s in cuts:
        inside = (t >= start_s) & (t < end_s)
        sound = sound + 0.1 * np.where(inside, cutting, 0.0)
    return sound


def even_speed(turn_hz):
    """Give the speed of a spindle that turns evenly and was found beyond doubt."""
    return Speed(
        rotation_hz=turn_hz,
        sd_hz=0.001,
        times_s=np.zeros(1),
        track_hz=np.full(1, turn_hz),
        score=100.0,
        z=20.0,
        found=True,
    )
