"""What is told when a new cut settles an earlier one."""

from chatter.analysis._halves import settle_cuts, tell_settled
from chatter.notebook import Notebook
from tests.unit.notebook.made import made_cut


def filed(path, *cuts):
    """Give the cuts of a setup: depth, verdict, halves in dB."""
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=notebook_facts())
        for number, (depth_mm, verdict, half_db) in enumerate(cuts):
            document = made_cut(str(number), depth_mm=depth_mm, verdict=verdict, half_passing_db=half_db)
            notebook.add_cut("one", document=document)
        return notebook.list_cuts("one")


def notebook_facts():
    from chatter.model.notebook import SetupFacts

    return SetupFacts(flutes=2)


def test_lighter_cut_filed_later_tells_that_the_deeper_one_doubled(tmp_path):
    cuts = filed(tmp_path / "n.db", (1.0, "stable", 2.0), (0.4, "stable", -15.0))
    assert cuts[0].half_passing_db == 2.0
    notes = tell_settled([*settle_cuts(cuts[:1]), cuts[1]], after=settle_cuts(cuts), new=cuts[1].number)
    assert notes == [
        "half the tooth-passing frequency is far louder in cut 1 than in a lighter one at this speed: its "
        "teeth cut in turns, so cut 1 counts as chatter."
    ]


def test_lighter_cut_filed_later_tells_that_both_have_run_out(tmp_path):
    cuts = filed(tmp_path / "n.db", (1.0, "undecided", 9.0), (0.4, "undecided", 9.5))
    notes = tell_settled([*settle_cuts(cuts[:1]), cuts[1]], after=settle_cuts(cuts), new=cuts[1].number)
    assert [note.rsplit(", ", 1)[1] for note in notes] == [
        "so cut 1 counts as stable.",
        "so this cut counts as stable.",
    ]


def test_cuts_without_halves_count_as_they_were_heard(tmp_path):
    cuts = filed(tmp_path / "n.db", (1.0, "stable", None), (0.4, "chatter", None))
    assert settle_cuts(cuts) == cuts
