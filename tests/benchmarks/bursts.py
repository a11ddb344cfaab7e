"""Score short chatter: cuts too deep for a moment, and stable ones beside which something else sounds.

    PYTHONPATH=. python tests/benchmarks/bursts.py chatter 100
    PYTHONPATH=. python tests/benchmarks/bursts.py sounds 180

"chatter": scenes of the suite's "other" and "workshop" in turn, stable but for 0.15 to 0.7 s at 1.4 to 3
times the limit depth, soon after the cut's begin, in its middle or at its very end. Those count in which the
clean sound holds ten times more off the comb then than before, a fifth of its power. "sounds": stable scenes
and a knock, a clap, a tool that falls and rings, a bell, a voice, a whistle, a beep, clicking chips or a
squeal, half to four times as loud as the cut. Results: docs/verdicts.md.
"""

import argparse
import sys
from collections import Counter
from dataclasses import dataclass, replace
from unittest import mock

import numpy as np
from numpy.typing import NDArray

from chatter.cut import judge_recording
from chatter.errors import BadValueError
from chatter.model import CutAnalysis, CutSetup
from chatter.simulate import RenderedScene, random_scene
from chatter.simulate import scene as scenes
from tests.benchmarks.sounds import SOUNDS, make_sound
from tests.recordings_made import as_recording

