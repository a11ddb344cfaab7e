"""Score the depth ramp on simulated passes whose limit depth is known.

    PYTHONPATH=. python tests/benchmarks/ramps.py 40 [--seed N]

A pass of 5 to 15 s at 6,000 to 24,000 rpm, one to four flutes; its depth grows from 0.2 to 0.6 of the limit
to 1.5 to 2.5 of it; chip noise, run-out, room and phone as in chatter/simulate/scene.py. Truth: the limit by
time-domain simulation (chatter/simulate/limit.py). Results stand in docs/ramp.md.
"""

import argparse
import sys
from dataclasses import replace

import numpy as np

from chatter.cut import judge_recording
from chatter.errors import BadValueError
from chatter.model import CutAnalysis, CutSetup, Recording
from chatter.simulate import phone, random_scene
from chatter.simulate.limit import limit_depth_m
from chatter.simulate.milling import simulate_cut, steps_per_turn
from tests.recordings_made import as_recording

IDLE_S = 1.5
RATE_HZ = 44_100


def record_ramp(rng: np.random.Generator) -> tuple[Recording, CutSetup, float] | None:
    """Draw a machine and record a ramped pass; gives recording, setup and true limit, mm."""
    scene = random_scene(rng, family="workshop", chattering=True)
    rpm = float(np.exp(rng.uniform(np.log(6000), np.log(24_000))))
    tool, conditions = scene.tool, replace(scene.conditions, rpm=rpm)
    if tool.flutes > 4:
        return None
    limit_m = limit_depth_m(tool, conditions)
    if limit_m > 0.02:
        return None
    first, last = limit_m * rng.uniform(0.2, 0.6), limit_m * rng.uniform(1.5, 2.5)
    cut_s = float(rng.uniform(5, 15))
    per_turn = steps_per_turn(tool, conditions)
    count = int((cut_s + 2 * IDLE_S) * rpm / 60 * per_turn)
    t = np.arange(count) / (rpm / 60 * per_turn)
    share = (t - IDLE_S) / cut_s
    inside = (share >= 0) & (share <= 1)
    depth_m = np.where(inside, first + (last - first) * share, 0.0)
    step = max(1, per_turn // 90)
    rough = 1 + scene.roughness * np.repeat(rng.normal(size=count // step + 1), step)[:count] * np.sqrt(3)
    cut = simulate_cut(tool, conditions, depth_m=depth_m, noise=np.clip(rough, 0.2, 2.0))
    if not np.abs(cut.x_m).max() < 5e-3:
        return None
    x, y = (phone.on_clock(cut, path, rate_hz=RATE_HZ) for path in (cut.x_m, cut.y_m))
    force = phone.on_clock(cut, cut.force_x_n, rate_hz=RATE_HZ)
    tool_sound = np.diff(x, prepend=0.0) + np.diff(y, prepend=0.0)
    work = phone.resonate(
        force, rate_hz=RATE_HZ, frequency_hz=float(rng.uniform(500, 4000)), damping_ratio=0.05
    )
    work = np.diff(work, prepend=0.0)
    sound = tool_sound / np.std(tool_sound) + 0.5 * work / np.std(work)
    level = float(np.std(sound))
    sound = sound + 10 ** (-rng.uniform(12, 24) / 20) * level * phone.coloured(
        rng, len(sound), rate_hz=RATE_HZ, low_hz=150, high_hz=9000
    )
    sound = phone.in_room(sound, rng, rate_hz=RATE_HZ, decay_s=0.3, wet=0.4)
    heard = phone.microphone(sound, rng, rate_hz=RATE_HZ, peak=0.7)
    recording = as_recording(heard, rate_hz=RATE_HZ)
    setup = CutSetup(rpm=rpm / 0.99, flutes=tool.flutes, depth_from_mm=1000 * first, depth_to_mm=1000 * last)
    return recording, setup, 1000 * limit_m


def ramps(count: int, seed: int) -> list[tuple[CutAnalysis, CutSetup, float]]:
    """Record and judge ramps; the same seed gives the same ones."""
    rng = np.random.default_rng(seed)
    judged: list[tuple[CutAnalysis, CutSetup, float]] = []
    while len(judged) < count:
        try:
            drawn = record_ramp(rng)
        except BadValueError:  # the simulator can't follow it
            continue
        if drawn is not None:
            recording, setup, limit_mm = drawn
            judged.append((judge_recording(recording, setup=setup), setup, limit_mm))
            sys.stderr.write(f"\r{len(judged)} of {count}")
    sys.stderr.write("\n")
    return judged


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int, default=33)
    given = parser.parse_args()
    judged = ramps(given.count, given.seed)
    found = [(one.ramp, limit_mm) for one, _, limit_mm in judged if one.ramp is not None]
    off = np.array([ramp.depth_mm / limit_mm - 1 for ramp, limit_mm in found])
    sds = np.array([abs(ramp.depth_mm - limit_mm) / ramp.depth_sd_mm for ramp, limit_mm in found])
    out = sys.stdout.write
    out(f"ramps {len(judged)}, onset found in {len(found)}\n")
    out(f"onset over the true limit: median {1 + np.median(off):.3f}, ")
    out(f"nine tenths from {1 + np.quantile(off, 0.05):.2f} to {1 + np.quantile(off, 0.95):.2f}\n")
    out(
        f"median distance {np.median(np.abs(off)):.3f}, within two stated deviations {np.mean(sds < 2):.3f}\n"
    )


if __name__ == "__main__":
    main()
