"""Combs on built spectra."""

from dataclasses import replace

import numpy as np
import pytest

from chatter.dsp.comb import APART, Layer, find_base, score_apart, score_at_fractions


def spectrum_of(base_hz: float, *, height: float = 4.0) -> Layer:
    """Give a spectrum of 0.1 Hz bins with lines one bin high at the multiples of a base."""
    excess = np.zeros(40_000)
    at = np.arange(base_hz, 3900.0, base_hz)
    for reach in (-1, 0, 1):
        excess[np.round(at / 0.1).astype(int) + reach] = height
    return Layer(excess=excess, bin_hz=0.1, top_hz=3900.0, most=20, between=1.0, scale=1.0)


def test_base_of_a_comb_is_found_with_its_score():
    base_hz, score, z = find_base((spectrum_of(100.4),), low_hz=94.0, high_hz=106.0, teeth=1)
    assert base_hz == pytest.approx(100.4, rel=1e-4)
    assert score == pytest.approx(20 * 4.0, rel=0.02)  # twenty harmonics
    assert z > 5


def test_low_harmonics_outdo_more_high_ones_where_weights_fade():
    at = {
        base_hz: np.arange(first, last) * base_hz for base_hz, first, last in ((97.0, 1, 9), (103.0, 9, 21))
    }
    excess = np.zeros(40_000)
    for lines_hz in at.values():
        for reach in (-1, 0, 1):
            excess[np.round(lines_hz / 0.1).astype(int) + reach] = 4.0
    even = Layer(excess=excess, bin_hz=0.1, top_hz=3900.0, most=20, between=1.0, scale=1.0)
    low_hz, high_hz = 94.0, 106.0
    assert find_base((even,), low_hz=low_hz, high_hz=high_hz, teeth=1)[0] == pytest.approx(103.0, rel=1e-4)
    faded = replace(even, fade=8.0)
    assert find_base((faded,), low_hz=low_hz, high_hz=high_hz, teeth=1)[0] == pytest.approx(97.0, rel=1e-4)


def test_comb_elsewhere_scores_more_than_what_the_given_base_shares_with_it():
    alone = score_apart((spectrum_of(100.0),), base_hz=100.0, teeth=1)
    beside = score_apart((spectrum_of(100.0), spectrum_of(114.3)), base_hz=100.0, teeth=1)
    assert alone < 0.4 * 20 * 4.0  # 5/9 or 11/8 of the base share a few harmonics
    assert beside == pytest.approx(20 * 4.0, rel=0.15)  # less what lies at its base by chance


def test_places_apart_leave_out_small_fractions():
    for fraction in (3 / 5, 2 / 3, 3 / 4, 4 / 5, 1, 6 / 5, 5 / 4, 4 / 3, 3 / 2, 5 / 3, 2):
        inside = [low < fraction < high for low, high in APART]
        assert fraction == 3 / 5 or not any(inside)


def test_true_base_outdoes_a_fraction_of_it_and_is_found_from_there():
    layers = (spectrum_of(100.0),)
    of_true = score_at_fractions(layers, base_hz=100.0, teeth=1)
    of_wrong = score_at_fractions(layers, base_hz=80.0, teeth=1)  # 5/4 of it is the true one
    assert of_wrong == pytest.approx(20 * 4.0, rel=0.05)
    assert of_true <= 0.5 * of_wrong + 1e-9  # half of the harmonics of 2/3 or 3/2 at most
