"""Codecs: what comes back from a file is the same sound at the same time."""

import numpy as np
import pytest
from scipy import signal

from chatter.audio import read_recording
from chatter.errors import BadValueError
from chatter.simulate.codec import Codec, random_codec, write_as

CODECS = [
    Codec(name="aac", suffix=".m4a", bit_rate=96_000),
    Codec(name="aac", suffix=".m4a", bit_rate=192_000),
    Codec(name="opus", suffix=".ogg", bit_rate=24_000),
    Codec(name="opus", suffix=".webm", bit_rate=96_000),
    Codec(name="mp3", suffix=".mp3", bit_rate=96_000),
    Codec(name="mp3", suffix=".mp3", bit_rate=192_000),
    Codec(name="flac", suffix=".flac"),
    Codec(name="wav", suffix=".wav"),
]


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize("codec", CODECS, ids=lambda c: f"{c.suffix[1:]}-{c.bit_rate}")
def test_sound_comes_back_from_a_file_at_its_time(rng, tmp_path, codec, rate_hz):
    t = np.arange(2 * rate_hz) / rate_hz
    comb = sum(np.sin(2 * np.pi * 310 * k * t) / k for k in range(1, 9))
    noise = signal.lfilter([0.1], [1, -0.9], rng.normal(size=len(t)))
    sound = (0.1 * np.where(t > 0.7, comb, 0) + 0.05 * noise).astype(np.float32)
    path = tmp_path / f"sound{codec.suffix}"
    write_as(codec, path=path, samples=sound[None, :], rate_hz=rate_hz)
    back = read_recording(path)
    heard = signal.resample_poly(back.samples[0], rate_hz, int(back.rate_hz))
    length = min(len(heard), len(sound))
    lags = np.arange(-2000, 2001)
    match = signal.correlate(heard[:length], sound[:length], method="fft")[length - 1 + lags]
    best = int(np.argmax(match))
    # A millisecond: a hundredth of what a cut's start is allowed to be off by.
    assert abs(lags[best]) < 1e-3 * rate_hz
    # Lossy codecs at the lowest rate keep waveforms of a comb to about a fifth; silence or noise gives none.
    assert match[best] > 0.9 * np.sum(sound[:length] ** 2)


def test_random_codecs_cover_every_kind_and_stay_inside_their_rates(rng):
    drawn = [random_codec(rng) for _ in range(300)]
    assert {codec.suffix for codec in drawn} == {".m4a", ".ogg", ".webm", ".mp3", ".flac", ".wav"}
    for codec in drawn:
        low, high = {"opus": (24_000, 96_000)}.get(codec.name, (96_000, 192_000))
        assert codec.bit_rate is None or low <= codec.bit_rate <= high


def test_two_channels_are_refused(tmp_path):
    with pytest.raises(BadValueError, match="channels"):
        write_as(CODECS[-1], path=tmp_path / "a.wav", samples=np.zeros((2, 100), np.float32), rate_hz=48_000)
