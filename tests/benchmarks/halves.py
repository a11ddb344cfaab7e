"""Score what two depths at one speed tell of period doubling and run-out, heard by phone.

    PYTHONPATH=. python tests/benchmarks/halves.py 300
    PYTHONPATH=. python tests/benchmarks/halves.py 100 --undecided

Machines, shops and phones are those of tests/benchmarks/notebook_heard.py, with even flutes. Each is cut at
five speeds of its range, at 0.5 to 3 times its limit depth, and at 0.45 times that depth; the truth of each
cut is the time-domain simulator's. Cuts that chatter otherwise are passed over. Of those that are stable one
in eight is heard, because few double; so a chance counts each of them eight times. `--undecided` gives every
tool run-out of nine tenths of its feed, hears them all, and tells of those alone that one recording leaves
undecided. The last figures give what would be told from other rises. Results: docs/next.md.
"""

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from chatter.advice.halves import LEAST_RISE_DB, MOST_RISE_DB
from chatter.analysis._halves import SOFT_DB
from chatter.errors import BadValueError
from chatter.model import CutSetup
from chatter.simulate import Scene, random_scene
from chatter.simulate import scene as scenes
from chatter.simulate.limit import limit_depth_m, motion_kind
from tests.benchmarks.advice import DIAMETER_MM, HIGH_RPM, LOW_RPM
from tests.benchmarks.notebook_heard import cut_and_hear

SPEEDS = 5
LIGHTER = 0.45  # as `chatter next` asks for
HEARD_OF_STABLE = 0.125
RUN_OUT = 0.9  # of the feed per tooth
DEEPEST_LIMIT_MM = 20.0  # stiffer tools don't chatter


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A cut and a lighter one at its speed; None where no cut was heard."""

    doubles: bool
    lighter_is_stable: bool
    verdict: str | None
    half_db: float | None
    lighter_verdict: str | None
    lighter_half_db: float | None

    @property
    def rise_db(self) -> float | None:
        """Rise of the halves from the lighter cut; None where the two can't be compared."""
        if self.half_db is None or self.lighter_half_db is None:
            return None
        if "chatter" in (self.verdict, self.lighter_verdict):
            return None
        return self.half_db - self.lighter_half_db

    def doubles_by(self, rise_db: float) -> bool:
        """Say whether a rise of so much would tell that the cut doubles its period."""
        return self.rise_db is not None and self.rise_db >= rise_db and (self.half_db or 0.0) > SOFT_DB


def hear_pairs(rng: np.random.Generator, *, undecided: bool) -> Iterator[Pair]:
    """Draw machines without end, and hear pairs of cuts of each."""
    while True:
        scene = random_scene(rng, family="other", chattering=True)
        if scene.tool.flutes % 2 or not LOW_RPM <= scene.programmed_rpm <= HIGH_RPM:
            continue
        if undecided:
            away = RUN_OUT * scene.conditions.feed_per_tooth_m
            angles = 2 * np.pi * np.arange(scene.tool.flutes) / scene.tool.flutes
            runout_m = tuple(float(away * np.cos(angle)) for angle in angles)
            scene = replace(scene, tool=replace(scene.tool, runout_m=runout_m))
        try:
            limit_mm = 1000 * limit_depth_m(scene.tool, scene.conditions)
            if limit_mm <= DEEPEST_LIMIT_MM:
                yield from _pairs_of(scene, rng, limit_mm=limit_mm, hear_all=undecided)
        except BadValueError:  # the simulator can't follow it
            continue


def _pairs_of(scene: Scene, rng: np.random.Generator, *, limit_mm: float, hear_all: bool) -> Iterator[Pair]:
    slip = scene.conditions.rpm / scene.programmed_rpm * (1 - scene.sag)
    setup = CutSetup(rpm=scene.programmed_rpm, flutes=scene.tool.flutes, diameter_mm=DIAMETER_MM)
    for drawn_rpm in np.exp(rng.uniform(np.log(LOW_RPM), np.log(HIGH_RPM), SPEEDS)):
        set_rpm = float(round(drawn_rpm, -1))
        depth_mm = limit_mm * float(np.exp(rng.uniform(np.log(0.5), np.log(3.0))))
        conditions = replace(scene.conditions, rpm=set_rpm * slip)
        kind = motion_kind(scene.tool, conditions, depth_m=depth_mm / 1000, least_s=scenes.SETTLED_S)
        if kind == "hopf" or (kind == "none" and not hear_all and rng.random() >= HEARD_OF_STABLE):
            continue
        seeds = [int(seed) for seed in rng.integers(2**31, size=2)]
        deep, _ = cut_and_hear(scene, setup, set_rpm=set_rpm, depth_mm=depth_mm, seed=seeds[0])
        if hear_all and (deep is None or deep.verdict != "undecided"):
            continue
        light, is_stable = cut_and_hear(
            scene, setup, set_rpm=set_rpm, depth_mm=LIGHTER * depth_mm, seed=seeds[1]
        )
        yield Pair(
            doubles=kind == "flip",
            lighter_is_stable=is_stable,
            verdict=None if deep is None else deep.verdict,
            half_db=None if deep is None else deep.half_passing_db,
            lighter_verdict=None if light is None else light.verdict,
            lighter_half_db=None if light is None else light.half_passing_db,
        )


def tell(pairs: list[Pair], *, weight: float) -> None:
    """Say how the pairs fared; each stable cut counts `weight` times in a chance."""
    for doubles in (True, False):
        mine = [pair for pair in pairs if pair.doubles is doubles]
        verdicts = {name: sum(pair.verdict == name for pair in mine) for name in ("stable", "undecided")}
        loud = [
            pair.half_db > SOFT_DB for pair in mine if pair.verdict == "stable" and pair.half_db is not None
        ]
        rises = [pair.rise_db for pair in mine if pair.rise_db is not None]
        sys.stdout.write(
            f"{'doubling' if doubles else 'stable'}: {len(mine)} cuts, heard {verdicts}; "
            f"of those heard stable {sum(loud)} have halves above {SOFT_DB:g} dB; of {len(rises)} compared "
            f"{sum(pair.doubles_by(LEAST_RISE_DB) for pair in mine)} told as doubling, "
            f"{sum(abs(rise) <= MOST_RISE_DB for rise in rises)} as run-out\n"
        )
    for least_db in (6, 8, 10, 12, 16, 20):
        right, wrong = (
            sum(pair.doubles_by(least_db) for pair in pairs if pair.doubles is truly)
            for truly in (True, False)
        )
        chance = right / max(right + weight * wrong, 1e-9)
        sys.stdout.write(
            f"  told from a rise of {least_db} dB: {right} that double, {wrong} that don't; "
            f"chance {chance:.2f}\n"
        )


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("--undecided", action="store_true")
    parser.add_argument("--seed", type=int, default=71)
    parser.add_argument("--rows", type=Path, help="write each pair, one JSON object a line")
    given = parser.parse_args()
    pairs: list[Pair] = []
    for pair in hear_pairs(np.random.default_rng(given.seed), undecided=given.undecided):
        pairs.append(pair)
        sys.stderr.write(f"\r{len(pairs)} of {given.count}")
        if given.rows is not None:
            with given.rows.open("a", encoding="utf-8") as rows:
                rows.write(json.dumps(asdict(pair)) + "\n")
        if len(pairs) == given.count:
            break
    sys.stderr.write("\n")
    tell(pairs, weight=1.0 if given.undecided else 1 / HEARD_OF_STABLE)


if __name__ == "__main__":
    main()
