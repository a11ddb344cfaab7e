"""Sections that hold more than the cut: something loud ran on after it."""

from types import SimpleNamespace

import numpy as np
import pytest

from chatter.cut.sections import Section, Sections
from chatter.cut.spindle import BELIEVED
from chatter.cut.study import look_inside
from tests.unit.cut.built import RATE_HZ, SETUP, recording

LOUD = Section(start_s=2.0, end_s=7.0, open_start=False, open_end=False)
SECTIONS = Sections(cuts=(LOUD,), idle=((0.0, 1.9), (7.1, 9.0)), rise_db=20.0)
CUT_ENDS_S = 4.5


def look(rng, *, whole, part):
    """Look inside five loud seconds, twice as loud before 4.5 s; the chances of the whole and of a part."""
    t = np.arange(9 * RATE_HZ) / RATE_HZ
    level = np.where((t >= 2) & (t < 7), 0.1, 0.001) * np.where(t < CUT_ENDS_S, 2.0, 1.0)
    samples = level * rng.normal(size=len(t))
    asked = []

    def study(section, *, idle):
        asked.append((section, idle))
        chance = whole if section == LOUD else part
        return None if chance is None else SimpleNamespace(speed=SimpleNamespace(chance=chance))

    found = look_inside(samples, SECTIONS, recording=recording(samples), setup=SETUP, study=study)
    return *found, asked


def test_section_without_a_comb_is_parted_where_its_louder_state_has_one(rng):
    sections, known, asked = look(rng, whole=None, part=0.6)
    (part,) = sections.cuts
    assert (part.start_s, part.open_start) == (2.0, False)  # the inner part begins with its section
    assert part.end_s == pytest.approx(CUT_ENDS_S, abs=0.05)
    assert known[part].speed.chance == 0.6
    assert LOUD not in known
    # What is left is idle, for this cut and those beside it.
    (rest,) = [span for span in sections.idle if span not in SECTIONS.idle]
    assert rest[0] == pytest.approx(CUT_ENDS_S, abs=0.3)
    assert rest[1] == pytest.approx(7.0, abs=0.05)
    assert rest in asked[-1][1]


@pytest.mark.parametrize(("whole", "part"), [(BELIEVED, 0.9), (0.2, 0.1), (None, None)])
def test_section_stays_whole_where_its_comb_is_believed_or_no_part_has_a_likelier_one(rng, whole, part):
    sections, known, _ = look(rng, whole=whole, part=part)
    assert sections == SECTIONS
    assert list(known) == [LOUD]
    assert (known[LOUD] is None) == (whole is None)
