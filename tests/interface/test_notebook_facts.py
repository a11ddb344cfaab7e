"""What a filed answer may add to the facts of a setup."""

import json
from pathlib import Path

import pytest

from chatter.analysis._filing import file_cut
from chatter.analysis._notebook import add_setup, begin_history, show_setup
from chatter.errors import BadValueError
from tests.interface.test_cli import is_one_clear_line
from tests.unit.notebook.made import made_cut

TAPS = Path(__file__).parents[2] / "fixtures" / "recordings" / "clock-plate-taps.flac"  # rings at 680 Hz


@pytest.fixture
def kept(chatter, tmp_path):
    def run(*words):
        return chatter(*words, "--notebook", tmp_path / "n.db")

    assert run("setup", "add", "brick", "--flutes", "2", "--min-rpm", "8000").code == 0
    return run


def facts_of(kept, name="brick"):
    return json.loads(kept("setup", "show", name, "--json").out)["facts"]


def test_fastest_speed_to_name_is_no_fact_of_the_setup(kept):
    before = facts_of(kept)
    ran = kept("tap", TAPS, "--setup", "brick", "--max-rpm", "12000", "--json")
    assert (ran.code, "now also knows" in ran.err) == (0, False)
    assert facts_of(kept) == before
    # 60 * 680 / (2 * 2) = 10,200 by hand; the 20,400 before it is beyond what was asked for
    assert json.loads(ran.out)["speeds"][0]["rpm"] == pytest.approx(10_200, rel=0.01)
    assert kept("tap", TAPS, "--setup", "new", "--flutes", "2", "--max-rpm", "12000").code == 0
    assert facts_of(kept, "new")["max_rpm"] is None


def test_fastest_speed_to_name_stays_within_the_setups_spindle(kept):
    assert kept("setup", "copy", "brick", "slow", "--max-rpm", "12000").code == 0
    for told in ((), ("--max-rpm", "24000")):
        document = json.loads(kept("tap", TAPS, "--setup", "slow", *told, "--json").out)
        assert document["program"]["settings"]["max_rpm"] == 12_000
        assert document["speeds"][0]["rpm"] == pytest.approx(10_200, rel=0.01)
    less = json.loads(kept("tap", TAPS, "--setup", "slow", "--max-rpm", "9000", "--json").out)
    assert less["program"]["settings"]["max_rpm"] == 9_000


def test_fastest_speed_to_name_below_the_setups_slowest_is_refused_before_anything_is_kept(kept):
    ran = kept("tap", TAPS, "--setup", "brick", "--max-rpm", "5000")
    assert is_one_clear_line(ran)
    assert "min_rpm of the setup 'brick' (8000)" in ran.err
    assert json.loads(kept("setup", "show", "brick", "--json").out)["taps"] == []


def test_facts_that_leave_a_setup_no_speed_are_refused_and_nothing_is_kept(tmp_path):
    notebook = tmp_path / "n.db"
    values = {"rpm": 9_000.0, "flutes": 2, "max_rpm": 5_000.0}
    history = begin_history("brick", notebook=notebook, values=values)
    add_setup("brick", notebook=notebook, flutes=2, min_rpm=8_000)  # another process, meanwhile
    with pytest.raises(BadValueError, match=r"min_rpm.*not above max_rpm \(5000\)"):
        file_cut(history, document=made_cut("one", depth_mm=0.5), facts=values)
    contents = show_setup("brick", notebook=notebook)
    assert (contents.setup.facts.max_rpm, contents.cuts) == (None, ())
