"""Score the main job on simulated recordings whose answer is known.

    python tests/benchmarks/suite.py other 160    judge 160 scenes of a family and print the figures
    python tests/benchmarks/suite.py workshop school 800 --fit    fit the numbers of chatter/cut/weights.py

Every scene goes through a sound file (AAC, Opus, MP3, FLAC or WAV, drawn at random), is read back as a
user's recording is, and is judged as a document is; figures are given per codec too.
Families: "workshop" and "school" are those that the weights are fitted on, with their own seeds here;
"other" differs from "workshop" in machines, immersions, rooms and noises; "school" has its own radiation,
room, noises and phone. Scenes that the simulator can't follow or that have no clear answer are drawn anew;
how many is printed. Long: about two seconds a scene, on two processes. Results stand in docs/verdicts.md.
"""

import argparse
import multiprocessing
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

import numpy as np
from scipy.optimize import minimize

from chatter.audio import read_recording
from chatter.cut import judge_recording, study_recording
from chatter.cut.verdict import lineless_marks, marks
from chatter.cut.weights import SPEED_SPREAD
from chatter.errors import BadValueError
from chatter.model import CutSetup, Recording
from chatter.simulate import RenderedScene, Scene, random_scene, render_scene
from chatter.simulate.codec import Codec, random_codec, write_as
from chatter.simulate.school import SchoolScene, random_school_scene, render_school_scene

SEEDS = {"workshop": 100, "other": 200, "school": 300}
PROCESSES = 2
RIDGE = 0.0005  # of the verdict's maps: chosen by leaving out an eighth of the fitted scenes in turn
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One scene: what is true and what was said."""

    codec: str
    chattering: bool
    scored: bool  # an even-flute period doubling can't be told from run-out
    verdict: str
    probability: float | None
    family_marks: tuple[dict[str, float], ...]  # of every cut with a family of lines, only when fitting
    lineless: tuple[dict[str, float], ...]  # of every cut without one, only when fitting
    speed_right: bool
    speed_deviations: float  # by which the stated speed is off; infinite without one
    start_right: bool
    line_right: bool


def line_matches(heard_hz: float, true_hz: float, rotation_hz: float) -> bool:
    """Say whether two frequencies belong to one family |±f + k·f_rot|."""
    folds = [abs(hz / rotation_hz - round(hz / rotation_hz)) for hz in (heard_hz, true_hz)]
    return abs(folds[0] - folds[1]) * rotation_hz < max(3.0, 0.02 * rotation_hz)


def read_back(rendered: RenderedScene, *, codec: Codec) -> Recording:
    """Write a scene to a sound file and read it as a user's is read."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"scene{codec.suffix}"
        write_as(codec, path=path, samples=rendered.samples, rate_hz=rendered.rate_hz)
        return read_recording(path)


def judge(rendered: RenderedScene, *, codec: Codec, fitting: bool = False) -> Row:
    """Write, read and judge one scene, with its air pass if it has one; the worst cut speaks for it."""
    recording = read_back(rendered, codec=codec)
    setup = CutSetup(rpm=rendered.programmed_rpm, flutes=rendered.flutes)
    in_air = None
    if rendered.air_pass is not None:
        in_air = read_back(replace(rendered, samples=rendered.air_pass), codec=codec)
    analysis = judge_recording(recording, setup=setup, idle=in_air)
    heard = [cut.evidence for cut in study_recording(recording, setup=setup)[2]] if fitting else []
    turn_hz = rendered.true_rpm / 60
    worst = analysis.worst
    heard_hz = None if worst is None else worst.chatter_hz
    start_s = analysis.cuts[0].start_s if analysis.cuts else None
    measured, sd_rpm = analysis.spindle.measured_rpm, analysis.spindle.measured_rpm_sd
    return Row(
        codec=codec.name,
        chattering=rendered.chattering,
        scored=not (rendered.kind == "flip" and rendered.flutes % 2 == 0),
        verdict="undecided" if worst is None else worst.verdict,
        probability=None if worst is None else worst.chatter_probability,
        family_marks=tuple(marks(evidence) for evidence in heard if len(evidence.family) > 1),
        lineless=tuple(
            lineless_marks(evidence, evidence.broad) for evidence in heard if len(evidence.family) < 2
        ),
        speed_right=measured is not None and abs(measured / rendered.true_rpm - 1) < 1e-3,
        speed_deviations=np.inf if not measured or not sd_rpm else abs(measured - rendered.true_rpm) / sd_rpm,
        start_right=start_s is not None and abs(start_s - rendered.cut_times_s[0][0]) < 0.2,
        line_right=heard_hz is not None
        and any(line_matches(heard_hz, true_hz, turn_hz) for true_hz in rendered.chatter_lines_hz),
    )


