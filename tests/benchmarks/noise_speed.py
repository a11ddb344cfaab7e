"""Time `measure_noise` on a long recording, and measure the memory that it takes.

    PYTHONPATH=. python tests/benchmarks/noise_speed.py        ten minutes
    PYTHONPATH=. python tests/benchmarks/noise_speed.py 480    eight hours; needs 2.8 GB for temporary files

Writes 48 kHz mono of noise, tones and pauses as 16-bit WAV, measures it in a process of its own with one
thread, and prints seconds of sound per second of processor time (reading and hashing the file included,
loading the program not), the same by the clock, and the peak of memory. The design asks for 200 times real
time or better and under 300 MB, flat with length.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 48_000
CHILD = """
import json, pathlib, resource, sys, time
from chatter import measure_noise
def peak_mb():
    status = pathlib.Path("/proc/self/status")
    if status.exists():  # ru_maxrss counts the parent's memory there, before the program began
        lines = status.read_text().splitlines()
        return next(int(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith("VmHWM"))
    unit = 1 if sys.platform == "darwin" else 1024  # ru_maxrss: bytes there, kilobytes elsewhere
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6
measure_noise(sys.argv[2])  # loads what has to be loaded
begin, cpu = time.perf_counter(), time.process_time()
document = measure_noise(sys.argv[1], full_scale_db=120)
took_s = time.perf_counter() - begin
print(json.dumps({
    "took_s": took_s, "cpu_s": time.process_time() - cpu, "duration_s": document.recording["duration_s"],
    "peak_mb": peak_mb(),
    "bands": sum(band.Leq_db is not None for band in document.bands), "tones": len(document.tones),
    "levels": sum(level is not None for level in document.levels.to_dict().values()),
}))
"""


def write_long(path: Path, *, minutes: float) -> None:
    """Write minutes of cuts and pauses."""
    rng = np.random.default_rng(11)
    t = np.arange(60 * RATE_HZ) / RATE_HZ
    on = np.where(t % 20 < 12, 1.0, 0.05)
    teeth = sum(np.sin(2 * np.pi * 391.7 * k * t + k) / k for k in range(1, 16))
    with soundfile.SoundFile(path, "w", RATE_HZ, 1, subtype="PCM_16") as file:
        left = round(minutes * 60 * RATE_HZ)
        while left > 0:
            noise = rng.normal(0, 0.03, len(t))
            minute = on * (0.05 * teeth + noise) + rng.normal(0, 0.0005, len(t))
            file.write(minute[:left].astype(np.float32))
            left -= len(minute)


def measure_speed(minutes: float) -> dict[str, float]:
    """Give what one run took, and what it found."""
    root = Path(__file__).parents[2]
    environment = {
        **{name: value for name, value in os.environ.items() if not name.startswith("COV")},
        "PYTHONPATH": str(root),
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
    }
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.wav"
        write_long(path, minutes=minutes)
        short = Path(folder) / "short.wav"
        write_long(short, minutes=0.02)
        command = [sys.executable, "-c", CHILD, str(path), str(short)]
        ran = subprocess.run(command, check=True, capture_output=True, text=True, env=environment)
    found = json.loads(ran.stdout)
    return {**found, "times_real_time": found["duration_s"] / found["cpu_s"]}


def main() -> None:
    """Print the ratio and the peak."""
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    found = measure_speed(minutes)
    by_clock = found["duration_s"] / found["took_s"]
    sys.stdout.write(
        f"{minutes:g} minutes: {found['times_real_time']:.0f} times real time ({by_clock:.0f} by the clock), "
        f"peak memory {found['peak_mb']:.0f} MB; {found['levels']} levels, {found['bands']} bands, "
        f"{found['tones']} tones\n"
    )


if __name__ == "__main__":
    main()
