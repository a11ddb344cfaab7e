"""Score the advice on simulated machines whose answer is known.

    PYTHONPATH=. python tests/benchmarks/advice.py alike 60      tools much the same along both axes
    PYTHONPATH=. python tests/benchmarks/advice.py apart 60      any mode along either axis
    PYTHONPATH=. python tests/benchmarks/advice.py heard 60      recordings of "other" scenes, heard by phone

Truth: semi-discretization (chatter/milling/semi_discretization.py, held to computed limits from elsewhere),
never the zero-order solution that the advice uses. In "alike" and "apart" the chatter's lines come from the
growing disturbance itself, coloured at random; in "heard" the whole `cut` pipeline listens. The range is
3,000 to 24,000 rpm; machines with fewer than one stable speed in forty there are drawn anew. The plain rule
n = 60 f / (N k) gets the strongest true line and takes its fastest speed in range. Results: docs/advice.md.
"""

import argparse
import sys
from dataclasses import dataclass, replace

import numpy as np

from chatter.advice import advise
from chatter.cut import judge_recording
from chatter.errors import BadValueError
from chatter.milling.semi_discretization import MillingSystem, largest_multiplier, multiplier_map
from chatter.model import CutAnalysis, CutSetup, JudgedCut, Line, Spindle
from chatter.simulate import Scene, random_scene, render_scene
from tests.recordings_made import as_recording

LOW_RPM, HIGH_RPM, SPEEDS = 3000.0, 24_000.0, 60
LEAST_SHARE = 1 / 40
DIAMETER_MM = 6.0
COLOUR_NEPERS = 0.5
SEEDS = {"alike": 11, "apart": 12, "heard": 13}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """One chattering cut and the machine behind it."""

    system: MillingSystem  # at the true speed
    depth_m: float
    limit_m: float
    strongest_hz: float  # true
    setup: CutSetup
    analysis: CutAnalysis
    true_per_set: float

    def stable(self, rpm: float, *, depth_factor: float = 1.0) -> bool:
        """Say whether the cut is stable at a true speed and a share of its depth."""
        depth_m = depth_factor * self.depth_m
        return abs(largest_multiplier(replace(self.system, rpm=rpm), depth_m=depth_m)) < 1


def _limit_m(system: MillingSystem) -> float | None:
    """Give the limit depth by growing and bisection, or None beyond 50 mm."""
    low, high = 0.0, 1e-5
    while abs(largest_multiplier(system, depth_m=high)) < 1:
        low, high = high, 1.2 * high
        if high > 0.05:
            return None
    while high - low > 0.003 * high:
        middle = (low + high) / 2
        if abs(largest_multiplier(system, depth_m=middle)) < 1:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _draw_system(rng: np.random.Generator, *, alike: bool) -> tuple[MillingSystem, CutSetup]:
    x_hz = float(np.exp(rng.uniform(np.log(300), np.log(2500))))
    y_hz = (
        x_hz * float(np.exp(rng.normal(0, 0.12)))
        if alike
        else float(np.exp(rng.uniform(*np.log([300, 2500]))))
    )
    stiffness = 10 ** rng.uniform(6, 7.3)
    immersion = float(rng.choice([1.0, 0.5, 0.25, rng.uniform(0.1, 1)]))
    direction = "up" if rng.random() < 0.5 else "climb"
    up = direction == "up"
    system = MillingSystem(
        natural_hz=np.array([x_hz, y_hz]),
        damping_ratio=np.exp(rng.uniform(np.log(0.01), np.log(0.06), 2)),
        stiffness_n_per_m=stiffness * np.array([1.0, np.exp(rng.normal(0, 0.4 if alike else 0.7))]),
        along_y=np.array([False, True]),
        flutes=int(rng.integers(1, 6)),
        rpm=float(np.exp(rng.uniform(np.log(LOW_RPM), np.log(HIGH_RPM)))),
        entry_rad=0.0 if up else float(np.arccos(2 * immersion - 1)),
        exit_rad=float(np.arccos(1 - 2 * immersion)) if up else float(np.pi),
        tangential_pa=float(rng.uniform(6e8, 1.5e9)),
        radial_ratio=float(rng.uniform(0.1, 0.5)),
    )
    setup = CutSetup(
        rpm=system.rpm,
        flutes=system.flutes,
        min_rpm=LOW_RPM,
        max_rpm=HIGH_RPM,
        width_mm=DIAMETER_MM * immersion,
        diameter_mm=DIAMETER_MM,
        direction=direction,
    )
    return system, setup


