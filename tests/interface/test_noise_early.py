"""What is refused before a night of sound is read, and what is answered after it."""

import numpy as np
import pytest
import soundfile

from chatter import measure_noise
from chatter.errors import BadValueError
from tests.interface.noise_made import RATE_HZ

NOWHERE = "there-is-no-such-file.wav"
INDOORS = {"neighbour_distance_m": 20, "indoors": True, "opening": "garage door:5"}


@pytest.mark.parametrize(
    ("told", "named"),
    [
        ({"mic_distance_m": 101, "ear_distance_m": 1}, "mic_distance_m"),
        ({"mic_distance_m": 0.009, "ear_distance_m": 1}, "mic_distance_m"),
        ({"mic_distance_m": 0.009, "neighbour_distance_m": 20}, "mic_distance_m"),
        ({"mic_distance_m": 1, "ear_distance_m": 0.009}, "ear_distance_m"),
        ({"mic_distance_m": 0.5, "neighbour_distance_m": 0.009}, "neighbour_distance_m"),
        ({"mic_distance_m": 1, "room_m3": 1.9, **INDOORS}, "room_m3"),
    ],
)
def test_place_that_no_formula_takes_is_refused_before_the_recording_is_read(told, named):
    with pytest.raises(BadValueError) as caught:
        measure_noise(NOWHERE, **told)
    assert caught.value.name == named
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("full_scale_db", [0, 250])
def test_any_full_scale_that_may_be_told_is_answered_at_the_ear(tone, full_scale_db):
    document = measure_noise(tone, full_scale_db=full_scale_db, mic_distance_m=100, ear_distance_m=100)
    # The tone's rms is 0.1 of full scale, 20 dB below it, and the phone lay at the ear.
    assert document.exposure.ear_db == pytest.approx(full_scale_db - 20, abs=0.2)
    assert "full-scale-unlikely" in {one["code"] for one in document.recording["findings"]}


def test_sound_that_stands_still_at_a_value_has_no_levels_bands_or_tones(tmp_path):
    soundfile.write(tmp_path / "still.wav", np.full(12 * RATE_HZ, 0.1), RATE_HZ, subtype="PCM_16")
    document = measure_noise(tmp_path / "still.wav").to_dict()
    assert "silent" in {one["code"] for one in document["recording"]["findings"]}
    assert set(document["levels"].values()) == {None}
    assert {band["Leq_db"] for band in document["bands"]} == {None}
    assert (document["tones"], document["tonal_adjustment_db"]) == ([], None)
