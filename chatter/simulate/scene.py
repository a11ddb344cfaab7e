"""Whole recordings with a known answer: a machine, a tool, a cut, a shop and a phone.

In: a family of shops and a seed. Out: samples and the truth about them.
Families differ in kind: "workshop" (used for fitting) and "other" (machines, immersions, rooms, noises).
Source: the machines are invented; their ranges are common practice for benchtop mills.
Leaves out: codecs and files.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from chatter.errors import BadValueError
from chatter.simulate import phone
from chatter.simulate.limit import limit_depth_m, motion_kind
from chatter.simulate.milling import Conditions, Mode, SimulatedCut, Tool, simulate_cut, steps_per_turn

Floats = NDArray[np.float64]
PRESSURE_PA = {"workshop": (6e8, 1.2e9), "other": (4e8, 2.2e9)}
NOISES = {"workshop": ("vacuum", "compressor", "none"), "other": ("radio", "air", "vacuum", "compressor")}
LARGEST_M = 5e-3  # beyond this a tool has left what the simulator describes
SETTLED_S = 1.5  # the shortest cut drawn: what dies away within it is no chatter
NEAR_STRONGEST = 0.1  # 10 dB
ROUGHNESS = (0.005, 0.3)  # rms; a recorded end mill in steel sounds like 0.06 to 0.3 (docs/methods.md)
LEAST_STEP_DB = 4.0  # shop noise lies 4 to 24 dB below the cut


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything that decides a recording."""

    seed: int
    family: str
    tool: Tool
    conditions: Conditions  # at the true speed
    programmed_rpm: float
    depth_ratio: float  # of the limit depth
    cut_s: float
    idle_s: tuple[float, float]
    cuts: int
    sag: float  # share of speed lost under load
    noise: str
    noise_below_db: float
    noise_with_cut: bool  # it starts with the cut
    drive_tone: bool
    agc: bool
    roughness: float  # rms of the force factor
    decay_s: float
    rate_hz: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RenderedScene:
    """A recording and its truth."""

    samples: NDArray[np.float32]  # shape (channels, n)
    rate_hz: int
    chattering: bool
    kind: str  # "hopf", "flip" or "none"
    chatter_lines_hz: tuple[float, ...]  # in the clean sound, strongest first; modes may chatter side by side
    true_rpm: float
    programmed_rpm: float
    flutes: int
    cut_times_s: tuple[tuple[float, float], ...]
    limit_depth_m: float
    depth_m: float
    air_pass: NDArray[np.float32] | None = None  # shape (channels, n): the same program, nothing cut

    @property
    def chatter_hz(self) -> float | None:
        """The strongest line of the chatter, or None."""
        return self.chatter_lines_hz[0] if self.chatter_lines_hz else None


