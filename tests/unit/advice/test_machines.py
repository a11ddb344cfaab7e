from dataclasses import replace

import numpy as np
import pytest

from chatter.advice import EarlierCut, HeardCut, advise, draw_machines, find_stable
from chatter.advice.machines import ChatterLine, draw_limit_share
from chatter.advice.shapes import modes_of_humps, modes_of_taps
from chatter.model import CutAnalysis, CutSetup, JudgedCut, Line, RampOnset, Spindle
from chatter.model.tap import Tap, TapMode

# A 600 Hz mode along both axes, damping 0.03, stiffness 2e6 N/m, three flutes, slot, 700 MPa: in a slot at
# 10,000 rpm it chatters at 632.1 Hz from 0.317 mm. Exact limits by Chebyshev collocation, computed
# independently of this project (mm at rpm):
EXACT_MM = {8000: 0.1146, 9000: 0.1636, 11_000: 0.6906, 12_000: 1.248}
SETUP = CutSetup(
    rpm=10_000, flutes=3, min_rpm=5_500, max_rpm=13_500, width_mm=6.0, diameter_mm=6.0, depth_mm=0.5
)
PRESENT = HeardCut(
    rpm=10_000.0,
    depth_share=1.0,
    chatter_probability=0.99,
    lines=(ChatterLine(frequency_hz=632.1, level_db=0.0),),
)


def tap(hz=600.0, damping=0.03):
    mode = TapMode(
        frequency_hz=hz,
        frequency_sd_hz=1.0,
        damping_ratio=damping,
        damping_ratio_sd=0.002,
        damping_bound="none",
        decay_time_s=None,
        level_db=0.0,
    )
    return Tap(file="tap.json", of="tool", modes=(mode,))


def analysis_of(verdict, *, rpm, chatter_hz=None, probability=0.02):
    cut = JudgedCut(
        start_s=1.0,
        end_s=3.0,
        measured_rpm=rpm,
        measured_rpm_sd=0.1,
        verdict=verdict,
        chatter_probability=probability,
        chatter_hz=chatter_hz,
        onset_s=None,
        lines=(),
    )
    spindle = Spindle(programmed_rpm=rpm, flutes=3, measured_rpm=rpm, measured_rpm_sd=0.1)
    return CutAnalysis(spindle=spindle, channel=0, cuts=(cut,), cut_index=0, findings=())


def stable_at(machines, rpm):
    grid = np.geomspace(5_500, 13_500, 301)
    return float(np.interp(rpm, grid, find_stable(machines, speeds_rpm=grid, flutes=3).mean(axis=0)))


def test_natural_frequency_behind_slot_chatter_is_found():
    machines = draw_machines((PRESENT,), setup=SETUP)
    # 600 Hz by construction; half the machines within the spread that unknown damping leaves (6 % of 600 Hz).
    assert np.median(machines.natural_hz) == pytest.approx(600.0, rel=0.05)


def test_tap_narrows_what_rings_and_makes_the_right_speed_surer():
    blind = draw_machines((PRESENT,), setup=SETUP)
    tapped = draw_machines((PRESENT,), setup=SETUP, known=modes_of_taps((tap(),)))
    # 17 of 20 machines believe the tap, within 1.4 %; the rest spread as without it: a little over half.
    assert np.std(np.log(tapped.natural_hz)) < 0.65 * np.std(np.log(blind.natural_hz))
    # 12,000 rpm, the lobe of 600 Hz, is stable to 1.248 mm, 8,000 rpm only to 0.115 mm; the depth is 0.5 mm.
    assert stable_at(tapped, 12_000) > stable_at(blind, 12_000) + 0.2
    assert stable_at(tapped, 12_000) > 0.7
    assert stable_at(tapped, 8_000) < 0.1


