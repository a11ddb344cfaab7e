"""`chatter noise` and `chatter calibrate` from the command line and from Python."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

import chatter as library
from chatter.simulate.codec import Codec, write_as
from tests.interface.noise_made import RATE_HZ, sine, told

pytestmark = pytest.mark.usefixtures("home")  # no test writes to the user's own folder
FIXTURES = Path(__file__).parents[2] / "fixtures" / "recordings"
DEMO_RPM = 12_000  # dialled, chatter/cli/demo.py
RECORDING = {"file", "sha256", "duration_s", "sample_rate_hz", "bandwidth_hz", "channel", "findings"}
LEVELS = [
    "LAeq_db", "LCeq_db", "LZeq_db", "LAFmax_db", "LASmax_db", "LCpeak_db", "LAF10_db", "LAF50_db",
    "LAF90_db", "LAE_db",
]  # fmt: skip


def test_document_has_the_contracts_fields_and_its_levels(chatter, tone):
    document = told(chatter("noise", tone, "--full-scale-db", 120, "--json"))
    assert (document["document"], document["version"]) == ("noise", 1)
    assert set(document["recording"]) >= RECORDING
    assert list(document["levels"]) == LEVELS
    assert document["calibration"]["source"] == "given"
    assert (document["calibration"]["full_scale_db"], document["calibration"]["uncertainty_db"]) == (
        120.0,
        1.0,
    )
    # 20 lg(0.1) + 120 = 100 dB, at 1 kHz in every weighting (IEC 61672-1:2013); its peak is 3.01 dB higher.
    for name in ("LAeq_db", "LCeq_db", "LZeq_db", "LAFmax_db", "LAF10_db", "LAF50_db", "LAF90_db"):
        assert document["levels"][name] == pytest.approx(100.0, abs=0.2)
    assert document["levels"]["LCpeak_db"] == pytest.approx(103.01, abs=0.3)
    assert document["levels"]["LAE_db"] == pytest.approx(100 + 10 * np.log10(5), abs=0.2)
    assert len(document["bands"]) == 29
    assert {band["midband_hz"]: band["Leq_db"] for band in document["bands"]}[1000.0] == pytest.approx(
        100, abs=0.2
    )
    assert document["tonal_adjustment_db"] == 6.0
    assert document["tones"][0]["frequency_hz"] == pytest.approx(1000.0, abs=0.1)
    assert {document[name] for name in ("neighbour", "evening", "exposure")} == {None}


def test_without_a_calibration_a_typical_phone_is_said(chatter, tone):
    calibration = told(chatter("noise", tone, "--json"))["calibration"]
    # The contract's numbers.
    assert calibration["source"] == "typical phone"
    assert (calibration["full_scale_db"], calibration["uncertainty_db"]) == (121, 10)


def test_text_says_the_uncertainty_beside_every_level(chatter, tone):
    ran = chatter("noise", tone)
    assert (ran.code, ran.err) == (0, "")
    lines = [line for line in ran.out.splitlines() if "(L" in line and " dB " in line]
    assert len(lines) == 10
    assert all("±10" in line for line in lines)
    assert max(len(line) for line in ran.out.splitlines()) <= 80
    words = " ".join(ran.out.split())
    for caution in (
        "no legal measurement",
        "no sound level meter",
        "Local codes",
        "licensed",
        "hearing protection",
    ):
        assert caution in words


def test_neighbour_evening_and_ear_come_with_their_distances(chatter, tone):
    document = told(
        chatter(
            "noise", tone, "--full-scale-db", 120, "--mic-distance-m", 1, "--neighbour-distance-m", 20,
            "--limit-db", 50, "--minutes", 60, "--ear-distance-m", 1, "--json",
        )
    )  # fmt: skip
    there = document["neighbour"]
    parts = {part["name"]: part["db"] for part in there["parts"]}
    assert parts["distance"] == pytest.approx(-26.02, abs=0.01)  # 20 lg 20, by hand
    assert there["LAeq_db"] == pytest.approx(100 - 26.02, abs=0.5)  # air over 19 m takes a tenth
    assert there["rating_db"] == pytest.approx(there["LAeq_db"] + 6.0, abs=0.01)
    assert there["low_db"] < there["LAeq_db"] < there["high_db"]
    evening = document["evening"]
    assert (evening["limit_db"], evening["reference_h"]) == (50, 4)
    # 240 min * 10^((50 - rating) / 10), by hand
    assert evening["minutes"] == pytest.approx(240 * 10 ** ((50 - there["rating_db"]) / 10), rel=0.01)
    assert evening["helps"]
    ear = document["exposure"]
    assert ear["LEX8h_db"] == pytest.approx(100 - 9.03, abs=0.2)  # 10 lg(1/8) = -9.03
    # NIOSH 98-126: at 100 dBA 15 minutes are a day's dose, so 60 are 400 %; OSHA: 2 h, so 50 %.
    assert ear["niosh_percent"] == pytest.approx(400, rel=0.06)
    assert ear["osha_percent"] == pytest.approx(50, rel=0.06)


def test_indoors_with_an_opening_shutting_it_helps(chatter, tone):
    ran = chatter(
        "noise", tone, "--full-scale-db", 120, "--mic-distance-m", 1, "--neighbour-distance-m", 10,
        "--indoors",
        "--opening", "garage door:5", "--opening", "open window:1", "--room-m3", 45, "--limit-db", 45,
    )  # fmt: skip
    assert ran.code == 0
    assert "Shut the" in ran.out


def test_screen_counts_from_the_openings_1_m_and_a_half_up_indoors(chatter, tone):
    words = ("noise", tone, "--mic-distance-m", 1, "--neighbour-distance-m", 10, "--screen-height-m", 2)
    indoors = " ".join(chatter(*words, "--indoors", "--opening", "open window:1").out.split())
    assert "the openings 1.5 m and the neighbour's ear 1.5 m over the ground" in indoors
    assert "the machine 1 m and the neighbour's ear 1.5 m" in " ".join(chatter(*words).out.split())


def test_no_zero_is_shown_with_a_minus(chatter, tmp_path):
    # -80.03 dB re full scale at 1 kHz: just below 0 dB, with ranges and parts of 0 in it.
    soundfile.write(tmp_path / "soft.wav", sine(1000.0, 10 ** (-80.03 / 20)), RATE_HZ, subtype="FLOAT")
    placed = ("--mic-distance-m", 1, "--neighbour-distance-m", 1.01)
    words = ("noise", "soft.wav", "--full-scale-db", 80, *placed)
    out = chatter(*words, "--ear-distance-m", 1, "--limit-db", 40, "--report", "quiet.html").out
    html = (tmp_path / "quiet.html").read_text(encoding="utf-8")
    for text in (out, html.partition("<main")[2]):
        assert not re.search(r"(?<![\w.-])[-\N{MINUS SIGN}]0(\.0+)?(?![\d.])", text)


@pytest.mark.parametrize(("name", "codec"), [("aac", "m4a"), ("opus", "ogg"), ("flac", "flac")])
def test_phones_formats_give_the_same_level(chatter, tmp_path, name, codec):
    path = tmp_path / f"tone.{codec}"
    samples = sine(1000.0, 0.1)[None].astype(np.float32)
    if name == "flac":
        soundfile.write(path, samples.T, RATE_HZ)
    else:
        write_as(
            Codec(name=name, suffix=f".{codec}", bit_rate=128_000),
            path=path,
            samples=samples,
            rate_hz=RATE_HZ,
        )
    levels = told(chatter("noise", path, "--full-scale-db", 120, "--json"))["levels"]
    assert levels["LAeq_db"] == pytest.approx(100.0, abs=0.3)  # codecs cost up to 0.1 dB of level


def test_loud_channel_is_taken_and_none_are_mixed(chatter, tmp_path):
    path = tmp_path / "stereo.wav"
    samples = sine(1000.0, 0.1)
    soundfile.write(path, np.stack([0.3 * samples, -samples], axis=1), RATE_HZ, subtype="FLOAT")
    document = told(chatter("noise", path, "--full-scale-db", 120, "--json"))
    assert document["recording"]["channel"] == 1
    assert document["levels"]["LAeq_db"] == pytest.approx(100.0, abs=0.2)


def test_clipping_takes_the_peak_and_widens_the_uncertainty(chatter, tmp_path):
    path = tmp_path / "clipped.wav"
    soundfile.write(path, np.clip(sine(440.0, 1.5), -1, 1), RATE_HZ)
    document = told(chatter("noise", path, "--full-scale-db", 120, "--json"))
    assert "clipped" in {finding["code"] for finding in document["recording"]["findings"]}
    assert document["levels"]["LCpeak_db"] is None
    assert document["levels"]["LAeq_db"] is not None
    assert document["calibration"]["uncertainty_db"] > 1.0
    assert document["calibration"]["because"]


@pytest.mark.parametrize("lost", ["clipped", "band"])
def test_protection_is_left_open_where_the_recorder_took_peaks_away(chatter, tmp_path, rng, lost):
    path = tmp_path / "lost.wav"
    if lost == "clipped":
        soundfile.write(path, np.clip(sine(440.0, 1.5), -1, 1), RATE_HZ)
    else:  # 8 kHz carry no more than 4
        soundfile.write(path, rng.normal(0, 0.05, 5 * 8000), 8000)
    words = ("noise", path, "--full-scale-db", 80, "--mic-distance-m", 1, "--ear-distance-m", 1)
    words = (*words, "--minutes", 60)
    ear = told(chatter(*words, "--json"))["exposure"]
    assert ear["LEX8h_db"] < 75  # by itself far below the 80 dB of Directive 2003/10/EC
    assert (ear["protection"], ear["peaks_known"]) == ("must be at hand", False)
    text = " ".join(chatter(*words).out.split())
    assert "Whether hearing protection is due can't be told" in text
    assert "is not due" not in text


def test_voice_recording_leaves_bands_out(chatter, tmp_path, rng):
    path = tmp_path / "voice.wav"
    soundfile.write(path, rng.normal(0, 0.05, 5 * 8000), 8000)
    document = told(chatter("noise", path, "--full-scale-db", 120, "--json"))
    known = {round(band["midband_hz"]): band["Leq_db"] is not None for band in document["bands"]}
    assert known[3162]
    assert not known[3981]  # it ends at 4467 Hz, and 8 kHz carry 4
    assert None not in document["levels"].values()


def test_silence_has_no_level_and_says_so(chatter, tmp_path):
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(2 * RATE_HZ), RATE_HZ)
    document = told(
        chatter(
            "noise", path, "--mic-distance-m", 1, "--neighbour-distance-m", 20, "--limit-db", 50, "--json"
        )
    )
    assert set(document["levels"].values()) == {None}
    assert "silent" in {finding["code"] for finding in document["recording"]["findings"]}
    assert document["neighbour"] is None
    assert chatter("noise", path).code == 0


def test_tones_are_named_when_speed_and_flutes_are_told(chatter):
    path = FIXTURES / "clock-plate-quiet.flac"
    rpm, flutes = DEMO_RPM, 2
    document = told(chatter("noise", path, "--rpm", rpm, "--flutes", flutes, "--json"))
    rotation_hz = document["measured_rpm"] / 60
    assert document["measured_rpm"] == pytest.approx(rpm, rel=0.03)
    sources = {tone["source"] for tone in document["tones"]}
    assert "tooth passing" in sources
    for tone in document["tones"]:
        if tone["source"] == "tooth passing":
            order = tone["frequency_hz"] / (rotation_hz * flutes)
            assert order == pytest.approx(round(order), abs=0.02)


def test_every_source_of_a_loud_tone_gets_its_advice_chatter_first(chatter, tmp_path):
    # The demo's deeper pass chatters by design, and its teeth are as loud: both cost an adjustment.
    page = tmp_path / "singing.html"
    ran = chatter(
        "noise", FIXTURES / "clock-plate-singing.flac", "--rpm", DEMO_RPM, "--flutes", 2, "--report", page
    )
    words = " ".join(ran.out.split()).partition("What helps")[2]
    assert 0 < words.index("is chatter: change to a stable lobe") < words.index("is the teeth:")
    assert words.count("is the teeth:") == 1
    assert "is chatter: change to a stable lobe" in " ".join(page.read_text(encoding="utf-8").split())


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("nowhere.wav",), 1),
        (("TONE", "nowhere.wav"), 1),
        (("TONE", "--full-scale-db", "loud"), 2),
        (("TONE", "--full-scale-db", "nan"), 1),
        (("TONE", "--full-scale-db", "inf"), 1),
        (("TONE", "--full-scale-db", "120", "--calibration", "mine"), 1),
        (("TONE", "--calibration", "nobody's"), 1),
        (("TONE", "--rpm", "12000"), 1),
        (("TONE", "--flutes", "2"), 1),
        (("TONE", "--rpm", "0", "--flutes", "2"), 1),
        (("TONE", "--rpm", "12000", "--flutes", "0"), 1),
        (("TONE", "--neighbour-distance-m", "20"), 1),
        (("TONE", "--mic-distance-m", "0", "--neighbour-distance-m", "20"), 1),
        (("TONE", "--mic-distance-m", "0.0001", "--neighbour-distance-m", "20"), 1),
        (("TONE", "--mic-distance-m", "1", "--neighbour-distance-m", "-20"), 1),
        (("TONE", "--ear-distance-m", "1"), 1),
        (("TONE", "--limit-db", "50"), 1),
        (("TONE", "--mic-distance-m", "1", "--neighbour-distance-m", "9", "--limit-db", "nan"), 1),
        (("TONE", "--mic-distance-m", "1", "--neighbour-distance-m", "9", "--indoors"), 1),
        (("TONE", "--indoors", "--opening", "cardboard:3"), 1),
        (("TONE", "--indoors", "--opening", "window"), 1),
        (("TONE", "--opening", "window:2"), 1),
        (("TONE", "--room-m3", "40"), 1),
        (("TONE", "--screen-height-m", "2"), 1),
        (("TONE", "--minutes", "-3"), 1),
        (("TONE", "--cut", "nowhere.json"), 1),
        (("TONE", "--cut", "TONE"), 1),
        (("TONE", "--soup"), 2),
        ((), 2),
    ],
)
def test_bad_input_is_one_clear_line(words, code, chatter, tone):
    ran = chatter("noise", *[tone if word == "TONE" else word for word in words])
    assert (ran.code, ran.out) == (code, "")
    assert ran.err.startswith("chatter: ")
    assert ran.err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "missing"),
    [
        (("--minutes", "30"), "limit_db or ear_distance_m"),
        (("--minutes", "30", "--mic-distance-m", "1", "--neighbour-distance-m", "9"), "limit_db or ear_dist"),
        (("--indoors",), "neighbour_distance_m or ear_distance_m"),
        (("--indoors", "--room-m3", "40"), "neighbour_distance_m or ear_distance_m"),
        (("--facade", "in front"), "neighbour_distance_m"),
        (("--facade", "on it", "--mic-distance-m", "1", "--ear-distance-m", "1"), "neighbour_distance_m"),
        (("--opening", "door:2"), "indoors"),
        (("--indoors", "--opening", "door:2"), "neighbour_distance_m"),
        (
            ("--indoors", "--opening", "door:2", "--mic-distance-m", "1", "--ear-distance-m", "1"),
            "neighbour_distance_m",
        ),
        (("--evening-h", "3"), "limit_db"),
        (("--machine-height-m", "1"), "screen_height_m"),
    ],
)
def test_option_that_would_go_unused_is_refused_with_what_is_missing(words, missing, chatter, tone):
    ran = chatter("noise", tone, *words)
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert missing in ran.err


@pytest.mark.parametrize(("ear", "codes"), [((), ["distance-unused"]), (("--ear-distance-m", "1"), [])])
def test_phone_distance_that_nothing_is_reckoned_with_is_told(chatter, tone, ear, codes):
    ran = chatter("noise", tone, "--mic-distance-m", "1", *ear, "--json")
    assert ran.code == 0
    found = [one["code"] for one in json.loads(ran.out)["recording"]["findings"]]
    assert [code for code in found if code == "distance-unused"] == codes


@pytest.mark.parametrize(
    ("words", "codes"),
    [
        (("--mic-distance-m", "15", "--neighbour-distance-m", "0.7"), ["neighbour-nearer"]),
        (("--mic-distance-m", "15", "--neighbour-distance-m", "15"), []),  # recorded at the neighbour's fence
        (("--mic-distance-m", "0.7", "--neighbour-distance-m", "15"), []),
        # Indoors the neighbour's distance begins at the openings, not at the machine.
        (
            (
                "--mic-distance-m",
                "3",
                "--neighbour-distance-m",
                "2",
                "--indoors",
                "--opening",
                "open window:1",
            ),
            [],
        ),
    ],
)
def test_neighbour_nearer_to_the_machine_than_the_phone_is_told(chatter, tone, words, codes):
    ran = chatter("noise", tone, *words, "--json")
    assert ran.code == 0
    found = [one["code"] for one in json.loads(ran.out)["recording"]["findings"]]
    assert [code for code in found if code == "neighbour-nearer"] == codes


def test_swapped_distances_are_asked_about_in_the_text(chatter, tone):
    ran = chatter("noise", tone, "--mic-distance-m", "15", "--neighbour-distance-m", "0.7")
    assert "swapped" in ran.out


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_samples_that_are_no_numbers_are_an_error(chatter, tmp_path, bad):
    path = tmp_path / "bad.wav"
    samples = sine(1000.0, 0.1)
    samples[1000] = bad
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    ran = chatter("noise", path, "--json")
    assert (ran.code, ran.out) == (1, "")
    assert "not numbers" in ran.err
    assert ran.err.count("\n") == 1


@pytest.mark.parametrize("frames", [1, 100, 4000])
def test_too_short_a_sound_is_an_error(chatter, tmp_path, frames):
    path = tmp_path / "short.wav"
    soundfile.write(path, np.full(frames, 0.1), RATE_HZ)
    ran = chatter("noise", path)
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert "0.1 s" in ran.err


def test_sound_too_short_for_tones_is_not_rated_with_them(chatter, tmp_path):
    soundfile.write(tmp_path / "short.wav", sine(1000.0, 0.1, seconds=0.15), RATE_HZ, subtype="FLOAT")
    soundfile.write(tmp_path / "long.wav", sine(1000.0, 0.1), RATE_HZ, subtype="FLOAT")
    words = ("--mic-distance-m", 1, "--neighbour-distance-m", 20, "--limit-db", 50, "--report")
    short, long = (
        (
            " ".join(chatter("noise", f"{name}.wav", *words, f"{name}.html").out.split()),
            " ".join((tmp_path / f"{name}.html").read_text(encoding="utf-8").split()),
        )
        for name in ("short", "long")
    )
    for told_so, whole in zip(short, long, strict=True):
        assert "too short to judge tones" in told_so
        assert "with its tones" not in told_so.lower()
        assert "with its tones" in whole.lower()


def test_python_gives_the_same_document(tone):
    seen = []
    document = library.measure_noise(
        tone, full_scale_db=120, progress=lambda done_s, length_s: seen.append((done_s, length_s))
    )
    assert document.levels.LAeq_db == pytest.approx(100.0, abs=0.2)
    assert seen[-1] == (pytest.approx(5.0), pytest.approx(5.0))
    with pytest.raises(library.ChatterError, match="both rpm and flutes"):
        library.measure_noise(tone, rpm=12_000)
    with pytest.raises(library.ChatterError, match="two or more"):
        library.compare_noise([tone])
    with pytest.raises(TypeError, match="no option"):
        library.compare_noise([tone, tone], soup=1)


def test_steady_tone_as_a_cut_gives_an_answer_and_no_traceback(chatter, tone):
    ran = chatter("cut", tone, "--rpm", 10_000, "--flutes", 2, "--json")
    assert (ran.code, ran.err) == (0, "")
    assert json.loads(ran.out)["document"] == "cut"


def test_report_holds_the_answer_the_cautions_and_a_picture(chatter, tone, tmp_path):
    page = tmp_path / "noise.html"
    ran = chatter(
        "noise", tone, "--full-scale-db", 100, "--mic-distance-m", 1, "--neighbour-distance-m", 20,
        "--limit-db", 45, "--ear-distance-m", 0.5, "--rpm", 10_000, "--flutes", 2, "--report", page,
        "--embed-sound",
    )  # fmt: skip
    assert ran.code == 0
    assert "wrote" in ran.err
    html = " ".join(page.read_text(encoding="utf-8").split())
    for words in (
        "at the neighbour",
        "no legal measurement",
        "<svg",
        "data:audio/wav",
        "10,000 rpm",
        "NIOSH",
    ):
        assert words in html


def test_report_of_silence_says_so(chatter, tmp_path):
    soundfile.write(tmp_path / "silence.wav", np.zeros(RATE_HZ), RATE_HZ)
    assert chatter("noise", "silence.wav", "--report", "silence.html").code == 0
    assert "holds no sound" in (tmp_path / "silence.html").read_text(encoding="utf-8")


def test_neighbours_own_wall_throws_3_db_back(chatter):
    # ISO 1996-2:2007, 8.3 (from memory): 3 dB from 0.5 to 2 m in front of a wall.
    words = (
        "noise",
        FIXTURES / "clock-plate-quiet.flac",
        "--mic-distance-m",
        "1",
        "--neighbour-distance-m",
        "15",
        "--json",
    )
    free, walled = (
        json.loads(chatter(*words, *more).out)["neighbour"] for more in ((), ("--facade", "in front"))
    )
    assert walled["LAeq_db"] - free["LAeq_db"] == pytest.approx(3.0, abs=0.01)
    assert {"name": "the neighbour's own wall", "db": 3.0}.items() <= walled["parts"][-1].items()


def test_tones_have_no_names_where_the_sound_speaks_against_the_speed(chatter):
    ran = chatter("noise", FIXTURES / "clock-plate-quiet.flac", "--rpm", "9000", "--flutes", "2", "--json")
    document = json.loads(ran.out)
    assert "facts-do-not-fit" in {finding["code"] for finding in document["recording"]["findings"]}
    assert {tone["source"] for tone in document["tones"]} == {None}


def test_quiet_parts_that_hold_the_mean_down_are_told(chatter, tmp_path):
    rng = np.random.default_rng(4)
    on = np.repeat([1e-3, 1.0, 1e-3], 3 * RATE_HZ)  # a third of the time loud: 4.8 dB, 10 lg 3
    for name, gain in (("cut.wav", on), ("steady.wav", np.ones_like(on))):
        soundfile.write(tmp_path / name, 0.1 * gain * rng.normal(size=len(on)), RATE_HZ, subtype="FLOAT")
    found = [
        {
            one["code"]: one["message"]
            for one in json.loads(chatter("noise", tmp_path / name, "--json").out)["recording"]["findings"]
        }
        for name in ("cut.wav", "steady.wav")
    ]
    assert "hold it 4.8 dB down" in found[0]["idle-counts"]
    assert "From 3.0 to 6.0 s" in found[0]["idle-counts"]
    assert "idle-counts" not in found[1]
