"""Tones of a known level, and what `chatter noise` told about them."""

import json

import numpy as np

RATE_HZ = 48_000


def sine(frequency_hz, rms, seconds=5.0, rate_hz=RATE_HZ):
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    return rms * np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * t)


def told(ran):
    assert (ran.code, ran.err) == (0, "")
    return json.loads(ran.out)
