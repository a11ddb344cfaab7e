"""Blows that last, and decays that are not one exponential: what is a mode of the part, and what is not."""

import numpy as np
import pytest
from scipy import signal

from chatter.model.tap import TapMode
from chatter.tap.findings import bounded
from chatter.tap.pipeline import judge_taps
from tests.benchmarks.tap_sounds import RATE_HZ, record, ring
from tests.benchmarks.taps import draw_case, recording_of

TIMES_S = (1.0, 3.1, 4.9)
LENGTH_S = 6.5


def codes(analysis):
    return {finding.code for finding in analysis.findings}


def heard(rng, sound, *, snr_db=50.0):
    """Add noise below the peak."""
    sound = sound / np.abs(sound).max()
    return 0.5 * sound + 0.5 * 10 ** (-snr_db / 20) * rng.normal(size=sound.size)


def struck(rng, modes, *, contact_s, click):
    """Give taps whose force is half a sine of about `contact_s`; the click is heard as the force changes.

    `modes` are (Hz, damping ratio, amplitude).
    """
    force = np.zeros(round(LENGTH_S * RATE_HZ))
    for time_s in TIMES_S:
        count = round(contact_s * (1 + 0.2 * rng.uniform(-1, 1)) * RATE_HZ)
        at = round(time_s * RATE_HZ)
        force[at : at + count] = rng.uniform(0.5, 1) * np.sin(np.pi * (np.arange(count) + 0.5) / count)
    still = ring([(*mode, 0.0) for mode in modes], RATE_HZ)
    sound = signal.oaconvolve(force, still)[: force.size]
    change = np.gradient(force)
    sound += click * np.abs(sound).max() * change / np.abs(change).max()
    return heard(rng, sound)


@pytest.mark.parametrize(
    ("hz", "contact_s", "click"),
    [
        (820.0, 3e-3, 0.3),  # was told as 1,742 Hz and 19 %, and the speeds with it
        (600.0, 3e-3, 0.3),  # was told as a room alone
        (600.0, 2e-3, 0.3),  # with a mode at some 3,200 Hz
        (400.0, 4e-3, 0.3),
    ],
)
def test_blow_that_lasts_is_no_mode(hz, contact_s, click):
    rng = np.random.default_rng(6)
    got = judge_taps(recording_of(struck(rng, [(hz, 0.025, 1.0)], contact_s=contact_s, click=click)))
    assert [tap.used for tap in got.taps] == [True] * 3
    assert len(got.modes) == 1
    assert got.modes[0].frequency_hz == pytest.approx(hz, rel=0.01)
    assert got.modes[0].damping_ratio == pytest.approx(0.025, rel=0.15)  # the issue's own limits
    assert codes(got) == set()


def taps_of(rng, modes, times_s):
    return record(rng, modes, times_s=np.array(times_s), gap_s=10.0 - times_s[-1], snr_db=120.0)[0]


def test_taps_of_another_part_are_left_out_by_the_majority(rng):
    sound = taps_of(rng, [(820.0, 0.022, 0.0)], [1.0, 2.5, 4.0])
    sound = sound + taps_of(rng, [(430.0, 0.02, 0.0)], [5.5, 7.0])
    got = judge_taps(recording_of(heard(rng, sound)))
    assert [tap.used for tap in got.taps] == [True, True, True, False, False]
    assert [mode.frequency_hz for mode in got.modes] == pytest.approx([820], rel=0.01)
    assert got.modes[0].damping_ratio == pytest.approx(0.022, rel=0.15)
    assert codes(got) == {"unlike-tap"}


def test_taps_of_two_parts_as_often_are_told_to_differ(rng):
    sound = taps_of(rng, [(820.0, 0.022, 0.0)], [1.0, 2.5]) + taps_of(rng, [(430.0, 0.02, 0.0)], [5.5, 7.0])
    got = judge_taps(recording_of(heard(rng, sound)))
    assert [tap.used for tap in got.taps] == [True] * 4
    assert "taps-differ" in codes(got)


def test_taps_beside_a_loud_fan_ring_all_the_same(rng):
    # A ventilator 30 dB below the peak, most of it below 100 Hz: as much energy as that of the decays.
    sound = taps_of(rng, [(820.0, 0.022, 0.0)], [1.0, 3.0, 5.0])
    fan = signal.sosfilt(signal.butter(1, 100, fs=RATE_HZ, output="sos"), rng.normal(size=sound.size))
    sound = sound / np.abs(sound).max() + 10 ** (-30 / 20) * fan / fan.std()
    got = judge_taps(recording_of(0.4 * sound))
    assert got.modes[0].frequency_hz == pytest.approx(820, rel=0.01)
    assert got.modes[0].damping_ratio == pytest.approx(0.022, rel=0.15)


