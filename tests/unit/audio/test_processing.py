"""Findings about the recorder: each on a sound that has the fault, and on sounds that don't."""

from pathlib import Path

import av
import numpy as np
import pytest
import scipy.signal
import soundfile

from chatter.audio import read_recording
from chatter.audio._copies import made_up_from_hz
from chatter.audio.findings import describe
from chatter.simulate import phone
from tests.unit.audio.encode import encode

RATE_HZ = 48_000
ROOT = Path(__file__).parents[3]
CODES = {
    "automatic-gain",
    "noise-suppression",
    "synthetic-upper-band",
    "voice-message",
    "headset-codec",
    "slowed-video",
}


def shop(rng, *, cuts=((2.0, 5.0),), length_s=8.0):
    """Give a spindle in a shop that cuts now and then, in a room."""
    count = round(length_s * RATE_HZ)
    time_s = np.arange(count) / RATE_HZ
    idle = 0.01 * phone.coloured(rng, count, rate_hz=RATE_HZ, low_hz=150, high_hz=9000)
    idle += sum(0.004 * np.sin(2 * np.pi * 197.9 * k * time_s + k * k) for k in range(1, 12))
    on = sum(((time_s > a) & (time_s < b)).astype(float) for a, b in cuts)
    cut = sum(np.sin(2 * np.pi * 395.8 * k * time_s + k * k) / k for k in range(1, 12))
    cut += 0.5 * phone.coloured(rng, count, rate_hz=RATE_HZ, low_hz=300, high_hz=7000)
    sound = phone.in_room(idle + 0.15 * on * cut, rng, rate_hz=RATE_HZ, decay_s=0.4, wet=0.5)
    return sound + 2e-4 * rng.normal(size=count)


def speech(rng):
    return 0.1 * phone.radio(rng, 8 * RATE_HZ, rate_hz=RATE_HZ) + 2e-4 * rng.normal(size=8 * RATE_HZ)


def words(rng):
    """Give a voice with pauses in a room."""
    voice = phone.radio(rng, 8 * RATE_HZ, rate_hz=RATE_HZ)
    on = (np.arange(8 * RATE_HZ) / RATE_HZ % 1.3) < 0.7
    heard = phone.in_room(0.1 * voice * on, rng, rate_hz=RATE_HZ, decay_s=0.3, wet=0.5)
    return heard + 1e-4 * rng.normal(size=8 * RATE_HZ)


def ticking(rng):
    return shop(rng, cuts=tuple((1 + 0.8 * i, 1.5 + 0.8 * i) for i in range(8)))


CLEAN = {
    "cut": shop,
    "cut with pauses": lambda rng: shop(rng, cuts=((1, 2.5), (3.8, 5), (6, 7))),
    "short passes": ticking,
    "babble": speech,
    "words": words,
    "idle": lambda rng: shop(rng, cuts=()),
    "spin down": lambda rng: shop(rng) * np.clip(2.0 - np.arange(8 * RATE_HZ) / RATE_HZ / 4, 0.02, 1),
    "silence": lambda rng: np.zeros(8 * RATE_HZ),
}


def codes(sound, rate_hz=RATE_HZ):
    return {f.code for f in describe(np.atleast_2d(sound).astype(np.float32), rate_hz=rate_hz)[1]} & CODES


@pytest.mark.parametrize("kind", CLEAN)
@pytest.mark.parametrize("round_number", range(3))
def test_sound_that_nobody_processed_has_no_finding_of_processing(rng, kind, round_number):
    for _ in range(round_number):
        rng.normal(size=1000)
    assert codes(CLEAN[kind](rng)) == set()


@pytest.mark.parametrize(
    "path", sorted((ROOT / "fixtures" / "recordings").glob("*.flac")), ids=lambda p: p.name
)
def test_recordings_that_come_with_the_program_have_no_findings(path):
    assert read_recording(path).findings == ()


@pytest.mark.parametrize("cuts", [((2.0, 5.0),), ((1.0, 2.0), (4.0, 5.5))])
def test_gain_that_comes_up_after_the_cut_is_found(rng, cuts):
    # The simulated phone's gain: down in 40 ms, up with a time constant of two thirds of a second.
    assert codes(phone.automatic_gain(shop(rng, cuts=cuts), rate_hz=RATE_HZ)) == {"automatic-gain"}


