"""Clipping: how much of a sound was cut off at full scale.

In: one channel. Out: a share of its samples.
Method: a clipped wave comes up steeply and then stands still for some samples at full scale; a peak that only
touches full scale is round. Noise has no tops that long; clipped, its samples pile up on one value instead.
Codecs bend flat tops and overshoot full scale.
Source: common practice; numbers are our own, each on its line.
Leaves out: sound that an analogue stage cut off below full scale.
"""

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
FULL = 0.98  # of full scale: recorders stop a little below
LEAST_RUN = 3  # equal samples in a row
# The top of a rounded parabola is 3 or more equal samples wide where it bends by up to 1.5 steps in half of
# that; a sample further on it has fallen by at most 4 times as much, 6 steps.
ROUND_STEPS = 8.0
# Own choice: a sine's top value, rounded to steps, holds 1.4 times as many samples as the next one, by
# sqrt(1/2) / (sqrt(3/2) - sqrt(1/2)); noise cut off at 2 to 3.5 standard deviations a hundred times.
PILED = 5.0
LEAST_PILED = 10  # samples: fewer meet there by chance
BELOW_TOP = 0.01  # of full scale: where the next values are looked for
OVERSHOOT = 1.02  # a sine at full scale comes out of AAC below it (test_clipping.py)


def flat_share(channel: Samples) -> float:
    """Give the share of samples that stand in flat tops at full scale.

    Parameters
    ----------
    channel
        Shape (n,), full scale 1.
    """
    near = np.flatnonzero(np.abs(channel) >= FULL)
    if len(near) < LEAST_RUN:
        return 0.0
    value = channel[near]
    follows = (np.diff(near) == 1) & (np.diff(value) == 0)
    ends = np.flatnonzero(np.concatenate([~follows, [True]]))
    starts = np.concatenate([[0], ends[:-1] + 1])
    length = ends - starts + 1
    runs = length >= LEAST_RUN
    first, last, height = near[starts[runs]], near[ends[runs]], value[starts[runs]]
    before = np.where(first > 0, channel[np.maximum(first - 1, 0)], 0.0)
    after = np.where(last < len(channel) - 1, channel[np.minimum(last + 1, len(channel) - 1)], 0.0)
    coarse = not np.any(np.concatenate([before, after, height]) * 128 % 1)
    steps = 2.0**-7 if coarse else 2.0**-15  # 8 or 16 bits
    fall = np.maximum(np.abs(height - before), np.abs(height - after))
    return float(length[runs][fall > ROUND_STEPS * steps].sum() / len(channel))


def piled_share(channel: Samples) -> float:
    """Give the share of samples that stand on the very highest or lowest value, where they pile up there.

    Parameters
    ----------
    channel
        Shape (n,), full scale 1.
    """
    return (_piled(channel) + _piled(-channel)) / max(1, len(channel))


def _piled(channel: Samples) -> int:
    """Give how many samples stand on the highest value, at full scale, if the next ones hold far fewer."""
    top = channel.max(initial=0.0)
    count = int(np.count_nonzero(channel == top))
    if top < FULL or count < LEAST_PILED:
        return 0
    near = channel[(channel < top) & (channel >= top - BELOW_TOP)]
    if len(near) == 0:  # a few values that come again and again, as of a tone in step with the rate
        return 0
    return count if count > PILED * np.unique(near, return_counts=True)[1].max() else 0


def overshoot_share(channel: Samples) -> float:
    """Give the share of samples that a codec put beyond full scale. `channel` has shape (n,)."""
    return float(np.mean(np.abs(channel) > OVERSHOOT))
