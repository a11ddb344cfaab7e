"""What the evidence says of built parts: a line that keeps its phase, noise, a voice, a very short part."""

import numpy as np
import pytest

from chatter.cut.evidence import weigh
from chatter.cut.spectrum import cut_spectra
from tests.unit.cut.built import even_speed

RATE_HZ = 16_000
TURN_HZ = 100.0


def weighed(samples, *, rate_hz=RATE_HZ, turn_hz=TURN_HZ):
    speed = even_speed(turn_hz)
    spectra = cut_spectra(samples, rate_hz=rate_hz, top_hz=0.4 * rate_hz, speed=speed, idle_parts=())
    return weigh(spectra, rotation_hz=turn_hz, flutes=2)


def teeth(seconds, rate_hz=RATE_HZ, turn_hz=TURN_HZ):
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    return t, sum(np.sin(2 * np.pi * 2 * k * turn_hz * t + k) / k for k in range(1, 12))


def test_lines_that_keep_their_phase_are_steady_and_lines_that_wander_are_not(rng):
    t, cutting = teeth(3.0)
    noise = 0.02 * rng.normal(size=len(t))
    wandering = np.cumsum(rng.normal(size=len(t))) * np.sqrt(2 * np.pi * 4.0 / RATE_HZ)  # 4 Hz wide
    held, lost = (
        weighed(
            cutting + noise + sum(0.3 * np.sin(2 * np.pi * (930 + 100 * k) * t + phase) for k in range(4))
        )
        for phase in (0.0, wandering)
    )
    assert len(held.family) >= 4
    # A steady tone's coherence is 1; with a phase that diffuses at 4 Hz (half width at half power 2 Hz) it is
    # exp(-pi·4·0.06) = 0.47 over six turns of 10 ms (a Lorentzian line's transform).
    assert held.steady > 2.5
    assert lost.steady == pytest.approx(-np.log(1 - 0.47), abs=0.35)


def ringing(t, hz, levels):
    """Give lines 100 Hz apart, the middle one at `hz`."""
    middle = len(levels) // 2
    return sum(
        level * np.sin(2 * np.pi * (hz + 100 * (k - middle)) * t + k) for k, level in enumerate(levels)
    )


def test_louder_lines_at_twice_the_chatter_leave_its_base_the_chatter(rng):
    # What leaves the cut swings at 2f as well, and sound goes with the acceleration, so with the square of f.
    t, cutting = teeth(3.0)
    noise = 0.02 * rng.normal(size=len(t))
    base = ringing(t, 1030, (0.1, 0.4, 0.1))
    evidence = weighed(cutting + noise + base + ringing(t, 2060, (0.2, 0.6, 0.2)))
    assert evidence.family[0].frequency_hz == pytest.approx(2060, abs=1)
    assert evidence.base[0].frequency_hz == pytest.approx(1030, abs=1)
    assert evidence.multiple == 2
    assert {round(peak.frequency_hz) for peak in evidence.base} == {930, 1030, 1130}
    faint = weighed(cutting + noise + 0.2 * base + ringing(t, 2060, (0.2, 0.6, 0.2)))
    assert faint.base == faint.family  # 17 dB below the lines at 2060 Hz
    stranger = weighed(
        cutting + noise + ringing(t, 1040, (0.1, 0.3, 0.1)) + ringing(t, 2060, (0.2, 0.6, 0.2))
    )
    assert stranger.base == stranger.family  # no line of it has its double there


def test_lines_at_five_times_a_louder_one_leave_its_base_that_one(rng):
    # The line at 515 Hz is louder than all of the others, 0.7² against 0.5² + 4·0.2²; they are a family.
    t, cutting = teeth(3.0)
    sound = cutting + 0.02 * rng.normal(size=len(t)) + ringing(t, 2575, (0.2, 0.2, 0.5, 0.2, 0.2))
    evidence = weighed(sound + ringing(t, 515, (0.7,)))
    assert evidence.family[0].frequency_hz == pytest.approx(2575, abs=1)
    assert (evidence.base[0].frequency_hz, evidence.multiple) == (pytest.approx(515, abs=1), 5)
    stranger = weighed(sound + ringing(t, 540, (0.7,)))
    assert (stranger.base, stranger.multiple) == (stranger.family, 1)


def test_chatter_a_few_hertz_off_the_comb_is_heard_in_a_short_part(rng):
    # 0.93 s: the spectrum's lines are 5 Hz wide, and the loudest one stands 4.4 Hz beside the comb.
    t, cutting = teeth(0.93)
    noise = 0.02 * rng.normal(size=len(t))
    evidence = weighed(cutting + noise + ringing(t, 1904.4, (0.2, 0.8, 0.2)) + ringing(t, 3808.8, (0.1,)))
    assert evidence.family[0].frequency_hz == pytest.approx(1904.4, abs=0.5)


def test_harmonics_of_a_speed_a_little_wrong_are_no_lines_beside_the_comb(rng):
    # 0.08 % off: the twentieth harmonic of the teeth lies 3.2 Hz beside where it is looked for.
    # A side lobe of it, further away, may be a line.
    t, cutting = teeth(0.93)
    high = sum(0.3 * np.sin(2 * np.pi * 2 * k * TURN_HZ * t + k) for k in range(12, 24))
    evidence = weighed(cutting + high + 0.02 * rng.normal(size=len(t)), turn_hz=TURN_HZ * 1.0008)
    away_hz = [abs(peak.frequency_hz - 200 * round(peak.frequency_hz / 200)) for peak in evidence.peaks]
    assert away_hz
    assert min(away_hz) > 4


def test_noise_is_as_loud_in_quiet_moments_and_a_voice_is_not(rng):
    t, cutting = teeth(3.0)
    noise = rng.normal(size=len(t))
    syllables = np.where(np.sin(2 * np.pi * 3 * t) > 0.3, 1.0, 0.05)  # some four tenths of the time
    even, voiced = weighed(cutting + 0.5 * noise), weighed(cutting + 0.5 * syllables * noise)
    assert even.broad == pytest.approx(even.loudness, abs=0.5)
    assert max(np.subtract(voiced.broad, even.broad)) < -1.5


def test_part_of_a_few_hundredths_of_a_second_is_weighed_without_failing(rng):
    t, cutting = teeth(0.025, rate_hz=192_000, turn_hz=400.0)
    evidence = weighed(cutting + 0.01 * rng.normal(size=len(t)), rate_hz=192_000, turn_hz=400.0)
    numbers = (
        evidence.steady,
        evidence.local,
        *evidence.loudness,
        *evidence.broad,
        evidence.concentration,
    )
    assert np.isfinite(numbers).all()


def test_lines_whole_turns_apart_are_rarer_by_chance_than_scattered_ones_and_one_line_tells_nothing(rng):
    t, cutting = teeth(3.0)
    cutting = cutting + 0.02 * rng.normal(size=len(t))
    spaced, scattered, lone = (
        weighed(cutting + sum(0.3 * np.sin(2 * np.pi * line_hz * t) for line_hz in lines_hz)).spacing
        for lines_hz in ([930.0 + 100 * k for k in range(8)], [933.0, 1551.0, 2277.0, 3415.0], [930.0])
    )
    assert spaced == 5.0  # the least chance that counts
    assert scattered < 1.0
    assert lone == weighed(cutting).spacing == 0.0
