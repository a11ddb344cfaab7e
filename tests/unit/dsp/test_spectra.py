"""Spectra against a general signal library, and line power against arithmetic."""

import librosa
import numpy as np
import pytest
from scipy import signal

from chatter.dsp.spectra import frame_powers, halve_rate, peak_frequency_hz, ring_floor, running_floor

RATE_HZ = 8000


def test_frame_powers_of_noise_average_to_scipy_welch(rng):
    samples = rng.normal(size=4 * RATE_HZ)
    _, hz, powers = frame_powers(samples, rate_hz=RATE_HZ, window_s=0.256, hop_s=0.128)
    expected_hz, expected = signal.welch(
        samples, RATE_HZ, window="hann", nperseg=2048, noverlap=1024, detrend=False, scaling="spectrum"
    )
    assert hz == pytest.approx(expected_hz)
    # The first and last bins are one-sided differently; all others are the same sum.
    assert powers.mean(axis=0)[1:-1] == pytest.approx(expected[1:-1], rel=1e-9)


def test_frame_powers_of_one_window_match_librosa_stft(rng):
    samples = rng.normal(size=2048)
    _, _, powers = frame_powers(samples, rate_hz=RATE_HZ, window_s=0.256, hop_s=0.256)
    theirs = np.abs(librosa.stft(samples, n_fft=2048, hop_length=2048, center=False))[:, 0]
    scale = 2 / signal.get_window("hann", 2048).sum() ** 2
    assert powers[0] == pytest.approx(scale * theirs**2, rel=1e-6)


def test_frame_powers_of_a_sine_on_a_bin_give_its_mean_square():
    amplitude = 0.3
    samples = amplitude * np.sin(2 * np.pi * 500 * np.arange(RATE_HZ) / RATE_HZ)
    _, hz, powers = frame_powers(samples, rate_hz=RATE_HZ, window_s=0.1, hop_s=0.05)
    at = int(np.argmin(np.abs(hz - 500)))
    assert powers[:, at] == pytest.approx(amplitude**2 / 2, rel=1e-9)


def test_frame_powers_in_single_precision_err_130_db_below_the_loudest_line(rng):
    samples = np.sin(2 * np.pi * 503.1 * np.arange(RATE_HZ) / RATE_HZ) + 1e-3 * rng.normal(size=RATE_HZ)
    single = samples.astype(np.float32)
    _, _, coarse = frame_powers(single, rate_hz=RATE_HZ, window_s=0.5, hop_s=0.25, pad=4)
    _, _, fine = frame_powers(single.astype(np.float64), rate_hz=RATE_HZ, window_s=0.5, hop_s=0.25, pad=4)
    # Amplitudes, as powers of loud bins err in proportion to themselves: 130 dB is 3e-7.
    assert 0 < np.abs(np.sqrt(coarse) - np.sqrt(fine)).max() < 3.2e-7 * np.sqrt(fine.max())


@pytest.mark.parametrize("rate_hz", [48_000, 192_000])
@pytest.mark.parametrize("precision", [np.float32, np.float64])
def test_frame_powers_up_to_a_fifth_of_the_rate_are_those_of_all_bins_there(rng, rate_hz, precision):
    samples = rng.normal(size=4 * rate_hz).astype(precision)
    all_s, all_hz, expected = frame_powers(samples, rate_hz=rate_hz, window_s=1.0, hop_s=0.5)
    times_s, hz, powers = frame_powers(samples, rate_hz=rate_hz, window_s=1.0, hop_s=0.5, top_hz=8000)
    assert times_s == pytest.approx(all_s)
    assert hz == pytest.approx(all_hz[: len(hz)])
    assert hz[-1] >= 8000
    assert np.sqrt(powers) == pytest.approx(np.sqrt(expected[:, : len(hz)]), abs=1e-6)


@pytest.mark.parametrize(
    ("share", "least_db", "most_db"), [(0.2, -1e-5, 1e-5), (0.3, -400, -120), (0.45, -400, -120)]
)
def test_half_the_rate_keeps_a_fifth_of_it_and_hides_what_would_fold_onto_that(share, least_db, most_db):
    tone = np.sin(2 * np.pi * share * np.arange(4000))
    halved = halve_rate(tone)
    level_db = 20 * np.log10(np.sqrt(2 * np.mean(halved[100:-100] ** 2)))
    assert len(halved) == 2000
    assert least_db < level_db < most_db
    if share == 0.2:
        assert halved[100:-100] == pytest.approx(tone[200:-200:2], abs=2e-6)  # in time, too


@pytest.mark.parametrize("count", [2, 3, 77])
def test_half_the_rate_of_a_short_sound_has_half_its_samples(count):
    halved = halve_rate(np.ones(count, dtype=np.float32))
    assert halved.dtype == np.float32
    assert len(halved) == (count + 1) // 2
    assert np.all((halved > 0.4) & (halved < 1.2))  # silence lies beside it


@pytest.mark.parametrize("true_hz", [500.0, 503.1, 507.5, 511.9])
def test_peak_frequency_between_bins_is_found_to_a_hundredth_of_a_bin_padded(true_hz):
    samples = np.sin(2 * np.pi * true_hz * np.arange(RATE_HZ) / RATE_HZ)
    _, hz, powers = frame_powers(samples, rate_hz=RATE_HZ, window_s=0.25, hop_s=0.25, pad=4)
    index = int(np.argmax(powers[0]))
    # A parabola through a Hann main lobe padded four times errs by less than a hundredth of 4 Hz.
    assert peak_frequency_hz(powers[0], index, float(hz[1])) == pytest.approx(true_hz, abs=0.04)


def test_running_floor_ignores_lines_and_follows_a_slope():
    slope = np.linspace(1.0, 2.0, 2000)
    powers = slope.copy()
    powers[::50] = 1000.0
    floor = running_floor(powers, width_bins=101)
    # Inside, the median of a straight line is its middle; steps of the coarse grid are 4 bins, 0.002.
    assert floor[200:1800] == pytest.approx(slope[200:1800], abs=0.05)


def test_ring_floor_lets_a_line_stand_out_but_not_a_hump():
    line = np.ones(1000)
    line[500] = 100.0
    hump = 1 + 99 * np.exp(-(((np.arange(1000) - 500) / 60) ** 2))
    options = {"inner_bins": 4, "outer_bins": 14}
    assert line[500] / ring_floor(line, **options)[500] == pytest.approx(100.0)
    assert hump[500] / ring_floor(hump, **options)[500] < 1.1
