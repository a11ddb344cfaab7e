from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chatter.advice import advise
from chatter.model import CutAnalysis, CutSetup, JudgedCut, Line, Spindle


def analysis_of(verdict, *, chatter_hz=None, rpm=12_000.0, measured=None, flutes=2, lines=()):
    cut = JudgedCut(
        start_s=1.0,
        end_s=3.0,
        measured_rpm=measured,
        measured_rpm_sd=None,
        verdict=verdict,
        chatter_probability=None if verdict == "undecided" else 0.5,
        chatter_hz=chatter_hz,
        onset_s=None,
        lines=tuple(lines),
    )
    spindle = Spindle(programmed_rpm=rpm, flutes=flutes, measured_rpm=measured, measured_rpm_sd=None)
    return CutAnalysis(spindle=spindle, channel=0, cuts=(cut,), cut_index=0, findings=())


def test_undecided_cut_asks_for_a_better_recording():
    advice = advise(analysis_of("undecided"), setup=CutSetup(rpm=12_000, flutes=2, max_rpm=24_000))
    assert (advice.action, advice.speeds, advice.depth_factor) == ("record again", (), None)
    said = " ".join(advice.cautions)
    for word in ("uncompressed", "behind the guard", "three seconds", "in air"):
        assert word in said


def test_recording_without_a_cut_asks_for_a_better_recording():
    spindle = Spindle(programmed_rpm=12_000, flutes=2, measured_rpm=None, measured_rpm_sd=None)
    nothing = CutAnalysis(spindle=spindle, channel=0, cuts=(), cut_index=None, findings=())
    assert advise(nothing, setup=CutSetup(rpm=12_000, flutes=2)).action == "record again"


def test_stable_cut_is_kept_without_speeds():
    advice = advise(analysis_of("stable"), setup=CutSetup(rpm=12_000, flutes=2))
    assert (advice.action, advice.speeds) == ("keep", ())


def test_unknown_fastest_speed_suggests_nothing_faster_and_asks():
    setup = CutSetup(rpm=12_000, flutes=2)
    advice = advise(analysis_of("chatter", chatter_hz=930.0), setup=setup)
    assert advice.speeds
    assert all(speed.set_rpm <= 12_000 for speed in advice.speeds)
    assert any("spindle's range" in caution for caution in advice.cautions)


def test_slot_chatter_points_to_the_speed_of_its_natural_frequency():
    # A 600 Hz mode of damping 0.03 with 3 flutes in a slot at 10,000 rpm chatters at 632.1 Hz from 0.317 mm.
    # At twice that depth 11,000 rpm (limit 0.691 mm) and 12,000 rpm (1.248 mm) are stable. Exact limits by
    # Chebyshev collocation, computed independently of this project.
    setup = CutSetup(
        rpm=10_000, flutes=3, min_rpm=5_500, max_rpm=13_500, width_mm=6.0, diameter_mm=6.0, feed_mm_min=900.0
    )
    advice = advise(analysis_of("chatter", chatter_hz=632.1, rpm=10_000.0, flutes=3), setup=setup)
    assert advice.action == "change speed"
    best = advice.speeds[0]
    assert 11_000 <= best.rpm <= 12_000
    assert best.lobe == 1
    assert best.feed_mm_min == pytest.approx(900 * best.rpm / 10_000)


def test_chatter_without_a_frequency_or_lines_reduces_depth():
    advice = advise(analysis_of("chatter"), setup=CutSetup(rpm=12_000, flutes=2, max_rpm=24_000))
    assert (advice.action, advice.speeds) == ("reduce depth", ())
    assert advice.depth_factor < 1  # chattering by its verdict alone, the cut is too deep


def test_tool_limit_below_the_slowest_speed_leaves_no_speed():
    setup = CutSetup(rpm=12_000, flutes=2, min_rpm=8_000, max_rpm=24_000, tool_max_rpm=7_000)
    advice = advise(analysis_of("chatter", chatter_hz=930.0), setup=setup)
    assert (advice.action, advice.speeds) == ("reduce depth", ())


def test_same_recording_gets_the_same_advice():
    setup = CutSetup(rpm=12_000, flutes=2, max_rpm=24_000)
    analysis = analysis_of("chatter", chatter_hz=930.0)
    assert advise(analysis, setup=setup) == advise(analysis, setup=setup)


