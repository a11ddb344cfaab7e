from chatter.milling.limits import find_speed_range
from chatter.model import CutSetup


def test_range_told_is_kept_and_cut_by_the_tool():
    limits = find_speed_range(
        CutSetup(rpm=12_000, flutes=2, min_rpm=7_000, max_rpm=24_000, tool_max_rpm=20_000)
    )
    assert (limits.low_rpm, limits.high_rpm, limits.max_is_known) == (7_000, 20_000, True)


def test_range_not_told_stays_between_half_and_all_of_the_dialled_speed():
    limits = find_speed_range(CutSetup(rpm=12_000, flutes=2))
    assert (limits.low_rpm, limits.high_rpm, limits.max_is_known) == (6_000, 12_000, False)


def test_tool_slower_than_the_spindle_can_go_leaves_no_speed():
    limits = find_speed_range(CutSetup(rpm=12_000, flutes=2, min_rpm=8_000, tool_max_rpm=7_000))
    assert limits.is_empty
