"""The lighter cut that tells period doubling from run-out: inside every limit, at its own chip load."""

from dataclasses import replace

import pytest

from chatter.advice.heard import MadeCut
from chatter.advice.lighter import choose_lighter
from chatter.errors import InputError
from chatter.model import CutSetup

SETUP = CutSetup(
    rpm=12_000,
    flutes=2,
    min_rpm=6_000,
    max_rpm=24_000,
    width_mm=3.0,
    diameter_mm=6.0,
    feed_mm_min=2400.0,
)


def made(rpm, depth_mm, verdict="stable"):
    chance = {"stable": 0.02, "marginal": 0.5, "chatter": 0.98}[verdict]
    return MadeCut(
        rpm=float(rpm), set_rpm=float(rpm), depth_mm=depth_mm, verdict=verdict, chatter_probability=chance
    )


def lighter_of(rpm, depth_mm, *, cuts=(), setup=SETUP, feed_mm_min=240.0, **options):
    return choose_lighter(
        cuts,
        setup=setup,
        rpm=float(rpm),
        set_rpm=float(rpm),
        depth_mm=depth_mm,
        feed_mm_min=feed_mm_min,
        **options,
    )


def test_lighter_cut_has_the_feed_of_the_cut_that_could_not_be_told():
    lighter = lighter_of(12_000, 1.0, cuts=(made(12_000, 0.3),))
    assert (lighter.set_rpm, lighter.depth_mm, lighter.feed_mm_min) == (12_000, 0.45, 240.0)
    untold = lighter_of(12_000, 1.0, cuts=(made(12_000, 0.3),), feed_mm_min=None)
    assert untold.feed_mm_min is None
    assert "keep the one that it was cut with" in untold.why


@pytest.mark.parametrize(("step", "depth_mm"), [(1.5, 0.3), (3.0, 0.6)])
def test_lighter_cut_is_no_bolder_than_another(step, depth_mm):
    lighter = lighter_of(18_000, 3.0, cuts=(made(12_000, 0.2),), boldest_step=step)
    assert (lighter.set_rpm, lighter.depth_mm) == (18_000, depth_mm)
    # Where none was stable: no deeper than the shallowest that was not.
    assert lighter_of(18_000, 3.0, cuts=(made(12_000, 0.4, "marginal"),)).depth_mm == 0.4


def test_lighter_cut_keeps_from_what_chattered_at_much_its_speed():
    cuts = (made(12_000, 1.5), made(12_250, 0.5, "chatter"))  # 2 % faster
    assert lighter_of(12_000, 3.0, cuts=cuts).depth_mm == 0.45  # 0.9 * 0.5


def test_no_lighter_cut_is_made_where_a_shallower_one_chattered_at_that_speed_or_no_depth_is_left():
    assert lighter_of(12_000, 2.0, cuts=(made(12_000, 0.3, "chatter"),)) is None
    assert lighter_of(12_000, 2.0, cuts=(made(12_100, 1.9, "chatter"),)) is None
    assert lighter_of(12_000, 2.0, cuts=(made(12_000, 2.1, "chatter"),)) is not None
    assert lighter_of(12_000, 0.02, cuts=(made(12_000, 0.01),)) is None


def test_lighter_cut_takes_no_more_than_the_power_drives():
    weak = replace(SETUP, spindle_power_w=50.0, material="6061")
    depth_mm = lighter_of(12_000, 4.0, setup=weak, feed_mm_min=960.0).depth_mm
    # 1.8 mm take 124 W at 960 mm/min: 50 W drive 0.726 mm, as power goes with depth.
    assert depth_mm == pytest.approx(1.8 * 50 / 124, abs=0.01)
    weakest = replace(weak, spindle_power_w=0.1)
    with pytest.raises(InputError, match=r"drive no cut of 0\.01 mm"):
        lighter_of(12_000, 4.0, setup=weakest, feed_mm_min=960.0)
    assert lighter_of(12_000, 4.0, cuts=(made(12_000, 0.3),), setup=weakest, feed_mm_min=960.0) is None


def test_lighter_cut_is_never_deeper_than_the_tool_sticks_out():
    assert lighter_of(12_000, 2.0, setup=replace(SETUP, stick_out_mm=0.45)).depth_mm <= 0.45


def test_lighter_cut_is_never_less_than_a_hundredth_of_a_millimetre():
    lighter = lighter_of(12_000, 0.012)
    assert lighter.depth_mm == pytest.approx(0.01)
    assert "hardly any depth" in lighter.why
