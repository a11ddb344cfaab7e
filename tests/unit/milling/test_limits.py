import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chatter.errors import BadValueError
from chatter.milling.kinematics import mean_chip_mm
from chatter.milling.limits import (
    check_burning,
    check_present,
    check_setting,
    feed_at_mm_min,
    feed_to_suggest_mm_min,
    find_speed_range,
    power_needed_w,
    spindle_power_w,
    takes_thick_chips,
)
from chatter.milling.materials import list_materials
from chatter.model import CutSetup


def test_range_told_is_kept_and_cut_by_the_tool():
    limits = find_speed_range(
        CutSetup(rpm=12_000, flutes=2, min_rpm=7_000, max_rpm=24_000, tool_max_rpm=20_000)
    )
    assert (limits.low_rpm, limits.high_rpm, limits.max_is_known) == (7_000, 20_000, True)


def test_range_not_told_stays_between_half_and_all_of_the_dialled_speed():
    limits = find_speed_range(CutSetup(rpm=12_000, flutes=2))
    assert (limits.low_rpm, limits.high_rpm, limits.max_is_known) == (6_000, 12_000, False)


@pytest.mark.parametrize("told", [{"tool_max_rpm": 5_000, "max_rpm": 24_000}, {"max_rpm": 5_000}])
def test_lowest_speed_that_is_only_assumed_gives_way_to_a_slower_maximum(told):
    limits = find_speed_range(CutSetup(rpm=12_000, flutes=2, **told))
    # Half the dialled 12,000 would be above all that is allowed; half of what is allowed is not.
    assert (limits.low_rpm, limits.high_rpm) == (2_500, 5_000)


def test_tool_slower_than_the_spindle_can_go_leaves_no_speed():
    limits = find_speed_range(CutSetup(rpm=12_000, flutes=2, min_rpm=8_000, tool_max_rpm=7_000))
    assert limits.is_empty


def codes(setup, **setting):
    return [concern.code for concern in check_setting(setup, **setting)]


def test_power_of_a_slot_in_mild_steel_matches_hand_arithmetic():
    # 2 flutes, 10,000 rpm, 2000 mm/min: 0.1 mm a tooth, Kc 2200 N/mm² (printed).
    # 2000 * 1 * 6 = 12,000 mm³/min; 12,000 * 2200 / 60,000 / 0.8 = 550 W
    setup = CutSetup(rpm=10_000, flutes=2, material="mild steel", width_mm=6, diameter_mm=6)
    power = power_needed_w(setup, set_rpm=10_000, feed_mm_min=2000, depth_mm=1)
    assert power == pytest.approx(550, rel=1e-9)


def test_power_of_6082_counts_the_thin_chips_of_a_light_cut():
    # 10 mm tool, 1 mm wide, 0.1 mm a tooth: mean chip 0.03108 mm (area over arc); 631 + 13/0.03108 = 1049.3;
    # 1 * 5 * 2000 * 1049.3 / 60,000 / 0.8 = 218.6 W
    setup = CutSetup(rpm=10_000, flutes=2, material="6082", width_mm=1, diameter_mm=10)
    power = power_needed_w(setup, set_rpm=10_000, feed_mm_min=2000, depth_mm=5)
    assert power == pytest.approx(218.6, rel=0.02)  # between its tabled chips the pair is a power law


@pytest.mark.parametrize("missing", ["material", "width_mm", "feed_mm_min", "depth_mm"])
def test_power_is_unknown_without_material_width_feed_or_depth(missing):
    setup = CutSetup(rpm=10_000, flutes=2, material="brass", width_mm=3, diameter_mm=6, spindle_power_w=1)
    setting = {"set_rpm": 10_000, "feed_mm_min": 500, "depth_mm": 1}
    assert power_needed_w(setup, **setting) > 1
    assert "power" in codes(setup, **setting)
    if missing in setting:
        setting[missing] = None
    else:
        setup = replace(setup, **{missing: None})
    assert power_needed_w(setup, **setting) is None
    assert "power" not in codes(setup, **setting)


def test_power_is_unknown_where_only_a_weak_pressure_is():
    setup = CutSetup(rpm=10_000, flutes=2, material="plywood", width_mm=6, diameter_mm=6, spindle_power_w=1)
    assert power_needed_w(setup, set_rpm=10_000, feed_mm_min=9000, depth_mm=9) is None
    assert codes(setup, set_rpm=10_000, feed_mm_min=9000, depth_mm=9) == []


