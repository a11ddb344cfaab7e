"""Time `chatter cut` against a bare process that decodes the same file and runs one Welch spectrum.

    python tests/benchmarks/speed.py            one minute of made sound, AAC
    python tests/benchmarks/speed.py FILE --rpm R --flutes N

Prints both medians of five, run in turns (whole processes, start-up included, files warm), and their ratio;
the design asks for three or less.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import av
import numpy as np

RUNS = 5
ASKED_RATIO = 3.0
BARE = """
import sys, av, numpy as np
from scipy.signal import welch
with av.open(sys.argv[1]) as container:
    frames = [frame.to_ndarray() for frame in container.decode(audio=0)]
welch(np.concatenate(frames, axis=1)[0], nperseg=8192)
"""


def make_minute(path: Path) -> None:
    """Write a minute of cutting at 12,000 rpm with two flutes, five cuts, as AAC."""
    rate = 48_000
    rng = np.random.default_rng(7)
    t = np.arange(60 * rate) / rate
    cutting = sum(np.sin(2 * np.pi * 400 * k * t) / k for k in range(1, 12)) + 0.2 * rng.normal(size=len(t))
    on = (t % 12 > 3) & (t % 12 < 9)
    sound = (0.1 * np.where(on, cutting, 0) + 0.005 * rng.normal(size=len(t))).astype(np.float32)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=rate, layout="mono")
        for start in range(0, len(sound), 1024):
            frame = av.AudioFrame.from_ndarray(
                sound[None, start : start + 1024], format="fltp", layout="mono"
            )
            frame.sample_rate = rate
            frame.pts = start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def medians_s(*commands: list[str]) -> list[float]:
    """Give the median wall times of five runs after a warm-up, in turns: a machine's own speed wavers."""
    times: list[list[float]] = [[] for _ in commands]
    for _ in range(RUNS + 1):
        for taken, command in zip(times, commands, strict=True):
            begin = time.perf_counter()
            subprocess.run(command, check=True, capture_output=True)
            taken.append(time.perf_counter() - begin)
    return [float(np.median(taken[1:])) for taken in times]


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", nargs="?")
    parser.add_argument("--rpm", default="12000")
    parser.add_argument("--flutes", default="2")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(given.file) if given.file else Path(folder) / "minute.m4a"
        if not given.file:
            make_minute(path)
        cut = [
            sys.executable,
            "-m",
            "chatter",
            "cut",
            str(path),
            "--rpm",
            given.rpm,
            "--flutes",
            given.flutes,
        ]
        bare, full = medians_s([sys.executable, "-c", BARE, str(path)], cut)
    sys.stdout.write(f"bare {bare:.2f} s, chatter cut {full:.2f} s, ratio {full / bare:.2f} ")
    sys.stdout.write(f"(asked: {ASKED_RATIO:g} or less)\n")


if __name__ == "__main__":
    main()
