"""Spreads follow how the taps scatter, each tap with the say that it has in the fit."""

import dataclasses

import numpy as np
import pytest

from chatter.tap.compare import compare_taps
from chatter.tap.pipeline import _variances, judge_taps
from tests.benchmarks.tap_sounds import RATE_HZ, ring
from tests.benchmarks.taps import recording_of
from tests.unit.tap.test_taps import mode

DAMPING = 0.015


def record_at(places, *, seed=0):
    """Give a recording of taps, each with its own strength of a mode at 1,500 Hz beside one at 700 Hz."""
    rng = np.random.default_rng(seed)
    total = 1e-3 * rng.normal(size=int((1.5 + 2 * len(places)) * RATE_HZ))
    for index, strength in enumerate(places):
        at = (1 + 2 * index) * RATE_HZ
        modes = ((700.0, 0.02, 0.3, 0.0), (1500.0, DAMPING, 0.3 * strength, 0.0))
        total[at:] += ring(modes, total.size - at)
    return recording_of(total)


def upper_mode(places, *, seed):
    modes = judge_taps(record_at(places, seed=seed)).modes
    return min(modes, key=lambda one: abs(one.frequency_hz - 1500))


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("good", [1, 2, 4])
def test_tap_without_a_mode_leaves_its_damping_as_sure_as_the_other_taps_make_it(good, seed):
    # The tap's own answer, pure noise, counted as much as the others': a bound of 12 % for a true 1.5 %.
    alone = upper_mode([0.5] * good, seed=seed)
    got = upper_mode([0.5] * good + [0.0], seed=seed)
    assert got.damping_bound == "none"
    assert got.damping_ratio == pytest.approx(DAMPING, rel=0.05)
    assert got.damping_ratio_sd == pytest.approx(alone.damping_ratio_sd, rel=0.5)
    assert got.frequency_sd_hz == pytest.approx(alone.frequency_sd_hz, rel=0.5)


@dataclasses.dataclass
class OfOnePole:
    information: np.ndarray
    pulls: np.ndarray
    misfit: float


def weighed(tap_values, tap_variances):
    """Give the first variance that taps with these answers and variances get, noise as foreseen."""
    weights = 1 / np.asarray(tap_variances)
    off = np.asarray(tap_values) - np.average(tap_values, weights=weights)
    fit = OfOnePole(weights[:, None, None] * np.eye(2), (weights * off)[:, None] * np.ones(2), 1.0)
    return _variances(fit, numbers=1)[0]


@pytest.mark.parametrize("spread", [1.0, 30.0])
def test_taps_that_scatter_more_than_noise_have_the_variance_of_a_mean(spread):
    values = spread * np.array([0.3, -1.2, 0.5, 2.0])
    of_mean = np.var(values, ddof=1) / 4
    # Three quarters are seen in the scatter of four taps; the fourth is made up for by the noise, 1/4 of it.
    assert weighed(values, np.ones(4)) == pytest.approx(0.75 * of_mean + 0.25 * 0.25)


def test_taps_that_tell_unlike_much_are_given_the_noise_that_they_have(rng):
    variances = np.array([1.0, 2.0, 9.0, 400.0])
    got = [weighed(rng.normal(size=4) * np.sqrt(variances), variances) for _ in range(2000)]
    of_mean = 1 / np.sum(1 / variances)
    assert min(got) == pytest.approx(of_mean)
    assert np.mean(got) < 1.5 * of_mean  # the last tap's own answer counted as much made it 16 times as much


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("upper", "none", "damping before is"),
        ("none", "upper", "damping now is"),
        ("upper", "upper", "damping before and now is"),
    ],
)
def test_comparison_says_which_test_leaves_only_a_bound_and_blames_no_room(before, after, said):
    # A bound that came of unlike taps, without any room, was put down to the room.
    pair = mode(300.0, 0.03, bound=before), mode(300.0, 0.02, bound=after)
    says = compare_taps((pair[1],), before=(pair[0],), before_file="before.wav").says
    assert said in says
    assert "room" not in says
