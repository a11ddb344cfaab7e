"""Offsets, silent channels and other channels: what is judged is what a microphone heard."""

import numpy as np
import pytest

from chatter.cut import judge_recording
from chatter.cut.channel import choose_channel, without_offset
from tests.unit.cut.built import RATE_HZ, SETUP, built_cut, recording


@pytest.mark.parametrize("offset", [0.01, -0.1])
def test_offset_of_a_recorder_changes_nothing(rng, offset):
    sound = built_cut(rng, lone_hz=1310.0)
    plain, moved = (
        judge_recording(recording(one), setup=SETUP, pictures=True) for one in (sound, sound + offset)
    )
    shares = [one.pictures.turns.repeating_share for one in (plain, moved)]
    assert moved.worst.verdict == plain.worst.verdict
    assert moved.worst.chatter_probability == pytest.approx(plain.worst.chatter_probability, abs=0.01)
    assert shares[1] == pytest.approx(shares[0], abs=0.01)


def test_what_was_left_out_stays_silent_without_an_offset(rng):
    sound = np.concatenate([np.zeros(100), 0.1 + 0.01 * rng.normal(size=1000)])
    left = without_offset(recording(sound)).samples[0]
    assert not left[:100].any()
    assert left[100:].mean() == pytest.approx(0.0, abs=1e-6)


def test_recording_without_an_offset_is_left_alone(rng):
    plain = recording(np.tile([0.1, -0.1], 500))
    assert without_offset(plain) is plain


def all_cut(rng):
    """Give a cut that fills its recording, and the idling of an air pass."""
    cutting = built_cut(rng, cuts=((0.0, 7.0),), chatter_hz=1310.0)
    return cutting, 0.02 * rng.normal(size=len(cutting))


@pytest.mark.parametrize("live", [0, 1])
@pytest.mark.parametrize("live_in_air", [0, 1])
def test_silent_channels_of_cut_and_air_pass_are_passed_over(rng, live, live_in_air):
    cutting, idling = all_cut(rng)
    silent = np.zeros_like(cutting)
    pair, air = ([one, silent] for one in (cutting, idling))
    stereo = recording(pair[::-1] if live else pair)
    analysis = judge_recording(stereo, setup=SETUP, idle=recording(air[::-1] if live_in_air else air))
    assert analysis.channel == live
    assert analysis.worst.verdict == "chatter"


def test_loudest_channel_is_taken_where_none_rises(rng):
    noise = rng.normal(size=3 * RATE_HZ)
    channel, sections = choose_channel(recording([0.01 * noise, 0.1 * noise]), rotation_hz=99.0)
    assert (channel, sections.cuts) == (1, ())
