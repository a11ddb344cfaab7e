import numpy as np
import pytest
import soundfile

from chatter.audio import read_recording
from chatter.audio._clipping import flat_share, overshoot_share, piled_share
from tests.unit.audio.encode import encode

RATE_HZ = 48_000
TIME_S = np.arange(2 * RATE_HZ) / RATE_HZ


def is_clipped(path):
    return "clipped" in {finding.code for finding in read_recording(path).findings}


def sine(hz, amplitude):
    return np.clip(amplitude * np.sin(2 * np.pi * hz * TIME_S), -1, 1)


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("hz", [10, 20, 100, 997, 1000, 5000, 12_000])
def test_sine_that_only_touches_full_scale_is_not_clipped(tmp_path, hz, subtype):
    soundfile.write(tmp_path / "s.wav", sine(hz, 1.0), RATE_HZ, subtype=subtype)
    assert not is_clipped(tmp_path / "s.wav")


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("hz", [20, 100, 997, 1000])
@pytest.mark.parametrize("amplitude", [1.1, 3.0])
def test_overdriven_sine_is_clipped(tmp_path, hz, amplitude, subtype):
    soundfile.write(tmp_path / "s.wav", sine(hz, amplitude), RATE_HZ, subtype=subtype)
    assert is_clipped(tmp_path / "s.wav")


@pytest.mark.parametrize("amplitude", [1.2, 2.0, 4.0])
def test_share_of_an_overdriven_sine_is_the_time_that_it_spends_beyond_full_scale(amplitude):
    beyond = 1 - 2 / np.pi * np.arcsin(1 / amplitude)
    # At 100 Hz and 48 kHz a flat top of some 100 samples may lose one at either end.
    assert flat_share(sine(100.5, amplitude)) == pytest.approx(beyond, rel=0.03)


@pytest.mark.parametrize(("name", "codec"), [("n.m4a", "aac"), ("n.mp3", "libmp3lame"), ("n.ogg", "libopus")])
@pytest.mark.parametrize(("overdrive", "expected"), [(1.0, False), (3.0, True)])
def test_overdriven_noise_is_still_clipped_after_a_codec(tmp_path, rng, name, codec, overdrive, expected):
    noise = np.convolve(rng.normal(size=2 * RATE_HZ), np.hanning(16), "same")
    noise = np.clip(overdrive * noise / np.abs(noise).max(), -1, 1)[None]
    path = encode(tmp_path / name, noise, codec=codec, rate_hz=RATE_HZ, bit_rate=128_000)
    assert is_clipped(path) is expected


def test_recording_of_floats_above_one_is_not_clipped(tmp_path, rng):
    soundfile.write(tmp_path / "f.wav", rng.normal(0, 1, 2 * RATE_HZ), RATE_HZ, subtype="FLOAT")
    assert not is_clipped(tmp_path / "f.wav")


def test_faint_sound_has_neither_flat_tops_nor_overshoot():
    assert flat_share(sine(100, 0.5)) == overshoot_share(sine(100, 0.5)) == 0


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("at_sd", [1.0, 2.0, 2.5, 3.0, 3.5])
def test_white_noise_cut_off_at_full_scale_is_clipped(tmp_path, rng, at_sd, subtype):
    soundfile.write(
        tmp_path / "n.wav", np.clip(rng.normal(0, 1 / at_sd, len(TIME_S)), -1, 1), RATE_HZ, subtype=subtype
    )
    assert is_clipped(tmp_path / "n.wav")


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("kind", ["normal", "uniform", "laplace"])
def test_clean_noise_that_just_reaches_full_scale_is_not_clipped(tmp_path, rng, kind, subtype):
    noise = getattr(rng, kind)(size=len(TIME_S))
    noise = 2 * noise - 1 if kind == "uniform" else noise
    soundfile.write(tmp_path / "n.wav", noise / np.abs(noise).max(), RATE_HZ, subtype=subtype)
    assert not is_clipped(tmp_path / "n.wav")


@pytest.mark.parametrize(("at_sd", "beyond"), [(2.0, 0.0455), (3.0, 0.0027)])
def test_share_of_clipped_noise_is_what_lies_beyond(rng, at_sd, beyond):
    noise = np.clip(rng.normal(0, 1 / at_sd, 480_000), -1, 1).astype(np.float32)
    # Two-sided tails of the normal distribution, any table; 4 standard errors of that many draws.
    assert piled_share(noise) == pytest.approx(beyond, abs=4 * np.sqrt(beyond / 480_000))
