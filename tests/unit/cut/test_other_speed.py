"""Spans at another speed are told by their comb alone; chatter and silence are none."""

import numpy as np
import pytest

from chatter.cut.other_speed import spans_at_other_speed
from tests.unit.cut.built import RATE_HZ, built_cut

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
