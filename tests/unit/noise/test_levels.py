"""Levels of bursts, steps, peaks and long sounds."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chatter.noise.levels import LevelMeter, PeakHold
from chatter.noise.weighting import WeightingFilters


def measure(samples, *, rate_hz=48_000, block=48_000):
    meter, filters = LevelMeter(rate_hz), WeightingFilters(rate_hz)
    for start in range(0, len(samples), block):
        meter.add(filters.weigh(samples[start : start + block]))
    return meter.finish()


def burst(milliseconds, *, rate_hz, frequency_hz=4000.0, seconds=3.0):
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    start = 0.5
    on = (t >= start) & (t < start + milliseconds / 1000)
    return 0.5 * np.sin(2 * np.pi * frequency_hz * (t - start)) * on


def steady_db(rate_hz):
    """Give the steady level of the bursts' tone, behind the same weighting."""
    samples = burst(10_000, rate_hz=rate_hz, seconds=6)
    return 10 * np.log10(np.mean(WeightingFilters(rate_hz).weigh(samples).a[4 * rate_hz :] ** 2))


# IEC 61672-1:2013, Table 4: milliseconds, LAFmax - LA, LASmax - LA, LAE - LA.
TABLE_4 = [
    (1000, 0.0, -2.0, 0.0), (500, -0.1, -4.1, -3.0), (200, -1.0, -7.4, -7.0), (100, -2.6, -10.2, -10.0),
    (50, -4.8, -13.1, -13.0), (20, -8.3, -17.0, -17.0), (10, -11.1, -20.0, -20.0), (5, -14.1, -23.0, -23.0),
    (2, -18.0, -27.0, -27.0), (1, -21.0, None, -30.0),
]  # fmt: skip


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize(("milliseconds", "fast", "slow", "exposure"), TABLE_4)
def test_tonebursts_read_as_table_4_says(rate_hz, milliseconds, fast, slow, exposure):
    steady = steady_db(rate_hz)
    heard = measure(burst(milliseconds, rate_hz=rate_hz), rate_hz=rate_hz)
    # 0.3 dB: what was asked of the program; class 1 allows 0.5 to 3 dB.
    assert heard.af_max_db - steady == pytest.approx(fast, abs=0.3)
    assert heard.ae_db - steady == pytest.approx(exposure, abs=0.3)
    if slow is not None:
        assert heard.as_max_db - steady == pytest.approx(slow, abs=0.3)


