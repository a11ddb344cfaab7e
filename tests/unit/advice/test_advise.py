import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chatter.advice import advise
from chatter.advice.words import caution_jump
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


@pytest.mark.parametrize(("tool_max_rpm", "told"), [(9_000, "9,000"), (12_000, "12,000"), (18_000, None)])
def test_range_that_the_tool_ends_is_not_put_down_to_an_unknown_spindle(tool_max_rpm, told):
    setup = CutSetup(rpm=12_000, flutes=2, tool_max_rpm=tool_max_rpm)
    cautions = advise(analysis_of("chatter", chatter_hz=913.0), setup=setup).cautions
    spindle = [text for text in cautions if "spindle's fastest speed isn't known" in text]
    tool = [text for text in cautions if text.startswith("Nothing above")]
    if told is None:  # the tool could go faster than what was dialled
        assert (len(spindle), tool) == (1, [])
    else:
        said = f"Nothing above {told} rpm is suggested: the tool may turn no faster."
        assert (spindle, tool) == ([], [said])


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
    assert advice.speeds == ()
    assert advice.action == "change speed"  # the one dialled is more than the tool may turn
    assert advice.urgent == advice.cautions[:1]
    assert advice.urgent[0].startswith("Use another tool: this one may turn 7,000 rpm")


@pytest.mark.parametrize(
    ("limits", "verdict", "action", "said"),
    [
        ({"tool_max_rpm": 6_000}, "stable", "change speed", "First lower the speed to 6,000 rpm or less"),
        ({"tool_max_rpm": 6_000}, "chatter", "change speed", "First lower the speed to 6,000 rpm or less"),
        ({"tool_max_rpm": 6_000}, "undecided", "record again", "First lower the speed to 6,000 rpm or less"),
        ({"tool_max_rpm": 6_000, "max_rpm": 5_000}, "stable", "change speed", "speed to 5,000 rpm or less"),
        (
            {"max_rpm": 6_000},
            "stable",
            "change speed",
            "more than the spindle's fastest speed as told",
        ),
        ({"min_rpm": 8_000}, "stable", "keep", "less than the spindle's slowest speed as told (8,000 rpm)"),
        ({"min_rpm": 8_000, "max_rpm": 9_000}, "chatter", None, "less than the spindle's slowest speed"),
    ],
)
def test_dialled_speed_outside_what_was_told_is_the_first_caution(limits, verdict, action, said):
    setup = CutSetup(rpm=7_000, flutes=2, **limits)
    advice = advise(analysis_of(verdict, chatter_hz=930.0, rpm=7_000.0), setup=setup)
    assert action in (None, advice.action)
    assert said in advice.cautions[0]
    assert advice.urgent == advice.cautions[: len(advice.urgent)] != ()
    assert set(advice.urgent).isdisjoint(advice.further_cautions)


def test_cut_inside_every_limit_has_nothing_urgent():
    setup = CutSetup(rpm=7_000, flutes=2, min_rpm=7_000, max_rpm=7_000, tool_max_rpm=7_000)
    for verdict in ("stable", "chatter", "undecided"):
        assert advise(analysis_of(verdict, chatter_hz=930.0, rpm=7_000.0), setup=setup).urgent == ()


@pytest.mark.parametrize("verdict", ["stable", "undecided", "chatter"])
def test_power_far_short_and_a_chip_that_breaks_the_tool_are_told_first(verdict):
    # By hand: 9,000 mm/min over 3 teeth at 10,000 rpm is 0.3 mm a tooth, six times what is usual; 12 mm2 of
    # cut take 108,000 mm3/min, at 810 N/mm2 or more 1,458 W, several times the 200 W told.
    setup = replace(POWERED, feed_mm_min=9_000.0, spindle_power_w=200.0)
    advice = advise(analysis_of(verdict, chatter_hz=632.1, rpm=10_000.0, flutes=3), setup=setup)
    assert "check the numbers you told, and take less depth, width or feed" in advice.urgent[0]
    assert "Each tooth would take 0.3 mm" in advice.urgent[1]
    assert advice.cautions[:2] == advice.urgent


SLOT = CutSetup(
    rpm=10_000,
    flutes=2,
    min_rpm=3_000,
    max_rpm=24_000,
    depth_mm=1.0,
    width_mm=6.0,
    feed_mm_min=2_000.0,
    material="mild steel",
)


