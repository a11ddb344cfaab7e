"""The school's workshop: scenes keep what they promise, its room, panel and phone do what physics says."""

from dataclasses import replace

import numpy as np
import pytest

from chatter.simulate import Mode
from chatter.simulate import school_sounds as sounds
from chatter.simulate.school import NOISES, random_school_scene, render_school_scene

RATE = 48_000


@pytest.fixture
def scene(rng):
    drawn = random_school_scene(rng)
    modes = tuple(Mode(axis=a, frequency_hz=600, damping_ratio=0.04, stiffness_n_m=4e6) for a in "xy")
    return replace(
        drawn,
        tool=replace(drawn.tool, flutes=3, modes=modes, runout_m=(1e-6, -2e-6, 1e-6)),
        conditions=replace(drawn.conditions, rpm=6000.0, immersion=1.0, feed_per_tooth_m=5e-5),
        depth_ratio=0.5,
        cut_times_s=((0.8, 1.8),),
        total_s=2.6,
        noises=("speech", "air blast"),
        noise_below_db=20.0,
        limiter=False,
        gate=False,
    )


def test_rendering_twice_gives_the_same_samples(scene):
    assert np.array_equal(render_school_scene(scene).samples, render_school_scene(scene).samples)


def test_stable_and_deep_cut_are_told_apart_and_only_the_deep_one_has_a_line(scene):
    quiet, loud = render_school_scene(scene), render_school_scene(replace(scene, depth_ratio=1.8))
    assert (quiet.chattering, quiet.kind, quiet.chatter_hz) == (False, "none", None)
    assert loud.chattering
    off_turns = (loud.chatter_hz / (loud.true_rpm / 60)) % 1
    assert 0.03 < off_turns < 0.97


def test_cut_is_louder_than_the_idle_part_at_its_stated_time(scene):
    sound = render_school_scene(scene).samples[0].astype(np.float64)
    level = np.sqrt(np.add.reduceat(sound**2, np.arange(0, len(sound), scene.rate_hz // 20)))
    rise = int(np.argmax(level[2:] / level[:-2])) + 2
    assert rise / 20 == pytest.approx(0.8, abs=0.15)  # blocks of 50 ms, entry within some 30 ms


def test_random_scenes_stay_inside_what_they_promise(rng):
    drawn = [random_school_scene(rng) for _ in range(200)]
    for one in drawn:
        assert 1 <= one.tool.flutes <= 5
        assert 1500 <= one.conditions.rpm <= 24_000
        assert 0 <= 1 - one.conditions.rpm / one.programmed_rpm <= 0.03 + 1e-9
        assert 0.15 <= one.depth_ratio <= 0.8 or 1.25 <= one.depth_ratio <= 3
        assert 4 <= one.noise_below_db <= 24
    assert {name for one in drawn for name in one.noises} == set(NOISES)


@pytest.mark.parametrize("name", sorted(NOISES))
def test_noises_are_finite_and_differ_from_draw_to_draw(rng, name):
    first, second = (NOISES[name](rng, 3 * RATE, rate_hz=RATE) for _ in range(2))
    assert len(first) == 3 * RATE
    assert np.isfinite(first).all()
    assert np.std(first) > 0.01
    assert abs(np.corrcoef(first, second)[0, 1]) < 0.5


def test_first_echo_of_a_room_comes_later_and_weaker_than_the_direct_sound(rng):
    response = sounds.room_response(rng, rate_hz=RATE, reach_m=(0.4, 0.5))
    assert np.argmax(response) <= 1
    # The nearest wall is 0.3 * 2.4 m away at least: the way over it is a metre longer than the direct one.
    assert np.abs(response[3:80]).max() == 0
    assert np.count_nonzero(response[80:]) > 100


def test_fan_hums_at_the_mains_and_its_harmonics(rng):
    power = np.abs(np.fft.rfft(sounds.belt_fan(rng, 10 * RATE, rate_hz=RATE) * np.hanning(10 * RATE))) ** 2
    top = np.argmax(power[: 2000 * 10]) / 10
    nearest = min(abs(top - k * mains) for mains in (50, 60) for k in range(1, 17))
    assert nearest < 0.2 + 0.0015 * top  # the mains is off by some 3e-4, five deviations


def test_limiter_lifts_quiet_sound_and_holds_loud_sound():
    quiet, loud = 0.01 * np.ones(RATE), np.ones(RATE)
    out = sounds.limiter(np.concatenate([quiet, loud]), rate_hz=RATE, lift=4.0, release_s=0.3)
    assert out[RATE // 2] == pytest.approx(0.04)
    assert out[-1] == pytest.approx(0.8)


def test_gate_takes_out_steady_noise_and_leaves_a_louder_tone(rng):
    t = np.arange(3 * RATE) / RATE
    noise = 0.01 * rng.normal(size=len(t))
    tone = np.where(t > 1.5, np.sin(2 * np.pi * 800 * t), 0)
    out = sounds.spectral_gate(noise + tone, rate_hz=RATE, floor=0.2)
    before, after = slice(RATE // 4, RATE), slice(2 * RATE, 5 * RATE // 2)
    assert np.std(out[before]) < 0.5 * np.std(noise[before])
    assert np.std(out[after]) == pytest.approx(np.std(tone[after]), rel=0.02)
