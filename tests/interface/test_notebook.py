"""The notebook from the command line."""

import json
from pathlib import Path

import pytest

from tests.interface.test_cli import is_one_clear_line

RECORDINGS = Path(__file__).parents[2] / "fixtures" / "recordings"
QUIET, SINGING = RECORDINGS / "clock-plate-quiet.flac", RECORDINGS / "clock-plate-singing.flac"
SETTING = ("--rpm", "12000", "--flutes", "2", "--depth-mm", "1")


@pytest.fixture
def kept(chatter, tmp_path):
    """Give the command line with a notebook that holds one setup."""

    def run(*words):
        return chatter(*words, "--notebook", tmp_path / "n.db")

    added = run("setup", "add", "6 mm long", "--flutes", "2", "--max-rpm", "24000", "--stick-out-mm", "30")
    assert added.code == 0, added.err
    return run


def test_setups_are_listed_copied_with_a_change_and_retired(kept):
    assert kept("setup", "copy", "6 mm long", "6 mm short", "--stick-out-mm", "20").code == 0
    listed = json.loads(kept("setup", "list", "--json").out)
    assert [(one["name"], one["facts"]["stick_out_mm"]) for one in listed["setups"]] == [
        ("6 mm long", 30.0),
        ("6 mm short", 20.0),
    ]
    assert kept("setup", "retire", "6 mm long").code == 0
    assert "6 mm long" not in kept("setup", "list").out
    assert "6 mm long" in kept("setup", "list", "--retired").out


@pytest.mark.parametrize(
    "words",
    [
        ("setup", "add", "6 mm long", "--flutes", "2"),
        ("setup", "add", "new", "--flutes", "0"),
        ("setup", "add", "new", "--flutes", "2", "--material", "soup"),
        ("setup", "add", "new", "--flutes", "2", "--machine", "two\nlines"),
        ("setup", "copy", "6 mm long", "same again"),
        ("setup", "copy", "nothing", "new", "--flutes", "3"),
        ("setup", "show", "nothing"),
        ("setup", "retire", "nothing"),
        ("setup", "show", ""),
        ("cut", QUIET, *SETTING, "--setup", "6 mm long", "--stick-out-mm", "31"),
        ("cut", "missing.wav", *SETTING, "--setup", "other"),
    ],
)
def test_wrong_word_about_a_setup_gives_one_line_and_adds_nothing(kept, words):
    before = kept("setup", "list", "--retired", "--json").out
    assert is_one_clear_line(kept(*words))
    assert kept("setup", "list", "--retired", "--json").out == before


def test_cut_is_filed_recognised_and_kept_in_both_versions_when_its_facts_change(kept):
    first = kept("cut", QUIET, *SETTING, "--setup", "6 mm long", "--json")
    document = json.loads(first.out)
    assert document["notebook"]["filed"] == "new"
    assert document["program"]["settings"]["max_rpm"] == 24_000  # the setup's
    assert "kept as cut 1" in first.err
    again = kept("cut", QUIET, *SETTING, "--setup", "6 mm long", "--json")
    assert json.loads(again.out)["notebook"]["filed"] == "again"
    changed = kept("cut", QUIET, "--rpm", "11900", "--flutes", "2", "--depth-mm", "1", "--setup", "6 mm long")
    assert "earlier version stays" in changed.err
    shown = json.loads(kept("setup", "show", "6 mm long", "--versions", "--json").out)
    assert [(cut["set_rpm"], cut["is_current"]) for cut in shown["cuts"]] == [(12_000, False), (11_900, True)]
    assert "earlier version 1" in kept("setup", "show", "6 mm long", "--versions").out


def test_second_cut_uses_the_first_in_its_advice(kept):
    kept("cut", QUIET, "--rpm", "12000", "--flutes", "2", "--depth-mm", "0.8", "--setup", "6 mm long")
    second = json.loads(kept("cut", SINGING, *SETTING, "--setup", "6 mm long", "--json").out)
    assert second["notebook"]["earlier_cuts_used"] == 1
    alone = json.loads(kept("cut", SINGING, *SETTING, "--max-rpm", "24000", "--json").out)
    assert "notebook" not in alone
    assert second["verdict"] == alone["verdict"]
    assert second["advice"]["depth_factor"] != alone["advice"]["depth_factor"]


def test_new_name_makes_a_setup_from_the_options_and_tells_names_like_it(kept):
    ran = kept("cut", QUIET, *SETTING, "--width-mm", "3", "--setup", "6mm long", "--json")
    notes = " ".join(json.loads(ran.out)["notebook"]["notes"])
    assert "made the setup '6mm long'" in notes
    assert "there is '6 mm long' too" in notes
    shown = json.loads(kept("setup", "show", "6mm long", "--json").out)
    assert (shown["facts"]["flutes"], shown["facts"]["width_mm"]) == (2, 3.0)


def test_notebook_without_a_name_lies_in_the_users_data_folder(request, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    chatter = request.getfixturevalue("chatter")  # takes the environment as it is now
    assert chatter("setup", "add", "a", "--flutes", "2").code == 0
    # XDG Base Directory Specification: a folder of the program's name inside XDG_DATA_HOME.
    assert (tmp_path / "data" / "chatter" / "notebook.db").is_file()


def test_foreign_notebook_gives_one_line_and_is_left_untouched(chatter, tmp_path):
    foreign = tmp_path / "list.txt"
    foreign.write_text("eggs\n" * 100)
    for words in (("setup", "list"), ("setup", "add", "a", "--flutes", "2")):
        assert is_one_clear_line(chatter(*words, "--notebook", foreign))
    ran = chatter("cut", QUIET, *SETTING, "--setup", "a", "--notebook", foreign)
    assert is_one_clear_line(ran)
    assert foreign.read_text() == "eggs\n" * 100
