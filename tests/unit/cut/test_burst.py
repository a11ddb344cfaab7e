"""Chatter that sounds for a moment only is heard; other sounds of a moment are told, and no chatter."""

from dataclasses import replace

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.burst import find_burst, hear_burst
from chatter.cut.evidence import Peak, chance_of_spacing
from chatter.cut.pipeline import study_recording
from chatter.model import CutSetup
from tests.benchmarks.sounds import SOUNDS, make_sound
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

SECONDS = 9.0
CUT = (2.0, 7.0)
TURN_HZ = 99.0


def with_moment(rng, moment_s, *, chatter_hz=1310.0, cut=CUT, seconds=SECONDS):
    """Give a cut that chatters between two times, each of its lines as loud as the teeth."""
    sound = built_cut(rng, cuts=(cut,), seconds=seconds)
    t = np.arange(len(sound)) / RATE_HZ
    inside = np.clip(np.minimum(t - moment_s[0], moment_s[1] - t) / 0.02, 0, 1)
    lines = sum(np.sin(2 * np.pi * (chatter_hz + k * TURN_HZ) * t + k) for k in (-6, -4, -2, 0, 2, 4))
    return sound + 0.1 * inside * lines


def judge(sound, **facts):
    setup = CutSetup(rpm=SETUP.rpm, flutes=SETUP.flutes, **facts)
    return judge_recording(recording(sound), setup=setup)


def codes(analysis):
    return [finding.code for finding in analysis.findings]


@pytest.mark.parametrize("moment_s", [(2.3, 2.7), (4.0, 4.3), (6.5, 7.0)])
def test_chatter_of_a_moment_is_heard_wherever_in_the_cut_and_told_when(rng, moment_s):
    analysis = judge(with_moment(rng, moment_s))
    (cut,) = analysis.cuts
    assert cut.verdict == "chatter"
    assert cut.chatter_probability <= 0.9
    turns = (cut.chatter_hz - 1310.0) / TURN_HZ
    assert abs(turns - round(turns)) < 0.05
    assert cut.onset_s == pytest.approx(moment_s[0], abs=0.15)
    assert (cut.start_s, cut.end_s) == pytest.approx(CUT, abs=0.2)  # of the whole cut
    (told,) = [finding for finding in analysis.findings if finding.code == "short-chatter"]
    assert told.severity == "warning"
    first_s, last_s = (float(word) for word in told.message.split(" s ")[0].split("from ")[1].split(" to "))
    assert (first_s, last_s) == pytest.approx(moment_s, abs=0.2)


def test_moment_that_hides_the_teeth_does_not_part_the_cut(rng):
    sound = with_moment(rng, (2.25, 2.6))
    loud = with_moment(rng, (2.25, 2.6)) - built_cut(np.random.default_rng(1), cuts=(), seconds=SECONDS)
    t = np.arange(len(sound)) / RATE_HZ
    analysis = judge(np.where((t > 2.25) & (t < 2.6), 4 * loud, sound))
    (cut,) = analysis.cuts
    assert cut.verdict == "chatter"
    assert cut.start_s == pytest.approx(CUT[0], abs=0.2)


def test_moment_late_in_a_long_cut_is_found(rng):
    t = np.arange(int(120 * RATE_HZ)) / RATE_HZ
    sound = 0.1 * np.sin(2 * np.pi * 198.0 * t) + 0.01 * rng.normal(size=len(t))
    moment = (t > 100.0) & (t < 100.3)
    sound = sound + 0.1 * moment * np.sin(2 * np.pi * 1330.0 * t)
    found = find_burst(sound, (1.0, 119.0), idle=(), rate_hz=RATE_HZ, rotation_hz=TURN_HZ, top_hz=7000.0)
    assert found == pytest.approx((100.0, 100.3), abs=0.1)


@pytest.mark.parametrize("kind", SOUNDS)
def test_other_sounds_of_a_moment_are_no_chatter(kind, rng):
    sound = built_cut(rng, cuts=(CUT,), seconds=SECONDS)
    level = np.std(sound[int(3 * RATE_HZ) : int(6 * RATE_HZ)])
    beside = make_sound(kind, rng, rate_hz=RATE_HZ)
    at = int(4.2 * RATE_HZ)
    sound[at : at + len(beside)] += level * beside
    analysis = judge(sound)
    assert [cut.verdict for cut in analysis.cuts] == ["stable"]
    assert "short-chatter" not in codes(analysis)


