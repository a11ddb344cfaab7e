"""The demonstration and practice recordings: the answer told is the answer that was put in."""

import json
import re
from pathlib import Path

import pytest
import soundfile


def test_demo_tells_one_stable_and_one_chattering_cut(chatter_alone):
    ran = chatter_alone("demo")
    assert ran.code == 0, ran.err
    assert ran.err == ""
    first, second = ran.out.split("Recording 2.")
    assert "\nSTABLE: this cut did not chatter." in first
    assert "\nCHATTER: this cut chattered." in second
    assert "Dial " in second  # a speed to try
    assert max(map(len, ran.out.splitlines())) <= 80


def test_readme_shows_what_the_demo_really_says(chatter):
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    shown = re.search(r"<!-- example -->.*?```text\n(.*?)```", readme, re.DOTALL).group(1).splitlines()
    told = chatter("demo").out.splitlines()
    # The verdict and the evidence; chances may move with the advice in their last digit.
    for begin in ("CHATTER", "  Spindle:", "  Chatter:"):
        lines = [line for line in shown if line.startswith(begin)]
        assert len(lines) == 1
        assert lines[0] in told


def test_demo_says_that_its_recordings_are_simulated(chatter):
    assert "simulated" in chatter("demo").out.partition("Recording 1.")[0]


@pytest.mark.parametrize("seed", ["0", "1"])  # how often the answer is told right is scored elsewhere
@pytest.mark.parametrize("answer", ["stable", "chatter"])
def test_practice_recording_holds_the_chosen_answer(chatter, answer, seed):
    made = chatter(
        "synth", "--out", "p.flac", "--rpm", "9000", "--flutes", "3", "--answer", answer, "--seed", seed
    )
    assert made.code == 0, made.err
    judged = chatter("cut", "p.flac", "--rpm", "9000", "--flutes", "3", "--json")
    assert json.loads(judged.out)["verdict"] == answer


def test_same_number_makes_the_same_recording(chatter_alone, tmp_path):
    for name, seed in (("a.wav", "1"), ("b.wav", "1"), ("c.wav", "2")):
        words = (
            "synth",
            "--out",
            name,
            "--rpm",
            "9000",
            "--flutes",
            "2",
            "--answer",
            "stable",
            "--seed",
            seed,
        )
        assert chatter_alone(*words).code == 0
    a, b, c = (soundfile.read(tmp_path / name)[0] for name in ("a.wav", "b.wav", "c.wav"))
    assert (a == b).all()
    assert a.shape != c.shape or (a != c).any()


@pytest.mark.parametrize(
    "words",
    [
        ("--out", "p.flac", "--rpm", "0", "--flutes", "2", "--answer", "stable"),
        ("--out", "p.flac", "--rpm", "9000", "--flutes", "2", "--answer", "perhaps"),
        ("--out", "p.flac", "--rpm", "9000", "--flutes", "2", "--answer", "stable", "--seed", "-1"),
        ("--out", "nowhere/p.flac", "--rpm", "9000", "--flutes", "2", "--answer", "stable"),
        ("--out", "p.doc", "--rpm", "9000", "--flutes", "2", "--answer", "stable"),
    ],
)
def test_practice_recording_that_cannot_be_made_gives_one_line(chatter, words):
    ran = chatter("synth", *words)
    assert ran.code in (1, 2)
    assert len(ran.err.strip().splitlines()) == 1
    assert ran.err.startswith("chatter: ")


def test_practice_recording_never_takes_the_place_of_another_file(chatter, tmp_path):
    (tmp_path / "my-cut.wav").write_bytes(b"a recording of a real cut")
    ran = chatter("synth", "--out", "my-cut.wav", "--rpm", "9000", "--flutes", "3", "--answer", "stable")
    assert ran.code == 1
    assert "my-cut.wav: it exists already" in ran.err
    assert (tmp_path / "my-cut.wav").read_bytes() == b"a recording of a real cut"
