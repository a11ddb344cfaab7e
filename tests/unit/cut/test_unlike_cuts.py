"""Cuts of one recording that sound unlike each other: none may be taken for idle."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from chatter.audio import read_recording
from chatter.cut import judge_recording
from chatter.cut.no_cut import say_unjudged
from chatter.cut.sections import Section, Sections
from chatter.model import CutSetup, Recording

RECORDINGS = Path(__file__).parents[3] / "fixtures" / "recordings"
SETUP = CutSetup(rpm=12_000, flutes=2)
PIECE_S, CUT_S = 5.0, (1.2, 3.8)  # of both recordings, as fixtures/make_recordings.py makes them


@pytest.fixture(scope="module")
def pieces():
    """Give the stable and the chattering cut of the demonstration."""
    return {name: read_recording(RECORDINGS / f"clock-plate-{name}.flac") for name in ("quiet", "singing")}


def joined(pieces, *parts):
    """Join pieces, each a name and a gain in dB, or sound."""
    rate_hz = pieces["quiet"].rate_hz
    sounds = [
        part if isinstance(part, np.ndarray) else pieces[part[0]].samples[0] * 10 ** (part[1] / 20)
        for part in parts
    ]
    samples = np.concatenate(sounds)
    return Recording(
        file="joined.wav",
        sha256="0" * 64,
        samples=(samples / max(1.0, 1.01 * np.abs(samples).max())).astype(np.float32)[None],
        rate_hz=rate_hz,
        bandwidth_hz=pieces["quiet"].bandwidth_hz,
    )


@pytest.mark.parametrize("gain_db", [8.0, -6.0])
def test_chattering_cut_between_stable_ones_is_found_and_decides(pieces, gain_db):
    heard = joined(pieces, ("quiet", 0), ("singing", gain_db), ("quiet", 0))
    judged = judge_recording(heard, setup=SETUP)
    assert [cut.verdict for cut in judged.cuts] == ["stable", "chatter", "stable"]
    assert judged.worst is judged.cuts[1]
    starts = [cut.start_s for cut in judged.cuts]
    expected = [number * PIECE_S + CUT_S[0] for number in range(3)]
    assert starts == pytest.approx(expected, abs=0.2)  # the figure that the project set itself


def test_stable_cut_between_chattering_ones_is_found(pieces):
    judged = judge_recording(joined(pieces, ("singing", 8), ("quiet", 0), ("singing", 8)), setup=SETUP)
    assert [cut.verdict for cut in judged.cuts] == ["chatter", "stable", "chatter"]


def test_vacuum_switched_on_between_cuts_is_no_cut(pieces, rng):
    rate_hz = int(pieces["quiet"].rate_hz)
    idle = np.tile(pieces["quiet"].samples[0][:rate_hz], 5)
    whole_s = np.arange(len(idle)) / rate_hz
    on = (whole_s >= 1) & (whole_s < 4)
    vacuum = idle + on * (rng.normal(0, 0.02, len(idle)) + 0.02 * np.sin(2 * np.pi * 317 * whole_s))
    judged = judge_recording(joined(pieces, ("quiet", 0), vacuum, ("singing", 8)), setup=SETUP)
    assert [cut.verdict for cut in judged.cuts] == ["stable", "chatter"]


def played(sound, factor):
    """Play a sound at another speed: that of the spindle is another, too."""
    at = np.arange(0, len(sound) - 1, factor)
    return np.interp(at, np.arange(len(sound)), sound)


def test_cut_at_another_speed_is_told_as_not_judged(pieces):
    # An eighth faster: a spindle at 13,600 rpm, which none looks for at 12,000.
    faster = played(pieces["quiet"].samples[0], 1.13)
    judged = judge_recording(joined(pieces, ("quiet", 0), faster), setup=SETUP)
    assert [cut.verdict for cut in judged.cuts] == ["stable"]
    (told,) = [one.message for one in judged.findings if one.code == "not-judged"]
    start_s, end_s = (float(number) for number in told.split(" s ")[0].split("from ")[1].split(" to "))
    expected_s = [PIECE_S + edge_s / 1.13 for edge_s in CUT_S]
    assert [start_s, end_s] == pytest.approx(expected_s, abs=0.2)


@pytest.mark.parametrize(
    ("name", "factor", "gain_db"), [("quiet", 1.3, 0), ("quiet", 1.3, -20), ("singing", 1 / 1.3, -20)]
)
@pytest.mark.parametrize("first", [True, False])
def test_cut_at_the_speed_told_is_judged_beside_one_at_another_speed(
    pieces, name, factor, gain_db, first, rng
):
    other = played(pieces[name].samples[0], factor)
    other = other + 1e-5 * rng.normal(size=len(other))
    told = ("quiet", gain_db)
    judged = judge_recording(joined(pieces, *((told, other) if first else (other, told))), setup=SETUP)
    assert [cut.verdict for cut in judged.cuts] == ["stable"]
    start_s = CUT_S[0] if first else len(other) / pieces[name].rate_hz + CUT_S[0]
    assert judged.cuts[0].start_s == pytest.approx(start_s, abs=0.2)
    codes = {one.code for one in judged.findings}
    assert "not-judged" in codes
    assert "facts-do-not-fit" not in codes  # they fit what was judged


def test_loud_spell_that_sounds_unlike_the_cut_is_told_as_not_judged(pieces):
    other = played(pieces["singing"].samples[0], 1.3)
    judged = judge_recording(joined(pieces, ("quiet", 0), other), setup=SETUP)
    assert [cut.verdict for cut in judged.cuts] == ["stable"]
    assert "not-judged" in {one.code for one in judged.findings}


def test_many_spells_that_were_not_judged_are_told_once(pieces):
    other = played(pieces["quiet"].samples[0], 1.13)
    judged = judge_recording(joined(pieces, ("quiet", 0), *[other] * 5), setup=SETUP)
    (told,) = [one.message for one in judged.findings if one.code == "not-judged"]
    assert told.count("from ") == 3
    assert " s and 2 more times lacks " in told


def test_cut_a_quarter_faster_than_told_is_not_taken_for_chatter(pieces):
    # Four of five of its lines fit the speed told as little as chatter's would.
    faster = played(pieces["quiet"].samples[0], 1.25)
    judged = judge_recording(joined(pieces, faster, ("quiet", 0)), setup=SETUP)
    assert "chatter" not in {cut.verdict for cut in judged.cuts}
    assert judged.cuts[-1].verdict == "stable"


def test_recording_of_which_all_is_judged_tells_of_nothing_left_out(pieces):
    judged = judge_recording(joined(pieces, ("quiet", 0), ("singing", 0)), setup=SETUP)
    assert "not-judged" not in {one.code for one in judged.findings}


def test_soft_cut_in_noise_beside_one_that_chatters_loudly_is_found(pieces, rng):
    heard = joined(pieces, ("quiet", -24), ("singing", 8))
    noise = 10 ** (-50 / 20) * rng.normal(size=heard.samples.shape)
    judged = judge_recording(replace(heard, samples=(heard.samples + noise).astype(np.float32)), setup=SETUP)
    assert [cut.verdict for cut in judged.cuts] == ["stable", "chatter"]
    assert [cut.start_s for cut in judged.cuts] == pytest.approx([CUT_S[0], PIECE_S + CUT_S[0]], abs=0.2)


def test_spell_that_became_a_cut_is_told_once_where_it_was_not_judged():
    cut, spell = (Section(start_s=a, end_s=a + 3, open_start=False, open_end=False) for a in (1.0, 8.0))
    found = Sections(cuts=(cut, spell), idle=(), rise_db=20.0, loud_spells=(spell,))
    (told,) = say_unjudged(found, ())
    assert told.message.startswith("What is loud from 1.0 to 4.0 s and from 8.0 to 11.0 s lacks")