def random_scene(
    rng: np.random.Generator, *, family: str = "workshop", chattering: bool | None = None
) -> Scene:
    """Draw a scene. `chattering` None leaves the answer to chance."""
    workshop = family == "workshop"
    flutes = int(rng.integers(1, 6))
    rpm = float(np.exp(rng.uniform(np.log(1500), np.log(24_000))))
    modes = []
    for axis in "xy":
        base = rng.uniform(300, 1800) if workshop else np.exp(rng.uniform(np.log(200), np.log(3500)))
        for i in range(1 if workshop or rng.random() < 0.5 else 2):
            modes.append(
                Mode(
                    axis=axis,
                    frequency_hz=float(base * (1 if i == 0 else rng.uniform(1.4, 2.5))),
                    damping_ratio=float(rng.uniform(0.01, 0.06)),
                    stiffness_n_m=float(10 ** rng.uniform(6, 7.3)),
                )
            )
    feed = float(rng.uniform(0.01, 0.08)) * 1e-3
    offset = feed * (0.0 if rng.random() < 0.25 else float(rng.uniform(0.02, 0.9)))
    angles = 2 * np.pi * np.arange(flutes) / flutes + rng.uniform(0, 6)
    immersion = float(rng.choice([1.0, 0.5, 0.25])) if workshop else float(rng.uniform(0.08, 1.0))
    conditions = Conditions(
        rpm=rpm,
        immersion=immersion,
        direction=str(rng.choice(["up", "climb"])),
        feed_per_tooth_m=feed,
        pressure_pa=float(rng.uniform(*PRESSURE_PA[family])),
        force_ratio=float(rng.uniform(0.1, 0.5)),
    )
    tool = Tool(flutes=flutes, modes=tuple(modes), runout_m=tuple(float(offset * np.cos(a)) for a in angles))
    bad = bool(rng.random() < 0.5) if chattering is None else chattering
    slip = 0.0 if rng.random() < 0.2 else float(rng.uniform(0, 0.03))
    return Scene(
        seed=int(rng.integers(2**31)),
        family=family,
        tool=tool,
        conditions=conditions,
        programmed_rpm=rpm / (1 - slip),
        depth_ratio=float(rng.uniform(1.25, 3.0) if bad else rng.uniform(0.15, 0.8)),
        cut_s=float(rng.uniform(1.5, 4.0)),
        idle_s=(float(rng.uniform(1.5, 3)), float(rng.uniform(1.5, 3))),
        cuts=2 if rng.random() < 0.15 else 1,
        sag=0.0 if rng.random() < 0.5 else float(rng.uniform(0, 0.005)),
        noise=str(rng.choice(NOISES[family])),
        noise_below_db=float(rng.uniform(LEAST_STEP_DB, 24)),
        noise_with_cut=bool(rng.random() < 0.25),
        drive_tone=bool(rng.random() < 0.4),
        agc=bool(rng.random() < 0.3),
        roughness=float(np.exp(rng.uniform(*np.log(ROUGHNESS)))),
        decay_s=float(rng.uniform(0.2, 0.4) if workshop else rng.uniform(0.3, 0.7)),
        rate_hz=int(rng.choice([44_100, 48_000])),
    )


def render_scene(scene: Scene, *, air_pass: bool = False) -> RenderedScene:
    """Make the recording of a scene.

    Parameters
    ----------
    scene
        What is to be heard.
    air_pass
        Whether the same program is run once more, in air, in the same shop.

    Returns
    -------
    RenderedScene
        Same scene, same samples.

    Raises
    ------
    BadValueError
        The motion grows beyond what the simulator can follow, or an island of stability or of chatter lies
        at this depth, so that the answer would not be the one drawn.
    """
    rng = np.random.default_rng(scene.seed)
    limit_m, depth_m, kind = settle_depth(
        scene.tool, scene.conditions, sag=scene.sag, depth_ratio=scene.depth_ratio
    )
    pause_s = float(rng.uniform(1.2, 2.0))
    starts = [scene.idle_s[0] + i * (scene.cut_s + pause_s) for i in range(scene.cuts)]
    times = tuple((start, start + scene.cut_s) for start in starts)
    total_s = times[-1][1] + scene.idle_s[1]
    cut, inside = cut_along_time(
        scene.tool,
        scene.conditions,
        rng,
        times=times,
        total_s=total_s,
        depth_m=depth_m,
        sag=scene.sag,
        roughness=scene.roughness,
    )
    rate = scene.rate_hz
    x = phone.on_clock(cut, cut.x_m, rate_hz=rate)
    y = phone.on_clock(cut, cut.y_m, rate_hz=rate)
    force = phone.on_clock(cut, cut.force_x_n + 0.7 * cut.force_y_n, rate_hz=rate)
    mask = phone.on_clock(cut, inside, rate_hz=rate)
    sound = _radiate(scene, rng, x, y, force)
    on = mask > 0.5
    true_rpm = scene.conditions.rpm * (1 - scene.sag)
    lines_hz: tuple[float, ...] = ()
    if kind != "none":
        lines_hz = true_chatter_lines_hz(
            sound[on], rate_hz=rate, rpm=true_rpm, flutes=scene.tool.flutes, kind=kind
        )
    level = float(np.sqrt(np.mean(sound[on] ** 2)))
    runs = 2 if air_pass else 1  # one after the other before the same phone
    sound = np.pad(sound, (0, (runs - 1) * len(sound))) + _shop(
        scene, rng, mask=np.tile(on, runs), level=level, cutting=len(on)
    )
    sound = phone.in_room(sound, rng, rate_hz=rate, decay_s=scene.decay_s, wet=float(rng.uniform(0.2, 0.8)))
    if scene.agc:
        sound = phone.automatic_gain(sound / np.abs(sound).max(), rate_hz=rate)
    heard = phone.microphone(sound, rng, rate_hz=rate, peak=float(10 ** rng.uniform(-1.2, 0.02)))
    cutting, *in_air = (part[None, :] for part in np.split(heard.astype(np.float32), runs))
    return RenderedScene(
        samples=cutting,
        rate_hz=rate,
        chattering=kind != "none",
        kind=kind,
        chatter_lines_hz=lines_hz,
        true_rpm=true_rpm,
        programmed_rpm=scene.programmed_rpm,
        flutes=scene.tool.flutes,
        cut_times_s=times,
        limit_depth_m=limit_m,
        depth_m=depth_m,
        air_pass=in_air[0] if in_air else None,
    )


