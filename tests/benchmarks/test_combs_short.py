"""Short form of the benchmark of combs: spindles are taken for spindles, other sounds mostly not."""

import numpy as np

from tests.benchmarks.combs import LEAST_CHANCE, fit, hear


def test_few_scenes_are_told_apart_by_their_combs():
    rows = hear("other", 8, 200)
    taken = {
        right: np.array([row.chance >= LEAST_CHANCE for row in rows if row.right == right])
        for right in (True, False)
    }
    assert len(taken[True]) >= 6
    assert len(rows) == 4 * 8
    assert taken[True].mean() > 0.9  # the long form's figures stand in docs/methods.md
    assert taken[False].mean() < 0.4
    # The map that these few would give parts them as well.
    weights = fit(rows)
    totals = {
        right: [
            weights["intercept"] + sum(weights[name] * mark for name, mark in row.marks.items())
            for row in rows
            if row.right == right
        ]
        for right in (True, False)
    }
    assert np.median(totals[True]) > 0 > np.median(totals[False])
