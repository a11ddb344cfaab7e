"""The spindle's speed on built sounds whose speed we chose."""

from functools import partial

import numpy as np
import pytest

from chatter.cut.spindle import Speed, _follow, measure_speed, of_one_spindle
from chatter.cut.spindle_comb import Comb, chance_of_spindle, find_comb
from chatter.cut.weights import COMB_INTERCEPT, COMB_WEIGHTS
from chatter.dsp.comb import Layer
from chatter.dsp.envelope import band_envelopes


def test_comb_far_from_chatter_is_not_pulled_to_the_family_beside_it(rng):
    # Lines |f_c + 2 k f_rot| louder than tooth passing lie nearly on the comb of a speed 1.1 % higher, where
    # 1187 Hz is its twelfth multiple: only their spacing tells.
    rate_hz, turn_hz = 16_000, 97.8
    t = np.arange(3 * rate_hz) / rate_hz
    family = sum(
        np.sin(2 * np.pi * (1187.0 + 2 * k * turn_hz) * t + k * k) / (1 + k * k) for k in range(-4, 5)
    )
    teeth = sum(0.05 * np.sin(2 * np.pi * 2 * k * turn_hz * t + k) for k in range(1, 9))
    sound = family + teeth + 0.05 * rng.normal(size=len(t))
    speed = measure_speed(sound, rate_hz=rate_hz, bandwidth_hz=8000.0, programmed_rpm=6000.0, flutes=2)
    assert speed.found
    # The project asks for a tenth of a percent.
    assert speed.rotation_hz == pytest.approx(turn_hz, rel=1e-3)


def test_mean_speed_stays_beside_the_base_where_that_is_sure(rng):
    rate_hz, turn_hz, off = 16_000, 100.0, 0.004
    t = np.arange(3 * rate_hz) / rate_hz
    teeth = np.maximum(0, np.sin(2 * np.pi * 2 * turn_hz * t)) ** 6
    sound = teeth * rng.normal(size=len(t)) + 0.2 * rng.normal(size=len(t))
    envelope_hz, envelopes = band_envelopes(sound, rate_hz=rate_hz, top_hz=7000.0)
    follow = partial(
        _follow,
        sound,
        envelopes,
        rate_hz=rate_hz,
        envelope_hz=envelope_hz,
        base_hz=turn_hz * (1 + off),
        strong=np.array([], dtype=np.int64),
    )
    _, free_track, free_hz, _ = follow(most_off=np.inf)
    assert free_hz == pytest.approx(turn_hz, rel=1e-3)  # most of a wrong base is put right
    _, held_track, held_hz, _ = follow(most_off=0.001)
    assert held_hz == pytest.approx(turn_hz * (1 + off) * (1 - 0.001), rel=1e-4)
    # Only the mean is held: how the speed wanders inside the section is kept.
    assert held_track / held_hz == pytest.approx(free_track / free_hz, rel=1e-3)


def layer_of(base_hz: float, *, most: int, between: float, height: float, top_hz: float) -> Layer:
    """Give a spectrum of 0.1 Hz bins with round lines at the multiples of a base."""
    hz = 0.1 * np.arange(int(10 * top_hz) + 50)
    lines = (np.exp(-0.5 * ((hz - k * base_hz) / 0.8) ** 2) for k in range(1, most + 1))
    return Layer(
        excess=height * np.maximum.reduce(list(lines)),
        bin_hz=0.1,
        top_hz=top_hz,
        most=most,
        between=between,
        scale=1.0,
    )


@pytest.mark.parametrize("off_hz", [0.1, 0.2])
def test_louder_lines_of_another_base_do_not_pull_at_that_of_the_loudness(off_hz):
    loudness = layer_of(100.0, most=20, between=0.2, height=3.0, top_hz=2350.0)
    lines = layer_of(100.0 + off_hz, most=80, between=0.35, height=6.0, top_hz=6000.0)
    comb = find_comb(lines, loudness, low_hz=94.0, high_hz=106.0, flutes=2)
    assert comb.is_unpulled
    assert comb.base_hz == pytest.approx(100.0, rel=1e-4)


