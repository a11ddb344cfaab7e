"""Whether a part of a cut holds lines that the studied part, or the rest of the cut, lacks.

In: the channel, where the cut and the studied part of it lie. Out: another part to study; when a line began.
Method: short windows all along; lines far louder in one than in any studied window are new there.
Source: common practice; thresholds are our own.
Leaves out: the study of that part (chatter/cut/study.py), ramped passes (chatter/cut/ramp.py).
"""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.cut.spectrum import COMB_FROM_HZ
from chatter.dsp.spectra import TINY, frames_between

Floats = NDArray[np.float64]
WINDOW_S, HOP_S = 0.4, 0.2
MOST_WINDOWS = 3000  # own choice: a cut of 20 minutes takes no more memory than one of ten
SPREAD = 0.004  # of a frequency, by which a line may move with the spindle's speed along the cut
NEW_TIMES = 10.0  # a bin's power over its loudest in the studied part
NEW_SHARE = 0.03  # of a window's power, from which it holds something new
OFTEN = 0.7  # own choice: quantile of a line's power, where all of a cut was studied, that isn't new
MARGIN_S = 0.5  # kept on each side of what is new
LEAST_S = 2.0
USUAL, RARE = 0.7, 0.95  # quantiles over the steady part of a line's power
RARELY_TIMES = 10.0  # own choice: the rare power over the usual one, from which the line sounds only at times
QUARTER = 0.25  # of a line's usual power, from which it has begun


def find_new_part(
    samples: Floats,
    cut_s: tuple[float, float],
    *,
    studied_s: tuple[float, float],
    longest_s: float,
    rate_hz: float,
    top_hz: float,
) -> tuple[float, float] | None:
    """Find the part of a cut that holds most of what the studied part lacks, s.

    Where all of the cut was studied, the part that holds most of what the rest lacks.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    cut_s, studied_s
        Start and end of the cut, and of what was studied of it, s.
    longest_s
        The most that can be studied at once, s.
    rate_hz, top_hz
        Sample rate; lines above `top_hz` don't count.

    Returns
    -------
    tuple or None
        Start and end; None where all of the cut sounds alike.
    """
    times_s, hz, powers = _frames(samples, *cut_s, rate_hz=rate_hz, top_hz=top_hz)
    inside = (times_s > studied_s[0]) & (times_s < studied_s[1])
    if not inside.any():
        return None
    whole = inside[1:-1].all()  # a window at either end may be centred on the very edge
    loudest = np.quantile(powers, OFTEN, axis=0) if whole else powers[inside].max(axis=0)
    known = np.empty_like(loudest)
    reach = np.maximum(1, np.round(SPREAD * hz / hz[1])).astype(int)
    for bins in np.unique(reach):
        at = reach == bins
        known[at] = ndimage.maximum_filter1d(loudest, 2 * int(bins) + 1, mode="nearest")[at]
    counts = hz > COMB_FROM_HZ
    new = np.where((powers > NEW_TIMES * known) & counts, powers, 0.0).sum(axis=1)
    share = new / np.maximum(powers[:, counts].sum(axis=1), TINY)
    is_new = share > NEW_SHARE
    if not is_new.any():
        return None
    width = max(1, round((longest_s - 2 * MARGIN_S) / float(times_s[1] - times_s[0])))
    total = np.convolve(is_new, np.ones(width), mode="full")[width - 1 :]
    first = int(np.argmax(total))
    run = np.flatnonzero(is_new[first : first + width]) + first
    end_s = min(cut_s[1], float(times_s[run[-1]]) + MARGIN_S)
    start_s = max(cut_s[0], min(float(times_s[run[0]]) - MARGIN_S, end_s - LEAST_S))
    return start_s, min(cut_s[1], max(end_s, start_s + LEAST_S))


def find_begin_s(
    samples: Floats,
    *,
    start_s: float,
    lines_hz: tuple[float, ...],
    steady_s: tuple[float, float],
    rate_hz: float,
) -> float | None:
    """Give when the lines of the steady part first sounded, s.

    Lines beside which the teeth are as loud before tell nothing; None where all are such.
    """
    top_hz = 1.1 * max(lines_hz)
    times_s, hz, powers = _frames(samples, start_s, steady_s[1], rate_hz=rate_hz, top_hz=top_hz)
    steady = times_s >= steady_s[0]
    rises = []
    for line_hz in lines_hz:
        near = np.abs(hz - line_hz) <= max(1.5 / WINDOW_S, SPREAD * line_hz)
        power = powers[:, near].max(axis=1)
        rises.append(power / sounding_power(power[steady]))
    telling = [rise for rise in rises if rise[~steady].min(initial=1.0) < QUARTER]
    if not telling:
        return None
    began = np.flatnonzero(np.median(telling, axis=0) >= QUARTER)
    if len(began) == 0:  # no moment holds half of the lines
        return None
    return start_s if began[0] == 0 else float(times_s[began[0]])


def sounding_power(power: Floats) -> float:
    """Give a line's power while it sounds: its usual one, or the rare one of a line that is mostly away.

    >>> sounding_power(np.array([0.0] * 9 + [1.0] * 91)), sounding_power(np.array([0.01] * 90 + [1.0] * 10))
    (1.0, 1.0)
    """
    usual, rare = (float(value) for value in np.quantile(power, (USUAL, RARE)))
    return rare if rare > RARELY_TIMES * usual else usual


def _frames(
    samples: Floats, start_s: float, end_s: float, *, rate_hz: float, top_hz: float
) -> tuple[Floats, Floats, Floats]:
    """Give the spectra of short windows between two times, with their centres, s."""
    hop_s = max(HOP_S, (end_s - start_s) / MOST_WINDOWS)
    return frames_between(
        samples, start_s, end_s, rate_hz=rate_hz, window_s=WINDOW_S, hop_s=hop_s, top_hz=top_hz
    )
