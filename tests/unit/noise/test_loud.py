"""Where a sound is loud, and how loud it is there."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chatter.noise.loud import LevelHistory, find_loud_part

STEP_S = 0.1


def found(*stretches):
    """Give the loud part of stretches of (seconds, dB)."""
    steps = np.concatenate([np.full(round(seconds / STEP_S), 10 ** (db / 10)) for seconds, db in stretches])
    return find_loud_part(steps, step_s=STEP_S, aeq_db=10 * np.log10(steps.mean()))


def test_idle_time_before_and_after_is_left_out():
    part = found((3, -60), (3, -20), (3, -50))
    assert part.LAeq_db == pytest.approx(-20.0)
    assert (part.start_s, part.end_s, part.stretches) == (pytest.approx(3.0), pytest.approx(6.0), 1)
    assert part.louder_by_db == pytest.approx(0.0)


def test_short_pauses_belong_to_the_work_and_long_ones_do_not():
    # By hand: 4 of 5.5 s are loud, so 10 lg(4 / 5.5) = -1.38 dB.
    short = found((2, -20), (1.5, -120), (2, -20))
    assert (short.LAeq_db, short.stretches) == (pytest.approx(-21.38, abs=0.01), 1)
    long = found((2, -20), (3, -120), (2, -20))
    assert (long.LAeq_db, long.stretches) == (pytest.approx(-20.0), 2)
    assert long.seconds == pytest.approx(4.0)


def test_short_cut_in_a_long_recording_is_found():
    part = found((300, -50), (4, -20), (296, -50))  # ten minutes
    assert part.LAeq_db == pytest.approx(-20.0)
    assert part.seconds == pytest.approx(4.0)


def test_knock_louder_than_the_cut_does_not_hide_it():
    part = found((3, -50), (4, -20), (3, -50), (0.3, -5), (1, -50))
    assert part.seconds == pytest.approx(4.3)
    assert part.LAeq_db > -20


def test_steady_sound_counts_as_a_whole():
    part = found((5, -30))
    assert (part.start_s, part.end_s, part.seconds) == (0, pytest.approx(5.0), pytest.approx(5.0))
    assert part.LAeq_db == pytest.approx(-30.0)


def test_idling_within_10_db_counts_and_what_that_may_cost_is_told():
    part = found((5, -28), (5, -20))
    # By hand: 10 lg((1 + 10^-0.8) / 2) = -2.37 dB.
    assert part.LAeq_db == pytest.approx(-22.37, abs=0.01)
    assert part.louder_by_db == pytest.approx(2.37, abs=0.01)


@pytest.mark.parametrize("stretches", [[(0.1, -20)], [(0.2, -200), (0.1, -20)]])
def test_shortest_sounds_have_a_loud_part(stretches):
    assert found(*stretches).LAeq_db == pytest.approx(-20.0)


def test_silence_has_none():
    assert found((2, -200)) is None
    assert LevelHistory(0.001).finish(aeq_db=None) is None
    assert LevelHistory(0.001).finish(aeq_db=-20.0) is None


def test_history_is_the_same_however_it_comes(rng):
    power = rng.exponential(1e-3, 5432)
    whole, parts = LevelHistory(0.001), LevelHistory(0.001)
    whole.add(power)
    for start in range(0, len(power), 77):
        parts.add(power[start : start + 77])
    one, other = (history.finish(aeq_db=-30.0) for history in (whole, parts))
    assert one == other


@given(st.lists(st.floats(0, 1), min_size=1, max_size=200))
def test_loud_part_is_never_quieter_than_the_whole(powers):
    steps = np.array(powers)
    if steps.mean() <= 1e-18:
        return
    aeq_db = float(10 * np.log10(steps.mean()))
    part = find_loud_part(steps, step_s=STEP_S, aeq_db=aeq_db)
    assert part is None or (part.LAeq_db >= aeq_db and part.louder_by_db >= 0)
