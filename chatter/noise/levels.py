"""Sound levels of one channel, from block to block in constant memory.

In: weighted samples, full scale 1. Out: levels in dB re digital full-scale rms.
Method: Leq from sums of squares. Fast and Slow are exponential averages of the squared sound, run on energies
of one millisecond: shorter than any burst of the standard's table, and exact for them within 0.02 dB.
Percentiles come from a histogram of the Fast level with tenths of a decibel. The peak is looked for between
samples too, by interpolation around the highest ones.
Sums run through einsum: a matrix product of this size wakes threads that cost more than they do.
Source: IEC 61672-1:2013, 3.8 to 3.13 (Leq, time weighting, exposure, peak); ISO 1996-1:2016 (LN).
Leaves out: calibration (pipeline.py).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.noise.loud import LevelHistory
from chatter.noise.weighting import Weighted

Floats = NDArray[np.float64]
FAST_S, SLOW_S = 0.125, 1.0  # IEC 61672-1:2013, 5.8.1
HOP_S = 0.001
SILENT_DB = -120.0  # own choice: a Fast level below is digital silence, of a gate or a gap, and no sound
BOTTOM_DB, TOP_DB, STEP_DB = -200.0, 20.0, 0.1  # of the histogram; re full scale
SETTLING = 5.0  # time constants of Fast before its level counts in percentiles: 0.03 dB short of a steady one
REACH = 16  # samples on either side of a place that is interpolated
OVERSAMPLING = 8  # a 16 kHz peak at 48 kHz is missed by 0.08 dB at most
MOST_PEAKS = 2000  # looked at closely in one block
LEAST_POWER = 1e-18  # own choice: -180 dB is rounding, and no recorder's sound
NEAR_PEAK = 0.6  # of the highest so far: a peak between samples of a tone up to 0.3 of the rate


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels re digital full-scale rms, dB; None where there was no sound at all."""

    aeq_db: float | None
    ceq_db: float | None
    zeq_db: float | None
    af_max_db: float | None
    as_max_db: float | None
    c_peak_db: float | None
    af10_db: float | None
    af50_db: float | None
    af90_db: float | None
    ae_db: float | None


class LevelMeter:
    """All levels of one channel, with the state that carries on to the next block."""

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._hop = max(1, round(HOP_S * rate_hz))
        self._energy = {"a": 0.0, "c": 0.0, "z": 0.0}
        self._sum = 0.0
        self._count = 0
        self._rest = np.zeros(0)
        self._fast, self._slow = (_Average(tau_s, self._hop / rate_hz) for tau_s in (FAST_S, SLOW_S))
        self._hops = 0
        bins = round((TOP_DB - BOTTOM_DB) / STEP_DB)
        self._settled, self._early = np.zeros(bins, dtype=np.int64), np.zeros(bins, dtype=np.int64)
        self._peak = PeakHold()
        self.history = LevelHistory(self._hop / rate_hz)

    def add(self, weighted: Weighted) -> None:
        """Take the next block."""
        for name, values in (("a", weighted.a), ("c", weighted.c), ("z", weighted.z)):
            self._energy[name] += float(np.einsum("i,i->", values, values))
        self._sum += float(weighted.z.sum())
        self._count += len(weighted.a)
        self._peak.add(weighted.c)
        waiting = np.concatenate([self._rest, weighted.a]) if len(self._rest) else weighted.a
        hops = len(waiting) // self._hop
        frames = waiting[: hops * self._hop].reshape(hops, self._hop)
        self._rest = waiting[hops * self._hop :].copy()
        if not hops:
            return
        power = np.einsum("ij,ij->i", frames, frames) / self._hop
        self.history.add(power)
        self._slow.add(power)
        self._sort_in(self._fast.add(power))

    def _sort_in(self, fast: Floats) -> None:
        level_db = 10 * np.log10(np.maximum(fast, 10 ** (BOTTOM_DB / 10)))
        bins = np.clip(((level_db - BOTTOM_DB) / STEP_DB).astype(np.int64), 0, len(self._settled) - 1)
        settling = max(0, round(SETTLING * FAST_S * self._rate_hz / self._hop) - self._hops)
        self._early += np.bincount(bins[:settling], minlength=len(self._early))
        self._settled += np.bincount(bins[settling:], minlength=len(self._settled))
        self._hops += len(fast)

    def finish(self) -> Levels:
        """Give the levels of everything that was added."""
        histogram = self._settled if self._settled.any() else self._early
        seconds = self._count / self._rate_hz
        mean = {name: energy / max(1, self._count) for name, energy in self._energy.items()}
        # A recorder's constant offset is no sound. What rounding leaves of it is none either.
        offset = (self._sum / max(1, self._count)) ** 2
        mean["z"] = mean["z"] - offset if mean["z"] > offset * (1 + 1e-9) else 0.0
        return Levels(
            aeq_db=_level_db(mean["a"]),
            ceq_db=_level_db(mean["c"]),
            zeq_db=_level_db(mean["z"]),
            af_max_db=_level_db(self._fast.highest),
            as_max_db=_level_db(self._slow.highest),
            c_peak_db=_level_db(self._peak.finish() ** 2),
            af10_db=_exceeded_db(histogram, 0.10),
            af50_db=_exceeded_db(histogram, 0.50),
            af90_db=_exceeded_db(histogram, 0.90),
            ae_db=_level_db(mean["a"] * seconds),  # re 1 s
        )


