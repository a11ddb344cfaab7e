"""A lone tone beside the same program run in air: the cut's own, or the shop's."""

from dataclasses import replace

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.model import CutSetup, Finding
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording

TONE_HZ = 1310.0  # off the comb at both speeds, and no simple fraction of a turn
QUICK = CutSetup(rpm=18_000, flutes=2)


def codes(analysis):
    return {finding.code for finding in analysis.findings}


def sing(start_s, end_s, *, level=0.3, hz=TONE_HZ, seconds=7):
    """Give a tone from one time to another of a recording."""
    t = np.arange(seconds * RATE_HZ) / RATE_HZ
    return np.where((t >= start_s) & (t < end_s), level * np.sin(2 * np.pi * hz * t), 0.0)


@pytest.fixture
def shop(rng):
    """Make a shop's own sound, as loud as beside the built cuts or by another factor."""

    def make(seconds=7, *, level=1.0):
        return level * 0.02 * rng.normal(size=round(seconds * RATE_HZ))

    return make


@pytest.fixture
def judge(rng):
    """Judge a cut with a lone tone louder than its teeth, beside an idle recording."""

    def run(idle=None, *, setup=QUICK, findings=(), level=0.6):
        cutting = recording(built_cut(rng, rpm=0.99 * setup.rpm) + sing(2.0, 4.5, level=level))
        air = None if idle is None else replace(recording(idle), findings=findings)
        return judge_recording(cutting, setup=setup, idle=air)

    return run


def test_tone_that_the_air_pass_lacks_is_chatter_but_never_surely(judge, shop):
    without = judge()
    assert (without.worst.verdict, without.worst.tone) == ("marginal", "unknown")
    beside = judge(shop(4))
    assert (beside.worst.verdict, beside.worst.tone) == ("chatter", "only cutting")
    assert beside.worst.chatter_probability <= 0.9
    assert beside.worst.chatter_hz == pytest.approx(TONE_HZ, abs=2.0)
    half_as_strong = judge(shop(4), level=0.3)
    assert (half_as_strong.worst.verdict != "stable", half_as_strong.worst.tone) == (True, "only cutting")


def test_clear_tone_beside_slow_teeth_is_not_called_stable_where_the_air_pass_lacks_it(judge, shop):
    # Slow teeth are hardly heard beside what does not repeat, so the map alone leans to stable here.
    assert judge(shop(4), setup=SETUP).worst.verdict == "marginal"


@pytest.mark.parametrize("setup", [SETUP, QUICK])
@pytest.mark.parametrize("seconds", [7, 60])
def test_tone_of_the_air_pass_is_background_however_short_a_part_of_it(judge, shop, setup, seconds):
    (cut,) = judge(shop(seconds) + sing(2.0, 4.5, seconds=seconds), setup=setup).cuts
    assert cut.verdict == "stable"
    assert "background" in [line.kind for line in cut.lines if abs(line.frequency_hz - TONE_HZ) < 3]


@pytest.mark.parametrize("in_air", [{"level": 0.3 / 4}, {"level": 0.03}, {"hz": 1.02 * TONE_HZ}])
def test_tone_that_is_fainter_or_a_little_higher_in_air_is_never_called_chatter(judge, shop, in_air):
    # The load makes a drive louder, and slows what a belt turns.
    analysis = judge(shop() + sing(2.0, 4.5, **in_air))
    assert analysis.worst.verdict in {"stable", "marginal"}
    assert analysis.worst.tone != "only cutting"


@pytest.mark.parametrize("level", [0.0, 0.1])
def test_air_pass_that_hears_nothing_of_the_shop_rules_nothing_out(judge, shop, level):
    # Digital silence, or 20 dB below the idle parts of the cut's own recording.
    analysis = judge(shop(4, level=level))
    assert analysis.worst.chatter_probability <= 0.55
    (finding,) = [finding for finding in analysis.findings if finding.code == "idle-unfit"]
    assert "far quieter" in finding.message


def test_hum_makes_no_dead_idle_recording_a_loud_one(judge, shop):
    analysis = judge(shop(4, level=0.01) + sing(0.0, 4.0, level=0.5, hz=50.0, seconds=4))
    assert analysis.worst.verdict == "marginal"
    assert "idle-unfit" in codes(analysis)


