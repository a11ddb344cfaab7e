"""Runs of True along time.

In: flags. Out: where each run begins and ends.
Source: common practice.
Leaves out: what the flags mean.
"""

import numpy as np
from numpy.typing import NDArray


def find_runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Give start and end (exclusive) of each run of True.

    Parameters
    ----------
    flags
        Shape (n,).

    Examples
    --------
    >>> find_runs(np.array([True, False, True, True]))
    [(0, 1), (2, 4)]
    """
    change = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(change[::2], change[1::2], strict=True)]
