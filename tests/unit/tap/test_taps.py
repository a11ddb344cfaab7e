"""Taps whose modes were chosen, and sounds that hold none."""

import numpy as np
import pytest
from scipy import signal
from threadpoolctl import threadpool_info

from chatter.audio import read_recording
from chatter.model.tap import TapMode
from chatter.simulate.practice import write_practice_recording
from chatter.tap import pipeline
from chatter.tap.compare import compare_taps
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


def soft_contact(contact_s):
    """Give the force of a soft blow: half a sine."""
    count = round(contact_s * RATE_HZ)
    force = np.sin(np.pi * (np.arange(count) + 0.5) / count)
    return force / force.sum()


@pytest.mark.parametrize(
    ("hz", "contact_s"),
    [(140.0, 3e-3), (300.0, 3e-3)],  # a nylon mallet on a frame, a knuckle on thin work
)
@pytest.mark.parametrize("snr_db", [40.0, 50.0])
def test_soft_taps_on_frame_and_thin_work_are_found(hz, contact_s, snr_db):
    rng = np.random.default_rng(3)
    modes = [(hz, 0.02, 0.0), (2.3 * hz, 0.02, -6.0)]
    samples, times_s = record(rng, modes, taps=5, snr_db=snr_db, click=0.0, response=soft_contact(contact_s))
    got = judge_taps(recording_of(samples))
    assert [tap.used for tap in got.taps] == [True] * 5
    # the contact's own length, and 1 ms for the noise
    assert [tap.time_s for tap in got.taps] == pytest.approx(times_s, abs=contact_s + 1e-3)
    assert got.modes[0].frequency_hz == pytest.approx(hz, rel=0.01)


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


