"""Flags of modes that lie close together."""

from chatter.report.tap_plot import lift_flags


def test_flags_of_near_modes_stand_over_each_other():
    # 800 and 840 Hz are 1.4 % of the axis apart (ln 1.05 of ln 30), a flag takes some 3 %, by hand.
    names = ("2", "1", "", "3")
    first, second, unnamed, third = lift_flags([840.0, 800.0, 810.0, 1300.0], names, highest_hz=1500.0)
    assert (second, unnamed, third) == (0, 0, 0)
    assert first >= 15  # its height at 12 points


def test_three_flags_at_one_place_are_stacked():
    lifts = lift_flags([800.0, 804.0, 808.0], ("800 Hz", "804 Hz", "808 Hz"), highest_hz=1500.0)
    assert sorted(lifts) == [0, 18, 36]
