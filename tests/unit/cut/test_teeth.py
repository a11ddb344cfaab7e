"""Loud parts without louder harmonics of the spindle are no cuts."""

from dataclasses import replace

import numpy as np
import pytest

from chatter.cut import pipeline
from chatter.cut.spectrum import comb_rise
from tests.unit.cut.built import SETUP, built_cut, recording


@pytest.fixture
def studied(rng):
    """Give two cuts of one built recording, tooth passing clearly above the idle part."""
    _, _, cuts = pipeline.study_recording(
        recording(built_cut(rng, cuts=((2.0, 4.5), (5.5, 8.0)), seconds=10.0)), setup=SETUP
    )
    assert len(cuts) == 2
    return list(cuts)


def over_idle(cut, *, rise):
    """Give a cut as it would be beside an idle part whose harmonics are `rise` nepers fainter."""
    now = comb_rise(cut.spectra, rotation_hz=cut.speed.rotation_hz)
    return replace(cut, spectra=replace(cut.spectra, idle=cut.spectra.idle * np.exp(now - rise)))


def heard_by_its_lines_alone(part):
    """Give a part whose loudness shows no comb beside what idles: a voice, say."""
    return replace(part, speed=replace(part.speed, comb=None))


def test_rise_of_the_comb_is_the_log_of_its_power_over_the_idle_part(studied):
    spectra = studied[0].spectra
    idle = replace(spectra, idle=spectra.whole / 100)
    # A hundred times the power is 20 dB, or log(100) = 4.605 nepers.
    assert comb_rise(idle, rotation_hz=studied[0].speed.rotation_hz) == pytest.approx(4.605, abs=1e-3)
    assert comb_rise(replace(spectra, idle=None), rotation_hz=99.0) == np.inf


def test_part_whose_harmonics_are_no_louder_than_idling_is_no_cut_beside_one(studied):
    cut, voice = studied[0], heard_by_its_lines_alone(over_idle(studied[1], rise=0.1))
    assert pipeline._with_teeth([cut, voice]) == (cut,)


def test_cut_of_a_sure_comb_stays_one_where_the_gain_was_turned_down(studied):
    cut, turned_down = studied[0], over_idle(studied[1], rise=-0.3)
    assert turned_down.speed.chance > pipeline.SURE_COMB
    assert pipeline._with_teeth([cut, turned_down]) == (cut, turned_down)


def test_faint_cut_alone_stays_one_and_one_drowned_by_its_idle_part_does_not(studied):
    faint, drowned = over_idle(studied[0], rise=0.1), over_idle(studied[0], rise=-4.0)
    assert pipeline._with_teeth([faint]) == (faint,)
    assert pipeline._with_teeth([drowned]) == ()
