"""How loud built sounds are beside their teeth, and whether they lie at one fraction of a turn."""

import numpy as np
import pytest

from chatter.cut.spectrum import cut_spectra
from chatter.cut.unrepeated import concentration, hear_moments, loudness
from tests.unit.cut.built import even_speed

RATE_HZ = 16_000
TURN_HZ = 100.0
TOOTH_HZ = 200.0  # so high tones begin at 1000 Hz


def spectra_of(samples, *, idle=()):
    return cut_spectra(samples, rate_hz=RATE_HZ, top_hz=6000, speed=even_speed(TURN_HZ), idle_parts=idle)


def loud(spectra, *, quantile=0.5, without_hz=()):
    moments = hear_moments(spectra, quantiles=(quantile,), rotation_hz=TURN_HZ)
    return loudness(moments.powers[0], moments, spectra, tooth_hz=TOOTH_HZ, without_hz=np.array(without_hz))


def off_comb(spectra):
    return (np.abs(spectra.hz - np.round(spectra.hz / TURN_HZ) * TURN_HZ) > 4) & (spectra.hz > 100)


@pytest.fixture
def t():
    return np.arange(3 * RATE_HZ) / RATE_HZ


@pytest.fixture
def teeth(t):
    return np.sin(2 * np.pi * 400 * t) + np.sin(2 * np.pi * 3000 * t)  # equal, one in each band


def test_noise_beside_teeth_is_as_loud_as_it_was_made(rng, t, teeth):
    # White noise of variance 0.01 over 8000 Hz: 900 Hz of it lie low, 5000 Hz high; each tooth tone has 0.5.
    # What repeats every turn takes up some of the noise (the sliding average's share).
    got = loud(spectra_of(teeth + 0.1 * rng.normal(size=len(t))))
    asked = [np.log(0.01 * width / 8000 / 0.5) for width in (900, 5000)]
    assert got == pytest.approx(asked, abs=0.25)


def test_quieter_moments_are_as_loud_in_noise_and_fainter_with_a_voice(rng, t, teeth):
    noise = 0.3 * rng.normal(size=len(t))
    voiced = noise * np.where(np.sin(2 * np.pi * 2 * t) > 0.2, 1.0, 0.05)  # syllables
    even, talk = spectra_of(teeth + noise), spectra_of(teeth + voiced)
    assert loud(even, quantile=0.25) == pytest.approx(loud(even), abs=0.2)
    assert loud(talk, quantile=0.25)[0] < loud(even)[0] - 2


def test_what_idles_as_loud_and_lines_that_are_left_out_count_for_nothing(rng, t, teeth):
    noise = 0.1 * rng.normal(size=2 * len(t))
    tone = 0.3 * np.sin(2 * np.pi * 730 * t)
    own = loud(spectra_of(teeth + noise[: len(t)]))
    beside = loud(spectra_of(teeth + noise[: len(t)], idle=(noise[len(t) :],)))
    assert max(np.subtract(beside, own)) < -1.5  # the median of noise wavers about its mean
    with_tone = spectra_of(teeth + noise[: len(t)] + tone)
    assert loud(with_tone)[0] > own[0] + 2
    assert loud(with_tone, without_hz=[730.0])[0] == pytest.approx(own[0], abs=0.2)


def test_sidebands_a_turn_apart_are_concentrated_and_noise_is_not(rng, t, teeth):
    noise = 0.05 * rng.normal(size=len(t))
    lines = sum(0.1 * np.sin(2 * np.pi * (1030 + TURN_HZ * k) * t + k) for k in range(12))
    strangers = sum(0.1 * np.sin(2 * np.pi * hz * t) for hz in rng.uniform(1000, 2200, 12))
    held, lost, none = (
        concentration(spectra, among=off_comb(spectra), rotation_hz=TURN_HZ)
        for spectra in (spectra_of(teeth + noise + more) for more in (lines, strangers, 0.0))
    )
    assert 0 <= none < 0.1
    assert held > lost + 0.2
    assert held <= np.log(8)  # of eight parts no one has more than eight times the mean


def test_silence_has_no_concentration():
    spectra = spectra_of(np.zeros(RATE_HZ))
    assert concentration(spectra, among=off_comb(spectra), rotation_hz=TURN_HZ) == 0.0
    assert np.isfinite(loud(spectra)).all()
