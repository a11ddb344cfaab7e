"""Cuts longer than what is studied of them: the part that chatters is found, and when it began."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.long_cut import find_begin_s, find_new_part
from chatter.model import CutSetup
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

SECONDS = 24.0
CUT = (2.0, 22.0)


def long_cut(rng, *, chatters_s, lone_hz=None):
    """Give a cut of 20 s whose chatter, as strong as the teeth, sounds only between two times."""
    still = built_cut(rng, cuts=(CUT,), seconds=SECONDS, lone_hz=lone_hz)
    with_chatter = built_cut(rng, cuts=(CUT,), seconds=SECONDS, chatter_hz=1310.0, lone_hz=lone_hz)
    t = np.arange(len(still)) / RATE_HZ
    return np.where((t >= chatters_s[0]) & (t < chatters_s[1]), with_chatter, still)


@pytest.mark.parametrize("chatters_s", [(17.0, 22.0), (2.0, 7.0), (4.0, 6.0)])
def test_chatter_outside_the_middle_is_heard(rng, chatters_s):
    (cut,) = judge_recording(recording(long_cut(rng, chatters_s=chatters_s)), setup=SETUP).cuts
    assert cut.verdict == "chatter"
    assert cut.onset_s == pytest.approx(chatters_s[0], abs=0.3)  # a window is 0.4 s
    assert (cut.start_s, cut.end_s) == pytest.approx(CUT, abs=0.2)  # of the whole cut


@pytest.mark.parametrize("chatters_s", [(6.0, 22.0), (2.0, 22.0)])
def test_chatter_all_through_the_middle_began_when_it_did(rng, chatters_s):
    (cut,) = judge_recording(recording(long_cut(rng, chatters_s=chatters_s)), setup=SETUP).cuts
    assert cut.verdict == "chatter"
    assert cut.onset_s == pytest.approx(chatters_s[0], abs=0.3)


@pytest.mark.parametrize(("steps", "told"), [(None, True), (8, False)])
def test_ramped_pass_tells_one_onset_and_none_without_a_verdict(rng, steps, told):
    setup = CutSetup(rpm=6000, flutes=2, depth_from_mm=2.4, depth_to_mm=3)
    sound = long_cut(rng, chatters_s=(9.0, 22.0))
    if steps is not None:  # so faint that there is no verdict
        sound = np.round(sound * steps / np.abs(sound).max()) / 2**15
    analysis = judge_recording(recording(sound), setup=setup)
    assert (analysis.cuts[0].verdict == "chatter") == told
    onsets_s = [analysis.cuts[0].onset_s, analysis.ramp and analysis.ramp.time_s]
    assert onsets_s == (pytest.approx([9.0, 9.0], abs=0.3) if told else [None, None])


def test_long_stable_cut_stays_stable(rng):
    (cut,) = judge_recording(recording(long_cut(rng, chatters_s=(30.0, 30.0))), setup=SETUP).cuts
    assert cut.verdict == "stable"
    assert cut.onset_s is None


def parts(sound, *, lines_hz=(1310.0,)):
    common = {"studied_s": (9.0, 15.0), "longest_s": 6.0, "rate_hz": RATE_HZ, "top_hz": 7000.0}
    begin_s = find_begin_s(sound, start_s=2.0, lines_hz=lines_hz, steady_s=(9.0, 15.0), rate_hz=RATE_HZ)
    return find_new_part(sound, CUT, **common), begin_s


def test_part_with_new_lines_is_found_with_a_margin(rng):
    new, _ = parts(long_cut(rng, chatters_s=(17.0, 19.0)))
    assert new == pytest.approx((16.5, 19.5), abs=0.5)


def test_knock_beside_a_faint_new_line_is_no_trouble(rng):
    t = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    sound = long_cut(rng, chatters_s=(30.0, 30.0))
    teeth = np.std(sound[(t > 3) & (t < 21)])
    faint = 0.1 * teeth * np.sqrt(2) * np.sin(2 * np.pi * 1310.0 * t) * (t > 16)  # a hundredth of the power
    knock = 2 * teeth * np.sin(2 * np.pi * 777.0 * t) * ((t > 4.0) & (t < 4.3))
    new, _ = parts(sound + faint + knock)
    assert new == pytest.approx((3.5, 5.5), abs=0.6)  # the knock


def test_new_part_at_the_very_end_is_as_long_as_any(rng):
    new, _ = parts(long_cut(rng, chatters_s=(21.5, 22.0)))
    assert new[1] - new[0] >= 2.0


def test_chatter_that_came_twice_began_the_first_time(rng):
    first, again = long_cut(rng, chatters_s=(4.0, 6.0)), long_cut(rng, chatters_s=(12.0, 22.0))
    t = np.arange(len(first)) / RATE_HZ
    (cut,) = judge_recording(recording(np.where(t < 9.0, first, again)), setup=SETUP).cuts
    assert cut.onset_s == pytest.approx(4.0, abs=0.3)


def test_cut_that_sounds_alike_has_no_new_part(rng):
    assert parts(long_cut(rng, chatters_s=(30.0, 30.0)))[0] is None
    assert parts(long_cut(rng, chatters_s=(0.0, 30.0)))[0] is None


def test_line_on_which_the_teeth_are_as_loud_before_does_not_date_the_chatter(rng):
    sound = long_cut(rng, chatters_s=(6.0, 22.0))
    assert parts(sound, lines_hz=(1310.0, 1188.0))[1] == pytest.approx(
        6.0, abs=0.3
    )  # 6 x 198 Hz: a tooth line
    assert parts(sound, lines_hz=(1188.0,))[1] is None


def test_chatter_that_is_short_beside_the_cut_begins_when_it_is_heard(rng):
    quiet = built_cut(rng, cuts=((2.0, 7.5),), seconds=9.5)
    singing = built_cut(rng, cuts=((2.0, 7.5),), seconds=9.5, chatter_hz=1310.0)
    t = np.arange(len(quiet)) / RATE_HZ
    corner = np.where((t >= 5.0) & (t < 6.2), singing, quiet)  # a fifth of the cut
    (cut,) = judge_recording(recording(corner), setup=SETUP).cuts
    assert cut.verdict == "chatter"
    assert cut.onset_s == pytest.approx(5.0, abs=0.45)  # a window of the spectrum, 0.8 s, centred


def test_onset_before_the_recording_is_not_known(rng):
    sound = built_cut(rng, cuts=((2.0, 6.0),), seconds=8.0, chatter_hz=1310.0)
    (cut,) = judge_recording(recording(sound[3 * RATE_HZ :]), setup=SETUP).cuts
    assert cut.verdict == "chatter"
    assert (cut.start_s, cut.onset_s) == (None, None)
