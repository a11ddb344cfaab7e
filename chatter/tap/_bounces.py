"""Second hits within a few hundredths of a second, told apart from echoes.

In: what a predictor can't foretell, hop by hop, and the blows found in it. Out: the blows hit twice,
and those that are echoes.
Method: a second hit rises again out of what is left of the first. So does an echo, but an echo comes as late
after every tap, and no hand or mallet bounces so evenly: what most other taps have as well is an echo.
Source: thresholds are our own, each on its line.
Leaves out: a single tap (its echoes can't be told), and later bounces (they are blows by themselves).
"""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]

REACH_S = (0.004, 0.06)  # after the first hit; sooner, the fit begins later (starts.py)
FIRST_S = 0.003  # in which the first hit is at its loudest
VALLEY_S = 0.003  # before the second hit, in which less was new
RISE_DB = 9.0  # out of the valley
SOFTEST_DB = 14.0  # below the first hit: softer ones change the damping by less than its limit of 15 %
ECHO_SOFTER_DB = 6.0  # than that it may be after another tap: the click differs from blow to blow
ALIKE_S = 0.0006  # between the delays of one echo: a hop, and what rounding adds
APART_S = 0.2  # two blows nearer than this are one tap
MOST_NEAR = 3  # blows within that time of one: more may be teeth, which come evenly, too


def find_bounces(fresh: Floats, *, blows: list[int], hop_s: float, least: float) -> tuple[set[int], set[int]]:
    """Give the blows that a second hit followed too soon to be a blow of its own, and those that are echoes.

    Parameters
    ----------
    fresh
        Shape (n,), mean square of each hop of what is not foretold.
    blows
        Hops of the blows, rising.
    hop_s
        Length of a hop, s.
    least
        Mean square that a second hit must have.
    """
    delays = {at: _delays_s(fresh, at, hop_s=hop_s, least=least, softest_db=SOFTEST_DB) for at in blows}
    softer_db = SOFTEST_DB + ECHO_SOFTER_DB
    known = {at: _delays_s(fresh, at, hop_s=hop_s, least=least, softest_db=softer_db) for at in blows}
    twice: set[int] = set()
    echoes: set[int] = set()
    for at in blows:
        others = [known[other] for other in blows if abs(other - at) * hop_s > APART_S]
        near = sum(abs(other - at) * hop_s <= APART_S for other in blows)
        if not others or near > MOST_NEAR:
            continue
        twice |= {at} if any(not _is_echo(one, others, hop_s=hop_s) for one in delays[at]) else set()
        echoes |= {
            other
            for other in blows
            if 0 < (other - at) * hop_s < REACH_S[1] and _is_echo((other - at) * hop_s, others, hop_s=hop_s)
        }
    return twice, echoes


def _is_echo(delay_s: float, others: list[Floats], *, hop_s: float) -> bool:
    """Say whether something as late follows at least half of the other taps."""
    reach_s = 1.01 * max(ALIKE_S, hop_s)
    alike = sum(bool((np.abs(other - delay_s) <= reach_s).any()) for other in others)
    return 2 * alike >= len(others)


def _delays_s(fresh: Floats, at: int, *, hop_s: float, least: float, softest_db: float) -> Floats:
    """Give how long after a blow something new begins that is no more than `softest_db` below it."""
    begin, end = (round(one / hop_s) for one in REACH_S)
    part = fresh[at : at + end]
    top = float(part[: max(1, round(FIRST_S / hop_s))].max())
    width = max(2, round(VALLEY_S / hop_s))
    valley = ndimage.maximum_filter1d(part, width, origin=(width - 1) // 2, mode="nearest")
    before = np.concatenate((np.full(2, np.inf), valley[:-2]))[: part.size]
    over = (part > before * 10 ** (RISE_DB / 10)) & (part > top * 10 ** (-softest_db / 10)) & (part > least)
    later = np.flatnonzero(over)
    return np.asarray(later[later >= begin] * hop_s)