@pytest.mark.parametrize("verdict", ["stable", "undecided", "chatter"])
def test_present_cut_beyond_the_power_is_told_first_whatever_was_heard(verdict):
    # 2,000 mm/min * 1 mm * 6 mm at 2,200 N/mm2 (printed for 0.1 mm a tooth), a fifth lost: 550 W.
    setup = replace(SLOT, spindle_power_w=300.0)
    advice = advise(analysis_of(verdict, chatter_hz=500.0, rpm=10_000.0), setup=setup)
    said = "The present cut, at 10,000 rpm and 2,000 mm/min, needs about 550 W"
    assert advice.urgent[0].startswith(said)
    assert "more than the spindle's 300 W: take less depth, width or feed" in advice.urgent[0]
    assert sum("550 W" in one for one in advice.cautions) == 1


@pytest.mark.parametrize(
    ("power_w", "told"),
    [
        # 550 W at 10,000 rpm, in proportion to the speed: 300 W drive 5,454 rpm; 100 W not even 3,000.
        (300.0, "Nothing above 5,454 rpm is suggested: at this depth and width, fed to keep the chip load"),
        (
            100.0,
            "No other speed is suggested: at this depth and width, fed to keep the chip load, even 3,000",
        ),
        (1_321.0, None),  # 24,000 rpm need 1,320 W
    ],
)
def test_speeds_left_out_for_lack_of_power_are_told(power_w, told):
    setup = replace(SLOT, spindle_power_w=power_w)
    advice = advise(analysis_of("chatter", chatter_hz=500.0, rpm=10_000.0), setup=setup)
    said = [one for one in advice.cautions if "suggested: at this depth" in one]
    assert len(said) == (told is not None)
    assert all(one.startswith(told) and f"spindle's {power_w:,.0f} W" in one for one in said)
    assert all(speed.set_rpm <= 10_000 * power_w / 550 for speed in advice.speeds)


def test_range_that_the_power_ends_is_not_put_down_to_an_unknown_spindle():
    setup = replace(SLOT, max_rpm=None, spindle_power_w=300.0)
    cautions = advise(analysis_of("chatter", chatter_hz=500.0, rpm=10_000.0), setup=setup).cautions
    assert [one[:24] for one in cautions if "suggested" in one] == ["Nothing above 5,454 rpm "]


@pytest.mark.parametrize("rpm", [10_000.0, 9_000.0])
def test_edge_far_above_the_usual_is_told_before_a_cut_is_kept(rpm):
    # Mild steel: carbide to 121.92 m/min; one and a half times that is 9,702 rpm at 6 mm.
    setup = replace(SLOT, rpm=rpm, diameter_mm=6.0, feed_mm_min=None)
    advice = advise(analysis_of("stable", rpm=rpm), setup=setup)
    (said,) = [one for one in advice.cautions if "carbide usually cuts" in one]
    assert said.startswith(f"At the present {rpm:,.0f} rpm the edge moves at")
    assert (said in advice.urgent) == (rpm == 10_000)


@pytest.mark.parametrize(
    ("verdict", "limits", "action"),
    [
        ("stable", {}, "reduce depth"),
        ("stable", {"tool_max_rpm": 6_000}, "change speed"),
        ("chatter", {}, None),
        ("undecided", {}, "record again"),
    ],
)
def test_depth_above_the_largest_that_was_told_is_not_kept(verdict, limits, action):
    setup = CutSetup(rpm=7_000, flutes=2, depth_mm=1.5, max_depth_mm=1.0, **limits)
    advice = advise(analysis_of(verdict, chatter_hz=930.0, rpm=7_000.0), setup=setup)
    assert action in (None, advice.action)
    (said,) = [one for one in advice.urgent if "largest depth" in one]
    assert said.startswith("The present depth, 1.5 mm, is more than the largest depth that you told (1 mm)")
    inside = advise(analysis_of(verdict, rpm=7_000.0), setup=replace(setup, depth_mm=1.0))
    assert not any("largest depth" in one for one in inside.cautions)


FAR = CutSetup(
    rpm=3_000, flutes=2, min_rpm=3_000, max_rpm=24_000, width_mm=3.0, feed_mm_min=400.0, diameter_mm=6.0
)


def far_cautions(setup):
    return advise(analysis_of("chatter", chatter_hz=500.0, rpm=3_000.0), setup=setup).cautions


def test_speed_many_times_the_present_one_asks_whether_the_machine_feeds_so_fast():
    advice = advise(analysis_of("chatter", chatter_hz=500.0, rpm=3_000.0), setup=FAR)
    fastest = max(speed.set_rpm for speed in advice.speeds)
    assert fastest > 6_000  # else the case shows nothing
    # At the same chip load the feed goes with the speed: 400 mm/min at 3,000 rpm.
    told = f"{400 * fastest / 3_000:,.0f} mm/min is {fastest / 3_000:.1f} times the present feed"
    assert any(told in one and "can feed that fast" in one for one in advice.cautions)
    # pi * 6 mm * rpm
    edge = f"at {3.14159 * 0.006 * fastest:,.0f} m/min, and whether the tool stands that"
    assert any(edge in one for one in advice.cautions)  # no material was told


