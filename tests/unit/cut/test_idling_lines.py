"""Lines of gears and belts that the load makes louder are no chatter."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.idling_lines import find_idling_lines
from chatter.cut.spectrum import cut_spectra
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, even_speed, recording

TURN_HZ = 99.0
CUT = (2.0, 4.5)
MOTOR = 1.37  # turns of the motor for one of the spindle
BELT = tuple(MOTOR * k for k in (1, 2, 3, 4, 6, 8, 12, 24))  # times the spindle's speed
CHATTER_HZ = 1325.0


def drive(*, louder_db, slower=0.0, orders=BELT, level=0.05):
    """Give the sound of a drive: in the cut louder, and slower by a share."""
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    inside = (t >= CUT[0]) & (t < CUT[1])
    turns = np.cumsum(TURN_HZ * np.where(inside, 1.0, 1 + slower)) / RATE_HZ
    gain = np.where(inside, 1.0, 10 ** (-louder_db / 20))
    return level * gain * sum(np.sin(2 * np.pi * order * turns + order) for order in orders)


def light_cuts(rng, *, fainter_db):
    """Give a chattering cut between two light ones that chatter, too, and a pause beside each."""
    deep = built_cut(rng, chatter_hz=CHATTER_HZ)
    light = built_cut(rng, cuts=((0.6, 1.95), (4.55, 6.4)), chatter_hz=CHATTER_HZ)
    quiet = 0.02 * rng.normal(size=len(deep))
    return deep + (light - quiet) * 10 ** (-fainter_db / 20)


@pytest.mark.parametrize("louder_db", [0.0, 6.0, 12.0, 20.0])
@pytest.mark.parametrize("slower", [0.0, 0.004, 0.012, 0.03])
def test_belt_that_the_load_makes_louder_is_background(rng, louder_db, slower):
    sound = built_cut(rng) + drive(louder_db=louder_db, slower=slower)
    (cut,) = judge_recording(recording(sound), setup=SETUP).cuts
    assert (cut.verdict, cut.chatter_probability < 0.2) == ("stable", True)
    heard = [line for line in cut.lines if abs(line.frequency_hz - 2 * MOTOR * TURN_HZ) < 1.5]
    assert [line.kind for line in heard] == ["background"]


def test_drive_that_is_silent_while_idling_is_not_told(rng):
    sound = built_cut(rng) + drive(louder_db=80.0)
    assert judge_recording(recording(sound), setup=SETUP).worst.verdict != "stable"


def test_chatter_beside_a_drive_is_heard(rng):
    sound = built_cut(rng, chatter_hz=CHATTER_HZ) + drive(louder_db=12.0, level=0.02)
    (cut,) = judge_recording(recording(sound), setup=SETUP).cuts
    assert cut.verdict == "chatter"
    turns = (cut.chatter_hz - CHATTER_HZ) / TURN_HZ
    assert abs(turns - round(turns)) < 0.05


@pytest.mark.parametrize("fainter_db", [12.0, 18.0])
def test_chatter_that_a_light_cut_beside_it_has_too_is_chatter(rng, fainter_db):
    sound = light_cuts(rng, fainter_db=fainter_db)
    worst = judge_recording(recording(sound), setup=SETUP).worst
    assert worst.verdict == "chatter"


@pytest.fixture
def marked(rng):
    """Mark lines of a cut with teeth that idling lacks; the lines while idling are given."""

    def run(cutting_hz, idling_hz, *, fainter=0.2):
        t = np.arange(4 * RATE_HZ) / RATE_HZ
        noise = 0.001 * rng.normal(size=(2, len(t)))
        teeth = sum(np.sin(2 * np.pi * 2 * k * TURN_HZ * t + k) / k for k in range(1, 12))
        cut = teeth + sum(0.3 * np.sin(2 * np.pi * hz * t) for hz in cutting_hz) + noise[0]
        idle = sum((0.3 * fainter * np.sin(2 * np.pi * hz * t) for hz in idling_hz), noise[1])
        spectra = cut_spectra(
            cut, rate_hz=RATE_HZ, top_hz=7000, speed=even_speed(TURN_HZ), idle_parts=(idle,)
        )
        at = [round(hz / spectra.bin_hz) for hz in cutting_hz]
        return find_idling_lines(
            np.array(cutting_hz), spectra.rest[at], spectra, rotation_hz=TURN_HZ, flutes=2
        ).tolist()

    return run


def test_line_that_stands_there_while_idling_is_a_drives_and_its_neighbour_is_not(marked):
    assert marked((731.0, 1213.0), (731.0,)) == [True, False]


def test_line_more_than_30_db_fainter_while_idling_is_another(marked):
    assert marked((731.0,), (731.0,), fainter=0.02) == [False]


def test_two_lines_moved_by_one_factor_may_be_chance_and_four_are_a_drive(marked):
    lines_hz = (431.0, 731.0, 1213.0, 2357.0)
    slower = [1.01 * hz for hz in lines_hz]
    assert marked(lines_hz[:2], slower[:2]) == [False, False]
    assert marked(lines_hz, slower) == [True] * 4
    assert marked(lines_hz, [1.06 * hz for hz in lines_hz]) == [False] * 4


def test_spindle_that_idles_faster_is_no_drive(marked):
    # Its comb, moved by some factor, would meet one or other of any lines.
    family_hz = [1330.0 + k * TURN_HZ for k in range(-4, 5)]
    assert not any(marked(family_hz, [1.02 * TURN_HZ * k for k in range(2, 40)]))


def test_nothing_is_told_without_idle_sound(rng):
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    cut = np.sin(2 * np.pi * 731.0 * t) + 0.01 * rng.normal(size=len(t))
    spectra = cut_spectra(cut, rate_hz=RATE_HZ, top_hz=7000, speed=even_speed(TURN_HZ), idle_parts=())
    found = find_idling_lines(np.array([731.0]), np.array([0.5]), spectra, rotation_hz=TURN_HZ, flutes=2)
    assert found.tolist() == [False]
