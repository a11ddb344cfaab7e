"""What is told when a new cut settles an earlier one."""

from dataclasses import replace

import pytest

from chatter.analysis import suggest_next_cut
from chatter.analysis._halves import may_double, settle_cuts, tell_settled
from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from chatter.notebook.documents import pick_telling_cuts
from tests.unit.notebook.made import made_cut


def filed(path, *cuts):
    """Give the cuts of a setup: depth, verdict, halves in dB."""
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2))
        for number, (depth_mm, verdict, half_db) in enumerate(cuts):
            document = made_cut(str(number), depth_mm=depth_mm, verdict=verdict, half_passing_db=half_db)
            notebook.add_cut("one", document=document)
        return notebook.list_cuts("one")


def test_lighter_cut_filed_later_tells_that_the_deeper_one_doubled(tmp_path):
    cuts = filed(tmp_path / "n.db", (1.0, "stable", 2.0), (0.4, "stable", -15.0))
    assert cuts[0].half_passing_db == 2.0
    notes = tell_settled(settle_cuts(cuts[:1]), heard=cuts, new=cuts[1].number)
    assert notes == [
        "half the tooth-passing frequency is far louder in cut 1 than in a lighter one at this speed: its "
        "teeth cut in turns, so cut 1 counts as chatter."
    ]


def test_lighter_cut_filed_later_tells_that_both_have_run_out(tmp_path):
    cuts = filed(tmp_path / "n.db", (1.0, "undecided", 15.0), (0.4, "undecided", 15.5))
    notes = tell_settled(settle_cuts(cuts[:1]), heard=cuts, new=cuts[1].number)
    assert [note.rsplit(", ", 1)[1] for note in notes] == [
        "so cut 1 counts as stable.",
        "so this cut counts as stable.",
    ]


def test_cut_that_later_ones_no_longer_settle_is_told_as_it_was_heard(tmp_path):
    # The third is as soft as run-out never is, so the speed doubles; at 0.78 of its depth (over 0.7) it
    # says nothing of the second cut (docs/next.md, rule 6).
    cuts = filed(
        tmp_path / "n.db", (1.0, "undecided", 15.0), (0.45, "undecided", 14.0), (0.35, "stable", -15.0)
    )
    before = settle_cuts(cuts[:2])
    assert [cut.verdict for cut in before] == ["stable", "stable"]
    notes = tell_settled(before, heard=cuts, new=cuts[2].number)
    assert [note.rsplit(" counts as ", 1)[1] for note in notes] == ["chatter.", "it was heard, undecided."]


def test_cut_that_counts_by_its_halves_names_no_frequency(tmp_path):
    # Heard as marginal with a line; it would hide a deeper cut at its speed that surely sings there.
    cuts = filed(tmp_path / "n.db", (1.0, "marginal", 2.0), (0.4, "stable", -15.0), (1.5, "chatter", 2.0))
    heard = tuple(replace(cut, chatter_hz=None if cut.verdict == "stable" else 900.0) for cut in cuts)
    settled = settle_cuts(heard)
    assert [(cut.verdict, cut.chatter_hz) for cut in settled] == [
        ("chatter", None), ("stable", None), ("chatter", 900.0)
    ]  # fmt: skip
    assert len(pick_telling_cuts(settled)) == 3


def test_halves_that_rise_but_stay_soft_are_no_doubled_period(tmp_path):
    # Below -10 dB, a tenth of the other orders' power: docs/next.md, rule 6.
    cuts = filed(tmp_path / "n.db", (1.0, "stable", -20.0), (0.4, "stable", -38.0))
    assert settle_cuts(cuts) == cuts


def test_cut_that_another_process_filed_meanwhile_is_no_news(tmp_path):
    cuts = filed(tmp_path / "n.db", (1.0, "stable", -20.0), (0.9, "stable", -20.0), (1.1, "stable", -20.0))
    assert tell_settled(settle_cuts(cuts[:1]), heard=cuts, new=cuts[1].number) == []


@pytest.mark.parametrize(
    ("lighter", "told"),
    [
        ({}, True),
        ({"verdict": "chatter"}, False),  # what chatters otherwise tells nothing of its halves
        ({"set_rpm": 12_200.0}, False),  # another speed on the dial
        ({"measured_rpm": 11_800.0}, False),  # or another true one, by more than 1 %
        ({"is_current": False}, False),
        ({"half_passing_db": None}, False),
    ],
)
def test_lighter_cut_tells_of_a_stable_one_only_where_the_two_can_be_compared(tmp_path, lighter, told):
    deep, light = filed(tmp_path / "n.db", (1.0, "stable", -3.0), (0.4, "stable", -4.0))
    assert may_double(deep, among=(deep, replace(light, **lighter))) is not told


def test_cuts_without_halves_count_as_they_were_heard(tmp_path):
    cuts = filed(tmp_path / "n.db", (1.0, "stable", None), (0.4, "chatter", None))
    assert settle_cuts(cuts) == cuts


@pytest.mark.parametrize("feed_mm_min", [240.0, None])
def test_lighter_cut_that_is_asked_for_keeps_the_feed_of_the_untold_cut(tmp_path, feed_mm_min):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0, diameter_mm=6.0, width_mm=3.0))
        notebook.add_cut("one", document=made_cut("x", depth_mm=0.3, settings={"feed_mm_min": 2400.0}))
        untold = made_cut(
            "y", verdict="undecided", half_passing_db=25.0, settings={"feed_mm_min": feed_mm_min}
        )
        notebook.add_cut("one", document=untold)
    following = suggest_next_cut("one", notebook=path)
    assert (following.set_rpm, following.depth_mm, following.feed_mm_min) == (12_000, 0.45, feed_mm_min)
    assert not any("the present feed" in text for text in following.cautions)
    assert ("keep the one that it was cut with" in following.why) == (feed_mm_min is None)


def test_cut_that_could_not_be_told_above_one_that_chattered_leaves_the_choice_to_the_others(tmp_path):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0, diameter_mm=6.0, width_mm=3.0))
        chattered = made_cut("x", depth_mm=0.3, verdict="chatter", chatter_hz=700.0)
        notebook.add_cut("one", document=chattered)
    alone = suggest_next_cut("one", notebook=path)
    with Notebook(path, write=True) as notebook:
        untold = made_cut("y", depth_mm=2.0, verdict="undecided", half_passing_db=25.0)
        notebook.add_cut("one", document=untold)
    assert suggest_next_cut("one", notebook=path) == alone
    assert alone.depth_mm <= 0.3