def test_taps_after_the_part_that_is_listened_to_are_told(rng):
    taps, _ = record(np.random.default_rng(2), MODES)
    quiet = float(taps[: RATE_HZ // 2].std())
    sound = rng.normal(0, quiet, 130 * RATE_HZ)
    whole = judge_taps(recording_of(sound[: 120 * RATE_HZ]))
    assert codes(whole) == {"no-tap"}
    sound[-taps.size :] = taps  # the last six seconds
    late = judge_taps(recording_of(sound))
    assert (late.taps, codes(late)) == ((), {"rest-not-heard", "no-tap"})
    assert "first 120 s" in late.findings[0].message
    sound[10 * RATE_HZ : 10 * RATE_HZ + taps.size] = taps
    both = judge_taps(recording_of(sound))
    assert len(both.taps) == 3
    assert "rest-not-heard" in codes(both)


def test_double_hit_is_left_out_with_a_finding(rng):
    samples, _ = record(rng, MODES, times_s=np.array([1.0, 2.5, 2.56, 4.0]), strengths=[1, 1, 0.7, 1])
    got = judge_taps(recording_of(samples))
    assert [tap.used for tap in got.taps] == [True, False, True]
    assert "double-hit" in codes(got)
    assert got.modes[0].frequency_hz == pytest.approx(812, rel=0.01)


@pytest.mark.parametrize("later_s", [0.009, 0.014, 0.025])
def test_second_hit_within_hundredths_of_a_second_is_told(later_s, rng):
    times_s = np.array([1.0, 2.5, 2.5 + later_s, 4.0])
    samples, _ = record(rng, MODES, times_s=times_s, strengths=[1, 1, 0.5, 1], click=1.0)
    got = judge_taps(recording_of(samples))
    assert [tap.used for tap in got.taps] == [True, False, True]
    assert "double-hit" in codes(got)


def test_echo_that_follows_every_tap_is_no_second_hit(rng):
    echo = np.zeros(RATE_HZ // 50)
    echo[[0, round(0.014 * RATE_HZ)]] = 1.0, 0.5
    samples, _ = record(rng, MODES, click=1.0, response=echo)
    got = judge_taps(recording_of(samples))
    assert [tap.used for tap in got.taps] == [True] * 3
    assert "double-hit" not in codes(got)


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
    assert codes(got) & {"no-tap", "no-decay", "no-usable-tap"}


def test_linear_algebra_of_a_tap_keeps_to_one_thread(monkeypatch):
    seen = []

    def find_onsets(samples, *, rate_hz):
        seen.extend(one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas")
        return ()

    monkeypatch.setattr(pipeline, "find_onsets", find_onsets)
    assert codes(judge_taps(recording_of(np.zeros(RATE_HZ)))) == {"no-tap"}
    assert set(seen) == {1}


def test_blows_of_which_only_the_room_is_heard_are_told_as_that(rng):
    blows = np.zeros(4 * RATE_HZ)
    blows[[RATE_HZ, 2 * RATE_HZ]] = 0.5
    response = room(rng, decay_s=0.5, direct_to_reverberant_db=0)
    heard = signal.oaconvolve(blows, response)[: blows.size] + 1e-4 * rng.normal(size=blows.size)
    got = judge_taps(recording_of(heard))
    assert got.modes == ()
    assert codes(got) == {"only-room"}


def test_room_leaves_frequency_and_says_how_sure_the_damping_is():
    rng = np.random.default_rng(12)
    response = room(rng, decay_s=0.4, direct_to_reverberant_db=18)
    samples, _ = record(rng, MODES, response=response)
    got = judge_taps(recording_of(samples)).modes[0]
    assert got.frequency_hz == pytest.approx(812, rel=0.01)
    if got.damping_bound == "none":
        assert got.damping_ratio == pytest.approx(0.02, rel=0.25)
    assert got.damping_ratio_sd > 0.02 * got.damping_ratio  # no room is as good as none


def test_two_near_modes_that_ring_longer_than_the_room_are_parted():
    # One mode's echoes were taken for a strong room around the other, and the answer was that nothing rings.
    rng = np.random.default_rng(7)
    response = room(rng, decay_s=0.48, direct_to_reverberant_db=15.5)
    samples, _ = record(rng, [(210.0, 0.007, 0.0), (183.0, 0.0065, -4.0)], response=response)
    loud, soft = judge_taps(recording_of(samples)).modes[:2]
    assert loud.frequency_hz == pytest.approx(210, rel=0.01)
    assert soft.frequency_hz == pytest.approx(183, rel=0.01)
    assert loud.damping_bound == soft.damping_bound == "none"
    assert loud.damping_ratio == pytest.approx(0.007, rel=0.25)
    assert soft.damping_ratio == pytest.approx(0.0065, rel=0.25)


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
        assert got.frequency_hz == pytest.approx(hz, rel=0.03)  # worst of 100 in docs/tap.md: 2.0 %
        bounded = got.damping_bound == "upper"
        right.append(got.damping_ratio >= damping if bounded else abs(got.damping_ratio / damping - 1) < 0.25)
    assert sum(right) >= 7  # asked for: 25 %, and 95 % true bounds


def test_comparison_tells_a_damper_that_was_added():
    def modes(hz, damping):
        samples, _ = record(np.random.default_rng(8), [(hz, damping, 0.0)])
        return judge_taps(recording_of(samples)).modes

    got = compare_taps(modes(300.0, 0.03), before=modes(310.0, 0.01), before_file="before.wav").changes[0]
    assert got.damping_factor == pytest.approx(3.0, rel=0.05)  # chosen
    assert got.frequency_change_percent == pytest.approx(-100 * 10 / 310, abs=0.2)  # chosen
    # 60 dB: 6.91 / (2 pi 310 0.01) = 355 ms and 6.91 / (2 pi 300 0.03) = 122 ms, by hand
    assert "damped more" in got.says
    assert "from 355 to 122 ms" in got.says or "from 354 to 122 ms" in got.says


def bouncing(rng, *, gap_s, times_s=(1.0, 2.6, 4.2)):
    """Give taps of a mallet that hits three times, ever sooner and softer."""
    at = np.array([start + later for start in times_s for later in (0.0, gap_s, 1.6 * gap_s)])
    return record(rng, MODES, times_s=at, strengths=[1.0, 0.6, 0.4] * len(times_s))[0]


def test_double_hits_alone_say_that_no_tap_is_left_and_not_that_nothing_rings(rng):
    got = judge_taps(recording_of(bouncing(rng, gap_s=0.09)))
    assert [tap.used for tap in got.taps] == [False] * 3
    assert codes(got) == {"double-hit", "no-usable-tap"}
    assert not any("Nothing rings" in finding.message for finding in got.findings)


@pytest.mark.parametrize(
    ("seed", "rpm", "flutes"), [(4, 12_000, 2), (17, 12_000, 2), (19, 3000, 1), (1, 3000, 1)]
)
def test_milling_is_no_tap_but_a_machine_that_must_be_stopped(tmp_path, seed, rpm, flutes):
    # Practice recordings in which 6, 7, 10 and 6 taps were counted before.
    path = tmp_path / "cut.wav"
    write_practice_recording(path, rpm=rpm, flutes=flutes, answer="stable", seed=seed)
    got = judge_taps(read_recording(path))
    assert (got.taps, got.modes, codes(got)) == ((), (), {"running-machine"})
    assert "stop the spindle" in got.findings[0].message


def test_blows_at_tooth_passing_are_a_machine(rng):
    # One tooth at 1,500 rpm: 25 blows a second, by hand, for two seconds.
    samples, _ = record(rng, MODES, times_s=1.0 + np.arange(50) / 25)
    assert codes(judge_taps(recording_of(samples))) == {"running-machine"}


@pytest.mark.parametrize(
    ("rotation_hz", "told"),
    [(200.0, True), (133.3, True), (50.02, False), (49.1, False), (99.96, False)],  # mains, a motor on it
)
def test_taps_beside_a_turning_spindle_are_told(rotation_hz, told, rng):
    samples, _ = record(rng, MODES)
    t = np.arange(samples.size) / RATE_HZ
    for order in range(1, 13):
        samples = samples + 0.004 / order * np.sin(2 * np.pi * order * rotation_hz * t + order)
    got = judge_taps(recording_of(samples))
    assert [tap.used for tap in got.taps] == [True] * 3
    assert ("turning-machine" in codes(got)) == told
    if told:  # 200 Hz is 12,000 rpm, 133.3 Hz 7,998 rpm, by hand
        assert f"{60 * rotation_hz:,.0f} rpm" in got.findings[0].message


@pytest.mark.parametrize("rpm", [120, 180, 290])
def test_blows_of_a_slow_cutter_are_a_machine_and_no_tap_test(rpm, rng):
    # One tooth: rpm / 60 blows a second, by hand; 10 to 23 taps and a mode were told before.
    times_s = 0.5 + 60 / rpm * np.arange(int(5 * rpm / 60))
    samples, _ = record(rng, [(800.0, 0.03, 0.0)], times_s=times_s)
    got = judge_taps(recording_of(samples))
    assert (got.taps, got.modes, codes(got)) == ((), (), {"running-machine"})


def test_six_taps_by_hand_are_no_machine(rng):
    # Gaps that differ by 5 %, as of a hand that counts.
    gaps_s = 1.0 + 0.05 * np.array([0.3, -1.2, 0.8, -0.5, 1.4])
    times_s = 1.0 + np.concatenate(([0.0], np.cumsum(gaps_s)))
    got = judge_taps(recording_of(record(rng, MODES, times_s=times_s)[0]))
    assert [tap.used for tap in got.taps] == [True] * 6


def test_sound_that_begins_with_a_jump_and_stays_is_a_machine(rng):
    samples = 1e-3 * rng.normal(size=4 * RATE_HZ)
    samples[3 * RATE_HZ :] += 0.1 * rng.normal(size=RATE_HZ)
    assert codes(judge_taps(recording_of(samples))) == {"running-machine"}


def test_taps_before_a_rattle_are_still_heard_and_the_rattle_is_told(rng):
    times_s = np.concatenate([[1.0, 2.5, 4.0], 5.5 + 0.05 * np.arange(12)])
    samples, _ = record(rng, MODES, times_s=times_s, strengths=[1.0] * 3 + [0.6] * 12)
    got = judge_taps(recording_of(samples))
    assert [tap.used for tap in got.taps] == [True, True, True, False]
    assert got.modes[0].frequency_hz == pytest.approx(812, rel=0.01)
    assert "running-machine" in codes(got)


def test_frame_that_rings_long_is_no_machine(rng):
    # 90 Hz and 0.5 %: 60 dB in 6.91 / (2 pi 90 0.005) = 2.4 s, by hand.
    samples, _ = record(rng, [(90.0, 0.005, 0.0)], gap_s=3.0)
    got = judge_taps(recording_of(samples))
    assert [tap.used for tap in got.taps] == [True] * 3
    assert got.modes[0].frequency_hz == pytest.approx(90, rel=0.01)


def mode(hz, damping, *, hz_sd=0.1, damping_sd=0.0001, bound="none"):
    return TapMode(
        frequency_hz=hz,
        frequency_sd_hz=hz_sd,
        damping_ratio=damping,
        damping_ratio_sd=damping_sd,
        damping_bound=bound,
        decay_time_s=None,
        level_db=0.0,
    )


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        # 0.052 / 0.03 = 1.7333; spread 1.7333 sqrt((0.0001 / 0.052)^2 + (0.0001 / 0.03)^2) = 0.0067, by hand
        (mode(680, 0.03), mode(668, 0.052), "better against chatter: 1.733 ± 0.007 times"),
        (mode(668, 0.052), mode(680, 0.03), "worse against chatter: 0.577 ± 0.003 times"),
        # spread sqrt(2) 0.2 = 0.28 of 1.0: nothing told apart
        (mode(680, 0.03, damping_sd=0.006), mode(680, 0.03, damping_sd=0.006), "(1.0 ± 0.3 times)"),
        (mode(680, 0.03), mode(680, 0.03), "so neither better nor worse against chatter"),
        (mode(680, 0.03, damping_sd=0.0), mode(680, 0.06, damping_sd=0.0), "2.000 ± 0.001 times"),
        # As loose as 0.28: that nothing has changed can't be told either.
        (mode(680, 0.03, damping_sd=0.006), mode(680, 0.03, damping_sd=0.006), "against chatter."),
        # Tapped again: 0.01 % and 0.2 %, both beyond two of these spreads.
        (
            mode(1750.5, 0.03, hz_sd=0.01, damping_sd=0.00001),
            mode(1750.6, 0.03006, hz_sd=0.01, damping_sd=0.00001),
            "The mode at 1,751 Hz stayed where it was; its damping is the same within what tapping again "
            "gives (1.002 ± 0.001 times), so neither better nor worse against chatter: nothing has changed "
            "that matters.",
        ),
        (mode(680, 0.03, hz_sd=0.1), mode(680, 0.0312), "nothing has changed that matters."),  # 4 %
        (mode(680, 0.03), mode(684, 0.03), "moved up from 680.0 to 684.0 Hz (+0.59 %)"),
        (mode(680, 0.03, damping_sd=0.0001), mode(680, 0.032), "it is damped more than before"),  # 6.7 %
        (mode(680, 0.03, bound="upper"), mode(680, 0.03), "better or worse can't be told"),
        (mode(680, 0.03), mode(700, 0.03), "moved up from 680.0 to 700.0 Hz (+2.94 %), and the speeds"),
    ],
)
def test_comparison_says_better_or_worse_with_as_many_digits_as_the_spread_bears(before, after, said):
    says = compare_taps((after,), before=(before,), before_file="before.wav").says
    assert said in says
    assert "± 0.00 " not in says


def test_modes_that_come_and_go_are_judged_too():
    got = compare_taps((mode(300, 0.03),), before=(mode(900, 0.03),), before_file="before.wav").changes
    assert "can chatter too" in got[0].says
    assert "not heard any more: better" in got[1].says
