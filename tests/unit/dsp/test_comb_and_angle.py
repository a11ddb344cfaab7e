"""Combs and angle on built signals whose speed we chose."""

import numpy as np
import pytest

from chatter.dsp.angle import phase_turns, refine_phase, split_repeating
from chatter.dsp.comb import Layer, find_base
from chatter.dsp.envelope import band_envelopes, envelope_excess, line_excess
from chatter.dsp.spectra import frame_powers

RATE_HZ = 16_000


def comb_sound(rng, base_hz, *, seconds=3.0, teeth=2, noise=0.5):
    phase = np.cumsum(np.full(int(seconds * RATE_HZ), base_hz) / RATE_HZ)
    sound = sum(np.sin(2 * np.pi * teeth * k * phase + k) for k in range(1, 12))
    return sound + noise * rng.normal(size=len(phase))


def lines_of(sound):
    _, hz, powers = frame_powers(sound, rate_hz=RATE_HZ, window_s=0.4, hop_s=0.1, pad=4)
    bin_hz = float(hz[1])
    excess = line_excess(powers.mean(axis=0), bin_hz=bin_hz, spacing_hz=100.0, pad=4)
    return Layer(excess=excess, bin_hz=bin_hz, top_hz=3000.0, most=60, between=0.35, scale=1.0)


def loudness_of(sound):
    rate_hz, envelopes = band_envelopes(sound, rate_hz=RATE_HZ, top_hz=7000.0)
    bin_hz, excess = envelope_excess(envelopes, rate_hz=rate_hz, window_s=0.8, spacing_hz=100.0)
    return Layer(excess=excess, bin_hz=bin_hz, top_hz=2300.0, most=20, between=0.2, scale=1.0)


@pytest.mark.parametrize("true_hz", [97.3, 100.0, 104.9])
def test_find_base_within_six_percent_is_right_to_a_tenth_of_a_percent(rng, true_hz):
    sound = comb_sound(rng, true_hz)
    base_hz, score, z = find_base((lines_of(sound),), low_hz=94, high_hz=106, teeth=2)
    assert base_hz == pytest.approx(true_hz, rel=1e-3)
    assert score > 10
    assert z > 8


def test_find_base_in_noise_alone_does_not_stand_out(rng):
    sound = rng.normal(size=3 * RATE_HZ)
    _, score, _ = find_base((loudness_of(sound),), low_hz=94, high_hz=106, teeth=2)
    assert score < 2.0  # what the spindle stage asks for


def test_noise_that_swells_at_each_tooth_gives_the_speed_though_no_line_shows(rng):
    count = 4 * RATE_HZ
    tooth = 2 * np.pi * 2 * 101.7 * np.arange(count) / RATE_HZ
    sound = rng.normal(size=count) * (1 + 0.6 * np.sin(tooth))
    base_hz, _, _ = find_base((loudness_of(sound),), low_hz=94, high_hz=106, teeth=2)
    assert base_hz == pytest.approx(101.7, rel=1e-3)


def test_lines_that_keep_the_spacing_of_teeth_but_not_their_place_give_the_speed(rng):
    # A family |f_c + k f_tooth| without any tooth-passing line, as loud chatter leaves it.
    count = 4 * RATE_HZ
    at = np.arange(count) / RATE_HZ
    sound = sum(np.sin(2 * np.pi * (1237.0 + k * 2 * 98.6) * at + k * k) for k in range(-4, 9))
    base_hz, _, _ = find_base((loudness_of(sound + rng.normal(size=count)),), low_hz=94, high_hz=106, teeth=2)
    assert base_hz == pytest.approx(98.6, rel=1e-3)


def test_phase_of_a_constant_speed_is_a_straight_line():
    phase = phase_turns(
        count=1001, rate_hz=1000, times_s=np.array([0.0, 1.0]), rotation_hz=np.array([50.0, 50.0])
    )
    assert phase[-1] == pytest.approx(50.0)
    assert np.diff(phase) == pytest.approx(0.05)


def test_refine_phase_corrects_a_speed_that_is_off(rng):
    true = np.arange(3 * RATE_HZ) * 100.0 / RATE_HZ
    sound = sum(np.sin(2 * np.pi * k * true) for k in (2, 4, 6, 8)) + 0.2 * rng.normal(size=len(true))
    wrong = true * 1.0005
    right = refine_phase(
        [sound], wrong, rate_hz=RATE_HZ, orders=np.array([2, 4, 6, 8]), block_s=0.1, most=0.002
    )
    drift_of = np.ptp((right - true)[RATE_HZ // 4 : -RATE_HZ // 4])
    # The wrong phase drifts 0.125 turns over the same 2.5 s.
    assert drift_of < 0.0125


def test_refine_phase_follows_a_sag(rng):
    count = 4 * RATE_HZ
    true = np.cumsum(np.linspace(100.2, 99.8, count)) / RATE_HZ
    sound = sum(np.sin(2 * np.pi * 2 * k * true) for k in range(1, 8)) + 0.3 * rng.normal(size=count)
    flat = true[-1] * np.arange(1, count + 1) / count
    right = refine_phase([sound], flat, rate_hz=RATE_HZ, orders=2 * np.arange(1, 8), block_s=0.25, most=0.005)
    # The flat phase is 0.2 turns off in the middle.
    assert np.ptp(flat - true) > 0.15
    assert np.ptp(right - true) < 0.02


def test_split_repeating_leaves_a_foreign_tone_and_takes_the_harmonics():
    count = 3 * RATE_HZ
    phase = np.arange(count) * 100.0 / RATE_HZ
    harmonics = sum(np.sin(2 * np.pi * k * phase) for k in (1, 2, 5))
    foreign = 0.5 * np.sin(2 * np.pi * 737.0 * np.arange(count) / RATE_HZ)
    _, rest = split_repeating(harmonics + foreign, phase, turns=51)
    middle = slice(RATE_HZ // 2, -RATE_HZ // 2)
    # 40 dB below the harmonics' mean square of 1.5; the foreign tone keeps its own within a tenth.
    assert np.mean((rest - foreign)[middle] ** 2) < 1.5e-4 * 20
    assert np.mean(rest[middle] ** 2) == pytest.approx(0.125, rel=0.1)


def test_once_per_turn_share_of_a_repeating_sound_is_small_and_of_a_wandering_one_large(rng):
    # Schmitz, Medicus and Dutterer, Machining Sci. Tech. 6 (2002) 215: samples taken once a turn agree in
    # a stable cut and spread in a chattering one. `rest` is their spread around the sliding mean.
    phase = np.arange(2 * RATE_HZ) * 100.0 / RATE_HZ
    stable = np.sin(2 * np.pi * 3 * phase)
    chattering = stable + np.sin(2 * np.pi * 3.37 * phase)
    shares = []
    for sound in (stable, chattering):
        _, rest = split_repeating(sound, phase, turns=41)
        once_per_turn = rest[:: RATE_HZ // 100][25:-25]
        shares.append(float(np.var(once_per_turn) / np.var(sound)))
    assert shares[0] < 1e-3
    assert shares[1] > 0.2
