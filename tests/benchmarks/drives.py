"""Score cuts on machines whose gears or belts are heard, and louder under load, or whose spindle is started.

    PYTHONPATH=. python tests/benchmarks/drives.py belts 120
    PYTHONPATH=. python tests/benchmarks/drives.py gears 120
    PYTHONPATH=. python tests/benchmarks/drives.py starts 120

Scenes of the suite's "other" and "workshop" in turn, half of them chattering, and the sound of a drive in the
whole recording: 5 to 16 dB below the cut, 0 to 20 dB fainter without load. "belts": multiples of the motor's
turns and of the belt's, half of which the load slows by 0.4 or 1.2 % against the spindle. "gears": two
meshes, each with side tones of its wheels. "starts": 3 to 6 s before the recording of the cut and 2 to 5 s
after it, in which a spindle starts and stops that idles 6 to 20 dB below the cut. Results: docs/verdicts.md.
"""

import argparse
import sys
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chatter.cut import judge_recording
from chatter.errors import BadValueError
from chatter.model import CutSetup
from chatter.simulate import RenderedScene, random_scene, render_scene
from tests.recordings_made import as_recording

Floats = NDArray[np.float64]
SEEDS = {"belts": 81, "gears": 82, "starts": 83}
IDLES_BELOW_DB, LEAD_S, TRAIL_S, START_S, STOP_S = (6.0, 12.0, 20.0), (3, 6), (2, 5), (0.6, 2.5), (0.8, 4.0)
NEAR_S = 0.2  # of the true start
BELOW_CUT_DB, LOUDER_DB, SLOWER = (5.0, 10.0, 16.0), (0.0, 6.0, 12.0, 20.0), (0.0, 0.0, 0.004, 0.012)
HIGHEST_HZ = 8000.0


def belt_orders(rng: np.random.Generator) -> list[tuple[float, float]]:
    """Give what a belt drive sounds at, times the spindle's speed, and how loud."""
    motor, belt, poles = rng.uniform(0.4, 2.3), rng.uniform(0.15, 0.45), int(rng.choice([1, 2, 4, 12, 24]))
    turns = [(k * motor, 10 ** rng.normal(-0.3 - 0.1 * k, 0.4)) for k in range(1, 9)]
    slaps = [(k * belt, 10 ** rng.normal(-0.5 - 0.1 * k, 0.4)) for k in range(1, 9)]
    return turns + slaps + [(k * motor * poles, 10 ** rng.normal(-0.2, 0.4)) for k in range(1, 5)]


def gear_orders(rng: np.random.Generator) -> list[tuple[float, float]]:
    """Give what a train of two pairs of gears sounds at, times the spindle's speed, and how loud."""
    spindle, wheel, pinion, motor = (int(teeth) for teeth in rng.integers(16, 60, 4))
    between = spindle / wheel  # turns of the shaft between
    motor_turns = between * pinion / motor
    orders = [(k * motor_turns, 10 ** rng.normal(-0.6, 0.3)) for k in range(1, 4)]
    for mesh, sides in ((spindle, (1.0, between)), (pinion * between, (between, motor_turns))):
        for k in range(1, 5):
            level = 10 ** rng.normal(-0.2 * k, 0.3)
            orders.append((k * mesh, level))
            for place in (-2, -1, 1, 2):
                beside = level * 10 ** rng.normal(-0.6 * abs(place), 0.3, 2)
                orders += [(k * mesh + place * side, by) for side, by in zip(sides, beside, strict=True)]
    return orders


def add_drive(rng: np.random.Generator, made: RenderedScene, *, kind: str) -> RenderedScene:
    """Add the sound of a drive."""
    rate = made.rate_hz
    t = np.arange(made.samples.shape[1]) / rate
    inside = np.max([np.clip(np.minimum(t - a, b - t) / 0.05, 0, 1) for a, b in made.cut_times_s], axis=0)
    slower = float(rng.choice(SLOWER)) if kind == "belts" else 0.0
    turns = np.cumsum(made.true_rpm / 60 * (1 + slower * (1 - inside))) / rate
    orders = belt_orders(rng) if kind == "belts" else gear_orders(rng)
    heard = [(order, level) for order, level in orders if 0 < order * made.true_rpm / 60 < HIGHEST_HZ]
    sound = np.zeros(len(t))
    for order, level in heard:
        sound += level * np.sin(2 * np.pi * order * turns + rng.uniform(0, 2 * np.pi))
    start_s, end_s = made.cut_times_s[0]
    cut = made.samples[0, int(start_s * rate) : int(end_s * rate)]
    loud = float(np.std(cut)) * 10 ** (-float(rng.choice(BELOW_CUT_DB)) / 20) / float(np.std(sound))
    fainter = 10 ** (-float(rng.choice(LOUDER_DB)) * (1 - inside) / 20)
    samples = made.samples + loud * fainter * sound
    return replace(made, samples=(samples / max(1.0, 1.01 * float(np.abs(samples).max()))).astype(np.float32))


