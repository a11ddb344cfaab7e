from itertools import pairwise

import numpy as np
import pytest

from chatter.advice.machines import Machines
from chatter.advice.speeds import (
    find_natural_hz,
    find_stable,
    find_windows,
    score_any,
    score_depths,
    speed_grid_rpm,
)
from chatter.advice.words import explain_speed
from chatter.milling import stability


def benchtop_slot(depth_mm):
    hz = 600.0 * np.linspace(0.8, 1.6, 4001)
    factors = stability.directional_factors(np.array([0.0]), exit_rad=np.array([np.pi]), radial_ratio=0.3)
    g = stability.receptance_m_per_n(hz, natural_hz=600.0, damping_ratio=0.03, stiffness_n_per_m=2e6)
    edge = stability.find_boundary(g, y_m_per_n=g, factors=factors, flutes=3)
    present = depth_mm / 1000 * 700e6
    return Machines(
        trial_hz=hz[None],
        phase_turns=edge.phase_turns[:, None],
        depth_share=edge.depth_times_kt[:, None] / present,
        natural_hz=np.array([600.0]),
        limit_share=np.array([1.0]),
    )


def test_one_known_machine_is_stable_where_the_exact_solution_says_so():
    # Exact slot limits in mm by Chebyshev collocation, computed independently of this project; those
    # within 12 % of the depth are left out, as zero order can't tell there.
    exact_mm = {5000: 0.1298, 6000: 0.6604, 7000: 0.1385, 8000: 0.1146, 9000: 0.1636, 11000: 0.6906}
    grid = speed_grid_rpm(4_500, high_rpm=12_500, points=401)
    depths_mm = (0.2, 0.4, 0.5)
    rows = score_depths(benchtop_slot(0.4), depth_shares=np.array(depths_mm) / 0.4, speeds_rpm=grid, flutes=3)
    for depth_mm, row in zip(depths_mm, rows, strict=True):
        got = find_stable(benchtop_slot(depth_mm), speeds_rpm=grid, flutes=3).mean(axis=0)
        assert (row == got).all()
        for rpm, limit_mm in exact_mm.items():
            assert got[np.argmin(np.abs(grid - rpm))] == (1.0 if limit_mm > depth_mm else 0.0), (
                depth_mm,
                rpm,
            )


GRID = speed_grid_rpm(6_000, high_rpm=12_000)


def machines_stable(*parts):
    """Give which of 100 machines are stable on GRID: (how many, centre and half-width in rpm) each."""
    stable = np.zeros((100, GRID.size), dtype=bool)
    for low, high, centre_rpm, half_rpm in parts:
        stable[low:high] |= np.abs(GRID - centre_rpm) < half_rpm
    return stable


def test_windows_are_apart_and_best_first():
    stable = machines_stable((0, 90, 10_000, 300), (40, 100, 7_000, 200))
    windows = find_windows(stable, speeds_rpm=GRID, present_rpm=8_500)
    assert [round(window.rpm / 100) for window in windows] == [100, 70]
    assert windows[0].low_rpm < 10_000 < windows[0].high_rpm
    assert windows[0].low_rpm > windows[1].high_rpm


def test_second_try_is_for_the_machines_on_which_the_first_fails():
    # Sixty machines are stable at 10,000, 55 of them at 8,000 too; the other forty only at 7,000.
    stable = machines_stable((0, 60, 10_000, 150), (0, 55, 8_000, 150), (60, 100, 7_000, 150))
    first, second = find_windows(stable, speeds_rpm=GRID, present_rpm=11_500)
    assert first.rpm == pytest.approx(10_000, rel=0.01)
    assert second.rpm == pytest.approx(7_000, rel=0.01)
    assert score_any(stable, tried_rpm=(first.rpm, second.rpm), speeds_rpm=GRID) == 1.0
    assert score_any(stable, tried_rpm=(10_000.0, 8_000.0), speeds_rpm=GRID) == 0.6
    assert score_any(stable, tried_rpm=(), speeds_rpm=GRID) is None


def test_speed_that_holds_only_where_the_first_does_is_no_further_try():
    stable = machines_stable((0, 60, 10_000, 300), (0, 60, 7_000, 300))
    (window,) = find_windows(stable, speeds_rpm=GRID, present_rpm=8_500)
    assert window.rpm == pytest.approx(10_000, rel=0.01)  # of two equally likely the faster removes more


