"""A vacuum or an air blast that is switched on before the cut and off after it is no part of the cut."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.engagement import follow_comb
from chatter.cut.sections import Section, Sections
from chatter.cut.surrounded import leave_surroundings
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

SECONDS = 9.0
WHOLE = Section(start_s=2.0, end_s=7.0, open_start=False, open_end=False)
IDLE = ((0.0, 1.8), (7.2, 9.0))


def hissing(rng, *, start_s, end_s, level):
    """Give white noise between two times."""
    t = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    return np.where((t > start_s) & (t < end_s), level * rng.normal(size=len(t)), 0.0)


def leave(samples, sections):
    comb = follow_comb(samples, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, tooth_hz=198.0)
    return leave_surroundings(
        samples, sections, comb, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, rotation_hz=99.0
    )


def chattering(rng):
    """Give a cut from 3 to 6 s whose chatter drowns its teeth."""
    t = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    lines = sum(np.sin(2 * np.pi * (1310.0 + 99.0 * k) * t) / (1 + k * k) for k in (-4, -2, 0, 2, 4))
    return 0.3 * built_cut(rng, cuts=((3.0, 6.0),), seconds=SECONDS) + np.where(
        (t > 3.0) & (t < 6.0), 0.24 * lines, 0.0
    )


@pytest.mark.parametrize(("start_s", "end_s"), [(2.2, 6.8), (2.7, 7.5)])
@pytest.mark.parametrize("level", [0.15, 0.25])
def test_chattering_cut_begins_and_ends_inside_an_air_blast_that_surrounds_it(rng, start_s, end_s, level):
    samples = chattering(rng) + hissing(rng, start_s=start_s, end_s=end_s, level=level)
    (cut,) = judge_recording(recording(samples / 5), setup=SETUP).cuts
    assert (cut.start_s, cut.end_s) == pytest.approx((3.0, 6.0), abs=0.15)
    assert cut.verdict == "chatter"


def test_what_surrounds_the_cut_is_idle(rng):
    samples = 3 * built_cut(rng, cuts=((3.0, 6.0),), seconds=SECONDS)
    samples += hissing(rng, start_s=2.0, end_s=7.0, level=0.08)
    left = leave(samples, Sections(cuts=(WHOLE,), idle=IDLE, rise_db=9.0))
    (core,) = left.cuts
    assert (core.start_s, core.end_s) == pytest.approx((3.0, 6.0), abs=0.1)
    assert left.idle == tuple(sorted(left.idle))
    assert left.idle[1] == pytest.approx((2.0, 2.95), abs=0.1)
    assert left.idle[2] == pytest.approx((6.05, 7.0), abs=0.1)


def test_teeth_before_and_after_a_spell_of_chatter_are_a_cut(rng):
    samples = built_cut(rng, cuts=((2.0, 7.0),), seconds=SECONDS)
    samples += 5 * built_cut(rng, cuts=((3.0, 6.0),), seconds=SECONDS, chatter_hz=1310.0)
    sections = Sections(cuts=(WHOLE,), idle=IDLE, rise_db=9.0)
    assert leave(samples, sections) is sections


@pytest.mark.parametrize(("start_s", "end_s"), [(2.0, 6.0), (3.0, 7.0), (2.9, 7.0)])
def test_noise_on_one_side_only_is_left_to_others(rng, start_s, end_s):
    samples = 3 * built_cut(rng, cuts=((3.0, 6.0),), seconds=SECONDS)
    samples += hissing(rng, start_s=start_s, end_s=end_s, level=0.08)
    section = Section(start_s=start_s, end_s=end_s, open_start=False, open_end=False)
    sections = Sections(cuts=(section,), idle=IDLE, rise_db=9.0)
    assert leave(samples, sections) is sections


def test_nothing_is_left_out_without_idling_to_compare_with(rng):
    samples = 3 * built_cut(rng, cuts=((3.0, 6.0),), seconds=SECONDS)
    samples += hissing(rng, start_s=0.0, end_s=SECONDS, level=0.08)
    whole = Section(start_s=0.0, end_s=SECONDS, open_start=True, open_end=True)
    sections = Sections(cuts=(whole,), idle=(), rise_db=0.0)
    assert leave(samples, sections) is sections
