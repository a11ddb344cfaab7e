"""What idles at the ends of a loud spell is no part of the cut: a spindle started, a vacuum that runs on."""

from dataclasses import replace

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.sections import Section
from chatter.cut.standing import part_section
from tests.unit.cut.built import RATE_HZ, SETUP, recording

TURN_HZ = 99.0
ON, CUT, OFF, END = 1.0, (3.5, 6.0), 8.5, 9.5  # s: spindle on, cutting, off, end of the file


def clock():
    return np.arange(int(END * RATE_HZ)) / RATE_HZ


def teeth(depth, *, flutes=2):
    """Give tooth passing of a depth along time, shape (n,)."""
    t = clock()
    return depth * sum(np.sin(2 * np.pi * flutes * k * TURN_HZ * t + k) / k for k in range(1, 12))


def spindle(rng, *, loud, start_s=1.0):
    """Give a spindle that is started and stopped, its harmonics as loud as they happen to be."""
    t = clock()
    on = np.clip(np.minimum(t - ON, OFF - t) / start_s, 0, 1)
    turns = np.cumsum(on * TURN_HZ) / RATE_HZ
    orders = np.arange(1, 30)
    levels = 10 ** rng.normal(-0.02 * orders, 0.4)
    levels /= np.sqrt(np.sum(levels**2) / 2)
    whine = sum(level * np.sin(2 * np.pi * k * turns + k) for k, level in zip(orders, levels, strict=True))
    return loud * on**2 * (whine + 0.3 * rng.normal(size=len(t)))


def made(rng, *, loud=0.3, chatter_hz=None):
    t = clock()
    inside = (t >= CUT[0]) & (t < CUT[1])
    cutting = teeth(1.0) + 0.15 * rng.normal(size=len(t))
    if chatter_hz is not None:
        for k in (-4, -2, 0, 2, 4):
            cutting = cutting + (0.8 if k == 0 else 0.3) * np.sin(2 * np.pi * (chatter_hz + k * TURN_HZ) * t)
    return 0.1 * (np.where(inside, cutting, 0.0) + spindle(rng, loud=loud)) + 0.002 * rng.normal(size=len(t))


@pytest.mark.parametrize("loud", [0.1, 0.3, 0.5])  # 20, 10 and 6 dB below the cut
@pytest.mark.parametrize("chatter_hz", [None, 1325.0])
def test_cut_is_told_from_a_loud_spindle_that_is_started_and_stopped_in_the_recording(rng, loud, chatter_hz):
    sound = made(rng, loud=loud, chatter_hz=chatter_hz)
    (cut,) = judge_recording(recording(sound), setup=SETUP).cuts
    assert cut.verdict == ("stable" if chatter_hz is None else "chatter")
    assert (cut.start_s, cut.end_s) == pytest.approx(CUT, abs=0.2)


def section(start_s=ON, end_s=OFF):
    return Section(start_s=start_s, end_s=end_s, open_start=False, open_end=False)


def test_what_idles_at_both_ends_is_given_as_idle(rng):
    parted = part_section(made(rng), section(), rate_hz=RATE_HZ, rotation_hz=TURN_HZ, flutes=2)
    assert (parted.section.start_s, parted.section.end_s) == pytest.approx(CUT, abs=0.15)
    assert not any(a < CUT[1] and b > CUT[0] for a, b in parted.idle)
    assert sum(b - a for a, b in parted.idle) > 3.5


@pytest.mark.parametrize("light", [0.15, 0.3, 0.6])
def test_lighter_cut_before_a_deep_one_is_part_of_it(rng, light):
    t = clock()
    sound = 0.1 * teeth(np.where(t < 4.0, light, 1.0)) + 0.005 * rng.normal(size=len(t))
    whole = section()
    assert part_section(sound, whole, rate_hz=RATE_HZ, rotation_hz=TURN_HZ, flutes=2).section is whole


def test_stable_part_before_chatter_begins_is_part_of_the_cut(rng):
    t = clock()
    lines = sum(np.sin(2 * np.pi * (1325.0 + k * TURN_HZ) * t) for k in (-4, -2, 0, 2, 4))
    sound = 0.1 * (teeth(1.0) + np.where(t > 4.5, 3.0, 0.0) * lines) + 0.005 * rng.normal(size=len(t))
    whole = section()
    assert part_section(sound, whole, rate_hz=RATE_HZ, rotation_hz=TURN_HZ, flutes=2).section is whole


def test_long_cut_is_looked_at_piece_by_piece(rng):
    sound = made(rng)
    t = clock()
    longer = np.concatenate(
        [sound[t < 4.5], *(sound[(t >= 4.5) & (t < 5.5)] for _ in range(40)), sound[t >= 5.5]]
    )
    parted = part_section(
        longer, section(ON, OFF + 39), rate_hz=RATE_HZ, rotation_hz=TURN_HZ, flutes=2
    ).section
    assert (parted.start_s, parted.end_s) == pytest.approx((CUT[0], CUT[1] + 39), abs=0.15)


def test_spindle_too_fast_for_the_band_is_not_parted(rng):
    whole = section()
    assert part_section(made(rng), whole, rate_hz=RATE_HZ, rotation_hz=2000.0, flutes=2).section is whole


@pytest.mark.parametrize(("facts", "asked"), [({}, 1), ({"depth_from_mm": 0.2, "depth_to_mm": 2.0}, 0)])
def test_ramped_pass_is_never_parted(rng, monkeypatch, facts, asked):
    # There the two states may as well be stable and chattering.
    calls = []

    def spy(samples, sections, cuts, **named):
        calls.append(named)
        return sections, cuts

    monkeypatch.setattr("chatter.cut.pipeline.leave_idling", spy)
    assert judge_recording(recording(made(rng)), setup=replace(SETUP, **facts)).cuts
    assert len(calls) == asked
