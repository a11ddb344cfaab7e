"""Spans at another speed are told by their comb alone; chatter and silence are none."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.other_speed import spans_at_other_speed
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

TURN_HZ = 99.0


def heard(samples):
    return spans_at_other_speed(samples, rate_hz=RATE_HZ, top_hz=7000.0, rotation_hz=TURN_HZ, flutes=2)


def test_span_at_another_speed_is_found_where_it_is(rng):
    own = built_cut(rng, cuts=((0.0, 2.0), (4.0, 6.0)), seconds=6.0)
    slower = built_cut(rng, rpm=5400.0, cuts=((2.0, 4.0),), seconds=6.0)
    (span,) = heard(own + slower)
    assert span == pytest.approx((2.0, 4.0), abs=0.3)


def test_loud_chatter_is_no_other_speed(rng):
    samples = built_cut(rng, cuts=((0.0, 6.0),), seconds=6.0)
    chatter = built_cut(rng, cuts=((2.0, 4.0),), seconds=6.0, chatter_hz=1310.0)
    assert heard(samples + 5 * chatter) == ()


def test_pause_is_no_other_speed(rng):
    assert heard(built_cut(rng, cuts=((0.0, 2.0), (4.0, 6.0)), seconds=6.0)) == ()


def test_sound_too_short_or_too_narrow_tells_nothing(rng):
    samples = built_cut(rng, cuts=((0.0, 0.8),), seconds=0.8)
    assert heard(samples) == ()
    assert (
        spans_at_other_speed(
            np.tile(samples, 5), rate_hz=RATE_HZ, top_hz=300.0, rotation_hz=TURN_HZ, flutes=2
        )
        == ()
    )


def gliding_cut(rng, *, from_rpm, to_rpm, seconds=6.0):
    """Give tooth passing of a spindle that changes its speed evenly from the first second to the fifth."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    turn_hz = np.interp(t, [1.0, 5.0], [from_rpm / 60, to_rpm / 60])
    turns = np.cumsum(turn_hz) / RATE_HZ
    teeth = sum(np.sin(2 * np.pi * 2 * k * turns + k) / k for k in range(1, 12))
    return 0.1 * (teeth + 0.15 * rng.normal(size=len(t)))


@pytest.mark.parametrize(("from_rpm", "to_rpm"), [(5700.0, 6180.0), (6180.0, 5700.0)])
def test_speed_that_glides_holds_nowhere(rng, from_rpm, to_rpm):
    spans = heard(gliding_cut(rng, from_rpm=from_rpm, to_rpm=to_rpm))
    inside_s = np.arange(1.5, 4.6, 0.1)
    assert all(any(start_s <= time_s <= end_s for start_s, end_s in spans) for time_s in inside_s)


def test_speed_that_sags_by_half_a_percent_is_one_speed(rng):
    assert heard(gliding_cut(rng, from_rpm=5955.0, to_rpm=5925.0)) == ()


@pytest.mark.parametrize(("from_rpm", "to_rpm"), [(5700.0, 6180.0), (5900.0, 6060.0), (6030.0, 5850.0)])
def test_pass_whose_speed_glides_is_judged_where_it_holds(rng, from_rpm, to_rpm):
    quiet = 0.02 * rng.normal(size=10 * RATE_HZ)
    quiet[2 * RATE_HZ : 8 * RATE_HZ] += gliding_cut(rng, from_rpm=from_rpm, to_rpm=to_rpm)
    judged = judge_recording(recording(quiet / 5), setup=SETUP)
    assert {cut.verdict for cut in judged.cuts} == {"stable"}
    assert "not-judged" in [one.code for one in judged.findings]