def share(holds: np.ndarray) -> float:
    """Give the share that holds; NaN of none."""
    return float(np.mean(holds)) if len(holds) else float("nan")


def area_under_curve(bad: np.ndarray, good: np.ndarray) -> float:
    """Give how often a chattering cut stands above a stable one; a tie counts half."""
    return share(((bad[:, None] > good) + 0.5 * (bad[:, None] == good)).ravel())


def figures(rows: list[Row]) -> dict[str, float]:
    """Give the figures of merit; a null probability counts as 0.5."""
    scored = [row for row in rows if row.scored]
    truth = np.array([row.chattering for row in scored], dtype=bool)
    given = np.array([0.5 if row.probability is None else row.probability for row in scored])
    verdicts = np.array([row.verdict for row in scored])
    bad, good = given[truth], given[~truth]
    sure = (given > 0.95) | (given < 0.05)
    wrong = sure & ((given > 0.5) != truth)
    right_bad, right_good = share(verdicts[truth] == "chatter"), share(verdicts[~truth] == "stable")
    return {
        "scenes": float(len(rows)),
        "AUC": area_under_curve(bad, good),
        "right verdict, mean of both": (right_bad + right_good) / 2,
        "chatter called chatter": right_bad,
        "stable called stable": right_good,
        "sure": share(sure),
        "wrong among the sure": share(wrong[sure]),
        "undecided": share(verdicts == "undecided"),
        "speed within 0.1 %": share(np.array([row.speed_right for row in rows])),
        "speed within two deviations": share(np.array([row.speed_deviations <= 2 for row in rows])),
        "chatter line in the right family": share(np.array([r.line_right for r in scored if r.chattering])),
        "start within 0.2 s": share(np.array([row.start_right for row in rows])),
    }


def reliability(rows: list[Row]) -> list[tuple[str, int, float, float]]:
    """Give, for each band of stated probability, the count, the mean stated and the true share."""
    table = []
    for low, high in (
        (0.0, 0.05),
        (0.05, 0.2),
        (0.2, 0.4),
        (0.4, 0.6),
        (0.6, 0.8),
        (0.8, 0.95),
        (0.95, 1.01),
    ):
        inside = [r for r in rows if r.scored and r.probability is not None and low <= r.probability < high]
        if inside:
            stated = float(np.mean([r.probability for r in inside]))
            true = float(np.mean([r.chattering for r in inside]))
            table.append((f"{low:.2f} to {min(high, 1):.2f}", len(inside), stated, true))
    return table


def fit(rows: list[Row]) -> dict[str, float]:
    """Fit both logistic maps on the cuts whose speed was measured right, and the spread of all speeds."""
    used = [row for row in rows if row.scored and row.speed_right]
    families = [(row.chattering, values) for row in used for values in row.family_marks]
    lineless = [
        (row.chattering, {f"lineless {name}": value for name, value in values.items()})
        for row in used
        for values in row.lineless
    ]
    return {
        **fit_logistic(families, "intercept", ridge=RIDGE),
        **fit_logistic(lineless, "lineless intercept", ridge=RIDGE),
        "speed spread": SPEED_SPREAD * float(np.quantile([row.speed_deviations for row in rows], 0.95)) / 2,
    }


