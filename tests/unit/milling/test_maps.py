import math
from dataclasses import replace

import numpy as np
import pytest

from chatter.errors import BadValueError
from chatter.milling.lobes import limit_depths_m
from chatter.milling.semi_discretization import largest_multiplier, limit_depth_m, multiplier_map
from tests.reference.milling_limits import BENCHTOP, LIGHT, system

SLOT = system(BENCHTOP, axes="xy", width=1.0, direction="up", rpm=8_000)
SPEEDS = np.array([5_000.0, 8_000.0, 12_000.0])
DEPTHS_M = np.array([0.0, 1e-4, 5e-4, 1e-3])


def test_map_has_a_row_a_speed_and_a_column_a_depth():
    found = multiplier_map(SLOT, speeds_rpm=SPEEDS, depths_m=DEPTHS_M)
    assert found.shape == (3, 4)
    for row, rpm in enumerate(SPEEDS):
        alone = multiplier_map(replace(SLOT, rpm=1.0), speeds_rpm=np.array([rpm]), depths_m=DEPTHS_M[2:3])
        assert alone[0, 0] == pytest.approx(found[row, 2], rel=1e-9)


def test_empty_grids_give_empty_maps():
    assert multiplier_map(SLOT, speeds_rpm=np.zeros(0), depths_m=DEPTHS_M).shape == (0, 4)
    assert multiplier_map(SLOT, speeds_rpm=SPEEDS, depths_m=np.zeros(0)).shape == (3, 0)


def test_tool_that_cuts_nothing_rings_down_as_its_mode_does():
    found = multiplier_map(SLOT, speeds_rpm=SPEEDS, depths_m=np.array([0.0]))[:, 0]
    # exp(-zeta omega) of a tooth period, three flutes: by hand.
    expected = [math.exp(-0.03 * 2 * math.pi * 600 * 60 / (3 * rpm)) for rpm in SPEEDS]
    assert np.abs(found) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("axis", ["x", "y"])
def test_axis_without_modes_is_as_an_axis_far_too_stiff_to_move(axis):
    one = system(LIGHT, axes=axis, width=0.5, direction="climb", rpm=8_000)
    both = system(LIGHT, axes="xy", width=0.5, direction="climb", rpm=8_000)
    stiff = replace(
        both,
        stiffness_n_per_m=np.where(both.along_y == (axis == "y"), both.stiffness_n_per_m, 1e15),
        damping_ratio=np.where(both.along_y == (axis == "y"), both.damping_ratio, 0.9),  # gone in a period
    )
    depths_m = np.array([5e-4, 1e-3, 3e-3])
    found, wanted = (multiplier_map(cut, speeds_rpm=SPEEDS, depths_m=depths_m) for cut in (one, stiff))
    assert np.abs(found) == pytest.approx(np.abs(wanted), rel=1e-5)


@pytest.mark.parametrize("width", [0.05, 0.5, 1.0])
@pytest.mark.parametrize("pitch_rad", [None, (2.0, 2.2, 2 * math.pi - 4.2)])
def test_map_and_published_method_meet_when_both_are_extrapolated(width, pitch_rad):
    cut = replace(
        system(BENCHTOP, axes="xxyy", width=width, direction="climb", rpm=9_000, pitch_rad=pitch_rad),
        natural_hz=np.array([600.0, 1450.0, 680.0, 1700.0]),
        damping_ratio=np.array([0.03, 0.02, 0.025, 0.03]),
    )
    depth_m = 3e-4 / width
    coarse, fine = (abs(largest_multiplier(cut, depth_m=depth_m, steps=k)) for k in (80, 160))
    published = fine + (fine - coarse) / 3  # both err with the square of the step
    usual = abs(multiplier_map(cut, speeds_rpm=np.array([9_000.0]), depths_m=np.array([depth_m]))[0, 0])
    # 0.2 %: what is left of the map's own error with the steps it chooses, and of the extrapolation.
    assert usual == pytest.approx(published, rel=0.002)


