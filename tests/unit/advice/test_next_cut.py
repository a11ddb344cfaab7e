"""The next cut: inside the limits, in steps, and toward speeds that are stable."""

import math
from dataclasses import replace
from unittest import mock

import numpy as np
import pytest

from chatter.advice import next_cut
from chatter.advice.chances import ChanceGrid, draw_history, grid_chances
from chatter.advice.heard import MadeCut, find_best
from chatter.advice.machines import ChatterLine
from chatter.advice.next_cut import choose_next, round_down
from chatter.advice.shapes import KnownMode
from chatter.advice.speeds import speed_grid_rpm
from chatter.errors import InputError
from chatter.model import CutSetup

# A 600 Hz mode of damping 0.03 with 3 flutes in a slot at 10,000 rpm chatters at 632.1 Hz from 0.317 mm.
# At 11,000 rpm its limit is 0.691 mm, at 12,000 rpm 1.248 mm. Exact limits by Chebyshev collocation, computed
# independently of this project.
SETUP = CutSetup(
    rpm=10_000,
    flutes=3,
    min_rpm=5_500,
    max_rpm=13_500,
    width_mm=6.0,
    diameter_mm=6.0,
    feed_mm_min=900.0,
    max_depth_mm=2.0,
)
LINES = (ChatterLine(frequency_hz=632.1, level_db=0.0),)


def made(rpm, depth_mm, verdict, *, lines=(), set_rpm=None, chance=None):
    probability = chance or {"stable": 0.02, "marginal": 0.5, "chatter": 0.98}[verdict]
    return MadeCut(
        rpm=float(rpm),
        set_rpm=float(set_rpm or rpm),
        depth_mm=depth_mm,
        verdict=verdict,
        chatter_probability=probability,
        lines=lines,
        feed_mm_min=0.03 * 3 * (set_rpm or rpm),
    )


FIRST = made(10_000, 0.6, "chatter", lines=LINES)


def test_next_cut_after_chatter_lies_where_the_true_limit_is_above_its_depth():
    following = choose_next((FIRST,), setup=SETUP)
    assert following.action == "cut"
    assert following.best is None
    # The exact limits rise from 0.317 mm at 10,000 rpm over 0.691 mm to 1.248 mm at 12,000 rpm: on the line
    # between the first two, 10,500 rpm carry 0.50 mm; the curve sags below it by less than 0.05 mm.
    assert 10_500 <= following.rpm <= 12_500
    assert following.depth_mm <= 0.45
    assert following.feed_mm_min == pytest.approx(900 * following.set_rpm / 10_000)
    assert f"in {round(100 * following.stable_probability)} of 100 likely machines" in following.why


def test_next_cut_after_a_stable_one_goes_no_deeper_than_the_boldest_step():
    cuts = (FIRST, made(12_000, 0.6, "stable"))
    for step in (1.1, 1.5, 3.0):
        following = choose_next(cuts, setup=SETUP, boldest_step=step)
        assert following.action == "cut"
        assert following.depth_mm <= 0.6 * step + 1e-9  # rounding
        assert following.set_rpm * following.depth_mm > 12_000 * 0.6
    assert following.best.removal_mm3_min == pytest.approx(0.03 * 3 * 12_000 * 0.6 * 6.0)


@pytest.mark.parametrize("seed", range(6))
def test_next_cut_is_never_outside_the_limits(seed):
    draws = np.random.default_rng(seed)
    setup = replace(SETUP, min_rpm=7_000, max_rpm=13_000, tool_max_rpm=11_500, max_depth_mm=0.7)
    cuts = [FIRST]
    for _ in range(4):
        following = choose_next(tuple(cuts), setup=setup)
        assert 7_000 <= following.set_rpm <= 11_500
        assert following.depth_mm <= 0.7
        verdict = str(draws.choice(["stable", "chatter", "marginal"]))
        lines = LINES if verdict == "chatter" else ()
        cuts.append(made(following.rpm, following.depth_mm, verdict, lines=lines, set_rpm=following.set_rpm))


