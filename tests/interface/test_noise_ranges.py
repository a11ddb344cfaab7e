"""`chatter noise` with values that no workshop has: no slip may call ears or neighbours safe unasked."""

import json
import re

import numpy as np
import pytest
import soundfile

from tests.interface.noise_made import sine, told

pytestmark = pytest.mark.usefixtures("home")  # no test writes to the user's own folder
ASKED = {"full-scale-unlikely", "distance-unlikely", "neighbour-far"}


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--full-scale-db", "12"), "full-scale-unlikely", "said to stand for 12 dB"),  # 120 was meant
        (("--full-scale-db", "79.9"), "full-scale-unlikely", "from 80 to 160 dB"),
        (("--full-scale-db", "161"), "full-scale-unlikely", "from 80 to 160 dB"),
        (("--mic-distance-m", "0.6", "--ear-distance-m", "70"), "distance-unlikely", "your ear 70 m"),
        (("--mic-distance-m", "60", "--ear-distance-m", "0.7"), "distance-unlikely", "the phone 60 m"),
        (("--mic-distance-m", "60", "--neighbour-distance-m", "150"), "distance-unlikely", "the phone 60 m"),
        (("--mic-distance-m", "0.6", "--neighbour-distance-m", "500"), "neighbour-far", "500 m away"),
    ],
)
def test_value_that_no_workshop_has_is_asked_about(chatter, tone, words, code, said):
    ran = chatter("noise", tone, *words, "--json")
    assert ran.code == 0
    (told,) = (one for one in json.loads(ran.out)["recording"]["findings"] if one["code"] in ASKED)
    assert (told["code"], told["severity"]) == (code, "warning")
    assert said in told["message"]
    text = " ".join(chatter("noise", tone, *words).out.split())
    assert text.index(said) < text.index("Levels at the phone")  # below the answer, before its figures


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
def test_value_that_a_workshop_may_have_is_not_asked_about(chatter, tone, words):
    ran = chatter("noise", tone, *words, "--json")
    assert ran.code == 0
    assert not ASKED & {one["code"] for one in json.loads(ran.out)["recording"]["findings"]}


@pytest.mark.parametrize("slip", [("--full-scale-db", "12"), ("--ear-distance-m", "70")])
def test_slip_never_calls_hearing_protection_not_due(chatter, tone, slip):
    words = {"--full-scale-db": "100", "--mic-distance-m": "1", "--ear-distance-m": "1", "--minutes": "1"}
    right = [word for pair in words.items() for word in pair]
    assert json.loads(chatter("noise", tone, *right, "--json").out)["exposure"]["protection"] == "not due"
    slipped = [word for pair in (words | dict([slip])).items() for word in pair]
    document = json.loads(chatter("noise", tone, *slipped, "--json").out)
    assert document["exposure"]["protection"] == "must be at hand"


PLACES = (
    *("--mic-distance-m", "1", "--neighbour-distance-m", "15"),
    *("--limit-db", "45", "--ear-distance-m", "0.7"),
)
HARMLESS = ("hardly heard", "may be cutting", "is not due", "within the limit", "kept", "dose 0")


def sound_of(tmp_path, *, peak):
    """Give a tone whose peak is told, full scale 1, with the steps of 16 bits."""
    path = tmp_path / "faint.wav"
    soundfile.write(path, sine(1000, peak / np.sqrt(2)), 48_000, subtype="PCM_16")
    return path


def test_faint_recording_without_a_calibration_is_never_called_harmless(chatter, tmp_path):
    faint = sound_of(tmp_path, peak=6 / 32768)  # 75 dB below full scale
    document = told(chatter("noise", faint, *PLACES, "--json"))
    (asked,) = (one for one in document["recording"]["findings"] if one["code"] in ASKED)
    assert "75 dB below full scale" in asked["message"]
    # By hand: the typical phone's 10 dB and 40 dB more, in squares; printed in hundredths.
    assert document["calibration"]["uncertainty_db"] == pytest.approx(np.hypot(10, 40), abs=0.01)
    assert document["exposure"]["protection"] != "not due"
    page = tmp_path / "noise.html"
    text = " ".join(chatter("noise", faint, *PLACES, "--report", page).out.split())
    assert text.startswith("NOISE: the level is in doubt. ")
    plain = re.sub(r"<style.*?</style>|<svg.*?</svg>", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    shown = " ".join(plain.split())
    for one in (text, shown):
        assert [words for words in HARMLESS if words in one] == []
    assert ">The level is in doubt. " in shown


def test_faint_recordings_beside_each_other_are_not_called_harmless_either(chatter, tmp_path):
    faint, loud = sound_of(tmp_path, peak=6 / 32768), tmp_path / "loud.wav"
    soundfile.write(loud, sine(500, 0.01), 48_000)
    text = " ".join(chatter("noise", faint, loud, *PLACES).out.split())
    assert "faint.wav: How much cutting fits an evening of 4 h under 45 dB can't be told" in text
    assert "may be cutting" not in text


@pytest.mark.parametrize(
    ("peak", "words"),
    [
        (2e-3, ()),  # 54 dB below full scale
        (6 / 32768, ("--full-scale-db", "150")),  # a gain that is known to be turned down
        # At the neighbour's fence, 68 dB down: 20 lg 15 = 23.5 dB of that are the way.
        (4e-4, ("--mic-distance-m", "15", "--neighbour-distance-m", "15")),
    ],
)
def test_recording_that_may_be_as_faint_as_it_is_is_not_doubted(chatter, tmp_path, peak, words):
    document = told(chatter("noise", sound_of(tmp_path, peak=peak), *words, "--json"))
    assert not ASKED & {one["code"] for one in document["recording"]["findings"]}


def test_full_scale_told_by_a_slip_is_in_the_first_line_too(chatter, tone):
    text = " ".join(chatter("noise", tone, "--full-scale-db", "12", *PLACES).out.split())
    assert text.startswith("NOISE: the level is in doubt. ")
    assert [words for words in HARMLESS if words in text] == []


@pytest.mark.parametrize("full_scale_db", ["12", "170"])
def test_doses_and_minutes_are_not_made_up_where_the_level_is_in_doubt(chatter, tone, full_scale_db):
    words = (*PLACES, "--minutes", "60", "--full-scale-db", full_scale_db)
    document = told(chatter("noise", tone, *words, "--json"))
    ear, evening = document["exposure"], document["evening"]
    doses = ("niosh_percent", "osha_percent", "osha_pel_percent", "minutes_to_wear")
    assert {ear[name] for name in doses} == {None}
    fits = ("minutes", "minutes_low", "minutes_high", "minutes_per_hour", "quieter_by_db")
    assert {evening[name] for name in fits} == {None}
    assert [len(evening["helps"]), evening["asked_minutes"]] == [1, 60]
    text = " ".join(chatter("noise", tone, *words).out.split())
    assert "NIOSH dose not known, OSHA not known." in text
    assert "How much cutting fits an evening of 4 h under 45 dB can't be told" in text
    assert not re.search("of (the|its) dose|without it", text)
    assert not any(re.match("EU:|NIOSH:|OSHA:", one) for one in ear["says"])


def test_quiet_recording_of_a_noise_does_not_send_the_phone_nearer(chatter, tmp_path):
    document = told(chatter("noise", sound_of(tmp_path, peak=2e-3), "--json"))
    (quiet,) = (one for one in document["recording"]["findings"] if one["code"] == "quiet")
    assert "If you put the phone nearer, tell the new distance" in quiet["message"]
    assert "behind the guard" not in quiet["message"]
