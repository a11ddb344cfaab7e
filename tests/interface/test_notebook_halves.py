"""Period doubling and run-out from the command line: what two depths settle."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from tests.interface.test_cli import is_one_clear_line
from tests.unit.notebook.made import made_cut

RECORDINGS = Path(__file__).parents[2] / "fixtures/recordings"


@pytest.fixture
def halved(chatter, tmp_path):
    """Give the command line with a notebook of cuts at one speed: depth, verdict, halves in dB."""

    def make(*cuts, **facts):
        path = tmp_path / f"halves {len(list(tmp_path.iterdir()))}.db"
        with Notebook(path, write=True, make=True) as notebook:
            notebook.add_setup("6 mm long", facts=SetupFacts(flutes=2, max_rpm=24_000.0, **facts))
            for number, (depth_mm, verdict, half_db) in enumerate(cuts):
                document = made_cut(
                    str(number),
                    set_rpm=20_000.0,
                    depth_mm=depth_mm,
                    verdict=verdict,
                    half_passing_db=half_db,
                )
                notebook.add_cut("6 mm long", document=document)
        return lambda *words: chatter(*words, "--notebook", path)

    return make


def test_cut_whose_halves_leap_over_a_lighter_one_counts_as_chatter_everywhere(halved):
    run = halved((0.5, "stable", -18.0), (1.0, "stable", 1.0))
    shown = json.loads(run("setup", "show", "6 mm long", "--json").out)["cuts"]
    assert [cut["verdict"] for cut in shown] == ["stable", "chatter"]
    assert json.loads(run("setup", "map", "6 mm long", "--json").out)["best_so_far"]["depth_mm"] == 0.5
    assert "not at 1 mm" in run("card", "6 mm long").out


IN_TURNS = "At 20,000 rpm teeth may cut in turns"


@pytest.mark.parametrize(
    ("others", "half_db", "doubtful"),
    [
        ((), -3.0, True),
        ((), -20.0, False),  # far softer than a doubled period is: docs/next.md, rule 6
        ((), None, False),  # odd flutes, or filed by an older version
        (((0.4, "stable", -4.0),), -3.0, False),
        (((0.4, "undecided", -7.5),), -3.0, False),  # a lighter cut tells, whatever it was heard as
        (((0.9, "stable", -4.0),), -3.0, True),  # hardly lighter
    ],
)
@pytest.mark.parametrize("soft_db", [None, -18.0])
def test_stable_cut_that_may_double_unheard_is_told_on_card_map_and_when_done(
    halved, others, half_db, doubtful, soft_db
):
    # After five cuts it is done; of one setting any cut counts, also among soft ones.
    alike = [(1.0, "stable", one) for one in (soft_db, half_db, half_db, half_db, soft_db)]
    run = halved(*others, *alike)
    card = json.loads(run("card", "6 mm long", "--json").out)
    rows = [row["may_double"] for row in card["settings"] if row["depth_mm"] == 1.0]
    done = json.loads(run("next", "6 mm long", "--json").out)
    shown = json.loads(run("setup", "map", "6 mm long", "--json").out)
    assert done["action"] == "done"
    said = [*rows, done["best_so_far"]["may_double"], shown["best_so_far"]["may_double"]]
    assert said == [doubtful] * 3
    assert [IN_TURNS in " ".join(one["cautions"]) for one in (card, done)] == [doubtful] * 2
    map_text = run("setup", "map", "6 mm long").out
    assert ("chattered in a way that sounds like run-out" in " ".join(map_text.split())) is doubtful


def test_cut_that_may_double_its_period_asks_for_a_lighter_one(halved):
    following = json.loads(halved((1.0, "undecided", 15.0))("next", "6 mm long", "--json").out)
    assert (following["action"], following["set_rpm"], following["depth_mm"]) == ("cut", 20_000.0, 0.45)
    assert "run-out stays as loud" in following["why"]
    assert "chatter gets far softer" in following["why"]
    assert "in turns" not in following["why"]  # the words of an insider


def test_lighter_cut_that_is_asked_for_keeps_the_limits_of_the_setup(halved):
    run = halved((1.0, "undecided", 15.0), max_depth_mm=0.3)
    assert json.loads(run("next", "6 mm long", "--json").out)["depth_mm"] == 0.3
    # Nor is a speed asked for that the tool may not turn.
    assert is_one_clear_line(halved((1.0, "undecided", 15.0), tool_max_rpm=15_000.0)("next", "6 mm long"))


def test_cut_that_may_double_its_period_but_has_no_depth_is_told_in_one_line(halved):
    assert is_one_clear_line(halved((None, "undecided", 15.0))("next", "6 mm long"))


def test_halves_that_stay_as_loud_settle_both_cuts_as_stable(halved):
    run = halved((1.0, "undecided", 15.0), (0.45, "undecided", 14.0))
    shown = json.loads(run("setup", "show", "6 mm long", "--json").out)["cuts"]
    assert [cut["verdict"] for cut in shown] == ["stable", "stable"]
    assert json.loads(run("next", "6 mm long", "--json").out)["best_so_far"]["depth_mm"] == 1.0


@pytest.mark.parametrize(("amplitude", "told"), [(0.0, False), (0.02, True)])
def test_stable_cut_that_may_double_unheard_is_told_when_it_is_filed(chatter, tmp_path, amplitude, told):
    samples, rate_hz = soundfile.read(RECORDINGS / "clock-plate-quiet.flac")
    t = np.arange(len(samples)) / rate_hz
    turns = amplitude * np.sin(2 * np.pi * 197.5 * t) * ((t > 1.2) & (t < 3.8))  # half of 395 Hz, in the cut
    soundfile.write(tmp_path / "cut.wav", samples + turns, rate_hz)
    words = (
        "--rpm",
        12_000,
        "--flutes",
        2,
        "--depth-mm",
        0.5,
        "--setup",
        "q",
        "--notebook",
        tmp_path / "q.db",
    )
    run = chatter("cut", tmp_path / "cut.wav", *words, "--json")
    assert json.loads(run.out)["verdict"] == "stable"
    assert ("At 12,000 rpm teeth may cut in turns" in run.err) == told
