"""Where cuts begin, soft ones beside loud ones, and cuts beside voices that are louder."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.sections import Section, Sections, find_sections, find_softer, turn_round
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording


def sections(samples):
    return find_sections(samples, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, rotation_hz=99.0)


@pytest.mark.parametrize("entry_s", [0.02, 0.3])
def test_cut_begins_where_it_leaves_the_quiet_even_if_chatter_grows_later(rng, entry_s):
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    entry = np.clip((t - 2.0) / entry_s, 0.0, 1.0)
    teeth = built_cut(rng, cuts=((0.0, 4.5),))
    loud = 30 * built_cut(rng, cuts=((2.0 + entry_s, 4.5),), chatter_hz=1310.0)
    noise = 0.01 * rng.normal(size=len(t))
    (cut,) = sections(entry * teeth + np.where(t > 2.0 + entry_s, loud, 0.0) + noise).cuts
    assert cut.start_s == pytest.approx(2.0, abs=0.15)


def test_softer_spell_is_looked_for_in_what_the_loud_cut_leaves(rng):
    soft = built_cut(rng, cuts=((2.0, 4.0),), seconds=10.0)
    loud = 30 * built_cut(rng, cuts=((6.0, 8.0),), seconds=10.0, chatter_hz=1310.0)
    t = np.arange(len(soft)) / RATE_HZ
    samples = soft + np.where((t > 6.0) & (t < 8.0), loud, 0.0) + 0.05 * rng.normal(size=len(t))
    found = sections(samples)
    assert [cut.start_s for cut in found.cuts] == pytest.approx([6.0], abs=0.1)
    softer = find_softer(
        samples,
        Sections(cuts=found.cuts, idle=found.idle, rise_db=found.rise_db),
        rate_hz=RATE_HZ,
        bandwidth_hz=RATE_HZ / 2,
        rotation_hz=99.0,
    )
    assert softer.cuts == found.cuts
    (spell,) = softer.spells
    assert (spell.start_s, spell.end_s) == pytest.approx((2.0, 4.0), abs=0.2)


def test_recording_without_a_cut_has_no_softer_one():
    none = Sections(cuts=(), idle=((0.0, 5.0),), rise_db=0.0)
    assert (
        find_softer(np.zeros(5 * RATE_HZ), none, rate_hz=RATE_HZ, bandwidth_hz=8000.0, rotation_hz=99.0)
        is none
    )


def talking(length, level):
    """Give a voice of gliding pitch before and after the second to the sixth second."""
    t = np.arange(length) / RATE_HZ
    phase = 2 * np.pi * np.cumsum(140 * (1 + 0.1 * np.sin(2 * np.pi * 0.7 * t))) / RATE_HZ
    voice = sum(np.sin(k * phase) / np.sqrt(k) for k in range(1, 30))
    return level * np.where((t < 1.9) | (t > 6.1), voice * (0.6 + 0.4 * np.sin(2 * np.pi * 3 * t)), 0.0)


@pytest.mark.parametrize("level", [0.2, 0.4])
def test_cut_between_voices_that_are_louder_is_found(rng, level):
    samples = built_cut(rng, cuts=((2.0, 6.0),), seconds=8.0)
    (cut,) = judge_recording(recording((samples + talking(len(samples), level)) / 5), setup=SETUP).cuts
    assert (cut.start_s, cut.end_s) == pytest.approx((2.0, 6.0), abs=0.2)
    assert cut.verdict == "stable"


@pytest.mark.parametrize("level", [0.1, 0.4])
def test_spindle_that_idles_between_voices_is_no_cut(rng, level):
    idling = 0.3 * built_cut(rng, cuts=((0.0, 8.0),), seconds=8.0)
    judged = judge_recording(recording((idling + talking(len(idling), level)) / 5), setup=SETUP)
    assert judged.cuts == ()


@pytest.mark.parametrize("knock_s", [0.42, 0.5, 0.8])
def test_spindle_that_idles_between_two_knocks_is_no_cut(rng, knock_s):
    samples = 0.3 * built_cut(rng, cuts=((0.0, 6.0),), seconds=6.0)
    for start_s in (1.0, 4.0):
        part = slice(int(start_s * RATE_HZ), int((start_s + knock_s) * RATE_HZ))
        samples[part] += rng.normal(size=part.stop - part.start)
    assert judge_recording(recording(samples / 5), setup=SETUP).cuts == ()


@pytest.mark.parametrize("missing_s", [0.02, 0.05, 0.1])
def test_cut_that_the_file_begins_inside_is_open_there(rng, missing_s):
    whole = built_cut(rng, cuts=((2.0, 4.5),)) * np.clip((np.arange(7 * RATE_HZ) / RATE_HZ - 2.0) / 0.3, 0, 1)
    samples = whole[int((2.0 + missing_s) * RATE_HZ) :] + 0.002 * rng.normal(
        size=len(whole) - int((2.0 + missing_s) * RATE_HZ)
    )
    (cut,) = sections(samples).cuts
    assert cut.open_start
    assert cut.start_s == 0.0


def test_what_lies_between_loud_spells_is_taken_for_the_cuts_where_it_is_long_enough():
    spells = tuple(
        Section(start_s=a, end_s=b, open_start=False, open_end=False) for a, b in ((0, 2), (5, 7), (7.5, 9))
    )
    turned = turn_round(Sections(cuts=spells, idle=((2.1, 4.9),), rise_db=6.0))
    assert [(one.start_s, one.end_s) for one in turned.cuts] == [(2, 5)]
    assert turned.idle[0] == pytest.approx((0.15, 1.85))
    assert turn_round(Sections(cuts=spells[:1], idle=(), rise_db=6.0)) is None


def test_only_spells_louder_than_a_gain_that_comes_up_are_loud(rng):
    at_s = np.arange(14 * RATE_HZ) / RATE_HZ
    gain_db = np.select(
        [(at_s > 2) & (at_s < 4), (at_s > 6) & (at_s < 8), (at_s > 10) & (at_s < 12)], [20, 5.2, 7.5]
    )
    sound = 0.003 * rng.normal(size=len(at_s)) * 10 ** (gain_db / 20)
    found = find_sections(sound, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, rotation_hz=100.0)
    assert [round(one.start_s) for one in found.cuts] == [2]
    assert [round(one.start_s) for one in found.spells] == [6, 10]
    assert [round(one.start_s) for one in found.loud_spells] == [10]


def turned_down(samples, *, at_s, by_db):
    """Turn a sound down within some milliseconds of a moment, as automatic gain does, and up again slowly."""
    since_s = np.arange(len(samples)) / RATE_HZ - at_s
    gain_db = -by_db * (1 - np.exp(-np.maximum(since_s, 0.0) / 0.03))
    return samples * 10 ** (gain_db / 20)


@pytest.mark.parametrize("by_db", [18.0, 24.0])
@pytest.mark.parametrize("noise", [0.02, 0.05])
def test_cut_begins_at_its_step_though_automatic_gain_was_up_before_it(rng, noise, by_db):
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    cutting = np.where((t > 2.0) & (t < 4.5), 10 * built_cut(rng, cuts=((2.0, 4.5),)), 0.0)
    found = sections(turned_down(cutting + noise * rng.normal(size=len(t)), at_s=2.0, by_db=by_db))
    (cut,) = found.cuts
    assert (cut.start_s, cut.end_s) == pytest.approx((2.0, 4.5), abs=0.15)
    assert not cut.open_start
    assert found.idle[0] == pytest.approx((0.0, 1.85), abs=0.15)


@pytest.mark.parametrize("by_db", [0.0, 9.0])
def test_cut_that_chatters_late_is_open_where_the_recording_begins_inside_it(rng, by_db):
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    late = np.where((t > 2.0) & (t < 4.5), 4 * built_cut(rng, cuts=((2.0, 4.5),), chatter_hz=1310.0), 0.0)
    sound = turned_down(built_cut(rng, cuts=((0.0, 4.5),)) + late, at_s=2.0, by_db=by_db)
    (step,) = sections(sound[: int(4.4 * RATE_HZ)]).cuts
    assert step.start_s == pytest.approx(2.0, abs=0.15)  # there is one, and it is no beginning
    (cut,) = sections(sound).cuts
    assert cut.open_start
    assert cut.end_s == pytest.approx(4.5, abs=0.15)


@pytest.mark.parametrize(("lead_s", "tail_s"), [(0.6, 0.0), (0.0, 0.6), (1.0, 1.0), (3.0, 3.0)])
def test_what_the_recorder_left_out_moves_no_cut_and_is_no_idle(rng, lead_s, tail_s):
    sound = built_cut(rng, cuts=((2.0, 4.5),)) + 0.05 * rng.normal(size=7 * RATE_HZ)
    (as_it_was,) = sections(sound).cuts
    muted = np.concatenate([np.zeros(int(lead_s * RATE_HZ)), sound, np.zeros(int(tail_s * RATE_HZ))])
    found = sections(muted)
    (cut,) = found.cuts
    assert cut.start_s - lead_s == pytest.approx(as_it_was.start_s, abs=0.03)
    assert cut.end_s - lead_s == pytest.approx(as_it_was.end_s, abs=0.03)
    assert not any(a < lead_s - 0.05 or b > lead_s + 7.05 for a, b in found.idle)


def test_cut_is_found_where_the_recorder_left_out_all_beside_it(rng):
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    (cut,) = sections(np.where((t > 2.0) & (t < 4.5), built_cut(rng), 0.0)).cuts
    assert (cut.start_s, cut.end_s) == pytest.approx((2.0, 4.5), abs=0.1)
