"""Cutting data and their arithmetic against printed tables and worked examples."""

import pytest

from chatter.milling.kinematics import chip_load_mm, mean_chip_mm, surface_speed_m_min
from chatter.milling.limits import removal_rate_mm3_min, spindle_power_w, torque_n_m
from chatter.milling.materials import find_material

# Mitsubishi Materials, page on milling power: Kc in MPa at 0.1, 0.2, 0.3, 0.4 and 0.6 mm a tooth.
KC_BY_FEED = {
    "mild steel": (2200, 1950, 1820, 1700, 1580),
    "4140": (2180, 2000, 1860, 1800, 1670),
    "304": (2030, 1970, 1900, 1770, 1710),
    "cast iron": (1750, 1400, 1240, 1050, 970),
    "brass": (1150, 950, 800, 700, 630),
    "Al-Si": (700, 600, 490, 450, 390),
    "7075": (880, 840, 840, 810, 720),
}


def test_power_of_the_printed_example_is_1680_w():
    # The same page's worked example: ap 2 mm, ae 80 mm, vf 280 mm/min, Kc 1800 MPa, efficiency 0.8: 1.68 kW.
    removal = removal_rate_mm3_min(280, depth_mm=2, width_mm=80)
    assert removal == pytest.approx(44_800, rel=1e-12)
    power = spindle_power_w(removal, pressure_n_mm2=1800, efficiency=0.8)
    assert power == pytest.approx(1680, abs=5)  # printed to three figures


def test_speed_and_tooth_feed_of_the_printed_example_come_out():
    # Same example: vc 80 m/min on D 250 mm is 101.9 rpm (here back from the rpm); z 12 gives fz 0.228 mm,
    # cut off after three places: 0.22898.
    assert surface_speed_m_min(101.9, diameter_mm=250) == pytest.approx(80, abs=0.05)
    assert chip_load_mm(280, speed_rpm=101.9, flutes=12) == pytest.approx(0.2285, abs=0.0006)


def test_surface_speed_of_6_mm_at_24000_rpm_is_452_m_min():
    # pi * 0.006 m * 24,000 /min, by hand
    assert surface_speed_m_min(24_000, diameter_mm=6) == pytest.approx(452.39, abs=0.01)


def test_one_kilowatt_at_9549_rpm_turns_one_newton_metre():
    # Handbook rule M = 9549 P/n, P in kW
    assert torque_n_m(1000, speed_rpm=9549) == pytest.approx(1, abs=1e-4)
    assert torque_n_m(1500, speed_rpm=18_000) == pytest.approx(9549 * 1.5 / 18_000, rel=1e-4)


def test_mean_chip_of_a_slot_and_of_half_and_a_light_cut_match_hand_arithmetic():
    # Slot and half immersion: 2/pi of the tooth feed. A tenth of the diameter: arc acos(0.8) = 0.6435 rad of
    # radius 5 is 3.2175 mm, bite 0.1 * 1 mm², so 0.03108 mm.
    assert mean_chip_mm(0.1, width_mm=10, diameter_mm=10) == pytest.approx(0.06366, abs=1e-5)
    assert mean_chip_mm(0.1, width_mm=5, diameter_mm=10) == pytest.approx(0.06366, abs=1e-5)
    assert mean_chip_mm(0.1, width_mm=1, diameter_mm=10) == pytest.approx(0.03108, abs=1e-5)


@pytest.mark.parametrize("name", KC_BY_FEED)
def test_pressure_at_tabled_feeds_is_the_printed_one(name):
    feeds_mm = (0.1, 0.2, 0.3, 0.4, 0.6)
    got = [
        find_material(name).pressures_n_mm2(tooth_feed_mm=feed, mean_chip_mm=0.637 * feed)[0]
        for feed in feeds_mm
    ]
    assert got == pytest.approx(KC_BY_FEED[name], rel=1e-9)


def test_pressure_between_tabled_feeds_lies_on_their_power_law():
    # Mild steel halfway by ratio between 0.1 and 0.2 mm: sqrt(2200 * 1950) = 2071.2
    material = find_material("mild steel")
    usual, _ = material.pressures_n_mm2(tooth_feed_mm=0.1 * 2**0.5, mean_chip_mm=0.09)
    assert usual == pytest.approx(2071.2, abs=0.1)