def _family(
    rng: np.random.Generator, system: MillingSystem, multiplier: complex
) -> list[tuple[float, float]]:
    """Give lines and levels of the growing disturbance: the readier the machine rings, the louder."""
    tooth_hz = system.rpm * system.flutes / 60
    base_hz = abs(np.angle(multiplier)) / (2 * np.pi) * tooth_hz
    hz = np.unique(np.abs(base_hz + np.arange(-80, 81) * tooth_hz))
    hz = hz[(hz > 60) & (hz < 8000)]
    ratio = hz[:, None] / system.natural_hz
    swing = 1 / system.stiffness_n_per_m / np.abs(1 - ratio**2 + 2j * system.damping_ratio * ratio)
    loud = np.log(swing.sum(axis=1) * hz) + rng.normal(0, COLOUR_NEPERS, len(hz))
    order = np.argsort(-loud)[:6]
    return [(float(hz[i]), float(20 / np.log(10) * (loud[i] - loud[order[0]]))) for i in order]


def draw_built(rng: np.random.Generator, *, alike: bool) -> Case | None:
    """Draw a machine and the lines of its chatter, without sound; None where it has no clear answer."""
    system, setup = _draw_system(rng, alike=alike)
    limit_m = _limit_m(system)
    if limit_m is None:
        return None
    depth_m = limit_m * rng.uniform(1.25, 3)
    multiplier = largest_multiplier(system, depth_m=depth_m)
    half = abs(abs(np.angle(multiplier)) - np.pi) < 0.03
    if abs(multiplier) < 1 or (half and system.flutes % 2 == 0):
        return None
    lines = [
        Line(
            frequency_hz=hz,
            width_hz=None,
            level_db=db - 40,
            kind="chatter sideband" if place else "chatter",
            order=None,
        )
        for place, (hz, db) in enumerate(_family(rng, system, multiplier))
    ]
    cut = JudgedCut(
        start_s=1.0,
        end_s=4.0,
        measured_rpm=system.rpm,
        measured_rpm_sd=0.1,
        verdict="chatter",
        chatter_probability=0.99,
        chatter_hz=lines[0].frequency_hz,
        onset_s=1.0,
        lines=tuple(lines),
    )
    spindle = Spindle(
        programmed_rpm=system.rpm, flutes=system.flutes, measured_rpm=system.rpm, measured_rpm_sd=0.1
    )
    return Case(
        system=system,
        depth_m=depth_m,
        limit_m=limit_m,
        strongest_hz=lines[0].frequency_hz,
        setup=replace(setup, depth_mm=1000 * depth_m),
        analysis=CutAnalysis(spindle=spindle, channel=0, cuts=(cut,), cut_index=0, findings=()),
        true_per_set=1.0,
    )


def _system_of(scene: Scene, rpm: float) -> MillingSystem:
    entry, leave = scene.conditions.angles_rad()
    modes = scene.tool.modes
    return MillingSystem(
        natural_hz=np.array([mode.frequency_hz for mode in modes]),
        damping_ratio=np.array([mode.damping_ratio for mode in modes]),
        stiffness_n_per_m=np.array([mode.stiffness_n_m for mode in modes]),
        along_y=np.array([mode.axis == "y" for mode in modes]),
        flutes=scene.tool.flutes,
        rpm=rpm,
        entry_rad=entry,
        exit_rad=leave,
        tangential_pa=scene.conditions.pressure_pa,
        radial_ratio=scene.conditions.force_ratio,
    )


