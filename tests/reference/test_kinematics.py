import pytest

from chatter.milling import kinematics


def test_kinematics_of_6_mm_two_flute_end_mill_at_24000_rpm_match_handbook_arithmetic():
    # Common practice: 24,000 / 60 = 400 turns/s, two teeth each; pi * 6 mm * 24,000 / 1000 = 452.39 m/min.
    assert kinematics.rotation_hz_from_rpm(24_000) == pytest.approx(400, rel=1e-12)
    assert kinematics.tooth_passing_hz(24_000, flutes=2) == pytest.approx(800, rel=1e-12)
    assert kinematics.surface_speed_m_min(24_000, diameter_mm=6) == pytest.approx(452.39, abs=0.005)


def test_chip_load_of_common_feed_matches_handbook_arithmetic():
    # Common practice: 1200 mm/min / (12,000 rpm * 2 flutes) = 0.05 mm a tooth.
    assert kinematics.chip_load_mm(1200, speed_rpm=12_000, flutes=2) == pytest.approx(0.05, rel=1e-12)


def test_chip_load_of_large_face_mill_matches_printed_example():
    # Worked example of a cutter maker's formula page: 280 mm/min, 101.9 rpm, 12 teeth give 0.228 mm
    # (printed to three figures, 0.229 when rounded up).
    assert kinematics.chip_load_mm(280, speed_rpm=101.9, flutes=12) == pytest.approx(0.2285, abs=0.001)


@pytest.mark.parametrize(("lobe", "speed_rpm"), [(1, 12_000), (2, 6_000), (3, 4_000), (4, 3_000)])
def test_lobe_speed_of_600_hz_and_three_flutes_matches_rule(lobe, speed_rpm):
    # n = 60 f / (N k), Smith and Tlusty 1990, worked by hand.
    assert kinematics.lobe_speed_rpm(600, flutes=3, lobe=lobe) == pytest.approx(speed_rpm, rel=1e-12)
