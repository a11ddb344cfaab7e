"""What to do after one judged recording, or after many of the same setup.

In: the analysis of the recording, what the user knows of the cut, tapped parts, earlier cuts. Out: action,
speeds, depth, cautions.
Source: the posterior is in chatter/advice/machines.py; power and chip load in chatter/milling/limits.py.
Leaves out: the history's store (notebook/), the next cut worth making.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from chatter.advice.concerns import Setting, find_concerns
from chatter.advice.machines import (
    CHATTER_DEPTHS,
    ChatterLine,
    HeardCut,
    Machines,
    draw_limit_share,
    draw_machines,
)
from chatter.advice.shapes import known_modes
from chatter.advice.speeds import (
    ROOM_SHARE,
    Window,
    find_natural_hz,
    find_stable,
    find_windows,
    score_any,
    speed_grid_rpm,
)
from chatter.advice.words import (
    UNLIKELY_THERE,
    URGENT_CONCERNS,
    caution_jump,
    caution_power,
    explain_no_feed,
    explain_speed,
    list_cautions,
)
from chatter.milling.limits import (
    SpeedRange,
    check_depth,
    check_dialled,
    check_present,
    feed_at_mm_min,
    feed_to_suggest_mm_min,
    find_speed_range,
    power_needed_w,
)
from chatter.model.cut import (
    Advice,
    CutAnalysis,
    CutSetup,
    JudgedCut,
    SpeedCurve,
    SpeedWindow,
    end_factor,
)
from chatter.model.tap import Tap

DECENT_PROBABILITY = 0.35  # own choice: a try costs one short cut; below it a shallower cut is the better bet
SURE = 0.9  # contract of `depth_factor`
LOWEST_BASE_HZ = 60.0  # own choice: nothing that holds a tool swings slower
SAME_LINE = 1e-3  # of its frequency
MOST_LINES = 8
CURVE_STEP = 3  # 101 of the 301 speeds worked out: enough for a picture
QUIET_CONCERNS = frozenset({"speed-low"})  # taste, not danger: left to the page of materials
TOO_FAST = frozenset({"over-tool", "over-spindle"})
ROUND_STEPS_RPM = (50.0, 10.0)  # own choice: what a hand dials
# A window is at least so many steps wide, or a step so small beside the speed, that rounding moves nothing
# that matters.
STEPS_IN_WINDOW = 10
HARDLY_SHARE = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierCut:
    """A cut made before with the same tool, holder, work and width."""

    analysis: CutAnalysis
    depth_mm: float  # of a ramped pass that chattered, where the chatter began
    onset_sd_mm: float | None = None  # of where it began; None where no ramp told it


def advise(
    analysis: CutAnalysis,
    *,
    setup: CutSetup,
    taps: tuple[Tap, ...] = (),
    earlier: tuple[EarlierCut, ...] = (),
) -> Advice:
    """Say what to do next.

    Parameters
    ----------
    analysis
        The judged recording; its worst cut decides.
    setup
        What the user knows of the cut.
    taps
        Tapped parts of the same machine.
    earlier
        Earlier cuts of the same setup; they count only where the present depth is known.

    Returns
    -------
    Advice
        Speeds only where the cut chattered; a depth factor above 1 only where it was stable.
    """
    worst = analysis.worst
    limits = find_speed_range(setup)
    if worst is None or worst.verdict == "undecided":
        urgent, _ = _concerns(setup, speeds=(), keeps_speed=True)
        burns = tuple(one.message for one in find_concerns(setup, settings=(), keeps_present=False))
        cautions = list_cautions(limits, record_again=True, gives_speeds=False)
        return Advice(
            action="record again",
            speeds=(),
            depth_factor=None,
            cautions=(*urgent, *burns, *cautions),
            urgent=urgent,
        )
    is_too_fast = any(concern.code in TOO_FAST for concern in check_dialled(setup))
    depth_mm = setup.present_depth_mm
    heard = (
        replace(
            _hear(worst, rpm=analysis.spindle.best_rpm, depth_share=1.0),
            limit=_ramp_limit(analysis, depth_mm=depth_mm),
        ),
        *_hear_earlier(earlier, depth_mm=depth_mm),
    )
    lines = tuple(
        line for cut in (worst, *(one.analysis.worst for one in earlier)) if cut for line in cut.lines
    )
    machines = draw_machines(heard, setup=setup, known=known_modes(taps, lines=lines))
    factor = _depth_factor(machines, heard[0], setup=setup, depth_mm=depth_mm, verdict=worst.verdict)
    power_depth_mm = _power_depth_mm(setup, depth_mm=depth_mm)
    if worst.verdict == "stable":
        urgent, concerns = _concerns(setup, speeds=(), keeps_speed=True)
        cautions = list_cautions(limits, record_again=False, gives_speeds=False)
        is_too_deep = bool(check_depth(setup))
        return Advice(
            action="change speed" if is_too_fast else "reduce depth" if is_too_deep else "keep",
            speeds=(),
            depth_factor=factor,
            power_depth_mm=power_depth_mm,
            cautions=(*urgent, *concerns, *cautions),
            urgent=urgent,
        )
    short = caution_power(setup, limits=limits, powered_rpm=_powered_rpm(setup))
    cautions = (*short, *list_cautions(limits, record_again=False, gives_speeds=not short))
    speeds, chances, any_chance = _suggest(machines, limits=limits, present_rpm=heard[0].rpm, setup=setup)
    decent = bool(speeds) and speeds[0].stable_probability >= DECENT_PROBABILITY
    change = decent or is_too_fast
    urgent, concerns = _concerns(setup, speeds=speeds, keeps_speed=not change)
    urgent += explain_no_feed(setup, set_rpm=speeds[0].set_rpm) if speeds else ()
    if speeds and change and not decent:
        urgent = (*urgent, UNLIKELY_THERE)
    return Advice(
        action="change speed" if change else "reduce depth",
        speeds=speeds,
        depth_factor=factor,
        power_depth_mm=power_depth_mm,
        cautions=(*urgent, *concerns, *_jump(setup, speeds=speeds), *cautions),
        urgent=urgent,
        chances=chances,
        any_stable_probability=any_chance,
    )


def _ramp_limit(analysis: CutAnalysis, *, depth_mm: float | None) -> tuple[float, float] | None:
    """Give the limit that a ramp told, over the depth that the advice is about, and its spread."""
    if analysis.ramp is None or not depth_mm:
        return None
    return analysis.ramp.depth_mm / depth_mm, analysis.ramp.depth_sd_mm / depth_mm


def find_lines(cut: JudgedCut) -> tuple[ChatterLine, ...]:
    """Give the chatter's family as heard, strongest first; the line named by `chatter_hz` leads."""
    if cut.chatter_hz is None:
        return ()
    heard = {line.frequency_hz: line.level_db for line in cut.family if line.frequency_hz >= LOWEST_BASE_HZ}
    named = [hz for hz in heard if abs(hz / cut.chatter_hz - 1) < SAME_LINE]
    loudest_db = max((heard.pop(hz) for hz in named), default=0.0)
    others = sorted(heard.items(), key=lambda pair: -pair[1])[: MOST_LINES - 1]
    first = ChatterLine(frequency_hz=cut.chatter_hz, level_db=0.0)
    return (first, *(ChatterLine(frequency_hz=hz, level_db=min(0.0, db - loudest_db)) for hz, db in others))


