"""The milling simulator against theory: statics, free decay, chip thickness, published stability limits."""

import numpy as np
import pytest

from chatter.simulate import Conditions, Mode, Tool, is_stable, simulate_cut, steps_per_turn

STIFF = 1e12  # N/m: deflections far below a nanometre


def one_mode_each(frequency_hz=600.0, damping_ratio=0.03, stiffness_n_m=2e6):
    return tuple(
        Mode(axis=a, frequency_hz=frequency_hz, damping_ratio=damping_ratio, stiffness_n_m=stiffness_n_m)
        for a in "xy"
    )


def conditions(rpm=6000.0, **changes):
    values = {
        "rpm": rpm,
        "immersion": 1.0,
        "direction": "up",
        "feed_per_tooth_m": 5e-5,
        "pressure_pa": 7e8,
        "force_ratio": 0.3,
    }
    return Conditions(**(values | changes))


def test_chip_thickness_of_a_stiff_tool_is_feed_times_sine():
    # Altintas, Manufacturing Automation, 2nd ed. 2012, equation 2.2: h = c sin(phi).
    tool = Tool(flutes=1, modes=one_mode_each(stiffness_n_m=STIFF))
    per_turn = 720
    cut = simulate_cut(tool, conditions(), depth_m=np.full(4 * per_turn, 1e-3), steps=per_turn)
    angle = 2 * np.pi * np.arange(per_turn) / per_turn
    expected_m = 5e-5 * np.clip(np.sin(angle), 0, None)
    # Thousandths of the feed: the stiff tool still gives way by force over stiffness, 3.5e-11 m.
    assert cut.chip_m[-per_turn:] == pytest.approx(expected_m, abs=5e-8)


def test_cutting_force_of_a_stiff_tool_matches_pressure_times_chip_area():
    # Altintas 2012, equation 2.19 without edge forces: Ft = Kt a h, at 90 degrees Fy = Ft in a slot.
    tool = Tool(flutes=1, modes=one_mode_each(stiffness_n_m=STIFF))
    cut = simulate_cut(tool, conditions(), depth_m=np.full(4 * 720, 1e-3), steps=720)
    assert cut.force_y_n[-720 + 180] == pytest.approx(7e8 * 1e-3 * 5e-5, rel=1e-3)
    assert cut.force_x_n[-720 + 180] == pytest.approx(-0.3 * 35.0, rel=1e-3)


def test_mean_deflection_is_mean_force_over_stiffness():
    tool = Tool(flutes=3, modes=one_mode_each())
    per_turn = steps_per_turn(tool, conditions())
    cut = simulate_cut(tool, conditions(), depth_m=np.full(200 * per_turn, 0.2e-3))
    last = slice(-20 * per_turn, None)
    # Hooke's law; a stable cut's mean inertia and damping forces are zero over whole turns.
    assert cut.x_m[last].mean() == pytest.approx(cut.force_x_n[last].mean() / 2e6, rel=1e-3)
    assert cut.y_m[last].mean() == pytest.approx(cut.force_y_n[last].mean() / 2e6, rel=1e-3)


def test_free_decay_has_the_logarithmic_decrement_of_its_damping():
    # delta = 2 pi zeta / sqrt(1 - zeta^2): 0.18858 for zeta = 0.03 (textbook formula, e.g. Rao,
    # Mechanical Vibrations).
    tool = Tool(flutes=1, modes=one_mode_each())
    per_turn = steps_per_turn(tool, conditions())
    depth = np.zeros(12 * per_turn)
    depth[: 3 * per_turn] = 0.3e-3
    cut = simulate_cut(tool, conditions(), depth_m=depth)
    free = cut.y_m[4 * per_turn :]
    tops = np.flatnonzero((free[1:-1] > free[:-2]) & (free[1:-1] >= free[2:])) + 1
    heights = free[tops[free[tops] > 0]][:8]
    decrement = np.log(heights[0] / heights[-1]) / (len(heights) - 1)
    # 0.5 %: a sampled top is up to 1/240 of a period off the true one.
    assert decrement == pytest.approx(0.18858, rel=5e-3)


def test_halving_the_step_changes_a_stable_cut_by_under_two_percent():
    tool = Tool(flutes=2, modes=one_mode_each())
    coarse, fine = (
        simulate_cut(tool, conditions(), depth_m=np.full(100 * steps, 0.1e-3), steps=steps)
        for steps in (720, 1440)
    )
    a, b = coarse.y_m[-720:], fine.y_m[-1440::2]
    # First order in the step: half a degree of 180 in the slot is 0.3 %, times a dynamic factor of some 5.
    assert np.abs(a - b).max() < 0.02 * np.abs(b).max()


@pytest.mark.parametrize(
    ("rpm", "limit_mm"),
    # Slot, three flutes, 600 Hz, damping 0.03, 2e6 N/m in x and y, 700 MPa, force ratio 0.3: exact limits by
    # Chebyshev collocation of the monodromy operator, computed independently of this project.
    [(3000, 0.367), (4000, 0.464), (5000, 0.130), (6000, 0.660), (8000, 0.115), (9000, 0.164)],
)
def test_limit_of_the_simulator_lies_within_ten_percent_of_the_exact_one(rpm, limit_mm):
    tool = Tool(flutes=3, modes=one_mode_each())
    assert is_stable(tool, conditions(rpm=rpm), depth_m=0.9 * limit_mm * 1e-3)
    assert not is_stable(tool, conditions(rpm=rpm), depth_m=1.1 * limit_mm * 1e-3)


@pytest.mark.parametrize(
    ("rpm", "limit_mm"),
    # The same machine at quarter immersion, climb; same origin.
    [(3000, 2.101), (5000, 0.817), (8000, 0.744), (9000, 1.079)],
)
def test_limit_in_climb_at_quarter_immersion_lies_within_ten_percent(rpm, limit_mm):
    tool = Tool(flutes=3, modes=one_mode_each())
    climb = conditions(rpm=rpm, immersion=0.25, direction="climb")
    assert is_stable(tool, climb, depth_m=0.9 * limit_mm * 1e-3)
    assert not is_stable(tool, climb, depth_m=1.1 * limit_mm * 1e-3)
