"""What a measured noise is at the neighbour's, with its tones named."""

import pytest

from chatter.analysis._noise_scene import read_scene, spread_noise
from chatter.model.noise import BandLevel, Calibration, NoiseDocument, NoiseLevels, NoiseTone
from chatter.noise.tones import adjust

NOTHING = {
    "mic_distance_m": None, "neighbour_distance_m": None, "screen_height_m": None, "screen_distance_m": None,
    "machine_height_m": None, "neighbour_height_m": None, "indoors": False, "opening": (), "room_m3": None,
    "facade": "none", "ear_distance_m": None, "limit_db": None, "minutes": None, "evening_h": None,
}  # fmt: skip
LOUD = {"mic_distance_m": 1, "neighbour_distance_m": 20, "limit_db": 40}


def made(*tones, adjustment_db=None):
    """Give a document of 85 dB with tones of given audibility and source."""
    levels = dict.fromkeys(NoiseLevels.__slots__, 85.0)
    if adjustment_db is None:
        adjustment_db = adjust(max((audible for audible, _ in tones), default=0.0))
    return NoiseDocument(
        program={},
        recording={"file": "made.wav", "findings": []},
        calibration=Calibration(source="given", full_scale_db=120.0, uncertainty_db=1.0),
        levels=NoiseLevels(**levels),
        bands=(BandLevel(midband_hz=1000.0, Leq_db=85.0),),
        tones=tuple(
            NoiseTone(frequency_hz=500.0 * i, level_db=80.0, audibility_db=audible, source=source)
            for i, (audible, source) in enumerate(tones, 1)
        ),
        tonal_adjustment_db=adjustment_db,
    )


def helps(document, **told):
    evening = spread_noise(document, scene=read_scene(NOTHING | LOUD | told)).evening
    return [text for text in evening.helps if "chatter's tones" in text]


def test_adjustment_without_the_chatters_tones_is_that_of_the_others():
    # ISO 1996-2:2007, C.2.4: 12 dB of audibility cost 6 dB, 7 dB cost 3: 3 dB less.
    (text,) = helps(made((12.0, "chatter"), (7.0, "tooth passing"), (11.0, "chatter")))
    assert "3 dB quieter" in text


@pytest.mark.parametrize(
    "tones",
    [
        [(12.0, "tooth passing"), (7.0, "chatter")],  # as much without
        [(12.0, "chatter"), (7.0, None)],  # a tone without a name may be chatter too
        [(12.0, "tooth passing")],
        [],
        [(12.0, "chatter")] * 20,  # no more are listed, so what stands below isn't known
    ],
)
def test_nothing_is_promised_where_the_chatter_costs_nothing_or_it_cannot_be_told(tones):
    assert helps(made(*tones)) == []
