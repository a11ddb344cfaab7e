"""Semi-discretization against the exact monodromy map: multipliers, limit depths, kinds of instability."""

import math

import numpy as np
import pytest

from chatter.milling.semi_discretization import MillingSystem, largest_multiplier, limit_depth_m, steps_for
from chatter.milling.stability import immersion_angles_rad

# Light: the parameters of Insperger and Stépán, Int. J. Numer. Meth. Eng. 61 (2004), from memory (0.03993 kg,
# 922 Hz, damping 0.011, 600 and 200 MPa, two flutes). Benchtop: chosen.
LIGHT = {"hz": 922.0, "zeta": 0.011, "k": 1340049.65, "flutes": 2, "kt": 600e6, "kr": 1 / 3}
BENCHTOP = {"hz": 600.0, "zeta": 0.03, "k": 2e6, "flutes": 3, "kt": 700e6, "kr": 0.3}


def system(machine, *, axes, width, direction, rpm):
    entry, leave = immersion_angles_rad(np.array([width]), direction=direction)
    return MillingSystem(
        natural_hz=np.full(len(axes), machine["hz"]),
        damping_ratio=np.full(len(axes), machine["zeta"]),
        stiffness_n_per_m=np.full(len(axes), machine["k"]),
        along_y=np.array([axis == "y" for axis in axes]),
        flutes=machine["flutes"],
        rpm=rpm,
        entry_rad=float(entry[0]),
        exit_rad=float(leave[0]),
        tangential_pa=machine["kt"],
        radial_ratio=machine["kr"],
    )


@pytest.mark.parametrize(
    ("depth_mm", "exact"),
    # Chebyshev collocation of the exact monodromy map, computed independently of this project, to 1e-7.
    [(0.2, 0.8197428), (0.5, 1.0739756), (0.7, 1.2215561), (1.0, 1.4064735)],
)
def test_multiplier_comes_near_the_exact_one_with_the_square_of_the_steps(depth_mm, exact):
    slot = system(LIGHT, axes="x", width=1.0, direction="climb", rpm=5000)
    errors = [
        abs(abs(largest_multiplier(slot, depth_m=depth_mm * 1e-3, steps=k)) - exact) for k in (80, 160, 320)
    ]
    assert errors[0] / errors[1] == pytest.approx(4, abs=0.3)
    assert errors[1] / errors[2] == pytest.approx(4, abs=0.3)
    assert abs(largest_multiplier(slot, depth_m=depth_mm * 1e-3)) == pytest.approx(exact, rel=0.007)


@pytest.mark.parametrize(
    ("machine", "axes", "width", "direction", "rpm", "limit_mm", "kind"),
    # Chebyshev collocation of the exact monodromy map, computed independently of this project.
    [
        (LIGHT, "x", 1.0, "climb", 5000, 0.4086, "hopf"),
        (LIGHT, "x", 1.0, "climb", 12000, 2.1493, "flip"),
        (LIGHT, "x", 0.5, "climb", 10000, 2.1047, "flip"),
        (LIGHT, "x", 0.5, "climb", 20000, 0.7197, "hopf"),
        (LIGHT, "x", 0.1, "climb", 9220, 3.9156, "flip"),
        (LIGHT, "x", 0.1, "climb", 23000, 1.0315, "hopf"),
        (LIGHT, "x", 0.05, "climb", 18000, 1.2951, "flip"),
        (LIGHT, "xy", 1.0, "climb", 13830, 0.7157, "hopf"),
        (LIGHT, "xy", 0.5, "up", 6900, 1.0734, "hopf"),
        (LIGHT, "xy", 0.05, "climb", 20000, 3.2504, "flip"),
        (BENCHTOP, "xy", 1.0, "up", 3000, 0.3670, "hopf"),
        (BENCHTOP, "xy", 1.0, "up", 8000, 0.1146, "hopf"),
        (BENCHTOP, "xy", 0.5, "up", 6000, 1.7105, "hopf"),
        (BENCHTOP, "xy", 0.25, "climb", 9000, 1.0790, "hopf"),
        (BENCHTOP, "xy", 0.1, "climb", 5000, 1.9684, "flip"),
        (BENCHTOP, "xy", 0.1, "climb", 12000, 23.843, "hopf"),
    ],
)
def test_limit_and_kind_match_the_exact_map(machine, axes, width, direction, rpm, limit_mm, kind):
    cut = system(machine, axes=axes, width=width, direction=direction, rpm=rpm)
    got_m = limit_depth_m(cut, most_m=0.025)
    # 1.6 % is the largest of the 152 rows of that table with the steps chosen here.
    assert got_m * 1e3 == pytest.approx(limit_mm, rel=0.02)
    multiplier = largest_multiplier(cut, depth_m=got_m)
    doubles = abs(multiplier.imag) < 1e-6 and multiplier.real < 0
    assert doubles == (kind == "flip")


def test_cut_that_is_stable_at_every_depth_asked_for_has_no_limit():
    # The exact map finds no limit here (the same table).
    cut = system(LIGHT, axes="xy", width=0.05, direction="climb", rpm=25_000)
    assert limit_depth_m(cut, most_m=0.01) == math.inf


def test_doubling_the_steps_of_a_slow_cut_changes_its_multiplier_by_under_two_percent():
    # One flute at 1500 rpm: 37 swings a tooth period, beyond the size worked out densely.
    slow = system(LIGHT | {"flutes": 1}, axes="xy", width=1.0, direction="up", rpm=1500)
    assert steps_for(slow) > 1000
    few, many = (
        abs(largest_multiplier(slow, depth_m=5e-5, steps=k)) for k in (steps_for(slow), 2 * steps_for(slow))
    )
    assert few == pytest.approx(many, rel=0.02)
