"""How rough simulated chip formation has to be for a stable cut to sound like a recorded one.

    PYTHONPATH=. python tests/benchmarks/roughness.py FILE RPM FLUTES

Prints two marks of the verdict, what does not repeat over what does in low and in high tones (logs of power,
chatter/cut/unrepeated.py): the middle one of the cuts of a recording that is known to be stable, and the
10 %, 50 % and 90 % quantiles of simulated stable cuts whose force is rougher and rougher. The roughness of
chatter/simulate/scene.py is drawn from a range with the recorded cuts inside it. Results: docs/methods.md.
"""

import argparse
import multiprocessing
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from chatter.audio import read_recording
from chatter.cut import study_recording
from chatter.cut.verdict import marks
from chatter.model import CutSetup, Recording
from chatter.simulate import Scene, random_scene
from chatter.simulate.school import SchoolScene, random_school_scene
from tests.benchmarks.suite import PROCESSES, read_back, render

ROUGHNESSES = (0.01, 0.05, 0.15, 0.3)
SCENES = 28  # of each family
NAMES = ("low", "high")


def loudness(recording: Recording, *, rpm: float, flutes: int) -> list[tuple[float, float]]:
    """Give both marks of each cut of a recording."""
    cuts = study_recording(recording, setup=CutSetup(rpm=rpm, flutes=flutes))[2]
    heard = [marks(cut.evidence) for cut in cuts]
    return [(one["low"], one["high"]) for one in heard]


def of_scene(scene: Scene | SchoolScene, *, roughness: float) -> list[tuple[float, float]]:
    """Give both marks of each cut of a scene, as rough as asked; none where it can't be used."""
    made = render(replace(scene, roughness=roughness))
    if made is None:
        return []
    rendered, codec = made
    return loudness(read_back(rendered, codec=codec), rpm=rendered.programmed_rpm, flutes=rendered.flutes)


def stable_scenes(family: str, count: int) -> list[Scene | SchoolScene]:
    """Draw scenes below the limit; the same every time."""
    rng = np.random.default_rng(5)
    drawn: list[Scene | SchoolScene] = []
    while len(drawn) < count:
        scene = random_school_scene(rng) if family == "school" else random_scene(rng, family=family)
        if scene.depth_ratio < 1:
            drawn.append(scene)
    return drawn


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("rpm", type=float)
    parser.add_argument("flutes", type=int)
    given = parser.parse_args()
    recorded = np.array(loudness(read_recording(given.file), rpm=given.rpm, flutes=given.flutes))
    out = sys.stdout.write
    out("recorded, each cut: " + ", ".join(f"{low:.1f}/{high:.1f}" for low, high in recorded) + "\n")
    out(
        "the middle one: "
        + ", ".join(f"{n} {v:.2f}" for n, v in zip(NAMES, np.median(recorded, 0), strict=True))
        + "\n"
    )
    with multiprocessing.get_context("spawn").Pool(PROCESSES) as pool:
        for family in ("workshop", "school"):
            scenes = stable_scenes(family, SCENES)
            for roughness in ROUGHNESSES:
                each = pool.map(partial(of_scene, roughness=roughness), scenes)
                values = np.array([cut for cuts in each for cut in cuts])
                low, high = np.quantile(values, (0.1, 0.5, 0.9), axis=0).T
                told = "  ".join(
                    f"{name} " + " ".join(f"{value:5.1f}" for value in quantiles)
                    for name, quantiles in zip(NAMES, (low, high), strict=True)
                )
                out(f"{family:9s} roughness {roughness:4.2f}, {len(values):2d} cuts: {told}\n")


if __name__ == "__main__":
    main()
