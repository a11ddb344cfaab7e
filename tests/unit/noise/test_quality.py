"""A recorder's high-pass, told from bands."""

import numpy as np
import pytest
from scipy import signal

from chatter.model.noise import BandLevel
from chatter.noise.bands import band_levels_db, midbands_hz
from chatter.noise.quality import high_pass_finding
from chatter.noise.spectrum import SpectrumMeter

RATE_HZ = 16_000


def bands_of(samples):
    meter = SpectrumMeter(RATE_HZ)
    meter.add(samples)
    energy, _ = meter.finish()
    levels = band_levels_db(energy, line_hz=meter.line_hz, samples=len(samples), top_hz=RATE_HZ / 2)
    return tuple(
        BandLevel(midband_hz=float(hz), Leq_db=level) for hz, level in zip(midbands_hz(), levels, strict=True)
    )


def pink(rng):
    spectrum = np.fft.rfft(rng.normal(0, 1, 30 * RATE_HZ))
    frequencies = np.fft.rfftfreq(30 * RATE_HZ, 1 / RATE_HZ)
    return 0.01 * np.fft.irfft(spectrum / np.sqrt(np.maximum(frequencies, 10) / 1000))


@pytest.mark.parametrize("edge_hz", [80.0, 125.0, 200.0])
def test_recorders_high_pass_is_found_near_its_edge(edge_hz, rng):
    sos = signal.butter(3, edge_hz, "highpass", fs=RATE_HZ, output="sos")  # 18 dB an octave
    found = high_pass_finding(bands_of(signal.sosfilt(sos, pink(rng))))
    assert found is not None
    named = float(found.message.split("about ")[1].split(" Hz")[0])
    assert 0.6 * edge_hz < named < 1.7 * edge_hz  # a third of an octave or two


def test_plain_noise_and_tones_have_none(rng):
    white = rng.normal(0, 0.05, 30 * RATE_HZ)
    t = np.arange(10 * RATE_HZ) / RATE_HZ
    lines = sum(np.sin(2 * np.pi * hz * t) for hz in midbands_hz()[6:22])  # 100 Hz and up, and nothing below
    for samples in (white, pink(rng), 0.1 * np.sin(2 * np.pi * 250 * t), 0.01 * lines):
        assert high_pass_finding(bands_of(samples)) is None


def test_no_bands_tell_nothing():
    assert high_pass_finding(()) is None
    assert high_pass_finding((BandLevel(midband_hz=1000.0, Leq_db=None),)) is None
