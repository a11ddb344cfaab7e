"""Fit and score the chance that a comb is the spindle's (chatter/cut/spindle_comb.py).

    PYTHONPATH=. python tests/benchmarks/combs.py workshop school 360 --fit
    PYTHONPATH=. python tests/benchmarks/combs.py other 160 --seed 200

Each scene gives four sounds, heard as its file sounds after the codec: its first cut with the speed that was
dialled; the same with a wrong speed told, half of them within 1 % of a small fraction of the dialled one; and
twice a sound of the shop without any spindle (vacuum, compressor, air, talk, bumps, fan, another mill), with
the scene's speed told. Each is as long as a random part of the cut, and heard beside the sound before it. The
comb of the first is the spindle's where its speed is within 0.1 %; the others' never is. `--fit` prints the
numbers of chatter/cut/weights.py. Results: docs/methods.md.
"""

import sys
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from chatter.cut.idle import IDLE_S, LONGEST_S, loudest_part
from chatter.cut.spindle import measure_speed
from chatter.cut.spindle_comb import chance_of_spindle
from chatter.cut.study import EDGE_S
from chatter.cut.weights import LEAST_CHANCE
from chatter.simulate import Scene, phone, school_sounds
from chatter.simulate.school import SchoolScene
from tests.benchmarks.suite import asked, fit_logistic, from_scenes, read_back, render, share

FRACTIONS = (2 / 3, 3 / 4, 4 / 5, 5 / 6, 6 / 5, 5 / 4, 4 / 3, 3 / 2)  # told over dialled
FURTHEST, NEAREST = 1.9, 1.1  # else a wrong speed is that many times the dialled one, or that many times less
SHORTEST_S, FEWEST_TURNS = 0.4, 10
SOUNDS = (
    phone.vacuum,
    phone.compressor,
    phone.radio,
    phone.air_blast,
    school_sounds.speech,
    school_sounds.bumps,
    school_sounds.belt_fan,
    school_sounds.second_machine,
    school_sounds.air_blast,
)
MOST_MISSED = 0.005  # share of the spindles' combs that the least chance may turn down where it is fitted


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One sound: what it is, the marks of its comb, the chance given."""

    kind: str  # "cut", "wrong speed", or the name of a sound
    right: bool  # the comb is the spindle's
    marks: dict[str, float]
    chance: float


def _hear(
    samples: NDArray[np.float64],
    kind: str,
    *,
    rate_hz: float,
    bandwidth_hz: float,
    rpm: float,
    flutes: int,
    idle: NDArray[np.float64] | None,
    true_rpm: float = np.inf,
) -> Heard:
    """Hear one sound; without a true speed no comb in it is right."""
    speed = measure_speed(
        samples,
        rate_hz=rate_hz,
        bandwidth_hz=bandwidth_hz,
        programmed_rpm=rpm,
        flutes=flutes,
        idle=idle,
    )
    assert speed.comb is not None
    right = abs(speed.comb.base_hz * 60 / true_rpm - 1) < 1e-3
    return Heard(kind=kind, right=right, marks=speed.comb.marks, chance=chance_of_spindle(speed.comb))


def _wrong(rng: np.random.Generator) -> float:
    """Give a wrong speed over the dialled one."""
    if rng.random() < 0.5:
        return float(rng.choice(FRACTIONS) * rng.uniform(0.99, 1.01))
    times = float(np.exp(rng.uniform(np.log(NEAREST), np.log(FURTHEST))))
    return times if rng.random() < 0.5 else 1 / times


def _work(scene: Scene | SchoolScene) -> list[Heard] | None:
    """Hear the sounds of one scene; None where it can't be used."""
    made = render(scene)
    if made is None:
        return None
    rendered, codec = made
    rng = np.random.default_rng([scene.seed, 7])
    recording = read_back(rendered, codec=codec)
    rate_hz = recording.rate_hz
    start_s, end_s = rendered.cut_times_s[0]
    part = recording.samples[0, int((start_s + EDGE_S) * rate_hz) : int((end_s - EDGE_S) * rate_hz)]
    part = part[: int(LONGEST_S * rate_hz)].astype(np.float64)
    least = int(max(SHORTEST_S, FEWEST_TURNS * 60 / rendered.programmed_rpm) * rate_hz)
    part = part[: max(least, int(len(part) * rng.uniform(0.1, 1)))]
    rpm = rendered.programmed_rpm
    before = recording.samples[0, : int(start_s * rate_hz)].astype(np.float64)
    hear_it = partial(
        _hear,
        rate_hz=rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        flutes=rendered.flutes,
        idle=loudest_part((before[-int(IDLE_S * rate_hz) :],), rate_hz=rate_hz),
    )
    heard = [
        hear_it(part, "cut", rpm=rpm, true_rpm=rendered.true_rpm),
        hear_it(part, "wrong speed", rpm=rpm * _wrong(rng)),
    ]
    for at in rng.choice(len(SOUNDS), size=2, replace=False):
        sound = SOUNDS[at](rng, len(part), rate_hz=rate_hz)
        level = float(np.std(sound)) * 10 ** (-rng.uniform(10, 40) / 20)
        sound = 0.05 * (sound + level * rng.normal(size=len(sound)))
        name = f"{SOUNDS[at].__module__.rsplit('.', 1)[-1]} {SOUNDS[at].__name__}"
        heard.append(hear_it(sound, name, rpm=rpm))
    return heard


def hear(family: str, count: int, seed: int) -> list[Heard]:
    """Hear the sounds of some scenes of a family; the same seed gives the same sounds."""
    return [heard for row in from_scenes(_work, family, count, seed) for heard in row]


def fit(rows: list[Heard]) -> dict[str, float]:
    """Fit the chance, and the least one that turns down few of the spindles' combs."""
    weights = fit_logistic([(row.right, row.marks) for row in rows], "intercept", signed=True)
    totals = [
        weights["intercept"] + sum(weights[name] * mark for name, mark in row.marks.items())
        for row in rows
        if row.right
    ]
    least = float(expit(np.quantile(totals, MOST_MISSED)))
    return {**weights, "least chance": round(least, 3)}


def main() -> None:
    """Run from the command line."""
    families, count, fitting = asked(__doc__)
    rows = [heard for family, seed in families for heard in hear(family, count, seed)]
    out = sys.stdout.write
    if fitting:
        out(f"{fit(rows)}\n")
    cuts = [row for row in rows if row.kind == "cut"]
    out(f"{len(cuts)} cuts, comb right in {share(np.array([row.right for row in cuts])):.3f}\n")
    told = {True: "right comb", False: "wrong comb"}
    for kind in sorted({row.kind for row in rows}):
        for right in (True, False):
            alike = [row for row in rows if row.kind == kind and row.right == right]
            if alike:
                taken = share(np.array([row.chance >= LEAST_CHANCE for row in alike]))
                out(f"{kind:34s} {told[right]:11s} {len(alike):5d} taken for the spindle {taken:.3f}\n")


if __name__ == "__main__":
    main()
