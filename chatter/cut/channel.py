"""The channel of a recording that is judged, without what no microphone hears.

In: a recording. Out: the channel that tells most, and where it cuts; recordings without an offset.
Source: our own.
Leaves out: what is in the channel.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chatter.cut.sections import Sections, find_sections
from chatter.errors import BadValueError
from chatter.model import Recording

LEAST_OFFSET = 1e-5  # of full scale, -100 dB: less changes nothing


def without_offset(recording: Recording) -> Recording:
    """Take the mean of each channel away: a cheap recorder's offset isn't sound, but would count as power.

    What the recorder left out stays silent. The same object where there is no offset.
    """
    offsets = [_offset(samples) for samples in recording.samples]
    if max(map(abs, offsets)) < LEAST_OFFSET:
        return recording
    kept = [np.where(one != 0, one - off, 0) for one, off in zip(recording.samples, offsets, strict=True)]
    return replace(recording, samples=np.array(kept, dtype=np.float32))


def _offset(samples: NDArray[np.float32]) -> float:
    count = np.count_nonzero(samples)
    return float(np.sum(samples, dtype=np.float64)) / count if count else 0.0


def choose_channel(recording: Recording, *, rotation_hz: float) -> tuple[int, Sections]:
    """Take the channel that rises most when the tool cuts; the loudest one where none rises.

    Returns
    -------
    channel, sections
        Its number, and where it cuts.
    """
    best: tuple[tuple[float, float], int, Sections] | None = None
    for index in range(recording.channels):
        if index and np.array_equal(recording.samples[index], recording.samples[0]):
            continue
        found = find_sections(
            recording.samples[index],
            rate_hz=recording.rate_hz,
            bandwidth_hz=recording.bandwidth_hz,
            rotation_hz=rotation_hz,
        )
        value = (found.rise_db if found.cuts else -1.0, power_of(recording.samples[index]))
        if best is None or value > best[0]:
            best = (value, index, found)
    if best is None:  # a recording has at least one channel
        raise BadValueError("the number of channels", 0, "a recording with at least one channel")
    return best[1], best[2]


def power_of(samples: NDArray[np.float32]) -> float:
    """Give the mean square of a channel."""
    return float(np.mean(np.square(samples)))
