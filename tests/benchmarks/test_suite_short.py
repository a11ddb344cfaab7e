"""The short form of the scored suite: the same figures, on a few scenes, held to what can't be chance."""

import numpy as np
import pytest

from chatter.simulate import random_scene, render_scene
from chatter.simulate.codec import Codec
from tests.benchmarks.suite import Row, figures, judge, line_matches, scenes


def test_two_dozen_scenes_of_two_families_are_ranked_far_better_than_by_chance():
    got = figures(scenes("other", 14, seed=901) + scenes("school", 10, seed=901))
    # Chance gives an AUC of 0.5 with a deviation of 0.12 on 24 scenes; 0.85 is three of them away.
    assert got["AUC"] > 0.85
    # The long form measured far more (docs/verdicts.md); a binomial of 24 at 0.8 stays above half.
    assert got["start within 0.2 s"] > 0.5
    assert np.isfinite(list(got.values())).all()


def test_figures_count_undecided_as_half_and_leave_out_what_cannot_be_told():
    def row(*, chattering, verdict, probability, scored=True):
        return Row(
            codec="wav",
            chattering=chattering,
            scored=scored,
            verdict=verdict,
            probability=probability,
            family_marks=(),
            lineless=(),
            speed_right=True,
            speed_deviations=1.0,
            start_right=True,
            line_right=chattering,
        )

    rows = [
        row(chattering=True, verdict="chatter", probability=0.99),
        row(chattering=True, verdict="undecided", probability=None),
        row(chattering=False, verdict="stable", probability=0.02),
        row(chattering=False, verdict="chatter", probability=0.97),
        row(chattering=True, verdict="stable", probability=0.01, scored=False),
    ]
    got = figures(rows)
    # By hand: of four pairs, 0.99 beats both and 0.5 beats one; three rows are sure, one of them wrong.
    assert got["AUC"] == pytest.approx(0.75)
    assert got["right verdict, mean of both"] == pytest.approx(0.5)
    assert got["sure"] == pytest.approx(0.75)
    assert got["wrong among the sure"] == pytest.approx(1 / 3)
    assert got["undecided"] == pytest.approx(0.25)


def test_same_scene_gives_the_same_speed_through_every_codec():
    rng = np.random.default_rng(11)
    rendered = render_scene(random_scene(rng, family="workshop", chattering=False))
    codecs = [
        Codec(name="wav", suffix=".wav"),
        Codec(name="flac", suffix=".flac"),
        Codec(name="aac", suffix=".m4a", bit_rate=128_000),
        Codec(name="mp3", suffix=".mp3", bit_rate=128_000),
        Codec(name="opus", suffix=".webm", bit_rate=64_000),
    ]
    rows = [judge(rendered, codec=codec) for codec in codecs]
    assert [row.codec for row in rows] == ["wav", "flac", "aac", "mp3", "opus"]
    assert all(row.speed_right and row.start_right for row in rows)


def test_lines_of_one_family_match_and_others_do_not():
    # By hand: at 100 turns a second 930 = 1000 - 70 and 270 = 200 + 70 Hz are one family, 240 Hz isn't.
    assert line_matches(930.0, 270.0, 100.0)
    assert not line_matches(930.0, 240.0, 100.0)
