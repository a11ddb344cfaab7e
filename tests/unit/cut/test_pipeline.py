"""The cut pipeline on built recordings."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from chatter.cut import judge_recording
from chatter.errors import BadValueError, ChatterError
from chatter.model import CutSetup, Recording
from chatter.model.cut import DOUBTFUL_RUN_OUT
from chatter.simulate.phone import resonate
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording


def codes(analysis):
    return [finding.code for finding in analysis.findings]


def test_stable_cut_is_called_stable_at_the_right_speed_and_time(rng):
    analysis = judge_recording(recording(built_cut(rng)), setup=SETUP)
    (cut,) = analysis.cuts
    assert cut.verdict == "stable"
    # 0.1 % of speed and 0.2 s of start are what the project asks for.
    assert cut.measured_rpm == pytest.approx(5940, rel=1e-3)
    assert cut.start_s == pytest.approx(2.0, abs=0.2)
    assert cut.end_s == pytest.approx(4.5, abs=0.2)


def test_chattering_cut_is_called_chatter_at_its_line(rng):
    analysis = judge_recording(recording(built_cut(rng, chatter_hz=1310.0)), setup=SETUP)
    (cut,) = analysis.cuts
    assert cut.verdict == "chatter"
    assert cut.chatter_hz == pytest.approx(1310.0, abs=2.0)  # half of a line's width at 0.5 s
    kinds = {line.kind for line in cut.lines}
    assert {"chatter", "chatter sideband", "tooth passing"} <= kinds


@pytest.mark.parametrize(
    ("bits", "steps", "told"), [(16, 6, False), (16, 40, True), (8, 6, False), (24, 4000, True)]
)
@pytest.mark.parametrize("chatter_hz", [None, 1310.0])
def test_recording_of_a_few_steps_of_loudness_gets_no_verdict(rng, chatter_hz, bits, steps, told):
    sound = built_cut(rng, chatter_hz=chatter_hz)
    stepped = np.round(sound * steps / np.abs(sound).max()) / 2 ** (bits - 1)
    analysis = judge_recording(recording(stepped), setup=SETUP)
    (cut,) = analysis.cuts
    assert (cut.verdict != "undecided") == told
    assert (cut.chatter_probability is not None) == told
    assert ("faint" in codes(analysis)) == (not told)


@pytest.mark.parametrize(("gain", "told"), [(2.0, True), (100.0, False)])
@pytest.mark.parametrize("chatter_hz", [None, 1310.0])
def test_recording_that_is_mostly_cut_off_gets_no_verdict(rng, chatter_hz, gain, told):
    sound = built_cut(rng, chatter_hz=chatter_hz)
    t = np.arange(len(sound)) / RATE_HZ
    sound = np.where((t >= 2.0) & (t < 4.5), np.clip(gain * sound, -0.3, 0.3), sound)
    analysis = judge_recording(recording(sound), setup=SETUP)
    (cut,) = analysis.cuts
    assert (cut.verdict != "undecided") == told
    assert ("overdriven" in codes(analysis)) == (not told)


def test_chatter_four_hertz_off_the_comb_is_heard(rng):
    # Near the top of a lobe chatter sings beside a multiple of the turns: 14 x 99 Hz is 1386 Hz.
    (cut,) = judge_recording(recording(built_cut(rng, chatter_hz=1381.8)), setup=SETUP).cuts
    assert cut.verdict == "chatter"
    folded = cut.chatter_hz / 99.0 - round(cut.chatter_hz / 99.0)
    assert folded == pytest.approx(-0.042, abs=0.01)  # of any member; a line is 0.025 wide
    assert cut.measured_rpm == pytest.approx(5940, rel=1e-3)  # what the project asks for


def test_double_of_the_loudest_chatter_is_not_taken_for_the_chatter(rng):
    # 0.4 of a turn off the comb doubles to 0.2 off, and that doubles to 0.4: the louder one is the chatter.
    chatter_hz = 14.4 * 99.0
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    doubles = sum(np.sin(2 * np.pi * (2 * chatter_hz + k * 99.0) * t) for k in (-4, -2, 0, 2, 4))
    fourth = np.sin(2 * np.pi * 4 * chatter_hz * t)
    inside = (t >= 2.0) & (t < 4.5)
    sound = built_cut(rng, chatter_hz=chatter_hz) + 0.1 * np.where(inside, 0.25 * doubles + 0.2 * fourth, 0.0)
    (cut,) = judge_recording(recording(sound), setup=SETUP).cuts
    assert cut.verdict == "chatter"
    assert cut.chatter_hz == pytest.approx(chatter_hz, abs=2.0)


def test_lone_line_without_sidebands_is_never_called_chatter(rng):
    analysis = judge_recording(recording(built_cut(rng, lone_hz=1337.0)), setup=SETUP)
    assert analysis.cuts[0].verdict in {"stable", "marginal"}


def test_vacuum_that_starts_with_the_cut_is_never_called_chatter(rng):
    # A broad rush 4 dB below the cut with one loud tone in it, both only while cutting.
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    cutting = built_cut(rng, lone_hz=1337.0)
    inside = (t >= 2.0) & (t < 4.5)
    level = np.std(cutting[inside])
    rush = np.where(inside, 10 ** (-4 / 20) * level * rng.normal(size=len(t)), 0.0)
    analysis = judge_recording(recording(cutting + rush), setup=SETUP)
    assert analysis.cuts[0].verdict in {"stable", "marginal"}


def judge_roar(rng, *, strength):
    """Judge a cut with a narrow-band roar near 900 Hz, some times as strong as the teeth."""
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    roar = resonate(rng.normal(size=len(t)), rate_hz=RATE_HZ, frequency_hz=900.0, damping_ratio=0.05)
    cutting = built_cut(rng, rpm=17_800.0)
    inside = (t >= 2.0) & (t < 4.5)
    roar *= strength * np.std(cutting[inside]) / np.std(roar)
    sound = recording(0.3 * (cutting + np.where(inside, roar, 0.0)))
    worst = judge_recording(sound, setup=CutSetup(rpm=18_000, flutes=2)).worst
    assert worst is not None
    return worst


def test_broad_chatter_without_a_narrow_line_is_called_chatter_but_never_with_certainty(rng):
    worst = judge_roar(rng, strength=6)  # a tool that leaves the cut irregularly
    assert worst.verdict == "chatter"
    assert worst.chatter_hz == pytest.approx(900.0, rel=0.1)
    assert len([line for line in worst.lines if line.kind == "chatter"]) == 1
    if not any(line.kind == "chatter sideband" for line in worst.lines):
        assert worst.chatter_probability <= 0.9


def test_roar_that_rough_chips_make_as_well_is_in_doubt(rng):
    # Common practice: chips ring a mode of a stable cut, too.
    assert 0.3 < judge_roar(rng, strength=3).chatter_probability < 0.7


def test_line_that_is_also_in_the_idle_part_is_background(rng):
    sound = built_cut(rng) + 0.05 * np.sin(2 * np.pi * 1337.0 * np.arange(7 * RATE_HZ) / RATE_HZ)
    (cut,) = judge_recording(recording(sound), setup=SETUP).cuts
    assert cut.verdict == "stable"
    near = [line for line in cut.lines if abs(line.frequency_hz - 1337) < 3]
    assert [line.kind for line in near] == ["background"]


def test_two_cuts_are_judged_apart_and_the_worst_is_named(rng):
    first = built_cut(rng, cuts=((1.5, 3.5),), seconds=5)
    second = built_cut(rng, cuts=((1.5, 3.5),), seconds=5, chatter_hz=911.0)
    analysis = judge_recording(recording(np.concatenate([first, second])), setup=SETUP)
    assert [cut.verdict for cut in analysis.cuts] == ["stable", "chatter"]
    assert analysis.cut_index == 1


def test_cut_that_runs_past_the_end_has_no_end_and_says_so(rng):
    analysis = judge_recording(recording(built_cut(rng, cuts=((3.0, 9.0),), seconds=6)), setup=SETUP)
    assert analysis.cuts[0].end_s is None
    assert "cut-at-edge" in codes(analysis)


@pytest.mark.parametrize(
    ("cut_s", "told"),
    [((-1.0, 4.0), "begins"), ((3.0, 9.0), "ends"), ((-1.0, 9.0), "begins and ends")],
)
def test_finding_says_which_edges_of_the_recording_lie_inside_the_cut(rng, cut_s, told):
    idle = built_cut(rng, cuts=(), seconds=4)
    sound = built_cut(rng, cuts=(cut_s,), seconds=6)
    analysis = judge_recording(recording(sound), setup=SETUP, idle=recording(idle))
    (finding,) = [one for one in analysis.findings if one.code == "cut-at-edge"]
    assert finding.message.startswith(f"The recording {told} inside a cut: ")


@pytest.mark.parametrize("seconds", [0.1, 1.0, 6.0])
def test_noise_without_a_cut_gives_no_cut_and_says_how_to_record(rng, seconds):
    analysis = judge_recording(recording(0.1 * rng.normal(size=int(seconds * RATE_HZ))), setup=SETUP)
    assert analysis.cuts == ()
    assert analysis.cut_index is None
    (finding,) = [f for f in analysis.findings if f.code in {"no-cut-found", "spindle-not-found"}]
    assert "idle" in finding.message


def test_silence_gives_no_cut_and_no_speed():
    analysis = judge_recording(recording(np.zeros(5 * RATE_HZ)), setup=SETUP)
    assert analysis.cuts == ()
    assert analysis.spindle.measured_rpm is None


def test_speed_without_a_cut_is_still_measured(rng):
    t = np.arange(8 * RATE_HZ) / RATE_HZ
    hum = sum(np.sin(2 * np.pi * 99.0 * k * t) for k in range(1, 20))
    analysis = judge_recording(recording(0.01 * hum + 0.01 * rng.normal(size=len(t))), setup=SETUP)
    assert analysis.cuts == ()
    assert analysis.spindle.measured_rpm == pytest.approx(5940, rel=1e-3)


def test_channel_with_the_better_contrast_is_taken(rng):
    cut = built_cut(rng)
    both = np.vstack([0.3 * rng.normal(size=len(cut)), cut])
    assert judge_recording(recording(both), setup=SETUP).channel == 1


def test_channels_out_of_phase_do_not_cancel(rng):
    cut = built_cut(rng)
    analysis = judge_recording(recording(np.vstack([cut, -cut])), setup=SETUP)
    assert analysis.cuts[0].verdict == "stable"


def test_idle_recording_at_another_rate_is_refused(rng):
    idle = Recording(
        file="idle.wav", sha256="0" * 64, samples=np.zeros((1, 8000)), rate_hz=8000, bandwidth_hz=4000
    )
    with pytest.raises(BadValueError, match="sample rate"):
        judge_recording(recording(built_cut(rng)), setup=SETUP, idle=idle)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    samples=arrays(
        np.float32,
        st.tuples(st.integers(1, 3), st.integers(1, 9000)),
        elements=st.floats(-1, 1, width=32),
        fill=st.floats(-1, 1, width=32),
    ),
    rpm=st.floats(10, 60_000),
    flutes=st.integers(1, 12),
)
def test_odd_arrays_give_an_answer_or_a_named_error(samples, rpm, flutes):
    try:
        analysis = judge_recording(recording(samples), setup=CutSetup(rpm=rpm, flutes=flutes))
    except ChatterError:
        return
    for cut in analysis.cuts:
        assert cut.chatter_probability is None or 0 <= cut.chatter_probability <= 1


@pytest.mark.parametrize(
    ("level", "verdict", "chance"),
    [(0.05, "stable", 0.0), (0.2, "stable", DOUBTFUL_RUN_OUT), (0.4, "undecided", None)],
)
def test_loud_halves_of_tooth_passing_with_two_flutes_leave_doubt(rng, level, verdict, chance):
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    halves = sum(np.sin(2 * np.pi * 99.0 * k * t + k) for k in (3, 5, 7))
    sound = built_cut(rng) + level * np.where((t >= 2.0) & (t < 4.5), halves, 0.0)
    (cut,) = (analysis := judge_recording(recording(sound), setup=SETUP)).cuts
    assert cut.verdict == verdict
    assert cut.chatter_probability == (None if chance is None else pytest.approx(chance, abs=0.1))
    assert ("period-doubling-or-run-out" in codes(analysis)) == (chance != 0.0)


def test_wrong_flute_count_is_doubted_and_the_right_one_is_not(rng):
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    cutting = sum(np.sin(2 * np.pi * 3 * 99.0 * k * t + k * k) / np.sqrt(k) for k in range(1, 22))
    sound = 0.02 * rng.normal(size=len(t)) + np.where((t >= 2.0) & (t < 4.5), 0.05 * cutting, 0.0)
    wrong, right = (
        judge_recording(recording(sound), setup=CutSetup(rpm=6000, flutes=flutes)) for flutes in (2, 3)
    )
    assert "facts-do-not-fit" in codes(wrong)
    assert "facts-do-not-fit" not in codes(right)


@pytest.mark.parametrize("rpm", [7600, 4800])
def test_stable_cut_is_no_chatter_under_a_wrong_speed(rng, rpm):
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    cutting = sum(np.sin(2 * np.pi * 2 * 99.0 * k * t + k * k) / np.sqrt(k) for k in range(1, 30))
    cutting = cutting + sum(0.2 * np.sin(2 * np.pi * 99.0 * k * t + k) for k in range(1, 30, 2))  # run-out
    sound = 0.02 * rng.normal(size=len(t)) + np.where((t >= 2.0) & (t < 4.5), 0.05 * cutting, 0.0)
    wrong = judge_recording(recording(sound), setup=CutSetup(rpm=rpm, flutes=2))
    assert "facts-do-not-fit" in codes(wrong)
    assert [cut.verdict for cut in wrong.cuts] in ([], ["undecided"], ["stable"])


def test_recording_that_is_all_cut_is_judged_beside_an_idle_one(rng):
    cut = built_cut(rng, cuts=((0.0, 9.0),), seconds=9.0, chatter_hz=913.0)[RATE_HZ : 6 * RATE_HZ]
    idle = recording(0.02 * rng.normal(size=4 * RATE_HZ))
    alone = judge_recording(recording(cut), setup=SETUP)
    assert alone.cuts == ()
    (judged,) = judge_recording(recording(cut), setup=SETUP, idle=idle).cuts
    assert judged.verdict == "chatter"
    assert (judged.start_s, judged.end_s) == (None, None)  # it begins and ends beyond the file
    assert judge_recording(idle, setup=SETUP, idle=idle).cuts == ()


def test_run_out_of_four_teeth_is_no_period_doubling(rng):
    # Eccentricity loads each of four teeth by once a turn: the orders beside those of the teeth are as loud
    # as the halves, which period doubling alone would raise (common practice).
    count = 7 * RATE_HZ
    t = np.arange(count) / RATE_HZ
    orders = {1: 0.5, 2: 0.6, 3: 0.6, 4: 0.2, 5: 0.5, 6: 0.5, 8: 0.1}
    cutting = sum(size * np.sin(2 * np.pi * k * 99.0 * t + k) for k, size in orders.items())
    inside = (t >= 2.0) & (t < 4.5)
    sound = 0.02 * rng.normal(size=count) + 0.1 * np.where(
        inside, cutting + 0.1 * rng.normal(size=count), 0.0
    )
    analysis = judge_recording(recording(sound), setup=CutSetup(rpm=6000, flutes=4))
    assert analysis.worst is not None
    assert analysis.worst.verdict == "stable"


def test_mode_that_chip_noise_rings_is_a_resonance_and_no_chatter(rng):
    # Half-power width of a mode, by any text on vibration: 2 * damping ratio * frequency = 50 Hz here.
    count = 7 * RATE_HZ
    t = np.arange(count) / RATE_HZ
    rung = resonate(rng.normal(size=count), rate_hz=RATE_HZ, frequency_hz=1250.0, damping_ratio=0.02)
    cutting = built_cut(rng) + np.where((t >= 2.0) & (t < 4.5), 0.05 * rung / np.std(rung), 0.0)
    worst = judge_recording(recording(cutting), setup=SETUP).worst
    assert worst is not None
    assert worst.verdict == "stable"
    humps = [line for line in worst.lines if line.kind == "resonance"]
    nearest = min(humps, key=lambda line: abs(line.frequency_hz - 1250.0))
    assert nearest.frequency_hz == pytest.approx(1250.0, abs=25.0)  # half its width
    # Noise is rough: two seconds of it know where the half power lies only to some bins of 2 Hz on each side.
    assert nearest.width_hz == pytest.approx(50.0, rel=0.5)


def test_lone_tone_that_may_be_chatter_stands_once_among_the_lines(rng):
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    tone = 0.3 * np.sin(2 * np.pi * 1371.0 * t) * ((t >= 2.0) & (t < 4.5))
    (cut,) = judge_recording(recording(built_cut(rng) + tone), setup=SETUP).cuts
    assert cut.verdict == "marginal"
    near = [line for line in cut.lines if abs(line.frequency_hz - 1371.0) < 3]
    assert [line.kind for line in near] == ["chatter"]


@pytest.mark.parametrize(("hz", "verdict"), [(120.0, "marginal"), (240.2, "marginal"), (127.0, "chatter")])
def test_family_on_mains_hum_is_no_sure_chatter(rng, hz, verdict):
    judged = judge_recording(recording(built_cut(rng, chatter_hz=hz)), setup=SETUP)
    assert judged.cuts[0].verdict == verdict
    assert ("mains-hum" in {one.code for one in judged.findings}) == (verdict == "marginal")
