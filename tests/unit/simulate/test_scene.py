"""Practice scenes: the same seed gives the same sound, and the truth fits it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from chatter.simulate import Mode, limit_depth_m, random_scene, render_scene
from chatter.simulate.milling import Conditions, Tool, simulate_cut
from chatter.simulate.phone import automatic_gain, in_room, microphone, on_clock, resonate


@pytest.fixture
def scene(rng):
    drawn = random_scene(rng, family="workshop", chattering=False)
    modes = tuple(Mode(axis=a, frequency_hz=600, damping_ratio=0.04, stiffness_n_m=4e6) for a in "xy")
    tool = replace(drawn.tool, flutes=2, modes=modes, runout_m=(2e-6, -2e-6))
    conditions = replace(drawn.conditions, rpm=6000.0)
    return replace(
        drawn, tool=tool, conditions=conditions, cut_s=1.0, idle_s=(0.7, 0.7), cuts=1, agc=False, noise="none"
    )


def test_rendering_twice_gives_the_same_samples(scene):
    first, second = render_scene(scene), render_scene(scene)
    assert np.array_equal(first.samples, second.samples)


def test_cut_is_louder_than_the_idle_part(scene):
    rendered = render_scene(scene)
    start, end = (round(t * rendered.rate_hz) for t in rendered.cut_times_s[0])
    sound = rendered.samples[0]
    assert np.std(sound[start + 4000 : end - 4000]) > 3 * np.std(sound[: start - 4000])


def test_deep_cut_is_called_chattering_and_names_a_line(scene):
    rendered = render_scene(replace(scene, depth_ratio=1.8))
    assert rendered.chattering
    assert rendered.chatter_hz is not None
    # The limit counts at the speed that the load leaves.
    loaded = replace(scene.conditions, rpm=rendered.true_rpm)
    assert rendered.depth_m == pytest.approx(1.8 * limit_depth_m(scene.tool, loaded))


@pytest.mark.parametrize("family", ["workshop", "other"])
def test_random_scenes_stay_inside_what_they_promise(rng, family):
    for _ in range(50):
        drawn = random_scene(rng, family=family)
        assert 1 <= drawn.tool.flutes <= 5
        assert 1500 <= drawn.conditions.rpm <= 24_000
        assert 0 <= 1 - drawn.conditions.rpm / drawn.programmed_rpm <= 0.03 + 1e-9
        assert drawn.depth_ratio <= 0.8 or drawn.depth_ratio >= 1.25


def test_resonance_amplifies_its_frequency_by_one_over_twice_the_damping():
    # Textbook: |H| = 1 / (2 zeta) at the natural frequency.
    rate = 48_000
    tone = np.sin(2 * np.pi * 500 * np.arange(rate) / rate)
    out = resonate(tone, rate_hz=rate, frequency_hz=500, damping_ratio=0.05)
    assert np.abs(out[rate // 2 :]).max() == pytest.approx(10.0, rel=0.02)


def test_room_lets_a_click_fall_by_sixty_decibels_in_its_decay_time(rng):
    rate = 8000
    click = np.zeros(2 * rate)
    click[0] = 1.0
    tail = in_room(click, rng, rate_hz=rate, decay_s=0.5, wet=1.0)
    early, late = (np.mean(tail[a : a + 400] ** 2) for a in (400, 2400))
    # 2000 samples are a quarter second of half a second: 30 dB; noise of 400 samples gives about 0.4 dB.
    assert 10 * np.log10(early / late) == pytest.approx(30, abs=2)


def test_automatic_gain_narrows_a_level_step():
    quiet, loud = 0.01 * np.ones(8000), 0.3 * np.ones(8000)
    out = automatic_gain(np.concatenate([quiet, loud]), rate_hz=8000)
    assert out[-1] / out[7000] < 0.5 * 30


def test_microphone_never_leaves_full_scale(rng):
    assert np.abs(microphone(rng.normal(size=8000), rng, rate_hz=8000, peak=2.0)).max() <= 1.0


@pytest.mark.parametrize("rpm", [2178.4, 3630.9, 7341.0])
def test_teeth_on_a_phones_clock_leave_no_aliases_off_their_comb(rpm):
    # A periodic force has power at whole multiples of its frequency alone; what sampling folds lies between.
    tool = Tool(flutes=1, modes=(Mode(axis="x", frequency_hz=900, damping_ratio=0.05, stiffness_n_m=1e12),))
    conditions = Conditions(
        rpm=rpm, immersion=0.6, direction="up", feed_per_tooth_m=4e-5, pressure_pa=8e8, force_ratio=0.3
    )
    turns = round(4 * rpm / 60)
    cut = simulate_cut(tool, conditions, depth_m=np.full(turns * 720, 1e-3), steps=720)
    rate = 44_100
    force = on_clock(cut, cut.force_x_n + 0.7 * cut.force_y_n, rate_hz=rate)
    part = np.diff(force[rate // 4 : rate // 4 + 3 * rate], n=2)  # as a panel sounds: the high tones louder
    power = np.abs(np.fft.rfft(part * signal.get_window("blackmanharris", len(part)))) ** 2
    hz = np.fft.rfftfreq(len(part), 1 / rate)
    turn_hz = rpm / 60
    away_hz = np.abs(hz - np.round(hz / turn_hz) * turn_hz)
    heard = (hz > 100) & (hz < 8000)
    between, on = (power[heard & far].sum() for far in (away_hz > 4, away_hz <= 4))
    assert 10 * np.log10(between / on) < -60
