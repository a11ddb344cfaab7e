"""Decoded sound against what was encoded, and against a second decoder."""

import numpy as np
import pytest
import soundfile

from chatter.audio import read_recording
from tests.unit.audio.encode import encode

CLICK_S = 1.0
TONE_FROM_S, TONE_TO_S = 1.5, 2.8

# name, codec, container, rate, bit rate
LOSSY = [
    ("a.m4a", "aac", "ipod", 48_000, 128_000),
    ("a44.m4a", "aac", "ipod", 44_100, 128_000),
    ("film.mp4", "aac", None, 48_000, 128_000),
    ("film.mov", "aac", None, 44_100, 128_000),
    ("film.3gp", "aac", None, 48_000, 128_000),
    ("film.mkv", "aac", None, 48_000, 128_000),
    ("raw.aac", "aac", "adts", 48_000, 128_000),
    ("film.ts", "aac", "mpegts", 48_000, 128_000),
    ("o.ogg", "libopus", None, 48_000, 96_000),
    ("o.webm", "libopus", None, 48_000, 96_000),
]
EXACT = [
    ("alac.m4a", "alac", "ipod"),
    ("alac.caf", "alac", None),
    ("pcm.caf", "pcm_s16le", None),
    ("pcm.aiff", "pcm_s16be", None),
    ("f.flac", "flac", None),
    ("pcm.wav", "pcm_s16le", None),
]


def click_and_tone(rate_hz, seconds=3.0):
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    click = 0.8 * np.exp(-(((time_s - CLICK_S) / 2e-4) ** 2)) * np.cos(2 * np.pi * 2000 * (time_s - CLICK_S))
    tone = 0.25 * np.sin(2 * np.pi * 700 * time_s) * (time_s > 1.3)
    return (click + tone).astype(np.float32)


def tone_db(samples, rate_hz):
    return 20 * np.log10(np.std(samples[round(TONE_FROM_S * rate_hz) : round(TONE_TO_S * rate_hz)]))


@pytest.mark.parametrize(("name", "codec", "container", "rate_hz", "bit_rate"), LOSSY, ids=lambda x: str(x))
def test_lossy_sound_keeps_time_level_and_opposed_channels(
    tmp_path, name, codec, container, rate_hz, bit_rate
):
    left = click_and_tone(rate_hz)
    path = encode(
        tmp_path / name,
        np.stack([left, -left]),
        codec=codec,
        rate_hz=rate_hz,
        bit_rate=bit_rate,
        container=container,
    )
    got = read_recording(path)
    assert (got.channels, got.rate_hz) == (2, rate_hz)
    # A frame of AAC priming not removed would be 21 ms; a whole tooth of a fast cutter passes in 1 ms.
    until = round(1.2 * rate_hz)
    assert np.argmax(np.abs(got.samples[0, :until])) / rate_hz == pytest.approx(CLICK_S, abs=1e-3)
    # 0.3 dB: codecs at this bit rate cost about 0.1 dB; a mono mix would cost 3 dB or everything.
    assert tone_db(got.samples[0], rate_hz) == pytest.approx(tone_db(left, rate_hz), abs=0.3)
    assert np.corrcoef(got.samples)[0, 1] < -0.99


@pytest.mark.parametrize("name", ["a.m4a", "film.mp4", "film.mov"])
def test_length_of_phone_file_is_the_encoded_length(tmp_path, name):
    sound = click_and_tone(48_000, 2.34)[None]  # no whole number of AAC frames
    path = encode(tmp_path / name, sound, codec="aac", rate_hz=48_000, bit_rate=96_000)
    # MP4 counts a track's length in milliseconds at worst (ISO/IEC 14496-12, movie timescale).
    assert read_recording(path).duration_s == pytest.approx(2.34, abs=1e-3)


@pytest.mark.parametrize(("name", "codec", "container"), EXACT)
def test_lossless_sound_comes_back_sample_by_sample(tmp_path, name, codec, container):
    sound = np.stack([click_and_tone(48_000), -click_and_tone(48_000)])
    path = encode(tmp_path / name, sound, codec=codec, rate_hz=48_000, container=container)
    got = read_recording(path)
    # One step of 16 bits: FFmpeg and libsndfile need not round alike.
    np.testing.assert_allclose(got.samples, sound, atol=1.01 / 2**15)


@pytest.mark.parametrize(
    ("name", "codec", "rate_hz"), [("m.mp3", "libmp3lame", 44_100), ("o.ogg", "libopus", 48_000)]
)
def test_both_decoders_agree_on_a_compressed_file(tmp_path, name, codec, rate_hz):
    path = encode(
        tmp_path / name, click_and_tone(rate_hz)[None], codec=codec, rate_hz=rate_hz, bit_rate=128_000
    )
    ours = read_recording(path).samples[0]
    theirs, _ = soundfile.read(path, dtype="float32")  # libsndfile, which we don't use for these
    shared = min(len(ours), len(theirs))
    assert shared >= 2.99 * rate_hz
    # 60 dB below the tone: Opus decoders may differ in rounding, a slip of one sample would be 20 dB down.
    assert np.std(ours[:shared] - theirs[:shared]) < 1e-3 * np.std(theirs)


def test_raw_amr_is_not_late(tmp_path, rng):
    rate_hz = 8000
    bursts = (np.arange(4 * rate_hz) // 800 % 3 == 0) * rng.normal(0, 0.1, 4 * rate_hz)
    smooth = np.convolve(bursts, np.hanning(5) / 2, "same").astype(
        np.float32
    )  # below 3.4 kHz, telephone band
    path = encode(
        tmp_path / "voice.amr", smooth[None], codec="libopencore_amrnb", rate_hz=rate_hz, bit_rate=12_200
    )
    got = read_recording(path).samples[0]
    inside = slice(1000, len(smooth) - 1000)
    likeness = [
        np.dot(smooth[inside], np.roll(got, -shift)[: len(smooth)][inside]) for shift in range(-80, 81)
    ]
    # 1 ms is 8 samples; the codec's own delay is 40.
    assert abs(int(np.argmax(likeness)) - 80) <= 8


@pytest.mark.parametrize(
    ("subtype", "step"),
    [
        ("PCM_U8", 2**-7),
        ("PCM_16", 2**-15),
        ("PCM_24", 2**-23),
        ("PCM_32", 2**-24),
        ("FLOAT", 0),
        ("DOUBLE", 2**-24),
    ],
)
@pytest.mark.parametrize(("rate_hz", "channels"), [(8000, 1), (192_000, 2), (48_000, 8)])
def test_wave_file_of_any_width_rate_and_channels_keeps_full_scale(
    tmp_path, rng, subtype, step, rate_hz, channels
):
    sound = rng.uniform(-0.9, 0.9, (2000, channels)).astype(np.float32)
    path = tmp_path / "any.wav"
    soundfile.write(path, sound, rate_hz, subtype=subtype)
    got = read_recording(path)
    assert (got.rate_hz, got.channels) == (rate_hz, channels)
    np.testing.assert_allclose(got.samples, sound.T, atol=1.01 * step)  # one step of the format
