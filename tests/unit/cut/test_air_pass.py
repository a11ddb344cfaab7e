"""A lone tone beside the same program run in air: the cut's own, or the shop's."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.model import CutSetup
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

TONE_HZ = 1337.0  # off the comb at both speeds
QUICK = CutSetup(rpm=18_000, flutes=2)


@pytest.fixture
def sing():
    """Give a loud tone, from one time to another of a recording of seven seconds."""

    def make(start_s, end_s, *, level=0.3):
        t = np.arange(7 * RATE_HZ) / RATE_HZ
        return np.where((t >= start_s) & (t < end_s), level * np.sin(2 * np.pi * TONE_HZ * t), 0.0)

    return make


@pytest.fixture
def judge(rng, sing):
    """Judge a cut with a lone tone louder than its teeth, beside an idle recording."""

    def run(idle=None, *, setup=SETUP):
        cutting = recording(built_cut(rng, rpm=0.99 * setup.rpm) + sing(2.0, 4.5))
        return judge_recording(cutting, setup=setup, idle=None if idle is None else recording(idle))

    return run


def test_tone_that_the_air_pass_lacks_is_chatter_but_never_surely(rng, judge):
    without = judge(setup=QUICK)
    assert without.worst.verdict == "marginal"
    beside = judge(0.02 * rng.normal(size=4 * RATE_HZ), setup=QUICK)
    assert beside.worst.verdict == "chatter"
    assert beside.worst.chatter_probability <= 0.9
    assert beside.worst.chatter_hz == pytest.approx(TONE_HZ, abs=2.0)


def test_clear_tone_beside_slow_teeth_is_not_called_stable_where_the_air_pass_lacks_it(rng, judge):
    # Slow teeth are hardly heard beside what does not repeat, so the map alone leans to stable here.
    assert judge(0.02 * rng.normal(size=4 * RATE_HZ)).worst.verdict == "marginal"


def test_tone_of_the_air_pass_is_background(rng, judge, sing):
    air = 0.02 * rng.normal(size=7 * RATE_HZ) + sing(2.0, 4.5)
    (cut,) = judge(air).cuts
    assert cut.verdict == "stable"
    assert "background" in [line.kind for line in cut.lines if abs(line.frequency_hz - TONE_HZ) < 3]


@pytest.mark.parametrize("level", [0.0, 0.002])
def test_air_pass_that_hears_nothing_of_the_shop_rules_nothing_out(rng, judge, level):
    # 20 dB below the idle parts of the cut's own recording, or digital silence.
    analysis = judge(level * rng.normal(size=4 * RATE_HZ), setup=QUICK)
    assert analysis.worst.chatter_probability <= 0.55
    (finding,) = [finding for finding in analysis.findings if finding.code == "idle-quiet"]
    assert "run the same program in air" in finding.message


def test_tone_beside_the_cut_is_background_though_the_air_pass_lacks_it(rng, sing):
    cutting = recording(built_cut(rng) + sing(0.0, 7.0, level=0.05))
    air = recording(0.02 * rng.normal(size=4 * RATE_HZ))
    assert judge_recording(cutting, setup=SETUP, idle=air).worst.verdict == "stable"
