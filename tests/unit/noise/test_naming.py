"""Where tones come from."""

import pytest

from chatter.model import Line
from chatter.noise.naming import name_tone


def line(frequency_hz, kind):
    return Line(frequency_hz=frequency_hz, width_hz=None, level_db=-40.0, kind=kind, order=None)


@pytest.mark.parametrize(
    ("frequency_hz", "wanted"),
    # 12,000 rpm, 3 flutes: f_rot = 200 Hz, teeth at 600 Hz and its multiples, by hand.
    [
        (200.0, "spindle"),
        (400.5, "spindle"),
        (600.4, "tooth passing"),
        (1801.0, "tooth passing"),
        (913.4, "other"),
    ],
)
def test_comb_of_a_measured_speed_names_tones(frequency_hz, wanted):
    assert name_tone(frequency_hz, rotation_hz=200.0, measured=True, flutes=3) == wanted


def test_dialled_speed_may_slip_by_three_percent():
    assert name_tone(585.0, rotation_hz=200.0, measured=False, flutes=3) == "tooth passing"
    assert name_tone(585.0, rotation_hz=200.0, measured=True, flutes=3) == "other"


def test_dialled_speed_names_nothing_where_orders_can_not_be_told_apart():
    # 3 % of 6000 Hz is 180 Hz, more than a quarter of the 200 Hz from turn to turn.
    assert name_tone(6000.0, rotation_hz=200.0, measured=False, flutes=3) is None


def test_lines_of_the_cut_decide_first():
    lines = [line(913.4, "chatter"), line(713.4, "chatter sideband"), line(600.0, "tooth passing")]
    for hz, wanted in ((913.0, "chatter"), (714.0, "chatter"), (600.8, "tooth passing"), (1234.0, "other")):
        assert name_tone(hz, rotation_hz=200.0, measured=True, flutes=3, lines=lines) == wanted


def test_background_line_is_no_part_of_the_cut():
    lines = [line(871.0, "background")]
    assert name_tone(871.0, rotation_hz=200.0, measured=True, flutes=3, lines=lines) == "other"


def test_tone_far_below_the_spindle_is_something_else():
    assert name_tone(50.0, rotation_hz=200.0, measured=True, flutes=3) == "other"


# 12,000 rpm, 2 flutes: teeth at 400 Hz, chatter at 913.4 Hz; twice that, and sums with the teeth, by hand.
@pytest.mark.parametrize(
    ("frequency_hz", "wanted"),
    [
        (1826.8, "chatter"),  # 2 * 913.4
        (1313.4, "chatter"),  # 913.4 + 400
        (113.0, "chatter"),  # 913.4 - 2 * 400
        (286.6, "chatter"),  # |913.4 - 3 * 400|
        (1426.8, "chatter"),  # 2 * 913.4 - 400
        (1773.2, "chatter"),  # 9 * 400 - 2 * 913.4
        (1113.4, "other"),  # 913.4 + 200: half of tooth passing, no sum of these
        (1845.0, "other"),
        (800.0, "tooth passing"),
    ],
)
def test_tones_at_sums_of_chatter_and_tooth_passing_are_chatters(frequency_hz, wanted):
    lines = [line(913.4, "chatter"), line(400.0, "tooth passing")]
    assert name_tone(frequency_hz, rotation_hz=200.0, measured=True, flutes=2, lines=lines) == wanted
    idle = [*lines, line(frequency_hz, "background")]
    if wanted == "chatter":  # a fan may sit there, too
        assert name_tone(frequency_hz, rotation_hz=200.0, measured=True, flutes=2, lines=idle) == "other"


def test_fast_spindles_sums_do_not_name_every_high_tone():
    lines = [line(2913.0, "chatter")]
    # 8,000 Hz +- 0.2 % would be 32 Hz wide at each of four sums in 400; a hundredth of 400 is 4 Hz.
    named = [
        name_tone(hz, rotation_hz=400.0, measured=True, flutes=1, lines=lines) for hz in range(8060, 8340, 10)
    ]
    assert named.count("chatter") < 8