class _Average:
    """An exponential average of power, and its highest value."""

    def __init__(self, tau_s: float, step_s: float) -> None:
        self._keep = float(np.exp(-step_s / tau_s))
        self._state = np.zeros(1)
        self.highest = 0.0

    def add(self, power: Floats) -> Floats:
        from scipy.signal import lfilter

        averaged, self._state = lfilter([1 - self._keep], [1.0, -self._keep], power, zi=self._state)
        self.highest = max(self.highest, float(averaged.max()))
        return np.asarray(averaged)


class PeakHold:
    """The highest absolute value of a sound, between its samples too."""

    def __init__(self) -> None:
        self._tail = np.empty(0)
        self._kernel = _interpolator()
        self._highest = 0.0

    def add(self, samples: Floats) -> None:
        """Take the next block, shape (n,)."""
        self._look(np.concatenate([self._tail, samples]))

    def finish(self) -> float:
        """Give the highest value of everything that was added."""
        return self._highest

    def _look(self, values: Floats) -> None:
        self._tail = values[-2 * REACH :].copy()
        size = np.abs(values)
        # Within reach of a file's ends nothing is known beyond, so there the samples count alone.
        self._highest = max(self._highest, float(size.max(initial=0.0)))
        inner = size[REACH : len(values) - REACH]
        if len(inner) == 0:
            return
        near = REACH + np.flatnonzero(inner >= max(NEAR_PEAK * self._highest, np.finfo(float).tiny))
        tops = near[(size[near] >= size[near - 1]) & (size[near] >= size[near + 1])]
        if len(tops) > MOST_PEAKS:
            tops = tops[np.argpartition(size[tops], -MOST_PEAKS)[-MOST_PEAKS:]]
        if len(tops):
            around = values[tops[:, None] + np.arange(-REACH, REACH + 1)]
            between = np.einsum("ij,jk->ik", around, self._kernel)
            self._highest = max(self._highest, float(np.abs(between).max()))


def _interpolator() -> Floats:
    """Give the weights of a windowed sinc at fractions of a sample: shape (2 * REACH + 1, fractions).

    Source: A. V. Oppenheim and R. W. Schafer, Discrete-Time Signal Processing, 2010, 4.6 (interpolation).
    """
    shift = np.arange(1, OVERSAMPLING) / OVERSAMPLING
    shift = np.concatenate([-shift, shift])
    distance = np.arange(-REACH, REACH + 1)[:, None] - shift
    window = np.cos(np.pi * np.clip(distance / (2 * REACH + 2), -0.5, 0.5)) ** 2
    return np.asarray(np.sinc(distance) * window)


def _level_db(power: float) -> float | None:
    return float(10 * np.log10(power)) if power > LEAST_POWER else None


def _exceeded_db(histogram: NDArray[np.int64], share: float) -> float | None:
    """Give the level that was exceeded for a share of the time, with even spread inside a bin."""
    total = int(histogram.sum())
    if total == 0 or histogram[0] == total:
        return None
    above = np.concatenate([np.cumsum(histogram[::-1])[::-1], [0]]).astype(np.float64)  # at each lower edge
    wanted = share * total
    at = int(np.flatnonzero(above >= wanted)[-1])
    part = (above[at] - wanted) / max(above[at] - above[at + 1], 1.0)
    level_db = float(BOTTOM_DB + STEP_DB * (at + part))
    return level_db if level_db > SILENT_DB else None