@pytest.mark.parametrize("flutes", [4, 6])
def test_map_and_zero_order_agree_where_the_force_has_no_ripple(flutes):
    # In a slot with four teeth or six, evenly pitched, the sum of sin² (and of sin cos) over the teeth in the
    # work is the same at every angle: nothing is left for zero order to average, so it is exact.
    cut = replace(
        system(BENCHTOP, axes="xxyy", width=1.0, direction="up", rpm=1.0),
        natural_hz=np.array([600.0, 1450.0, 680.0, 1700.0]),
        damping_ratio=np.array([0.03, 0.02, 0.025, 0.03]),
        stiffness_n_per_m=np.array([2e6, 6e6, 2.5e6, 8e6]),
        flutes=flutes,
    )
    speeds = np.linspace(2_000, 16_000, 12)
    plain_m, _ = limit_depths_m(cut, speeds_rpm=speeds)
    full_m = [limit_depth_m(replace(cut, rpm=rpm), most_m=0.02) for rpm in speeds.tolist()]
    # The limit search stops within 0.1 %.
    assert plain_m == pytest.approx(full_m, rel=0.0015)


def test_limit_search_stops_below_an_island_of_chatter_that_bisection_jumps_over():
    # Light machine, 10 % climb, 18,000 rpm: period doubling from 0.8157 mm (exact map, tests/reference), but
    # a tongue of it only: deeper cuts are stable again before the next edge.
    cut = system(LIGHT, axes="x", width=0.1, direction="climb", rpm=18_000)
    depths_m = np.linspace(1e-4, 6e-3, 60)
    unstable = np.abs(multiplier_map(cut, speeds_rpm=np.array([18_000.0]), depths_m=depths_m))[0] > 1
    first = int(np.argmax(unstable))
    assert not unstable[first:].all()  # there is stable depth above chatter
    stable_above = float(depths_m[first:][~unstable[first:]][-1])
    assert limit_depth_m(cut, most_m=stable_above) * 1e3 == pytest.approx(0.8157, rel=0.002)


def test_limit_under_the_first_trial_depth_is_found_by_bisection():
    # The exact limit is 0.1146 mm (tests/reference): under a thousandth of 200 mm.
    assert limit_depth_m(SLOT, most_m=0.2) * 1e3 == pytest.approx(0.1146, rel=0.002)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"natural_hz": np.array([600.0, np.nan])}, "natural_hz"),
        ({"natural_hz": np.array([600.0])}, "natural_hz"),
        ({"damping_ratio": np.array([0.03, 0.0])}, "damping_ratio"),
        ({"damping_ratio": np.array([0.03, 1.0])}, "damping_ratio"),
        ({"stiffness_n_per_m": np.array([2e6, -2e6])}, "stiffness_n_per_m"),
        ({"flutes": 0}, "flutes"),
        ({"tangential_pa": math.inf}, "tangential_pa"),
        ({"radial_ratio": -0.1}, "radial_ratio"),
        ({"entry_rad": 2.0, "exit_rad": 1.0}, "entry_rad"),
        ({"pitch_rad": (2.0, 2.0)}, "pitch_rad"),
        ({"pitch_rad": (2.0, 2.0, 2.0)}, "pitch_rad"),
        ({"pitch_rad": (7.0, -1.0, 2 * math.pi - 6.0)}, "pitch_rad"),
    ],
)
def test_system_that_is_no_tool_is_refused(change, name):
    with pytest.raises(BadValueError, match=name):
        multiplier_map(replace(SLOT, **change), speeds_rpm=SPEEDS, depths_m=DEPTHS_M)


@pytest.mark.parametrize(
    ("speeds", "depths", "name"),
    [([0.0], [1e-3], "speeds_rpm"), ([5_000.0], [-1e-3], "depths_m"), ([5_000.0], [math.nan], "depths_m")],
)
def test_grid_out_of_range_is_refused(speeds, depths, name):
    with pytest.raises(BadValueError, match=name):
        multiplier_map(SLOT, speeds_rpm=np.array(speeds), depths_m=np.array(depths))


def test_speed_too_slow_to_follow_the_mode_is_refused():
    # 600 Hz at 1 rev/min: a tooth is 30 s in the slot, 18,000 swings.
    with pytest.raises(BadValueError, match="higher speed"):
        multiplier_map(SLOT, speeds_rpm=np.array([1.0]), depths_m=DEPTHS_M)


def test_growth_beyond_all_numbers_is_infinite_and_so_unstable():
    # A metre deep at 100 rev/min: 120 swings a tooth period, each growing many thousandfold.
    found = multiplier_map(SLOT, speeds_rpm=np.array([100.0]), depths_m=np.array([1.0]))
    assert np.isinf(np.abs(found[0, 0]))


@pytest.mark.parametrize("most_m", [0.0, -1.0, math.nan, math.inf])
def test_search_without_a_deepest_depth_is_refused(most_m):
    with pytest.raises(BadValueError, match="most_m"):
        limit_depth_m(SLOT, most_m=most_m)
