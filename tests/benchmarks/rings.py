"""How often the right part is named, on simulated chattering cuts: `python tests/benchmarks/rings.py 100`.

Each scene's own modes stand for the tapped tool (frequency off by 0.3 %, loudness as one over stiffness and
damping); frame (60 to 400 Hz) and work (300 to 3,000 Hz) get three modes each at random. Every scene is asked
twice: with the tool tapped, and with frame and work only, where naming either is wrong.
"""

import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
import soundfile

from chatter.advice.rings import name_ringing
from chatter.audio import read_recording
from chatter.cut.pipeline import judge_recording
from chatter.errors import ChatterError
from chatter.model import CutSetup, Tap, TapMode
from chatter.simulate.scene import random_scene, render_scene


def tapped_mode(hz, damping, level_db):
    return TapMode(
        frequency_hz=float(hz),
        frequency_sd_hz=0.001 * float(hz),
        damping_ratio=float(damping),
        damping_ratio_sd=None,
        damping_bound="none",
        decay_time_s=None,
        level_db=float(level_db),
    )


def tap_tool(tool, rng):
    loud = np.array([1 / (mode.stiffness_n_m * mode.damping_ratio) for mode in tool.modes])
    levels = 20 * np.log10(loud / loud.max())
    off = 1 + rng.normal(0, 0.003, len(tool.modes))
    modes = zip(tool.modes, off, levels, strict=True)
    return Tap(
        file="tool.json",
        of="tool",
        modes=tuple(tapped_mode(m.frequency_hz * o, m.damping_ratio, level) for m, o, level in modes),
    )


def tap_at_random(part, low_hz, high_hz, rng):
    hz = np.exp(rng.uniform(np.log(low_hz), np.log(high_hz), 3))
    modes = tuple(tapped_mode(one, 0.03, -6.0 * number) for number, one in enumerate(hz))
    return Tap(file=f"{part}.json", of=part, modes=modes)


def judged(scene):
    """Give the analysis of a scene, or None where no chatter is in it or none was heard."""
    try:
        rendered = render_scene(scene)
    except ChatterError:
        return None
    if rendered.kind != "hopf":
        return None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "cut.flac"
        soundfile.write(path, rendered.samples.T, rendered.rate_hz)
        setup = CutSetup(rpm=rendered.programmed_rpm, flutes=rendered.flutes)
        analysis = judge_recording(read_recording(path), setup=setup, idle=None)
    worst = analysis.worst
    return None if worst is None or worst.chatter_hz is None or worst.verdict == "stable" else analysis


def main(scenes):
    for family in ("workshop", "other"):
        rng = np.random.default_rng(5)
        told = {"tool tapped": Counter(), "tool not tapped": Counter()}
        while sum(told["tool tapped"].values()) < scenes:
            scene = random_scene(rng, family=family, chattering=True)
            analysis = judged(scene)
            if analysis is None:
                continue
            others = (tap_at_random("frame", 60, 400, rng), tap_at_random("work", 300, 3_000, rng))
            for name, taps in (
                ("tool tapped", (tap_tool(scene.tool, rng), *others)),
                ("tool not tapped", others),
            ):
                rings = name_ringing(analysis, taps=taps)
                part = None if rings is None else rings.part
                told[name]["none named" if part is None else "right" if part == "tool" else "wrong"] += 1
        for name, counts in told.items():
            print(f"{family}, {name}: {dict(counts)}")  # noqa: T201


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
