"""Taps whose modes were chosen, and sounds that hold none."""

import numpy as np
import pytest
from scipy import signal

from chatter.tap.pipeline import judge_taps
from tests.benchmarks.tap_sounds import RATE_HZ, draw_mode, record, room, shoebox
from tests.benchmarks.taps import figures, judge_case, recording_of

MODES = [(812.0, 0.02, 0.0), (1500.0, 0.01, -6.0)]


def codes(analysis):
    return {finding.code for finding in analysis.findings}


def test_made_taps_give_chosen_frequency_and_damping_in_every_case():
    got = figures([judge_case(seed, "plain") for seed in range(12)])
    # The issue's own limits; the long form has 200 cases (docs/tap.md).
    assert got["taps right"] == got["answered"] == got["second within 10 dB found"] == 1
    assert got["worst frequency error"] < 0.01
    assert got["worst damping error, no bound"] < 0.15
    assert got["bounded"] == 0


def test_modes_five_percent_apart_are_separated():
    got = figures([judge_case(seed, "close") for seed in range(8)])
    assert got["taps right"] == 1
    assert max(got["worst frequency error"], got["worst frequency error, second"]) < 0.01
    assert max(got["worst damping error, no bound"], got["worst damping error, second"]) < 0.25


def test_logarithmic_decrement_of_a_text_is_found(rng):
    # 13 % left after 100 cycles: decrement ln(1 / 0.13) / 100 = 0.02040, damping ratio 0.003247
    # (worked example of a free decay, checked by hand: 0.0204 / sqrt(4 pi^2 + 0.0204^2)).
    hz, damping = 400.0, 0.003247
    samples, _ = record(rng, [(hz, damping, 0.0)])
    got = judge_taps(recording_of(samples)).modes[0]
    left = np.exp(-2 * np.pi * got.damping_ratio / np.sqrt(1 - got.damping_ratio**2) * 100)
    assert left == pytest.approx(0.13, abs=0.005)  # half of the last printed digit


def test_half_power_width_of_a_worked_case_is_found(rng):
    # Damping 0.02 at 600 Hz: half-power width 24.01 Hz, decay 654.9 dB/s, 60 dB in 0.0916 s (by hand).
    samples, _ = record(rng, [(600.0, 0.02, 0.0)])
    got = judge_taps(recording_of(samples)).modes[0]
    hz = np.linspace(560, 640, 8001)
    r, z = hz / got.frequency_hz, got.damping_ratio
    gain = 1 / ((1 - r**2) ** 2 + (2 * z * r) ** 2)
    above = hz[gain > gain.max() / 2]
    assert above[-1] - above[0] == pytest.approx(24.01, abs=0.25)  # 1 %: the frequency's own limit
    assert got.decay_time_s == pytest.approx(0.0916, abs=0.0009)


def test_prediction_by_another_method_agrees(rng):
    # An independent estimate on the same decay: the slope of the Hilbert envelope of one mode.
    samples, times_s = record(rng, [(700.0, 0.015, 0.0)], taps=1, snr_db=60)
    start = round((times_s[0] + 0.004) * RATE_HZ)
    part = samples[start : start + round(0.05 * RATE_HZ)]
    envelope = np.abs(signal.hilbert(part))[240:-240]
    slope = np.polyfit(np.arange(envelope.size) / RATE_HZ, np.log(envelope), 1)[0]
    got = judge_taps(recording_of(samples)).modes[0]
    # the envelope's ends bend by some percent
    assert got.damping_ratio == pytest.approx(-slope / (2 * np.pi * 700), rel=0.05)


def test_double_hit_is_left_out_with_a_finding(rng):
    samples, _ = record(rng, MODES, times_s=np.array([1.0, 2.5, 2.56, 4.0]), strengths=[1, 1, 0.7, 1])
    got = judge_taps(recording_of(samples))
    assert [tap.used for tap in got.taps] == [True, False, True]
    assert "double-hit" in codes(got)
    assert got.modes[0].frequency_hz == pytest.approx(812, rel=0.01)


def test_clipped_tap_is_left_out_with_a_finding(rng):
    samples, _ = record(rng, MODES, strengths=[0.3, 1.0, 0.3], click=0.5)
    got = judge_taps(recording_of(np.clip(3 * samples, -1, 1)))
    assert [tap.used for tap in got.taps] == [True, False, True]
    assert "clipped-tap" in codes(got)