def test_tap_of_a_stable_cut_says_where_it_stays_stable():
    quiet = replace(PRESENT, rpm=12_000.0, chatter_probability=0.02, lines=())
    assert draw_machines((quiet,), setup=SETUP) is None  # nothing heard says where the modes lie
    machines = draw_machines((quiet,), setup=SETUP, known=modes_of_taps((tap(),)))
    # Stable at its own speed in nearly every machine; at 9,000 rpm the limit is an eighth of that at 12,000.
    assert stable_at(machines, 12_000) > 0.85
    assert stable_at(machines, 9_000) < stable_at(machines, 12_000) - 0.2


@pytest.mark.parametrize(("depth_mm", "probability", "sign"), [(0.5, 0.02, 1), (0.8, 0.98, -1)])
def test_earlier_cut_moves_the_probability_toward_its_verdict(depth_mm, probability, sign):
    # 11,000 rpm is stable to 0.691 mm by the exact limits above.
    assert (EXACT_MM[11_000] > depth_mm) == (sign > 0)
    share = depth_mm / SETUP.depth_mm
    heard = HeardCut(rpm=11_000.0, depth_share=share, chatter_probability=probability, lines=())
    alone = stable_at(draw_machines((PRESENT,), setup=SETUP), 11_000)
    both = stable_at(draw_machines((PRESENT, heard), setup=SETUP), 11_000)
    assert sign * (both - alone) > 0.05


def test_earlier_cuts_reach_the_advice_only_where_the_depth_is_known():
    present = analysis_of("chatter", rpm=10_000.0, chatter_hz=632.1, probability=0.99)
    earlier = (EarlierCut(analysis=analysis_of("stable", rpm=11_000.0), depth_mm=0.6),)
    blind = replace(SETUP, depth_mm=None)
    assert advise(present, setup=blind, earlier=earlier) == advise(present, setup=blind)
    assert advise(present, setup=SETUP, earlier=earlier).speeds != advise(present, setup=SETUP).speeds


@pytest.mark.parametrize(
    ("verdict", "probability", "most"),
    [("chatter", 0.96, 0.91), ("marginal", 0.5, 1.0), ("stable", 0.24, 1.0), ("stable", 0.02, None)],
)
def test_no_history_makes_a_cut_that_chattered_bear_more(verdict, probability, most):
    # At 10,000 rpm the slot chattered at four times the depth; at 12,000 rpm it was stable at eight times.
    present = analysis_of(verdict, rpm=12_000.0, chatter_hz=640.0, probability=probability)
    earlier = (
        EarlierCut(
            analysis=analysis_of("chatter", rpm=10_000.0, chatter_hz=632.1, probability=0.99), depth_mm=2.0
        ),
        *3 * (EarlierCut(analysis=analysis_of("stable", rpm=12_000.0, probability=0.01), depth_mm=4.0),),
    )
    factor = advise(present, setup=replace(SETUP, rpm=12_000, depth_mm=0.5), earlier=earlier).depth_factor
    assert factor > 1 if most is None else factor <= most


def test_chatter_of_an_earlier_cut_places_the_modes_of_a_stable_one():
    quiet = HeardCut(rpm=12_000.0, depth_share=1.0, chatter_probability=0.02, lines=())
    machines = draw_machines((quiet, PRESENT), setup=SETUP)
    assert np.median(machines.natural_hz) == pytest.approx(600.0, rel=0.05)
    assert stable_at(machines, 12_000) > stable_at(draw_machines((PRESENT,), setup=SETUP), 12_000)


# Two machines that one cut can't tell apart, alike along both axes: damping 0.03, stiffness 2e6 N/m, three
# flutes, slot, 0.5 mm, 700 MPa, radial force 0.3 of the tangential one. By semi-discretization both sing at
# 645 and 1145 Hz at 10,000 rpm, the one of 600 Hz beside the first, that of 1072 Hz beside the second.
AMBIGUOUS_HZ = (644.8, 1144.8)


def singing(rpm, *lines_hz):
    lines = tuple(ChatterLine(frequency_hz=hz, level_db=0.0) for hz in lines_hz)
    return HeardCut(rpm=rpm, depth_share=1.0, chatter_probability=0.98, lines=lines)


