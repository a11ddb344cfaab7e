"""Settings that were heard stable: which hold, and which of them is best."""

from dataclasses import replace

import pytest

from chatter.advice.heard import MadeCut, find_best, find_held, rank_held
from chatter.advice.words import tell_passed_over
from chatter.model import CutSetup

SETUP = CutSetup(rpm=12_000, flutes=2, min_rpm=10_000, max_rpm=24_000, width_mm=6.0, feed_mm_min=500.0)


def made(set_rpm, depth_mm, verdict="stable", *, chance=0.02, feed_mm_min=None, rpm=None):
    return MadeCut(
        rpm=float(rpm or set_rpm),
        set_rpm=float(set_rpm),
        depth_mm=depth_mm,
        verdict=verdict,
        chatter_probability=chance,
        feed_mm_min=feed_mm_min,
    )


def test_best_removes_most_metal_not_most_speed_times_depth():
    # 2000 mm/min * 1 mm * 6 mm = 12,000 mm³/min; 500 * 1 * 6 = 3,000.
    cuts = (made(12_000, 1.0, feed_mm_min=2000.0), made(12_200, 1.0, feed_mm_min=500.0))
    for given in (cuts, cuts[::-1]):
        best = find_best(given, setup=SETUP)
        assert (best.set_rpm, best.removal_mm3_min) == (12_000, 12_000)
        assert given[rank_held(given, setup=SETUP, most=6)[0].number].set_rpm == 12_000


def test_cut_without_a_feed_is_ranked_by_the_present_chip_load():
    # 500 mm/min at 12,000 rpm make 1000 at 24,000.
    cuts = (made(12_000, 1.0, feed_mm_min=900.0), made(24_000, 1.0))
    assert find_best(cuts, setup=SETUP).set_rpm == 24_000


def test_best_whose_feed_was_not_told_has_none_though_another_cut_told_its_own():
    best = find_best((made(12_000, 1.0, feed_mm_min=900.0), made(24_000, 1.0)), setup=SETUP)
    assert (best.set_rpm, best.feed_mm_min, best.removal_mm3_min) == (24_000, None, None)


@pytest.mark.parametrize("verdict", ["chatter", "marginal"])
def test_setting_holds_only_where_no_lesser_depth_was_heard_otherwise_before_or_after(verdict):
    deep, spoilt = made(12_000, 4.0), made(12_050, 1.0, verdict, chance=0.9)
    for cuts in ((deep, spoilt), (spoilt, deep)):
        assert find_best(cuts, setup=SETUP) is None
    shallow = made(12_000, 0.8)
    (held,) = find_held((deep, spoilt, shallow), setup=SETUP)
    assert (held.number, held.spoilt_mm, held.cuts) == (2, 1.0, 2)
    assert find_best((deep, replace(spoilt, rpm=13_000.0, set_rpm=13_000.0)), setup=SETUP).depth_mm == 4.0


@pytest.mark.parametrize("rpm", [10_000, 10_100])
def test_speeds_just_one_percent_apart_are_one_whichever_is_faster(rpm):
    spoilt = made(20_100 - rpm, 0.3, "chatter", chance=0.9)
    assert find_best((made(rpm, 0.5), spoilt), setup=SETUP) is None
    apart = replace(spoilt, rpm=1.0102 * 10_100, set_rpm=1.0102 * 10_100)
    assert find_best((made(10_100, 0.5), apart), setup=SETUP).depth_mm == 0.5


def test_setting_is_spoilt_by_its_dialled_speed_too():
    cuts = (made(12_000, 1.0, rpm=11_900), made(12_000, 0.8, "chatter", chance=0.9, rpm=11_600))
    assert find_best(cuts, setup=SETUP) is None


def test_setting_outside_the_limits_does_not_hold():
    for cut in (made(9_000, 1.0), made(25_000, 1.0), made(12_000, 2.1)):
        assert find_best((cut,), setup=replace(SETUP, max_depth_mm=2.0)) is None


def test_doubtful_setting_goes_behind_a_surer_one_and_is_told():
    cuts = (made(24_000, 0.9, chance=0.24), made(18_000, 0.4), made(14_000, 0.3))
    best = find_best(cuts, setup=SETUP)
    assert best.set_rpm == 18_000
    assert (best.passed_over.number, best.passed_over.chatter_probability) == (0, 0.24)
    ranked = rank_held(cuts, setup=SETUP, most=6)
    assert [cuts[one.number].set_rpm for one in ranked] == [18_000, 14_000, 24_000]
    assert len(rank_held(cuts, setup=SETUP, most=2)) == 2
    assert find_best(cuts[:1], setup=SETUP).passed_over is None


def test_of_two_recordings_of_one_setting_the_worse_counts_and_a_deeper_doubt_does_not():
    same = (made(18_000, 0.4), made(18_000, 0.4, chance=0.3))
    assert find_best(same, setup=SETUP).chatter_probability == 0.3
    deeper = (made(18_000, 0.4), made(18_000, 0.6, chance=0.3))
    assert find_best(deeper, setup=SETUP).depth_mm == 0.4
    assert len(rank_held(deeper, setup=SETUP, most=6)) == 1  # one a speed


def test_onset_of_a_ramp_spoils_only_where_it_surely_chattered():
    # 1.32 ± 0.17 mm: a stable cut of 1.4 mm doesn't contradict it, one of 1.7 mm does.
    ramp = replace(made(12_000, 1.32, "chatter", chance=0.98), depth_sd_mm=0.17, surely_from_mm=1.66)
    held = find_held((ramp, made(12_000, 1.4), made(12_000, 1.7), made(12_000, 0.5)), setup=SETUP)
    assert [(one.number, one.spoilt_mm) for one in held] == [(1, 1.66), (3, 1.32)]


def test_setting_that_removes_just_as_much_is_not_passed_over():
    cuts = (made(12_000, 1.0, chance=0.3, feed_mm_min=500.0), made(15_000, 1.0, feed_mm_min=500.0))
    for given in (cuts, cuts[::-1]):
        best = find_best(given, setup=SETUP)
        assert (best.set_rpm, best.passed_over) == (15_000, None)
    more = (replace(cuts[0], depth_mm=1.01), cuts[1])
    assert find_best(more, setup=SETUP).passed_over.number == 0


@pytest.mark.parametrize(
    ("chance", "told"), [(0.204, "20.4"), (0.2001, "20.1"), (0.205, "20.5"), (0.206, "21"), (0.35, "35")]
)
def test_chance_of_what_is_passed_over_is_told_above_the_limit(chance, told):
    text = tell_passed_over(set_rpm=12_000, depth_mm=1.0, chatter_probability=chance)
    assert f"with {told} chances in 100 of chatter; above 20 a surer" in text
