"""Recordings whose samples bear no verdict: too faint for their steps, or cut off at full scale.

In: the channel and its cuts. Out: a finding that says what to do, or None.
Source: common practice; thresholds are our own.
Leaves out: what a little clipping does (chatter/audio tells of it).
"""

import numpy as np
from numpy.typing import NDArray

from chatter.cut.study import StudiedCut
from chatter.model import Finding

FAINT_STEPS = 16.0  # of the loudest sample: the noise of so few sounds like chatter's; own choice
COARSEST_STEP = 2.0**-7  # of 8 bits, the fewest that a recorder has
STEP_OFF = 1e-3  # of a step, by which samples may lie off it
FAINT = Finding(
    code="faint",
    severity="warning",
    message="The recording is so faint that its steps of loudness hide what the cut did: record again, the "
    "phone nearer, behind the guard, or its gain up.",
)
OVERDRIVEN_SHARE = 0.5  # own choice: with seven tenths of it at full scale every second verdict is wrong
TOP = 0.999  # of the highest and of the lowest sample
OVERDRIVEN = Finding(
    code="overdriven",
    severity="warning",
    message="More than half of a cut is cut off at full scale, so nothing is told: record again, the phone "
    "farther away or its gain down.",
)


def find_spoilt(
    samples: NDArray[np.float32], studied: tuple[StudiedCut, ...], *, rate_hz: float
) -> Finding | None:
    """Say why the samples of a recording bear no verdict; None where they do.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    studied
        Its cuts.
    rate_hz
        Sample rate.
    """
    if _is_faint(samples):
        return FAINT
    for cut in studied:
        part = samples[int(cut.steady_start_s * rate_hz) : int(cut.steady_end_s * rate_hz)]
        high, low = float(part.max()), float(part.min())
        if np.count_nonzero((part >= TOP * high) | (part <= TOP * low)) > OVERDRIVEN_SHARE * len(part):
            return OVERDRIVEN
    return None


def _is_faint(samples: NDArray[np.float32]) -> bool:
    """Say whether a recording has no more than a few steps of loudness, whatever its number of bits."""
    peak = max(float(samples.max()), -float(samples.min()))
    if peak >= FAINT_STEPS * COARSEST_STEP:  # most recordings end here, without a copy of them
        return False
    loud = np.abs(samples[samples != 0])
    if len(loud) == 0 or peak >= FAINT_STEPS * loud.min():
        return False
    steps = loud / loud.min()
    return bool(np.abs(steps - np.round(steps)).max() < STEP_OFF)
