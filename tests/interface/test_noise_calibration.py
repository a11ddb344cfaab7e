"""`chatter calibrate` from the command line: what is kept, and what is refused."""

import json

import numpy as np
import pytest
import soundfile

from tests.interface.noise_made import RATE_HZ, sine, told

pytestmark = pytest.mark.usefixtures("home")  # no test writes to the user's own folder


def test_calibration_by_a_calibrators_tone_is_kept_and_used(chatter, tone, tmp_path):
    path = tmp_path / "calibrator.wav"
    held = np.concatenate([np.zeros(RATE_HZ), sine(1000.0, 0.05, 8), np.zeros(RATE_HZ)])
    soundfile.write(path, held + np.random.default_rng(3).normal(0, 1e-4, len(held)), RATE_HZ)
    ran = chatter("calibrate", "my phone", path, "--level-db", 94, "--tone-hz", 1000, "--json")
    assert ran.code == 0
    made = json.loads(ran.out)
    # 94 - 20 lg 0.05 = 120.02, by hand; 8 of 10 s are tone, which the middle level doesn't mind
    assert made["full_scale_db"] == pytest.approx(120.02, abs=0.1)
    document = told(chatter("noise", tone, "--calibration", "my phone", "--json"))
    assert document["calibration"]["source"] == "saved"
    assert document["levels"]["LAeq_db"] == pytest.approx(100.02, abs=0.2)
    again = chatter("calibrate", "my phone", path, "--level-db", 94, "--tone-hz", 1000)
    assert (again.code, again.out) == (1, "")
    assert "replaced" in again.err
    assert chatter("calibrate", "my phone", path, "--level-db", 90, "--replace").code == 0
    assert told(chatter("noise", tone, "--calibration", "my phone", "--json"))["calibration"][
        "full_scale_db"
    ] == pytest.approx(90 + 26.02 + 0.97, abs=0.3)  # the mean counts now, with its 2 s of silence


def test_calibration_from_a_meters_reading_uses_its_weighting(chatter, tmp_path):
    path = tmp_path / "hum.wav"
    soundfile.write(path, sine(100.0, 0.1), RATE_HZ, subtype="FLOAT")
    ran = chatter("calibrate", "hum", path, "--level-db", 80, "--weighting", "A", "--json")
    # A at 100 Hz is -19.1 dB (IEC 61672-1:2013, Table 3): 80 + 20 + 19.1.
    assert json.loads(ran.out)["full_scale_db"] == pytest.approx(119.1, abs=0.2)
    ran = chatter("calibrate", "hum c", path, "--level-db", 80, "--weighting", "C", "--json")
    assert json.loads(ran.out)["full_scale_db"] == pytest.approx(100.3, abs=0.2)  # C: -0.3 dB


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("mine", "nowhere.wav", "--level-db", "94"), 1),
        (("mine", "TONE"), 2),
        (("mine", "TONE", "--level-db", "nan"), 1),
        (("mine", "TONE", "--level-db", "500"), 1),
        (("mine", "TONE", "--level-db", "141"), 1),
        (("mine", "TONE", "--level-db", "29"), 1),
        (("", "TONE", "--level-db", "94"), 1),
        (("mine", "TONE", "--level-db", "94", "--tone-hz", "250"), 1),  # the tone in it is another
        (("mine", "TONE", "--level-db", "94", "--weighting", "B"), 2),
        (("mine", "TONE", "--level-db", "94", "--uncertainty-db", "-1"), 1),
    ],
)
def test_bad_calibration_is_one_clear_line(words, code, chatter, tone, home):
    ran = chatter("calibrate", *[tone if word == "TONE" else word for word in words])
    assert (ran.code, ran.out, ran.err.count("\n")) == (code, "", 1)
    assert not (home / "chatter" / "calibrations.json").exists()


def test_damaged_calibrations_are_not_overwritten(chatter, tone, home):
    file = home / "chatter" / "calibrations.json"
    file.parent.mkdir(parents=True)
    file.write_text('{"document": ', encoding="utf-8")
    for words in (("noise", tone, "--calibration", "mine"), ("calibrate", "mine", tone, "--level-db", "94")):
        ran = chatter(*words)
        assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert file.read_text(encoding="utf-8") == '{"document": '


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -1.0, 600.0])
@pytest.mark.parametrize("which", ["full_scale_db", "uncertainty_db"])
def test_calibration_edited_to_nonsense_is_refused_by_file_and_name(chatter, tone, home, wrong, which):
    file = home / "chatter" / "calibrations.json"
    file.parent.mkdir(parents=True)
    good = {"full_scale_db": 120.0, "uncertainty_db": 2.0}
    known = {"good": good, "old phone": good | {which: wrong}}
    file.write_text(json.dumps({"document": "calibrations", "calibrations": known}), encoding="utf-8")
    ran = chatter("noise", tone, "--calibration", "old phone")
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert "calibrations.json" in ran.err
    assert "'old phone'" in ran.err