def _hear(cut: JudgedCut, *, rpm: float, depth_share: float) -> HeardCut:
    """Give a judged cut as the posterior sees it."""
    return HeardCut(
        rpm=rpm if cut.measured_rpm is None else cut.measured_rpm,
        depth_share=depth_share,
        chatter_probability=0.5 if cut.chatter_probability is None else cut.chatter_probability,
        lines=() if cut.verdict == "stable" else find_lines(cut),
    )


def _hear_earlier(earlier: tuple[EarlierCut, ...], *, depth_mm: float | None) -> tuple[HeardCut, ...]:
    """Give the earlier cuts that carry a verdict; without the present depth theirs say nothing."""
    if depth_mm is None:
        return ()
    return tuple(
        replace(
            _hear(worst, rpm=one.analysis.spindle.best_rpm, depth_share=one.depth_mm / depth_mm),
            # The depth of a ramp is where its chatter began, so it is the limit.
            limit=None if one.onset_sd_mm is None else (1.0, one.onset_sd_mm / one.depth_mm),
        )
        for one in earlier
        if (worst := one.analysis.worst) is not None and worst.verdict != "undecided"
    )


def _depth_factor(
    machines: Machines | None, cut: HeardCut, *, setup: CutSetup, depth_mm: float | None, verdict: str
) -> float:
    """Give the share of the present depth that is stable at the present speed in 9 of 10 machines.

    Whatever earlier cuts and taps say: less where this one chattered, no more where it may have.
    """
    share = draw_limit_share(cut) if machines is None else machines.limit_share
    factor = math.floor(1000 * float(np.quantile(share, 1 - SURE))) / 1000  # rounded up it might chatter
    if verdict == "chatter":
        factor = min(factor, math.floor(1000 / CHATTER_DEPTHS[0]) / 1000)
    elif verdict != "stable" or cut.chatter_probability > 1 - SURE:
        factor = min(factor, 1.0)
    if setup.most_depth_mm is not None and depth_mm is not None and depth_mm > 0:
        factor = min(factor, end_factor(setup.most_depth_mm, depth_mm=depth_mm))
    return factor


def _power_depth_mm(setup: CutSetup, *, depth_mm: float | None) -> float | None:
    """Give the depth that the power drives at the present speed, feed and width, if that is known."""
    needed_w = power_needed_w(setup, set_rpm=setup.rpm, feed_mm_min=setup.feed_mm_min, depth_mm=depth_mm)
    if needed_w is None or depth_mm is None or setup.spindle_power_w is None:
        return None
    return math.floor(1000 * depth_mm * setup.spindle_power_w / needed_w) / 1000  # power goes with depth


