"""An axis drive sings from a moment before the cut to a moment after it: its tones are not the cut's."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.pipeline import study_recording
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
