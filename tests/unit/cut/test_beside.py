"""An axis drive sings from a moment before the cut to a moment after it: its tones are not the cut's."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.pipeline import study_recording
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

DRIVE_HZ = 1337.0  # between multiples 13 and 14 of 99 Hz


def driven_cut(rng, *, lead_s, chatter_hz=None):
    """Give a cut from 2 to 4.5 s with a drive's tone and two harmonics, from before it to after it."""
    sound = built_cut(rng, chatter_hz=chatter_hz)
    t = np.arange(len(sound)) / RATE_HZ
    feeding = (t >= 2.0 - lead_s) & (t < 4.5 + lead_s)
    tone = sum(np.sin(2 * np.pi * k * DRIVE_HZ * t + k) / k for k in (1, 2, 3))
    return sound + 0.05 * np.where(feeding, tone, 0.0)


def heard_hz(sound):
    (cut,) = study_recording(recording(sound), setup=SETUP)[2]
    return [peak.frequency_hz for peak in cut.evidence.peaks if not peak.in_idle]


@pytest.mark.parametrize(("lead_s", "counts"), [(0.4, False), (0.0, True)])
def test_tone_that_sounds_beside_the_cut_is_no_line_of_it(rng, lead_s, counts):
    found = [hz for hz in heard_hz(driven_cut(rng, lead_s=lead_s)) if abs(hz - DRIVE_HZ) < 2.0]
    assert bool(found) == counts


def test_cut_with_a_drive_is_stable(rng):
    (cut,) = judge_recording(recording(driven_cut(rng, lead_s=0.4)), setup=SETUP).cuts
    assert cut.verdict == "stable"


def test_chatter_beside_a_drive_is_heard(rng):
    (cut,) = judge_recording(recording(driven_cut(rng, lead_s=0.4, chatter_hz=1310.0)), setup=SETUP).cuts
    assert cut.verdict == "chatter"
    assert cut.chatter_hz == pytest.approx(1310.0, abs=2.0)
