"""Documents of tapped modes as people give them: right, wrong, old, broken."""

import copy
import json

import pytest

from chatter.analysis._taps import read_tap
from chatter.errors import FileProblemError

MODE = {
    "frequency_hz": 812.4,
    "frequency_sd_hz": 0.5,
    "damping_ratio": 0.021,
    "damping_ratio_sd": 0.001,
    "damping_bound": "none",
    "decay_time_s": 0.064,
    "level_db": 0.0,
}
TAP = {  # as the contract prints it, and a second mode
    "document": "tap",
    "version": 1,
    "program": {"name": "chatter", "version": "0.1.0", "settings": {}},
    "recording": {"file": "tap.m4a"},
    "of": "tool",
    "taps": [{"time_s": 0.81, "used": True}],
    "modes": [MODE | {"frequency_hz": 1_650.0, "level_db": -12.0}, MODE],
}


@pytest.fixture
def write(tmp_path):
    def to_file(document, name="tap.json"):
        path = tmp_path / name
        path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
        return path

    return to_file


def changed(**fields):
    document = copy.deepcopy(TAP)
    document["modes"][0] |= fields
    return document


def problem_of(path):
    with pytest.raises(FileProblemError) as caught:
        read_tap(path)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith(path.name)
    return message


def test_tap_of_the_contract_is_read_with_its_strongest_mode_first(write):
    tap = read_tap(write(TAP))
    assert (tap.file, tap.of) == ("tap.json", "tool")
    assert [mode.frequency_hz for mode in tap.modes] == [812.4, 1650.0]
    assert tap.modes[0].to_dict() == MODE


def test_byte_order_mark_before_the_document_does_no_harm(write):
    assert read_tap(write("\ufeff" + json.dumps(TAP))).of == "tool"


def test_spread_that_is_not_known_stays_unknown(write):
    tap = read_tap(write(changed(frequency_sd_hz=None, damping_ratio_sd=None, decay_time_s=None, level_db=3)))
    assert (tap.modes[0].frequency_sd_hz, tap.modes[0].damping_ratio_sd) == (None, None)


@pytest.mark.parametrize(
    ("document", "said"),
    [
        ("not json", "it isn't JSON"),
        ("[" * 100_000, "it isn't JSON"),
        ("[]", "it isn't a tap document"),
        ("", "it isn't JSON"),
        (TAP | {"document": "cut"}, "it isn't a tap document but a cut document"),
        ({}, "it isn't a tap document: "),
        (TAP | {"version": 2}, "version 2, and only version 1 is known"),
        (TAP | {"version": True}, "version True"),
        (TAP | {"of": "spindle"}, "what was tapped (of) is spindle: it must be tool, frame or work"),
        (TAP | {"of": None}, "what was tapped (of) is missing"),
        (TAP | {"of": ["tool"]}, "what was tapped (of)"),
        (TAP | {"modes": []}, "it holds no modes"),
        (TAP | {"modes": None}, "it holds no modes"),
        (TAP | {"modes": [3]}, "mode 1 isn't a group of fields"),
        (TAP | {"modes": [MODE] * 101}, "it holds 101 modes"),
        (changed(frequency_hz=float("nan")), "frequency_hz of mode 1 is nan"),
        (changed(frequency_hz=float("inf")), "frequency_hz of mode 1 is inf"),
        (changed(frequency_hz=-5), "frequency_hz of mode 1 is -5"),
        (changed(frequency_hz="812"), "frequency_hz of mode 1 is 812"),
        (changed(frequency_hz=True), "frequency_hz of mode 1 is True"),
        (changed(frequency_hz=10**400), "frequency_hz of mode 1 is 1000"),
        (changed(damping_ratio=0), "damping_ratio of mode 1 is 0: it must be a number from 1e-06 to 0.99"),
        (changed(damping_ratio=None), "damping_ratio of mode 1 is missing"),
        (changed(damping_ratio_sd=-1), "damping_ratio_sd of mode 1 is -1"),
        (changed(damping_bound="lower"), "damping_bound of mode 1 is lower: it must be none or upper"),
        (changed(level_db=None), "level_db of mode 1 is missing"),
    ],
)
def test_document_that_is_no_tap_is_one_clear_line(document, said, write):
    assert said in problem_of(write(document))


@pytest.mark.parametrize("field", sorted(MODE))
def test_missing_field_is_named(field, write):
    document = changed()
    del document["modes"][0][field]
    message = problem_of(write(document))
    assert f"{field} of mode 1 is missing" in message


def test_file_that_is_missing_a_folder_no_text_or_huge_is_one_clear_line(tmp_path):
    assert "no such file" in problem_of(tmp_path / "none.json")
    assert "it is a folder" in problem_of(tmp_path)
    (tmp_path / "sound.json").write_bytes(b"\xff\xfe\x00RIFF")
    assert "it isn't text" in problem_of(tmp_path / "sound.json")
    (tmp_path / "huge.json").write_bytes(b" " * 5_000_001)
    assert "too large" in problem_of(tmp_path / "huge.json")


def test_command_tells_a_wrong_tap_in_one_line(chatter, noise_wav, write):
    ran = chatter("cut", noise_wav, "--rpm", 12000, "--flutes", 2, "--tap", write({}))
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("chatter: tap.json: it isn't a tap document: ")
    assert ran.err.count("\n") == 1