@pytest.mark.parametrize(
    ("natural_hz", "lines_hz", "least"),
    # At 7,000 rpm, by the same method; teeth pass at 350 Hz.
    [(600.0, (597.5, 947.5), 0.7), (1072.0, (1143.2, 793.2), 0.7)],
)
def test_frequency_of_a_second_cut_tells_machines_apart_that_the_first_can_not(natural_hz, lines_hz, least):
    first, second = singing(10_000.0, *AMBIGUOUS_HZ), singing(7_000.0, *lines_hz)

    def near(*cuts):
        machines = draw_machines(cuts, setup=SETUP)
        return float(np.mean(np.abs(np.log(machines.natural_hz / natural_hz)) < 0.12))

    assert near(first) < 0.65  # both are likely; else the case shows nothing
    assert near(first, second) > max(least, near(first) + 0.1)
    assert near(second, first) == pytest.approx(near(first, second), abs=1e-12)


def test_surest_chatter_that_no_other_cut_bears_out_does_not_decide_alone():
    odd = replace(singing(9_000.0, 1500.0), chatter_probability=0.999)  # a line of another machine, say
    fitting = (singing(10_000.0, 632.1), singing(8_000.0, 617.2), singing(7_000.0, 597.5))
    machines = draw_machines((odd, *fitting), setup=SETUP)
    assert np.median(machines.natural_hz) == pytest.approx(600.0, rel=0.05)


def test_hump_of_the_cut_is_a_mode_known_roughly():
    hump = Line(frequency_hz=610.0, width_hz=40.0, level_db=-50.0, kind="resonance", order=None)
    line = Line(frequency_hz=632.0, width_hz=None, level_db=-40.0, kind="chatter", order=None)
    (known,) = modes_of_humps((hump, line))
    # Half-power width over twice the frequency, any text on vibration: 40 / 1220.
    assert known.damping_ratio == pytest.approx(0.0328, abs=1e-4)
    assert known.spread > modes_of_taps((tap(),))[0].spread
    blind = draw_machines((PRESENT,), setup=SETUP)
    told = draw_machines((PRESENT,), setup=SETUP, known=(known,))
    assert np.std(np.log(told.natural_hz)) < np.std(np.log(blind.natural_hz))


@pytest.mark.parametrize(("probability", "low", "high"), [(1.0, 0.28, 0.92), (0.0, 1.0, 11.0)])
def test_limit_by_the_verdict_alone_lies_on_the_side_of_the_verdict(probability, low, high):
    share = draw_limit_share(replace(PRESENT, chatter_probability=probability))
    assert share.min() >= low
    assert share.max() <= high


def test_stable_cut_may_go_a_little_deeper_but_never_beyond_what_the_user_dares():
    quiet = analysis_of("stable", rpm=12_000.0)
    free = advise(quiet, setup=replace(SETUP, rpm=12_000))
    assert free.action == "keep"
    assert 1.0 <= free.depth_factor < 1.5
    held = advise(quiet, setup=replace(SETUP, rpm=12_000, max_depth_mm=0.5))
    assert held.depth_factor == 1.0
    short = advise(quiet, setup=replace(SETUP, rpm=12_000, stick_out_mm=0.50025))
    assert short.depth_factor == 1.0  # 1.0005 rounded up would be past the holder


def test_depth_that_a_ramp_told_is_taken_for_the_limit():
    ramp = RampOnset(depth_mm=0.32, depth_sd_mm=0.03, time_s=4.0, chatter_hz=632.1)
    told = replace(analysis_of("chatter", rpm=10_000.0, chatter_hz=632.1, probability=0.99), ramp=ramp)
    setup = replace(SETUP, depth_mm=None, depth_from_mm=0.1, depth_to_mm=0.8)
    # Nine in ten of a normal spread lie above the middle less 1.28 deviations: (0.32 - 0.0384) / 0.8.
    assert advise(told, setup=setup).depth_factor == pytest.approx(0.352, abs=0.01)


def test_same_cuts_give_the_same_machines():
    one, two = (draw_machines((PRESENT,), setup=SETUP) for _ in range(2))
    assert np.array_equal(one.natural_hz, two.natural_hz)
    assert np.array_equal(one.depth_share, two.depth_share)
