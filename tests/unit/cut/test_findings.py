import numpy as np
import pytest

from chatter.cut.findings import favoured_hz, find_doubt

RATE_HZ = 48_000
TIME_S = np.arange(3 * RATE_HZ) / RATE_HZ


def comb(rng, base_hz, *, strength=0.05, top_hz=8000):
    count = int(top_hz / base_hz)
    phases = rng.uniform(0, 6, count)
    return sum(
        strength * np.sin(2 * np.pi * base_hz * k * TIME_S + phases[k - 1]) / np.sqrt(k)
        for k in range(1, count + 1)
    )


def noise(rng):
    return 0.02 * rng.normal(size=len(TIME_S))


def ask(sound, *, rpm, flutes, idle=None):
    return favoured_hz(
        sound, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, programmed_rpm=rpm, flutes=flutes, idle=idle
    )


@pytest.mark.parametrize("rpm", [4000, 12_000])
@pytest.mark.parametrize("flutes", [1, 2, 3, 4, 5])
@pytest.mark.parametrize("slip", [-0.03, 0.0, 0.02])
def test_right_facts_are_not_doubted(rng, rpm, flutes, slip):
    sound = comb(rng, rpm / 60 * (1 + slip) * flutes) + noise(rng)
    assert ask(sound, rpm=rpm, flutes=flutes) is None
    with_run_out = sound + comb(rng, rpm / 60 * (1 + slip), strength=0.04)
    assert ask(with_run_out, rpm=rpm, flutes=flutes) is None


@pytest.mark.parametrize("part", [2, 3, 5])
def test_chatter_that_locks_to_every_few_teeth_is_no_other_speed(rng, part):
    sound = comb(rng, 400) + comb(rng, 400 / part, strength=0.2) + noise(rng)
    assert ask(sound, rpm=12_000, flutes=2) is None


@pytest.mark.parametrize("distance_hz", [60, 77, 131])
def test_family_of_chatter_beside_the_comb_is_no_other_speed(rng, distance_hz):
    sidebands = sum(
        0.2 * np.sin(2 * np.pi * (400 * k + sign * distance_hz) * TIME_S + k)
        for k in range(1, 12)
        for sign in (-1, 1)
    )
    assert ask(comb(rng, 400) + sidebands + noise(rng), rpm=12_000, flutes=2) is None


@pytest.mark.parametrize("sound", [noise, lambda rng: np.sin(2 * np.pi * 913 * TIME_S) + noise(rng)])
def test_sound_without_a_comb_says_nothing(rng, sound):
    assert ask(sound(rng), rpm=12_000, flutes=2) is None


@pytest.mark.parametrize(("named", "true"), [(2, 3), (3, 2), (3, 4), (4, 3), (4, 5), (5, 4), (5, 3)])
def test_other_flute_count_is_told(rng, named, true):
    sound = comb(rng, 100 * true) + noise(rng)
    # The grid of fundamentals is a few parts in 1e5 fine, a line a few tenths of a Hz wide.
    assert ask(sound, rpm=6000, flutes=named) == pytest.approx(100 * true, rel=2e-3)
    doubt = find_doubt(sound, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, programmed_rpm=6000, flutes=named)
    assert doubt.finding.code == "facts-do-not-fit"
    assert f"as with {true} flutes" in doubt.finding.message
    assert f"{100 * named} Hz" in doubt.finding.message


@pytest.mark.parametrize("ratio", [0.7, 0.8, 0.88, 1.12, 1.25, 1.3])
def test_speed_outside_the_window_is_told(rng, ratio):
    sound = comb(rng, 400 * ratio) + noise(rng)
    assert ask(sound, rpm=12_000, flutes=2) == pytest.approx(400 * ratio, rel=2e-3)


@pytest.mark.parametrize("teeth", [2, 7, 8, 9, 10])
def test_chatter_that_locks_to_every_nth_tooth_fits(teeth, rng):
    sound = comb(rng, 1200 / teeth) + noise(rng)
    assert ask(sound, rpm=24_000, flutes=3) is None


def test_finding_names_no_flutes_where_none_would_explain_it(rng):
    sound = comb(rng, 1200 * 0.3) + noise(rng)
    doubt = find_doubt(sound, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, programmed_rpm=24_000, flutes=3)
    assert "360 Hz" in doubt.finding.message
    assert "flutes," not in doubt.finding.message


def test_comb_that_is_in_the_idle_sound_too_is_a_machine_beside(rng):
    beside = comb(rng, 330)
    assert ask(beside + noise(rng), rpm=12_000, flutes=2) == pytest.approx(330, rel=2e-3)
    assert ask(beside + noise(rng), rpm=12_000, flutes=2, idle=beside + noise(rng)) is None


def test_band_that_holds_too_few_harmonics_says_nothing(rng):
    sound = comb(rng, 330) + noise(rng)
    got = favoured_hz(sound, rate_hz=RATE_HZ, bandwidth_hz=300, programmed_rpm=60_000, flutes=6)
    assert got is None


def test_fitting_facts_give_no_finding(rng):
    sound = comb(rng, 400) + noise(rng)
    assert find_doubt(sound, rate_hz=RATE_HZ, bandwidth_hz=24_000, programmed_rpm=12_000, flutes=2) is None
