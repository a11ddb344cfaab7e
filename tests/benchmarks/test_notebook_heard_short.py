"""The heard loop settles cuts of two depths by the notebook's own rules."""

import pytest

from tests.benchmarks.notebook_heard import Heard, settle


def heard(depth_mm, verdict, half_db, *, set_rpm=20_000.0):
    return Heard(
        set_rpm=set_rpm,
        true_rpm=0.99 * set_rpm,
        depth_mm=depth_mm,
        verdict=verdict,
        chatter_probability=None if verdict == "undecided" else 0.1,
        half_passing_db=half_db,
    )


@pytest.mark.parametrize(
    ("cuts", "expected"),
    [
        # docs/next.md, rule 6: 16 dB louder than in a lighter cut at this speed is chatter ...
        ([(1.0, "stable", 2.0), (0.4, "stable", -15.0)], ["chatter", "stable"]),
        # ... as loud over twice the depth is run-out, which settles an undecided cut ...
        ([(1.0, "undecided", 15.0), (0.45, "undecided", 14.0)], ["stable", "stable"]),
        # ... but not one that is undecided for another reason than loud halves.
        ([(1.0, "undecided", 3.0), (0.45, "stable", 2.0)], ["stable"]),
    ],
)
def test_heard_cuts_count_as_the_notebook_counts_them(cuts, expected):
    counting, _ = settle([heard(*cut) for cut in cuts])
    assert [cut.verdict for cut in counting] == expected


def test_last_cut_whose_halves_alone_are_loud_is_untold():
    assert settle([heard(1.0, "undecided", 15.0)]) == ([], True)
    assert settle([heard(1.0, "undecided", 3.0)]) == ([], False)
