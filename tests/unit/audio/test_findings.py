from pathlib import Path

import av
import numpy as np
import pytest
import scipy.signal

from chatter.audio import read_recording
from chatter.audio.findings import carried_bandwidth_hz, describe
from tests.unit.audio.encode import encode

RATE_HZ = 48_000


@pytest.fixture
def noise(rng):
    return rng.normal(0, 0.1, (1, 4 * RATE_HZ)).astype(np.float32)


def codes(samples, rate_hz=RATE_HZ):
    return {finding.code for finding in describe(samples, rate_hz=rate_hz)[1]}


def falling(noise, db_an_octave):
    spectrum = np.fft.rfft(noise)
    frequency_hz = np.fft.rfftfreq(noise.shape[1], 1 / RATE_HZ)
    gain = np.maximum(frequency_hz, 100.0) ** (-db_an_octave / (20 * np.log10(2)))
    sound = np.fft.irfft(spectrum * gain)
    return sound / np.abs(sound).max() / 2


def test_good_recording_has_no_findings(noise):
    assert describe(noise, rate_hz=RATE_HZ) == (RATE_HZ / 2, [])


def test_overdriven_recording_is_clipped(noise):
    assert codes(np.clip(20 * noise, -1, 1)) == {"clipped"}


def test_one_channel_alone_can_be_clipped(noise):
    assert "clipped" in codes(np.concatenate([noise, np.clip(20 * noise, -1, 1)]))


def test_faint_recording_is_quiet(noise):
    assert codes(noise / 1000) == {"quiet"}


def test_silence_is_quiet():
    assert codes(np.zeros((1, RATE_HZ * 2))) == {"quiet"}


def test_one_sample_is_too_short():
    assert codes(np.array([[0.1]])) == {"too-short"}


@pytest.mark.parametrize("rate_hz", [8000, 16_000])  # Bluetooth hands-free: CVSD and mSBC rates
def test_headset_rate_is_told(noise, rate_hz):
    assert "headset-codec" in codes(noise, rate_hz)


def converted(samples, *, from_hz, to_hz):
    """Change the rate of one channel as FFmpeg does, whose images beyond the band are some 70 dB faint."""
    convert = av.AudioResampler(format="fltp", layout="mono", rate=to_hz)
    frame = av.AudioFrame.from_ndarray(samples.astype(np.float32)[None], format="fltp", layout="mono")
    frame.sample_rate = from_hz
    return np.concatenate(
        [one.to_ndarray() for part in (frame, None) for one in convert.resample(part)], axis=1
    )


@pytest.mark.parametrize("rates_hz", [(32_000, 48_000), (96_000,)])
@pytest.mark.parametrize("silent_left", [False, True])
def test_images_of_a_resampler_are_not_taken_for_what_a_codec_made_up(rates_hz, silent_left):
    recording = read_recording(Path(__file__).parents[3] / "fixtures/recordings/clock-plate-quiet.flac")
    sound, rate_hz = recording.samples[0], int(recording.rate_hz)
    for to_hz in rates_hz:
        sound, rate_hz = converted(sound, from_hz=rate_hz, to_hz=to_hz)[0], to_hz
    stereo = np.stack([np.zeros_like(sound), sound] if silent_left else [sound, np.zeros_like(sound)])
    assert "synthetic-upper-band" not in codes(stereo, rate_hz)


def test_telephone_rate_that_was_converted_is_narrow(noise):
    call = converted(noise[0], from_hz=RATE_HZ, to_hz=8000)
    assert codes(converted(call[0], from_hz=8000, to_hz=RATE_HZ)) == {"narrow-band"}


def test_telephone_band_is_narrow(noise):
    call = scipy.signal.resample(noise, noise.shape[1] // 6, axis=1)  # 8 kHz, as a telephone carries
    assert codes(scipy.signal.resample(call, noise.shape[1], axis=1)) == {"narrow-band"}


@pytest.mark.parametrize("edge_hz", [4000, 7000, 12_000, 16_000, 20_000])
def test_codec_edge_is_found(noise, edge_hz):
    spectrum = np.fft.rfft(noise)
    spectrum[:, np.fft.rfftfreq(noise.shape[1], 1 / RATE_HZ) > edge_hz] = 0
    sound = np.fft.irfft(spectrum) + 1e-6 * noise
    # The spectrum is judged in 128 bands of 188 Hz: right within two.
    assert carried_bandwidth_hz(sound, rate_hz=RATE_HZ) == pytest.approx(edge_hz, abs=376)


@pytest.mark.parametrize("db_an_octave", [6, 12, 18, 24])
def test_falling_spectrum_has_no_edge(noise, db_an_octave):
    sound = np.round(falling(noise, db_an_octave) * 2**15) / 2**15  # with the floor of 16 bits
    assert carried_bandwidth_hz(sound, rate_hz=RATE_HZ) == RATE_HZ / 2


@pytest.mark.parametrize("tone_hz", [100, 700, 5000, 15_000])
def test_lone_tone_has_no_edge(noise, tone_hz):
    tone = 0.5 * np.sin(2 * np.pi * tone_hz * np.arange(4 * RATE_HZ) / RATE_HZ)[None]
    assert carried_bandwidth_hz(tone + 1e-4 * noise, rate_hz=RATE_HZ) == RATE_HZ / 2


@pytest.mark.parametrize("cutoff_hz", [6000, 12_000])
def test_edge_that_an_encoder_was_told_to_make_is_found(tmp_path, noise, cutoff_hz):
    options = {"cutoff": str(cutoff_hz)}
    path = encode(
        tmp_path / "low.m4a", noise, codec="aac", rate_hz=RATE_HZ, bit_rate=128_000, options=options
    )
    # AAC ends at one of its scale-factor bands (ISO/IEC 14496-3), about 1 kHz wide here.
    assert read_recording(path).bandwidth_hz == pytest.approx(cutoff_hz, abs=1000)
