"""The short form of the scored suite: the same figures, on a few scenes, held to what can't be chance."""

import numpy as np

from tests.benchmarks.suite import figures, scenes


def test_twelve_scenes_of_each_answer_are_ranked_far_better_than_by_chance():
    rows = scenes("other", 24, seed=901)
    got = figures(rows)
    # Chance gives an AUC of 0.5 with a deviation of 0.12 on 24 scenes; 0.85 is three of them away.
    assert got["AUC"] > 0.85
    # The long form measured far more (docs/verdicts.md); a binomial of 24 at 0.8 stays above half.
    assert got["start within 0.2 s"] > 0.5
    assert np.isfinite(list(got.values())).all()
