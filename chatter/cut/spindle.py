"""Measure the spindle's speed from its comb of harmonics.

In: one section of sound, the dialled speed and perhaps the idling speed as priors. Out: the rotation
frequency along the section, its mean over the steady part, its spread, and whether a comb was there.
Source: comb likelihood (chatter/dsp/comb.py), refined on strong harmonics (chatter/dsp/angle.py).
Leaves out: lines that are not harmonics.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.dsp.angle import phase_turns, refine_phase
from chatter.dsp.comb import FOLLOW_CAP, excess_nepers, find_base, follow_base, loud_peaks
from chatter.dsp.spectra import frame_powers, ring_floor, running_floor

Floats = NDArray[np.float64]
WINDOW = 0.06  # share of the dialled speed searched on each side: slip up to 3 % and a wrong override
LEAST_Z = 5.0  # comb score in robust deviations of the scores at other speeds
LEAST_SCORE = 3.5  # nepers over those scores
SAG_LOW, SAG_HIGH = 0.985, 1.004  # speed under load over idling speed
LEAST_STRENGTH = 4.0  # nepers of comb in the median window, below which it is not followed
TOP_HZ = 6000.0
PAD = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Speed:
    """The spindle along one section."""

    found: bool
    rotation_hz: float  # mean over the steady part; the dialled value when not found
    sd_hz: float
    times_s: Floats  # shape (t,), from the section's start
    track_hz: Floats  # shape (t,)
    score: float
    z: float


def window_s(rotation_hz: float, length_s: float) -> float:
    """Give a window that parts neighbouring harmonics and fits the section."""
    return float(min(np.clip(20 / rotation_hz, 0.4, 0.8), length_s / 2))


def not_found(programmed_hz: float, *, times_s: Floats, score: float = 0.0, z: float = 0.0) -> Speed:
    """Give the dialled speed in place of a measured one, and say so. `times_s` has shape (t,)."""
    return Speed(
        found=False,
        rotation_hz=programmed_hz,
        sd_hz=0.0,
        times_s=times_s,
        track_hz=np.full(len(times_s), programmed_hz),
        score=score,
        z=z,
    )


def measure_speed(
    samples: Floats,
    *,
    rate_hz: float,
    bandwidth_hz: float,
    programmed_rpm: float,
    flutes: int,
    idling_hz: float | None = None,
) -> Speed:
    """Measure the speed inside one section.

    Parameters
    ----------
    samples
        Shape (n,).
    rate_hz, bandwidth_hz
        Sample rate; highest frequency carried.
    programmed_rpm, flutes
        The prior.
    idling_hz
        Rotation frequency before and after the cut, if it was measured: load only pulls it down a little.

    Returns
    -------
    Speed
        `found` is false when no comb stands out.
    """
    programmed_hz = programmed_rpm / 60
    length_s = len(samples) / rate_hz
    size_s = window_s(programmed_hz, length_s)
    top_hz = min(TOP_HZ, 0.42 * rate_hz, 0.95 * bandwidth_hz)
    times_s, hz, powers = frame_powers(
        samples,
        rate_hz=rate_hz,
        window_s=size_s,
        hop_s=size_s / 4,
        pad=PAD,
        top_hz=max(top_hz * 1.05, 8 * rate_hz / len(samples)),
    )
    bin_hz = float(hz[1])
    mean = powers.mean(axis=0)
    floor = running_floor(mean, width_bins=max(9, int(3 * programmed_hz / bin_hz)))
    # Beside loud lines the window's skirts hide the rest: only what stands above them counts here.
    lobe = 2 * PAD
    skirts = ring_floor(mean, inner_bins=lobe + 2, outer_bins=4 * lobe)
    floor = np.maximum(floor, skirts)
    excess = excess_nepers(mean, floor)
    peaks = loud_peaks(mean, floor, bin_hz=bin_hz)
    low_hz, high_hz = programmed_hz * (1 - WINDOW), programmed_hz * (1 + WINDOW)
    base_hz, score, z = find_base(
        excess, bin_hz=bin_hz, low_hz=low_hz, high_hz=high_hz, top_hz=top_hz, teeth=flutes, peaks=peaks
    )
    found = z >= LEAST_Z and score >= LEAST_SCORE
    if idling_hz is not None and not (found and SAG_LOW < base_hz / idling_hz < SAG_HIGH):
        base_hz, score, _ = find_base(
            excess,
            bin_hz=bin_hz,
            low_hz=idling_hz * SAG_LOW,
            high_hz=idling_hz * SAG_HIGH,
            top_hz=top_hz,
            teeth=flutes,
            peaks=peaks,
        )
        found = score >= LEAST_SCORE
    if not found:
        return not_found(programmed_hz, times_s=times_s, score=score, z=z)
    weights = _harmonic_weights(mean, floor, base_hz=base_hz, bin_hz=bin_hz, top_hz=top_hz)
    track, strength = follow_base(
        excess_nepers(powers, floor, cap=FOLLOW_CAP),
        times_s=times_s,
        bin_hz=bin_hz,
        base_hz=base_hz,
        span=0.012,
        top_hz=top_hz,
        weights_of=weights,
    )
    if float(np.median(strength)) < LEAST_STRENGTH:  # too faint to follow: take the mean spectrum's word
        flat = np.full(len(times_s), base_hz)
        sd_hz = bin_hz * PAD / max(1.0, top_hz / base_hz)
        return Speed(
            found=True, rotation_hz=base_hz, sd_hz=sd_hz, times_s=times_s, track_hz=flat, score=score, z=z
        )
    smooth = _smooth_track(times_s, track, strength)
    return _refined(samples, rate_hz, times_s, smooth, weights, (score, z))


def _harmonic_weights(mean: Floats, floor: Floats, *, base_hz: float, bin_hz: float, top_hz: float) -> Floats:
    """Weigh each harmonic by how far it stands out, 0 to 1."""
    orders = np.arange(1, max(2, min(120, int(top_hz / base_hz))) + 1)
    width = max(1, round(0.002 * base_hz * 4 / bin_hz))
    weights = np.zeros(len(orders))
    for i, order in enumerate(orders):
        at = round(order * base_hz / bin_hz)
        reach = max(width, round(0.002 * order * base_hz / bin_hz))
        if at - reach < 1 or at + reach >= len(mean):
            continue
        part = np.log(mean[at - reach : at + reach + 1] / floor[at - reach : at + reach + 1]).max()
        weights[i] = np.clip((part - 1.5) / 3.0, 0.0, 1.0)
    return weights


def _smooth_track(times_s: Floats, track: Floats, strength: Floats) -> Floats:
    """Fit a smooth speed through the windows, trusting strong ones and passing over stray ones."""
    degree = int(min(3, (len(times_s) - 1) // 4))
    middle = np.median(track)
    weight = np.clip(strength, 0.1, None)
    fitted = np.full(len(track), middle)
    x = (times_s - times_s.mean()) / max(float(np.ptp(times_s)), 1e-9)
    for _ in range(4):
        off = np.abs(track - fitted)
        scale = 1.4826 * np.median(off) + 1e-5 * middle
        trust = weight / (1 + (off / (2 * scale)) ** 2)
        fitted = np.polynomial.polynomial.polyval(
            x, np.polynomial.polynomial.polyfit(x, track, degree, w=np.sqrt(trust))
        )
    return np.asarray(fitted)


def _refined(
    samples: Floats,
    rate_hz: float,
    times_s: Floats,
    smooth: Floats,
    weights: Floats,
    scores: tuple[float, float],
) -> Speed:
    """Refine a smooth track on the phase of the strong harmonics."""
    mean_hz = float(np.median(smooth))
    start = phase_turns(count=len(samples), rate_hz=rate_hz, times_s=times_s, rotation_hz=smooth)
    strong = np.flatnonzero(weights > 0.3) + 1
    low = strong[:10]
    block_s = max(0.10, 3 / mean_hz)
    phase = refine_phase(samples, start, rate_hz=rate_hz, orders=low, block_s=block_s)
    knots = np.clip(
        np.round(np.arange(0.0, len(samples) / rate_hz, block_s / 2) * rate_hz).astype(int),
        0,
        len(samples) - 1,
    )
    if len(knots) >= 4:
        speed = np.gradient(phase[knots], knots / rate_hz)
        limited = np.interp(knots / rate_hz, times_s, smooth)
        good = np.abs(speed / limited - 1) < 0.004
        speed = np.where(good, speed, limited)
        knots_s, track = knots / rate_hz, speed
    else:
        knots_s, track = times_s, smooth
    inner = (knots_s >= times_s[0]) & (knots_s <= times_s[-1])
    steady = track[inner] if inner.sum() >= 3 else track
    mean = float(np.median(steady)) if len(steady) < 8 else float(_trimmed_mean(steady))
    scatter = 1.4826 * float(np.median(np.abs(np.diff(steady)))) / np.sqrt(2) if len(steady) > 2 else 0.0
    sd = max(scatter / np.sqrt(len(steady)), 2e-5 * mean)
    return Speed(
        found=True, rotation_hz=mean, sd_hz=sd, times_s=knots_s, track_hz=track, score=scores[0], z=scores[1]
    )


def _trimmed_mean(values: Floats) -> float:
    """Give the mean of the middle 80 %."""
    ordered = np.sort(values)
    cut = len(ordered) // 10
    return float(ordered[cut : len(ordered) - cut].mean())