def test_next_cut_is_never_deeper_than_the_tool_sticks_out():
    short = replace(SETUP, stick_out_mm=0.45)
    cuts = (FIRST, made(12_000, 0.4, "stable"))
    assert choose_next(cuts, setup=SETUP).depth_mm > 0.45  # else the case shows nothing
    assert choose_next(cuts, setup=short).depth_mm <= 0.45
    deep = made(11_000, 0.5, "stable")  # made before the stick-out was told
    assert find_best((deep,), setup=short) is None


def test_gain_that_a_chip_too_thick_would_bring_is_told_as_of_that_chip():
    cuts = (FIRST, made(12_000, 0.4, "stable"))
    thick = replace(SETUP, material="7075", feed_mm_min=9_000.0)  # 0.3 mm a tooth of a 6 mm tool
    fast = tuple(replace(cut, feed_mm_min=0.3 * 3 * cut.set_rpm) for cut in cuts)
    chosen = choose_next(fast, setup=thick)
    assert (chosen.action, chosen.feed_mm_min) == ("cut", None)
    assert "It would, at the same chip load, remove" in chosen.why
    assert "chip load" not in choose_next(cuts, setup=replace(thick, feed_mm_min=900.0)).why


def test_setting_to_use_names_no_feed_that_may_break_the_tool():
    held = made(12_000, 0.6, "stable")
    fine = replace(SETUP, material="7075", max_depth_mm=0.6, max_rpm=12_000, min_rpm=11_900)
    assert choose_next((held,), setup=fine).feed_mm_min == held.feed_mm_min
    thick = replace(held, feed_mm_min=0.3 * 3 * 12_000)
    chosen = choose_next((thick,), setup=fine)
    assert (chosen.action, chosen.feed_mm_min) == ("done", None)


def test_no_cut_much_like_one_that_chattered_is_made_again():
    speeds_rpm = np.array([9_600.0, 9_750.0, 10_000.0, 10_250.0, 10_400.0, 11_000.0])
    depths_mm = np.array([0.5, 0.55, 1.0])
    grid = ChanceGrid(
        speeds_rpm=speeds_rpm,
        depths_mm=depths_mm,
        stable_probability=np.ones((len(depths_mm), len(speeds_rpm))),
    )
    cuts = (made(9_800, 0.6, "chatter", set_rpm=9_800), made(10_700, 0.6, "marginal"))
    barred = next_cut._was_spoilt(grid, cuts)
    # Within 3 % of 9,800 rpm, from 0.54 mm on; a marginal cut bars nothing.
    near = np.array([True, True, True, False, False, False])
    assert barred.tolist() == [[False] * 6, near.tolist(), near.tolist()]


def test_unknown_fastest_speed_suggests_nothing_faster_than_was_dialled():
    following = choose_next((FIRST,), setup=replace(SETUP, max_rpm=None))
    assert following.set_rpm <= 10_000


def test_spindle_without_the_power_gets_no_deeper_cut():
    # 6 mm wide, 900 mm/min at 10,000 rpm: 0.6 mm deep removes 3.24 cm³/min; at some 700 N/mm² and 0.8 that
    # reaches the edge, aluminium asks for about 3240 * 700 / 60000 / 0.8 = 47 W. 12 W drive a quarter of it.
    setup = replace(SETUP, material="6061", spindle_power_w=12.0)
    following = choose_next((FIRST,), setup=setup)
    assert following.depth_mm * following.set_rpm < 0.5 * 0.6 * 10_000


def test_spindle_far_too_weak_is_asked_for_what_it_can_drive():
    # As above, 0.6 mm at 10,000 rpm asks for some 47 W; an eighth of that depth still for 5.6 W.
    weak = replace(SETUP, material="6061", spindle_power_w=1.0)
    following = choose_next((FIRST,), setup=weak)
    assert following.depth_mm * following.set_rpm < 1.3 / 47 * 0.6 * 10_000
    assert following.stable_probability > 0.9  # the exact limit there is ten times as deep
    with pytest.raises(InputError, match=r"0\.1 W drive no cut of 0\.01 mm"):
        choose_next((FIRST,), setup=replace(weak, spindle_power_w=0.1))