def test_lines_alone_say_the_base_where_the_loudness_has_none_near_it():
    loudness = layer_of(96.0, most=20, between=0.2, height=0.1, top_hz=2350.0)
    lines = layer_of(103.0, most=80, between=0.35, height=6.0, top_hz=6000.0)
    comb = find_comb(lines, loudness, low_hz=94.0, high_hz=106.0, flutes=2)
    assert not comb.is_unpulled
    assert comb.base_hz == pytest.approx(103.0, rel=1e-4)


def test_speed_that_sags_is_followed(rng):
    rate_hz = 16_000
    true_hz = np.linspace(100.3, 99.7, 3 * rate_hz)
    turns = np.cumsum(true_hz) / rate_hz
    sound = sum(np.sin(2 * np.pi * 2 * k * turns) / k for k in range(1, 12)) + 0.2 * rng.normal(
        size=len(turns)
    )
    speed = measure_speed(sound, rate_hz=rate_hz, bandwidth_hz=8000.0, programmed_rpm=6000.0, flutes=2)
    # Blocks of a quarter second, smoothed over three: nearer the ends less is known.
    inner = (speed.times_s > 0.5) & (speed.times_s < 2.5)
    expected = np.interp(speed.times_s, np.arange(len(turns)) / rate_hz, true_hz)
    assert speed.track_hz[inner] == pytest.approx(expected[inner], rel=1e-3)  # the sag is six times that


def test_sound_that_ends_below_the_lowest_band_gives_its_speed_by_lines_alone(rng):
    rate_hz = 800
    t = np.arange(6 * rate_hz) / rate_hz
    sound = sum(np.sin(2 * np.pi * k * 24.7 * t) for k in range(1, 13)) + 0.3 * rng.normal(size=len(t))
    speed = measure_speed(
        sound, rate_hz=rate_hz, bandwidth_hz=400.0, programmed_rpm=1500.0, flutes=1, cutting=False
    )
    assert speed.found
    assert speed.rotation_hz == pytest.approx(24.7, rel=1e-3)


@pytest.mark.parametrize(("told_rpm", "found"), [(6000.0, True), (4680.0, False), (7300.0, False)])
def test_comb_of_another_speed_is_not_taken_for_the_spindle(told_rpm, found, rng):
    # Teeth at 5,910 rev/min; 0.79 and 1.235 times that share hardly a harmonic with it.
    rate_hz, turn_hz = 16_000, 98.5
    t = np.arange(3 * rate_hz) / rate_hz
    teeth = np.maximum(0, np.sin(2 * np.pi * 2 * turn_hz * t)) ** 6
    sound = teeth * rng.normal(size=len(t)) + 0.5 * teeth + 0.3 * rng.normal(size=len(t))
    speed = measure_speed(sound, rate_hz=rate_hz, bandwidth_hz=8000.0, programmed_rpm=told_rpm, flutes=2)
    assert speed.found == found
    if not found:
        assert speed.rotation_hz == told_rpm / 60


def test_thumps_that_are_there_without_the_cut_hide_no_spindle(rng):
    # A compressor strikes 24 times a second, cutting or not: its multiples fit other speeds.
    rate_hz, turn_hz = 16_000, 98.5
    t = np.arange(6 * rate_hz) / rate_hz
    thumps = np.abs(np.sin(np.pi * 24.0 * t)) ** 40 * rng.normal(size=len(t))
    teeth = np.maximum(0, np.sin(2 * np.pi * 2 * turn_hz * t)) * rng.normal(size=len(t))
    idle = 3.0 * thumps[: 3 * rate_hz] + 0.05 * rng.normal(size=3 * rate_hz)
    sound = (3.0 * thumps + 0.3 * teeth)[3 * rate_hz :]
    knowing, not_knowing = (
        measure_speed(
            sound, rate_hz=rate_hz, bandwidth_hz=8000.0, programmed_rpm=6000.0, flutes=2, idle=there
        )
        for there in (idle, None)
    )
    assert knowing.found
    assert knowing.rotation_hz == pytest.approx(turn_hz, rel=1e-3)
    assert knowing.comb is not None
    assert not_knowing.comb is not None
    assert chance_of_spindle(knowing.comb) > 2 * chance_of_spindle(not_knowing.comb)


