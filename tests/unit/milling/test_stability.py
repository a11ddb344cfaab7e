import numpy as np
import pytest

from chatter.errors import BadValueError
from chatter.milling import stability

BENCHTOP = {"hz": 600.0, "zeta": 0.03, "k": 2e6, "flutes": 3, "kt": 700e6, "kr": 0.3}
LIGHT = {"hz": 922.0, "zeta": 0.011, "k": 1340049.65, "flutes": 2, "kt": 600e6, "kr": 2 / 6}


def limit_mm(machine, *, width, direction, rpm):
    hz = machine["hz"] * np.linspace(0.8, 1.6, 16_001)
    entry, leave = stability.immersion_angles_rad(np.array([width]), direction=direction)
    factors = stability.directional_factors(entry, exit_rad=leave, radial_ratio=machine["kr"])
    g = stability.receptance_m_per_n(
        hz, natural_hz=machine["hz"], damping_ratio=machine["zeta"], stiffness_n_per_m=machine["k"]
    )
    edge = stability.find_boundary(g, y_m_per_n=g, factors=factors, flutes=machine["flutes"])
    limit, chatter_hz = stability.limit_at_speed(
        edge, frequency_hz=hz, speed_rpm=rpm, flutes=machine["flutes"]
    )
    return float(limit) / machine["kt"] * 1000, float(chatter_hz)


# Exact limits in mm by Chebyshev collocation, computed independently of this project.
@pytest.mark.parametrize(
    ("machine", "width", "direction", "rpm", "exact_mm"),
    [
        (BENCHTOP, 1.0, "up", 3000, 0.3670),
        (BENCHTOP, 1.0, "up", 4000, 0.4643),
        (BENCHTOP, 1.0, "up", 5000, 0.1298),
        (BENCHTOP, 1.0, "climb", 6000, 0.6604),
        (BENCHTOP, 1.0, "climb", 7000, 0.1385),
        (BENCHTOP, 1.0, "climb", 8000, 0.1146),
        (BENCHTOP, 1.0, "climb", 9000, 0.1636),
        (BENCHTOP, 1.0, "climb", 10000, 0.3171),
        (BENCHTOP, 1.0, "climb", 12000, 1.2481),
        (BENCHTOP, 0.5, "up", 3000, 0.9333),
        (BENCHTOP, 0.5, "up", 6000, 1.7105),
        (BENCHTOP, 0.5, "up", 8000, 0.3121),
        (BENCHTOP, 0.5, "up", 11000, 1.9940),
        (BENCHTOP, 0.5, "climb", 5000, 0.3565),
        (BENCHTOP, 0.5, "climb", 7000, 0.3502),
        (BENCHTOP, 0.5, "climb", 9000, 0.4579),
        (BENCHTOP, 0.5, "climb", 12000, 3.5162),
        (LIGHT, 1.0, "climb", 5000, 0.0475),
        (LIGHT, 1.0, "climb", 6900, 0.4050),
        (LIGHT, 1.0, "climb", 13830, 0.7157),
        (LIGHT, 1.0, "climb", 25000, 0.5301),
        (LIGHT, 0.5, "climb", 5000, 0.1271),
        (LIGHT, 0.5, "climb", 9220, 1.3165),
        (LIGHT, 0.5, "up", 6900, 1.0734),
        (LIGHT, 0.5, "up", 15000, 0.2818),
    ],
)
def test_limit_of_two_equal_modes_at_half_immersion_or_more_is_near_exact(
    machine, width, direction, rpm, exact_mm
):
    # Zero order drops the force's ripple within a tooth period; the lobes' shoulders differ by up to 12.2 %.
    assert limit_mm(machine, width=width, direction=direction, rpm=rpm)[0] == pytest.approx(
        exact_mm, rel=0.125
    )


def test_lowest_slot_limit_matches_closed_form():
    # In a slot the eigenvalue is (Kr ± i) / (pi G (1 + Kr²)); its minimum over frequency, worked by hand
    # elsewhere: 0.112292 mm at 602.37 Hz.
    hz = BENCHTOP["hz"] * np.linspace(0.8, 1.6, 16_001)
    factors = stability.directional_factors(np.array([0.0]), exit_rad=np.array([np.pi]), radial_ratio=0.3)
    g = stability.receptance_m_per_n(hz, natural_hz=600.0, damping_ratio=0.03, stiffness_n_per_m=2e6)
    edge = stability.find_boundary(g, y_m_per_n=g, factors=factors, flutes=3)
    depth = np.where(edge.depth_times_kt > 0, edge.depth_times_kt, np.inf)
    branch, place = np.unravel_index(np.argmin(depth), depth.shape)
    assert depth[branch, place] / 700e6 * 1000 == pytest.approx(0.112292, rel=1e-4)
    assert hz[place] == pytest.approx(602.37, abs=0.05)  # grid step 0.03 Hz, flat minimum


def test_chatter_frequency_of_slot_at_8000_rpm_matches_other_zero_order_code():
    # 604.7 Hz from a zero-order solution written independently of this project, on a grid of about 0.5 Hz.
    assert limit_mm(BENCHTOP, width=1.0, direction="up", rpm=8000)[1] == pytest.approx(604.7, abs=0.6)


@pytest.mark.parametrize("bad", [0.0, -0.1, 1.2, np.nan])
def test_width_that_is_no_share_of_the_diameter_is_refused(bad):
    with pytest.raises(BadValueError, match="width_over_diameter"):
        stability.immersion_angles_rad(np.array([bad]), direction="up")