@settings(max_examples=15, deadline=None)
@given(
    verdict=st.sampled_from(["chatter", "marginal"]),
    chatter_hz=st.floats(70, 9_000),
    rpm=st.floats(1_500, 24_000),
    slip=st.floats(0.96, 1.01),
    flutes=st.integers(1, 5),
    slowest=st.none() | st.floats(0.2, 1.5),
    fastest=st.none() | st.floats(0.5, 2.5),
    tool=st.none() | st.floats(0.4, 2.0),
)
def test_suggestions_stay_inside_every_limit(verdict, chatter_hz, rpm, slip, flutes, slowest, fastest, tool):
    setup = CutSetup(
        rpm=rpm,
        flutes=flutes,
        min_rpm=slowest and slowest * rpm,
        max_rpm=fastest and fastest * rpm,
        tool_max_rpm=tool and tool * rpm,
    )
    line = Line(
        frequency_hz=chatter_hz + rpm / 60, width_hz=None, level_db=-30.0, kind="chatter sideband", order=1
    )
    analysis = analysis_of(
        verdict, chatter_hz=chatter_hz, rpm=rpm, measured=rpm * slip, flutes=flutes, lines=[line]
    )
    advice = advise(analysis, setup=setup)
    assert advice.action in ("change speed", "reduce depth")
    assert len(advice.speeds) <= 5
    for speed in advice.speeds:
        assert speed.set_rpm <= (setup.max_rpm or rpm)
        assert speed.set_rpm <= (setup.tool_max_rpm or speed.set_rpm)
        assert speed.set_rpm >= (setup.min_rpm or rpm / 2)
        assert speed.rpm == pytest.approx(speed.set_rpm * slip)
        assert speed.low_rpm <= speed.rpm <= speed.high_rpm
        assert abs(speed.rpm / (rpm * slip) - 1) > 0.005
        assert 0 <= speed.stable_probability <= 1
        assert speed.lobe >= 1
        assert speed.feed_mm_min is None
    for one, other in zip(advice.speeds, advice.speeds[1:], strict=False):
        assert one.high_rpm < other.low_rpm or other.high_rpm < one.low_rpm


def test_chatter_gets_a_share_of_depth_below_one():
    advice = advise(analysis_of("chatter", chatter_hz=930.0), setup=CutSetup(rpm=12_000, flutes=2))
    # Scored cuts lie at 1.25 to 3 times their limit, so a share that is stable nine times in ten lies
    # between a fifth and the whole of 1 / 1.25.
    assert 0.2 < advice.depth_factor < 0.8


@pytest.mark.parametrize("verdict", ["chatter", "marginal", "stable", "undecided"])
def test_every_advice_carries_the_usual_cautions(verdict):
    advice = advise(analysis_of(verdict, chatter_hz=930.0), setup=CutSetup(rpm=12_000, flutes=2))
    said = " ".join(advice.cautions)
    for word in ("guards closed", "leans in", "speed limit", "hearing protection", "before you cut deeper"):
        assert word in said


POWERED = CutSetup(
    rpm=10_000,
    flutes=3,
    min_rpm=5_500,
    max_rpm=13_500,
    width_mm=6.0,
    diameter_mm=6.0,
    depth_mm=2.0,
    feed_mm_min=900.0,
    material="7075",
)


@pytest.mark.parametrize("power_w", [50.0, 200.0, 350.0, 5000.0])
def test_no_speed_is_suggested_that_the_spindle_cannot_drive(power_w):
    setup = replace(POWERED, spindle_power_w=power_w)
    advice = advise(analysis_of("chatter", chatter_hz=632.1, rpm=10_000.0, flutes=3), setup=setup)
    # By hand: 2 x 6 mm at the feed; 7075 needs 880 N/mm2 or more at these thin chips (published table), so
    # 900 mm/min take at least 10,800 mm3/min x 880 N/mm2 / 60,000 = 158 W, in proportion to the feed.
    for speed in advice.speeds:
        least_w = 2 * 6 * speed.feed_mm_min * 880 / 60_000
        assert least_w <= power_w
    if power_w in (50.0, 5000.0):  # half of the slowest speed's need, and ten times the fastest's
        assert bool(advice.speeds) == (power_w == 5000.0)


def test_cautions_name_a_long_stick_out_and_a_chip_too_thick():
    setup = replace(POWERED, stick_out_mm=30.0, feed_mm_min=9_000.0)  # five diameters; 0.3 mm a tooth
    said = " ".join(
        advise(analysis_of("chatter", chatter_hz=632.1, rpm=10_000.0, flutes=3), setup=setup).cautions
    )
    assert "stick" in said.lower()
    assert "Each tooth would take 0.3 mm" in said