def test_speed_that_is_barred_is_neither_suggested_nor_in_a_window():
    stable = machines_stable((0, 80, 10_000, 800))
    for window in find_windows(stable, speeds_rpm=GRID, present_rpm=7_000, allowed=GRID < 10_000):
        assert window.high_rpm < 10_000


@pytest.mark.parametrize(
    "parts",
    [
        # The second try's machines are stable from the first window on, likelier the nearer to it.
        [(0, 60, 10_000, 300), *((60 + 4 * i, 64 + 4 * i, 9_600, 60 + 35 * i) for i in range(10))],
        [(0, 90, 11_800, 900)],  # up to the fastest allowed
        [(0, 50, 8_000, 400), (50, 80, 8_600, 200), (80, 100, 7_300, 300)],
        [(0, 80, 9_000, 240)],  # around the present speed
    ],
)
def test_speed_to_dial_has_room_in_its_window(parts):
    stable = machines_stable(*parts)
    windows = find_windows(stable, speeds_rpm=GRID, present_rpm=9_000)
    assert windows
    for window in windows:
        # Half a percent on either side, or the middle of a window that is narrower.
        room = min(0.005, np.log(window.high_rpm / window.low_rpm) / 2)
        assert room > 0
        assert np.log(window.rpm / window.low_rpm) >= room - 1e-9
        assert np.log(window.high_rpm / window.rpm) >= room - 1e-9
        assert window.low_rpm > 5_999.999
        assert window.high_rpm < 12_000.001
        assert not 0.995 <= window.rpm / 9_000 <= 1.005
    spans = sorted((window.low_rpm, window.high_rpm) for window in windows)
    assert all(one[1] < other[0] for one, other in pairwise(spans))


def test_window_ends_where_a_tenth_of_the_chance_is_lost():
    # Of 100 machines one more drops out every 20 rpm away from 9,000 rpm: a tenth is lost at 200 rpm.
    away = np.abs(GRID - 9_000)
    stable = away[None, :] < 20 * np.arange(100, 0, -1)[:, None]
    window = find_windows(stable, speeds_rpm=GRID, present_rpm=7_000)[0]
    # A step of the grid is 21 rpm there, and the mean over five of them blunts the peak.
    assert window.low_rpm == pytest.approx(8_800, abs=30)
    assert window.high_rpm == pytest.approx(9_200, abs=30)


def test_present_speed_is_never_suggested():
    stable = machines_stable((0, 100, 9_000, 500))
    windows = find_windows(stable, speeds_rpm=GRID, present_rpm=9_000)
    assert windows
    assert all(abs(window.rpm / 9_000 - 1) > 0.005 for window in windows)


def test_reason_of_a_speed_is_the_mode_of_the_machines_that_are_stable_there():
    # Sixty machines swing near 700 Hz and forty near 1,000: with two teeth in step at 10,500 and 7,500 rpm.
    natural_hz = np.concatenate([np.linspace(690, 710, 60), np.linspace(990, 1_010, 40)])
    machines = Machines(
        trial_hz=np.ones((100, 2)) * natural_hz[:, None],
        phase_turns=np.zeros((1, 100, 2)),
        depth_share=np.ones((1, 100, 2)),
        natural_hz=natural_hz,
        limit_share=np.ones(100),
    )
    stable = machines_stable((0, 60, 10_500, 300), (60, 100, 7_500, 200))

    def near_hz(rpm):
        return find_natural_hz(machines, stable, rpm=rpm, speeds_rpm=GRID)

    assert near_hz(10_500) == pytest.approx(700, rel=0.01)
    assert near_hz(7_500) == pytest.approx(1_000, rel=0.01)
    assert near_hz(9_000) == pytest.approx(700, rel=0.01)  # stable nowhere: what most machines have


@pytest.mark.parametrize(
    ("swings", "said"),
    [
        (1.04, "about once from tooth to tooth at this speed, so each tooth meets"),
        (1.9, "about twice from tooth to tooth at this speed, so each tooth meets"),
        (3.1, "about 3 times from tooth to tooth at this speed, so each tooth meets"),
        (1.35, "about 1.4 times from tooth to tooth at this speed: not in step with the teeth, but stable"),
        (0.3, "about 0.3 times from tooth to tooth at this speed: not in step with the teeth, but stable"),
    ],
)
def test_reason_claims_to_be_in_step_only_where_it_is(swings, said):
    assert said in explain_speed(1_000, swings=swings, stable_probability=0.5)