@pytest.mark.parametrize(
    ("power_w", "code"),
    [
        (549, ["power"]),  # 550 W needed by the first table (worked above)
        # By the second 1350 * 0.06366^-0.21 = 2405.5 N/mm², 601.4 W
        (551, ["power-maybe"]),
        (601, ["power-maybe"]),
        (602, ["power-at-speed"]),  # at 10,000 of 24,000 rpm a spindle that holds its torque gives 251 W
        (1321, []),  # 1321 * 10,000 / 24,000 = 550.4 W
    ],
)
def test_power_short_by_one_table_by_another_or_at_speed_is_told_apart(power_w, code):
    setup = CutSetup(
        rpm=10_000, flutes=2, max_rpm=24_000, material="steel", width_mm=6, spindle_power_w=power_w
    )
    assert codes(setup, set_rpm=10_000, feed_mm_min=2000, depth_mm=1) == code


@pytest.mark.parametrize(
    ("feed_mm_min", "code"),
    [
        # 1/4 in in 7075: 0.002 in is 0.0508 mm; a third is 0.0169, twice 0.1016; 2 flutes at 10,000 rpm
        (330, ["chip-thin"]),
        (350, []),
        (2020, []),
        (2040, ["chip-thick"]),
    ],
)
def test_chip_load_far_from_the_usual_is_told(feed_mm_min, code):
    told = CutSetup(rpm=10_000, flutes=2, material="7075", diameter_mm=6.35, feed_mm_min=feed_mm_min)
    assert takes_thick_chips(told) == (code == ["chip-thick"])
    setup = CutSetup(rpm=10_000, flutes=2, material="7075", diameter_mm=6.35)
    found = codes(setup, set_rpm=10_000, feed_mm_min=feed_mm_min, depth_mm=None)
    assert [name for name in found if name.startswith("chip")] == code


@pytest.mark.parametrize(
    ("feed_mm_min", "there", "suggested"),
    [
        (600.0, 1200.0, 1200.0),
        (2400.0, 0.0508 * 2 * 20_000, None),  # 0.12 mm a tooth: more than twice 0.002 in
        (None, None, None),
    ],
)
def test_feed_of_another_speed_keeps_the_chip_load_but_not_one_that_may_break_the_tool(
    feed_mm_min, there, suggested
):
    setup = CutSetup(rpm=10_000, flutes=2, material="7075", diameter_mm=6.35, feed_mm_min=feed_mm_min)
    assert feed_at_mm_min(setup, set_rpm=20_000) == pytest.approx(there)
    assert feed_to_suggest_mm_min(setup, set_rpm=20_000) == suggested


@pytest.mark.parametrize(
    ("set_rpm", "code"),
    [
        # Mild steel, 10 mm: carbide 30.48 to 121.92 m/min is 970 to 3881 rpm, HSS to 27.43 m/min is 873 rpm
        (860, ["speed-low"]),
        (960, ["speed-low", "speed-hss"]),
        (980, ["speed-hss"]),
        (3870, ["speed-hss"]),
        (3890, ["speed-high", "speed-hss"]),
        (5820, ["speed-high", "speed-hss"]),  # one and a half times 121.92 m/min is 5821 rpm
        (5825, ["speed-far", "speed-hss"]),
    ],
)
def test_surface_speed_outside_the_usual_is_told_for_carbide_and_hss(set_rpm, code):
    setup = CutSetup(rpm=2000, flutes=2, material="mild steel", diameter_mm=10)
    assert codes(setup, set_rpm=set_rpm, feed_mm_min=None, depth_mm=None) == code


def test_burning_names_every_speed_at_which_it_does_and_the_present_one():
    # High-speed steel cuts wrought aluminium at up to 800 sfm (materials.toml), 243.84 m/min; with 6 mm
    # that is 12,936 rpm. The other speeds times pi * 6 mm by hand.
    setup = CutSetup(rpm=18_000, flutes=2, diameter_mm=6.0, material="6061")
    (told,) = check_burning(setup, speeds_rpm=(14_100, 12_000, 14_758, 18_000, 14_100), present_rpm=18_000)
    assert told.message == (
        "If the tool is high-speed steel, stay below 244 m/min in wrought aluminium (12,936 rpm): at "
        "14,100 rpm (266 m/min), 14,758 rpm (278 m/min) and the present 18,000 rpm (339 m/min) it burns."
    )
    assert check_burning(setup, speeds_rpm=(12_000,)) == ()


def test_hss_speed_that_is_weak_makes_no_concern():
    # Brass: the only HSS range lost its columns; 300 m/min lies inside carbide's 122 to 457.
    setup = CutSetup(rpm=10_000, flutes=2, material="brass", diameter_mm=10)
    assert codes(setup, set_rpm=9549, feed_mm_min=None, depth_mm=None) == []


