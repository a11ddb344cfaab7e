"""An axis drive sings from a moment before the cut to a moment after it: its tones are not the cut's."""

from dataclasses import replace

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.beside import add_beside
from chatter.cut.pipeline import study_recording
from chatter.model import CutSetup
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

DRIVE_HZ = 1337.0  # between multiples 13 and 14 of 99 Hz


def driven_cut(rng, *, lead_s, tail_s, level=0.05, sidebands=0.0, beside_db=0.0):
    """Give a cut from 2 to 4.5 s with a drive's tone from before it to after it."""
    sound = built_cut(rng)
    t = np.arange(len(sound)) / RATE_HZ
    inside = (t >= 2.0) & (t < 4.5)
    feeding = (t >= 2.0 - lead_s) & (t < 4.5 + tail_s)
    gain = np.where(inside, 1.0, np.where(feeding, 10 ** (beside_db / 20), 0.0))
    tone = np.sin(2 * np.pi * DRIVE_HZ * t)
    for turns in (-4, -2, 2, 4):
        tone = tone + sidebands * np.sin(2 * np.pi * (DRIVE_HZ + turns * 99.0) * t + turns)
    return sound + level * gain * tone


def heard_hz(sound):
    (cut,) = study_recording(recording(sound), setup=SETUP)[2]
    return [peak.frequency_hz for peak in cut.evidence.peaks if not peak.in_idle]


@pytest.mark.parametrize(
    ("lead_s", "tail_s", "counts"),
    [(0.4, 0.4, False), (0.0, 0.0, True), (0.4, 0.0, True), (0.0, 0.4, True)],  # one end alone tells nothing
)
def test_tone_that_sounds_on_both_sides_of_the_cut_is_no_line_of_it(rng, lead_s, tail_s, counts):
    sound = driven_cut(rng, lead_s=lead_s, tail_s=tail_s)
    assert bool([hz for hz in heard_hz(sound) if abs(hz - DRIVE_HZ) < 2.0]) == counts


@pytest.mark.parametrize(("gain_db", "counts"), [(-12.0, True), (0.0, False)])
def test_tone_far_fainter_beside_the_cut_is_another_one(rng, gain_db, counts):
    sound = driven_cut(rng, lead_s=0.4, tail_s=0.4, level=0.01, beside_db=gain_db)
    assert bool([hz for hz in heard_hz(sound) if abs(hz - DRIVE_HZ) < 2.0]) == counts


@pytest.mark.parametrize(
    ("lead_s", "tail_s", "counts"), [(0.4, 0.4, False), (0.0, 0.0, True), (0.4, 0.0, True), (0.0, 0.4, True)]
)
@pytest.mark.parametrize("idling", [0.25, 0.4])
def test_idling_spindle_that_sounds_like_teeth_does_not_hide_a_drive(rng, lead_s, tail_s, counts, idling):
    sound = driven_cut(rng, lead_s=lead_s, tail_s=tail_s) + idling * built_cut(rng, cuts=((0.0, 7.0),))
    assert bool([hz for hz in heard_hz(sound) if abs(hz - DRIVE_HZ) < 2.0]) == counts


def test_drive_with_sidebands_is_no_chatter_of_a_stable_cut(rng):
    drive = {"lead_s": 0.4, "tail_s": 0.4, "sidebands": 0.5}
    (cut,) = judge_recording(recording(driven_cut(rng, **drive)), setup=SETUP).cuts
    assert cut.verdict == "stable"
    (alone,) = judge_recording(recording(driven_cut(rng, **(drive | {"lead_s": 0.0}))), setup=SETUP).cuts
    assert alone.verdict != "stable"


def test_chatter_that_rings_on_after_the_cut_is_heard(rng):
    sound = built_cut(rng, chatter_hz=1310.0)
    t = np.arange(len(sound)) / RATE_HZ
    decay = np.where(t >= 4.5, np.exp(-np.maximum(t - 4.5, 0.0) / 0.3), 0.0)
    sound = sound + 0.08 * decay * np.sin(2 * np.pi * 1310.0 * t)
    (cut,) = judge_recording(recording(sound), setup=SETUP).cuts
    assert cut.verdict == "chatter"
    assert cut.chatter_hz == pytest.approx(1310.0, abs=2.0)


def test_teeth_of_neighbouring_cuts_are_no_noise_while_idling(rng):
    cuts = ((1.0, 2.6), (3.5, 5.1), (6.0, 7.6))
    t = np.arange(int(8.2 * RATE_HZ)) / RATE_HZ
    entry = sum(np.clip(np.minimum(t - a, b - t) / 0.2, 0.0, 1.0) for a, b in cuts)
    sound = entry * built_cut(rng, cuts=cuts, seconds=8.2, chatter_hz=1310.0) + 0.01 * rng.normal(size=len(t))
    _, sections, (_, cut, _) = study_recording(recording(sound), setup=SETUP)
    lines = [round(hz / cut.spectra.bin_hz) for hz in (914.0, 1112.0, 1310.0, 1508.0, 1706.0)]
    for early_s in np.arange(-0.025, 0.03, 0.005):
        moved = replace(cut.section, start_s=cut.section.start_s - early_s, end_s=cut.section.end_s + early_s)
        heard = add_beside(
            cut.spectra, sound, moved, idle=sections.idle, rate_hz=RATE_HZ, rotation_hz=99.0, flutes=2
        )
        assert np.array_equal(heard.idle[lines], cut.spectra.idle[lines])


def test_teeth_above_the_spectrum_tell_nothing(rng):
    rate_hz, turn_hz = 8000, 50_000 / 60
    t = np.arange(7 * rate_hz) / rate_hz
    turning = sum(np.sin(2 * np.pi * k * turn_hz * t + k) / k for k in range(1, 5))
    cutting = np.where((t > 2.0) & (t < 4.5), 0.1 * turning + 0.03 * rng.normal(size=len(t)), 0.0)
    sound = cutting + 0.02 * rng.normal(size=len(t))
    heard = replace(recording(sound), rate_hz=rate_hz, bandwidth_hz=rate_hz / 2)
    judged = judge_recording(heard, setup=CutSetup(rpm=50_000, flutes=6))
    assert judged.spindle.measured_rpm == pytest.approx(50_000, abs=10)