def test_no_cut_that_is_hopeless_is_said_to_be_stable():
    flat = mock.Mock(side_effect=lambda machines, **given: _flat(0.1, given))
    with mock.patch.object(next_cut, "grid_chances", flat):
        following = choose_next((FIRST,), setup=SETUP)
    assert "should be" not in following.why
    assert "10 of 100 likely machines. Better change something else first" in following.why
    assert following.depth_mm <= 0.12 * 0.6  # less depth was looked at
    flat.side_effect = lambda machines, **given: _flat(0.3, given)
    with mock.patch.object(next_cut, "grid_chances", flat):
        why = choose_next((FIRST,), setup=SETUP).why
    assert "should be" not in why
    assert "in 30 of 100 likely machines, and none promises more" in why


def _flat(chance, given):
    speeds, depths = given["speeds_rpm"], given["depths_mm"]
    full = np.full((len(depths), len(speeds)), chance)
    return ChanceGrid(speeds_rpm=speeds, depths_mm=depths, stable_probability=full)


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize("spoilt_mm", [0.6, 0.02])
def test_nothing_deeper_than_what_chattered_is_tried_though_a_deeper_cut_there_was_heard_stable(
    order, spoilt_mm
):
    cuts = (made(10_000, 4.0, "stable"), made(10_000, spoilt_mm, "chatter", lines=LINES))[::order]
    following = choose_next(cuts, setup=SETUP)
    assert following.action == "cut"
    assert following.best is None
    assert following.depth_mm <= spoilt_mm
    assert not (abs(following.rpm / 10_000 - 1) < 0.009 and following.depth_mm >= 0.9 * spoilt_mm)
    assert following.stable_probability >= 0.2
    assert "No cut counts as stable yet" in following.why


def test_further_cuts_keep_the_chip_load_of_the_best():
    slow = replace(made(12_200, 0.2, "stable"), feed_mm_min=100.0)
    cuts = (FIRST, made(12_000, 0.4, "stable"), slow)
    following = choose_next(cuts, setup=replace(SETUP, rpm=12_200, feed_mm_min=100.0))
    assert following.feed_mm_min == pytest.approx(0.03 * 3 * following.set_rpm)
    percent = 100 * (following.set_rpm * following.depth_mm / (12_000 * 0.4) - 1)
    assert f"remove {percent:.0f} % more" in following.why


def test_gain_of_a_thousand_percent_has_its_comma():
    # 0.1 mm at 500 rpm is the best so far; at 12,000 rpm 24 times as much is removed at that depth.
    slow = replace(SETUP, rpm=500, min_rpm=500)
    following = choose_next((FIRST, made(500, 0.1, "stable")), setup=slow)
    percent = 100 * (following.set_rpm * following.depth_mm / (500 * 0.1) - 1)
    assert percent > 1_000
    assert f"remove {percent:,.0f} % more" in following.why


def test_setting_to_use_whose_feed_was_not_told_gives_none_and_a_cut_to_make_keeps_the_chip_load_told():
    best = replace(made(12_000, 0.4, "stable"), feed_mm_min=None)
    slow = replace(made(9_000, 0.1, "stable"), feed_mm_min=100.0)
    setup = replace(SETUP, rpm=9_000, feed_mm_min=100.0)
    following = choose_next((FIRST, best, slow), setup=setup)
    assert (following.action, following.best.feed_mm_min) == ("cut", None)
    assert following.feed_mm_min == pytest.approx(100 * following.set_rpm / 9_000)
    last = choose_next((FIRST, best, slow, slow, slow), setup=setup)
    assert (last.action, last.set_rpm, last.feed_mm_min) == ("done", 12_000, None)
    assert "Its feed wasn't told" in last.why
    assert "wasn't told" not in choose_next((FIRST, best), setup=replace(SETUP, feed_mm_min=None)).why


