"""The notebook from the command line."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from tests.interface.test_cli import is_one_clear_line
from tests.unit.notebook.made import made_cut

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
    assert "--undo brings it back" in kept("setup", "retire", "6 mm short").err
    back = kept("setup", "retire", "6 mm long", "--undo")
    assert (back.code, back.err) == (0, "chatter: the setup '6 mm long' is in use, with its cuts\n")
    assert "6 mm long" in kept("setup", "list").out


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
        # Deeper than the 30 mm that the setup's tool sticks out.
        ("cut", QUIET, "--rpm", "12000", "--flutes", "2", "--depth-mm", "31", "--setup", "6 mm long"),
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
    assert "kept in the setup '6 mm long', as cut 1 of the notebook." in first.err
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


def test_notebook_in_a_folder_that_is_not_there_gives_one_line_and_makes_none(chatter, tmp_path):
    place = tmp_path / "typo" / "n.db"
    assert is_one_clear_line(chatter("setup", "add", "a", "--flutes", "2", "--notebook", place))
    assert is_one_clear_line(chatter("cut", QUIET, *SETTING, "--setup", "a", "--notebook", place))
    assert not place.parent.exists()


def test_foreign_notebook_gives_one_line_and_is_left_untouched(chatter, tmp_path):
    foreign = tmp_path / "list.txt"
    foreign.write_text("eggs\n" * 100)
    for words in (("setup", "list"), ("setup", "add", "a", "--flutes", "2")):
        assert is_one_clear_line(chatter(*words, "--notebook", foreign))
    ran = chatter("cut", QUIET, *SETTING, "--setup", "a", "--notebook", foreign)
    assert is_one_clear_line(ran)
    assert foreign.read_text() == "eggs\n" * 100


@pytest.fixture
def made(tmp_path):
    """Give a notebook with a setup and cuts made by hand: speed, depth, verdict, chatter frequency."""
    facts = SetupFacts(flutes=2, min_rpm=8_000.0, max_rpm=24_000.0, diameter_mm=6.0, width_mm=3.0)

    def make(*cuts, count=1):
        path = tmp_path / "n.db"
        with Notebook(path, write=True, make=True) as notebook:
            notebook.add_setup("6 mm long", facts=facts)
            for number, (rpm, depth_mm, verdict, hz) in enumerate(cuts * count):
                document = made_cut(
                    str(number), set_rpm=rpm, depth_mm=depth_mm, verdict=verdict, chatter_hz=hz
                )
                notebook.add_cut("6 mm long", document=document)
        return path

    return make


CUTS = ((12_000.0, 1.0, "chatter", 913.4), (13_800.0, 1.0, "stable", None))


def test_next_gives_the_contracts_document(chatter, made):
    ran = chatter("next", "6 mm long", "--notebook", made(*CUTS), "--json")
    document = json.loads(ran.out)
    # The contract's fields, in its order.
    names = "document version setup action rpm set_rpm depth_mm width_mm feed_mm_min stable_probability"
    assert [name for name in document if name in names.split()] == names.split()
    assert (document["document"], document["version"], document["setup"]) == ("next", 1, "6 mm long")
    assert document["action"] in ("cut", "done")
    assert 8_000 <= document["set_rpm"] <= 24_000
    assert document["depth_mm"] <= 1.5
    # 0.04 mm a tooth, two teeth, 13,800 rpm: 1,104 mm/min; 1 mm deep and 3 mm wide: 3,312 mm³/min.
    assert document["best_so_far"]["removal_mm3_min"] == pytest.approx(3312)
    assert document["why"].endswith(".")


def test_next_tells_a_chip_that_may_break_the_tool_before_the_setting(chatter, tmp_path):
    # 0.04 mm a tooth of a 1 mm tool: in 7075 the table's first row, 0.002 in at 1/4 in, gives 0.008 mm there.
    path = tmp_path / "n.db"
    facts = SetupFacts(flutes=2, min_rpm=8_000.0, max_rpm=24_000.0, diameter_mm=1.0, material="7075")
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("1 mm", facts=facts)
        notebook.add_cut("1 mm", document=made_cut("a", set_rpm=10_000.0, depth_mm=0.2, verdict="stable"))
    document = json.loads(chatter("next", "1 mm", "--notebook", path, "--json").out)
    assert "the tool may break" in document["urgent"][0]
    assert document["cautions"][0] == document["urgent"][0]
    assert document["action"] == "cut"
    assert document["feed_mm_min"] is None
    usual = 0.008 * 2 * document["set_rpm"]
    assert f"at {document['set_rpm']:,.0f} rpm up to {usual:,.0f} mm/min is usual" in document["urgent"][1]
    card = json.loads(chatter("card", "1 mm", "--notebook", path, "--json").out)
    assert card["cautions"][0].startswith("10,000 rpm: Each tooth would take 0.04 mm")
    text = " ".join(chatter("next", "1 mm", "--notebook", path).out.split())
    assert text.index("the tool may break") < text.index("spindle speed")
    assert text.count("the tool may break") == 1


def test_next_and_cut_tell_alike_of_a_speed_at_which_high_speed_steel_burns(kept, chatter, tmp_path):
    # pi * 4 mm * 24,000 rpm is 302 m/min; high-speed steel cuts aluminium at up to 244.
    tool = ("--flutes", "2", "--material", "6061", "--diameter-mm", "4")
    cut = kept("cut", QUIET, "--rpm", "24000", *tool, "--depth-mm", "0.5", "--setup", "4 mm", "--json")
    path = tmp_path / "other.db"
    facts = SetupFacts(flutes=2, max_rpm=24_000.0, diameter_mm=4.0, material="6061")
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("4 mm", facts=facts)
        notebook.add_cut("4 mm", document=made_cut("a", set_rpm=24_000.0, depth_mm=0.5, verdict="stable"))
    then = chatter("next", "4 mm", "--notebook", path, "--json")
    for ran in (cut, then):
        document = json.loads(ran.out)
        cautions = document.get("cautions") or document["advice"]["cautions"]
        said = " ".join(cautions)
        assert said.count("If the tool is high-speed steel, stay below 244 m/min") == 1
        assert said.count("the present 24,000 rpm (302 m/min) it burns") == 1


def test_next_in_words_says_what_to_dial_and_how_to_stay_safe(chatter, made):
    ran = chatter("next", "6 mm long", "--notebook", made(*CUTS))
    assert ran.out.startswith("CUT: ")
    assert "spindle speed" in ran.out
    assert "Keep the guards closed" in ran.out
    assert all(len(line) <= 80 for line in ran.out.splitlines())


@pytest.mark.parametrize(
    "words",
    [
        ("next", "6 mm long"),
        ("next", "other"),
        ("next", "6 mm long", "--boldest-step", "1"),
        ("next", "6 mm long", "--boldest-step", "nan"),
        ("setup", "map", "6 mm long"),
        ("setup", "map", "6 mm long", "--plot", "map.gif"),
        ("card", "other"),
    ],
)
def test_question_that_a_setup_cannot_answer_gives_one_line(chatter, made, words):
    assert is_one_clear_line(chatter(*words, "--notebook", made()))


def test_map_holds_every_cut_the_chances_behind_them_and_the_best(chatter, made, tmp_path):
    path = made(*CUTS)
    ran = chatter("setup", "map", "6 mm long", "--notebook", path, "--json", "--plot", tmp_path / "m.svg")
    document = json.loads(ran.out)
    assert [(cut["rpm"], cut["verdict"]) for cut in document["cuts"]] == [
        (12_000, "chatter"),
        (13_800, "stable"),
    ]
    assert len(document["stable_probability"]) == len(document["depths_mm"])
    assert {len(row) for row in document["stable_probability"]} == {len(document["speeds_rpm"])}
    assert document["best_so_far"]["set_rpm"] == 13_800
    picture = (tmp_path / "m.svg").read_text()
    for word in ("cut: stable", "cut: chatter", "chances of a stable cut", "best heard stable"):
        assert word in picture
    assert "Best heard stable: 13,800 rpm" in chatter("setup", "map", "6 mm long", "--notebook", path).out


def test_map_without_chatter_shows_cuts_and_no_chances(chatter, made):
    path = made((12_000.0, 1.0, "stable", None))
    document = json.loads(chatter("setup", "map", "6 mm long", "--notebook", path, "--json").out)
    assert document["stable_probability"] is None
    assert "No chances yet" in chatter("setup", "map", "6 mm long", "--notebook", path).out


def test_card_lists_settings_that_were_heard_stable_and_nothing_that_chattered(chatter, made):
    path = made(*CUTS, (13_800.0, 1.4, "chatter", 913.4), (20_000.0, 0.5, "stable", None))
    card = json.loads(chatter("card", "6 mm long", "--notebook", path, "--json").out)
    assert [(row["set_rpm"], row["depth_mm"], row["chatter_depth_mm"]) for row in card["settings"]] == [
        (13_800, 1.0, 1.4),
        (20_000, 0.5, None),
    ]
    text = chatter("card", "6 mm long", "--notebook", path).out
    assert "not at 1.4 mm" in text
    assert "Wear hearing protection" in text
    assert "not listed" not in text


def test_card_lists_no_setting_outside_what_spindle_and_tool_may_turn(chatter, made):
    # The setup's range is 8,000 to 24,000 rpm.
    path = made((12_000.0, 1.0, "stable", None), (25_000.0, 2.0, "stable", None))
    card = json.loads(chatter("card", "6 mm long", "--notebook", path, "--json").out)
    assert [row["set_rpm"] for row in card["settings"]] == [12_000]
    assert card["cautions"][0].startswith("Heard stable but not listed: 25,000 rpm")


def test_card_tells_a_cut_that_chattered_at_the_same_dial_though_load_slowed_the_other(chatter, tmp_path):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("a", facts=SetupFacts(flutes=2))
        slowed = made_cut("1", set_rpm=14_000.0, rpm=13_721.0, depth_mm=1.0)
        notebook.add_cut("a", document=slowed)
        held = made_cut(
            "2", set_rpm=14_000.0, rpm=13_996.0, depth_mm=1.6, verdict="chatter", chatter_hz=913.4
        )
        notebook.add_cut("a", document=held)
    card = json.loads(chatter("card", "a", "--notebook", path, "--json").out)
    assert [(row["set_rpm"], row["chatter_depth_mm"]) for row in card["settings"]] == [(14_000, 1.6)]


def test_notebook_goes_out_and_comes_back_and_is_backed_up(chatter, made, tmp_path):
    path = made(*CUTS)
    for file in ("out.jsonl", "out.csv"):
        assert chatter("notebook", "export", tmp_path / file, "--notebook", path).code == 0
        assert is_one_clear_line(chatter("notebook", "export", tmp_path / file, "--notebook", path))
    assert chatter("notebook", "backup", tmp_path / "copy.db", "--notebook", path).code == 0
    ran = chatter("notebook", "import", tmp_path / "out.jsonl", "--notebook", tmp_path / "other.db")
    assert "added 1 setup, 2 cuts, 0 taps, 0 noise measurements; 0 were there already" in ran.err
    shown = [
        chatter("setup", "show", "6 mm long", "--json", "--notebook", one).out
        for one in (path, tmp_path / "copy.db", tmp_path / "other.db")
    ]
    assert shown[0] == shown[1] == shown[2]


@pytest.mark.parametrize(
    "words",
    [
        ("notebook", "export", "out.txt"),
        ("notebook", "import", "missing.jsonl"),
        ("notebook", "backup", "no/such/folder/copy.db"),
    ],
)
def test_exchange_that_cannot_be_done_gives_one_line(chatter, made, words):
    assert is_one_clear_line(chatter(*words, "--notebook", made(*CUTS)))


@pytest.fixture
def tap_wav(tmp_path):
    """Give four taps on a part that swings at 930 Hz with a damping ratio of 0.02."""
    rate_hz = 48_000
    sound = np.random.default_rng(3).normal(0, 1e-4, 4 * rate_hz)
    time_s = np.arange(rate_hz // 2) / rate_hz
    omega = 2 * np.pi * 930
    ring = 0.4 * np.exp(-0.02 * omega * time_s) * np.sin(omega * np.sqrt(1 - 0.02**2) * time_s)
    for start_s in (0.7, 1.5, 2.3, 3.1):
        sound[int(start_s * rate_hz) :][: len(ring)] += ring
    path = tmp_path / "taps.wav"
    soundfile.write(path, sound, rate_hz)
    return path


def test_tap_is_filed_once_and_counts_in_the_advice(kept, tap_wav):
    first = json.loads(kept("tap", tap_wav, "--of", "tool", "--setup", "6 mm long", "--json").out)
    assert first["notebook"]["filed"] == "new"
    assert first["program"]["settings"]["flutes"] == 2  # the setup's
    again = kept("tap", tap_wav, "--of", "tool", "--setup", "6 mm long")
    assert "holds this recording already, as tap 1" in again.err
    cut = json.loads(kept("cut", SINGING, *SETTING, "--setup", "6 mm long", "--json").out)
    assert cut["notebook"]["taps_used"] == 1
    assert cut["rings"] is not None
    shown = json.loads(kept("setup", "show", "6 mm long", "--json").out)
    assert [(tap["of"], tap["file"]) for tap in shown["taps"]] == [("tool", "taps.wav")]


def test_noise_is_filed_takes_its_speed_from_the_kept_cut_and_stands_on_the_card(kept):
    kept("cut", QUIET, *SETTING, "--setup", "6 mm long")
    words = ("noise", QUIET, "--setup", "6 mm long", "--mic-distance-m", "1", "--neighbour-distance-m", "15")
    first = json.loads(kept(*words, "--json").out)
    assert first["notebook"]["filed"] == "new"
    assert any(tone["source"] == "tooth passing" for tone in first["tones"])  # speed and flutes of the cut
    assert "holds this recording already, as noise 1" in kept(*words).err
    card = json.loads(kept("card", "6 mm long", "--json").out)
    assert [(one["set_rpm"], one["verdict"]) for one in card["noise"]] == [(12_000, "stable")]
    assert card["noise"][0]["at_neighbour_db"] == first["neighbour"]["LAeq_db"]
    text = kept("card", "6 mm long").out
    assert "next door, 15 m away" in " ".join(text.split())
    assert "noise 1:" in kept("setup", "show", "6 mm long").out


def test_poorer_noise_of_the_same_recording_is_told_and_a_better_one_is_not(kept):
    words = ("noise", QUIET, "--setup", "6 mm long")
    placed = ("--mic-distance-m", "1", "--neighbour-distance-m", "15")
    assert "the earlier version" not in kept(*words, "--rpm", "12000").err
    better = kept(*words, *placed, "--full-scale-db", "120").err
    assert "the earlier version stays" in better
    assert "the card shows the present one" not in better
    poorer = json.loads(kept(*words, "--json").out)["notebook"]["notes"][-1]
    assert "was surer (±1 dB, now ±10) and told the level at the neighbour" in poorer
    assert "the card shows the present one" in poorer
    card = json.loads(kept("card", "6 mm long", "--json").out)["noise"]
    assert [one["uncertainty_db"] for one in card] == [10.0]


def test_noise_takes_the_setups_flutes_and_refuses_another_speed_than_the_cut_has(kept):
    told = json.loads(kept("noise", QUIET, "--setup", "6 mm long", "--rpm", "12000", "--json").out)
    assert any(tone["source"] == "tooth passing" for tone in told["tones"])
    kept("cut", QUIET, *SETTING, "--setup", "6 mm long")
    ran = kept("noise", QUIET, "--setup", "6 mm long", "--rpm", "9000")
    assert is_one_clear_line(ran)
    assert "give 12000 with 2 flutes" in ran.err


def test_noise_for_a_new_setup_needs_the_flutes_and_tells_a_name_like_it(kept, chatter, tmp_path):
    ran = kept("noise", QUIET, "--setup", "6 mm lon")
    assert is_one_clear_line(ran)
    assert "there is '6 mm long'" in ran.err
    fresh = tmp_path / "fresh.db"
    assert is_one_clear_line(chatter("noise", QUIET, "--setup", "new", "--notebook", fresh))
    assert not fresh.exists()


def test_several_noises_are_filed_each(kept):
    ran = kept("noise", QUIET, SINGING, "--setup", "6 mm long", "--flutes", "2", "--rpm", "12000")
    assert ran.code == 0
    assert "as noise 1 of the notebook" in ran.err
    assert "as noise 2 of the notebook" in ran.err


def test_noise_for_a_retired_setup_gives_one_line(kept):
    kept("setup", "retire", "6 mm long")
    assert is_one_clear_line(kept("noise", QUIET, "--setup", "6 mm long"))


def test_tap_of_the_wrong_part_filed_again_is_a_new_version(kept, tap_wav):
    kept("tap", tap_wav, "--of", "frame", "--setup", "6 mm long")
    changed = json.loads(kept("tap", tap_wav, "--of", "tool", "--setup", "6 mm long", "--json").out)
    assert (changed["notebook"]["filed"], changed["notebook"]["version"]) == ("changed", 2)
    shown = json.loads(kept("setup", "show", "6 mm long", "--json").out)
    assert [tap["of"] for tap in shown["taps"]] == ["tool"]


def test_tap_in_which_nothing_rings_is_not_kept(kept, noise_wav):
    ran = kept("tap", noise_wav, "--setup", "6 mm long", "--json")
    assert json.loads(ran.out)["notebook"]["tap"] is None
    assert "nothing was kept" in ran.err


@pytest.mark.parametrize("words", [("cut", QUIET, *SETTING), ("noise", QUIET)], ids=["cut", "noise"])
def test_notebook_named_without_a_setup_tells_that_nothing_was_filed(chatter, tmp_path, words):
    ran = chatter(*words, "--notebook", tmp_path / "n.db")
    assert (ran.code, ran.err.count("nothing was filed")) == (0, 1)
    assert not (tmp_path / "n.db").exists()
    assert "filed" not in chatter(*words).err


def test_tap_for_a_new_setup_needs_the_flutes(kept, tap_wav):
    assert is_one_clear_line(kept("tap", tap_wav, "--setup", "another"))
    assert kept("tap", tap_wav, "--setup", "another", "--flutes", "3").code == 0


def test_caution_names_the_fastest_speed_that_was_dialled_not_the_last_one(chatter, tmp_path):
    with Notebook(tmp_path / "n.db", write=True, make=True) as notebook:
        notebook.add_setup("a", facts=SetupFacts(flutes=2))
        for name, set_rpm in (("one", 12_000.0), ("two", 9_000.0)):
            notebook.add_cut("a", document=made_cut(name, set_rpm=set_rpm, depth_mm=0.5))
    said = json.loads(chatter("next", "a", "--notebook", "n.db", "--json").out)
    assert "nothing above 12,000 rpm is suggested" in " ".join(said["cautions"])
    assert said["set_rpm"] == 12_000


@pytest.fixture
def in_turns(tmp_path):
    """Give the quiet cut with its spindle's line louder, as run-out or teeth that cut in turns make it."""
    sound, rate_hz = soundfile.read(QUIET)
    time_s = np.arange(len(sound)) / rate_hz
    line = 0.04 * np.sin(
        2 * np.pi * 11_850 / 60 * time_s
    )  # 12,000 rpm less 1.25 %: fixtures/make_recordings.py
    path = tmp_path / "turns.flac"
    soundfile.write(path, sound + np.where((time_s > 1.2) & (time_s < 3.8), line, 0.0), rate_hz)
    return path


