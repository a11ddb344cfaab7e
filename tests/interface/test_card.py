"""The card and the map of a setup from the command line: what they caution of, and a retired one."""

import json

import pytest
import soundfile

from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from tests.interface.test_cli import is_one_clear_line
from tests.interface.test_notebook import QUIET
from tests.unit.notebook.made import made_cut


@pytest.fixture
def hot(tmp_path):
    """Give a notebook whose one setup sticks out far, with speeds at which high-speed steel burns."""
    path = tmp_path / "hot.db"
    facts = SetupFacts(flutes=2, max_rpm=24_000.0, diameter_mm=6.0, stick_out_mm=28.0, material="6061")
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("6 mm", facts=facts)
        for name, rpm, depth_mm in (("a", 14_100.0, 1.0), ("b", 12_000.0, 1.5), ("c", 18_000.0, 0.5)):
            notebook.add_cut("6 mm", document=made_cut(name, set_rpm=rpm, depth_mm=depth_mm))
    return path


def test_card_cautions_of_burning_and_of_a_long_stick_out_as_next_does(chatter, hot, tmp_path):
    page = tmp_path / "card.html"
    card = json.loads(chatter("card", "6 mm", "--notebook", hot, "--json", "--report", page).out)
    text = " ".join(chatter("card", "6 mm", "--notebook", hot).out.split())
    # 800 sfm (materials.toml) is 244 m/min, 12,936 rpm with 6 mm; 28 mm over 6 mm is 4.7.
    burns = "at 14,100 rpm (266 m/min) and 18,000 rpm (339 m/min) it burns."
    long = "The tool sticks out 4.7 times its diameter"
    chosen = json.loads(chatter("next", "6 mm", "--notebook", hot, "--json").out)
    then = chosen["cautions"]
    for said in (" ".join(card["cautions"]), text, page.read_text(encoding="utf-8")):
        assert said.count(burns) == 1
        assert said.count(long) == 1
    assert any(long in one for one in then)
    assert any("it burns." in one for one in then) == (chosen["set_rpm"] > 12_936)


def test_next_refuses_a_retired_setup_as_cut_does(chatter, hot):
    assert chatter("setup", "retire", "6 mm", "--notebook", hot).code == 0
    told = chatter("next", "6 mm", "--notebook", hot)
    assert is_one_clear_line(told)
    said = 'this one is retired; bring it back with chatter setup retire "6 mm" --undo, or copy it'
    assert said in told.err
    cut = ("cut", QUIET, "--rpm", "12000", "--flutes", "2", "--setup", "6 mm")
    assert chatter(*cut, "--notebook", hot).err == told.err
    assert chatter("setup", "retire", "6 mm", "--undo", "--notebook", hot).code == 0
    assert chatter("next", "6 mm", "--notebook", hot).code == 0


def test_card_and_map_of_a_retired_setup_say_so(chatter, hot, tmp_path):
    said = 'chatter setup retire "6 mm" --undo brings it back.'
    commands = (("card", "6 mm"), ("setup", "map", "6 mm"))
    for words in commands:
        assert json.loads(chatter(*words, "--notebook", hot, "--json").out)["retired"] is None
        assert "retired" not in chatter(*words, "--notebook", hot).out
    chatter("setup", "retire", "6 mm", "--notebook", hot)
    for words in commands:
        assert json.loads(chatter(*words, "--notebook", hot, "--json").out)["retired"] is not None
        text = chatter(*words, "--notebook", hot).out
        assert "This setup is retired since 2" in text
        assert said in " ".join(text.split())
        assert max(map(len, text.splitlines())) <= 80
    page, picture = tmp_path / "card.html", tmp_path / "map.svg"
    chatter("card", "6 mm", "--notebook", hot, "--report", page)
    assert "This setup is retired since 2" in page.read_text(encoding="utf-8")
    chatter("setup", "map", "6 mm", "--notebook", hot, "--plot", picture)
    assert "This setup is retired since 2" in picture.read_text(encoding="utf-8")


def test_card_tells_that_a_noise_level_is_in_doubt_and_shows_none_next_door(chatter, hot, tmp_path):
    samples, rate_hz = soundfile.read(QUIET)
    soundfile.write(tmp_path / "faint.wav", samples / 3000, rate_hz, subtype="PCM_24")
    there = ("--mic-distance-m", 1, "--neighbour-distance-m", 15)
    assert chatter("noise", "faint.wav", "--setup", "6 mm", *there, "--notebook", hot).code == 0
    page = tmp_path / "card.html"
    (noise,) = json.loads(chatter("card", "6 mm", "--notebook", hot, "--json", "--report", page).out)["noise"]
    assert (noise["level_in_doubt"], noise["neighbour_distance_m"]) == (True, 15)
    told = ("at_neighbour_db", "low_db", "high_db", "rating_db")
    assert {noise[name] for name in told} == {None}
    text = " ".join(chatter("card", "6 mm", "--notebook", hot).out.split())
    for shown in (text, " ".join(page.read_text(encoding="utf-8").split())):
        # hypot(10, 40), by hand
        assert "dB(A) at the phone while it cuts (±41), but the level is in doubt" in shown
        assert "next door, 15 m" not in shown