def test_slip_is_kept_between_the_dial_and_the_true_speed():
    first = made(9_800, 0.6, "chatter", lines=LINES, set_rpm=10_000)
    following = choose_next((first,), setup=SETUP)
    assert following.rpm == pytest.approx(0.98 * following.set_rpm)


def test_five_cuts_end_with_the_best_that_was_heard_stable():
    cuts = (
        FIRST,
        made(12_000, 0.5, "stable"),
        made(12_000, 0.75, "stable"),
        made(12_000, 1.1, "chatter", lines=LINES),
        made(12_500, 0.7, "stable"),
    )
    following = choose_next(cuts, setup=SETUP)
    assert (following.action, following.set_rpm, following.depth_mm) == ("done", 12_000, 0.75)
    # Made at 12,000 rpm and 0.75 mm, and heard to be stable with 98 chances in 100.
    assert following.stable_probability == pytest.approx(0.98)


def test_nothing_left_to_gain_is_said_before_five_cuts():
    # At the fastest speed and the largest depth there is nothing more to take.
    setup = replace(SETUP, max_rpm=12_000, max_depth_mm=0.6)
    cuts = (FIRST, made(12_000, 0.6, "stable"))
    following = choose_next(cuts, setup=setup)
    assert (following.action, following.set_rpm, following.depth_mm) == ("done", 12_000, 0.6)


def test_without_chatter_or_taps_depth_grows_in_steps_and_says_so():
    following = choose_next((made(10_000, 0.4, "stable"),), setup=SETUP)
    assert (following.action, following.set_rpm) == ("cut", 10_000)
    assert following.depth_mm == pytest.approx(0.6)
    assert following.stable_probability is None
    assert "go deeper in steps" in following.why


def test_without_chatter_speed_and_depth_are_never_raised_at_once_though_a_hump_gives_chances():
    hump = KnownMode(
        frequency_hz=600.0,
        spread=0.04,
        damping_ratio=0.03,
        damping_spread=0.3,
        damping_is_bound=False,
        weight=1.0,
        believed=0.3,
    )
    quiet = made(6_000, 0.2, "stable")
    chosen = choose_next((quiet,), setup=replace(SETUP, rpm=6_000), known=(hump,))
    assert chosen.stable_probability is not None
    assert chosen.rpm > 1.1 * quiet.rpm
    assert chosen.depth_mm <= quiet.depth_mm
    again = choose_next((quiet, made(chosen.rpm, chosen.depth_mm, "stable")), setup=SETUP, known=(hump,))
    assert again.depth_mm > quiet.depth_mm  # then deeper, where a cut was made
    assert again.set_rpm == chosen.set_rpm  # just there: 1 % faster is another speed


def test_without_chatter_at_the_largest_depth_the_fastest_speed_is_tried():
    following = choose_next((made(10_000, 2.0, "stable"),), setup=SETUP)
    assert (following.action, following.set_rpm, following.depth_mm) == ("cut", 13_500, 2.0)


def test_chatter_without_a_line_takes_less_depth():
    following = choose_next((made(10_000, 0.6, "chatter"),), setup=SETUP)
    assert (following.action, following.set_rpm) == ("cut", 10_000)
    assert following.depth_mm < 0.6


def test_limits_that_leave_no_speed_are_told_and_nothing_outside_them_is_given():
    setup = replace(SETUP, tool_max_rpm=5_000)
    for cuts in ((FIRST,), (made(10_000, 0.4, "stable"),)):
        with pytest.raises(InputError, match="leave no speed"):
            choose_next(cuts, setup=setup)


