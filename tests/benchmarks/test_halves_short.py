"""The score of what two depths tell counts as it says."""

import pytest

from tests.benchmarks.halves import Pair, tell


def pair(doubles, verdict, half_db, lighter_verdict, lighter_half_db):
    return Pair(
        doubles=doubles,
        lighter_is_stable=True,
        verdict=verdict,
        half_db=half_db,
        lighter_verdict=lighter_verdict,
        lighter_half_db=lighter_half_db,
    )


def test_pairs_are_counted_by_truth_and_stable_ones_as_often_as_they_occur(capsys):
    pairs = [
        pair(True, "stable", -3.0, "stable", -23.0),  # 20 dB
        pair(False, "stable", -8.0, "stable", -15.0),  # 7 dB
        pair(False, "stable", -12.0, "stable", -40.0),  # 28 dB, but too soft: docs/next.md, rule 6
        pair(False, "stable", 2.0, "chatter", -9.0),  # not compared
        pair(False, None, None, "stable", -9.0),
    ]
    tell(pairs, weight=8.0)
    told = capsys.readouterr().out
    assert "doubling: 1 cuts, heard {'stable': 1, 'undecided': 0}; of those heard stable 1 have" in told
    assert "of 1 compared 1 told as doubling, 0 as run-out" in told
    # By hand: 1 of 1 + 8 * 1 from 6 dB, 1 of 1 from 8 dB.
    assert "from a rise of 6 dB: 1 that double, 1 that don't; chance 0.11" in told
    assert "from a rise of 8 dB: 1 that double, 0 that don't; chance 1.00" in told


@pytest.mark.parametrize("which", ["verdict", "lighter_verdict"])
def test_cut_that_chatters_otherwise_is_not_compared(which):
    told = {"verdict": "stable", "lighter_verdict": "stable", which: "chatter"}
    assert pair(True, told["verdict"], 3.0, told["lighter_verdict"], -9.0).rise_db is None