def fit_logistic(
    cases: list[tuple[bool, dict[str, float]]], intercept: str, *, signed: bool = False, ridge: float = 0.003
) -> dict[str, float]:
    """Fit one map: weights at least 0 unless `signed`, a light ridge on their standardised size."""
    names = list(cases[0][1])
    x = np.array([[values[name] for name in names] for _, values in cases])
    sign = np.where([chattering for chattering, _ in cases], 1.0, -1.0)
    middle, spread = x.mean(0), x.std(0)
    z = (x - middle) / spread

    def loss(w: np.ndarray) -> float:
        return float(np.mean(np.logaddexp(0, -sign * (w[0] + z @ w[1:]))) + ridge * np.sum(w[1:] ** 2))

    bounds = [(None, None)] + [(None if signed else 0, None)] * x.shape[1]
    best = minimize(loss, np.concatenate([[0.0], np.ones(x.shape[1])]), bounds=bounds)
    weights = best.x[1:] / spread
    named = {name: round(float(w), 4) for name, w in zip(names, weights, strict=True)}
    return {intercept: round(float(best.x[0] - weights @ middle), 4), **named}


def render(scene: Scene | SchoolScene, *, air_pass: bool = False) -> tuple[RenderedScene, Codec] | None:
    """Render one scene and draw its codec; None where it can't be used. School scenes have no air pass."""
    try:
        rendered = (
            render_school_scene(scene)
            if isinstance(scene, SchoolScene)
            else render_scene(scene, air_pass=air_pass)
        )
    except BadValueError:  # the simulator can't follow it, or its answer isn't clear
        return None
    return rendered, random_codec(np.random.default_rng([scene.seed, 1]))


def _work(scene: Scene | SchoolScene, *, fitting: bool) -> Row | None:
    made = render(scene)
    return None if made is None else judge(made[0], codec=made[1], fitting=fitting)


def scenes(family: str, count: int, seed: int, *, fitting: bool = False) -> list[Row]:
    """Render and judge scenes; the same seed gives the same rows."""
    return from_scenes(partial(_work, fitting=fitting), family, count, seed)


def from_scenes(
    work: Callable[[Scene | SchoolScene], Made | None], family: str, count: int, seed: int
) -> list[Made]:
    """Do some work on each of `count` usable scenes, on two processes; the same seed gives the same ones."""
    rng = np.random.default_rng(seed)
    rows: list[Made] = []
    drawn = 0

    def draw() -> Scene | SchoolScene:
        return random_school_scene(rng) if family == "school" else random_scene(rng, family=family)

    with multiprocessing.get_context("spawn").Pool(PROCESSES) as pool:
        while len(rows) < count:
            tasks = [draw() for _ in range(count - len(rows))]
            drawn += len(tasks)
            for row in pool.imap(work, tasks):
                if row is not None:
                    rows.append(row)
                sys.stderr.write(f"\r{len(rows)} of {count}")
    sys.stderr.write(f"\r{drawn - count} of {drawn} scenes drawn anew\n")
    return rows


def asked(text: str | None) -> tuple[list[tuple[str, int]], int, bool]:
    """Read the command line: families with their seeds, how many scenes of each, whether to fit."""
    parser = argparse.ArgumentParser(description=text)
    parser.add_argument("families", nargs="+", choices=sorted(SEEDS))
    parser.add_argument("count", type=int)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--seed", type=int)
    given = parser.parse_args()
    seeds = [SEEDS[family] if given.seed is None else given.seed for family in given.families]
    return list(zip(given.families, seeds, strict=True)), given.count, given.fit


def main() -> None:
    """Run from the command line."""
    families, count, fitting = asked(__doc__)
    rows = [row for family, seed in families for row in scenes(family, count, seed, fitting=fitting)]
    out = sys.stdout.write
    if fitting:
        out(f"{fit(rows)}\n")
    codecs = sorted({row.codec for row in rows})
    columns = [figures(rows)] + [figures([row for row in rows if row.codec == codec]) for codec in codecs]
    out(f"{'':35s}" + "".join(f"{name:>8s}" for name in ["all", *codecs]) + "\n")
    for name in columns[0]:
        out(f"{name:35s}" + "".join(f"{column[name]:8.3f}" for column in columns) + "\n")
    for line in reliability(rows):
        out(f"{line[0]:15s} {line[1]:4d} {line[2]:.2f} {line[3]:.2f}\n")


if __name__ == "__main__":
    main()
