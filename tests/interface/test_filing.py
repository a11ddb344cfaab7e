"""What is said when a cut is filed, and how the list of a setup's recordings is laid out."""

import json
import sqlite3

import numpy as np
import pytest
import soundfile

from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from tests.interface.test_notebook import QUIET, RECORDINGS
from tests.unit.cut.built import RATE_HZ, built_cut
from tests.unit.notebook.made import made_cut, made_noise, made_tap

SETTING = ("--rpm", "6000", "--flutes", "2", "--setup", "a")


@pytest.fixture
def two_cuts(tmp_path, rng):
    """Give a recording of a quiet cut and one that sings."""
    quiet = built_cut(rng, cuts=((1.5, 3.5),), seconds=5)
    sings = built_cut(rng, cuts=((1.5, 3.5),), seconds=5, chatter_hz=911.0)
    soundfile.write(tmp_path / "two.wav", np.concatenate([quiet, sings]) / 4, int(RATE_HZ))
    soundfile.write(tmp_path / "one.wav", quiet / 4, int(RATE_HZ))
    return tmp_path


def test_filing_several_cuts_with_one_depth_says_that_the_worst_counts_for_it(chatter, two_cuts):
    ran = chatter("cut", "two.wav", *SETTING, "--depth-mm", "1.5", "--notebook", "n.db", "--json")
    document = json.loads(ran.out)
    assert (len(document["cuts"]), document["cut_index"]) == (2, 1)
    said = (
        "the recording holds 2 cuts, and only the worst of them, number 2, counts for the setup, as 1.5 mm "
        "deep whichever depth it had: record one cut a file, each with its own depth."
    )
    assert said in document["notebook"]["notes"]
    assert f"chatter: {said}" in ran.err
    shown = json.loads(chatter("setup", "show", "a", "--notebook", "n.db", "--json").out)
    assert [cut["verdict"] for cut in shown["cuts"]] == ["chatter"]


def test_filing_one_cut_or_several_without_a_depth_says_no_depth(chatter, two_cuts):
    one = chatter("cut", "one.wav", *SETTING, "--depth-mm", "1.5", "--notebook", "n.db")
    assert "the recording holds" not in one.err
    several = chatter("cut", "two.wav", *SETTING, "--notebook", "n.db")
    assert "number 2, counts for the setup: record one cut a file" in several.err


def test_list_of_a_setup_keeps_to_80_columns_with_long_names_and_earlier_versions(chatter, tmp_path):
    path, name = tmp_path / "n.db", "clock-plate-quiet-" + 3 * "again-"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("a", facts=SetupFacts(flutes=2))
        for rpm in (12_000.0, 13_000.0):  # the same recording with another speed: a second version
            notebook.add_cut("a", document=made_cut(name, set_rpm=rpm, rpm=rpm))
        notebook.add_cut("a", document=made_cut("short"))
        notebook.add_tap("a", document=made_tap(3 * name))
        notebook.add_noise("a", document=made_noise(2 * name))
    lines = chatter("setup", "show", "a", "--versions", "--notebook", path).out.splitlines()
    assert max(map(len, lines)) <= 80
    assert f"     {name}.wav  (earlier version 1)" in lines
    assert lines[-1].startswith("     ")
    assert any(line.endswith("  short.wav") for line in lines)


def test_list_of_setups_counts_what_is_filed_and_keeps_to_80_columns_with_a_long_name(chatter, tmp_path):
    path, name = tmp_path / "n.db", " ".join(["brass"] * 13)  # 77 of at most 80 letters
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup(name, facts=SetupFacts(flutes=2))
        notebook.add_cut(name, document=made_cut())
        for level_db in (58.0, 59.0):  # two versions of one
            notebook.add_noise(name, document=made_noise("a", neighbour_db=level_db))
        notebook.add_noise(name, document=made_noise("b"))
    lines = chatter("setup", "list", "--notebook", path).out.splitlines()
    assert max(map(len, lines)) <= 80
    assert f"{name}  (1 cut, 0 taps, 2 noise measurements)" in " ".join(lines).replace("      ", "  ")
    (listed,) = json.loads(chatter("setup", "list", "--notebook", path, "--json").out)["setups"]
    assert (listed["cuts"], listed["taps"], listed["noises"]) == (1, 0, 2)