def test_light_cut_that_was_taken_for_idle_hides_no_spindle(rng):
    rate_hz, turn_hz = 16_000, 98.5
    t = np.arange(3 * rate_hz) / rate_hz
    teeth = np.maximum(0, np.sin(2 * np.pi * 2 * turn_hz * t)) ** 2
    cut, light = (
        level * (0.4 * teeth * rng.normal(size=len(t)) + 0.3 * rng.normal(size=len(t)))
        for level in (1.0, 0.3)
    )
    speed = measure_speed(
        cut, rate_hz=rate_hz, bandwidth_hz=8000.0, programmed_rpm=6000.0, flutes=2, idle=light
    )
    assert speed.found
    assert speed.rotation_hz == pytest.approx(turn_hz, rel=1e-3)


def test_noise_has_no_spindle(rng):
    for _ in range(10):
        sound = rng.normal(size=48_000)
        speed = measure_speed(
            sound, rate_hz=16_000, bandwidth_hz=8000.0, programmed_rpm=float(rng.uniform(2e3, 2e4)), flutes=3
        )
        assert not speed.found


def speed_of(rotation_hz: float, *, chance: float) -> Speed:
    """Give a speed whose comb has a chosen chance, as if the other marks were all nought."""
    score = (np.log(chance / (1 - chance)) - COMB_INTERCEPT) / COMB_WEIGHTS["score"]
    marks = dict.fromkeys(COMB_WEIGHTS, 0.0) | {"score": score}
    return Speed(
        found=True,
        rotation_hz=rotation_hz,
        sd_hz=0.01,
        times_s=np.zeros(1),
        track_hz=np.full(1, rotation_hz),
        score=1.0,
        z=1.0,
        comb=Comb(base_hz=rotation_hz, is_unpulled=True, score=1.0, z=1.0, marks=marks),
    )


def test_faint_combs_of_another_speed_are_no_cut_beside_a_sure_one():
    sure, alike, voice = (
        speed_of(76.3, chance=0.8),
        speed_of(76.4, chance=0.1),
        speed_of(75.1, chance=0.1),
    )
    faster = speed_of(79.0, chance=0.7)  # a clear comb may have another speed: the dial was turned
    for without in (True, False):
        assert of_one_spindle([voice, sure, alike, faster], without=without) == [False, True, True, True]
        assert of_one_spindle([voice, alike], without=without) == [not without] * 2  # none is sure
        assert of_one_spindle([], without=without) == []


def test_speed_lies_within_two_stated_deviations_where_chatter_pulls_at_it():
    rate_hz, deviations, spreads = 16_000, [], []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        turn_hz = float(rng.uniform(40, 200))
        t = np.arange(int(rng.uniform(1.5, 3) * rate_hz)) / rate_hz
        off_hz = float(rng.uniform(500, 3000))
        family = sum(
            np.sin(2 * np.pi * (off_hz + 2 * k * turn_hz) * t + k * k) / (1 + k * k) for k in range(-4, 5)
        )
        teeth = sum(0.2 * np.sin(2 * np.pi * 2 * k * turn_hz * t + k) for k in range(1, 9))
        speed = measure_speed(
            family + teeth + 0.2 * rng.normal(size=len(t)),
            rate_hz=rate_hz,
            bandwidth_hz=8000.0,
            programmed_rpm=61.2 * turn_hz,
            flutes=2,
        )
        deviations.append(abs(speed.rotation_hz - turn_hz) / speed.sd_hz)
        spreads.append(speed.sd_hz / turn_hz)
    assert sum(one < 2 for one in deviations) >= 17
    assert np.median(spreads) < 5e-4  # half of what a speed may be off: no spread that tells nothing
