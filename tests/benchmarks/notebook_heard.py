"""Score the practitioner's loop with whole recordings: time-domain cuts, a shop, a phone, the `cut` pipeline.

    PYTHONPATH=. python tests/benchmarks/notebook_heard.py 200
    PYTHONPATH=. python tests/benchmarks/notebook_heard.py 100 --player rule

Players are those of tests/benchmarks/notebook_loop.py, all on the same machines. Truth: the time-domain
simulator (run-out, slip, up to two modes an axis), never the advice's own model; the full search alone uses
semi-discretization, which knows no run-out. Scenes are the suite's "other" ones, from 3,000 rpm up. The first
cut chatters, at 1.25 to 3 times its limit, and counts as cut 1; the range is 3,000 to 24,000 rpm, the deepest
cut allowed twice the first. A setting counts as stable where it was heard stable and is. Two processes.
Results: docs/next.md.
"""

import argparse
import multiprocessing
import sys
from dataclasses import dataclass, replace
from unittest import mock

import numpy as np

from chatter.advice.advise import find_lines
from chatter.advice.heard import MadeCut, find_best
from chatter.advice.lighter import choose_lighter
from chatter.advice.machines import ChatterLine
from chatter.analysis._halves import is_untold, settle_cuts
from chatter.cut import judge_recording
from chatter.errors import BadValueError
from chatter.milling.semi_discretization import multiplier_map
from chatter.model import CutSetup, Verdict
from chatter.model.notebook import KeptCut
from chatter.simulate import Scene, random_scene, render_scene
from chatter.simulate import scene as scenes
from chatter.simulate.limit import limit_depth_m, motion_kind
from tests.benchmarks.advice import DIAMETER_MM, HIGH_RPM, LOW_RPM, _system_of
from tests.benchmarks.notebook_loop import (
    CUTS,
    DEEPEST,
    PLAYERS,
    SEARCH_DEPTHS,
    SEARCH_SPEEDS,
    _interval,
    _median_interval,
)
from tests.recordings_made import as_recording

