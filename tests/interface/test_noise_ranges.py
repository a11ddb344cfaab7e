"""`chatter noise` with values that no workshop has: no slip may call ears or neighbours safe unasked."""

import json

import pytest

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
