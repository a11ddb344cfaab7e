"""What to do after one judged recording.

In: the analysis of the recording, what the user knows of the cut. Out: action, speeds, depth, cautions.
Leaves out: a history of cuts; power; surface speed for the material.
"""

import numpy as np

from chatter.advice.machines import BaseFrequency, Machines, draw_machines
from chatter.advice.speeds import Window, find_windows, score_speeds, speed_grid_rpm
from chatter.advice.words import explain_speed, list_cautions
from chatter.milling.kinematics import feed_keeping_chip_load_mm_min
from chatter.milling.limits import SpeedRange, find_speed_range
from chatter.model.cut import Advice, CutAnalysis, CutSetup, JudgedCut, SpeedWindow

DECENT_PROBABILITY = 0.35  # own choice: a try costs one short cut; below it a shallower cut is the better bet
SURE = 0.9  # contract of `depth_factor`
LOWEST_BASE_HZ = 60.0  # own choice: nothing that holds a tool swings slower
MOST_BASES = 4
SIDEBAND_WEIGHT = 0.5  # own choice: the strongest line is the base more often than not
FAINTEST_WEIGHT = 0.1


def advise(analysis: CutAnalysis, *, setup: CutSetup) -> Advice:
    """Say what to do next after one recording.

    Parameters
    ----------
    analysis
        The judged recording; its worst cut decides.
    setup
        What the user knows of the cut.
    """
    worst = analysis.worst
    limits = find_speed_range(setup)
    if worst is None or worst.verdict == "undecided":
        cautions = list_cautions(limits, record_again=True, gives_speeds=False)
        return Advice(action="record again", speeds=(), depth_factor=None, cautions=cautions)
    if worst.verdict == "stable":
        cautions = list_cautions(limits, record_again=False, gives_speeds=False)
        return Advice(action="keep", speeds=(), depth_factor=None, cautions=cautions)
    cautions = list_cautions(limits, record_again=False, gives_speeds=True)
    present_rpm = analysis.spindle.best_rpm if worst.measured_rpm is None else worst.measured_rpm
    bases = find_bases(worst)
    machines = None
    if bases:
        machines = draw_machines(bases, rpm=present_rpm, verdict=worst.verdict, setup=setup)
    if machines is None:
        return Advice(action="reduce depth", speeds=(), depth_factor=None, cautions=cautions)
    speeds = _suggest(machines, limits=limits, present_rpm=present_rpm, setup=setup)
    decent = bool(speeds) and speeds[0].stable_probability >= DECENT_PROBABILITY
    return Advice(
        action="change speed" if decent else "reduce depth",
        speeds=speeds,
        depth_factor=round(float(np.quantile(machines.limit_share, 1 - SURE)), 3),
        cautions=cautions,
    )


def find_bases(cut: JudgedCut) -> tuple[BaseFrequency, ...]:
    """Give the measured chatter lines that may be the base of their family, weighed by level."""
    weights: dict[float, float] = {}
    lines = [line for line in cut.lines if line.kind in ("chatter", "chatter sideband")]
    loudest_db = max((line.level_db for line in lines), default=0.0)
    for line in lines:
        power = 10 ** ((line.level_db - loudest_db) / 10)
        share = 1.0 if line.kind == "chatter" else SIDEBAND_WEIGHT
        weights[line.frequency_hz] = max(weights.get(line.frequency_hz, 0.0), power * share)
    if cut.chatter_hz is not None:
        near = [hz for hz in weights if abs(hz / cut.chatter_hz - 1) < 1e-3]
        for hz in near:
            del weights[hz]
        weights[cut.chatter_hz] = 1.0
    kept = sorted(
        (
            (hz, weight)
            for hz, weight in weights.items()
            if hz >= LOWEST_BASE_HZ and weight >= FAINTEST_WEIGHT
        ),
        key=lambda pair: -pair[1],
    )[:MOST_BASES]
    total = sum(weight for _, weight in kept)
    return tuple(BaseFrequency(frequency_hz=hz, weight=weight / total) for hz, weight in kept)


def _suggest(
    machines: Machines, *, limits: SpeedRange, present_rpm: float, setup: CutSetup
) -> tuple[SpeedWindow, ...]:
    """Give the windows inside the limits, best first, with what to dial."""
    true_per_set = present_rpm / setup.rpm
    if limits.low_rpm <= 0 or limits.high_rpm < limits.low_rpm * 1.001:
        return ()
    grid = speed_grid_rpm(limits.low_rpm * true_per_set, high_rpm=limits.high_rpm * true_per_set)
    probability = score_speeds(machines, speeds_rpm=grid, flutes=setup.flutes)
    natural_hz = float(np.median(machines.natural_hz))
    windows = find_windows(probability, speeds_rpm=grid, present_rpm=present_rpm)
    return tuple(
        _dialled(window, limits=limits, present_rpm=present_rpm, setup=setup, natural_hz=natural_hz)
        for window in windows
    )


def _dialled(
    window: Window, *, limits: SpeedRange, present_rpm: float, setup: CutSetup, natural_hz: float
) -> SpeedWindow:
    """Put a window in terms of the dial and the feed."""
    true_per_set = present_rpm / setup.rpm
    set_rpm = min(max(window.rpm / true_per_set, limits.low_rpm), limits.high_rpm)
    rpm = set_rpm * true_per_set
    lobe = max(1, round(60 * natural_hz / (setup.flutes * rpm)))
    feed = None
    if setup.feed_mm_min is not None:
        feed = feed_keeping_chip_load_mm_min(setup.feed_mm_min, from_rpm=setup.rpm, to_rpm=set_rpm)
    return SpeedWindow(
        rpm=rpm,
        set_rpm=set_rpm,
        low_rpm=min(window.low_rpm, rpm),
        high_rpm=max(window.high_rpm, rpm),
        lobe=lobe,
        stable_probability=round(window.stable_probability, 3),
        feed_mm_min=feed,
        why=explain_speed(natural_hz, lobe=lobe, stable_probability=window.stable_probability),
    )
