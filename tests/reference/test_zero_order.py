"""Zero-order limits and chatter frequencies against another program's, and against closed forms."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from chatter.milling.lobes import limit_depths_m, trial_frequencies_hz
from chatter.milling.stability import directional_factors, find_eigenvalues, receptance_m_per_n
from tests.reference.milling_limits import BENCHTOP, CASES, LIGHT, system


@pytest.mark.parametrize(
    ("machine", "axes", "width", "direction", "rows"),
    [case[1:] for case in CASES],
    ids=[case[0] for case in CASES],
)
def test_limits_and_frequencies_match_the_other_program(machine, axes, width, direction, rows):
    cut = system(machine, axes=axes, width=width, direction=direction, rpm=1.0)
    speeds = np.array([row[0] for row in rows], dtype=np.float64)
    limits_m, chatter_hz = limit_depths_m(cut, speeds_rpm=speeds)
    # The table prints 0.1 µm of at least 47 µm: half a digit is 0.11 %. The task allows 1 %.
    assert limits_m * 1e3 == pytest.approx([row[3] for row in rows], rel=0.0012)
    # It prints tenths of a hertz, from a frequency grid of about 0.5 Hz.
    assert chatter_hz == pytest.approx([row[4] for row in rows], abs=0.1)


def test_branches_are_followed_at_five_percent_immersion_where_a_plain_root_jumps():
    # With the plain principal root of the quadratic the limits at 5 % immersion came out 2.7 to 8 times the
    # right ones (found while the table was made; the rows above would show it).
    cut = system(LIGHT, axes="xy", width=0.05, direction="climb", rpm=1.0)
    hz = trial_frequencies_hz(cut)
    g = receptance_m_per_n(hz, natural_hz=922.0, damping_ratio=0.011, stiffness_n_per_m=1340049.65)
    arc = np.array([cut.entry_rad]), np.array([cut.exit_rad])
    f = directional_factors(arc[0], exit_rad=arc[1], radial_ratio=cut.radial_ratio)

    def largest_jump(gains):
        return float(np.abs(np.diff(gains, axis=-1)).max() / np.abs(gains).max())

    a1 = (f.xx + f.yy) * g
    root = np.sqrt(a1 * a1 - 4 * (f.xx * f.yy - f.xy * f.yx) * g * g)
    assert largest_jump(np.stack([-(a1 + root) / 2, -(a1 - root) / 2])) > 0.1
    # The trial frequencies lie 0.1 % of the mode's width apart there; a hundredth leaves room.
    assert largest_jump(1 / find_eigenvalues(g, y_m_per_n=g, factors=f)) < 0.01


@pytest.mark.parametrize("axis", ["x", "y"])
def test_one_mode_in_a_slot_has_the_closed_form_minimum(axis):
    # By hand: in a slot the direct factors are -pi Kr, so b = -2 / (N Kt Kr Re G), and the most negative Re G
    # is -1 / (4 k zeta (1 + zeta)) at f_n sqrt(1 + 2 zeta): 8 · 1340049.65 · 0.011 · 1.011 / (2 · 6e8 / 3) m.
    cut = system(LIGHT, axes=axis, width=1.0, direction="up", rpm=1.0)
    limits_m, chatter_hz = limit_depths_m(cut, speeds_rpm=np.linspace(10_000, 10_400, 801))
    shallowest = np.argmin(limits_m)
    # A flat minimum: the nearest of the speeds, half a rev/min apart, is close enough for five digits.
    assert limits_m[shallowest] == pytest.approx(2.980538e-4, rel=2e-5)
    assert chatter_hz[shallowest] == pytest.approx(922 * math.sqrt(1.022), abs=0.05)


def test_two_modes_along_one_axis_in_a_slot_have_the_minimum_of_their_sum():
    # The same closed form with the sum of two modes; its minimum is sought here on a plain, even, fine grid.
    base = system(LIGHT, axes="x", width=1.0, direction="up", rpm=1.0)
    cut = replace(
        base,
        natural_hz=np.array([600.0, 700.0]),
        damping_ratio=np.array([0.03, 0.02]),
        stiffness_n_per_m=np.array([2e6, 3e6]),
        along_y=np.array([False, False]),
    )
    hz = np.linspace(500, 900, 400_001)
    g = sum(
        1 / (k * (1 - (hz / fn) ** 2 + 2j * z * hz / fn))
        for fn, z, k in [(600.0, 0.03, 2e6), (700.0, 0.02, 3e6)]
    )
    least_m = -2 / (2 * 600e6 / 3 * g.real.min())
    limits_m, _ = limit_depths_m(cut, speeds_rpm=np.linspace(5_000, 9_000, 4_001))
    assert limits_m.min() == pytest.approx(least_m, rel=2e-5)  # a flat minimum, as above


def test_one_mode_shared_between_two_equal_halves_changes_nothing():
    # Two modes of twice the stiffness, the same otherwise, give the same receptance.
    whole = system(BENCHTOP, axes="xy", width=0.25, direction="climb", rpm=1.0)
    halves = replace(
        whole,
        natural_hz=np.full(4, 600.0),
        damping_ratio=np.full(4, 0.03),
        stiffness_n_per_m=np.full(4, 4e6),
        along_y=np.array([False, True, False, True]),
    )
    speeds = np.linspace(3_000, 24_000, 50)
    one, two = (limit_depths_m(cut, speeds_rpm=speeds)[0] for cut in (whole, halves))
    assert two == pytest.approx(one, rel=1e-3)  # the trial frequencies are not quite the same


@pytest.mark.parametrize("width", [0.05, 0.5, 1.0])
def test_limits_converge_with_the_trial_frequencies(width):
    base = system(BENCHTOP, axes="xxyy", width=width, direction="climb", rpm=1.0)
    cut = replace(
        base,
        natural_hz=np.array([600.0, 1450.0, 680.0, 1700.0]),
        damping_ratio=np.array([0.03, 0.005, 0.025, 0.03]),
    )
    speeds = np.linspace(3_000, 24_000, 200)
    fine, _ = limit_depths_m(cut, speeds_rpm=speeds, refinement=8)
    errors = [
        np.median(np.abs(limit_depths_m(cut, speeds_rpm=speeds, refinement=part)[0] / fine - 1))
        for part in (0.125, 0.25, 0.5, 1)
    ]
    # Straight lines between neighbours: the error falls with the square of their distance, about.
    assert all(coarse > 2 * finer for coarse, finer in pairwise(errors))
    usual, _ = limit_depths_m(cut, speeds_rpm=speeds)
    assert usual == pytest.approx(fine, rel=5e-3)  # a hundredth of what the method itself gets wrong
    assert np.median(np.abs(usual / fine - 1)) < 1e-5