def test_no_mode_is_listed_at_the_edge_of_the_band(rng):
    # A telephone's 8 kHz and 8 bits: what was at half the rate was told as the strongest mode, 3,994 Hz.
    sound = struck(rng, [(820.0, 0.022, 1.0)], contact_s=1e-3, click=0.3)
    low = signal.resample_poly(sound, 1, 6)
    low = signal.sosfilt(signal.butter(4, (300, 3400), "bandpass", fs=8000, output="sos"), low)
    steps = np.round(np.sign(low) * np.log1p(255 * np.abs(low)) / np.log(256) * 127) / 127  # mu-law, G.711
    got = judge_taps(recording_of(np.sign(steps) * (256 ** np.abs(steps) - 1) / 255, rate_hz=8000))
    assert got.modes[0].frequency_hz == pytest.approx(820, rel=0.01)
    assert all(mode.frequency_hz < 0.45 * 8000 for mode in got.modes)


def test_bound_without_a_room_blames_no_room():
    loose = TapMode(
        frequency_hz=800.0,
        frequency_sd_hz=1.0,
        damping_ratio=0.1,
        damping_ratio_sd=0.02,
        damping_bound="upper",
        decay_time_s=None,
        level_db=0.0,
    )
    (found,) = bounded((loose,), in_room=False)
    assert found.code == "loose-damping"
    assert "room" not in found.message
    (found,) = bounded((loose,), in_room=True)
    assert found.code == "room"


def slipping(rng, *, slip):
    """Give taps of a joint that slips: at an amplitude of 1 the decay rate is 1 + slip times the small one's.

    da/dt = -r a (1 + slip a) has the solution a0 e / (1 + slip a0 (1 - e)) with e = exp(-r t), by hand.
    """
    t = np.arange(round(1.0 * RATE_HZ)) / RATE_HZ
    sound = np.zeros(round(LENGTH_S * RATE_HZ))
    for time_s in TIMES_S:
        top, fall = rng.uniform(0.5, 1), np.exp(-0.01 * 2 * np.pi * 600 * t)
        at = round(time_s * RATE_HZ)
        size = top * fall / (1 + slip * top * (1 - fall))
        sound[at : at + t.size] += size * np.sin(2 * np.pi * 600 * t)
    return heard(rng, sound, snr_db=55.0)


@pytest.mark.parametrize("slip", [2.0, 10.0])
def test_joint_that_slips_is_told_and_gives_one_mode_with_its_later_damping(slip):
    got = judge_taps(recording_of(slipping(np.random.default_rng(4), slip=slip)))
    assert len(got.modes) == 1
    assert got.modes[0].frequency_hz == pytest.approx(600, rel=0.01)
    assert got.modes[0].damping_ratio == pytest.approx(0.01, rel=0.15)
    assert "bent-decay" in codes(got)


def test_automatic_gain_that_comes_back_is_told_and_gives_one_mode():
    rng = np.random.default_rng(4)
    samples, times_s = record(rng, [(820.0, 0.022, 0.0)], snr_db=60.0)
    t = np.arange(samples.size) / RATE_HZ
    gain = np.ones(samples.size)
    for time_s in times_s:  # down to a third within 5 ms, back within a second
        since = np.maximum(t - time_s, 0)
        gain = np.where(t > time_s, 1 - 0.67 * (1 - np.exp(-since / 0.0025)) * np.exp(-since / 0.3), gain)
    got = judge_taps(recording_of(samples * gain))
    assert len(got.modes) == 1
    assert got.modes[0].damping_ratio == pytest.approx(0.022, rel=0.15)
    assert "bent-decay" in codes(got)


def test_two_close_modes_are_not_taken_for_one_bent_decay():
    for seed in range(6):
        samples, modes, _ = draw_case(np.random.default_rng(seed), "close")
        got = judge_taps(recording_of(samples))
        assert len(got.modes) == len(modes)
        assert "bent-decay" not in codes(got)


def test_lone_noise_long_after_the_decay_does_not_lengthen_it(rng):
    # 820 Hz at 2.2 % has lost 50 dB after 50 dB / (8.686 * 2 pi 820 0.022 dB/s) = 51 ms, by hand.
    sound = heard(rng, taps_of(rng, [(820.0, 0.022, 0.0)], [1.0]))
    at, count = round(1.9 * RATE_HZ), round(0.004 * RATE_HZ)
    sound[at : at + count] += 0.006 * np.hanning(count) * rng.normal(size=count)  # too soft for a blow
    got = judge_taps(recording_of(sound))
    assert [tap.used for tap in got.taps] == [True]
    assert got.view is not None
    assert got.view.times_s[-1] < 0.2