def test_stick_out_below_the_largest_depth_of_the_setup_is_what_is_refused(chatter, two_cuts):
    with Notebook(two_cuts / "n.db", write=True, make=True) as notebook:
        notebook.add_setup("a", facts=SetupFacts(flutes=2, max_depth_mm=8.0))
    ran = chatter("cut", "one.wav", *SETTING, "--stick-out-mm", "5", "--notebook", "n.db")
    assert ran.code == 1
    assert ran.err == (
        "chatter: stick_out_mm is 5.0: give one that is not below the largest depth of the setup 'a' (8 mm), "
        "or copy it with a lesser one: chatter setup copy\n"
    )
    ran = chatter("cut", "one.wav", *SETTING, "--stick-out-mm", "9", "--notebook", "n.db")
    assert ran.code == 0


def test_export_of_a_setup_whose_kept_facts_do_not_fit_each_other_is_taken_in(chatter, tmp_path):
    facts = SetupFacts(flutes=2, min_rpm=8_000.0, max_rpm=5_000.0, tool="6 mm")  # as a tap could file it once
    with Notebook(tmp_path / "old.db", write=True, make=True) as notebook:
        notebook.add_setup("brick", facts=facts)
    chatter("notebook", "export", "old.jsonl", "--notebook", "old.db")
    assert chatter("notebook", "import", "old.jsonl", "--notebook", "new.db").code == 0
    with Notebook(tmp_path / "new.db") as notebook:
        assert notebook.get_setup("brick").facts == facts


def test_level_pass_that_was_kept_as_a_ramp_is_told_as_it_is_kept(chatter, tmp_path):
    setting = (*SETTING[2:], "--rpm", 12_000, "--depth-from-mm", 0.4, "--depth-to-mm", 2.8)
    words = ("cut", QUIET, *setting, "--notebook", "n.db")
    first = chatter(*words)
    assert "its depth isn't known" in first.err
    with sqlite3.connect(tmp_path / "n.db") as kept:  # as kept before such passes were asked about
        kept.execute("UPDATE cuts SET depth_mm = 2.8")
    again = chatter(*words)
    assert "nothing added" in again.err
    assert "it was kept as 2.8 mm deep" in again.err
    assert "its depth isn't known" not in again.err


def test_recording_filed_again_after_its_setup_learnt_a_fact_is_not_added_again(chatter, two_cuts):
    first = ("cut", "one.wav", *SETTING, "--depth-mm", "0.5", "--notebook", "n.db", "--json")
    assert chatter(*first).code == 0
    learnt = chatter("cut", "two.wav", *SETTING, "--max-rpm", "24000", "--notebook", "n.db")
    assert "now also knows max_rpm" in learnt.err
    again = json.loads(chatter(*first).out)
    assert again["program"]["settings"]["max_rpm"] == 24_000
    assert [again["notebook"][name] for name in ("filed", "cut", "version")] == ["again", 1, 1]
    other = json.loads(chatter(*first, "--feed-mm-min", "480").out)["notebook"]
    assert (other["filed"], other["version"]) == ("changed", 2)
    assert not any("earlier version was told" in note for note in other["notes"])


def test_what_the_earlier_version_was_told_and_the_present_one_was_not_is_said(chatter, two_cuts):
    words = ("cut", "one.wav", *SETTING, "--notebook", "n.db")
    chatter(*words, "--depth-mm", "0.5", "--feed-mm-min", "480")
    less = " ".join(chatter(*words, "--depth-mm", "0.6").err.split())
    assert "the earlier version was told the feed (480 mm/min), the present one not" in less
    none = json.loads(chatter(*words, "--json").out)["notebook"]["notes"]
    assert any("was told the depth (0.6 mm), the present one not" in note for note in none)


def test_tap_that_is_told_beside_a_setup_takes_the_place_of_the_kept_one(chatter, two_cuts):
    taps = (RECORDINGS / "clock-plate-taps.flac", RECORDINGS / "clock-plate-taps-damped.flac")
    chatter("tap", taps[0], "--setup", "a", "--flutes", "2", "--notebook", "n.db")
    (two_cuts / "told.json").write_text(chatter("tap", taps[1], "--json").out)
    words = ("cut", "two.wav", *SETTING, "--depth-mm", "0.5", "--json")
    beside = json.loads(chatter(*words, "--notebook", "n.db", "--tap", "told.json").out)
    chatter("tap", taps[1], "--setup", "a", "--flutes", "2", "--notebook", "told.db")
    alone = json.loads(chatter(*words, "--notebook", "told.db").out)
    assert beside["notebook"]["taps_used"] == 0
    assert beside["advice"] == alone["advice"]
