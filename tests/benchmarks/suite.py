"""Score the main job on simulated recordings whose answer is known.

    python tests/benchmarks/suite.py other 160        judge 160 scenes of a family and print the figures
    python tests/benchmarks/suite.py workshop 160 --fit   fit chatter/cut/weights.py's numbers and print them

Families: "workshop" is the one that the weights are fitted on; "other" differs from it in machines,
immersions, rooms and noises. Long: about a second a scene. Results stand in docs/verdicts.md.
"""

import argparse
import sys
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from chatter.cut import study_recording
from chatter.cut.verdict import marks, probability_of_chatter, verdict_of
from chatter.cut.weights import WEIGHTS
from chatter.errors import BadValueError
from chatter.model import CutSetup, Recording
from chatter.simulate import RenderedScene, random_scene, render_scene

SEEDS = {"workshop": 100, "other": 200}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One scene: what is true and what was said."""

    chattering: bool
    scored: bool  # an even-flute period doubling can't be told from run-out
    probability: float | None
    features: tuple[float, ...] | None
    speed_right: bool
    start_right: bool
    line_right: bool


def line_matches(heard_hz: float, true_hz: float, rotation_hz: float) -> bool:
    """Say whether two frequencies belong to one family |±f + k·f_rot|."""
    folds = [abs(hz / rotation_hz - round(hz / rotation_hz)) for hz in (heard_hz, true_hz)]
    return abs(folds[0] - folds[1]) * rotation_hz < max(3.0, 0.02 * rotation_hz)


def judge(rendered: RenderedScene) -> Row:
    """Run the stages on one scene; the cut with the highest probability speaks for it."""
    recording = Recording(
        file="scene",
        sha256="",
        samples=rendered.samples,
        rate_hz=rendered.rate_hz,
        bandwidth_hz=rendered.rate_hz / 2,
    )
    setup = CutSetup(rpm=rendered.programmed_rpm, flutes=rendered.flutes)
    _, _, cuts = study_recording(recording, setup=setup)
    flip = rendered.kind == "flip" and rendered.flutes % 2 == 0
    if not cuts:
        return Row(
            chattering=rendered.chattering,
            scored=not flip,
            probability=None,
            features=None,
            speed_right=False,
            start_right=False,
            line_right=False,
        )
    worst = max(cuts, key=lambda cut: probability_of_chatter(cut.evidence))
    turn_hz = rendered.true_rpm / 60
    family = worst.evidence.family
    right_line = (
        rendered.chatter_hz is not None
        and bool(family)
        and line_matches(family[0].frequency_hz, rendered.chatter_hz, turn_hz)
    )
    return Row(
        chattering=rendered.chattering,
        scored=not flip,
        probability=probability_of_chatter(worst.evidence),
        features=tuple(marks(worst.evidence)[name] for name in WEIGHTS),
        speed_right=abs(worst.speed.rotation_hz / turn_hz - 1) < 1e-3,
        start_right=abs(cuts[0].section.start_s - rendered.cut_times_s[0][0]) < 0.2,
        line_right=right_line,
    )


def figures(rows: list[Row]) -> dict[str, float]:
    """Give the figures of merit; a null probability counts as 0.5."""
    scored = [row for row in rows if row.scored]
    truth = np.array([row.chattering for row in scored])
    given = np.array([0.5 if row.probability is None else row.probability for row in scored])
    verdicts = np.array(["undecided" if r.probability is None else verdict_of(r.probability) for r in scored])
    bad, good = given[truth], given[~truth]
    auc = np.mean((bad[:, None] > good) + 0.5 * (bad[:, None] == good))
    balanced = (np.mean(verdicts[truth] == "chatter") + np.mean(verdicts[~truth] == "stable")) / 2
    sure = (given > 0.95) | (given < 0.05)
    wrong = sure & ((given > 0.5) != truth)
    return {
        "scenes": float(len(rows)),
        "AUC": float(auc),
        "right verdict, mean of both": float(balanced),
        "sure": float(sure.mean()),
        "wrong among the sure": float(wrong.sum() / max(1, sure.sum())),
        "undecided": float(np.mean(verdicts == "undecided")),
        "speed within 0.1 %": float(np.mean([row.speed_right for row in rows])),
        "chatter line in the right family": float(np.mean([r.line_right for r in scored if r.chattering])),
        "start within 0.2 s": float(np.mean([row.start_right for row in rows])),
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


def fit(rows: list[Row]) -> tuple[float, dict[str, float]]:
    """Fit the logistic map: weights at least 0, a light ridge on their standardised size."""
    used = [row for row in rows if row.scored and row.features is not None and row.speed_right]
    x = np.array([row.features for row in used])
    sign = np.where([row.chattering for row in used], 1.0, -1.0)
    middle, spread = x.mean(0), x.std(0)
    z = (x - middle) / spread

    def loss(w: np.ndarray) -> float:
        return float(np.mean(np.logaddexp(0, -sign * (w[0] + z @ w[1:]))) + 0.003 * np.sum(w[1:] ** 2))

    bounds = [(None, None)] + [(0, None)] * x.shape[1]
    best = minimize(loss, np.concatenate([[0.0], np.ones(x.shape[1])]), bounds=bounds)
    weights = best.x[1:] / spread
    named = {name: float(w) for name, w in zip(WEIGHTS, weights, strict=True)}
    return float(best.x[0] - weights @ middle), named


def scenes(family: str, count: int, seed: int) -> list[Row]:
    """Render and judge scenes."""
    rng = np.random.default_rng(seed)
    rows = []
    while len(rows) < count:
        try:
            rendered = render_scene(random_scene(rng, family=family))
        except BadValueError:  # the simulator can't follow it: draw another
            continue
        rows.append(judge(rendered))
        sys.stderr.write(f"\r{len(rows)} of {count}")
    return rows


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("family", choices=sorted(SEEDS))
    parser.add_argument("count", type=int)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--seed", type=int)
    given = parser.parse_args()
    rows = scenes(given.family, given.count, SEEDS[given.family] if given.seed is None else given.seed)
    out = sys.stdout.write
    out("\n")
    if given.fit:
        out(f"{fit(rows)}\n")
    for name, value in figures(rows).items():
        out(f"{name:35s} {value:.3f}\n")
    for line in reliability(rows):
        out(f"{line[0]:15s} {line[1]:4d} {line[2]:.2f} {line[3]:.2f}\n")


if __name__ == "__main__":
    main()
