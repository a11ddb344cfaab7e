"""The picture of a cut's advice, and what rings, from the command line."""

import json
from pathlib import Path

import pytest

FIXTURES = Path(__file__).parents[2] / "fixtures" / "recordings"
SINGING = FIXTURES / "clock-plate-singing.flac"
WORDS = ("--rpm", 12000, "--flutes", 2, "--min-rpm", 6000, "--max-rpm", 24000, "--depth-mm", 1.5)


def tap(of, hz):
    mode = {
        "frequency_hz": hz,
        "frequency_sd_hz": 0.5,
        "damping_ratio": 0.03,
        "damping_ratio_sd": 0.001,
        "damping_bound": "none",
        "decay_time_s": 0.1,
        "level_db": 0.0,
    }
    return json.dumps({"document": "tap", "version": 1, "of": of, "modes": [mode]})


def test_cut_draws_its_advice_and_says_so_on_stderr(chatter, tmp_path):
    picture = tmp_path / "cut.svg"
    ran = chatter("cut", SINGING, *WORDS, "--plot", picture, "--json")
    assert ran.code == 0, ran.err
    first = json.loads(ran.out)["advice"]["speeds"][0]
    text = picture.read_text(encoding="utf-8")
    assert f"dial {first['set_rpm']:,.0f} rpm" in text
    assert "at 1.5 mm depth" in text
    assert ran.err == f"chatter: drew {picture}\n"


def test_recording_without_a_cut_draws_no_speed(chatter, noise_wav, tmp_path):
    picture = tmp_path / "cut.svg"
    assert chatter("cut", noise_wav, "--rpm", 12000, "--flutes", 2, "--plot", picture).code == 0
    assert "no other speed to suggest" in picture.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "said"), [("cut.pdf", "ends in .png or .svg"), ("none/cut.png", "folder doesn't exist")]
)
def test_picture_that_cannot_be_written_is_refused_before_the_work(name, said, chatter):
    ran = chatter("cut", "no-such-recording.wav", *WORDS, "--plot", name)
    assert (ran.code, ran.out) == (1, "")
    assert said in ran.err
    assert ran.err.count("\n") == 1


def test_tapped_tool_is_named_and_without_a_tap_nothing_is(chatter, tmp_path):
    # The recording chatters near 679 Hz (README.md shows it); 679 / 665 = 1.02.
    (tmp_path / "tool.json").write_text(tap("tool", 665.0), encoding="utf-8")
    (tmp_path / "frame.json").write_text(tap("frame", 130.0), encoding="utf-8")
    taps = ("--tap", "tool.json", "--tap", "frame.json")
    rings = json.loads(chatter("cut", SINGING, *WORDS, *taps, "--json").out)["rings"]
    assert rings["part"] == "tool"
    assert "2 % above the tapped tool mode at 665 Hz" in rings["why"]
    assert "What rings" in chatter("cut", SINGING, *WORDS, *taps).out
    assert json.loads(chatter("cut", SINGING, *WORDS, "--json").out)["rings"] is None