def _concerns(
    setup: CutSetup, *, speeds: tuple[SpeedWindow, ...], keeps_speed: bool
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Give what is unsafe at once, and what else the settings would strain, each told once, in words."""
    settings = [
        Setting(set_rpm=speed.set_rpm, feed_mm_min=speed.feed_mm_min, depth_mm=setup.present_depth_mm)
        for speed in speeds
    ]
    found = find_concerns(setup, settings=settings, keeps_present=keeps_speed or not speeds)
    short = [one for one in check_present(setup) if one.code == "power"]  # of a cut that isn't kept, too
    told = {one.code: one.message for one in (*short, *found) if one.code not in QUIET_CONCERNS}
    urgent = [concern.message for concern in (*check_dialled(setup), *check_depth(setup))]
    urgent += [message for code, message in told.items() if code in URGENT_CONCERNS]
    return tuple(urgent), tuple(message for code, message in told.items() if code not in URGENT_CONCERNS)


def _jump(setup: CutSetup, *, speeds: tuple[SpeedWindow, ...]) -> tuple[str, ...]:
    """Say what to check before a speed far above the present one; nothing where none is."""
    fastest = max(speeds, key=lambda speed: speed.set_rpm, default=None)
    if fastest is None:
        return ()
    return caution_jump(setup, set_rpm=fastest.set_rpm, feed_mm_min=fastest.feed_mm_min)


def _suggest(
    machines: Machines | None, *, limits: SpeedRange, present_rpm: float, setup: CutSetup
) -> tuple[tuple[SpeedWindow, ...], SpeedCurve | None, float | None]:
    """Give the windows to dial, the chances over speed, and the chance that one window at least holds."""
    true_per_set = present_rpm / setup.rpm
    if machines is None or limits.low_rpm <= 0 or limits.high_rpm < limits.low_rpm * 1.001:
        return (), None, None
    grid = speed_grid_rpm(limits.low_rpm * true_per_set, high_rpm=limits.high_rpm * true_per_set)
    stable = find_stable(machines, speeds_rpm=grid, flutes=setup.flutes)
    allowed = grid / true_per_set <= _powered_rpm(setup)
    windows = find_windows(stable, speeds_rpm=grid, present_rpm=present_rpm, allowed=allowed)
    dialled = tuple(
        _dialled(
            window,
            limits=limits,
            present_rpm=present_rpm,
            setup=setup,
            natural_hz=find_natural_hz(machines, stable, rpm=window.rpm, speeds_rpm=grid),
        )
        for window in windows
    )
    chances = SpeedCurve(
        speeds_rpm=tuple(float(rpm) for rpm in grid[::CURVE_STEP]),
        stable_probability=tuple(round(float(value), 3) for value in stable.mean(axis=0)[::CURVE_STEP]),
    )
    tried = tuple(window.rpm for window in dialled)
    return dialled, chances, score_any(stable, tried_rpm=tried, speeds_rpm=grid)


def _powered_rpm(setup: CutSetup) -> float:
    """Give the fastest set speed that the power drives, fed as is suggested; infinite where not known."""
    needed_w = power_needed_w(
        setup,
        set_rpm=setup.rpm,
        feed_mm_min=feed_at_mm_min(setup, set_rpm=setup.rpm),
        depth_mm=setup.present_depth_mm,
    )
    if needed_w is None or setup.spindle_power_w is None:
        return math.inf
    return setup.rpm * setup.spindle_power_w / needed_w  # at one chip load the power goes with the speed


def _dialled(
    window: Window, *, limits: SpeedRange, present_rpm: float, setup: CutSetup, natural_hz: float
) -> SpeedWindow:
    """Put a window in terms of the dial and the feed."""
    true_per_set = present_rpm / setup.rpm
    set_rpm = _round_dial(window, true_per_set=true_per_set)
    set_rpm = min(max(set_rpm, limits.low_rpm), limits.high_rpm)
    rpm = set_rpm * true_per_set
    swings = 60 * natural_hz / (setup.flutes * rpm)
    chance = round(window.stable_probability, 3)  # one number, in the document and in its words
    return SpeedWindow(
        rpm=rpm,
        set_rpm=set_rpm,
        low_rpm=min(window.low_rpm, rpm),
        high_rpm=max(window.high_rpm, rpm),
        lobe=max(1, round(swings)),
        stable_probability=chance,
        feed_mm_min=feed_to_suggest_mm_min(setup, set_rpm=set_rpm),
        why=explain_speed(natural_hz, swings=swings, stable_probability=chance, ramp_to_mm=setup.depth_to_mm),
    )


def _round_dial(window: Window, *, true_per_set: float) -> float:
    """Give what to dial for a window: fifties or tens of rpm, where that leaves it well inside."""
    low, high = window.low_rpm / true_per_set, window.high_rpm / true_per_set
    exact = window.rpm / true_per_set
    room = min(exact - low, high - exact, ROOM_SHARE * exact)
    for step in ROUND_STEPS_RPM:
        if high - low < STEPS_IN_WINDOW * step and step > HARDLY_SHARE * exact:
            continue
        least, most = math.ceil((low + room) / step), math.floor((high - room) / step)
        if least > most:  # no such number has as much room
            least = most = round(exact / step)
        if low <= least * step and most * step <= high:
            return min(max(round(exact / step), least), most) * step
    return exact
