"""The loud part of a sound: where the machine works, told from the level alone.

In: A-weighted energies of a millisecond. Out: a `LoudPart` re digital full-scale rms.
Method: mean levels of a tenth of a second. The loud level is the one reached for a second in all (half a
percent of a long sound); what lies within 10 dB of it is loud, and so are short pauses between.
Source: common practice; the numbers are our own, held by tests/unit/noise/test_loud.py.
Leaves out: what made the sound. Talk as loud as the cut counts, and a spindle that idles within 10 dB of it.
"""

import math

import numpy as np
from numpy.typing import NDArray

from chatter.model.noise import LoudPart

STEP_S = 0.1  # own choice: a short knock is lost in it, and eight hours are 288,000 of them
LOUD_FOR_S, LOUD_SHARE = 1.0, 0.005  # own choice: longer than knocks, shorter than a cut
WITHIN_DB = 10.0  # own choice: a cut's own ups and downs stay within, an idle machine mostly below
EVEN_DB = 3.0  # own choice: what lies lower for seconds may be no cut
PAUSE_S = 2.0  # own choice: a tool that turns round stays away for less, and idling lasts longer
LEAST_POWER = 1e-18  # own choice: -180 dB is rounding
ROUNDING_DB = 0.05  # a smaller gain is none

Floats = NDArray[np.float64]


class LevelHistory:
    """Mean A-weighted powers of tenths of a second, from block to block: 8 bytes each."""

    def __init__(self, hop_s: float) -> None:
        self._hops = max(1, round(STEP_S / hop_s))
        self._step_s = self._hops * hop_s
        self._rest = np.zeros(0)
        self._steps: list[Floats] = []

    def add(self, power: Floats) -> None:
        """Take the mean powers of the next hops."""
        waiting = np.concatenate([self._rest, power])
        whole = len(waiting) // self._hops
        self._steps.append(waiting[: whole * self._hops].reshape(whole, self._hops).mean(axis=1))
        self._rest = waiting[whole * self._hops :].copy()

    def finish(self, *, aeq_db: float | None) -> LoudPart | None:
        """Give the loud part of everything that was added, whose mean level is `aeq_db`."""
        steps = np.concatenate([*self._steps, np.zeros(0)])
        return None if aeq_db is None else find_loud_part(steps, step_s=self._step_s, aeq_db=aeq_db)


def find_loud_part(steps: Floats, *, step_s: float, aeq_db: float) -> LoudPart | None:
    """Find where a sound is loud, and its mean level there.

    Parameters
    ----------
    steps
        Shape (n,), mean A-weighted powers of equal, consecutive steps; full-scale rms is 1.
    step_s
        Length of a step, s.
    aeq_db
        Mean level of the whole, dB.

    Returns
    -------
    LoudPart or None
        None without a whole step of sound.
    """
    sounding = steps[steps > LEAST_POWER]
    if not len(sounding):
        return None
    rank = max(round(LOUD_FOR_S / step_s), math.ceil(LOUD_SHARE * len(steps)))
    rank = min(rank, math.ceil(len(sounding) / 2))
    loud = float(np.partition(sounding, -rank)[-rank])
    begins, ends = _stretches(steps >= loud * 10 ** (-WITHIN_DB / 10), step_s=step_s)
    mean_db = _mean_db(steps, begins, ends)
    louder_db = _mean_db(steps, *_stretches(steps >= loud * 10 ** (-EVEN_DB / 10), step_s=step_s))
    gain_db = mean_db - aeq_db
    return LoudPart(
        LAeq_db=aeq_db + gain_db if gain_db >= ROUNDING_DB else aeq_db,
        start_s=float(begins[0] * step_s),
        end_s=float(ends[-1] * step_s),
        seconds=float((ends - begins).sum() * step_s),
        stretches=len(begins),
        louder_by_db=max(0.0, louder_db - mean_db),
    )


def _stretches(loud: NDArray[np.bool_], *, step_s: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give the first steps of stretches, and those after their last; short pauses belong to them."""
    at = np.flatnonzero(loud)
    parted = np.flatnonzero(np.diff(at) > round(PAUSE_S / step_s))
    return at[np.concatenate([[0], parted + 1])], at[np.concatenate([parted, [len(at) - 1]])] + 1


def _mean_db(steps: Floats, begins: NDArray[np.int64], ends: NDArray[np.int64]) -> float:
    """Give the level of the mean power of stretches."""
    energy = sum(float(steps[begin:end].sum()) for begin, end in zip(begins, ends, strict=True))
    return 10 * math.log10(energy / float((ends - begins).sum()))