@pytest.mark.parametrize(
    ("frequency_hz", "cycles", "wanted", "limit"),  # IEC 61672-1:2013, Table 5, class 1
    [(31.5, 1.0, 2.5, 2.0), (500.0, 1.0, 3.5, 1.0), (8000.0, 1.0, 3.4, 2.0), (500.0, 0.5, 2.4, 1.0)],
)
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_c_peak_of_single_cycles_reads_as_table_5_says(rate_hz, frequency_hz, cycles, wanted, limit):
    t = np.arange(rate_hz) / rate_hz - 0.2
    on = (t >= 0) & (t < cycles / frequency_hz)
    single = np.where(on, np.sin(2 * np.pi * frequency_hz * t), 0.0)
    steady = WeightingFilters(rate_hz).weigh(np.sin(2 * np.pi * frequency_hz * np.arange(rate_hz) / rate_hz))
    steady_db = 10 * np.log10(np.mean(steady.c[rate_hz // 2 :] ** 2))
    assert measure(single, rate_hz=rate_hz).c_peak_db - steady_db == pytest.approx(wanted, abs=limit)


@pytest.mark.parametrize("angle", np.linspace(0, np.pi / 2, 7))
@pytest.mark.parametrize("frequency_hz", [997.0, 6000.0, 12_000.0, 15_000.0])
def test_peak_between_samples_is_found(frequency_hz, angle):
    t = np.arange(9600) / 48_000
    rise = np.minimum(1, np.minimum(t, t[::-1]) / 0.02) ** 2  # no click that would have a peak of its own
    hold = PeakHold()
    for part in np.array_split(rise * np.sin(2 * np.pi * frequency_hz * t + angle), 7):
        hold.add(part)
    # A sine of amplitude 1, by definition; a quarter of the rate reads 3 dB low on samples alone.
    assert 20 * np.log10(hold.finish()) == pytest.approx(0.0, abs=0.1)


def test_percentiles_of_two_levels_are_those_levels(rng):
    rate = 48_000
    quiet, loud = (10 ** (db / 20) * np.sqrt(2) for db in (-50.0, -20.0))
    t = np.arange(60 * rate) / rate
    # 12 s in each 60 s are loud: 20 %; Fast falls by 34.7 dB a second (4.343 / 0.125), so 30 dB take 0.9 s.
    sound = np.sin(2 * np.pi * 1000 * t) * np.where((t >= 20) & (t < 32), loud, quiet)
    heard = measure(sound, rate_hz=rate)
    # 0.4 dB: what was asked; a tenth is the histogram's step.
    assert heard.af10_db == pytest.approx(-20.0, abs=0.15)
    assert heard.af50_db == pytest.approx(-50.0, abs=0.15)
    assert heard.af90_db == pytest.approx(-50.0, abs=0.15)
    # 10 lg(0.2 * 10^-2 + 0.8 * 10^-5) by hand
    assert heard.aeq_db == pytest.approx(-26.97, abs=0.05)


def test_long_steady_noise_agrees_with_another_library(rng):
    from pyoctaveband import laeq, ln_levels

    spectrum = np.fft.rfft(rng.normal(0, 0.05, 20 * 48_000))
    spectrum[np.fft.rfftfreq(20 * 48_000, 1 / 48_000) > 6000] = 0  # where its weighting is close to exact
    samples = np.fft.irfft(spectrum)
    heard = measure(samples)
    offset = 20 * np.log10(2e-5)  # it gives levels re 20 µPa
    # A tenth: the step of the histogram, and its weighting's own error below 6 kHz.
    assert heard.aeq_db == pytest.approx(laeq(samples, 48_000) + offset, abs=0.1)
    others = ln_levels(samples, 48_000, n=(10, 50, 90), mode="fast", weighting="A")
    ours = (heard.af10_db, heard.af50_db, heard.af90_db)
    # It counts the 0.6 s in which Fast rises too: 3 % of the time, which moves L90 by up to 0.15 dB.
    assert ours == pytest.approx([others[n] + offset for n in (10, 50, 90)], abs=0.2)


@settings(max_examples=20, deadline=None)
@given(block=st.integers(1, 9000))
def test_any_block_length_gives_the_same_levels(block):
    samples = np.random.default_rng(5).normal(0, 0.1, 9000)
    samples -= samples.mean()
    meter, filters = LevelMeter(48_000), WeightingFilters(48_000)
    filters.weigh(np.zeros(1))
    weighted = filters.weigh(samples)
    for start in range(0, len(samples), block):
        part = slice(start, start + block)
        meter.add(type(weighted)(a=weighted.a[part], c=weighted.c[part], z=weighted.z[part]))
    whole = LevelMeter(48_000)
    whole.add(weighted)
    got, wanted = meter.finish(), whole.finish()
    for name in ("aeq_db", "af_max_db", "as_max_db", "ae_db", "af50_db"):
        assert getattr(got, name) == pytest.approx(getattr(wanted, name), abs=1e-6)
    # Which places between samples are looked at depends on the blocks; the highest one always is.
    assert got.c_peak_db == pytest.approx(wanted.c_peak_db, abs=0.01)


def test_digital_silence_has_no_level():
    heard = measure(np.zeros(48_000))
    assert (heard.aeq_db, heard.af50_db, heard.c_peak_db) == (None, None, None)


@pytest.mark.parametrize("offset", [0.0, 0.2])
def test_constant_offset_is_no_sound(offset):
    t = np.arange(3 * 48_000) / 48_000
    heard = measure(0.01 * np.sqrt(2) * np.sin(2 * np.pi * 1000 * t) + offset)
    # 20 lg 0.01 in every weighting at 1 kHz (IEC 61672-1:2013)
    assert (heard.aeq_db, heard.ceq_db, heard.zeq_db) == pytest.approx((-40, -40, -40), abs=0.1)
    alone = measure(np.full(48_000, offset))
    assert (alone.aeq_db, alone.ceq_db, alone.zeq_db, alone.c_peak_db) == (None, None, None, None)


@pytest.mark.parametrize("frequency_hz", [500.0, 1000.0])
def test_sound_that_is_cut_off_at_its_crest_peaks_no_higher_than_the_crest(frequency_hz):
    hold = PeakHold()
    t = np.arange(9_600) / 48_000
    hold.add(0.5 * np.cos(2 * np.pi * frequency_hz * t))
    assert hold.finish() == pytest.approx(0.5, rel=0.01)  # 0.1 dB


def test_levels_in_digital_silence_are_none():
    rng = np.random.default_rng(5)
    heard = measure(np.concatenate([0.1 * rng.normal(size=2 * 48_000), np.zeros(8 * 48_000)]))
    assert heard.af90_db is None
    assert heard.af10_db is not None
