"""Score cuts along whose path the tool comes and goes: looping (trochoidal) paths, and pecks.

    PYTHONPATH=. python tests/benchmarks/paths.py loops 60
    PYTHONPATH=. python tests/benchmarks/paths.py pecks 60

Scenes of the suite's "other" and "workshop" in turn, half of them chattering (1.4 to 2.5 times the limit
depth at the deepest; the others 0.3 to 0.75). "loops": 1.2 to 6 times a second the depth swells to the full
one and the tool leaves; "pecks": 0.8 to 2 times a second it cuts for six tenths. Period doubling of even
flutes is left out. Results: docs/verdicts.md.
"""

import argparse
import sys
from dataclasses import replace
from unittest import mock

import numpy as np
from numpy.typing import NDArray

from chatter.cut import judge_recording
from chatter.errors import BadValueError
from chatter.model import CutSetup
from chatter.simulate import RenderedScene, random_scene
from chatter.simulate import scene as scenes
from tests.recordings_made import as_recording

Floats = NDArray[np.float64]
SEEDS = {"loops": 71, "pecks": 72}
CUT_S = (4.0, 7.0)
SHALLOW, DEEP = (0.3, 0.75), (1.4, 2.5)


def depth_along(kind: str, rng: np.random.Generator, t: Floats) -> Floats:
    """Give the share of the depth, shape (n,), at times from the cut's start on."""
    if kind == "loops":
        return np.asarray(np.clip(1.3 * np.sin(2 * np.pi * rng.uniform(1.2, 6) * t), 0, 1))
    into = (t * rng.uniform(0.8, 2)) % 1
    return np.asarray(np.clip(np.minimum(into, 0.6 - into) / 0.05, 0, 1))


def draw_path(kind: str, rng: np.random.Generator, *, family: str, chatters: bool) -> RenderedScene | None:
    """Draw a cut along such a path; None where it can't be used."""
    scene = random_scene(rng, family=family, chattering=chatters)
    scene = replace(
        scene,
        cut_s=float(rng.uniform(*CUT_S)),
        cuts=1,
        depth_ratio=float(rng.uniform(*(DEEP if chatters else SHALLOW))),
    )
    total_s = scene.idle_s[0] + scene.cut_s + scene.idle_s[1]
    simulate, path = scenes.simulate_cut, np.random.default_rng(scene.seed)

    def along(*args, depth_m, **named):
        t = np.linspace(0, total_s, len(depth_m), endpoint=False) - scene.idle_s[0]
        return simulate(*args, depth_m=depth_m * depth_along(kind, path, t), **named)

    try:
        with mock.patch.object(scenes, "simulate_cut", along):
            rendered = scenes.render_scene(scene)
    except BadValueError:  # the simulator can't follow it, or its answer isn't clear
        return None
    return None if rendered.kind == "flip" and rendered.flutes % 2 == 0 else rendered


def judge_paths(kind: str, count: int, seed: int) -> list[tuple[bool, str, float | None, bool]]:
    """Give for each cut whether it chatters, the answer, its chance, and whether the path was noticed."""
    rng = np.random.default_rng(seed)
    answers: list[tuple[bool, str, float | None, bool]] = []
    while len(answers) < count:
        number = len(answers)
        chatters = number // 2 % 2 == 1
        made = draw_path(kind, rng, family=("other", "workshop")[number % 2], chatters=chatters)
        if made is None:
            continue
        recording = as_recording(made.samples, rate_hz=made.rate_hz)
        analysis = judge_recording(recording, setup=CutSetup(rpm=made.programmed_rpm, flutes=made.flutes))
        worst = analysis.worst
        noticed = any(finding.code == "comes-and-goes" for finding in analysis.findings)
        verdict = "undecided" if worst is None else worst.verdict
        answers.append((chatters, verdict, None if worst is None else worst.chatter_probability, noticed))
    return answers


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=sorted(SEEDS))
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int)
    given = parser.parse_args()
    answers = judge_paths(given.kind, given.count, SEEDS[given.kind] if given.seed is None else given.seed)
    for name, chatters in (("stable", False), ("chatter", True)):
        verdicts = [verdict for truly, verdict, _, _ in answers if truly == chatters]
        counts = {one: verdicts.count(one) for one in ("stable", "marginal", "chatter", "undecided")}
        sys.stdout.write(f"{name}: {counts}\n")
    wrong = sum(
        chance is not None and (chance > 0.95, chance < 0.05)[truly] for truly, _, chance, _ in answers
    )
    noticed = sum(seen for *_, seen in answers)
    sys.stdout.write(f"surely wrong {wrong}, noticed that the tool comes and goes in {noticed}\n")


if __name__ == "__main__":
    main()
