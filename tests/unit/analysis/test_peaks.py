"""The best speeds of a map, on limits whose peaks were drawn by hand."""

import itertools
import math

import numpy as np
import pytest

from chatter.analysis._peaks import find_best_speeds

SPEEDS = np.linspace(1_000, 2_000, 101).tolist()  # every 10 rpm


def tents(*peaks, floor=1.0):
    """Give limits with straight-sided peaks: (speed, depth, half width in rpm)."""
    limit = np.full(101, floor)
    for rpm, depth, half in peaks:
        tent = depth - (depth - floor) * np.abs(np.array(SPEEDS) - rpm) / half
        limit = np.maximum(limit, tent)
    return limit.tolist()


def test_peak_is_found_with_the_speeds_that_carry_seven_tenths_of_it():
    (best,) = find_best_speeds(tents((1_500, 5.0, 200)), speeds_rpm=SPEEDS, most_depth=None)
    # The tent falls from 5 to 1 over 200 rpm: to 3.5 = 0.7 * 5 over 75 rpm, so to 3.6 at the last grid speed.
    assert (best.rpm, best.low_rpm, best.high_rpm) == (1_500, 1_430, 1_570)
    assert best.limit_depth == pytest.approx(5.0)
    assert best.window_depth == pytest.approx(3.6)


def test_peaks_rank_by_the_metal_they_remove():
    # 3 mm at 1,800 rpm against 4 mm at 1,200 rpm: 5,400 against 4,800
    limit = tents((1_200, 4.0, 100), (1_800, 3.0, 100))
    best = find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=None)
    assert [one.rpm for one in best] == [1_800, 1_200]


def test_speeds_where_nothing_chatters_are_one_peak_with_an_unknown_limit():
    limit = tents((1_500, 3.0, 300))
    limit[40:61] = [math.inf] * 21  # 1,400 to 1,600 rpm
    (best,) = find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=None)
    assert best.rpm == 1_500
    assert best.limit_depth is None
    assert (best.low_rpm, best.high_rpm) == (1_400, 1_600)


def test_depths_above_the_largest_count_alike():
    limit = tents((1_300, 5.0, 100), (1_700, 9.0, 100))
    best = find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=2.0)
    assert [one.rpm for one in best] == [1_700, 1_300]
    assert all(one.window_depth <= 2.0 for one in best)


def test_lesser_peak_beside_a_higher_one_is_found_as_far_as_the_saddle_between_them():
    # 6 mm at 1,600 rpm, 3.5 mm at 1,400. The facing sides, 3.5 - 2.5 x / 100 and 6 - 5 (200 - x) / 160, meet
    # at x = 67 rpm and 1.8 mm; the window ends before that, at 0.7 * 3.5 = 2.45 mm or x = 42 rpm.
    limit = tents((1_400, 3.5, 100), (1_600, 6.0, 160))
    best = find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=None)
    assert [one.rpm for one in best] == [1_600, 1_400]
    assert best[1].high_rpm == 1_440
    # Wider sides, 3.5 - 2.5 x / 150 and 6 - 5 (200 - x) / 220, meet at x = 52 rpm and 2.64 mm: it ends there.
    limit = tents((1_400, 3.5, 150), (1_600, 6.0, 220))
    best = find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=None)
    assert [one.rpm for one in best] == [1_600, 1_400]
    assert best[1].high_rpm == 1_450


def test_shoulder_of_a_higher_peak_is_no_peak():
    # 3.5 mm at 1,450 rpm beside 6 mm at 1,600: the saddle lies at 3.2 mm, above 3.5 / 1.25 = 2.8 mm.
    limit = tents((1_450, 3.5, 150), (1_600, 6.0, 220))
    assert [one.rpm for one in find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=None)] == [1_600]


def test_peak_at_the_end_of_the_range_counts():
    (best,) = find_best_speeds(tents((2_000, 5.0, 200)), speeds_rpm=SPEEDS, most_depth=None)
    assert (best.rpm, best.high_rpm) == (2_000, 2_000)


def test_spike_that_no_spindle_can_hold_is_left_out():
    # 10 rpm of 1,500 is less than a hundredth
    assert find_best_speeds(tents((1_500, 5.0, 5)), speeds_rpm=SPEEDS, most_depth=None) == ()


@pytest.mark.parametrize("limit", [[2.0] * 101, [math.inf] * 101, tents((1_500, 1.2, 100))])
def test_limits_without_a_peak_worth_it_give_no_speeds(limit):
    assert find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=None) == ()


def test_no_more_than_five_speeds_are_given_and_windows_do_not_overlap():
    limit = tents(*((1_050 + 100 * number, 4.0 + number % 3, 45) for number in range(10)))
    best = sorted(find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=None), key=lambda one: one.rpm)
    assert len(best) == 5
    assert all(one.high_rpm < other.low_rpm for one, other in itertools.pairwise(best))


def test_largest_depth_wanted_is_carried_whole_where_a_spindle_can_keep_the_speed():
    # 5 mm at 1,500 rpm falls by 4 mm over 200 rpm: 2 mm are carried within 150 rpm of the peak.
    limit = tents((1_500, 5.0, 200))
    (best,) = find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=2.0, most_is_wanted=True)
    assert (best.low_rpm, best.middle_rpm, best.high_rpm) == (1_350, 1_500, 1_650)
    assert best.window_depth == 2.0
    # At 4.9 mm the peak is 10 rpm wide, too little: seven tenths of it then, as where nothing was wanted.
    (best,) = find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=4.9, most_is_wanted=True)
    assert best.window_depth == pytest.approx(3.6)


def test_speeds_that_carry_the_depth_wanted_count_however_near_the_lowest_limit_is():
    limit = tents((1_500, 5.0, 200), floor=1.9)
    (best,) = find_best_speeds(limit, speeds_rpm=SPEEDS, most_depth=2.0, most_is_wanted=True)
    assert best.window_depth == 2.0


def test_peak_of_unevenly_spaced_speeds_is_in_the_middle_of_where_nothing_chatters():
    speeds = [1_000.0, 1_100.0, 1_101.0, 1_102.0, 1_103.0, 1_300.0, 1_400.0]
    limit = [1.0, math.inf, math.inf, math.inf, math.inf, math.inf, 1.0]
    (best,) = find_best_speeds(limit, speeds_rpm=speeds, most_depth=None)
    assert (best.rpm, best.middle_rpm) == (1_103.0, 1_200.0)