def cut_along_time(
    tool: Tool,
    conditions: Conditions,
    rng: np.random.Generator,
    *,
    times: tuple[tuple[float, float], ...],
    total_s: float,
    depth_m: float,
    sag: float,
    roughness: float,
) -> tuple[SimulatedCut, Floats]:
    """Run the simulator over a whole recording; idle parts have no depth.

    Returns
    -------
    cut, inside
        The cut, and the share of the depth at each of its steps.

    Raises
    ------
    BadValueError
        The motion grows beyond what the simulator can follow.
    """
    per_turn = steps_per_turn(tool, conditions)
    count = int(total_s * conditions.rpm / 60 * per_turn)
    t = np.arange(count) / (conditions.rpm / 60 * per_turn)
    inside = np.zeros(count)
    ramp_s = max(0.02, 2 * 60 / conditions.rpm)
    for start, end in times:
        inside = np.maximum(inside, np.clip(np.minimum((t - start), (end - t)) / ramp_s, 0, 1))
    smooth = max(1, int(0.15 * conditions.rpm / 60 * per_turn))
    load = np.cumsum(np.pad(inside, (smooth, 0)))
    load = (load[smooth:] - load[:-smooth]) / smooth
    step = max(1, per_turn // 90)
    rough = 1 + roughness * np.repeat(rng.normal(size=count // step + 1), step)[:count] * np.sqrt(3)
    cut = simulate_cut(
        tool,
        conditions,
        depth_m=depth_m * inside,
        speed_factor=1 - sag * load,
        noise=np.clip(rough, 0.2, 2.0),
    )
    largest_m = float(np.abs(cut.x_m).max())
    if not largest_m < LARGEST_M:
        raise BadValueError(
            "the tool's motion", f"{largest_m:.2g} m", "another scene: this one can't be followed"
        )
    return cut, inside


def _radiate(scene: Scene, rng: np.random.Generator, x: Floats, y: Floats, force: Floats) -> Floats:
    """Turn motion and force into sound: the tool radiates its velocity, the work rings with the force."""
    rate = scene.rate_hz
    tool = np.diff(x, prepend=x[0]) * rng.uniform(0.3, 1) + np.diff(y, prepend=y[0])
    work = np.zeros_like(force)
    for _ in range(int(rng.integers(2, 6))):
        hz = float(np.exp(rng.uniform(np.log(300), np.log(6000))))
        work += phone.resonate(
            force, rate_hz=rate, frequency_hz=hz, damping_ratio=float(rng.uniform(0.02, 0.1))
        )
    work = np.diff(work, prepend=work[0])
    share = rng.uniform(0.2, 0.8)
    return np.asarray(share * tool / (np.std(tool) + 1e-30) + (1 - share) * work / (np.std(work) + 1e-30))


def _shop(
    scene: Scene, rng: np.random.Generator, *, mask: NDArray[np.bool_], level: float, cutting: int
) -> Floats:
    """Give everything that is not the cut; the samples after the first `cutting` ones are an air pass."""
    rate, count = scene.rate_hz, len(mask)
    unloaded = 1.0 if count == cutting else float(10 ** (-rng.uniform(0, 15) / 20))  # the drive, in air
    t = np.arange(count) / rate
    turn_hz = scene.conditions.rpm / 60
    idle = 0.02 * level * phone.coloured(rng, count, rate_hz=rate, low_hz=150, high_hz=9000)
    for order in range(1, 9):  # the spindle itself, softly
        idle = idle + 0.02 * level * rng.random() * np.sin(
            2 * np.pi * turn_hz * order * t + rng.uniform(0, 6)
        )
    for order in (2, 6, 12):  # motor lines keep to the programmed comb and grow with load
        line = np.sin(2 * np.pi * scene.programmed_rpm / 60 * order * t)
        idle = idle + 0.03 * level * rng.random() * line * np.where(mask, 2.0, 1.0)
    makers = {
        "vacuum": phone.vacuum,
        "compressor": phone.compressor,
        "radio": phone.radio,
        "air": phone.air_blast,
    }
    if scene.noise != "none":
        noise = makers[scene.noise](rng, count, rate_hz=rate) * level * 10 ** (-scene.noise_below_db / 20)
        if scene.noise_with_cut:
            begin = int(np.flatnonzero(mask)[0])
            noise = noise * np.clip((np.arange(count) - begin) / (0.05 * rate), 0, 1)
        idle = idle + noise
    if scene.drive_tone:
        on = np.flatnonzero(mask)
        moving = (np.arange(count) > on[0] - 0.3 * rate) & (np.arange(count) < on[-1] + 0.3 * rate)
        hz = float(rng.uniform(300, 1200))
        tone = np.where(np.arange(count) < cutting, 1.0, unloaded) * np.sin(2 * np.pi * hz * t)
        idle = idle + level * 10 ** (-rng.uniform(10, 26) / 20) * moving * tone
    return idle


def settle_depth(
    tool: Tool, conditions: Conditions, *, sag: float, depth_ratio: float
) -> tuple[float, float, str]:
    """Give limit depth and depth, m, and the kind of motion there, at the speed that the load leaves.

    Raises
    ------
    BadValueError
        The motion at that depth isn't on the side of the limit that the ratio is on.
    """
    loaded = replace(conditions, rpm=conditions.rpm * (1 - sag))
    limit_m = limit_depth_m(tool, loaded)
    depth_m = limit_m * depth_ratio
    kind = motion_kind(tool, loaded, depth_m=depth_m, least_s=SETTLED_S)
    if (kind != "none") != (depth_ratio > 1):
        raise BadValueError(
            "the cut's depth", f"{depth_m:.2g} m", "another scene: an island of the limit lies here"
        )
    return limit_m, depth_m, kind


def true_chatter_lines_hz(
    sound: Floats, *, rate_hz: float, rpm: float, flutes: int, kind: str
) -> tuple[float, ...]:
    """Give the lines of the chatter in the clean sound, off the comb or on its halves, strongest first.

    Lines more than 10 dB weaker than the strongest are left out.
    """
    size = min(len(sound), int(rate_hz))
    hz, power = signal.welch(sound, rate_hz, nperseg=size, noverlap=size // 2)
    turn = rpm / 60
    heard = (hz > 100) & (hz < 8000)
    if kind == "flip" and flutes % 2 == 0:
        off_half = np.abs(hz / (turn * flutes) - np.floor(hz / (turn * flutes)) - 0.5) * turn * flutes
        wanted = heard & (off_half < max(4.0, 0.02 * turn))
    else:
        wanted = heard & (np.abs(hz / turn - np.round(hz / turn)) * turn > max(4.0, 0.03 * turn))
    found = np.where(wanted, power, 0)
    tops = np.flatnonzero((found >= np.roll(found, 1)) & (found >= np.roll(found, -1)))
    loud = tops[found[tops] > NEAR_STRONGEST * found.max()]
    return tuple(float(value) for value in hz[loud[np.argsort(-found[loud])]])