def test_mains_hum_and_a_fan_are_no_modes(rng):
    samples, _ = record(rng, MODES)
    t = np.arange(samples.size) / RATE_HZ
    hum = sum(
        a * np.sin(2 * np.pi * hz * t + hz) for hz, a in ((50, 0.05), (100, 0.03), (150, 0.03), (800, 0.01))
    )
    got = judge_taps(recording_of(samples + hum))
    assert [tap.used for tap in got.taps] == [True] * 3
    assert [mode.frequency_hz for mode in got.modes[:2]] == pytest.approx([812, 1500], rel=0.01)
    assert got.modes[0].damping_ratio == pytest.approx(0.02, rel=0.15)


@pytest.mark.parametrize(
    "kind", ["silence", "noise", "tone", "voices", "vacuum", "click", "short", "clipped"]
)
def test_sound_without_a_ringing_tap_gives_no_mode_and_says_why(kind, rng):
    from chatter.simulate import phone

    count = 4 * RATE_HZ
    sounds = {
        "silence": lambda: np.zeros(count),
        "noise": lambda: 0.1 * rng.normal(size=count),
        "tone": lambda: 0.3 * np.sin(2 * np.pi * 500 * np.arange(count) / RATE_HZ),
        "voices": lambda: 0.06 * phone.radio(rng, count, rate_hz=RATE_HZ),
        "vacuum": lambda: 0.1 * phone.vacuum(rng, count, rate_hz=RATE_HZ),
        "click": lambda: np.where(np.arange(count) == count // 2, 0.9, 1e-4 * rng.normal(size=count)),
        "short": lambda: 0.1 * rng.normal(size=100),
        "clipped": lambda: np.clip(30 * record(rng, MODES, taps=1)[0], -1, 1),
    }
    got = judge_taps(recording_of(sounds[kind]()))
    assert got.modes == ()
    assert codes(got) & {"no-tap", "no-decay"}


def test_room_leaves_frequency_and_says_how_sure_the_damping_is():
    rng = np.random.default_rng(12)
    response = room(rng, decay_s=0.4, direct_to_reverberant_db=18)
    samples, _ = record(rng, MODES, response=response)
    got = judge_taps(recording_of(samples)).modes[0]
    assert got.frequency_hz == pytest.approx(812, rel=0.01)
    if got.damping_bound == "none":
        assert got.damping_ratio == pytest.approx(0.02, rel=0.25)
    assert got.damping_ratio_sd > 0.02 * got.damping_ratio  # no room is as good as none


def test_loud_room_gives_only_a_bound():
    rng = np.random.default_rng(5)
    response = room(rng, decay_s=0.5, direct_to_reverberant_db=3)
    samples, _ = record(rng, [(812.0, 0.03, 0.0)], response=response)
    got = judge_taps(recording_of(samples))
    mode = got.modes[0]
    assert mode.damping_bound == "upper"
    assert mode.damping_ratio > 0.03
    assert "room" in codes(got)


def test_near_phone_in_rectangular_rooms_gives_a_damping_or_a_true_bound():
    # Rooms by image sources from pyroomacoustics, which knows nothing of decaying noise.
    right = []
    for seed in range(600_000, 600_008):
        rng = np.random.default_rng(seed)
        response = shoebox(rng, decay_s=rng.uniform(0.3, 0.6), direct_to_reverberant_db=18)
        hz, damping = draw_mode(rng)
        samples, _ = record(rng, [(hz, damping, 0.0)], response=response)
        got = judge_taps(recording_of(samples)).modes[0]
        assert got.frequency_hz == pytest.approx(hz, rel=0.03)  # worst of 100 in docs/tap.md: 2.3 %
        bounded = got.damping_bound == "upper"
        right.append(got.damping_ratio >= damping if bounded else abs(got.damping_ratio / damping - 1) < 0.25)
    assert sum(right) >= 7  # asked for: 25 %, and 95 % true bounds


def test_comparison_tells_a_damper_that_was_added():
    from chatter.tap.compare import compare_taps

    def modes(hz, damping):
        samples, _ = record(np.random.default_rng(8), [(hz, damping, 0.0)])
        return judge_taps(recording_of(samples)).modes

    got = compare_taps(modes(300.0, 0.03), before=modes(310.0, 0.01), before_file="before.wav").changes[0]
    assert got.damping_factor == pytest.approx(3.0, rel=0.05)  # chosen
    assert got.frequency_change_percent == pytest.approx(-100 * 10 / 310, abs=0.2)  # chosen
    # 60 dB: 6.91 / (2 pi 310 0.01) = 355 ms and 6.91 / (2 pi 300 0.03) = 122 ms, by hand
    assert "damped more" in got.says
    assert "from 355 to 122 ms" in got.says or "from 354 to 122 ms" in got.says
