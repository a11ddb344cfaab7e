"""Where cuts begin, and soft ones beside loud ones."""

import numpy as np
import pytest

from chatter.cut.sections import Sections, find_sections, find_softer
from tests.unit.cut.built import RATE_HZ, built_cut


def sections(samples):
    return find_sections(samples, rate_hz=RATE_HZ, bandwidth_hz=RATE_HZ / 2, rotation_hz=99.0)


@pytest.mark.parametrize("entry_s", [0.02, 0.3])
def test_cut_begins_where_it_leaves_the_quiet_even_if_chatter_grows_later(rng, entry_s):
    t = np.arange(7 * RATE_HZ) / RATE_HZ
    entry = np.clip((t - 2.0) / entry_s, 0.0, 1.0)
    teeth = built_cut(rng, cuts=((0.0, 4.5),))
    loud = 30 * built_cut(rng, cuts=((2.0 + entry_s, 4.5),), chatter_hz=1310.0)
    noise = 0.01 * rng.normal(size=len(t))
    (cut,) = sections(entry * teeth + np.where(t > 2.0 + entry_s, loud, 0.0) + noise).cuts
    assert cut.start_s == pytest.approx(2.0, abs=0.15)


def test_softer_spell_is_looked_for_in_what_the_loud_cut_leaves(rng):
    soft = built_cut(rng, cuts=((2.0, 4.0),), seconds=10.0)
    loud = 30 * built_cut(rng, cuts=((6.0, 8.0),), seconds=10.0, chatter_hz=1310.0)
    t = np.arange(len(soft)) / RATE_HZ
    samples = soft + np.where((t > 6.0) & (t < 8.0), loud, 0.0) + 0.05 * rng.normal(size=len(t))
    found = sections(samples)
    assert [cut.start_s for cut in found.cuts] == pytest.approx([6.0], abs=0.1)
    softer = find_softer(
        samples,
        Sections(cuts=found.cuts, idle=found.idle, rise_db=found.rise_db),
        rate_hz=RATE_HZ,
        bandwidth_hz=RATE_HZ / 2,
        rotation_hz=99.0,
    )
    assert softer.cuts == found.cuts
    (spell,) = softer.spells
    assert (spell.start_s, spell.end_s) == pytest.approx((2.0, 4.0), abs=0.2)


def test_recording_without_a_cut_has_no_softer_one():
    none = Sections(cuts=(), idle=((0.0, 5.0),), rise_db=0.0)
    assert (
        find_softer(np.zeros(5 * RATE_HZ), none, rate_hz=RATE_HZ, bandwidth_hz=8000.0, rotation_hz=99.0)
        is none
    )
