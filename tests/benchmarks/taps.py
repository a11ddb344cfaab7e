"""How well taps are read, on made sounds: `PYTHONPATH=. python tests/benchmarks/taps.py plain 200`.

Families: plain (two modes, three taps, 45 dB), close (two modes 5 % apart, 55 dB), room (a simulated room of
0.3 to 0.6 s, direct over reverberant sound even between two levels: `room 100 10 20`), shoebox (the same, by
image sources). "Strongest" is
by energy, as the program ranks. The decay time asked for, 15 ms or more, is read as the time for 60 dB, the
stricter reading: amplitudes then fall to a third in as little as 2.2 ms.
"""

import sys
import time

import numpy as np

from chatter.model.recording import Recording
from chatter.tap.pipeline import judge_taps
from tests.benchmarks.tap_sounds import RATE_HZ, draw_mode, record, room, shoebox


def recording_of(samples, rate_hz=RATE_HZ):
    return Recording(
        file="tap.wav",
        sha256="",
        samples=np.atleast_2d(samples),
        rate_hz=float(rate_hz),
        bandwidth_hz=rate_hz / 2,
    )


def draw_case(rng, family, levels_db=(10.0, 20.0)):
    """Give samples, modes (strongest first, by energy) and the number of taps."""
    first = draw_mode(rng)
    if family == "close":
        second = draw_mode(rng)[1]
        while 6.91 / (2 * np.pi * first[0] * 1.05 * second) < 0.015:
            second = draw_mode(rng)[1]
        modes = [(*first, 0.0), (first[0] * 1.05, second, -rng.uniform(0, 6))]
    else:
        other = draw_mode(rng)
        while abs(np.log(other[0] / first[0])) < 0.1:
            other = draw_mode(rng)
        modes = [(*first, 0.0), (*other, -rng.uniform(3, 10))]
    response = None
    if family in ("room", "shoebox"):
        make = room if family == "room" else shoebox
        response = make(rng, decay_s=rng.uniform(0.3, 0.6), direct_to_reverberant_db=rng.uniform(*levels_db))
    samples, times_s = record(rng, modes, snr_db=55.0 if family == "close" else 45.0, response=response)
    modes.sort(key=lambda mode: -energy_db(mode))
    return samples, modes, len(times_s)


def energy_db(mode):
    hz, damping, level_db = mode
    return level_db - 10 * np.log10(hz * damping)  # power over twice the decay rate


def judge_case(seed, family, levels_db=(10.0, 20.0)):
    """Give one row of figures: errors are relative."""
    rng = np.random.default_rng(seed)
    samples, modes, count = draw_case(rng, family, levels_db)
    started = time.perf_counter()
    analysis = judge_taps(recording_of(samples))
    row = {
        "time_s": time.perf_counter() - started,
        "taps_right": len(analysis.taps) == count and all(tap.used for tap in analysis.taps),
        "answered": bool(analysis.modes),
    }
    for number, (hz, damping, _) in enumerate(modes):
        if not analysis.modes:
            continue
        near = min(analysis.modes, key=lambda mode: abs(np.log(mode.frequency_hz / hz)))
        row |= {
            f"hz_{number}": near.frequency_hz / hz - 1,
            f"damping_{number}": near.damping_ratio / damping - 1,
            f"bounded_{number}": near.damping_bound == "upper",
            f"hz_spreads_{number}": (near.frequency_hz - hz) / near.frequency_sd_hz,
            f"damping_spreads_{number}": (near.damping_ratio - damping) / near.damping_ratio_sd,
            f"rank_{number}": analysis.modes.index(near),
        }
    row["second_counts"] = energy_db(modes[0]) - energy_db(modes[1]) < 10
    return row


def figures(rows):
    """Give the figures over many rows."""
    heard = [row for row in rows if row["answered"]]
    free = [row for row in heard if not row["bounded_0"]]
    bound = [row for row in heard if row["bounded_0"]]
    counted = [row for row in rows if row["second_counts"]]

    def share(rows, test):
        return float(np.mean([test(row) for row in rows])) if rows else float("nan")

    return {
        "cases": len(rows),
        "answered": len(heard) / len(rows),
        "taps right": share(rows, lambda row: row["taps_right"]),
        "strongest first": share(heard, lambda row: row["rank_0"] == 0),
        "worst frequency error": max(abs(row["hz_0"]) for row in heard),
        "frequency within 1 %": share(heard, lambda row: abs(row["hz_0"]) < 0.01),
        "worst damping error, no bound": max((abs(row["damping_0"]) for row in free), default=float("nan")),
        "damping within 25 %, no bound": share(free, lambda row: abs(row["damping_0"]) < 0.25),
        "bounded": len(bound) / len(heard),
        "bound true": share(bound, lambda row: row["damping_0"] >= 0),
        "second within 10 dB found": share(
            counted,
            lambda row: row["answered"] and abs(row["hz_1"]) < 0.01 and row["rank_1"] != row["rank_0"],
        ),
        "worst frequency error, second": max(abs(row["hz_1"]) for row in heard),
        "worst damping error, second": max(abs(row["damping_1"]) for row in heard),
        "frequency in two spreads": share(heard, lambda row: abs(row["hz_spreads_0"]) < 2),
        "damping in two spreads, no bound": share(free, lambda row: abs(row["damping_spreads_0"]) < 2),
        "mean seconds": float(np.mean([row["time_s"] for row in rows])),
    }


def main(family="plain", cases="200", *levels_db):
    levels = tuple(float(level) for level in levels_db) or (10.0, 20.0)
    got = figures([judge_case(70_000 + number, family, levels) for number in range(int(cases))])
    for name, value in got.items():
        print(f"{name:>34}: {value:.4g}")  # noqa: T201


if __name__ == "__main__":
    main(*sys.argv[1:])