@pytest.mark.parametrize(("stick_out_mm", "code"), [(24, []), (25, ["stick-out"])])
def test_stick_out_above_four_diameters_is_told(stick_out_mm, code):
    setup = CutSetup(rpm=10_000, flutes=2, diameter_mm=6, stick_out_mm=stick_out_mm)
    assert codes(setup, set_rpm=10_000, feed_mm_min=None, depth_mm=None) == code


def test_concern_gives_the_numbers_that_it_rests_on():
    setup = CutSetup(
        rpm=10_000, flutes=2, material="mild steel", width_mm=6, diameter_mm=6, spindle_power_w=400
    )
    concern = check_setting(setup, set_rpm=10_000, feed_mm_min=2000, depth_mm=1)[0]
    # 550 W at 10,000 rpm is 9549 * 0.55 / 10,000 = 0.525 N m
    said = ("10,000 rpm", "2,000 mm/min", "550 W", "0.53 N m", "400 W")
    assert all(part in concern.message for part in said)


@pytest.mark.parametrize("power_w", [549, 551, 602])  # the three ways to fall short (worked above)
def test_present_setting_is_told_as_that_and_not_as_one_to_go_to(power_w):
    setup = CutSetup(
        rpm=10_000,
        flutes=2,
        max_rpm=24_000,
        material="steel",
        width_mm=6,
        depth_mm=1,
        feed_mm_min=2000,
        spindle_power_w=power_w,
    )
    (present,) = check_present(setup)
    (tried,) = check_setting(setup, set_rpm=10_000, feed_mm_min=2000, depth_mm=1)
    assert present.code == tried.code
    assert present.message.startswith("The present cut, at 10,000 rpm and 2,000 mm/min, needs about 550 W")
    assert "go there" not in present.message
    assert tried.message.startswith("At 10,000 rpm and 2,000 mm/min this cut needs about 550 W")


def test_power_far_above_the_spindles_asks_whether_the_numbers_are_right():
    setup = CutSetup(
        rpm=10_000, flutes=2, material="mild steel", width_mm=6, diameter_mm=6, spindle_power_w=400
    )
    # 550 W at 1 mm (worked above): 1,100 W at 2 mm are more than twice 400 W.
    once, twice = (
        check_setting(setup, set_rpm=10_000, feed_mm_min=2000, depth_mm=depth)[0].message for depth in (1, 2)
    )
    assert "check the numbers" not in once
    assert "1,100 W" in twice
    assert "check the numbers" in twice


@given(
    material=st.sampled_from([material.name for material in list_materials()]),
    rpm=st.floats(100, 60_000),
    feed=st.floats(1, 20_000),
    depth=st.floats(0.01, 50),
    diameter=st.floats(0.2, 100),
    share=st.floats(0.01, 1),
)
def test_any_setting_gets_whole_sentences_and_a_power_that_grows_with_depth(
    material, rpm, feed, depth, diameter, share
):
    setup = CutSetup(
        rpm=rpm,
        flutes=2,
        max_rpm=rpm,
        material=material,
        diameter_mm=diameter,
        width_mm=diameter * share,
        spindle_power_w=500,
        stick_out_mm=30,
    )
    for concern in check_setting(setup, set_rpm=rpm, feed_mm_min=feed, depth_mm=depth):
        assert concern.message.endswith(".")
        assert "nan" not in concern.message
    once, twice = (
        power_needed_w(setup, set_rpm=rpm, feed_mm_min=feed, depth_mm=d) for d in (depth, 2 * depth)
    )
    if once is None:
        assert material in ("acetal", "acrylic", "wood")
    else:
        assert twice == pytest.approx(2 * once, rel=1e-9)


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_number_that_is_no_setting_is_refused(bad):
    setup = CutSetup(rpm=10_000, flutes=2, material="brass", width_mm=3, diameter_mm=6)
    with pytest.raises(BadValueError, match="depth_mm"):
        power_needed_w(setup, set_rpm=10_000, feed_mm_min=500, depth_mm=bad)
    with pytest.raises(BadValueError, match="efficiency"):
        spindle_power_w(1000, pressure_n_mm2=700, efficiency=bad if bad != math.inf else 1.01)


def test_material_that_is_unknown_is_refused_by_name():
    setup = CutSetup(rpm=10_000, flutes=2, material="cheese", diameter_mm=6)
    with pytest.raises(BadValueError, match="material is 'cheese'"):
        check_setting(setup, set_rpm=10_000, feed_mm_min=None, depth_mm=None)


def test_width_above_the_diameter_is_refused_in_the_mean_chip():
    with pytest.raises(BadValueError, match="width_mm"):
        mean_chip_mm(0.1, width_mm=7, diameter_mm=6)
