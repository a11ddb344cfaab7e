"""Score the practitioner's loop on simulated machines: cut, dial what `next` says, five cuts in all.

    PYTHONPATH=. python tests/benchmarks/notebook_loop.py 200
    PYTHONPATH=. python tests/benchmarks/notebook_loop.py 200 --kind apart --seed 32

Truth: semi-discretization, as in tests/benchmarks/advice.py; never the zero-order solution that the advice
uses. A middle form: the chatter's lines come from the growing disturbance, coloured at random, and a verdict
is right; no phone listens. The first cut chatters, at 1.25 to 3 times its limit, and counts as cut 1. The
range is 3,000 to 24,000 rpm; the deepest cut allowed is twice the first. Players: `next`; the rule
n = 60 f / (N k) with the strongest line of the latest chatter, fastest speed first, 1.5 times deeper after a
stable cut; and halving the depth at the first speed, then going halfway back up. The full search tries 90
speeds and 24 depths. Results: docs/next.md.
"""

import argparse
import sys
from dataclasses import dataclass, replace

import numpy as np

from chatter.advice.advise import find_lines
from chatter.advice.heard import MadeCut
from chatter.advice.machines import ChatterLine
from chatter.advice.next_cut import choose_next
from chatter.milling.semi_discretization import multiplier_map
from chatter.model import CutSetup
from tests.benchmarks.advice import HIGH_RPM, LOW_RPM, Case, _family, draw_built

CUTS = 5
DEEPEST = 2.0
SEARCH_SPEEDS, SEARCH_DEPTHS = 90, 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """How one player fared with one machine."""

    stable_by: tuple[bool, ...]  # after each cut: whether one was stable
    share_by: tuple[float, ...]  # removal rate of the best stable one over the best of the full search
    cuts: int


def draw_machines_to_play(kind: str, count: int, seed: int) -> list[Case]:
    """Draw chattering first cuts; the same seed gives the same ones."""
    rng = np.random.default_rng(seed)
    cases: list[Case] = []
    while len(cases) < count:
        case = draw_built(rng, alike=kind == "alike")
        if case is not None:
            cases.append(case)
    return cases


def make_cut(case: Case, rng: np.random.Generator, *, rpm: float, depth_mm: float) -> MadeCut:
    """Cut and hear."""
    system = replace(case.system, rpm=rpm)
    multiplier = complex(
        multiplier_map(system, speeds_rpm=np.array([rpm]), depths_m=np.array([depth_mm / 1000]))[0, 0]
    )
    chatters = abs(multiplier) >= 1
    lines: tuple[ChatterLine, ...] = ()
    if chatters:
        lines = tuple(
            ChatterLine(frequency_hz=hz, level_db=db) for hz, db in _family(rng, system, multiplier)
        )
    return MadeCut(
        rpm=rpm,
        set_rpm=rpm,
        depth_mm=depth_mm,
        verdict="chatter" if chatters else "stable",
        chatter_probability=0.98 if chatters else 0.02,
        lines=lines,
    )


def best_removal(case: Case, *, deepest_mm: float) -> float:
    """Give the highest speed times depth that a full search finds stable."""
    speeds = np.geomspace(LOW_RPM, HIGH_RPM, SEARCH_SPEEDS)
    depths_mm = deepest_mm * np.geomspace(0.02, 1.0, SEARCH_DEPTHS)
    sizes = np.abs(multiplier_map(case.system, speeds_rpm=speeds, depths_m=depths_mm / 1000))
    stable = np.logical_and.accumulate(sizes < 1, axis=1)
    return float((stable * speeds[:, None] * depths_mm[None, :]).max())


def _next_setting(setup: CutSetup, cuts: list[MadeCut]) -> tuple[float, float] | None:
    following = choose_next(tuple(cuts), setup=replace(setup, rpm=cuts[-1].set_rpm))
    return None if following.action == "done" else (following.set_rpm, following.depth_mm)


