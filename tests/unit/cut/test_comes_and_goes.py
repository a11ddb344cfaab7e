"""Cuts along whose path the tool comes and goes are judged in the turns in which it cuts."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.comes_and_goes import find_spells
from chatter.dsp.angle import follow_gain, phase_turns, split_repeating
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

TURN_HZ = 99.0
CUT = (2.0, 7.0)


def engagement(*, seconds=9.0, rate=2.5, sharp=False):
    """Give how far the tool is engaged along time."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    cycle = (t - CUT[0]) * rate
    swell = cycle % 1 < 0.5 if sharp else np.clip(1.3 * np.sin(2 * np.pi * cycle), 0, 1)
    return t, swell * ((t > CUT[0]) & (t < CUT[1]))


def looping(rng, *, unlike=0.0, chatter_hz=None, **path):
    """Give a cut whose teeth swell and fade; the high ones more, and at another place, by `unlike`."""
    t, into = engagement(**path)
    teeth = sum(
        into ** (1 + 0.2 * unlike * k) * np.sin(4 * np.pi * k * TURN_HZ * t + k + unlike * into) / k
        for k in range(1, 12)
    )
    sound = teeth + 0.15 * into * rng.normal(size=len(t))
    if chatter_hz is not None:
        for k in (-4, -2, 0, 2, 4):
            sound = sound + (1.2 if k == 0 else 0.5) * into * np.sin(
                2 * np.pi * (chatter_hz + k * TURN_HZ) * t
            )
    return 0.1 * sound + 0.02 * rng.normal(size=len(t))


@pytest.mark.parametrize(
    "path", [{}, {"unlike": 0.5}, {"unlike": 1.5}, {"rate": 1.8}, {"sharp": True}], ids=str
)
def test_stable_cut_along_loops_is_stable_and_never_sure(rng, path):
    analysis = judge_recording(recording(looping(rng, **path)), setup=SETUP)
    assert [cut.verdict for cut in analysis.cuts] == ["stable"]
    assert analysis.cuts[0].chatter_probability == 0.15
    t, into = engagement(**{name: value for name, value in path.items() if name != "unlike"})
    engaged_s = t[into > 0][[0, -1]]
    assert (analysis.cuts[0].start_s, analysis.cuts[0].end_s) == pytest.approx(engaged_s, abs=0.2)
    assert [one.code for one in analysis.findings].count("comes-and-goes") == 1


@pytest.mark.parametrize("path", [{}, {"unlike": 0.5}], ids=str)
def test_chatter_along_loops_is_heard(rng, path):
    analysis = judge_recording(recording(looping(rng, chatter_hz=1325.0, **path)), setup=SETUP)
    (cut,) = analysis.cuts
    assert cut.verdict == "chatter"
    turns = (cut.chatter_hz - 1325.0) / TURN_HZ
    assert abs(turns - round(turns)) < 0.05


def spells_of(sound):
    part = sound[int(2.1 * RATE_HZ) : int(6.9 * RATE_HZ)]
    phase = phase_turns(
        count=len(part), rate_hz=RATE_HZ, times_s=np.zeros(1), rotation_hz=np.array([TURN_HZ])
    )
    return find_spells(part, phase, rate_hz=RATE_HZ, rotation_hz=TURN_HZ)


def test_spells_are_those_in_which_the_teeth_cut(rng):
    t, into = engagement()
    spells = spells_of(looping(rng))
    truly = into[(t >= 2.1) & (t < 6.9)][: len(spells.cutting)]
    assert np.mean(spells.cutting == (truly > 0.5)) > 0.93
    # From asin(0.5 / 1.3) up and down again: three quarters of half a swing of 0.4 s.
    assert spells.spell_s == pytest.approx(0.15, abs=0.025)


@pytest.mark.parametrize("chatter_hz", [None, 1310.0, 1195.0])  # the last one beats with the teeth, 7 Hz away
def test_cut_without_pauses_has_no_spells(rng, chatter_hz):
    assert spells_of(built_cut(rng, cuts=(CUT,), seconds=9.0, chatter_hz=chatter_hz)) is None


def test_silence_and_a_part_of_a_turn_have_no_spells():
    assert spells_of(np.zeros(8 * RATE_HZ)) is None
    assert find_spells(np.ones(8), np.linspace(0, 0.1, 8), rate_hz=RATE_HZ, rotation_hz=TURN_HZ) is None


def test_gain_is_followed_and_taken_away(rng):
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    swell = 1 + 0.9 * np.sin(2 * np.pi * 2 * t)
    teeth = sum(np.sin(4 * np.pi * k * TURN_HZ * t + k) / k for k in range(1, 8))
    phase = TURN_HZ * t
    gain, level = follow_gain(swell * teeth, phase, turns=3)
    truly = np.interp(np.arange(len(gain)) + 0.5, phase, swell)
    truly = truly / np.quantile(truly, 0.9)
    assert gain == pytest.approx(truly, abs=0.03)
    assert level == pytest.approx(truly, abs=0.03)
    inside = slice(RATE_HZ // 2, -RATE_HZ // 2)
    _, rest = split_repeating(swell * teeth, phase, turns=79, gain=gain)
    _, even = split_repeating(swell * teeth, phase, turns=79)
    assert np.std(rest[inside]) < 0.1 * np.std(even[inside])
    assert [len(part) for part in follow_gain(teeth[:100], phase[:100], turns=3)] == [0, 0]  # no three turns


def test_moment_is_not_looked_for_along_loops(rng):
    sound = looping(rng)
    t = np.arange(len(sound)) / RATE_HZ
    moment = np.clip(np.minimum(t - 6.5, 6.9 - t) / 0.02, 0, 1)
    sound = sound + 0.3 * moment * sum(np.sin(2 * np.pi * hz * t) for hz in (1310.0, 1409.0, 1508.0))
    analysis = judge_recording(recording(sound), setup=SETUP)
    assert len(analysis.cuts) == 1
    assert not {"short-chatter", "unlike-rest"} & {finding.code for finding in analysis.findings}
