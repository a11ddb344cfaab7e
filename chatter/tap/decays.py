"""What rings after each tap, cut out alike and freed of hum.

In: samples of one channel, its onsets. Out: spectra of the decays, and the noise at each frequency.
Method: steady lines (mains hum, a fan) are found in the quiet before the taps and taken out of each decay by
their phase just before it; the quiet also gives the noise. The first moment after the blow is left out: the
click of the blow is no vibration.
Source: common practice; numbers are our own, each on its line.
Leaves out: modes.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.tap._fit import Spectra

Floats = NDArray[np.float64]

CLICK_S = 1.6e-3  # a click of 1 ms, and the sharpness of the onset
LONGEST_S = 1.2
SHORTEST_S = 0.025
MARGIN_S = 0.006  # before the next blow
QUIET_S = 0.5  # used before a blow
AFTER_BLOW_S = 0.6  # not quiet yet
LEAST_QUIET_S = 0.06
LOWEST_HZ = 40.0
HIGHEST_HZ = 8000.0
HIGHEST_SHARE = 0.45  # of the sample rate: what changed the rate before falls off above
LINE_OVER = 40.0  # a steady line stands 16 dB over the noise beside it
LINES_MOST = 30
LEAST_RUN = 4  # hops that stand out in a row: a lone loud one makes three, smoothed
CALM = 1.6  # a decay is over where its power comes down to this times the noise


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decays:
    """The decays of one recording."""

    pieces: Floats  # shape (taps, n), from the end of the click on, hum taken out
    rate_hz: float
    start_s: float  # of a piece, after the onset
    noise_power: Floats  # shape (f,): mean square of a sample per Hz, on a grid from 0 to half the rate
    noise_rms: float
    heard_s: float  # until the decay sinks into the noise
    shown_s: float  # the same without lone noise long after it: for pictures, where a fit may use more
    lines_hz: Floats  # shape (l,), rising: steady tones in the quiet, at most 30 of them

    def later(self, by_s: float) -> "Decays":
        """Give the same decays without their first `by_s`."""
        count = round(by_s * self.rate_hz)
        return replace(
            self,
            pieces=self.pieces[:, count:],
            start_s=self.start_s + count / self.rate_hz,
            heard_s=max(0.0, self.heard_s - count / self.rate_hz),
        )

    def spectra(self, *, length_s: float, high_hz: float) -> Spectra:
        """Give the spectra of the first `length_s` of every decay."""
        count = min(self.pieces.shape[1], max(8, round(length_s * self.rate_hz)))
        values = np.fft.rfft(self.pieces[:, :count], axis=1)
        hz = np.asarray(np.fft.rfftfreq(count, 1 / self.rate_hz), dtype=np.float64)
        used = (hz >= LOWEST_HZ) & (hz <= min(high_hz, HIGHEST_SHARE * self.rate_hz))
        grid = np.linspace(0, self.rate_hz / 2, self.noise_power.size)
        power = np.interp(hz[used], grid, self.noise_power)
        # power per Hz * rate / 2 is the mean square of white noise; a bin's two parts share count times it
        noise = np.sqrt(power * self.rate_hz / 2 * count / 2)
        return Spectra(values=values[:, used], noise=noise, hz=hz[used], count=count, rate_hz=self.rate_hz)


def cut_decays(samples: Floats, *, rate_hz: float, onsets_s: Floats, all_onsets_s: Floats) -> Decays | None:
    """Cut the decays out of a recording.

    Parameters
    ----------
    samples
        Shape (n,), full scale 1.
    rate_hz
        Sample rate.
    onsets_s
        Shape (taps,): the taps to use.
    all_onsets_s
        The times of all taps, used or not.

    Returns
    -------
    Decays or None
        None where too little follows a blow.
    """
    ends = np.append(all_onsets_s[1:] - MARGIN_S, samples.size / rate_hz)
    end_of = dict(zip(all_onsets_s.tolist(), ends.tolist(), strict=True))
    length_s = min(LONGEST_S, *(end_of[one] - one - CLICK_S for one in onsets_s.tolist()))
    if length_s < SHORTEST_S:
        return None
    quiet = _quiet_parts(samples, rate_hz=rate_hz, onsets_s=all_onsets_s)
    lines_hz = _steady_lines(quiet, rate_hz=rate_hz)
    count = int(length_s * rate_hz)
    pieces = np.empty((onsets_s.size, count))
    for index, onset_s in enumerate(onsets_s):
        first = round((onset_s + CLICK_S) * rate_hz)
        pieces[index] = _without_lines(
            samples,
            first=first,
            count=count,
            before=round(onset_s * rate_hz),
            lines_hz=lines_hz,
            rate_hz=rate_hz,
        )
    cleaned = [_clean(part, lines_hz=lines_hz, rate_hz=rate_hz) for part in quiet]
    power = _noise_power(cleaned, rate_hz=rate_hz, scale=float(np.abs(samples).max()))
    rms = float(np.sqrt(np.mean(power) * rate_hz / 2))
    return Decays(
        pieces=pieces,
        rate_hz=rate_hz,
        start_s=CLICK_S,
        noise_power=power,
        noise_rms=rms,
        heard_s=_heard_s(pieces, rms=rms, rate_hz=rate_hz),
        shown_s=_heard_s(pieces, rms=rms, rate_hz=rate_hz, least_run=LEAST_RUN),
        lines_hz=lines_hz,
    )


def _quiet_parts(samples: Floats, *, rate_hz: float, onsets_s: Floats) -> list[Floats]:
    """Give the stretches in which nothing rings, the one before the first tap first."""
    ends = np.append(onsets_s, samples.size / rate_hz)
    starts = np.concatenate(([0.0], onsets_s + AFTER_BLOW_S))
    parts = [
        samples[round(start * rate_hz) : round((end - 0.004) * rate_hz)]
        for start, end in zip(starts, ends, strict=True)
        if end - 0.004 - start >= LEAST_QUIET_S
    ]
    if parts and ends[0] - 0.004 >= LEAST_QUIET_S:
        return parts[:1] if parts[0].size >= 0.3 * rate_hz else parts
    if parts:
        return parts
    return [
        samples[-max(16, round(LEAST_QUIET_S * rate_hz)) :]
    ]  # the end of the last decay: the best there is


def _steady_lines(quiet: list[Floats], *, rate_hz: float) -> Floats:
    """Find steady tones in the longest quiet stretch."""
    part = max(quiet, key=len)
    if part.size < 0.2 * rate_hz:
        return np.empty(0)
    part = part[-round(min(part.size, 2.0 * rate_hz)) :]
    window = np.hanning(part.size)
    power = np.abs(np.fft.rfft(part * window, 4 * part.size)) ** 2
    step_hz = rate_hz / (4 * part.size)
    wide = max(9, round(60 / step_hz) | 1)
    coarse = ndimage.uniform_filter1d(power, 4)[::4]
    floor = np.repeat(ndimage.median_filter(coarse, max(5, wide // 4 | 1)), 4)[: power.size]
    floor = np.pad(floor, (0, power.size - floor.size), mode="edge")
    top = (power == ndimage.maximum_filter1d(power, 17)) & (power > LINE_OVER * floor)
    found = np.flatnonzero(top[1:-1]) + 1
    found = found[(found * step_hz > 20) & (found * step_hz < HIGHEST_HZ)]
    found = found[np.argsort(-power[found] / floor[found])][:LINES_MOST]
    log = np.log(power + 1e-300)
    left, middle, right = log[found - 1], log[found], log[found + 1]
    offset = 0.5 * (left - right) / (left - 2 * middle + right - 1e-30)
    return np.asarray(np.sort((found + offset) * step_hz))


def _tones(lines_hz: Floats, first: int, count: int, rate_hz: float) -> Floats:
    phase = 2 * np.pi * np.outer(np.arange(first, first + count) / rate_hz, lines_hz)
    return np.concatenate((np.cos(phase), np.sin(phase)), axis=1)


def _without_lines(
    samples: Floats, *, first: int, count: int, before: int, lines_hz: Floats, rate_hz: float
) -> Floats:
    """Cut one decay out, steady lines taken out by their phase before the blow."""
    piece = samples[first : first + count]
    guard = round(0.003 * rate_hz)
    begin = max(0, before - guard - round(QUIET_S * rate_hz))
    if not lines_hz.size or before - guard - begin < 0.1 * rate_hz:
        return piece
    quiet = samples[begin : before - guard]
    tones = _tones(lines_hz, begin, quiet.size, rate_hz)
    weights = np.linalg.lstsq(tones, quiet, rcond=1e-8)[0]
    return np.asarray(piece - _tones(lines_hz, first, count, rate_hz) @ weights)


def _clean(part: Floats, *, lines_hz: Floats, rate_hz: float) -> Floats:
    if not lines_hz.size:
        return part
    part = part[-round(min(part.size, 2.0 * rate_hz)) :]
    tones = _tones(lines_hz, 0, part.size, rate_hz)
    return np.asarray(part - tones @ np.linalg.lstsq(tones, part, rcond=1e-8)[0])


def _noise_power(parts: list[Floats], *, rate_hz: float, scale: float) -> Floats:
    """Give the noise's mean square per Hz on a grid of some 20 Hz, smoothed."""
    size = min(round(0.05 * rate_hz), *(part.size for part in parts))
    window = np.hanning(size)
    total, blocks = np.zeros(size // 2 + 1), 0
    for part in parts:
        for start in range(0, part.size - size + 1, size // 2):
            total += np.abs(np.fft.rfft(part[start : start + size] * window)) ** 2
            blocks += 1
    power = total / blocks * 2 / (rate_hz * np.sum(window**2))
    least = (1e-6 * scale) ** 2 / rate_hz  # digital silence is no noise that a fit can weigh by
    return np.asarray(ndimage.uniform_filter1d(power, 3) + least)


def _heard_s(pieces: Floats, *, rms: float, rate_hz: float, least_run: int = 1) -> float:
    """Give how long the decays, on the mean, stand out of the noise."""
    hop = max(1, round(0.004 * rate_hz))
    count = pieces.shape[1] // hop
    power = (pieces[:, : count * hop] ** 2).reshape(len(pieces), count, hop).mean(axis=(0, 2))
    over = ndimage.uniform_filter1d(power, 3) > CALM * rms**2
    held = ndimage.binary_opening(over, np.ones(least_run, dtype=bool))
    begun = int(np.argmin(over)) if not over.all() else over.size  # a short decay is no longer than that
    last = max(begun, int(np.flatnonzero(held)[-1]) + 1 if held.any() else 0)
    return float(min(pieces.shape[1] / rate_hz, last * hop / rate_hz))
