"""How often automatic gain is told, in recordings and in their lossy copies.

Run: `PYTHONPATH=. python tests/benchmarks/gains.py 60`. Simulated scenes of both families, without gain: as
they are, and with a vacuum that is switched on near the end, which a detector may take for gain. Then the
same scenes with the simulated phone's gain, of several strengths.
"""

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from chatter.audio import read_recording
from chatter.errors import BadValueError
from chatter.simulate import phone
from chatter.simulate.codec import Codec, write_as
from chatter.simulate.scene import random_scene, render_scene

FIRST_SEED = 40_000
STRENGTHS = (0.3, 0.45, 0.6, 0.8, 1.0)
COPIES = (
    Codec(name="wav", suffix=".wav"),
    Codec(name="aac", suffix=".m4a", bit_rate=64_000),
    Codec(name="aac", suffix=".m4a", bit_rate=128_000),
    Codec(name="mp3", suffix=".mp3", bit_rate=64_000),
    Codec(name="mp3", suffix=".mp3", bit_rate=128_000),
    Codec(name="opus", suffix=".ogg", bit_rate=24_000),
    Codec(name="opus", suffix=".ogg", bit_rate=48_000),
)


def scene_of(seed):
    """Give a scene's samples without gain, and the rate."""
    rng = np.random.default_rng(seed)
    while True:
        try:
            drawn = random_scene(rng, family=("workshop", "other")[seed % 2])
            made = render_scene(replace(drawn, agc=False))
        except BadValueError:
            continue
        return made.samples[0].astype(np.float64), made.rate_hz


def switched_on(samples, seed, *, rate_hz):
    """Add a vacuum that takes up to a second and a half to come up, from the sound's last two seconds on."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(samples.size) / rate_hz
    up = np.clip((time_s - (time_s[-1] - rng.uniform(1.0, 2.0))) / rng.uniform(0.3, 1.5), 0, 1)
    loud = np.sqrt(np.mean(samples**2)) * 10 ** (-rng.uniform(6, 26) / 20)
    return np.clip(samples + loud * up * phone.vacuum(rng, samples.size, rate_hz=rate_hz), -1, 1)


def is_told(samples, *, rate_hz, codec, folder):
    path = folder / f"a{codec.suffix}"
    write_as(codec, path=path, samples=samples[None].astype(np.float32), rate_hz=rate_hz)
    return "automatic-gain" in {finding.code for finding in read_recording(path).findings}


def main(count="60"):
    told = {}

    def add(row, found):
        yes, of = told.get(row, (0, 0))
        told[row] = (yes + found, of + 1)

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for seed in range(FIRST_SEED, FIRST_SEED + int(count)):
            samples, rate_hz = scene_of(seed)
            kinds = {"scene": samples, "switched on": switched_on(samples, seed, rate_hz=rate_hz)}
            for kind, sound in kinds.items():
                for codec in COPIES:
                    found = is_told(sound, rate_hz=rate_hz, codec=codec, folder=folder)
                    add(f"no gain, {kind}, {codec.name} {codec.bit_rate or ''}", found)
            for strength in STRENGTHS:
                gained = phone.automatic_gain(samples, rate_hz=rate_hz, strength=strength)
                gained *= min(1.0, 0.9 / np.abs(gained).max())
                for codec in (COPIES[0], COPIES[2], COPIES[6]) if strength == 0.6 else COPIES[:1]:
                    found = is_told(gained, rate_hz=rate_hz, codec=codec, folder=folder)
                    add(f"gain of strength {strength}, {codec.name}", found)
    for row, (yes, of) in told.items():
        print(f"{row}: {yes} of {of}")  # noqa: T201


if __name__ == "__main__":
    main(*sys.argv[1:])
