"""A cut that gets loud chatter on its way is one cut; what follows it without teeth is none of it."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.engagement import follow_comb
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

TURN_HZ = 99.0


def filling_gaps(length):
    """Give chatter whose lines lie half-way between the harmonics of two teeth, ten times as loud as they."""
    t = np.arange(length) / RATE_HZ
    orders = 2 * np.arange(20) + 1.04
    return sum(np.sin(2 * np.pi * order * TURN_HZ * t + order) for order in orders)


def test_chatter_that_drowns_the_comb_midway_is_no_end_of_the_cut(rng):
    samples = built_cut(rng, cuts=((2.0, 6.0),), seconds=8.0)
    loud = slice(4 * RATE_HZ, 6 * RATE_HZ)
    samples[loud] += 0.2 * filling_gaps(2 * RATE_HZ)
    analysis = judge_recording(recording(samples / 5), setup=SETUP)
    (cut,) = analysis.cuts
    assert cut.start_s == pytest.approx(2.0, abs=0.1)
    assert cut.end_s == pytest.approx(6.0, abs=0.1)
    assert cut.verdict == "chatter"


def test_loud_sound_of_other_pitch_that_follows_a_cut_is_not_part_of_it(rng):
    samples = built_cut(rng, cuts=((2.0, 4.0),), seconds=8.0)
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    voice = sum(np.sin(2 * np.pi * k * 137.0 * t * (1 + 0.03 * np.sin(3 * t))) / k for k in range(1, 20))
    samples[4 * RATE_HZ : 6 * RATE_HZ] += 0.3 * voice
    analysis = judge_recording(recording(samples / 5), setup=SETUP)
    (cut,) = analysis.cuts
    assert cut.end_s == pytest.approx(4.0, abs=0.3)
    assert cut.verdict == "stable"


def test_part_of_a_cut_at_another_speed_is_told_as_not_judged(rng):
    first = built_cut(rng, cuts=((2.0, 5.0),), seconds=10.0)
    slower = built_cut(rng, rpm=4455.0, cuts=((5.0, 8.0),), seconds=10.0, chatter_hz=1310.0)
    analysis = judge_recording(recording(first + slower), setup=SETUP)
    assert [cut.verdict for cut in analysis.cuts] == ["stable"]
    (told,) = [one for one in analysis.findings if one.code == "not-judged"]
    assert told.severity == "warning"
    start_s, end_s = (
        float(number) for number in told.message.split(" s ")[0].split("from ")[1].split(" to ")
    )
    assert (start_s, end_s) == pytest.approx((5.0, 8.0), abs=0.4)


@pytest.mark.parametrize("order", [(0, 1, 2, 3), (1, 3, 0, 2), (3, 2, 1, 0)])
def test_pass_whose_speed_is_stepped_is_judged_where_it_turned_as_measured(rng, order):
    speeds = [4950.0, 5445.0, 5940.0, 6435.0]
    begins = [2.0 + 1.5 * order.index(i) for i in range(4)]
    steps = [
        built_cut(rng, rpm=rpm, cuts=((begin, begin + 1.5),), seconds=10.0)
        for rpm, begin in zip(speeds, begins, strict=True)
    ]
    analysis = judge_recording(recording(sum(steps) / 4), setup=SETUP)
    (cut,) = analysis.cuts
    assert cut.measured_rpm == pytest.approx(5940.0, rel=1e-3)
    assert cut.verdict == "stable"
    assert (cut.start_s, cut.end_s) == pytest.approx((begins[2], begins[2] + 1.5), abs=0.35)
    assert "not-judged" in [one.code for one in analysis.findings]


@pytest.mark.parametrize("tooth_hz", [12.0, 20.0, 25.0, 40.0])
def test_slow_teeth_stand_clear_of_what_lies_between_them(rng, tooth_hz):
    t = np.arange(6 * RATE_HZ) / RATE_HZ
    teeth = sum(np.sin(2 * np.pi * k * tooth_hz * t + k * k) for k in range(1, 60))
    comb = follow_comb(
        teeth + 0.01 * rng.normal(size=len(t)), rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, tooth_hz=tooth_hz
    )
    assert np.median(comb.contrast) > 5.0  # nepers; with 4 teeth to a window it was 1.1
