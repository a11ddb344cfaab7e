"""`chatter noise` and `chatter calibrate` with values that no workshop has: no slip may call ears safe."""

import json

import pytest
import soundfile

from tests.interface.noise_made import RATE_HZ, sine

pytestmark = pytest.mark.usefixtures("home")  # no test writes to the user's own folder


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--full-scale-db", "12"), "full_scale_db is 12.0: give the level in dB"),  # 120 was meant
        (("--full-scale-db", "79.9"), "from 80 to 160"),
        (("--full-scale-db", "161"), "from 80 to 160"),
        (("--full-scale-db", "-120"), "from 80 to 160"),
        (("--full-scale-db", "nan"), "from 80 to 160"),
        (("--mic-distance-m", "0.6", "--ear-distance-m", "70"), "ear_distance_m is 70.0: give how far"),
        (("--mic-distance-m", "0.6", "--ear-distance-m", "7"), "0.7 stands for 70 cm"),
        (("--mic-distance-m", "0.6", "--ear-distance-m", "0.007"), "0.1 to 5"),
        (("--mic-distance-m", "60", "--ear-distance-m", "0.7"), "mic_distance_m is 60.0: give how far"),
        (("--mic-distance-m", "0.06", "--neighbour-distance-m", "15"), "mic_distance_m is 0.06"),
        (("--mic-distance-m", "60", "--neighbour-distance-m", "150"), "farther only near the neighbour"),
        (("--mic-distance-m", "0.6", "--neighbour-distance-m", "1500"), "neighbour_distance_m is 1500.0"),
        (
            (
                *("--mic-distance-m", "60", "--neighbour-distance-m", "60"),
                *("--indoors", "--opening", "open window:1"),
            ),
            "mic_distance_m is 60.0",
        ),
    ],
)
def test_value_that_no_workshop_has_is_one_clear_line(chatter, tone, words, said):
    ran = chatter("noise", tone, *words)
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert said in ran.err


@pytest.mark.parametrize(
    "words",
    [
        ("--full-scale-db", "80"),
        ("--full-scale-db", "160"),
        ("--mic-distance-m", "0.3", "--ear-distance-m", "5"),
        ("--mic-distance-m", "20", "--neighbour-distance-m", "300"),
        # docs/neighbour.md: the best check is to record at the neighbour's fence.
        ("--mic-distance-m", "120", "--neighbour-distance-m", "120"),
    ],
)
def test_value_that_a_workshop_may_have_is_taken(chatter, tone, words):
    ran = chatter("noise", tone, *words, "--json")
    assert ran.code == 0
    codes = {one["code"] for one in json.loads(ran.out)["recording"]["findings"]}
    assert not {"neighbour-far", "neighbour-nearer"} & codes


def test_neighbour_so_far_away_that_it_may_be_no_metres_is_asked_about(chatter, tone):
    ran = chatter("noise", tone, "--mic-distance-m", "0.6", "--neighbour-distance-m", "500")
    assert ran.code == 0
    assert "500 m away, which takes most of the noise: is that in metres?" in " ".join(ran.out.split())


def test_level_that_does_not_go_with_the_recording_makes_no_calibration(chatter, tmp_path, home):
    soundfile.write(tmp_path / "hum.wav", sine(1000.0, 0.1), RATE_HZ, subtype="FLOAT")
    ran = chatter("calibrate", "mine", "hum.wav", "--level-db", 35)
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert "stands for 55 dB" in ran.err  # 35 + 20: the tone lies 20 dB below full scale
    assert not (home / "chatter" / "calibrations.json").exists()


def test_kept_calibration_that_no_phone_has_is_not_used(chatter, tone, home):
    file = home / "chatter" / "calibrations.json"
    file.parent.mkdir(parents=True)
    known = {
        name: {"full_scale_db": level_db, "uncertainty_db": 2.0}
        for name, level_db in (("good", 120), ("old", 60))
    }
    file.write_text(json.dumps({"document": "calibrations", "calibrations": known}), encoding="utf-8")
    ran = chatter("noise", tone, "--calibration", "old")
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert "full scale 60 dB" in ran.err
    assert chatter("noise", tone, "--calibration", "good").code == 0
    assert chatter("calibrate", "old", tone, "--level-db", 94, "--replace").code == 0