@pytest.mark.parametrize(
    "limits",
    [
        {"min_rpm": 10_000, "max_rpm": 10_000},
        {"min_rpm": 10_000, "max_rpm": None},
        {"min_rpm": 9_995, "max_rpm": 12_000, "tool_max_rpm": 10_000},
    ],
)
def test_spindle_of_one_speed_is_never_asked_for_another(limits):
    setup = replace(SETUP, **limits)
    for cuts in ((FIRST,), (FIRST, made(10_000, 0.2, "stable"))):
        following = choose_next(cuts, setup=setup)
        assert following.action == "cut"
        assert limits["min_rpm"] <= following.set_rpm <= 10_000


def test_tool_slower_than_half_of_what_was_dialled_leaves_the_slower_speeds_dialled():
    # Told after the cuts; without a slowest speed, one that was dialled can be dialled again.
    setup = replace(SETUP, min_rpm=None, max_rpm=None, tool_max_rpm=6_000)
    following = choose_next((made(15_000, 0.3, "stable"), made(5_000, 0.3, "stable")), setup=setup)
    assert (following.action, following.set_rpm) == ("cut", 5_000)


def test_best_so_far_is_never_one_that_chattered_when_it_was_cut_again():
    cuts = (
        made(12_000, 0.9, "stable"),
        made(11_000, 0.6, "stable"),
        made(12_050, 0.85, "chatter", lines=LINES),
    )
    assert find_best(cuts, setup=SETUP).set_rpm == 11_000
    assert find_best(cuts[:1], setup=SETUP).set_rpm == 12_000
    assert find_best((FIRST,), setup=SETUP) is None


def test_setting_that_chattered_is_not_tried_again():
    cuts = [FIRST, made(12_000, 0.5, "stable")]
    for _ in range(2):
        following = choose_next(tuple(cuts), setup=SETUP)
        for cut in cuts:
            same = abs(following.rpm / cut.rpm - 1) < 0.009
            assert not (cut.verdict == "chatter" and same and following.depth_mm >= 0.95 * cut.depth_mm)
        cuts.append(made(following.rpm, following.depth_mm, "chatter", lines=LINES))


def test_doubtful_stable_cut_gives_way_to_a_surer_one():
    doubtful = replace(made(12_000, 0.9, "stable"), chatter_probability=0.35)
    cuts = (FIRST, doubtful, made(11_500, 0.5, "stable"))
    assert find_best(cuts, setup=SETUP).set_rpm == 11_500
    assert find_best(cuts[:2], setup=SETUP).set_rpm == 12_000


def test_chances_fall_with_depth_and_are_high_where_the_exact_limit_is_deep():
    cuts = (FIRST,)
    machines = draw_history(cuts, setup=SETUP)
    grid = grid_chances(
        machines,
        cuts=cuts,
        last_depth_mm=0.6,
        speeds_rpm=speed_grid_rpm(9_000, high_rpm=13_000, points=81),
        depths_mm=np.array([0.1, 0.3, 0.6, 1.2]),
        flutes=3,
    )
    assert grid.stable_probability.shape == (4, 81)
    assert (np.diff(grid.stable_probability, axis=0) <= 0).all()
    at = [int(np.argmin(np.abs(grid.speeds_rpm - rpm))) for rpm in (10_000, 12_000)]
    # Exact limits above: 0.317 mm at 10,000 rpm, 1.248 mm at 12,000 rpm; the cut of 0.6 mm chattered.
    assert grid.stable_probability[2, at[0]] < 0.3
    assert grid.stable_probability[2, at[1]] > grid.stable_probability[2, at[0]] + 0.2


@pytest.mark.parametrize(
    ("depth_mm", "dialled"), [(1.2399, 1.23), (0.6, 0.6), (0.0456, 0.045), (1e-5, 0.001)]
)
def test_depth_is_rounded_down_to_what_can_be_dialled(depth_mm, dialled):
    assert round_down(depth_mm) == dialled


def test_same_history_gets_the_same_next_cut():
    cuts = (FIRST, made(12_000, 0.6, "stable"))
    assert choose_next(cuts, setup=SETUP) == choose_next(cuts, setup=SETUP)
    assert math.isfinite(choose_next(cuts, setup=SETUP).stable_probability)


