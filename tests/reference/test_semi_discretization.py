"""Semi-discretization against the exact monodromy map: multipliers, limit depths, kinds of instability.

Two methods are held to it: the published one (`largest_multiplier`) and the fast one of the map.
"""

import math

import numpy as np
import pytest

from chatter.milling.semi_discretization import (
    largest_multiplier,
    limit_depth_m,
    multiplier_map,
    steps_for,
)
from tests.reference.milling_limits import BENCHTOP, CASES, LIGHT, system

# Chebyshev collocation of the exact monodromy map, computed independently of this project, to 1e-7: the light
# machine, one mode along the feed, full immersion, 5,000 rpm.
DEPTHS_MM = (0.2, 0.5, 0.7, 1.0)
EXACT = (0.8197428, 1.0739756, 1.2215561, 1.4064735)
# The table's deepest limit is 23.84 mm. In one of its two stable rows (13,830 rpm) both methods here find an
# edge at 24.87 mm, converged: deeper than was searched for the table.
MOST_M = 0.024


def map_at(cut, depths_m, steps=None):
    return np.abs(multiplier_map(cut, speeds_rpm=np.array([cut.rpm]), depths_m=depths_m, steps=steps)[0])


@pytest.mark.parametrize(("depth_mm", "exact"), list(zip(DEPTHS_MM, EXACT, strict=True)))
def test_published_method_comes_near_the_exact_multiplier_with_the_square_of_the_steps(depth_mm, exact):
    slot = system(LIGHT, axes="x", width=1.0, direction="climb", rpm=5000)
    errors = [
        abs(abs(largest_multiplier(slot, depth_m=depth_mm * 1e-3, steps=k)) - exact) for k in (80, 160, 320)
    ]
    assert errors[0] / errors[1] == pytest.approx(4, abs=0.3)
    assert errors[1] / errors[2] == pytest.approx(4, abs=0.3)
    # 0.6 % at 160 steps: what the method was asked to reach.
    assert errors[1] / exact < 0.006


def test_published_method_at_forty_to_160_steps_gives_the_other_program_s_multipliers():
    # The same method by another program, which holds the table's last digit.
    slot = system(LIGHT, axes="x", width=1.0, direction="climb", rpm=5000)
    other = {40: (0.79808, 1.01354, 1.13855, 1.29412), 160: (0.81831, 1.07006, 1.2162, 1.39923)}
    for steps, values in other.items():
        got = [abs(largest_multiplier(slot, depth_m=depth * 1e-3, steps=steps)) for depth in DEPTHS_MM]
        assert got == pytest.approx(values, abs=6e-6)


def test_map_comes_near_the_exact_multipliers_with_the_square_of_the_steps():
    slot = system(LIGHT, axes="x", width=1.0, direction="climb", rpm=5000)
    depths_m = np.array(DEPTHS_MM) * 1e-3
    errors = [np.abs(map_at(slot, depths_m, steps) - EXACT) for steps in (80, 160, 320)]
    assert errors[0] / errors[1] == pytest.approx(np.full(4, 4.0), abs=0.3)
    assert errors[1] / errors[2] == pytest.approx(np.full(4, 4.0), abs=0.3)
    # 0.6 % at 160 steps was asked; a third of that is reached.
    assert np.all(errors[1] / EXACT < 0.002)
    # With the steps it chooses itself: 0.15 %, as docs/stability.md says.
    assert map_at(slot, depths_m) == pytest.approx(EXACT, rel=0.0015)


@pytest.mark.parametrize(
    ("machine", "axes", "width", "direction", "rows"),
    [case[1:] for case in CASES],
    ids=[case[0] for case in CASES],
)
def test_limits_and_kinds_match_the_exact_map(machine, axes, width, direction, rows):
    for rpm, exact_mm, kind, _, _ in rows:
        cut = system(machine, axes=axes, width=width, direction=direction, rpm=rpm)
        got_m = limit_depth_m(cut, most_m=MOST_M)
        if math.isinf(exact_mm):
            assert math.isinf(got_m)
            continue
        # 1 % was asked after extrapolation; 0.7 % is the worst of the 150 without it.
        assert got_m * 1e3 == pytest.approx(exact_mm, rel=0.007)
        found = multiplier_map(cut, speeds_rpm=np.array([cut.rpm]), depths_m=np.array([got_m]))[0, 0]
        doubles = abs(found.imag) < 1e-6 and found.real < 0
        assert doubles == (kind == "flip")


@pytest.mark.parametrize(
    ("machine", "axes", "width", "direction", "rows"),
    [case[1:] for case in CASES],
    ids=[case[0] for case in CASES],
)
def test_published_method_is_at_the_edge_at_the_exact_limit(machine, axes, width, direction, rows):
    for rpm, exact_mm, _, _, _ in rows[::4]:
        if math.isfinite(exact_mm):
            cut = system(machine, axes=axes, width=width, direction=direction, rpm=rpm)
            one, two = (
                abs(largest_multiplier(cut, depth_m=exact_mm * 1e-3, steps=steps)) for steps in (80, 160)
            )
            assert two + (two - one) / 3 == pytest.approx(1, abs=0.005)  # extrapolated, error as 1/steps²