def started_after(seed):
    """Give a cut and, half a second after it, a vacuum that takes a second to come up; no gain moves."""
    rng = np.random.default_rng(seed)
    up = np.clip((np.arange(8 * RATE_HZ) / RATE_HZ - rng.uniform(5.2, 5.8)) / rng.uniform(0.3, 1.5), 0, 1)
    return np.clip(shop(rng) + 0.02 * up * phone.vacuum(rng, 8 * RATE_HZ, rate_hz=RATE_HZ), -1, 1)


@pytest.mark.parametrize(
    ("name", "codec", "bit_rate"),
    [
        ("a.wav", "pcm_s16le", None),
        ("a.m4a", "aac", 64_000),
        ("a.ogg", "libopus", 24_000),
        ("a.mp3", "libmp3lame", 64_000),
    ],
)
@pytest.mark.parametrize("seed", [4001, 4005, 4010])  # all told so before; 4005 only as Opus
def test_vacuum_that_starts_after_a_cut_is_no_gain_in_any_copy(tmp_path, name, codec, bit_rate, seed):
    sound = started_after(seed)
    path = encode(tmp_path / name, sound[None], codec=codec, rate_hz=RATE_HZ, bit_rate=bit_rate)
    assert "automatic-gain" not in {finding.code for finding in read_recording(path).findings}


@pytest.mark.parametrize("strength", [0.45, 0.6, 0.8, 1.0])
def test_gain_is_found_in_lossy_copies_too(tmp_path, rng, strength):
    sound = phone.automatic_gain(shop(rng), rate_hz=RATE_HZ, strength=strength)
    sound *= 0.5 / np.abs(sound).max()
    for name, codec, bit_rate in (("a.m4a", "aac", 64_000), ("a.ogg", "libopus", 48_000)):
        path = encode(tmp_path / name, sound[None], codec=codec, rate_hz=RATE_HZ, bit_rate=bit_rate)
        assert "automatic-gain" in {finding.code for finding in read_recording(path).findings}, name


def test_pauses_cut_to_nothing_are_found(rng):
    sound = shop(rng, cuts=((1, 2.5), (4, 6)))
    gate = ((np.arange(len(sound)) / RATE_HZ - 1) % 3 < 1.7).astype(float)
    assert codes(sound * gate) == {"noise-suppression"}


def test_silence_that_the_decoder_put_in_is_no_gate(rng):
    sound = shop(rng)
    sound[3 * RATE_HZ : 4 * RATE_HZ] = 0
    samples = sound[None].astype(np.float32)
    assert "noise-suppression" in {f.code for f in describe(samples, rate_hz=RATE_HZ)[1]}
    assert describe(samples, rate_hz=RATE_HZ, holes=True)[1] == []