def test_dropped_tool_is_told_as_unlike_the_rest(rng):
    sound = built_cut(rng, cuts=(CUT,), seconds=SECONDS)
    t = np.arange(len(sound)) / RATE_HZ - 4.0
    ringing = sum(np.sin(2 * np.pi * hz * t) for hz in (1733.0, 2911.0, 4127.0))
    analysis = judge(sound + np.where(t > 0, 0.1 * ringing * np.exp(-np.maximum(t, 0) / 0.15), 0.0))
    assert [cut.verdict for cut in analysis.cuts] == ["stable"]
    (told,) = [finding for finding in analysis.findings if finding.code == "unlike-rest"]
    assert "From 4.0 to" in told.message


@pytest.mark.parametrize(("power", "unlike"), [(-3.0, True), (2.5, False)])
def test_moment_unlike_the_rest_is_told_only_of_a_cut_that_is_no_chatter_by_all_of_it(rng, power, unlike):
    sound = built_cut(rng, cuts=(CUT,), seconds=SECONDS)
    t = np.arange(len(sound)) / RATE_HZ - 4.0
    ringing = sum(np.sin(2 * np.pi * hz * t) for hz in (1733.0, 2911.0, 4127.0))
    sound = sound + np.where(t > 0, 0.1 * ringing * np.exp(-np.maximum(t, 0) / 0.15), 0.0)
    _, sections, (cut,) = study_recording(recording(sound), setup=SETUP)
    louder = replace(cut.evidence, family=(), loudness=(power, power), broad=(power, power))
    cut = replace(cut, evidence=louder, unlike_s=None)
    assert (0.55 < cut.chance < 0.9) != unlike
    (heard,) = hear_burst(
        sound,
        sections.cuts[0],
        cuts=(cut,),
        idle=sections.idle,
        recording=recording(sound),
        setup=SETUP,
        idle_recording=None,
        idling_hz=None,
    )
    assert (heard.unlike_s is not None) == unlike
    assert heard.evidence is louder


@pytest.mark.parametrize("ratio", [0.8, 0.9, 1.1, 1.2])
def test_moment_at_another_speed_is_no_chatter(rng, ratio):
    before_after = built_cut(rng, cuts=((2.0, 4.0), (4.5, 7.0)), seconds=SECONDS)
    between = built_cut(rng, rpm=ratio * 5940.0, cuts=((4.0, 4.5),), seconds=SECONDS)
    analysis = judge(before_after + between)
    assert {cut.verdict for cut in analysis.cuts} == {"stable"}
    assert "short-chatter" not in codes(analysis)


def test_voice_that_goes_on_while_idling_is_not_new(rng):
    sound = built_cut(rng, cuts=(CUT,), seconds=SECONDS)
    for at_s in (0.4, 1.2, 4.2, 7.6):
        voice = make_sound("voice", np.random.default_rng(3), rate_hz=RATE_HZ)
        sound[int(at_s * RATE_HZ) : int(at_s * RATE_HZ) + len(voice)] += 0.08 * voice
    assert not {"short-chatter", "unlike-rest"} & set(codes(judge(sound)))


def test_ramped_pass_is_left_to_its_deep_end(rng):
    analysis = judge(with_moment(rng, (3.0, 3.4)), depth_from_mm=0.5, depth_to_mm=2.0)
    assert "short-chatter" not in codes(analysis)


def peaks(*lines_hz, in_idle=False):
    return tuple(Peak(frequency_hz=hz, power=1.0, excess=4.0, in_idle=in_idle) for hz in lines_hz)


def test_chance_of_spacing_is_that_of_lines_drawn_at_random(rng):
    drawn = rng.uniform(100, 8000, (4000, 6))
    families = [chance_of_spacing(peaks(*lines), rotation_hz=TURN_HZ, width_hz=10.0) for lines in drawn]
    # Of sets as well spaced as this one share occurs by chance; tests of all six lines overlap, so fewer.
    assert 0.005 < np.mean(np.array(families) < 0.05) < 0.06


def test_chance_explains_no_family_of_many_lines_and_any_of_few():
    family = [310.0 + k * TURN_HZ for k in range(8)]
    assert chance_of_spacing(peaks(*family), rotation_hz=TURN_HZ, width_hz=10.0) < 1e-6
    mirrored = [310.0, 14 * TURN_HZ - 310.0, 9 * TURN_HZ + 310.0, 30 * TURN_HZ - 310.0]
    assert chance_of_spacing(peaks(*mirrored), rotation_hz=TURN_HZ, width_hz=10.0) < 0.01
    assert chance_of_spacing(peaks(310.0, 777.0), rotation_hz=TURN_HZ, width_hz=10.0) > 0.1
    assert chance_of_spacing(peaks(310.0), rotation_hz=TURN_HZ, width_hz=10.0) == 1
    assert chance_of_spacing(peaks(*family, in_idle=True), rotation_hz=TURN_HZ, width_hz=10.0) == 0