def test_doubling_the_steps_of_a_slow_cut_changes_its_multiplier_by_under_two_percent():
    # One flute at 1500 rpm: 37 swings a tooth period, beyond the size worked out densely.
    slow = system(LIGHT | {"flutes": 1}, axes="xy", width=1.0, direction="up", rpm=1500)
    assert steps_for(slow) > 1000
    few, many = (
        abs(largest_multiplier(slow, depth_m=5e-5, steps=k)) for k in (steps_for(slow), 2 * steps_for(slow))
    )
    assert few == pytest.approx(many, rel=0.02)
    # The two methods, each extrapolated, meet.
    one, two = map_at(slow, np.array([5e-5]), 500)[0], map_at(slow, np.array([5e-5]), 1000)[0]
    assert two + (two - one) / 3 == pytest.approx(many + (many - few) / 3, rel=1e-3)


@pytest.mark.parametrize(("axes", "width"), [("x", 1.0), ("xy", 1.0), ("xy", 0.1)])
def test_equal_pitch_given_as_angles_is_the_even_pitch_over_a_whole_turn(axes, width):
    even = system(BENCHTOP, axes=axes, width=width, direction="climb", rpm=7000)
    told = system(
        BENCHTOP, axes=axes, width=width, direction="climb", rpm=7000, pitch_rad=(2 * math.pi / 3,) * 3
    )
    depths_m = np.array([0.1, 0.2, 1.0]) * 1e-3 / width
    # Three tooth periods a turn: the cube, to the last digits that the iteration keeps.
    assert map_at(told, depths_m) == pytest.approx(map_at(even, depths_m) ** 3, rel=1e-4)
    slow = [abs(largest_multiplier(cut, depth_m=depths_m[1], steps=40)) for cut in (told, even)]
    assert slow[0] == pytest.approx(slow[1] ** 3, rel=1e-6)


def growth_a_turn(pitch_rad, *, rpm, depth_m):
    """Give the growth a turn of a slot cut with one mode along the feed, stepped through time."""
    per_turn, turns, flutes = 7_200, 60, len(pitch_rad)
    step_s = 60 / rpm / per_turn
    omega, zeta, k = 2 * math.pi * 600.0, 0.03, 2e6
    decay = math.exp(-2 * zeta * omega * step_s)
    lag = np.rint((np.cumsum(pitch_rad) - pitch_rad) / (2 * math.pi) * per_turn).astype(int)
    back = np.rint(np.roll(pitch_rad, 1) / (2 * math.pi) * per_turn).astype(int)
    place = np.zeros(per_turn * turns + 1)
    speed, place[0] = 1.0, 0.0
    angle = (
        2 * math.pi * np.arange(per_turn) / per_turn
    )  # places at whole steps, speeds halfway: second order
    # Altintas 2012, equations 4.26: force along x on a chip sin(angle) thick, radial 0.3 of tangential.
    pull = np.where(angle < math.pi, -(np.cos(angle) + 0.3 * np.sin(angle)) * np.sin(angle), 0.0)
    pulls = [[float(pull[(i - lag[tooth]) % per_turn]) for tooth in range(flutes)] for i in range(per_turn)]
    for i in range(per_turn * turns):
        force = 0.0
        for tooth in range(flutes):
            past = place[i - back[tooth]] if i >= back[tooth] else 0.0
            force += 700e6 * depth_m * pulls[i % per_turn][tooth] * (place[i] - past)
        speed = decay * speed + (force / k - place[i]) * omega**2 * step_s
        place[i + 1] = place[i] + speed * step_s
    # Once only the largest pair of multipliers is left, each turn is the same mix of the two turns before.
    late = place[1:].reshape(turns, per_turn)[-3:] / np.abs(place[-per_turn:]).max()
    mix = np.linalg.lstsq(late[:2].T, late[2], rcond=None)[0]
    return np.abs(np.roots([1, -mix[1], -mix[0]])).max()


@pytest.mark.parametrize("depth_mm", [1.0, 2.0])
def test_uneven_pitch_grows_as_it_does_when_stepped_through_time(depth_mm):
    pitch_rad = tuple(np.deg2rad([105.0, 125.0, 130.0]).tolist())
    cut = system(BENCHTOP, axes="x", width=1.0, direction="up", rpm=8000, pitch_rad=pitch_rad)
    stepped = growth_a_turn(np.array(pitch_rad), rpm=8000, depth_m=depth_mm * 1e-3)
    # With the steps it chooses the map is allowed 0.1 % a tooth period, so 0.3 % a turn.
    assert map_at(cut, np.array([depth_mm * 1e-3]))[0] == pytest.approx(stepped, rel=0.003)
    one, two = (abs(largest_multiplier(cut, depth_m=depth_mm * 1e-3, steps=k)) for k in (40, 80))
    assert two + (two - one) / 3 == pytest.approx(stepped, rel=0.003)


def test_pitch_half_a_wave_uneven_raises_the_limit_at_a_speed_between_lobes():
    # Budak, J. Manuf. Sci. Eng. 125 (2003) 29, from memory: for teeth of two alternating pitches the waves
    # that neighbours leave cancel best where the pitches' difference turns the chatter by half a wave.
    four = BENCHTOP | {"flutes": 4}
    rpm, chatter_hz = 2_600.0, 620.0
    half_wave_rad = math.pi * (rpm / 60) / chatter_hz
    small, large = (2 * math.pi / 4 - half_wave_rad / 2, 2 * math.pi / 4 + half_wave_rad / 2)
    even, uneven = (
        limit_depth_m(
            system(four, axes="xy", width=0.5, direction="climb", rpm=rpm, pitch_rad=pitch_rad), most_m=0.01
        )
        for pitch_rad in (None, (small, large, small, large))
    )
    assert uneven > 1.5 * even