PROCESSES = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One cut as it was heard; verdict undecided included."""

    set_rpm: float
    true_rpm: float
    depth_mm: float
    verdict: Verdict
    chatter_probability: float | None
    half_passing_db: float | None
    lines: tuple[ChatterLine, ...] = ()

    def as_kept(self, number: int) -> KeptCut:
        """Give the cut as a notebook lists it."""
        return KeptCut(
            number=number,
            setup="machine",
            sha256=str(number),
            version=1,
            is_current=True,
            added="",
            file="made.wav",
            set_rpm=self.set_rpm,
            measured_rpm=self.true_rpm,
            depth_mm=self.depth_mm,
            width_mm=None,
            feed_mm_min=None,
            verdict=self.verdict,
            chatter_probability=self.chatter_probability,
            chatter_hz=None,
            half_passing_db=self.half_passing_db,
        )


def cut_and_hear(
    scene: Scene, setup: CutSetup, *, set_rpm: float, depth_mm: float, seed: int
) -> tuple[Heard | None, bool]:
    """Cut at a dialled speed and a depth, record, judge; give what was heard and whether it is stable."""
    slip = scene.conditions.rpm / scene.programmed_rpm
    conditions = replace(scene.conditions, rpm=set_rpm * slip)
    loaded = replace(conditions, rpm=conditions.rpm * (1 - scene.sag))
    kind = motion_kind(scene.tool, loaded, depth_m=depth_mm / 1000, least_s=scenes.SETTLED_S)
    asked = replace(scene, conditions=conditions, programmed_rpm=set_rpm, seed=seed)
    told = (depth_mm / 1000, depth_mm / 1000, kind)
    with mock.patch.object(scenes, "settle_depth", return_value=told):
        rendered = render_scene(asked)
    recording = as_recording(rendered.samples, rate_hz=rendered.rate_hz)
    analysis = judge_recording(recording, setup=replace(setup, rpm=set_rpm, depth_mm=depth_mm))
    worst = analysis.worst
    if worst is None:
        return None, kind == "none"
    heard = Heard(
        set_rpm=set_rpm,
        true_rpm=worst.measured_rpm or analysis.spindle.best_rpm,
        depth_mm=depth_mm,
        verdict=worst.verdict,
        chatter_probability=worst.chatter_probability,
        half_passing_db=worst.half_passing_db,
        lines=() if worst.verdict == "stable" else find_lines(worst),
    )
    return heard, kind == "none"


def settle(heard: list[Heard]) -> tuple[list[MadeCut], bool]:
    """Give the cuts with a verdict as the notebook counts them, and whether the last one is still untold."""
    settled = settle_cuts(tuple(one.as_kept(number) for number, one in enumerate(heard)))
    cuts = [
        MadeCut(
            rpm=cut.true_rpm,
            set_rpm=cut.set_rpm,
            depth_mm=one.depth_mm,
            verdict=cut.verdict,
            chatter_probability=0.5 if cut.chatter_probability is None else cut.chatter_probability,
            lines=one.lines if cut.verdict == one.verdict else (),
        )
        for cut, one in zip(settled, heard, strict=True)
        if cut.verdict != "undecided"
    ]
    return cuts, bool(settled) and is_untold(settled[-1])


def play(scene: Scene, player: str, *, first_mm: float, seed: int) -> tuple[list[bool], list[float]]:
    """Let one player cut; give after each cut whether a stable one is known, and its share of the best."""
    setup = CutSetup(
        rpm=scene.programmed_rpm,
        flutes=scene.tool.flutes,
        min_rpm=LOW_RPM,
        max_rpm=HIGH_RPM,
        width_mm=DIAMETER_MM * scene.conditions.immersion,
        diameter_mm=DIAMETER_MM,
        direction="up" if scene.conditions.direction == "up" else "climb",
        max_depth_mm=DEEPEST * first_mm,
    )
    slip = scene.conditions.rpm / scene.programmed_rpm
    speeds = np.geomspace(LOW_RPM, HIGH_RPM, SEARCH_SPEEDS)
    depths_mm = DEEPEST * first_mm * np.geomspace(0.02, 1.0, SEARCH_DEPTHS)
    sizes = np.abs(
        multiplier_map(
            _system_of(scene, scene.conditions.rpm), speeds_rpm=speeds * slip, depths_m=depths_mm / 1000
        )
    )
    stable = np.logical_and.accumulate(sizes < 1, axis=1)
    best = float((stable * speeds[:, None] * depths_mm[None, :]).max())
    heard: list[Heard] = []
    cuts: list[MadeCut] = []
    is_last_untold = False
    truly: dict[tuple[float, float], bool] = {}
    setting: tuple[float, float] | None = (scene.programmed_rpm, first_mm)
    stable_by, share_by = [], []
    for number in range(CUTS):
        if setting is not None:
            one, is_stable = cut_and_hear(
                scene, setup, set_rpm=setting[0], depth_mm=setting[1], seed=seed + number
            )
            truly[setting] = is_stable
            if one is not None:
                heard.append(one)
            cuts, is_untold_now = settle(heard)
            is_last_untold = is_untold_now and one is not None  # a recording without a cut asks for nothing
        known = find_best(tuple(cuts), setup=setup) if cuts else None
        holds = known is not None and truly[known.set_rpm, known.depth_mm]
        stable_by.append(holds)
        share_by.append(known.set_rpm * known.depth_mm / best if known is not None and holds else 0.0)
        lighter = None
        if setting is not None and player == "next" and is_last_untold:
            lighter = choose_lighter(
                tuple(cuts),
                setup=setup,
                rpm=heard[-1].true_rpm,
                set_rpm=setting[0],
                depth_mm=setting[1],
                feed_mm_min=None,
            )
        if lighter is not None:
            setting = (lighter.set_rpm, lighter.depth_mm)
        elif cuts and setting is not None:
            setting = PLAYERS[player](setup, cuts)
    return stable_by, share_by


def _work(task: tuple[Scene, str, int]) -> tuple[list[bool], list[float]] | None:
    """Play one machine; None where it can't be used."""
    scene, player, seed = task
    try:
        loaded = replace(scene.conditions, rpm=scene.conditions.rpm * (1 - scene.sag))
        first_mm = 1000 * scene.depth_ratio * limit_depth_m(scene.tool, loaded)
        if first_mm > 1000 * scenes.LARGEST_M * 4:  # so stiff that no cut of this tool chatters
            return None
        return play(scene, player, first_mm=first_mm, seed=1000 * seed)
    except BadValueError:  # the simulator can't follow it
        return None


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("--player", choices=sorted(PLAYERS), default="next")
    parser.add_argument("--seed", type=int, default=41)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    drawn = (random_scene(rng, family="other", chattering=True) for _ in range(20 * given.count))
    tasks = (
        (scene, given.player, number)
        for number, scene in enumerate(drawn)
        if LOW_RPM <= scene.programmed_rpm <= HIGH_RPM
    )
    played: list[tuple[list[bool], list[float]]] = []
    with multiprocessing.get_context("spawn").Pool(PROCESSES) as pool:
        for one in pool.imap(_work, tasks):
            if one is not None:
                played.append(one)
                sys.stderr.write(f"\r{len(played)} of {given.count}")
            if len(played) == given.count:
                break
        pool.terminate()
    sys.stderr.write("\n")
    sys.stdout.write(f"{given.player}, heard, {given.count} machines\n")
    for number in range(1, CUTS):
        stable = _interval([one[0][number] for one in played])
        share = _median_interval([one[1][number] for one in played])
        sys.stdout.write(f"  after {number + 1} cuts: stable {stable}, removal over the best {share}\n")


if __name__ == "__main__":
    main()