def test_silence_at_the_ends_is_no_gate(rng):
    sound = shop(rng)
    sound[: RATE_HZ // 2] = sound[-RATE_HZ:] = 0
    assert codes(sound) == set()


def core(rng):
    low = scipy.signal.butter(10, 6000, fs=RATE_HZ, output="sos")
    return scipy.signal.sosfilt(low, shop(rng))


def test_band_that_is_a_copy_of_a_lower_one_is_no_evidence(rng):
    sound = core(rng)
    band = scipy.signal.butter(10, [1500, 6000], "bandpass", fs=RATE_HZ, output="sos")
    analytic = scipy.signal.hilbert(scipy.signal.sosfilt(band, sound))
    copied = np.real(analytic * np.exp(2j * np.pi * 4500 * np.arange(len(sound)) / RATE_HZ))  # up by 4.5 kHz
    bandwidth_hz, found = describe((sound + copied)[None].astype(np.float32), rate_hz=RATE_HZ)
    assert [f.code for f in found] == ["synthetic-upper-band"]
    # The filters are some hundred Hz wide at their edges.
    assert bandwidth_hz == pytest.approx(6000, abs=300)


def test_band_that_is_folded_up_is_no_evidence(rng):
    every_fourth = np.zeros(8 * RATE_HZ)
    every_fourth[::4] = scipy.signal.resample_poly(core(rng), 1, 4)  # images of 12 kHz sampling
    keep = scipy.signal.butter(10, 11_500, fs=RATE_HZ, output="sos")
    images = scipy.signal.sosfilt(keep, every_fourth).astype(np.float32)
    # The mirror lies at 6 kHz; bins nearer to it than 750 Hz can't be told from their neighbours' leakage.
    found_hz = made_up_from_hz(images, rate_hz=RATE_HZ, bandwidth_hz=11_500)
    assert found_hz == pytest.approx(6000, abs=800)


@pytest.mark.parametrize(
    ("name", "codec", "bit_rate"), [("a.m4a", "aac", 96_000), ("a.ogg", "libopus", 64_000)]
)
def test_usual_codecs_copy_nothing_and_turn_no_gain(tmp_path, rng, name, codec, bit_rate):
    path = encode(tmp_path / name, shop(rng)[None], codec=codec, rate_hz=RATE_HZ, bit_rate=bit_rate)
    assert read_recording(path).findings == ()


def test_short_sound_is_not_searched_for_copies(rng):
    assert made_up_from_hz(rng.normal(size=4000), rate_hz=RATE_HZ, bandwidth_hz=24_000) is None


@pytest.mark.parametrize("edge_hz", [6000, 8000])  # RFC 6716, table 1: medium and wide band of Opus
def test_band_of_a_voice_message_in_a_file_of_a_higher_rate_is_told(rng, edge_hz):
    noise = rng.normal(0, 0.1, 4 * RATE_HZ)
    spectrum = np.fft.rfft(noise)
    spectrum[np.fft.rfftfreq(len(noise), 1 / RATE_HZ) > edge_hz] = 0
    assert codes(np.fft.irfft(spectrum)) == {"voice-message"}


@pytest.mark.parametrize("edge_hz", [5000, 7000, 10_000, 16_000])
def test_other_edges_are_not_a_voice_message_s(rng, edge_hz):
    noise = rng.normal(0, 0.1, 4 * RATE_HZ)
    spectrum = np.fft.rfft(noise)
    spectrum[np.fft.rfftfreq(len(noise), 1 / RATE_HZ) > edge_hz] = 0
    assert codes(np.fft.irfft(spectrum)) == set()


@pytest.mark.parametrize(
    ("codec", "expected"), [("amrnb", True), ("gsm_ms", True), ("aac", False), ("", False)]
)
def test_codec_of_a_headset_is_told_by_its_name(rng, codec, expected):
    samples = rng.normal(0, 0.1, (1, 44_100)).astype(np.float32)
    found = {f.code for f in describe(samples, rate_hz=11_025, codec=codec)[1]}
    assert ("headset-codec" in found) is expected


def film(path, *, plays, taken, sound):
    with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as out:
        if taken:
            out.metadata["com.android.capture.fps"] = taken
        video = out.add_stream("mpeg4", rate=plays)
        video.width, video.height, video.pix_fmt = 64, 48, "yuv420p"
        audio = out.add_stream("aac", rate=RATE_HZ, layout="mono")
        for frame in [*(av.VideoFrame(64, 48, "yuv420p") for _ in range(2 * plays)), None]:
            for packet in video.encode(frame):
                out.mux(packet)
        block = av.AudioFrame.from_ndarray(sound[None].astype(np.float32), format="fltp", layout="mono")
        block.sample_rate = RATE_HZ
        for frame in [block, None]:
            for packet in audio.encode(frame):
                out.mux(packet)
    return path


@pytest.mark.parametrize(
    ("plays", "taken", "slowed"),
    [
        (30, "240.000000", True),
        (25, "120", True),
        (30, "30.000000", False),
        (60, "59.94", False),
        (30, None, False),
        (30, "fast", False),
    ],
)
def test_film_that_plays_slower_than_it_was_taken_is_told(tmp_path, rng, plays, taken, slowed):
    path = film(tmp_path / "film.mp4", plays=plays, taken=taken, sound=rng.normal(0, 0.1, 2 * RATE_HZ))
    assert ({f.code for f in read_recording(path).findings} & CODES) == (
        {"slowed-video"} if slowed else set()
    )


def test_sound_without_picture_is_not_slowed(tmp_path, rng):
    soundfile.write(tmp_path / "a.flac", shop(rng), RATE_HZ)
    assert read_recording(tmp_path / "a.flac").findings == ()
