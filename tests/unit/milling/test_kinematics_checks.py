import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chatter.errors import BadValueError
from chatter.milling import kinematics


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_speed_that_is_no_speed_is_refused(bad):
    with pytest.raises(BadValueError, match="speed_rpm"):
        kinematics.rotation_hz_from_rpm(bad)
    with pytest.raises(BadValueError, match="speed_rpm"):
        kinematics.surface_speed_m_min(bad, diameter_mm=6)


@pytest.mark.parametrize("bad", [0, -2, 2.5, math.nan, math.inf])
def test_flutes_that_are_no_count_are_refused(bad):
    with pytest.raises(BadValueError, match="flutes"):
        kinematics.tooth_passing_hz(10_000, flutes=bad)


@given(
    feed=st.floats(1, 20_000),
    old=st.floats(100, 60_000),
    new=st.floats(100, 60_000),
    flutes=st.integers(1, 8),
)
def test_feed_for_new_speed_keeps_chip_load(feed, old, new, flutes):
    moved = kinematics.feed_keeping_chip_load_mm_min(feed, from_rpm=old, to_rpm=new)
    before = kinematics.chip_load_mm(feed, speed_rpm=old, flutes=flutes)
    assert kinematics.chip_load_mm(moved, speed_rpm=new, flutes=flutes) == pytest.approx(before, rel=1e-9)