def _rule_setting(setup: CutSetup, cuts: list[MadeCut]) -> tuple[float, float] | None:
    last = cuts[-1]
    stable = [cut for cut in cuts if cut.verdict == "stable"]
    if stable and last.verdict == "stable":
        return last.set_rpm, min(1.5 * last.depth_mm, setup.max_depth_mm or np.inf)
    if stable:
        return stable[-1].set_rpm, (stable[-1].depth_mm + last.depth_mm) / 2
    slip = last.rpm / last.set_rpm
    heard = [line.frequency_hz for cut in reversed(cuts) for line in cut.lines[:1]]
    speeds = [60 * hz / (setup.flutes * k) / slip for hz in heard[:1] for k in range(1, 400)]
    free = [
        rpm
        for rpm in speeds
        if LOW_RPM <= rpm <= HIGH_RPM and all(abs(rpm / cut.set_rpm - 1) > 0.005 for cut in cuts)
    ]
    return (free[0], last.depth_mm) if free else (last.set_rpm, last.depth_mm / 2)


def _halving_setting(setup: CutSetup, cuts: list[MadeCut]) -> tuple[float, float] | None:
    stable = [cut.depth_mm for cut in cuts if cut.verdict == "stable"]
    spoilt = [cut.depth_mm for cut in cuts if cut.verdict != "stable"]
    if not spoilt:  # a first cut that was wrongly heard stable
        return cuts[0].set_rpm, min(1.5 * max(stable), setup.max_depth_mm or np.inf)
    depth_mm = (max(stable) + min(spoilt)) / 2 if stable else min(spoilt) / 2
    return cuts[0].set_rpm, depth_mm


PLAYERS = {"next": _next_setting, "rule": _rule_setting, "halving": _halving_setting}


def play(case: Case, player: str, *, best: float, seed: int) -> Played:
    """Let one player cut; the chattering first cut is number 1, and `best` is from `best_removal`."""
    rng = np.random.default_rng(seed)
    first_mm = 1000 * case.depth_m
    setup = replace(case.setup, max_depth_mm=DEEPEST * first_mm)
    first = MadeCut(
        rpm=case.system.rpm,
        set_rpm=case.system.rpm,
        depth_mm=first_mm,
        verdict="chatter",
        chatter_probability=0.98,
        lines=find_lines(case.analysis.cuts[0]),
    )
    cuts = [first]
    stable_by, share_by = [], []
    going = True
    for made in range(1, CUTS + 2):
        removed = max((cut.rpm * cut.depth_mm for cut in cuts if cut.verdict == "stable"), default=0.0)
        stable_by.append(removed > 0)
        share_by.append(removed / best)
        setting = PLAYERS[player](setup, cuts) if going and made <= CUTS else None
        going = setting is not None
        if setting is not None:
            cuts.append(make_cut(case, rng, rpm=setting[0], depth_mm=setting[1]))
    return Played(stable_by=tuple(stable_by), share_by=tuple(share_by), cuts=len(cuts))


def _interval(shares: list[bool]) -> str:
    """Give a share with its 95 % interval (Wilson 1927)."""
    n, p, z = len(shares), float(np.mean(shares)), 1.96
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return f"{p:.3f} ({middle - half:.3f} to {middle + half:.3f})"


def _median_interval(values: list[float]) -> str:
    """Give a median with its 95 % interval by 2,000 resamples of the machines."""
    rng = np.random.default_rng(0)
    medians = np.median(rng.choice(values, (2000, len(values))), axis=1)
    low, high = np.quantile(medians, [0.025, 0.975])
    return f"{np.median(values):.3f} ({low:.3f} to {high:.3f})"


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("--kind", choices=("alike", "apart"), default="alike")
    parser.add_argument("--seed", type=int, default=31)
    given = parser.parse_args()
    cases = draw_machines_to_play(given.kind, given.count, given.seed)
    bests = [best_removal(case, deepest_mm=DEEPEST * 1000 * case.depth_m) for case in cases]
    for player in PLAYERS:
        played = [
            play(case, player, best=best, seed=number)
            for number, (case, best) in enumerate(zip(cases, bests, strict=True))
        ]
        sys.stdout.write(f"{player}, {given.kind}, {given.count} machines; mean cuts ")
        sys.stdout.write(f"{np.mean([one.cuts for one in played]):.2f}\n")
        for made in range(1, CUTS + 1):  # the first cut is number 1
            stable = _interval([one.stable_by[made] for one in played])
            share = _median_interval([one.share_by[made] for one in played])
            sys.stdout.write(f"  after {made + 1} cuts: stable {stable}, removal over the best {share}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