def test_answer_itself_tells_that_the_notebook_counts_the_cut_otherwise_once(kept, in_turns, tmp_path):
    heard = json.loads(kept("cut", in_turns, *SETTING, "--json").out)["cuts"][0]
    # Far softer halves in a lighter cut at the same speed: period doubling (docs/next.md, rule 6).
    lighter = made_cut("lighter", depth_mm=0.4, rpm=heard["measured_rpm"], half_passing_db=-30.0)
    with Notebook(tmp_path / "n.db", write=True) as notebook:
        notebook.add_cut("6 mm long", document=lighter)
    page = tmp_path / "quiet.html"
    for _ in range(2):  # filed, and found there again
        ran = kept("cut", in_turns, *SETTING, "--setup", "6 mm long", "--report", page)
        assert heard["verdict"] == "stable"
        for shown in (ran.out, page.read_text(encoding="utf-8")):
            words = " ".join(shown.split())
            assert words.count("so this cut counts as chatter") == 1
            assert words.index("so this cut counts as chatter") < words.index("Set next")
        assert "counts as" not in ran.err
    again = json.loads(kept("cut", in_turns, *SETTING, "--setup", "6 mm long", "--json").out)
    assert "so this cut counts as chatter" in again["notebook"]["notes"][-1]


def test_level_pass_told_as_a_ramp_gives_no_depth_to_the_answer_or_the_notebook(kept):
    told = ("--rpm", "12000", "--flutes", "2", "--depth-from-mm", "0.5", "--depth-to-mm", "3")
    ran = kept("cut", QUIET, *told, "--setup", "6 mm long", "--json")
    document = json.loads(ran.out)
    assert "ramp-does-not-grow" in {one["code"] for one in document["recording"]["findings"]}
    assert (document["verdict"], document["ramp"], document["notebook"]["filed"]) == ("stable", None, "new")
    assert "its depth isn't known" in ran.err
    shown = json.loads(kept("setup", "show", "6 mm long", "--json").out)
    assert [cut["depth_mm"] for cut in shown["cuts"]] == [None]