SINGS = (ChatterLine(frequency_hz=430.0, level_db=0.0),)


def test_speed_dialled_when_it_chattered_gets_no_deeper_cut_though_the_spindle_was_slowed():
    cuts = (
        made(11_400, 1.0, "stable", set_rpm=11_400, chance=0.05),
        made(11_950, 0.5, "stable", set_rpm=12_000, chance=0.05),
        # By 3 %, and the speed before by less than half of one.
        made(11_640, 1.0, "chatter", set_rpm=12_000, chance=0.97, lines=SINGS),
    )
    chosen = choose_next(cuts, setup=CutSetup(rpm=12_000, flutes=2, min_rpm=11_000, max_rpm=12_000))
    assert chosen.set_rpm < 11_880 or chosen.depth_mm < 1.0  # within 1 % of the dial


def test_setting_to_keep_is_as_sure_as_it_was_heard_though_the_grid_ends_beside_its_speed():
    cuts = (
        made(8_148, 0.2, "stable", set_rpm=8_400, chance=0.4),
        made(12_180, 0.5, "stable", set_rpm=12_180, chance=0.05),
        made(8_316, 0.2, "stable", set_rpm=8_400, chance=0.3),
        made(11_760, 0.6, "chatter", set_rpm=12_000, chance=0.97, lines=SINGS),
        made(11_640, 0.2, "stable", set_rpm=12_000, chance=0.4),
    )
    chosen = choose_next(cuts, setup=CutSetup(rpm=12_000, flutes=1, max_rpm=12_200))
    assert (chosen.action, chosen.set_rpm) == ("done", 12_180)
    assert chosen.stable_probability >= 0.95


def test_blind_step_to_the_fastest_speed_is_no_deeper_than_what_was_cut():
    setup = replace(SETUP, max_depth_mm=0.52)
    following = choose_next((made(10_000, 0.5, "stable"),), setup=setup)
    assert (following.action, following.set_rpm) == ("cut", 13_500)
    assert following.depth_mm == pytest.approx(0.5)


def test_no_chatter_is_blamed_where_the_only_stable_cut_broke_a_limit():
    following = choose_next((made(10_000, 3.0, "stable"),), setup=SETUP)  # 2 mm is the most
    assert following.depth_mm <= 2.0
    assert "No cut has chattered, but none was inside the setup's limits" in following.why


def test_blind_step_between_chatter_and_a_stable_cut_is_never_as_deep_as_is_not_tried_again():
    # 0.9 * 0.56 = 0.504 mm; halfway, sqrt(0.5 * 0.56), were 0.529.
    cuts = (made(12_000, 0.48, "stable"), made(12_300, 0.56, "chatter"))
    following = choose_next(cuts, setup=SETUP)
    assert (following.action, following.set_rpm, following.depth_mm) == ("cut", 12_000, 0.50)
    assert "go between it and the stable cut" in following.why
    # 0.9 * 0.58 = 0.522 mm at 12,000 rpm remove less than 5 % more than 0.5 mm do.
    assert (
        choose_next((made(12_000, 0.5, "stable"), made(12_000, 0.58, "chatter")), setup=SETUP).action
        == "done"
    )


@pytest.mark.parametrize("verdict", ["chatter", "marginal"])
def test_blind_step_is_kept_from_no_depth_by_what_was_heard_at_another_speed(verdict):
    cuts = (made(12_000, 0.5, "stable"), made(8_000, 0.3, verdict))
    following = choose_next(cuts, setup=SETUP)
    assert (following.action, following.set_rpm, following.depth_mm) == ("cut", 12_000, 0.75)
    assert "was heard at other speeds" in following.why
    at_limit = choose_next((made(12_000, 2.0, "stable"), made(13_500, 0.3, verdict)), setup=SETUP)
    assert at_limit.action == "done"  # the fastest speed is tried only where nothing chattered
