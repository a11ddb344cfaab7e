"""Decoding: times, levels and channels of files that we wrote ourselves, and every kind of bad file."""

import hashlib

import av
import numpy as np
import pytest
import soundfile

from chatter.audio import read_recording
from chatter.errors import BadSamplesError, FileProblemError
from tests.unit.audio.encode import encode, write_film

RATE_HZ = 48_000
CLICK_AT = 24_000  # samples: half a second


def clicked(seconds=1.5):
    """Give a faint tone with one sharp click."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    sound = 0.01 * np.sin(2 * np.pi * 1000 * t)
    sound[CLICK_AT : CLICK_AT + 24] += 0.8 * np.hanning(24)
    return sound.astype(np.float32)


@pytest.mark.parametrize(
    ("name", "codec"),
    [
        ("cut.m4a", "aac"),
        ("cut.mov", "aac"),
        ("cut.aac", "aac"),
        ("cut.ogg", "libopus"),
        ("cut.webm", "libopus"),
        ("cut.mp3", "libmp3lame"),
    ],
)
def test_click_keeps_its_time_through_a_codec(tmp_path, name, codec):
    encode(tmp_path / name, clicked()[None, :], codec=codec, rate_hz=RATE_HZ)
    got = read_recording(tmp_path / name)
    found = int(np.argmax(np.abs(got.samples[0]))) / got.rate_hz
    # The click's middle is 12 samples in; a millisecond is what the project asks of codec delays.
    assert found == pytest.approx((CLICK_AT + 12) / RATE_HZ, abs=1e-3)


def test_level_of_a_tone_survives_aac_within_a_third_of_a_decibel(tmp_path):
    tone = (0.2 * np.sin(2 * np.pi * 1000 * np.arange(2 * RATE_HZ) / RATE_HZ)).astype(np.float32)
    encode(tmp_path / "tone.m4a", tone[None, :], codec="aac", rate_hz=RATE_HZ)
    middle = read_recording(tmp_path / "tone.m4a").samples[0][RATE_HZ // 2 : -RATE_HZ // 2]
    assert 20 * np.log10(np.std(middle) / np.std(tone)) == pytest.approx(0, abs=0.3)


def test_channels_out_of_phase_stay_apart(tmp_path):
    sound = clicked()
    encode(tmp_path / "two.m4a", np.vstack([sound, -sound]), codec="aac", rate_hz=RATE_HZ)
    got = read_recording(tmp_path / "two.m4a").samples
    assert got.shape[0] == 2
    assert np.corrcoef(got[0], got[1])[0, 1] < -0.95


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT"])
def test_wave_files_of_every_depth_match_their_source(tmp_path, subtype):
    soundfile.write(tmp_path / "a.wav", clicked(), RATE_HZ, subtype=subtype)
    got = read_recording(tmp_path / "a.wav")
    # Half a step of eight bits is 1/256; finer formats do better.
    assert got.samples[0] == pytest.approx(clicked(), abs=1 / 128)
    assert got.sha256 == hashlib.sha256((tmp_path / "a.wav").read_bytes()).hexdigest()


def test_flac_reads_the_same_through_libsndfile_and_ffmpeg(tmp_path):
    soundfile.write(tmp_path / "a.flac", clicked(), RATE_HZ, subtype="PCM_16")
    with av.open(str(tmp_path / "a.flac")) as container:
        theirs = np.concatenate([frame.to_ndarray() for frame in container.decode(audio=0)], axis=1)[0]
    assert read_recording(tmp_path / "a.flac").samples[0] == pytest.approx(theirs / 32768, abs=1e-7)


@pytest.mark.parametrize(("channels", "rate_hz"), [(8, 48_000), (1, 192_000), (2, 8_000)])
def test_odd_layouts_keep_channels_and_rate(tmp_path, rng, channels, rate_hz):
    noise = 0.1 * rng.normal(size=(rate_hz * 2, channels))
    soundfile.write(tmp_path / "odd.wav", noise, rate_hz)
    got = read_recording(tmp_path / "odd.wav")
    assert (got.channels, got.rate_hz, got.duration_s) == (channels, rate_hz, 2.0)


def codes(tmp_path, samples, rate_hz=RATE_HZ):
    soundfile.write(tmp_path / "f.wav", samples, rate_hz, subtype="FLOAT")
    return {finding.code for finding in read_recording(tmp_path / "f.wav").findings}


def test_each_fault_is_found_and_a_sound_recording_has_none(tmp_path, rng):
    noise = 0.1 * rng.normal(size=2 * RATE_HZ)
    assert codes(tmp_path, noise) == set()
    assert "clipped" in codes(tmp_path, np.clip(30 * noise, -1, 1))
    assert "quiet" in codes(tmp_path, 1e-3 * noise)
    assert "too-short" in codes(tmp_path, noise[:4000])
    assert "headset-codec" in codes(tmp_path, noise, rate_hz=8000)
    spectrum = np.fft.rfft(noise)
    spectrum[int(3400 / (RATE_HZ / 2) * len(spectrum)) :] = 0
    assert "narrow-band" in codes(tmp_path, np.fft.irfft(spectrum))


def test_bandwidth_is_the_edge_of_a_codec_but_not_a_roll_off(tmp_path, rng):
    noise = 0.1 * rng.normal(size=4 * RATE_HZ)
    spectrum = np.fft.rfft(noise)
    hz = np.fft.rfftfreq(len(noise), 1 / RATE_HZ)
    edged = np.fft.irfft(np.where(hz < 15_800, spectrum, 0))
    falling = np.fft.irfft(spectrum / (1 + (hz / 500) ** 2))  # 12 dB an octave, a far room
    for samples, expected_hz in ((edged, 15_800), (falling, 24_000)):
        soundfile.write(tmp_path / "b.wav", samples, RATE_HZ, subtype="FLOAT")
        # Bands are 187.5 Hz wide.
        assert read_recording(tmp_path / "b.wav").bandwidth_hz == pytest.approx(expected_hz, abs=600)


@pytest.mark.parametrize("name", ["with space.wav", "Fräsen é.wav", "-dash.wav", "no_ending"])
def test_names_do_not_matter(tmp_path, name):
    soundfile.write(tmp_path / name, clicked(), RATE_HZ, format="WAV")
    assert read_recording(tmp_path / name).file == name


def test_one_sample_and_silence_are_read(tmp_path):
    for samples in (np.zeros(1), np.zeros(RATE_HZ)):
        soundfile.write(tmp_path / "s.wav", samples, RATE_HZ)
        assert read_recording(tmp_path / "s.wav").samples.shape == (1, len(samples))


def test_missing_folder_empty_and_text_say_what_to_do(tmp_path):
    (tmp_path / "empty.wav").write_bytes(b"")
    (tmp_path / "text.wav").write_text("no sound at all\n" * 50)
    for name, match in (
        ("missing.wav", "no such file"),
        (".", "folder"),
        ("empty.wav", "empty"),
        ("text.wav", "can't be decoded"),
    ):
        with pytest.raises(FileProblemError, match=match):
            read_recording(tmp_path / name)


def test_truncated_m4a_is_refused_and_truncated_mp3_is_read_as_far_as_it_goes(tmp_path):
    encode(tmp_path / "a.m4a", clicked()[None, :], codec="aac", rate_hz=RATE_HZ)
    encode(tmp_path / "a.mp3", clicked()[None, :], codec="libmp3lame", rate_hz=RATE_HZ)
    for name in ("a.m4a", "a.mp3"):
        whole = (tmp_path / name).read_bytes()
        (tmp_path / name).write_bytes(whole[: len(whole) // 2])
    with pytest.raises(FileProblemError, match="can't be decoded"):
        read_recording(tmp_path / "a.m4a")
    assert 0.3 < read_recording(tmp_path / "a.mp3").duration_s < 1.2


def test_samples_that_are_not_numbers_and_no_samples_are_refused(tmp_path):
    for samples, match in ((np.full(100, np.nan), "not numbers"), (np.zeros(0), "no sound")):
        soundfile.write(tmp_path / "n.wav", samples, RATE_HZ, subtype="FLOAT")
        with pytest.raises(BadSamplesError, match=match):
            read_recording(tmp_path / "n.wav")


def test_video_without_sound_is_refused(tmp_path):
    write_film(tmp_path / "v.mp4")
    with pytest.raises(FileProblemError, match="no sound track"):
        read_recording(tmp_path / "v.mp4")
