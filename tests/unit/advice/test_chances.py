"""Chances over speed and depth: what was heard at a speed counts more than any machine."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from chatter.advice.chances import draw_history, grid_chances
from chatter.advice.heard import MadeCut
from chatter.advice.machines import ChatterLine
from chatter.advice.shapes import KnownMode, known_modes
from chatter.model import CutSetup, Line

SETUP = CutSetup(rpm=10_000, flutes=3, min_rpm=5_500, max_rpm=13_500, width_mm=6.0, diameter_mm=6.0)
LINES = (ChatterLine(frequency_hz=632.1, level_db=0.0),)
DEPTHS_MM = np.array([0.1, 0.3, 0.6, 0.9, 1.2, 2.0, 3.0])
SPEEDS_RPM = np.array([9_800.0, 9_905.0, 10_000.0, 10_150.0, 10_300.0, 12_000.0])


def made(rpm, depth_mm, verdict="stable", *, chance):
    lines = LINES if verdict == "chatter" else ()
    return MadeCut(
        rpm=float(rpm),
        set_rpm=float(rpm),
        depth_mm=depth_mm,
        verdict=verdict,
        chatter_probability=chance,
        lines=lines,
    )


FIRST = made(12_000, 2.0, "chatter", chance=0.97)


def chances(*cuts):
    """Give the chances with and without heeding what was heard at each speed."""
    machines = draw_history(cuts, setup=SETUP)
    given = {
        "last_depth_mm": cuts[-1].depth_mm,
        "speeds_rpm": SPEEDS_RPM,
        "depths_mm": DEPTHS_MM,
        "flutes": 3,
    }
    heeded = grid_chances(machines, cuts=cuts, **given).stable_probability
    alone = grid_chances(machines, cuts=(), **given).stable_probability
    assert (np.diff(heeded, axis=0) <= 1e-12).all()  # what chatters chatters deeper
    assert ((heeded >= 0) & (heeded <= 1)).all()
    return heeded, alone


def test_setting_heard_stable_is_stable_with_the_chance_heard_and_so_is_all_above_it():
    heeded, alone = chances(FIRST, made(10_000, 0.9, chance=0.01))
    assert (alone[3, :3] < 0.99).all()  # else the case shows nothing
    assert heeded[:4, 1:3] == pytest.approx(np.maximum(0.99, alone[:4, 1:3]))  # within 1 %
    assert heeded[4:, :5] == pytest.approx(alone[4:, :5])  # nothing deeper is promised
    assert (heeded[:4, 4] == alone[:4, 4]).all()  # 3 % away
    between = (heeded[3, 3] - alone[3, 3]) / (0.99 - alone[3, 3])  # 1.5 % away: half as much
    assert between == pytest.approx(0.5, abs=0.01)


def test_from_a_depth_that_chattered_on_no_more_is_likely_than_was_heard():
    heeded, alone = chances(FIRST, made(10_000, 0.3, "chatter", chance=0.98))
    assert (heeded[1:, 2] <= 0.02 + 1e-9).all()
    assert heeded[0] == pytest.approx(alone[0])


def test_stable_cut_below_one_that_chattered_promises_nothing():
    shallow, deep = made(10_000, 0.6, "chatter", chance=0.98), made(10_000, 2.0, chance=0.01)
    heeded, alone = chances(FIRST, shallow, deep)
    assert (heeded[2:, 2] <= 0.02 + 1e-9).all()
    assert heeded[:2, 2] == pytest.approx(alone[:2, 2])


def test_cut_at_a_speed_outweighs_one_that_only_lies_near():
    # 1.5 % apart: each has its own say where it was made.
    heeded, _ = chances(FIRST, made(10_000, 1.2, chance=0.01), made(10_150, 0.6, "chatter", chance=0.98))
    assert heeded[4, 2] == pytest.approx(0.99)
    assert heeded[4, 3] <= 0.02 + 1e-9


def test_of_two_recordings_of_one_setting_the_worse_counts():
    heeded, alone = chances(FIRST, made(10_000, 0.9, chance=0.01), made(10_000, 0.9, chance=0.15))
    assert heeded[3, 2] == pytest.approx(max(0.85, alone[3, 2]))


def test_stable_cut_counts_more_than_a_ramp_that_may_have_begun_to_chatter_deeper():
    ramp = replace(made(10_000, 0.6, "chatter", chance=0.98), depth_sd_mm=0.15, surely_from_mm=0.9)
    heeded, _ = chances(FIRST, ramp, made(10_000, 0.7, chance=0.01))
    assert heeded[2, 2] >= 0.99  # 0.6 mm
    assert (heeded[3:, 2] <= 0.02 + 1e-9).all()
    spoilt, _ = chances(FIRST, ramp, made(10_000, 0.9, chance=0.01))
    assert (spoilt[2:, 2] <= 0.02 + 1e-9).all()


TAPPED = KnownMode(
    frequency_hz=600.0,
    spread=0.01,
    damping_ratio=0.03,
    damping_spread=0.1,
    damping_is_bound=False,
    weight=1.0,
    believed=0.85,
)
SUNG = (
    made(10_000, 0.5, "chatter", chance=0.98),
    replace(made(7_000, 0.8, "chatter", chance=0.98), lines=(ChatterLine(frequency_hz=597.5, level_db=0.0),)),
    replace(made(9_000, 0.5, "chatter", chance=0.98), lines=()),
    made(12_000, 0.6, chance=0.02),
)
QUIET = (made(10_000, 0.1, chance=0.02), made(12_000, 0.9, chance=0.02), made(8_000, 0.1, chance=0.02))


@pytest.mark.parametrize(("cuts", "known"), [(SUNG, ()), (SUNG, (TAPPED,)), (QUIET, (TAPPED,))])
def test_order_in_which_cuts_were_filed_does_not_move_a_chance(cuts, known):
    def chance(order):
        machines = draw_history(order, setup=SETUP, known=known)
        given = {"speeds_rpm": SPEEDS_RPM, "depths_mm": DEPTHS_MM, "flutes": 3, "cuts": order}
        return grid_chances(machines, last_depth_mm=order[-1].depth_mm, **given).stable_probability

    asfiled = chance(cuts)
    assert ((asfiled > 0.05) & (asfiled < 0.95)).any()  # else the case shows nothing
    for order in (*list(permutations(cuts))[5::6], cuts[::-1]):
        # The same draws, to rounding: one machine of 500 would move a chance by 0.002.
        assert chance(order) == pytest.approx(asfiled, abs=1e-9)


def test_order_in_which_cuts_were_filed_does_not_move_the_humps_heard_in_them():
    def hump(hz, level_db):
        return Line(frequency_hz=hz, width_hz=40.0, level_db=level_db, kind="resonance", order=None)

    first, second = hump(610.0, -50.0), hump(900.0, -40.0)
    assert known_modes((), lines=(first, second)) == known_modes((), lines=(second, first))