def draw_heard(rng: np.random.Generator) -> Case | None:
    """Draw a scene, record it and let the pipeline judge it; None where it can't be used."""
    scene = random_scene(rng, family="other", chattering=True)
    try:
        rendered = render_scene(scene)
    except BadValueError:  # the simulator can't follow it, or its answer isn't clear
        return None
    if (rendered.kind == "flip" and rendered.flutes % 2 == 0) or not rendered.chatter_lines_hz:
        return None
    recording = as_recording(rendered.samples, rate_hz=rendered.rate_hz)
    setup = CutSetup(
        rpm=rendered.programmed_rpm,
        flutes=rendered.flutes,
        min_rpm=min(LOW_RPM, rendered.programmed_rpm),
        max_rpm=max(HIGH_RPM, rendered.programmed_rpm),
        depth_mm=1000 * rendered.depth_m,
        width_mm=DIAMETER_MM * scene.conditions.immersion,
        diameter_mm=DIAMETER_MM,
        direction="up" if scene.conditions.direction == "up" else "climb",
    )
    return Case(
        system=_system_of(scene, rendered.true_rpm),
        depth_m=rendered.depth_m,
        limit_m=rendered.limit_depth_m,
        strongest_hz=rendered.chatter_lines_hz[0],
        setup=setup,
        analysis=judge_recording(recording, setup=setup),
        true_per_set=rendered.true_rpm / rendered.programmed_rpm,
    )


def draw_cases(kind: str, count: int, seed: int) -> list[Case]:
    """Draw cases that have at least one stable speed in forty; the same seed gives the same cases."""
    rng = np.random.default_rng(seed)
    speeds_rpm = np.geomspace(LOW_RPM, HIGH_RPM, SPEEDS)
    cases: list[Case] = []
    while len(cases) < count:
        case = draw_heard(rng) if kind == "heard" else draw_built(rng, alike=kind == "alike")
        if case is None:
            continue
        sizes = np.abs(multiplier_map(case.system, speeds_rpm=speeds_rpm, depths_m=np.array([case.depth_m])))[
            :, 0
        ]
        if np.mean(sizes < 1) >= LEAST_SHARE:
            cases.append(case)
            sys.stderr.write(f"\r{len(cases)} of {count}")
    sys.stderr.write("\n")
    return cases


def score(cases: list[Case]) -> tuple[dict[str, float], list[tuple[float, bool]]]:
    """Give the figures, and for each of the first three suggestions what was stated and what is true."""
    first, three, rule, depth_holds, factors, stated = [], [], [], [], [], []
    for case in cases:
        advice = advise(case.analysis, setup=case.setup)
        good = [case.stable(speed.set_rpm * case.true_per_set) for speed in advice.speeds[:3]]
        first.append(bool(good) and good[0])
        three.append(any(good))
        stated += [
            (speed.stable_probability, is_good) for speed, is_good in zip(advice.speeds, good, strict=False)
        ]
        rpm, flutes = case.system.rpm, case.system.flutes
        ruled = [60 * case.strongest_hz / (flutes * k) for k in range(1, 400)]
        ruled = [n for n in ruled if LOW_RPM <= n <= HIGH_RPM and abs(n / rpm - 1) > 0.005]
        rule.append(bool(ruled) and case.stable(ruled[0]))
        if advice.depth_factor is not None and advice.action != "keep":
            depth_holds.append(case.stable(rpm, depth_factor=advice.depth_factor))
            factors.append(advice.depth_factor * case.depth_m / case.limit_m)
    figures = {
        "cases": float(len(cases)),
        "first speed stable": float(np.mean(first)),
        "any of the first three": float(np.mean(three)),
        "plain rule, strongest true line": float(np.mean(rule)),
        "stable at the depth factor": float(np.mean(depth_holds)),
        "depth factor over the limit, median": float(np.median(factors)),
    }
    return figures, stated


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=sorted(SEEDS))
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int)
    given = parser.parse_args()
    cases = draw_cases(given.kind, given.count, SEEDS[given.kind] if given.seed is None else given.seed)
    figures, stated = score(cases)
    for name, value in figures.items():
        sys.stdout.write(f"{name:38s} {value:6.3f}\n")
    for low in (0.0, 0.2, 0.4, 0.6, 0.8):
        inside = [(p, good) for p, good in stated if low <= p < low + 0.2 + (low == 0.8)]
        if inside:
            said, was = np.mean([p for p, _ in inside]), np.mean([good for _, good in inside])
            sys.stdout.write(f"stated {low:.1f} to {low + 0.2:.1f}: {len(inside):3d} {said:.2f} {was:.2f}\n")


if __name__ == "__main__":
    main()
