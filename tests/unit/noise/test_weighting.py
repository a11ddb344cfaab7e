"""A, C and Z weighting against the standard's table, its formula and another library."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chatter.errors import BadValueError
from chatter.noise.weighting import WeightingFilters, a_weighting_db, c_weighting_db

# IEC 61672-1:2013, Table 3: band n is centred on exactly 10 ** (n / 10) Hz; A, C, and class 1 limits.
TABLE_3 = {
    14: (-44.7, -4.4), 15: (-39.4, -3.0), 16: (-34.6, -2.0), 17: (-30.2, -1.3), 18: (-26.2, -0.8),
    19: (-22.5, -0.5), 20: (-19.1, -0.3), 21: (-16.1, -0.2), 22: (-13.4, -0.1), 23: (-10.9, 0.0),
    24: (-8.6, 0.0), 25: (-6.6, 0.0), 26: (-4.8, 0.0), 27: (-3.2, 0.0), 28: (-1.9, 0.0), 29: (-0.8, 0.0),
    30: (0.0, 0.0), 31: (0.6, 0.0), 32: (1.0, -0.1), 33: (1.2, -0.2), 34: (1.3, -0.3), 35: (1.2, -0.5),
    36: (1.0, -0.8), 37: (0.5, -1.3), 38: (-0.1, -2.0), 39: (-1.1, -3.0), 40: (-2.5, -4.4), 41: (-4.3, -6.2),
    42: (-6.6, -8.5), 43: (-9.3, -11.2),
}  # fmt: skip
# IEC 61672-1:2013, Table 3, printed beside them: 125 Hz to 4 kHz is 1.0 dB or tighter in class 1.


def response_db(rate_hz, frequency_hz):
    """Give the level of a sine behind each weighting, once the filters have settled."""
    t = np.arange(round(1.5 * rate_hz)) / rate_hz
    sine = np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * t)
    filters = WeightingFilters(rate_hz)
    cut = 1000 + round(0.3 * rate_hz)
    first, second = filters.weigh(sine[:cut]), filters.weigh(sine[cut:])
    settled = slice(round(0.7 * rate_hz), None)  # of whole and many periods: 63 Hz errs by 0.02 dB at most
    window = np.hanning(len(np.concatenate([first.a, second.a])[settled]))
    return {
        name: 10
        * np.log10(
            np.average(
                np.concatenate([getattr(first, name), getattr(second, name)])[settled] ** 2, weights=window
            )
        )
        for name in ("a", "c", "z")
    }


def formula_db(frequency_hz):
    """IEC 61672-1:2013, Annex E, written out by hand a second time, with the printed offsets."""
    f2 = frequency_hz**2
    c = 20 * np.log10(12194.217**2 * f2 / ((f2 + 20.598997**2) * (f2 + 12194.217**2)))
    a = c + 20 * np.log10(f2 / np.sqrt((f2 + 107.65265**2) * (f2 + 737.86223**2)))
    return a + 2.000, c + 0.062


@pytest.mark.parametrize("band", TABLE_3)
def test_weighting_formulas_at_band_centres_match_table_3(band):
    at = np.array([10 ** (band / 10)])
    # The table prints tenths, so half a tenth; 0.06 because its 160 Hz row lies on the edge.
    assert a_weighting_db(at) == pytest.approx([TABLE_3[band][0]], abs=0.06)
    assert c_weighting_db(at) == pytest.approx([TABLE_3[band][1]], abs=0.06)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("band", range(18, 43))  # 63 Hz to 16 kHz
def test_filters_on_sines_follow_the_standard(rate_hz, band):
    hz = 10 ** (band / 10)
    wanted_a, wanted_c = formula_db(hz)
    heard = response_db(rate_hz, hz)
    # What was asked of the program: 0.2 dB, which it keeps beyond 8 kHz too, where 0.5 was asked.
    assert heard["a"] == pytest.approx(wanted_a, abs=0.2)
    assert heard["c"] == pytest.approx(wanted_c, abs=0.2)
    assert heard["z"] == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 16_000, 22_050, 32_000])
@pytest.mark.parametrize("share", [0.02, 0.1, 0.2, 0.3, 0.4, 0.45])
def test_filters_at_low_rates_follow_the_standard_to_their_bands_end(rate_hz, share):
    wanted_a, wanted_c = formula_db(share * rate_hz)
    heard = response_db(rate_hz, share * rate_hz)
    # 0.2 dB: what was asked at higher rates; class 1 allows 1.0 dB and more here (Table 3).
    assert (heard["a"], heard["c"]) == pytest.approx((wanted_a, wanted_c), abs=0.2)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_a_filter_agrees_with_another_library_on_noise(rate_hz, rng):
    from pyoctaveband import WeightingFilter

    samples = rng.normal(0, 0.1, 10 * rate_hz)
    ours = WeightingFilters(rate_hz).weigh(samples)
    theirs = WeightingFilter(rate_hz, "A").filter(samples)
    level, other = (10 * np.log10(np.mean(values**2)) for values in (ours.a, theirs))
    # Its own filters lie 0.3 dB low at 10 kHz and 0.5 at 12.5 kHz, where a third of white noise's energy is.
    assert level == pytest.approx(other, abs=0.3)


def test_blocks_give_the_same_as_the_whole(rng):
    samples = rng.normal(0, 0.1, 30_000)
    filters, others = WeightingFilters(48_000), WeightingFilters(48_000)
    begin = np.ones(10)
    for each in (filters, others):
        each.weigh(begin)
    whole = filters.weigh(samples)
    parts = [
        others.weigh(part) for part in (samples[:999], samples[:0], samples[999:20_000], samples[20_000:])
    ]
    for name in ("a", "c", "z"):
        joined = np.concatenate([getattr(part, name) for part in parts])
        assert joined == pytest.approx(getattr(whole, name), abs=1e-12)  # rounding


def test_constant_offset_makes_no_thump():
    weighted = WeightingFilters(48_000).weigh(np.full(4800, 0.25))
    assert np.abs(weighted.c).max() < 1e-9  # rounding
    assert np.abs(weighted.a).max() < 1e-9


def test_digital_silence_after_sound_is_weighed_to_exact_zeros(rng):
    filters = WeightingFilters(48_000)
    filters.weigh(rng.normal(0, 0.1, 48_000))
    # The slowest pole, 20.6 Hz, fades by exp(-2 pi 20.6 t): to 1e-56 in a second, and to 1e-281 in five.
    after = [filters.weigh(np.zeros(5 * 48_000)) for _ in range(3)]
    assert not after[1].a.any()
    assert not after[1].c.any()
    assert not after[2].a.any()


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_frequency_that_is_none_is_refused(bad):
    with pytest.raises(BadValueError, match="frequencies above 0 Hz"):
        a_weighting_db(np.array([1000.0, bad]))
    with pytest.raises(BadValueError, match="sample rate above 0"):
        WeightingFilters(bad)


@given(rate_hz=st.integers(4000, 200_000))
def test_filters_at_any_rate_are_stable_and_0_db_at_the_reference(rate_hz):
    impulse = np.zeros(2 * rate_hz)
    impulse[0] = 1.0
    filters = WeightingFilters(rate_hz)
    filters.weigh(np.zeros(1))
    weighted = filters.weigh(impulse)
    delay = np.exp(-2j * np.pi * 1000 / rate_hz * np.arange(len(impulse)))
    for values in (weighted.a, weighted.c):
        # 0.2 dB as above; IEC 61672-1:2013 sets 0 dB at 1 kHz.
        assert abs(20 * np.log10(abs(values @ delay))) < 0.2