Floats = NDArray[np.float64]
SEEDS = {"chatter": 61, "sounds": 62}
LENGTHS_S, CUT_S = (0.15, 0.25, 0.4, 0.7), (2.5, 4.0, 7.0)
AFTER_ENTRY_S, EDGE_S = 0.3, 0.02
LEAST_RISE, LEAST_SHARE = 10.0, 0.2
SOUND_DB = (-6.0, 0.0, 6.0, 12.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """A recording with one moment unlike the rest."""

    rendered: RenderedScene
    kind: str
    start_s: float
    end_s: float

    def judge(self) -> CutAnalysis:
        """Judge it, told speed and flutes."""
        made = self.rendered
        recording = as_recording(made.samples, rate_hz=made.rate_hz)
        return judge_recording(recording, setup=CutSetup(rpm=made.programmed_rpm, flutes=made.flutes))


def _off_comb(sound: Floats, *, rate_hz: float, turn_hz: float) -> tuple[float, float]:
    """Give the mean power off the comb and everywhere, from 100 to 8,000 Hz."""
    window = np.hanning(len(sound))
    power = np.abs(np.fft.rfft(sound * window, 2**17)) ** 2 / np.sum(window**2)
    hz = np.fft.rfftfreq(2**17, 1 / rate_hz)
    heard = (hz > 100) & (hz < 8000)
    away_hz = np.abs(hz - np.round(hz / turn_hz) * turn_hz)
    off = heard & (away_hz > max(4 * rate_hz / len(sound), 0.06 * turn_hz))
    return float(power[off].sum()), float(power[heard].sum())


def draw_chatter(rng: np.random.Generator, *, family: str) -> Moment | None:
    """Draw a cut that is too deep for a moment; None where it can't be used, or hardly chatters then."""
    scene = random_scene(rng, family=family, chattering=False)
    length_s, cut_s = float(rng.choice(LENGTHS_S)), float(rng.choice(CUT_S))
    shallow, deep = float(rng.uniform(0.35, 0.75)), float(rng.uniform(1.4, 3.0))
    free_s = cut_s - 2 * AFTER_ENTRY_S - length_s
    first_s = float(rng.choice([AFTER_ENTRY_S, AFTER_ENTRY_S + free_s / 2, cut_s - length_s]))
    scene = replace(scene, cut_s=cut_s, cuts=1, depth_ratio=shallow)
    start_s, total_s = scene.idle_s[0] + first_s, scene.idle_s[0] + cut_s + scene.idle_s[1]
    clean: list[Floats] = []
    simulate, radiate = scenes.simulate_cut, scenes._radiate

    def deeper(*args, depth_m, **named):
        t = np.linspace(0, total_s, len(depth_m), endpoint=False)
        inside = np.clip(np.minimum(t - start_s, start_s + length_s - t) / EDGE_S, 0, 1)
        return simulate(*args, depth_m=depth_m * (1 + (deep / shallow - 1) * inside), **named)

    def kept(*args):
        clean.append(radiate(*args))
        return clean[-1]

    try:
        with mock.patch.object(scenes, "simulate_cut", deeper), mock.patch.object(scenes, "_radiate", kept):
            rendered = scenes.render_scene(scene)
    except BadValueError:  # the simulator can't follow it, or its answer isn't clear
        return None
    rate, turn_hz = rendered.rate_hz, rendered.true_rpm / 60

    def part(from_s: float, to_s: float) -> tuple[float, float]:
        return _off_comb(clean[0][int(from_s * rate) : int(to_s * rate)], rate_hz=rate, turn_hz=turn_hz)

    before, _ = part(start_s - AFTER_ENTRY_S + 0.1, start_s)
    there, everywhere = part(start_s, start_s + length_s)
    if there < LEAST_RISE * before or there < LEAST_SHARE * everywhere:
        return None
    return Moment(rendered=rendered, kind=f"{length_s:g} s", start_s=start_s, end_s=start_s + length_s)


def draw_sound(rng: np.random.Generator, *, family: str, kind: str) -> Moment | None:
    """Draw a stable cut beside which something else sounds; None where the scene can't be used."""
    scene = replace(random_scene(rng, family=family, chattering=False), cuts=1)
    try:
        rendered = scenes.render_scene(scene)
    except BadValueError:
        return None
    rate = rendered.rate_hz
    ((start_s, end_s),) = rendered.cut_times_s
    sound = make_sound(kind, rng, rate_hz=rate)
    samples = rendered.samples.copy()
    level = float(np.std(samples[0, int(start_s * rate) : int(end_s * rate)]))
    at_s = start_s + float(rng.uniform(0.1, 0.8)) * (end_s - start_s)
    place = slice(int(at_s * rate), min(int(at_s * rate) + len(sound), samples.shape[1]))
    loud = level * 10 ** (float(rng.choice(SOUND_DB)) / 20)
    samples[0, place] += (loud * sound[: place.stop - place.start]).astype(samples.dtype)
    samples /= max(1.0, 1.01 * float(np.abs(samples).max()))
    rendered = replace(rendered, samples=samples)
    return Moment(rendered=rendered, kind=kind, start_s=at_s, end_s=at_s + len(sound) / rate)


def draw_moments(what: str, count: int, seed: int) -> list[Moment]:
    """Draw moments; the same seed gives the same ones."""
    rng = np.random.default_rng(seed)
    found: list[Moment] = []
    while len(found) < count:
        family = ("other", "workshop")[len(found) % 2]
        if what == "chatter":
            one = draw_chatter(rng, family=family)
        else:
            one = draw_sound(rng, family=family, kind=SOUNDS[len(found) % len(SOUNDS)])
        if one is not None:
            found.append(one)
    return found


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=sorted(SEEDS))
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int)
    given = parser.parse_args()
    seed = SEEDS[given.what] if given.seed is None else given.seed
    told: dict[str, Counter[str]] = {}
    for one in draw_moments(given.what, given.count, seed):
        analysis = one.judge()
        worst = analysis.worst
        verdict = "undecided" if worst is None else worst.verdict
        if verdict == "stable" and any(finding.code == "unlike-rest" for finding in analysis.findings):
            verdict = "stable, unlike rest"
        told.setdefault(one.kind, Counter())[verdict] += 1
        if verdict == "stable" and worst is not None and (worst.chatter_probability or 0.0) < 0.05:
            told[one.kind]["(surely stable)"] += 1
    for kind, verdicts in sorted(told.items()):
        sys.stdout.write(f"{kind}: {dict(sorted(verdicts.items()))}\n")


if __name__ == "__main__":
    main()
