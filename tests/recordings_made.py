"""Sounds made in tests and benchmarks, as the recordings that the pipelines take."""

import numpy as np

from chatter.model import Recording


def as_recording(samples, *, rate_hz):
    """Give a recording of whole bandwidth; shape (n,) or (channels, n)."""
    return Recording(
        file="made.wav",
        sha256="0" * 64,
        samples=np.atleast_2d(np.asarray(samples, dtype=np.float32)),
        rate_hz=float(rate_hz),
        bandwidth_hz=rate_hz / 2,
    )