def test_speed_near_the_present_one_asks_for_no_feed():
    assert not any("can feed that fast" in one for one in far_cautions(replace(FAR, max_rpm=6_000)))


def test_edge_faster_than_the_materials_table_is_told_of_any_suggested_speed():
    # Mild steel: carbide to 121.92 m/min, which is 6,468 rpm at 6 mm; high-speed steel to 27.43 m/min.
    advice = advise(
        analysis_of("chatter", chatter_hz=500.0, rpm=1_400.0),
        setup=replace(FAR, rpm=1_400, min_rpm=1_400, material="mild steel"),
    )
    assert max(speed.set_rpm for speed in advice.speeds) > 6_468
    said = " ".join(advice.cautions)
    assert "carbide usually cuts mild steel at 30 to 122 m/min: so far above it" in said
    assert "If the tool is high-speed steel, stay below 27 m/min" in said  # 1,400 rpm is 26.4 m/min
    assert "whether the tool stands that" not in said


@pytest.mark.parametrize("verdict", ["chatter", "stable", "undecided"])
@pytest.mark.parametrize(
    ("rpm", "told"),
    [
        (3_000.0, True),  # 57 m/min
        (1_400.0, False),  # 26.4 m/min, below the 27.43 of high-speed steel in mild steel
    ],
)
def test_present_speed_above_that_of_hss_is_told_whatever_the_verdict(verdict, rpm, told):
    setup = replace(FAR, rpm=rpm, min_rpm=700, max_rpm=rpm, material="mild steel")
    advice = advise(analysis_of(verdict, chatter_hz=500.0, rpm=rpm), setup=setup)
    asked = [one for one in advice.cautions if "If the tool is high-speed steel" in one]
    assert len(asked) == told


def test_speed_above_that_of_hss_is_told_where_it_is_left_for_a_slower_one():
    setup = replace(FAR, rpm=3_000, min_rpm=700, max_rpm=1_400, material="mild steel")
    advice = advise(analysis_of("chatter", chatter_hz=500.0, rpm=3_000.0), setup=setup)
    assert advice.speeds
    assert any("at the present 3,000 rpm (57 m/min) it burns" in one for one in advice.cautions)


@pytest.mark.parametrize("width_mm", [1.0, 3.0, 6.0])
@pytest.mark.parametrize("chatter_hz", [480.0, 632.1, 913.4, 1_400.0])
def test_speed_to_dial_lies_inside_its_window_and_is_no_odd_number(chatter_hz, width_mm):
    setup = CutSetup(rpm=12_000, flutes=2, min_rpm=8_000, max_rpm=24_000, width_mm=width_mm, diameter_mm=6.0)
    for speed in advise(analysis_of("chatter", chatter_hz=chatter_hz, measured=11_850.0), setup=setup).speeds:
        # Half a percent of the speed, less 10 rpm of rounding, where the window is wide enough.
        room = min(0.005 * speed.rpm, (speed.high_rpm - speed.low_rpm) / 2) - 10
        assert min(speed.rpm - speed.low_rpm, speed.high_rpm - speed.rpm) >= max(room, 1)
        assert speed.set_rpm % 10 == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("slip", [1.0, 0.98])
def test_speed_to_dial_is_one_that_a_hand_dials_where_the_window_is_wide(slip):
    analysis = analysis_of("chatter", chatter_hz=500.0, rpm=3_000.0, measured=3_000.0 * slip)
    wide = [(speed, (speed.high_rpm - speed.low_rpm) / slip) for speed in advise(analysis, setup=FAR).speeds]
    assert any(width >= 500 for _, width in wide)
    for speed, width in wide:
        if width >= 500:
            assert speed.set_rpm % 50 == pytest.approx(0, abs=1e-6)
        elif width >= 100:
            assert speed.set_rpm % 10 == pytest.approx(0, abs=1e-6)


def test_chance_of_a_speed_is_one_number_in_the_document_and_in_its_words():
    for chatter_hz in (480.0, 500.0, 520.0, 632.1, 930.0):
        advice = advise(analysis_of("chatter", chatter_hz=chatter_hz, rpm=3_000.0), setup=FAR)
        for speed in advice.speeds:
            assert f"stable at this depth in {round(100 * speed.stable_probability)} of 100" in speed.why


