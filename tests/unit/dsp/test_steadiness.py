"""How long a band keeps its phase: against closed forms and against the analytic signal of scipy."""

import numpy as np
import pytest
from scipy import signal

from chatter.dsp.steadiness import band_coherence

RATE_HZ = 16_000
SECONDS = 20


def test_steady_tone_keeps_its_phase_and_noise_loses_it_as_its_bandwidth_says(rng):
    t = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    tone = np.sin(2 * np.pi * 1003.7 * t)
    centres_hz = np.array([1003.7])
    settings = {"rate_hz": RATE_HZ, "half_width_hz": 12.0, "lag_s": 0.03}
    assert band_coherence(tone, centres_hz=centres_hz, **settings)[0] == pytest.approx(1, abs=0.01)

    many_hz = np.arange(500.0, 7500.0, 100.0)
    got = band_coherence(rng.normal(size=len(t)), centres_hz=many_hz, **settings)
    # The transform of exp(-(f/b)²) is exp(-(pi b t)²): 0.278 here. Chance adds in quadrature, about
    # 1 / sqrt(2 pi b T) over a band of half width b: 0.026 over 20 s.
    assert np.sqrt(np.mean(got**2)) == pytest.approx(np.exp(-((np.pi * 12 * 0.03) ** 2)), abs=0.03)


def test_mode_that_noise_excites_forgets_its_phase_as_it_dies_away(rng):
    natural_hz, damping, lag_s = 800.0, 0.01, 0.02
    pole = np.exp((-damping + 1j * np.sqrt(1 - damping**2)) * 2 * np.pi * natural_hz / RATE_HZ)
    force = rng.normal(size=SECONDS * RATE_HZ)
    moved = signal.lfilter([1.0], np.poly([pole, pole.conjugate()]).real, force)
    got = band_coherence(
        moved, rate_hz=RATE_HZ, centres_hz=np.array([natural_hz]), half_width_hz=200.0, lag_s=lag_s
    )
    # Free decay over the lag, exp(-zeta omega t) = 0.366: the autocorrelation of a lightly damped mode
    # under white noise (common textbook result, from memory).
    assert got[0] == pytest.approx(np.exp(-damping * 2 * np.pi * natural_hz * lag_s), abs=0.06)


def test_agrees_with_the_analytic_signal_of_a_filtered_band(rng):
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    drifting = np.sin(2 * np.pi * 1200 * t + np.cumsum(rng.normal(size=len(t))) * 0.02)
    samples = drifting + 0.3 * rng.normal(size=len(t))
    got = band_coherence(
        samples, rate_hz=RATE_HZ, centres_hz=np.array([1200.0]), half_width_hz=20.0, lag_s=0.05
    )[0]
    spectrum = np.fft.rfft(samples)
    at_hz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    band = signal.hilbert(np.fft.irfft(spectrum * np.exp(-(((at_hz - 1200) / 20) ** 2) / 2), n=len(samples)))
    lag = round(0.05 * RATE_HZ)
    first, later = band[:-lag], band[lag:]
    expected = np.abs(np.vdot(first, later)) / np.sqrt(np.vdot(first, first) * np.vdot(later, later)).real
    assert got == pytest.approx(expected, abs=0.01)


def test_a_lag_as_long_as_the_sound_is_refused():
    with pytest.raises(ValueError, match="no longer than a lag"):
        band_coherence(
            np.zeros(100), rate_hz=100.0, centres_hz=np.array([10.0]), half_width_hz=1.0, lag_s=1.0
        )
