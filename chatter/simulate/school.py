"""Recordings of a school's workshop: another kind of shop, sound and phone than chatter/simulate/scene.py.

In: a source of random numbers. Out: scenes, and their samples with the truth about them.
Only the milling itself, the limit and the truth are worked as in the other families; the tool and the work
radiate their acceleration, the room has walls, the noises and the phone's processing are of other kinds.
Source: the machines are invented; their ranges are common practice for benchtop mills and small shops.
Leaves out: codecs and files.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from chatter.simulate import school_sounds as sounds
from chatter.simulate.milling import Conditions, Mode, Tool
from chatter.simulate.phone import on_clock
from chatter.simulate.scene import (
    ROUGHNESS,
    RenderedScene,
    cut_along_time,
    settle_depth,
    true_chatter_lines_hz,
)

Floats = NDArray[np.float64]
NOISES = {
    "belt fan": sounds.belt_fan,
    "second machine": sounds.second_machine,
    "speech": sounds.speech,
    "bumps": sounds.bumps,
    "air blast": sounds.air_blast,
}
LEAST_STEP_DB = 4.0  # shop noise lies 4 to 24 dB below the cut


@dataclass(frozen=True, slots=True, kw_only=True)
class SchoolScene:
    """Everything that decides a recording."""

    seed: int
    tool: Tool
    conditions: Conditions  # at the true speed without load
    programmed_rpm: float
    depth_ratio: float  # of the limit depth
    cut_times_s: tuple[tuple[float, float], ...]
    total_s: float
    sag: float  # share of speed lost under load
    roughness: float  # rms of the force factor
    noises: tuple[str, ...]
    noise_below_db: float  # all of them together
    drive_tone: bool
    limiter: bool
    gate: bool  # noise suppression
    rate_hz: int


def random_school_scene(rng: np.random.Generator) -> SchoolScene:
    """Draw a scene; whether it chatters is left to chance."""
    flutes = int(rng.integers(1, 6))
    rpm = float(np.exp(rng.uniform(np.log(1500), np.log(24_000))))
    slip = 0.0 if rng.random() < 0.15 else float(rng.uniform(0, 0.03))
    feed_m = 1e-3 * float(np.exp(rng.uniform(np.log(0.008), np.log(0.12))))
    start_s = float(rng.uniform(1.5, 3.5))
    times = []
    for _ in range(2 if rng.random() < 0.2 else 1):
        times.append((start_s, start_s + float(rng.uniform(1.5, 4.0))))
        start_s = times[-1][1] + float(rng.uniform(1.2, 2.5))
    count = int(rng.choice([0, 1, 2], p=[0.15, 0.5, 0.35]))
    noises = tuple(str(name) for name in rng.choice(list(NOISES), size=count, replace=False))
    return SchoolScene(
        seed=int(rng.integers(2**31)),
        tool=Tool(flutes=flutes, modes=_modes(rng), runout_m=_runout_m(rng, flutes=flutes, feed_m=feed_m)),
        conditions=Conditions(
            rpm=rpm,
            immersion=float(rng.choice([1.0, 0.75, 0.5, rng.uniform(0.1, 0.5), rng.uniform(0.05, 0.2)])),
            direction=str(rng.choice(["up", "climb"])),
            feed_per_tooth_m=feed_m,
            pressure_pa=float(np.exp(rng.uniform(np.log(5e8), np.log(2.5e9)))),
            force_ratio=float(rng.uniform(0.1, 0.6)),
        ),
        programmed_rpm=rpm / (1 - slip),
        depth_ratio=float(rng.uniform(1.25, 3.0) if rng.random() < 0.5 else rng.uniform(0.15, 0.8)),
        cut_times_s=tuple(times),
        total_s=times[-1][1] + float(rng.uniform(1.2, 3)),
        sag=0.0 if rng.random() < 0.4 else float(rng.uniform(0, 0.006)),
        roughness=float(np.exp(rng.uniform(*np.log(ROUGHNESS)))),
        noises=noises,
        noise_below_db=float(rng.uniform(LEAST_STEP_DB, 24)),
        drive_tone=bool(rng.random() < 0.4),
        limiter=bool(rng.random() < 0.3),
        gate=bool(rng.random() < 0.2),
        rate_hz=int(rng.choice([44_100, 48_000])),
    )


def render_school_scene(scene: SchoolScene) -> RenderedScene:
    """Make the recording of a scene.

    Returns
    -------
    RenderedScene
        Same scene, same samples.

    Raises
    ------
    BadValueError
        The motion grows beyond what the simulator can follow, or an island of stability or of chatter lies
        at this depth.
    """
    rng = np.random.default_rng(scene.seed)
    tool, conditions, rate = scene.tool, scene.conditions, scene.rate_hz
    limit_m, depth_m, kind = settle_depth(tool, conditions, sag=scene.sag, depth_ratio=scene.depth_ratio)
    cut, inside = cut_along_time(
        tool,
        conditions,
        rng,
        times=scene.cut_times_s,
        total_s=scene.total_s,
        depth_m=depth_m,
        sag=scene.sag,
        roughness=scene.roughness,
    )
    share = on_clock(cut, inside, rate_hz=rate)
    on = share > 0.5
    turns_x = rng.uniform(0, np.pi)  # the side from which the phone hears the tool
    tool_path = on_clock(cut, np.cos(turns_x) * cut.x_m + np.sin(turns_x) * cut.y_m, rate_hz=rate)
    tilt = rng.uniform(0, np.pi)
    force = on_clock(cut, np.cos(tilt) * cut.force_x_n + np.sin(tilt) * cut.force_y_n, rate_hz=rate)
    from_tool = sounds.unit(np.diff(tool_path, n=2, prepend=tool_path[0], append=tool_path[-1]))
    from_work = sounds.unit(sounds.panel_acceleration(force, rng, rate_hz=rate))
    balance = rng.uniform(0.1, 0.7)
    dry = balance * from_tool + (1 - balance) * from_work
    true_rpm = conditions.rpm * (1 - scene.sag)
    lines_hz: tuple[float, ...] = ()
    if kind != "none":
        lines_hz = true_chatter_lines_hz(dry[on], rate_hz=rate, rpm=true_rpm, flutes=tool.flutes, kind=kind)
    near = sounds.room_response(rng, rate_hz=rate, reach_m=(0.3, 1.2))
    wet = sounds.in_walls(dry + _machine(scene, rng, share, level=_rms(dry[on])), near)
    wet = wet + _shop(scene, rng, share, level=_rms(wet[on]))
    return RenderedScene(
        samples=_phone(scene, rng, wet).astype(np.float32)[None, :],
        rate_hz=rate,
        chattering=kind != "none",
        kind=kind,
        chatter_lines_hz=lines_hz,
        true_rpm=true_rpm,
        programmed_rpm=scene.programmed_rpm,
        flutes=tool.flutes,
        cut_times_s=scene.cut_times_s,
        limit_depth_m=limit_m,
        depth_m=depth_m,
    )


def _modes(rng: np.random.Generator) -> tuple[Mode, ...]:
    """Draw one to three modes along each axis, the second and third stiffer than the first."""
    modes = []
    for axis in "xy":
        first_hz = np.exp(rng.uniform(np.log(150), np.log(2500)))
        for i in range(int(rng.integers(1, 4))):
            modes.append(
                Mode(
                    axis=axis,
                    frequency_hz=float(first_hz * (1 if i == 0 else rng.uniform(1.3, 1.9) * i)),
                    damping_ratio=float(np.exp(rng.uniform(np.log(0.01), np.log(0.07)))),
                    stiffness_n_m=float(10 ** rng.uniform(5.9, 7.2) * (1 if i == 0 else 2)),
                )
            )
    return tuple(modes)


def _runout_m(rng: np.random.Generator, *, flutes: int, feed_m: float) -> tuple[float, ...]:
    """Draw an axis off centre, and teeth ground a little differently."""
    if rng.random() < 0.2:
        return ()
    off = feed_m * rng.uniform(0.02, 0.7)
    angles = 2 * np.pi * np.arange(flutes) / flutes + rng.uniform(0, 6)
    each = off * np.cos(angles) + 0.1 * off * rng.normal(size=flutes)
    return tuple(float(value) for value in each)


def _rms(samples: Floats) -> float:
    return float(np.sqrt(np.mean(samples**2)))


def _machine(scene: SchoolScene, rng: np.random.Generator, share: Floats, *, level: float) -> Floats:
    """Give what the machine itself sounds like: spindle, motor lines, axis drive."""
    rate, count = scene.rate_hz, len(share)
    t = np.arange(count) / rate
    out = np.zeros(count)
    phase = 2 * np.pi * np.cumsum(scene.conditions.rpm / 60 * (1 - scene.sag * share)) / rate
    for order in range(1, 13):  # the spindle, softly, at its true speed
        out += level * 0.015 * rng.random() * np.sin(order * phase + rng.uniform(0, 6))
    bearing = rng.uniform(3.05, 5.95)  # rolling elements pass at a broken multiple
    out += level * 0.01 * rng.random() * np.sin(bearing * phase)
    for order in (1, 2, 4, 6, 8, 24):  # motor lines keep to the dialled speed and grow with load
        line = np.sin(2 * np.pi * scene.programmed_rpm / 60 * order * t + rng.uniform(0, 6))
        out += level * 0.03 * rng.random() * line * (1 + 1.5 * share)
    if scene.drive_tone:
        before, after = rng.uniform(0.2, 0.7, 2)
        start, end = scene.cut_times_s[0][0] - before, scene.cut_times_s[-1][1] + after
        ramp = np.clip(np.minimum(t - start, end - t) / 0.1, 0, 1)  # the axis speeds up, and its tone with it
        steps = np.cumsum(float(rng.uniform(200, 1500)) * ramp) / rate
        tone = np.sin(2 * np.pi * steps) + 0.4 * np.sin(4 * np.pi * steps)
        out += level * 10 ** (-rng.uniform(12, 28) / 20) * tone * (ramp > 0)
    return out


def _shop(scene: SchoolScene, rng: np.random.Generator, share: Floats, *, level: float) -> Floats:
    """Give the other sounds of the shop, each from its own place in the room."""
    rate, count = scene.rate_hz, len(share)
    rush = signal.lfilter([0.1], [1, -0.9], rng.normal(size=count))
    out = level * 0.01 * sounds.unit(rush)
    if not scene.noises:
        return out
    total = np.zeros(count)
    for name in scene.noises:
        noise = NOISES[name](rng, count, rate_hz=rate)
        if name == "air blast":  # the program turns it on just before the tool touches
            begin = int((scene.cut_times_s[0][0] - rng.uniform(0, 0.05)) * rate)
            noise = noise * np.clip((np.arange(count) - begin) / (0.08 * rate), 0, 1)
        far = sounds.room_response(rng, rate_hz=rate, reach_m=(1.0, 3.0))
        total += rng.uniform(0.4, 1) * sounds.in_walls(noise, far / np.sqrt(np.sum(far**2)))
    # Bumps and talk are short: what counts is how loud they are while they sound.
    blocks = np.sqrt(np.add.reduceat(total**2, np.arange(0, count, rate // 5)) / (rate // 5))
    return np.asarray(out + total / np.quantile(blocks, 0.9) * level * 10 ** (-scene.noise_below_db / 20))


def _phone(scene: SchoolScene, rng: np.random.Generator, sound: Floats) -> Floats:
    """Give what the phone stores: its own tone colour, gate, limiter, noise and full scale."""
    rate = scene.rate_hz
    low = signal.butter(1, rng.uniform(60, 180), "highpass", fs=rate, output="sos")
    high = signal.butter(2, rng.uniform(11_000, 17_000), fs=rate, output="sos")
    heard = signal.sosfilt(high, signal.sosfilt(low, sound))
    heard = heard + rng.uniform(0, 0.6) * np.diff(heard, prepend=heard[0])  # brighter
    heard = heard / np.abs(heard).max()
    heard = heard + 10 ** rng.uniform(-4.2, -3.2) * rng.normal(size=len(heard))
    if scene.gate:
        heard = sounds.spectral_gate(heard, rate_hz=rate, floor=float(10 ** (-rng.uniform(8, 18) / 20)))
    if scene.limiter:
        heard = sounds.limiter(
            heard, rate_hz=rate, lift=float(10 ** rng.uniform(0.2, 0.9)), release_s=float(rng.uniform(0.2, 1))
        )
    peak = float(10 ** rng.uniform(-1.1, 0.03))
    return np.asarray(np.clip(heard / np.abs(heard).max() * peak, -1, 1))