def test_frequency_in_the_reason_has_its_thousands_comma():
    setup = CutSetup(rpm=20_000, flutes=2, max_rpm=24_000)
    advice = advise(analysis_of("chatter", chatter_hz=3_300.0, rpm=20_000.0), setup=setup)
    assert re.search(r"near \d,\d{3} Hz", advice.speeds[0].why)


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
        assert speed.set_rpm >= (
            setup.min_rpm or min(rpm, setup.max_rpm or rpm, setup.tool_max_rpm or rpm) / 2
        )
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


@pytest.mark.parametrize("verdict", ["chatter", "stable"])
def test_depth_that_the_power_drives_is_in_proportion_and_leaves_the_depth_factor(verdict):
    analysis = analysis_of(verdict, chatter_hz=632.1, rpm=10_000.0, flutes=3)
    free, held = (advise(analysis, setup=replace(POWERED, spindle_power_w=w)) for w in (None, 50.0))
    assert free.power_depth_mm is None
    assert held.depth_factor == free.depth_factor
    # By hand: 10,800 mm3/min at 2 mm; 0.03 mm a tooth lies between the table's 1316 N/mm2 at 0.02 mm and 1047
    # at 0.05 mm; a fifth is lost in the spindle. 50 W drive 50 * 0.8 * 60,000 / (5,400 * pressure) mm.
    low, high = (50 * 0.8 * 60_000 / (5_400 * pressure) for pressure in (1316, 1047))
    assert low <= held.power_depth_mm <= high


def test_chip_load_that_may_break_the_tool_is_given_no_feed_that_keeps_it():
    # 1/4 in in 7075: 0.002 in is usual, 0.0508 mm; here 0.3 mm a tooth.
    setup = replace(POWERED, diameter_mm=6.35, width_mm=6.35, feed_mm_min=9_000.0)
    advice = advise(analysis_of("chatter", chatter_hz=632.1, rpm=10_000.0, flutes=3), setup=setup)
    assert advice.speeds
    assert all(speed.feed_mm_min is None for speed in advice.speeds)
    first_rpm = advice.speeds[0].set_rpm
    assert "the tool may break; feed slower" in advice.urgent[0]
    assert f"at {first_rpm:,.0f} rpm up to {0.0508 * 3 * first_rpm:,.0f} mm/min is usual" in advice.urgent[1]
    usual = advise(
        analysis_of("chatter", chatter_hz=632.1, rpm=10_000.0, flutes=3),
        setup=replace(setup, feed_mm_min=900),
    )
    assert usual.urgent == ()
    assert usual.speeds[0].feed_mm_min == pytest.approx(900 * usual.speeds[0].set_rpm / 10_000)


def test_feed_that_may_break_the_tool_is_not_said_to_go_up_with_the_speed():
    far = replace(FAR, material="7075", feed_mm_min=3_000.0)  # 0.5 mm a tooth
    assert not any("can feed that fast" in one for one in far_cautions(far))


def test_cautions_name_a_long_stick_out_and_a_chip_too_thick():
    setup = replace(POWERED, stick_out_mm=30.0, feed_mm_min=9_000.0)  # five diameters; 0.3 mm a tooth
    said = " ".join(
        advise(analysis_of("chatter", chatter_hz=632.1, rpm=10_000.0, flutes=3), setup=setup).cautions
    )
    assert "stick" in said.lower()
    assert "Each tooth would take 0.3 mm" in said


def test_feed_that_grows_by_more_than_the_speed_is_told_as_it_grows():
    # The chip load of another cut is kept: 60 mm/min now, 480 at the same speed, 960 at twice it.
    last = replace(FAR, rpm=12_000, feed_mm_min=60.0)
    (feed,) = caution_jump(last, set_rpm=24_000.0, feed_mm_min=960.0)
    assert feed.startswith("960 mm/min is 16.0 times the present feed")
    assert caution_jump(last, set_rpm=12_000.0, feed_mm_min=100.0) == ()


@pytest.mark.parametrize("slowest", [60.0, 200.0, 1_500.0])
def test_chance_at_high_speeds_does_not_hang_on_how_slow_the_spindle_can_go(slowest):
    heard = analysis_of("chatter", chatter_hz=900.0, rpm=12_000.0)
    setup = CutSetup(rpm=12_000, flutes=2, min_rpm=6_000, max_rpm=24_000)
    usual, wide = (advise(heard, setup=replace(setup, min_rpm=low)) for low in (6_000.0, slowest))
    best, first = usual.speeds[0], wide.speeds[0]
    assert first.stable_probability == pytest.approx(best.stable_probability, abs=0.03)
    assert first.set_rpm == pytest.approx(best.set_rpm, rel=0.03)  # the grid's steps differ
