"""The short form of the advice's score: the same figures on a few machines, held to what can't be chance."""

from tests.benchmarks.advice import draw_cases, score


def test_advice_on_a_dozen_machines_beats_what_chance_gives():
    figures, stated = score(draw_cases("alike", 12, seed=77))
    # The long form's figures stand in docs/advice.md ("alike"); a binomial of 12 at those stays above these
    # with 99 chances in 100, and a speed drawn at random is stable in about a third of the cases.
    assert figures["first speed stable"] >= 0.58
    assert figures["any of the first three"] >= 0.75
    assert figures["stable at the depth factor"] >= 0.75
    assert 0.4 < figures["depth factor over the limit, median"] < 1.0
    assert all(0 <= probability <= 1 for probability, _ in stated)
