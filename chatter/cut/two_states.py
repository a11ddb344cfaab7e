"""Part the moments of a recording in two states, cutting and idle, by what tells them apart best.

In: band levels along time. Out: one score a moment, which moments are loud, how far the states lie apart.
Method: linear discriminants with a diagonal covariance, from several first guesses; thresholds by Otsu.
Source: two-class threshold after N. Otsu, IEEE Trans. SMC 9 (1979) 62 to 66; the rest is our own.
Leaves out: where a cut begins and ends (chatter/cut/sections.py).
"""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.dsp.runs import find_runs

Floats = NDArray[np.float64]
LEAST_STEP_DB = 1.5  # smallest mean rise over the idle that counts as another state
LEAST_SPREAD_DB = 0.7  # keeps a band that hardly moves from deciding alone


def part_in_two(values: Floats) -> float:
    """Give the threshold that parts two classes best."""
    largest = float(np.abs(values).max())
    if np.ptp(values) < 1e-9 * max(1.0, largest):  # a sound that never changes has one class
        return float(values.mean())
    counts, edges = np.histogram(values, bins=128)
    middle = (edges[:-1] + edges[1:]) / 2
    below = np.cumsum(counts)
    above = below[-1] - below
    mean_below = np.cumsum(counts * middle) / np.maximum(below, 1)
    mean_above = (np.sum(counts * middle) - np.cumsum(counts * middle)) / np.maximum(above, 1)
    between = below * above * (mean_below - mean_above) ** 2
    flat = np.flatnonzero(between >= between.max() * (1 - 1e-9))
    return float(middle[flat].mean())


def _discriminate(features: Floats, loud: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_], float]:
    """Improve a two-class split: weigh each feature by how well it parts the classes, and split again.

    Returns
    -------
    score, loud, separation
        Shapes (t,), (t,), and the distance of the classes in pooled standard deviations.
    """
    score = features[:, 0]
    separation = 0.0
    centred = features - features.mean(0)
    squares = centred**2
    total, total_squares = centred.sum(0), squares.sum(0)
    for _ in range(6):
        if loud.sum() < 5 or (~loud).sum() < 5:
            return score, loud, 0.0
        # Moments of both classes from the sums over one of them.
        inside, many, few = loud.astype(np.float64), int((~loud).sum()), int(loud.sum())
        up, up_squares = inside @ centred, inside @ squares
        mean_up, mean_down = up / few, (total - up) / many
        var_up = np.maximum(up_squares / few - mean_up**2, 0.0)
        var_down = np.maximum((total_squares - up_squares) / many - mean_down**2, 0.0)
        gap = mean_up - mean_down
        spread = np.sqrt((var_up + var_down) / 2) + LEAST_SPREAD_DB
        weights = gap / spread**2
        if not np.any(weights):
            return score, loud, 0.0
        score = features @ (weights / np.abs(weights).sum())
        before, loud = loud, score > part_in_two(score)
        if loud.sum() < 5 or (~loud).sum() < 5:
            return score, loud, 0.0
        pooled = np.sqrt((score[loud].var() + score[~loud].var()) / 2) + 0.05
        separation = float((score[loud].mean() - score[~loud].mean()) / pooled)
        if np.array_equal(before, loud):
            break  # nothing moves any more
    return score, loud, separation


def _steps_up(level: Floats, loud: NDArray[np.bool_], *, hop_s: float) -> float:
    """Give the mean jump of level into the loud class at its edges, dB; automatic gain can't hide it."""
    reach = round(0.15 / hop_s)
    jumps = []
    for a, b in find_runs(loud):
        if b - a < reach:
            continue
        if a >= 2 * reach:
            jumps.append(level[a + 2 : a + 2 + reach].mean() - level[a - reach : a - 2].mean())
        if b + 2 * reach < len(level):
            jumps.append(level[b - reach : b - 2].mean() - level[b + 2 : b + 2 + reach].mean())
    return float(np.mean(jumps)) if jumps else 0.0


def tell_apart(levels: Floats, excess: Floats, *, hop_s: float) -> tuple[Floats, NDArray[np.bool_], float]:
    """Give one score a frame that tells cutting from idle, the loud frames, and their separation.

    Features are the levels, and the shape of the spectrum without its level: a phone's automatic gain
    moves the first and leaves the second. Several first guesses are refined; the best split wins.

    Parameters
    ----------
    levels, excess
        Shapes (t, bands): band levels, and the same over their quiet ones, dB.
    hop_s
        From frame to frame.

    Returns
    -------
    score, loud, separation
        Shapes (t,), (t,), and the distance of the classes in pooled standard deviations.
    """
    overall = 10 * np.log10((10 ** (levels / 10)).sum(axis=1))
    shape = levels - levels.mean(axis=1, keepdims=True)
    features = np.column_stack([excess, shape])
    middle = excess.mean(axis=1)
    centred = shape - shape.mean(axis=0)
    main = centred @ np.linalg.eigh(centred.T @ centred)[1][:, -1]
    fast = overall - ndimage.gaussian_filter1d(overall, 0.6 / hop_s, mode="nearest")
    best: tuple[float, Floats, NDArray[np.bool_], float] | None = None
    for guess in (middle, main, -main, fast):
        for used in (excess, shape, features):
            score, loud, separation = _discriminate(used, guess > part_in_two(guess))
            step_db = _steps_up(overall, loud, hop_s=hop_s)
            if step_db < LEAST_STEP_DB:
                continue
            changes = len(find_runs(loud))
            value = min(separation, 8.0) + min(step_db, 8.0) / 2 - 0.15 * changes
            if best is None or value > best[0]:
                best = (value, score, loud, separation)
    if best is None:
        return middle, np.zeros(len(middle), dtype=bool), 0.0
    return best[1], best[2], best[3]
