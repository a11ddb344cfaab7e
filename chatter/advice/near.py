"""Whether two speeds count as one: the same whichever of them is named first.

In: speeds in rev/min. Out: how far they lie apart, as a share of the slower one.
Leaves out: whether speeds are true ones or dialled.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from chatter.model.notebook import SAME_SPEED

ONE_SPEED = SAME_SPEED * (1 + 1e-9)  # rounding: 10,100 rpm lies 1 % above 10,000


def speeds_apart(rpm: ArrayLike, other_rpm: ArrayLike) -> NDArray[np.float64]:
    """Give how far two speeds lie apart, as a share of the slower one.

    >>> float(speeds_apart(10_000.0, 12_000.0)), float(speeds_apart(12_000.0, 10_000.0))
    (0.2, 0.2)
    """
    one, other = np.asarray(rpm, dtype=np.float64), np.asarray(other_rpm, dtype=np.float64)
    return np.maximum(one / other, other / one) - 1


def are_one_speed(rpm: ArrayLike, other_rpm: ArrayLike) -> NDArray[np.bool_]:
    """Say which of the speeds count as one: within 1 %, the edge included."""
    return np.asarray(speeds_apart(rpm, other_rpm) <= ONE_SPEED)
