"""What rings before the first echo arrives is heard as if there were no room."""

import numpy as np
import pytest

from chatter.tap.decays import cut_decays
from chatter.tap.modes import fit_decays
from chatter.tap.pipeline import judge_taps
from chatter.tap.spell import LONGER, SHORTEST_S, find_spell
from tests.benchmarks.tap_sounds import RATE_HZ, record
from tests.benchmarks.taps import recording_of

MODES = [(1100.0, 0.035, 0.0), (2300.0, 0.012, -6.0)]


def echoing(*, first_s, strength, crowd_after_s=0.012):
    """Give a room of one strong wall, and of a crowd of echoes later on that dies away in 0.4 s."""
    rng = np.random.default_rng(11)
    at_s = np.arange(int(0.5 * RATE_HZ)) / RATE_HZ
    response = 0.004 * rng.normal(size=at_s.size) * 10 ** (-3 * at_s / 0.4)
    response[at_s < crowd_after_s] = 0
    response[0] = 1.0
    response[round(first_s * RATE_HZ)] += strength
    return response


def decays_of(samples, times_s):
    return cut_decays(samples, rate_hz=RATE_HZ, onsets_s=times_s, all_onsets_s=times_s)


@pytest.mark.parametrize("first_s", [0.006, 0.008])
def test_spell_ends_where_the_echo_arrives(first_s):
    response = echoing(first_s=first_s, strength=0.5)
    decays = decays_of(*record(np.random.default_rng(5), MODES, response=response))
    length_s = find_spell(decays).length_s
    assert length_s < 1.01 * (first_s - decays.start_s)
    assert length_s > (first_s - decays.start_s) / LONGER**3


def test_no_spell_where_echoes_come_thick_from_the_start():
    response = echoing(first_s=0.002, strength=0.4, crowd_after_s=0.0)
    response[1:] *= 6
    decays = decays_of(*record(np.random.default_rng(5), MODES, response=response))
    assert find_spell(decays) is None


@pytest.mark.parametrize("strength", [-0.6, 0.4])
def test_strong_echo_changes_neither_frequency_nor_damping(strength):
    # A single strong echo is no even crowd: the damping was told up to twice and a half too high.
    response = echoing(first_s=0.007, strength=strength)
    samples, _ = record(np.random.default_rng(6), MODES, response=response)
    got = judge_taps(recording_of(samples)).modes
    for (hz, damping, _), mode in zip(MODES, got[:2], strict=True):
        assert mode.frequency_hz == pytest.approx(hz, rel=0.003)
        assert mode.damping_bound == "none"
        assert mode.damping_ratio == pytest.approx(damping, rel=0.15)


def test_part_too_short_for_the_band_of_a_low_sound_tells_nothing_and_a_longer_one_is_tried():
    # In 2.5 ms the band of what stands out of the noise has one frequency: that was an exception.
    decays = decays_of(*record(np.random.default_rng(7), [(436.0, 0.01, 0.0)], click=0.0, snr_db=14))
    assert len(fit_decays(decays, length_s=SHORTEST_S).fit.poles) == 0
    assert find_spell(decays).length_s > 2 * SHORTEST_S