def test_pressure_of_6082_is_the_measured_pair_at_every_chip():
    # CJME 10.1186/s10033-021-00536-9, Table 5, Al6082-T6: Ktc 631 N/mm², Kte 13 N/mm, so 631 + 13/h.
    material = find_material("6082")
    for chip_mm in (0.005, 0.007, 0.01, 0.015, 0.02, 0.03, 0.05, 0.07, 0.1, 0.2):
        usual, _ = material.pressures_n_mm2(tooth_feed_mm=2 * chip_mm, mean_chip_mm=chip_mm)
        assert usual == pytest.approx(631 + 13 / chip_mm, abs=0.5)  # the table holds whole N/mm²


@pytest.mark.parametrize(
    ("name", "kc11", "mc"),
    [
        # Iscar turning catalogue 2017, p. 558 (VDI 3323 groups)
        ("mild steel", 1350, 0.21),
        ("alloy steel", 1675, 0.24),
        ("stainless", 2150, 0.20),
        ("cast iron", 1150, 0.20),
        ("6061", 800, 0.25),
        ("7075", 800, 0.25),
        ("cast aluminium", 700, 0.25),
        ("brass", 700, 0.27),
    ],
)
def test_kienzle_pressure_is_the_printed_one_at_1_mm_and_follows_its_exponent(name, kc11, mc):
    part = find_material(name).kienzle
    assert part.at_n_mm2(1.0) == pytest.approx(kc11, rel=1e-12)
    assert part.at_n_mm2(0.1) == pytest.approx(kc11 * 10**mc, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "low_sfm", "high_sfm"),
    [
        ("6061", 800, 1500),  # Harvey Tool; Schultz 850 to 1300 lies inside
        ("brass", 400, 1500),  # Schultz 400 to 700, Harvey Tool 800 to 1500
        ("mild steel", 100, 400),  # Harvey Tool 100 to 300, Proto-Cutter 150 to 400
        ("304", 100, 400),  # Harvey Tool 100 to 250, Proto-Cutter 200 to 400
        ("cast iron", 100, 400),  # Harvey Tool
        ("acrylic", 200, 600),  # Harvey Tool
        ("acetal", 500, 1600),  # plastics: Schultz 800 to 1600, Proto-Cutter 500 to 1500
    ],
)
def test_carbide_speed_is_the_printed_range_in_metres(name, low_sfm, high_sfm):
    speeds = find_material(name).carbide_m_min
    assert (speeds.low, speeds.high) == pytest.approx((low_sfm * 0.3048, high_sfm * 0.3048), rel=1e-9)


@pytest.mark.parametrize(
    ("name", "low_sfm", "high_sfm"),
    [
        ("6061", 600, 800),
        ("mild steel", 75, 90),
        ("4140", 50, 70),
        ("304", 55, 75),
    ],  # Newson Tool, HSS 1/4 in
)
def test_hss_speed_is_the_printed_range_in_metres(name, low_sfm, high_sfm):
    speeds = find_material(name).hss_m_min
    assert (speeds.low, speeds.high) == pytest.approx((low_sfm * 0.3048, high_sfm * 0.3048), rel=1e-9)


@pytest.mark.parametrize(
    ("name", "inches"),
    [
        # Lowest and highest print at 1/8, 1/4 and 1/2 in of Harvey Tool, Schultz and Proto-Cutter
        ("6061", ((0.001, 0.001), (0.002, 0.002), (0.004, 0.004))),
        ("7075", ((0.001, 0.001), (0.002, 0.002), (0.004, 0.004))),
        ("brass", ((0.001, 0.001), (0.002, 0.002), (0.003, 0.003))),
        ("mild steel", ((0.0005, 0.0005), (0.001, 0.0015), (0.003, 0.003))),
        ("4140", ((0.0005, 0.0005), (0.001, 0.001), (0.002, 0.002))),
        ("304", ((0.0001, 0.0005), (0.0005, 0.001), (0.0015, 0.003))),
        ("cast iron", ((0.0005, 0.0005), (0.002, 0.002), (0.004, 0.004))),
        ("acetal", ((0.0015, 0.002), (0.003, 0.003), (0.006, 0.006))),
        ("acrylic", ((0.001, 0.001), (0.003, 0.003), (0.006, 0.006))),
    ],
)
def test_chip_load_at_printed_diameters_is_the_printed_one(name, inches):
    loads = find_material(name).chip_loads
    for diameter_in, (low_in, high_in) in zip((0.125, 0.25, 0.5), inches, strict=True):
        assert loads.at_mm(diameter_in * 25.4) == pytest.approx((low_in * 25.4, high_in * 25.4), rel=1e-9)


def test_doubtful_figure_of_6061_is_nowhere_used():
    # The same table's 6061-T6, 243.8 N/mm², is far below every other aluminium and marked doubtful.
    assert find_material("6061").tangential_n_mm2.low == pytest.approx(561, abs=1)