def test_bump_beside_the_cut_makes_no_air_pass_too_quiet(rng, judge, shop):
    cutting = built_cut(rng, rpm=0.99 * 18_000) + sing(2.0, 4.5)
    cutting[4000:9000] += 0.3 * rng.normal(size=5000)
    analysis = judge_recording(recording(cutting), setup=QUICK, idle=recording(shop(4)))
    assert analysis.worst.tone == "only cutting"


def test_air_pass_from_which_the_phone_took_sounds_rules_nothing_out(judge, shop):
    swallowed = Finding(code="noise-suppression", severity="warning", message="Pauses fall to nothing.")
    analysis = judge(shop(4), findings=(swallowed,))
    assert analysis.worst.verdict == "marginal"
    assert "idle-unfit" in codes(analysis)


def test_idle_recording_that_is_too_short_is_left_out_and_named(judge, shop):
    analysis = judge(shop(0.2))
    assert analysis.worst.verdict == "marginal"
    assert "idle-short" in codes(analysis)


def test_idle_recording_with_the_same_cut_in_it_is_left_out_and_named(rng):
    cutting = recording(built_cut(rng, chatter_hz=1341.0))
    again = recording(built_cut(rng, chatter_hz=1341.0))
    analysis = judge_recording(cutting, setup=SETUP, idle=again)
    assert analysis.worst.verdict == "chatter"
    assert "idle-cuts" in codes(analysis)


def test_tone_beside_the_cut_is_background_though_the_air_pass_lacks_it(rng, shop):
    cutting = recording(built_cut(rng) + sing(0.0, 7.0, level=0.05))
    assert judge_recording(cutting, setup=SETUP, idle=recording(shop(4))).worst.verdict == "stable"


def test_broad_noise_is_no_lone_tone(rng, shop):
    # A band of 200 Hz without a line: no air pass could tell whose a tone is that isn't there.
    spectrum = np.fft.rfft(rng.normal(size=7 * RATE_HZ))
    hz = np.fft.rfftfreq(7 * RATE_HZ, 1 / RATE_HZ)
    band = np.fft.irfft(np.where((hz > 1250) & (hz < 1450), spectrum, 0))
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    noisy = built_cut(rng, rpm=0.99 * 18_000) + np.where((t >= 2) & (t < 4.5), band, 0.0)
    for idle in (None, recording(shop(4))):
        assert judge_recording(recording(noisy), setup=QUICK, idle=idle).worst.tone is None


def spin(hz, *, level, seconds=7):
    """Give a spindle's own lines, throughout a recording."""
    t = np.arange(seconds * RATE_HZ) / RATE_HZ
    return sum(level * np.sin(2 * np.pi * k * hz * t + k) / np.sqrt(k) for k in range(1, 12))


def test_lines_of_the_spindle_in_air_are_not_taken_for_the_tone(rng, shop):
    # The ninth multiple of 152 Hz lies 2 % above the tone: whatever sings does so near some multiple.
    setup = CutSetup(rpm=9200, flutes=2)
    cutting = built_cut(rng, rpm=8979.0) + sing(2.0, 4.5) + spin(8979 / 60, level=0.01)
    air = shop() + spin(152.0, level=0.01)
    analysis = judge_recording(recording(cutting), setup=setup, idle=recording(air))
    assert analysis.worst.tone == "only cutting"


def test_loud_spindle_in_air_is_no_cut(rng, shop):
    # Its lines lie where the teeth of a light cut strike, and beside the cut they are as loud.
    cutting = 0.3 * (built_cut(rng, rpm=17_820.0) - shop()) + shop() + spin(297.0, level=0.02)
    air = shop() + spin(297.0, level=0.02)
    assert "idle-cuts" not in codes(judge_recording(recording(cutting), setup=QUICK, idle=recording(air)))


def test_cut_that_turns_out_undecided_names_no_tone(rng, shop):
    # Two teeth told as three, and a lone tone: what was heard fits other facts.
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    teeth = sum(np.sin(2 * np.pi * 2 * 99.0 * k * t + k * k) / np.sqrt(k) for k in range(1, 30))
    sound = shop() + np.where((t >= 2.0) & (t < 4.5), 0.05 * teeth, 0.0) + sing(2.0, 4.5)
    for rpm in (4000.0, 4500.0):
        for cut in judge_recording(recording(sound), setup=CutSetup(rpm=rpm, flutes=3)).cuts:
            assert cut.tone is None or cut.chatter_hz is not None
