"""Period doubling or run-out: what cuts of two depths at one speed tell that one alone can't.

In: speed, depth and the level at odd halves of the tooth-passing frequency, of each cut with even flutes.
Out: which cuts double their period, and in which the halves are run-out.
Why: run-out gives each tooth its share of the chip at any depth, so the halves keep their place beside the
other orders (linear in depth, common practice). A doubled period is not there below the limit and loud above.
Source: period doubling in milling, P. V. Bayly and others, J. Manuf. Sci. Eng. 125 (2003) 217 to 225, and
T. Insperger and others, J. Sound Vib. 262 (2003) 333 to 345 (both from memory); thresholds are our own.
Leaves out: odd flutes, whose halves lie off the comb and are heard as any chatter.
"""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from chatter.advice.near import are_one_speed

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Told = Literal["doubling", "run-out"]

LIGHTER, MUCH_LIGHTER = 0.7, 0.5  # shares of the deeper cut's depth
# Of the halves from a lighter cut to one that doubles. At 6 dB one cut in five that were told so really
# doubled, at 16 dB none of 155 stable ones was told so (docs/next.md).
LEAST_RISE_DB = 16.0
MOST_RISE_DB = 3.0  # what run-out may differ by over twice the depth; simulated cuts: 2 dB


def compare_halves(
    speeds_rpm: Floats, *, depths_mm: Floats, halves_db: Floats, chattering: Flags
) -> tuple[Told | None, ...]:
    """Compare each cut with the lighter ones at its speed.

    Parameters
    ----------
    speeds_rpm, depths_mm
        Shape (n,), true speeds.
    halves_db
        Shape (n,); NaN where not known.
    chattering
        Shape (n,), cuts heard to chatter otherwise; they are neither told nor compared with.

    Returns
    -------
    tuple
        For each cut "doubling" where the halves rose by 16 dB or more from a cut of at most 0.7 times its
        depth; "run-out" where they did not change by more than 3 dB from or to a cut of at most half or at
        least twice its depth, and nothing at this speed doubles; None else.
    """
    known = np.isfinite(halves_db) & np.isfinite(depths_mm) & ~chattering
    near = are_one_speed(speeds_rpm[:, None], speeds_rpm[None, :])
    compared = near & known[:, None] & known[None, :]
    share = depths_mm[None, :] / depths_mm[:, None]  # of the lighter one, along the second axis
    rise_db = halves_db[:, None] - halves_db[None, :]
    doubles = compared & (share <= LIGHTER) & (rise_db >= LEAST_RISE_DB)
    alike = compared & (share <= MUCH_LIGHTER) & (np.abs(rise_db) <= MOST_RISE_DB)
    doubling: Flags = np.any(doubles, axis=1)
    steady: Flags = np.any(alike, axis=1) | np.any(alike, axis=0)
    spoilt: Flags = np.any(near[:, doubling], axis=1)
    return tuple(
        "doubling" if one else "run-out" if two and not three else None
        for one, two, three in zip(doubling, steady, spoilt, strict=True)
    )
