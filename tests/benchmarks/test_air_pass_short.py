"""Short form of the benchmark of air passes: they are of the cut's own shop, and spoil no answer."""

import numpy as np

from chatter.simulate import random_scene
from tests.benchmarks.air_pass import judge_both
from tests.benchmarks.suite import render


def test_air_passes_of_a_few_scenes_turn_no_right_answer_into_a_wrong_one():
    rng = np.random.default_rng(200)
    pairs = [pair for _ in range(6) if (pair := judge_both(random_scene(rng, family="other"))) is not None]
    assert len(pairs) >= 4
    for without, beside in pairs:
        right = "chatter" if without.chattering else "stable"
        assert beside.verdict == right or without.verdict != right


def test_air_pass_is_quieter_than_the_cut_and_as_long():
    rng = np.random.default_rng(200)
    made = render(random_scene(rng, family="other"), air_pass=True)
    assert made is not None
    rendered, _ = made
    (start_s, end_s), rate = rendered.cut_times_s[0], rendered.rate_hz
    during = slice(int(start_s * rate), int(end_s * rate))
    assert rendered.air_pass.shape == rendered.samples.shape
    # Shop noise lies 4 dB or more below the cut: 0.63 of it, 0.53 of both together, and an axis drive.
    assert np.std(rendered.air_pass[0, during]) < 0.7 * np.std(rendered.samples[0, during])
