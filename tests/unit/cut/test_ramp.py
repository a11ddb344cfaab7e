from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from chatter.audio import read_recording
from chatter.cut import judge_recording
from chatter.cut.ramp import find_ramp_onset, find_ramp_start_s, tooth_rise_db
from chatter.cut.sections import Section
from chatter.cut.spindle import Speed
from chatter.model import CutSetup
from tests.benchmarks.ramps import ramps
from tests.unit.cut.built import RATE_HZ, built_cut, recording


def steady_speed(turn_hz, seconds):
    return Speed(
        found=True,
        rotation_hz=turn_hz,
        sd_hz=0.01,
        times_s=np.array([0.0, seconds]),
        track_hz=np.full(2, turn_hz),
        score=9.0,
        z=9.0,
    )


def built_ramp(rng, *, onset_s, seconds=8.0, turn_hz=99.0, chatter_hz=911.0):
    """Give a pass whose chatter line steps up by 26 dB at a moment."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    teeth = sum(np.sin(2 * np.pi * 2 * k * turn_hz * t + k) / k for k in range(1, 12))
    line = np.sin(2 * np.pi * chatter_hz * t) * np.where(t >= onset_s, 1.0, 0.0)
    return 0.1 * (teeth * (0.3 + t / seconds) + line + 0.05 * rng.normal(size=len(t)))


@pytest.mark.parametrize("onset_s", [2.0, 4.0, 6.0])
def test_step_of_the_chatter_line_is_found_within_a_window(rng, onset_s):
    sound = built_ramp(rng, onset_s=onset_s)
    onset = find_ramp_onset(
        sound, rate_hz=RATE_HZ, speed=steady_speed(99.0, 8.0), family_hz=(911.0,), depth_ratio=0.25
    )
    assert onset is not None
    assert onset.time_s == pytest.approx(onset_s, abs=0.12)  # one window of the power along time
    # By hand: depth runs from a quarter to the whole, so the heard depth is 0.25 + 0.75 t / 8, less 7 %.
    depth = 0.93 * (0.25 + 0.75 * onset_s / 8)
    assert onset.share == pytest.approx((depth - 0.25) / 0.75, abs=0.02)
    assert 0 < onset.share_sd < 0.2


def test_quiet_pass_has_no_onset(rng):
    sound = built_ramp(rng, onset_s=99.0)
    speed = steady_speed(99.0, 8.0)
    assert find_ramp_onset(sound, rate_hz=RATE_HZ, speed=speed, family_hz=(911.0,), depth_ratio=0.25) is None


def test_pass_too_short_for_two_lines_has_no_onset(rng):
    sound = built_ramp(rng, onset_s=0.4, seconds=0.8)
    speed = steady_speed(99.0, 0.8)
    assert find_ramp_onset(sound, rate_hz=RATE_HZ, speed=speed, family_hz=(911.0,), depth_ratio=0.25) is None


def test_stable_ramp_has_no_onset_and_a_cut_without_a_ramp_has_none_either(rng):
    sound = built_cut(rng, cuts=((2.0, 7.0),), seconds=9.0)
    ramp = CutSetup(rpm=6000, flutes=2, depth_from_mm=0.2, depth_to_mm=1.0)
    assert judge_recording(recording(sound), setup=ramp).ramp is None
    singing = built_cut(rng, cuts=((2.0, 7.0),), seconds=9.0, chatter_hz=911.0)
    assert judge_recording(recording(singing), setup=CutSetup(rpm=6000, flutes=2)).ramp is None


def test_pass_is_given_from_end_to_end_and_its_deepest_quarter_is_judged(rng):
    sound = built_cut(rng, cuts=((2.0, 12.0),), seconds=14.0)
    setup = CutSetup(rpm=6000, flutes=2, depth_from_mm=0.9, depth_to_mm=1.0)
    got = judge_recording(recording(sound), setup=setup).ramp_pass
    assert got.cut_index == 0
    assert (got.start_s, got.end_s) == pytest.approx((2.0, 12.0), abs=0.2)  # a window of the comb
    assert got.deep_from_s == pytest.approx(9.5, abs=0.2)  # a quarter of its 10 s before its end
    assert judge_recording(recording(sound), setup=CutSetup(rpm=6000, flutes=2)).ramp_pass is None


@pytest.mark.parametrize(("first", "last"), [(1.0, 1.0), (0.5, 2.0), (1.0, 0.5)])
def test_rise_of_the_teeth_is_that_of_their_force(rng, first, last):
    t = np.arange(8 * RATE_HZ) / RATE_HZ
    teeth = sum(np.sin(2 * np.pi * 2 * k * 99.0 * t + k) / k for k in range(1, 12))
    sound = 0.1 * (teeth * (first + (last - first) * t / 8) + 0.05 * rng.normal(size=len(t)))
    rise_db = tooth_rise_db(sound, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, tooth_hz=198.0)
    # By hand: 0.2 s are left out at either end, so the quarters go from 0.2 to 2.1 s and from 5.9 to 7.8 s;
    # the mean square of what goes evenly from a to b is (a² + ab + b²) / 3.
    depths = [first + (last - first) * at_s / 8 for at_s in (0.2, 2.1, 5.9, 7.8)]
    early, late = ((a * a + a * b + b * b) / 3 for a, b in (depths[:2], depths[2:]))
    assert rise_db == pytest.approx(10 * np.log10(late / early), abs=0.3)  # windows reach over the quarters


def test_rise_is_not_told_without_teeth_or_time(rng):
    told = {"rate_hz": RATE_HZ, "bandwidth_hz": RATE_HZ / 2, "tooth_hz": 198.0}
    assert tooth_rise_db(0.1 * rng.normal(size=8 * RATE_HZ), **told) is None
    assert tooth_rise_db(built_ramp(rng, onset_s=9.0, seconds=1.0), **told) is None


def test_level_pass_told_as_a_ramp_is_asked_about_and_a_growing_one_is_not(rng):
    setup = CutSetup(rpm=6000, flutes=2, depth_from_mm=0.5, depth_to_mm=3.0)
    level = judge_recording(recording(built_cut(rng, cuts=((2.0, 9.0),), seconds=11.0)), setup=setup)
    (asked,) = (one for one in level.findings if one.code == "ramp-does-not-grow")
    # By hand: 20 lg((0.5 + 2.5 * 7 / 8) / (0.5 + 2.5 / 8)) = 10.4 dB
    assert "about 10 dB louder from its first quarter to its last, but they get no louder" in asked.message
    assert (level.ramp, level.ramp_pass.grows) == (None, False)
    t = np.arange(11 * RATE_HZ) / RATE_HZ
    depth = np.clip(0.5 + 2.5 * (t - 2) / 7, 0.5, 3.0) / 3
    grown = 0.002 * rng.normal(size=len(t)) + depth * built_cut(rng, cuts=((2.0, 9.0),), seconds=11.0)
    grown = judge_recording(recording(grown), setup=setup)
    assert grown.ramp_pass.grows
    assert "ramp-does-not-grow" not in {one.code for one in grown.findings}


def test_level_pass_that_chatters_gives_no_depth_either(rng):
    singing = built_cut(rng, cuts=((2.0, 7.0),), seconds=9.0, chatter_hz=911.0)
    setup = CutSetup(rpm=6000, flutes=2, depth_from_mm=0.5, depth_to_mm=3.0)
    got = judge_recording(recording(singing), setup=setup)
    assert got.worst.verdict == "chatter"
    assert got.ramp is None


def test_onset_of_simulated_ramps_lies_near_the_true_limit():
    found = [(one.ramp, limit_mm) for one, _, limit_mm in ramps(8, seed=77) if one.ramp is not None]
    # What the long form found stands in docs/ramp.md.
    assert len(found) >= 2
    off = [abs(ramp.depth_mm / limit_mm - 1) for ramp, limit_mm in found]
    assert np.median(off) < 0.15


def test_order_whose_neighbourhood_no_codec_carries_tells_nothing_of_the_teeth(rng):
    # A band that ends at 3,500 Hz: noise just below its end stands out of the nothing beyond it.
    quiet = rng.normal(size=8 * RATE_HZ)
    spectrum = np.fft.rfft(quiet)
    spectrum[np.fft.rfftfreq(len(quiet), 1 / RATE_HZ) > 3_500.0] = 0.0
    told = {"rate_hz": RATE_HZ, "bandwidth_hz": 3_500.0, "tooth_hz": 3_300.0}
    assert tooth_rise_db(np.fft.irfft(spectrum), **told) is None


def test_chatter_in_the_last_fifth_of_a_ramp_is_heard(rng):
    t = np.arange(10 * RATE_HZ) / RATE_HZ
    sidebands = sum(np.sin(2 * np.pi * (911.0 + k * 198.0) * t) for k in (-2, -1, 1, 2))
    cut = built_ramp(rng, onset_s=8.0, seconds=10.0) + 0.03 * sidebands * (t >= 8.0)
    idle = 0.002 * rng.normal(size=2 * RATE_HZ)
    sound = np.concatenate([idle, cut, idle])
    setup = CutSetup(rpm=6000, flutes=2, depth_from_mm=0.3, depth_to_mm=1.3)
    analysis = judge_recording(recording(sound), setup=setup)
    assert analysis.cuts[0].verdict == "chatter"
    assert analysis.ramp is not None
    assert analysis.ramp.time_s == pytest.approx(10.0, abs=0.2)


@pytest.mark.parametrize("voice", [0.0, 0.02])
def test_shallow_end_whose_comb_drowns_in_ringing_is_found_by_its_loudness(rng, voice):
    t = np.arange(8 * RATE_HZ) / RATE_HZ
    depth = np.clip((t - 2.0) / 6.0, 0.0, 1.0)
    ringing = sum(np.sin(2 * np.pi * (2 * k + 1) * 99.0 * t + k) for k in range(1, 12))  # half-way between
    teeth = sum(np.sin(2 * np.pi * 2 * k * 99.0 * t) / k for k in range(1, 12))
    talk = voice * np.sin(2 * np.pi * 300 * t) * ((t > 0.9) & (t < 1.3))
    sound = 0.001 * rng.normal(size=len(t)) + 0.1 * depth * (teeth + ringing) + talk
    loud = Section(start_s=6.0, end_s=8.0, open_start=False, open_end=True)
    start_s = find_ramp_start_s(
        sound, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, tooth_hz=198.0, section=loud
    )
    assert start_s == pytest.approx(2.0, abs=0.25)


RAMP = Path(__file__).parents[3] / "fixtures/recordings/clock-plate-ramp.flac"
RAMPED = CutSetup(rpm=12_000, flutes=2, depth_from_mm=0.4, depth_to_mm=2.8)


def test_cut_begins_and_chatters_from_where_the_ramp_does():
    analysis = judge_recording(read_recording(RAMP), setup=RAMPED)
    (cut,) = analysis.cuts
    assert cut.start_s == analysis.ramp_pass.start_s < 1.4
    assert cut.onset_s == analysis.ramp.time_s < 4.2


def test_what_the_recorder_left_out_before_a_ramp_moves_nothing():
    whole = read_recording(RAMP)
    muted_s = 1.0
    lead = np.zeros((whole.channels, int(muted_s * whole.rate_hz)), dtype=np.float32)
    muted = replace(whole, samples=np.concatenate([lead, whole.samples], axis=1))
    plain, moved = (judge_recording(one, setup=RAMPED) for one in (whole, muted))
    assert moved.ramp_pass.start_s - muted_s == pytest.approx(plain.ramp_pass.start_s, abs=0.2)
    assert moved.ramp.depth_mm == pytest.approx(plain.ramp.depth_mm, rel=0.05)
