"""`chatter tap` from the command line and from Python."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from chatter.analysis import analyse_tap
from chatter.analysis._taps import read_tap
from chatter.report.tap_page import page_of_tap
from chatter.report.tap_plot import draw_tap, modes_before
from chatter.report.tap_text import tell_no_speed
from chatter.simulate.codec import Codec, write_as
from tests.benchmarks.tap_sounds import RATE_HZ, record

MODES = [(812.4, 0.021, 0.0), (1650.0, 0.012, -6.0)]


@pytest.fixture(scope="module")
def taps(tmp_path_factory):
    samples, _ = record(np.random.default_rng(2), MODES)
    path = tmp_path_factory.mktemp("taps") / "tool.wav"
    soundfile.write(path, samples, RATE_HZ)
    return path


def test_document_has_the_contracts_fields_and_is_read_again(chatter, taps, tmp_path):
    ran = chatter("tap", taps, "--of", "tool", "--json")
    assert (ran.code, ran.err) == (0, "")
    document = json.loads(ran.out)
    assert (document["document"], document["version"], document["of"]) == ("tap", 1, "tool")
    assert {"file", "sha256", "duration_s", "sample_rate_hz", "bandwidth_hz", "channel", "findings"} <= set(
        document["recording"]
    )
    assert [sorted(tap) for tap in document["taps"]] == [["time_s", "used"]] * 3
    assert document["modes"][0]["level_db"] == 0.0
    path = tmp_path / "tool.json"
    path.write_text(ran.out, encoding="utf-8")
    read = read_tap(path)
    assert [mode.frequency_hz for mode in read.modes[:2]] == pytest.approx([812.4, 1650.0], rel=0.01)
    assert read.modes[0].damping_ratio == pytest.approx(0.021, rel=0.15)


def test_phones_compressed_file_works(chatter, tmp_path):
    samples, _ = record(np.random.default_rng(3), MODES)
    path = tmp_path / "tool.m4a"
    codec = Codec(name="aac", suffix=".m4a", bit_rate=128_000)
    write_as(codec, path=path, samples=samples[None].astype(np.float32), rate_hz=RATE_HZ)
    mode = json.loads(chatter("tap", path, "--json").out)["modes"][0]
    assert mode["frequency_hz"] == pytest.approx(812.4, rel=0.01)
    assert mode["damping_ratio"] == pytest.approx(0.021, rel=0.15)


def test_comparison_speeds_and_picture_come_with_the_text(chatter, taps, tmp_path):
    samples, _ = record(np.random.default_rng(4), [(812.4, 0.05, 0.0)])
    damped = tmp_path / "damped.wav"
    soundfile.write(damped, samples, RATE_HZ)
    picture = tmp_path / "tap.png"
    ran = chatter("tap", damped, "--compare", taps, "--flutes", 2, "--max-rpm", 24000, "--plot", picture)
    assert ran.code == 0
    assert "damped more than before" in " ".join(ran.out.split())
    told = [float(rpm.replace(",", "")) for rpm in re.findall(r"([\d,]+) rpm true", ran.out)]
    # 60 * 812.4 / (2 * 2) = 12,186 by hand; the 24,372 before it is beyond --max-rpm
    assert told[0] == pytest.approx(12186, rel=0.01)
    assert "locked out" in ran.out
    assert max(len(line) for line in ran.out.splitlines()) <= 80
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_comparison_that_can_not_be_made_is_told(chatter, taps, tmp_path):
    quiet = tmp_path / "nothing.wav"
    soundfile.write(quiet, 1e-3 * np.random.default_rng(0).normal(size=3 * RATE_HZ), RATE_HZ)
    ran = chatter("tap", quiet, "--compare", taps)
    assert f"Nothing here could be compared with {taps.name}" in " ".join(ran.out.split())


def test_short_recording_of_taps_asks_for_no_pass(chatter, taps, tmp_path):
    samples, rate_hz = soundfile.read(taps)
    first = int(json.loads(chatter("tap", taps, "--json").out)["taps"][0]["time_s"] * rate_hz)
    short = tmp_path / "short.wav"
    soundfile.write(short, samples[: first + int(0.1 * rate_hz)][-int(0.8 * rate_hz) :], rate_hz)
    told = " ".join(chatter("tap", short).out.split())
    assert "let the recording run two seconds past the last tap" in told
    assert "the whole pass" not in told


def test_tap_document_can_be_compared_with(chatter, taps, tmp_path):
    before = tmp_path / "before.json"
    before.write_text(chatter("tap", taps, "--json").out, encoding="utf-8")
    comparison = json.loads(chatter("tap", taps, "--compare", before, "--json").out)["comparison"]
    assert comparison["before_file"] == "before.json"
    assert comparison["changes"][0]["damping_factor"] == pytest.approx(1.0)


def test_tap_document_of_another_part_is_no_change_and_refused_in_one_line(chatter, taps, tmp_path):
    frame = tmp_path / "frame.json"
    frame.write_text(chatter("tap", taps, "--of", "frame", "--json").out, encoding="utf-8")
    ran = chatter("tap", taps, "--of", "tool", "--compare", frame)
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert "frame.json: it holds taps of the frame" in ran.err
    assert "compare with taps of the tool" in ran.err
    assert chatter("tap", taps, "--of", "frame", "--compare", frame).code == 0


def test_noise_gives_a_finding_and_no_mode(chatter, noise_wav, tmp_path):
    ran = chatter("tap", noise_wav, "--json", "--plot", tmp_path / "none.svg")
    assert ran.code == 0
    document = json.loads(ran.out)
    assert document["modes"] == []
    assert "no-tap" in {finding["code"] for finding in document["recording"]["findings"]}
    assert "drew nothing" in ran.err


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("nowhere.wav",), 1),
        (("TAPS", "--flutes", "0"), 1),
        (("TAPS", "--max-rpm", "-3"), 1),
        (("TAPS", "--compare", "nowhere.wav"), 1),
        (("TAPS", "--compare", "nowhere.json"), 1),
        (("TAPS", "--plot", "picture.bmp"), 1),
        (("TAPS", "--of", "spindle"), 2),
        ((), 2),
    ],
)
def test_bad_input_is_one_clear_line(words, code, chatter, taps):
    ran = chatter("tap", *[taps if word == "TAPS" else word for word in words])
    assert (ran.code, ran.out) == (code, "")
    assert ran.err.startswith("chatter: ")
    assert ran.err.count("\n") == 1


def test_python_gives_the_same_document(taps):
    import chatter

    document = chatter.analyse_tap(taps, of="frame", flutes=3)
    assert document.to_dict()["of"] == "frame"
    assert document.speeds[0].rpm == pytest.approx(60 * 812.4 / 3, rel=0.01)  # by hand
    with pytest.raises(chatter.ChatterError, match="tool, frame or work"):
        chatter.analyse_tap(taps, of="spindle")


def test_text_on_milling_leads_with_the_running_machine_and_keeps_the_cautions(chatter, tmp_path):
    path = tmp_path / "cut.wav"
    assert (
        chatter("synth", "--out", path, "--rpm", 12000, "--flutes", 2, "--answer", "stable", "--seed", 4).code
        == 0
    )
    ran = chatter("tap", path)
    assert ran.out.startswith("TAP: this sounds like a running machine, not like taps.")
    text = " ".join(ran.out.split())
    assert "no tap heard" in text
    assert "Spindle stopped and locked out" in text
    assert "Tool edges cut, also at rest" in text


def test_text_on_double_hits_alone_does_not_say_that_nothing_rings(chatter, tmp_path):
    times_s = np.array([1.0, 1.09, 2.6, 2.69, 4.2, 4.29])
    samples, _ = record(np.random.default_rng(5), MODES, times_s=times_s, strengths=[1.0, 0.6] * 3)
    path = tmp_path / "double.wav"
    soundfile.write(path, samples, RATE_HZ)
    text = " ".join(chatter("tap", path).out.split())
    assert text.startswith("TAP: none of the taps on the tool could be used.")
    assert "3 taps heard, 0 used" in text
    assert "Nothing rings" not in text


def test_picture_of_a_comparison_shows_the_modes_before(chatter, taps, tmp_path):
    samples, _ = record(np.random.default_rng(4), [(812.4, 0.05, 0.0)])
    damped = tmp_path / "damped.wav"
    soundfile.write(damped, samples, RATE_HZ)
    document = analyse_tap(damped, compare=taps)
    picture = tmp_path / "tap.svg"
    draw_tap(document, path=picture)
    assert "grey: before" in picture.read_text(encoding="utf-8")
    assert [round(mode.frequency_hz) for mode in modes_before(document)] == [812, 1650]  # as made
    page = page_of_tap(document)
    assert "before the change" in str(page)


def test_speeds_named_are_those_that_the_setups_spindle_and_tool_allow(chatter, taps, tmp_path):
    book = ("--notebook", tmp_path / "n.db")
    spindle = ("--flutes", 2, "--min-rpm", 8000, "--max-rpm", 18000)
    chatter("setup", "add", "plain", *spindle, *book)
    chatter("setup", "add", "slow tool", *spindle, "--tool-max-rpm", 9000, *book)
    chatter("setup", "add", "narrow", "--flutes", 2, "--min-rpm", 9000, "--max-rpm", 11000, *book)

    def speeds(name):
        document = json.loads(chatter("tap", taps, "--setup", name, "--json", *book).out)
        return [one["rpm"] for one in document["speeds"]]

    # By hand: 60 * 812.4 / (2 k) = 24,372, 12,186, 8,124 and 6,093 rpm for k = 1 to 4.
    assert speeds("plain") == pytest.approx([12186, 8124], rel=0.01)
    assert speeds("slow tool") == pytest.approx([8124], rel=0.01)
    assert speeds("narrow") == []
    page = tmp_path / "tap.html"
    text = " ".join(chatter("tap", taps, "--setup", "narrow", "--report", page, *book).out.split())
    said = "None of the speeds that the loudest mode favours lies between 9,000 and 11,000 rpm"
    assert said in text
    assert said in " ".join(page.read_text(encoding="utf-8").split())


def test_slowest_speed_that_is_named_is_told_as_no_limit_of_the_spindle(chatter, taps, tmp_path):
    page = tmp_path / "tap.html"
    text = chatter("tap", taps, "--flutes", 2, "--max-rpm", 400, "--report", page).out
    for shown in (" ".join(text.split()), " ".join(page.read_text(encoding="utf-8").split())):
        assert "can be named up to 400 rpm: no speed below 500 rpm is named." in shown
        assert "may be dialled" not in shown
    without = replace(analyse_tap(taps, flutes=2), speeds=())  # as of a very slow mode and many flutes
    said = "All speeds that the loudest mode favours lie below 500 rpm, and none so slow is named."
    assert tell_no_speed(without) == said


def test_slowest_speed_of_the_spindle_is_told_where_nothing_lies_above_it(chatter, taps, tmp_path):
    book = ("--notebook", tmp_path / "n.db")
    chatter("setup", "add", "fast", "--flutes", 2, "--min-rpm", 30_000, *book)
    text = " ".join(chatter("tap", taps, "--setup", "fast", *book).out.split())
    # By hand: the fastest is 60 * 812.4 / 2 = 24,372 rpm.
    assert "favours lie below 30,000 rpm, the slowest that may be dialled." in text


def test_very_quiet_taps_ask_for_a_hands_breadth(chatter, tmp_path):
    samples, _ = record(np.random.default_rng(2), MODES)
    path = tmp_path / "faint.wav"
    soundfile.write(path, 0.002 * samples / np.abs(samples).max(), RATE_HZ, subtype="FLOAT")
    findings = json.loads(chatter("tap", path, "--json").out)["recording"]["findings"]
    (quiet,) = (one for one in findings if one["code"] == "quiet")
    assert "within a hand's breadth" in quiet["message"]
    assert "guard" not in quiet["message"]


def test_frame_is_told_from_which_frequency_on(chatter, taps):
    assert "below 60 Hz" in chatter("tap", taps, "--of", "frame").out
    assert "below 60 Hz" not in chatter("tap", taps, "--of", "tool").out
