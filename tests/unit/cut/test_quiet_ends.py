"""A cut whose chatter comes late or goes early begins and ends with its teeth."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

SECONDS = 9.0


def recorded(rng, *, teeth_s, chatter_s, before=0.0):
    """Give a cut whose teeth sound at first and last alone, below loud chatter in its middle."""
    teeth = 0.3 * built_cut(rng, cuts=(teeth_s,), seconds=SECONDS)
    t = np.arange(len(teeth)) / RATE_HZ
    loud = 4 * built_cut(rng, cuts=(chatter_s,), seconds=SECONDS, chatter_hz=1310.0)
    loud = np.where((t > chatter_s[0]) & (t < chatter_s[1]), loud, 0.0)
    hiss = np.where((t > 1.5) & (t < chatter_s[0]), before * rng.normal(size=len(t)), 0.0)
    return recording((teeth + loud + hiss) / 3)


@pytest.mark.parametrize("teeth_s", [(2.9, 6.6), (3.0, 6.0), (3.2, 6.4)])
def test_cut_reaches_to_where_its_teeth_enter_and_leave_the_work(rng, teeth_s):
    (cut,) = judge_recording(recorded(rng, teeth_s=teeth_s, chatter_s=(4.0, 5.5)), setup=SETUP).cuts
    assert (cut.start_s, cut.end_s) == pytest.approx(teeth_s, abs=0.15)
    assert cut.verdict == "chatter"
    assert cut.onset_s == pytest.approx(4.0, abs=0.2)


def test_hiss_before_the_chatter_is_no_part_of_the_cut(rng):
    sound = recorded(rng, teeth_s=(4.0, 5.5), chatter_s=(4.0, 5.5), before=0.03)
    (cut,) = judge_recording(sound, setup=SETUP).cuts
    assert cut.start_s == pytest.approx(4.0, abs=0.15)


def test_spindle_that_idles_before_and_after_the_chatter_is_no_part_of_the_cut(rng):
    sound = recorded(rng, teeth_s=(2.5, 8.5), chatter_s=(4.0, 5.5))
    (cut,) = judge_recording(sound, setup=SETUP).cuts
    assert cut.start_s == pytest.approx(4.0, abs=0.15)
