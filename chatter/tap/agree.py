"""Whether the taps of a recording are taps of one part.

In: poles fitted to all decays together. Out: the decays that ring otherwise than most.
Method: two taps agree where the loudest mode of each is heard in the other; most of the taps decide.
Source: thresholds are our own, each on its line.
Leaves out: parts that ring at the same frequencies.
"""

import numpy as np
from numpy.typing import NDArray

from chatter.model.tap import LOWEST_HZ
from chatter.tap._fit import Fit
from chatter.tap.starts import bent_poles, hasty_poles

LEAST_TO_JUDGE = 2
HEARD_DB = -15.0  # of a tap's energy has the other's loudest mode: made hands differ by 3 dB; own choice


def find_unlike(fit: Fit) -> tuple[list[int], bool]:
    """Give the decays that ring otherwise than most, and whether they disagree without a majority.

    Parameters
    ----------
    fit
        Poles shared by all decays.
    """
    hz, decay_1_s = np.exp(fit.poles[:, 0]), np.exp(fit.poles[:, 1])
    told = np.abs(fit.amplitudes) ** 2 / (4 * decay_1_s)  # (taps, p)
    for early, late in bent_poles(fit).items():
        told[:, late] += told[:, early]
        told[:, early] = 0.0
    told[:, hasty_poles(fit)] = 0.0
    told[:, hz < LOWEST_HZ] = 0.0
    taps = len(told)
    total = told.sum(axis=1)
    if taps < LEAST_TO_JUDGE or not told.size or not (total > 0).all():
        return [], False
    share = told / total[:, None]
    heard: NDArray[np.bool_] = share[:, np.argmax(share, axis=1)] > 10 ** (HEARD_DB / 10)
    agree = heard & heard.T  # row: in which tap; column: the loudest mode of which
    if agree.all():
        return [], False
    most = int(np.argmax(agree.sum(axis=1)))
    if 2 * int(agree[most].sum()) <= taps:
        return [], True
    return [int(index) for index in np.flatnonzero(~agree[most])], False