def add_start(rng: np.random.Generator, made: RenderedScene) -> RenderedScene:
    """Add a spindle that is started before the cut and stopped after it, and the shop's sound around."""
    rate = made.rate_hz
    lead, trail = (int(rng.uniform(*span) * rate) for span in (LEAD_S, TRAIL_S))
    shop = made.samples[0, : int((made.cut_times_s[0][0] - 0.2) * rate)]
    before, after = (0.7 * np.resize(shop, count) for count in (lead, trail))
    sound = np.concatenate([before, made.samples[0], after])
    t = np.arange(len(sound)) / rate
    times = tuple((a + lead / rate, b + lead / rate) for a, b in made.cut_times_s)
    inside = np.max([np.clip(np.minimum(t - a, b - t) / 0.05, 0, 1) for a, b in times], axis=0)
    stops_s = times[-1][1] + float(rng.uniform(1.5, 3.0))
    turning = np.clip((t - rng.uniform(0.3, 1.2)) / rng.uniform(*START_S), 0, 1)
    turning *= np.clip(1 - (t - stops_s) / rng.uniform(*STOP_S), 0, 1)
    turns = np.cumsum(made.true_rpm / 60 * turning * (1 + 0.006 * (1 - inside))) / rate
    whine = np.zeros(len(t))
    for order in range(1, 60):
        if order * made.true_rpm / 60 < 0.4 * rate:
            whine += 10 ** rng.normal(-0.02 * order, 0.4) * np.sin(
                2 * np.pi * order * turns + rng.uniform(0, 6)
            )
    spindle = turning**2 * (whine / np.std(whine[turning > 0.95]) + 0.5 * rng.normal(size=len(t)))
    cut = sound[(t >= times[0][0]) & (t < times[0][1])]
    loud = float(np.std(cut)) * 10 ** (-float(rng.choice(IDLES_BELOW_DB)) / 20)
    sound = sound + loud * spindle / np.std(spindle[turning > 0.95])
    samples = np.atleast_2d(sound / max(1.0, 1.01 * float(np.abs(sound).max()))).astype(np.float32)
    return replace(made, samples=samples, cut_times_s=times)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was answered to one recording."""

    chatters: bool
    verdict: str
    chance: float | None
    starts_right: bool


def judge_drives(kind: str, count: int, seed: int) -> list[Answer]:
    """Give what was answered to each recording."""
    rng = np.random.default_rng(seed)
    answers: list[Answer] = []
    while len(answers) < count:
        number = len(answers)
        chatters = number // 2 % 2 == 1
        scene = random_scene(rng, family=("other", "workshop")[number % 2], chattering=chatters)
        try:
            made = render_scene(scene)
        except BadValueError:  # the simulator can't follow it, or its answer isn't clear
            continue
        if made.kind == "flip" and made.flutes % 2 == 0:
            continue
        made = add_start(rng, made) if kind == "starts" else add_drive(rng, made, kind=kind)
        recording = as_recording(made.samples, rate_hz=made.rate_hz)
        analysis = judge_recording(recording, setup=CutSetup(rpm=made.programmed_rpm, flutes=made.flutes))
        worst, start_s = analysis.worst, made.cut_times_s[0][0]
        answers.append(
            Answer(
                chatters=chatters,
                verdict="undecided" if worst is None else worst.verdict,
                chance=None if worst is None else worst.chatter_probability,
                starts_right=any(abs((cut.start_s or 0.0) - start_s) < NEAR_S for cut in analysis.cuts),
            )
        )
    return answers


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=sorted(SEEDS))
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int)
    given = parser.parse_args()
    answers = judge_drives(given.kind, given.count, SEEDS[given.kind] if given.seed is None else given.seed)
    for name, chatters in (("stable", False), ("chatter", True)):
        verdicts = Counter(one.verdict for one in answers if one.chatters == chatters)
        sys.stdout.write(f"{name}: {dict(sorted(verdicts.items()))}\n")
    sure = [one for one in answers if one.chance is not None and not 0.05 <= one.chance <= 0.95]
    wrong = sum((one.chance > 0.95) != one.chatters for one in sure)
    starts = sum(one.starts_right for one in answers)
    sys.stdout.write(f"sure {len(sure)}, of them wrong {wrong}; start within {NEAR_S:g} s {starts}\n")


if __name__ == "__main__":
    main()
