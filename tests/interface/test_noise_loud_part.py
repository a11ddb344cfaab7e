"""`chatter noise` on recordings with idle time in them: what counts as cutting, and what is told about it."""

import json

import numpy as np
import pytest
import soundfile

from tests.interface.noise_made import RATE_HZ, told

pytestmark = pytest.mark.usefixtures("home")  # no test writes to the user's own folder
PLACED = (
    "--full-scale-db", 120, "--mic-distance-m", 0.6, "--neighbour-distance-m", 15, "--limit-db", 50,
    "--ear-distance-m", 0.7, "--minutes", 60,
)  # fmt: skip


def write(path, rng, *stretches):
    """Write noise as a recording; stretches of (seconds, rms)."""
    sound = np.concatenate([rms * rng.normal(size=round(seconds * RATE_HZ)) for seconds, rms in stretches])
    soundfile.write(path, sound, RATE_HZ, subtype="FLOAT")


def test_idle_time_before_and_after_makes_neighbour_and_ear_no_kinder(chatter, tmp_path):
    for name, stretches in (("cut.wav", [(4, 0.1)]), ("whole.wav", [(12, 1e-3), (4, 0.1), (12, 1e-3)])):
        write(tmp_path / name, np.random.default_rng(7), *stretches)
    alone, whole = (told(chatter("noise", name, *PLACED, "--json")) for name in ("cut.wav", "whole.wav"))
    # 4 of 28 s: 8.45 dB, 10 lg 7, in the mean as it stands, and in nothing that is said about cutting.
    assert whole["levels"]["LAeq_db"] == pytest.approx(alone["levels"]["LAeq_db"] - 8.45, abs=0.05)
    assert whole["neighbour"]["LAeq_db"] == pytest.approx(alone["neighbour"]["LAeq_db"], abs=0.05)
    assert whole["evening"]["minutes"] == pytest.approx(alone["evening"]["minutes"], rel=0.02)
    assert whole["exposure"]["LEX8h_db"] == pytest.approx(alone["exposure"]["LEX8h_db"], abs=0.05)
    parts = {part["name"]: part["db"] for part in whole["neighbour"]["parts"]}
    assert parts["quiet parts left out"] == pytest.approx(8.45, abs=0.02)
    # The parts lead from the level at the phone to that at the neighbour, as ever.
    assert whole["levels"]["LAeq_db"] + sum(parts.values()) == pytest.approx(whole["neighbour"]["LAeq_db"])
    loud = whole["loud_part"]
    assert (loud["start_s"], loud["end_s"], loud["stretches"]) == (12.0, 16.0, 1)
    assert loud["LAeq_db"] == pytest.approx(alone["levels"]["LAeq_db"], abs=0.05)
    assert "quiet parts left out" not in {part["name"] for part in alone["neighbour"]["parts"]}


def test_idle_time_is_told_right_below_the_answer_and_on_the_page(chatter, tmp_path, rng):
    write(tmp_path / "whole.wav", rng, (4, 1e-4), (4, 0.1), (4, 1e-4))
    out = " ".join(chatter("noise", "whole.wav", *PLACED, "--report", "whole.html").out.split())
    html = " ".join((tmp_path / "whole.html").read_text(encoding="utf-8").split())
    for text, below in ((out, "Levels at the phone"), (html, "<h2")):
        assert "hold it 4.8 dB down" in text.partition(below)[0]
        assert text.count("hold it 4.8 dB down") == 1
        assert "with its quiet parts" in text.partition(below)[0]


def test_cuts_with_long_pauses_count_without_them(chatter, tmp_path, rng):
    write(tmp_path / "two.wav", rng, (3, 0.1), (6, 1e-4), (3, 0.1))
    document = told(chatter("noise", "two.wav", "--json"))
    assert (document["loud_part"]["seconds"], document["loud_part"]["stretches"]) == (pytest.approx(6.0), 2)
    (said,) = [one for one in document["recording"]["findings"] if one["code"] == "idle-counts"]
    assert "6.0 s, in 2 stretches between 0.0 and 12.0 s" in said["message"]
    assert "hold it 3.0 dB down" in said["message"]  # 10 lg 2


def test_idling_nearly_as_loud_as_the_cut_is_asked_about(chatter, tmp_path, rng):
    # 6 dB below the cut for half of the time: 10 lg(2 / (1 + 1/4)) = 2.04 dB.
    write(tmp_path / "near.wav", rng, (3, 0.05), (6, 0.1), (3, 0.05))
    document = told(chatter("noise", "near.wav", "--json"))
    found = {one["code"]: one["message"] for one in document["recording"]["findings"]}
    assert "2.0 dB" in found["uneven-level"]
    assert "idle-counts" not in found
    assert document["loud_part"]["louder_by_db"] == pytest.approx(2.04, abs=0.05)


def test_recordings_are_ranked_by_their_cuts_not_by_their_idle_time(chatter, tmp_path, rng):
    write(tmp_path / "soft.wav", rng, (4, 0.1))
    write(tmp_path / "loud.wav", rng, (8, 1e-3), (4, 0.14), (8, 1e-3))
    ranking = told(chatter("noise", "soft.wav", "loud.wav", "--json"))["ranking"]
    assert [one["file"] for one in ranking] == ["soft.wav", "loud.wav"]
    assert ranking[1]["rated_db"] - ranking[0]["rated_db"] == pytest.approx(2.92, abs=0.1)  # 20 lg 1.4


def test_card_tells_the_level_while_it_cuts(chatter, tmp_path, rng):
    write(tmp_path / "whole.wav", rng, (4, 1e-4), (4, 0.1), (4, 1e-4))
    filed = ("--setup", "mine", "--notebook", "mine.db")
    ran = chatter("noise", "whole.wav", "--rpm", 9000, "--flutes", 2, *filed, "--json")
    assert ran.code == 0
    card = json.loads(chatter("card", "mine", "--notebook", "mine.db", "--json").out)
    assert card["noise"][0]["at_phone_db"] == pytest.approx(json.loads(ran.out)["loud_part"]["LAeq_db"])