def test_calibrations_name_is_the_same_in_upper_and_lower_case(chatter, tone, home):
    assert chatter("calibrate", "My Phone", tone, "--level-db", 90).code == 0
    calibration = told(chatter("noise", tone, "--calibration", "my  phone", "--json"))["calibration"]
    assert calibration["name"] == "My Phone"
    again = chatter("calibrate", "MY PHONE", tone, "--level-db", 95)
    assert (again.code, again.out, again.err.count("\n")) == (1, "", 1)
    assert "'My Phone'" in again.err
    ran = chatter("calibrate", "MY PHONE", tone, "--level-db", 95, "--replace", "--json")
    assert json.loads(ran.out)["replaced"] is True
    kept = json.loads((home / "chatter" / "calibrations.json").read_text(encoding="utf-8"))["calibrations"]
    assert list(kept) == ["MY PHONE"]


def test_calibration_with_an_impossible_full_scale_is_refused_and_locks_no_other(
    chatter, tone, tmp_path, rng
):
    # White noise of -120 dB rms is about -122 dB(A): with 140 dB full scale would be about 262 dB.
    soundfile.write(tmp_path / "mute.wav", rng.normal(0, 1e-6, 5 * RATE_HZ), RATE_HZ, subtype="PCM_24")
    assert chatter("calibrate", "good", tone, "--level-db", 94).code == 0
    ran = chatter("calibrate", "bad", tmp_path / "mute.wav", "--level-db", 140)
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert "level_db" in ran.err
    assert "0 to 250 dB" in ran.err
    assert told(chatter("noise", tone, "--calibration", "good", "--json"))["calibration"]["name"] == "good"


def test_calibration_from_under_3_s_is_refused(chatter, tmp_path, home):
    soundfile.write(tmp_path / "short.wav", sine(1000.0, 0.1, seconds=2.9), RATE_HZ, subtype="FLOAT")
    soundfile.write(tmp_path / "enough.wav", sine(1000.0, 0.1, seconds=3.0), RATE_HZ, subtype="FLOAT")
    ran = chatter("calibrate", "mine", tmp_path / "short.wav", "--level-db", 94)
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert "at least 3 s" in ran.err
    assert chatter("calibrate", "mine", tmp_path / "enough.wav", "--level-db", 94).code == 0


def test_calibration_with_automatic_gain_is_refused(chatter, tmp_path, rng, home):
    # Ten seconds of one background; three of them loud, for which the recorder turns itself down by 12 dB,
    # and comes up again over a second afterwards.
    t = np.arange(10 * RATE_HZ) / RATE_HZ
    loud = (t >= 2) & (t < 5)
    gain_db = np.where(loud, -12.0, np.where(t < 5, 0.0, -12 * np.exp(-(t - 5))))
    sound = rng.normal(0, 0.005, len(t)) + loud * rng.normal(0, 0.3, len(t))
    for name, samples in (("moved", sound * 10 ** (gain_db / 20)), ("still", 0.25 * sound)):
        soundfile.write(tmp_path / f"{name}.wav", samples, RATE_HZ, subtype="FLOAT")
    ran = chatter("calibrate", "mine", tmp_path / "moved.wav", "--level-db", 80)
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert "automatic gain" in ran.err
    assert chatter("calibrate", "mine", tmp_path / "still.wav", "--level-db", 80).code == 0


def test_noise_filed_again_after_its_calibration_was_replaced_becomes_a_new_version(chatter, tone):
    chatter("setup", "add", "a", "--flutes", 2, "--notebook", "n.db")
    words = ("noise", tone, "--calibration", "mine", "--setup", "a", "--notebook", "n.db", "--json")
    filed = []
    for level_db in (85, 95):
        assert chatter("calibrate", "mine", tone, "--level-db", level_db, "--replace").code == 0
        for _ in range(2):
            part = json.loads(chatter(*words).out)["notebook"]
            filed.append((part["filed"], part["version"]))
    assert filed == [("new", 1), ("again", 1), ("changed", 2), ("again", 2)]
    shown = json.loads(chatter("card", "a", "--notebook", "n.db", "--json").out)
    assert shown["noise"][0]["at_phone_db"] == pytest.approx(95.0, abs=0.1)
    # Both versions go out and into another notebook: the name of the calibration is the same in both.
    chatter("notebook", "export", "n.jsonl", "--notebook", "n.db")
    chatter("notebook", "import", "n.jsonl", "--notebook", "other.db")
    shown = json.loads(chatter("setup", "show", "a", "--versions", "--notebook", "other.db", "--json").out)
    assert [round(one["laeq_db"]) for one in shown["noises"]] == [85, 95]


def test_settings_of_a_noise_hold_the_speed_and_flutes_of_the_cut_that_named_its_tones(chatter, noise_wav):
    cut = ("cut", noise_wav, "--flutes", 2, "--setup", "a", "--notebook", "n.db")
    words = ("noise", noise_wav, "--setup", "a", "--notebook", "n.db", "--json")
    filed = []
    for rpm in (12_000, 13_000):  # the first was typed wrongly
        chatter(*cut, "--rpm", rpm)
        document = json.loads(chatter(*words).out)
        settings = document["program"]["settings"]
        filed.append((settings["rpm"], settings["flutes"], document["notebook"]["filed"]))
    assert filed == [(12_000, 2, "new"), (13_000, 2, "changed")]
