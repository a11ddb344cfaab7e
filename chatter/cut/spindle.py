"""Measure the spindle's speed from its comb of harmonics.

In: one section of sound, the dialled speed and perhaps the idling speed as priors. Out: the rotation
frequency along the section, its mean over the steady part, its spread, and whether a comb was there.
Source: comb likelihood (chatter/cut/spindle_comb.py), refined on strong harmonics (chatter/dsp/angle.py).
Leaves out: lines that are not harmonics.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.cut.spindle_comb import Comb, chance_of_spindle, find_comb
from chatter.cut.weights import LEAST_CHANCE, SPEED_SPREAD
from chatter.dsp.angle import phase_turns, refine_phase
from chatter.dsp.comb import Layer, find_base, score_apart, score_at_fractions
from chatter.dsp.envelope import TOP_HZ as ENVELOPE_TOP_HZ
from chatter.dsp.envelope import WINDOWS, Envelopes, band_envelopes, envelope_excess, line_excess
from chatter.dsp.spectra import frame_powers, running_floor

Floats = NDArray[np.float64]
WINDOW = 0.06  # share of the dialled speed searched on each side: slip up to 3 % and a wrong override
# Least score, nepers over that of other speeds, and the same in robust deviations. Without a cut nothing
# pulls at the lines, and no verdict hangs on them.
WITHOUT_CUT = (3.5, 5.0)
NEAR_IDLING = 10.0  # least score of a comb that alone hardly stands out, within what load takes from idling
# Least chance of a comb that is believed by itself, and the share by which others may be off its speed. Own
# choices; cuts of one simulated recording agree within 0.001.
BELIEVED, ALIKE = 0.4, 0.003
SAG_LOW, SAG_HIGH = 0.985, 1.004  # speed under load over idling speed
TOP_HZ = 6000.0
PAD = 4
MOST_ORDERS = 20  # of the loudness: higher ones blur
STRONG_WEIGHT = 0.3  # weight of a harmonic above which its phase is trusted
LEAST_SD = 2e-5  # share of the speed; the median error on simulated cuts
STILL = 1e-9  # no track that was followed is so even
UNFOLLOWED_SD = 5e-4  # own choice: of a cut too short to follow its speed
LEAST_OFF = 8e-5  # share of the speed, of how far off the comb's base it lies; fitted
BLOCK_S = 0.25  # blocks in which drift is measured
MOST_DRIFT = 0.005  # share by which the speed may wander inside a cut
MOST_OFF = 0.0003  # share by which its mean may leave the comb's base: beats of chatter pull at the phases
MOST_FINE = 0.0002  # share left to the lines once the loudness has said its part: chatter pulls at them
PULLED = 0.9  # own choice: of that share, from which they were pulled all the way


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
    comb: Comb | None = None  # what was weighed in a cut, found or not

    @property
    def chance(self) -> float:
        """Chance that the comb is the spindle's."""
        return 0.0 if self.comb is None else chance_of_spindle(self.comb)


def window_s(rotation_hz: float, length_s: float) -> float:
    """Give a window that parts neighbouring harmonics and fits the section."""
    return float(min(np.clip(20 / rotation_hz, 0.4, 0.8), length_s / 2))


def not_found(
    programmed_hz: float, *, times_s: Floats, score: float = 0.0, z: float = 0.0, comb: Comb | None = None
) -> Speed:
    """Give the dialled speed in place of a measured one, and say so. `times_s` has shape (t,)."""
    return Speed(
        found=False,
        rotation_hz=programmed_hz,
        sd_hz=0.0,
        times_s=times_s,
        track_hz=np.full(len(times_s), programmed_hz),
        score=score,
        z=z,
        comb=comb,
    )


def measure_speed(
    samples: Floats,
    *,
    rate_hz: float,
    bandwidth_hz: float,
    programmed_rpm: float,
    flutes: int,
    idling_hz: float | None = None,
    idle: Floats | None = None,
    cutting: bool = True,
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
    idle
        Shape (m,), sound without cutting beside it: what thumps there is not the spindle.
    cutting
        Whether the section is a cut, with a verdict to come, or sound without one.

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
        samples.astype(np.float32),
        rate_hz=rate_hz,
        window_s=size_s,
        hop_s=size_s / 4,
        pad=PAD,
        top_hz=max(top_hz * 1.05, 8 * rate_hz / len(samples)),
    )
    bin_hz = float(hz[1])
    mean = powers.mean(axis=0)
    band_top_hz = min(0.45 * rate_hz, bandwidth_hz)
    envelope_hz, envelopes = band_envelopes(samples, rate_hz=rate_hz, top_hz=band_top_hz)
    lines = Layer(
        excess=line_excess(mean, bin_hz=bin_hz, spacing_hz=programmed_hz, pad=PAD),
        bin_hz=bin_hz,
        top_hz=top_hz,
        most=80,
        between=0.35,
        scale=1.0,
    )
    loudness_bin_hz, loudness = envelope_excess(
        envelopes,
        rate_hz=envelope_hz,
        window_s=min(2 * size_s, length_s / WINDOWS),
        spacing_hz=programmed_hz,
        beside=None if idle is None else band_envelopes(idle, rate_hz=rate_hz, top_hz=band_top_hz),
    )
    envelope = Layer(
        excess=loudness,
        bin_hz=loudness_bin_hz,
        top_hz=0.98 * ENVELOPE_TOP_HZ,
        most=MOST_ORDERS,
        between=0.2,
        scale=1.0,
    )
    low_hz, high_hz = programmed_hz * (1 - WINDOW), programmed_hz * (1 + WINDOW)
    comb, most_off = None, np.inf
    if cutting:
        comb = find_comb(lines, envelope, low_hz=low_hz, high_hz=high_hz, flutes=flutes)
        base_hz, score, z = comb.base_hz, comb.score, comb.z
        found = chance_of_spindle(comb) >= LEAST_CHANCE
        most_off = MOST_OFF if found and comb.is_unpulled else np.inf
    else:
        layers = (lines, envelope)
        base_hz, score, z = find_base(layers, low_hz=low_hz, high_hz=high_hz, teeth=flutes)
        found = score >= WITHOUT_CUT[0] and z >= WITHOUT_CUT[1]
        if found:  # no other speed's comb stands out more
            others = (score_apart, score_at_fractions)
            found = score > max(other(layers, base_hz=base_hz, teeth=flutes) for other in others)
    if idling_hz is not None and not found:
        base_hz, score, _ = find_base(
            (lines, envelope), low_hz=idling_hz * SAG_LOW, high_hz=idling_hz * SAG_HIGH, teeth=flutes
        )
        found = score >= NEAR_IDLING
    if not found:
        return not_found(programmed_hz, times_s=times_s, score=score, z=z, comb=comb)
    floor = running_floor(mean, width_bins=max(9, int(3 * programmed_hz / bin_hz)))
    weights = _harmonic_weights(mean, floor, base_hz=base_hz, bin_hz=bin_hz, top_hz=top_hz)
    times_s, track, mean_hz, by_lines = _follow(
        samples,
        envelopes,
        rate_hz=rate_hz,
        envelope_hz=envelope_hz,
        base_hz=base_hz,
        most_off=most_off,
        strong=np.flatnonzero(weights > STRONG_WEIGHT) + 1,
    )
    return Speed(
        found=True,
        rotation_hz=mean_hz,
        sd_hz=mean_hz * _spread(track / mean_hz, off=mean_hz / base_hz - 1, by_lines=by_lines),
        times_s=times_s,
        track_hz=track,
        score=score,
        z=z,
        comb=comb,
    )


def of_one_spindle(speeds: list[Speed], *, without: bool) -> list[bool]:
    """Say which sections of a recording turn as fast as the one whose comb is surest, or are sure themselves.

    Load takes far less from one spindle's speed than voices and bumps, whose combs are faint, lie off it.
    Where other loud sections are `without` any comb, faint ones are none either.
    """
    chances = [speed.chance for speed in speeds]
    if max(chances, default=0.0) < BELIEVED:
        return [not without] * len(speeds)
    surest_hz = speeds[int(np.argmax(chances))].rotation_hz
    return [
        chance >= BELIEVED or abs(speed.rotation_hz / surest_hz - 1) < ALIKE
        for chance, speed in zip(chances, speeds, strict=True)
    ]


def _follow(
    samples: Floats,
    envelopes: Envelopes,
    *,
    rate_hz: float,
    envelope_hz: float,
    base_hz: float,
    most_off: float,
    strong: NDArray[np.int64],
) -> tuple[Floats, Floats, float, float]:
    """Follow the speed inside the section: first by the loudness of the bands, then finely by strong lines.

    The mean stays within the share `most_off` of the base.

    Returns
    -------
    times_s, track_hz, mean_hz, by_lines
        Shapes (t,), (t,); by which share the lines moved the mean.
    """
    block_s = max(BLOCK_S, 6 / base_hz)
    times_s, track = np.array([0.0, len(samples) / rate_hz]), np.full(2, base_hz)
    if envelopes:  # none where the sound ends below the lowest band
        phase = phase_turns(count=len(envelopes[0]), rate_hz=envelope_hz, times_s=times_s, rotation_hz=track)
        orders = np.arange(1, max(2, min(MOST_ORDERS, int(0.9 * ENVELOPE_TOP_HZ / base_hz)) + 1))
        phase = refine_phase(
            envelopes, phase, rate_hz=envelope_hz, orders=orders, block_s=block_s, most=MOST_DRIFT
        )
        times_s, track = _speed_of(phase, envelope_hz, block_s / 2)
        mean_hz = _mean_hz(phase, envelope_hz)
        track = track * np.clip(mean_hz / base_hz, 1 - most_off, 1 + most_off) * base_hz / mean_hz
    phase = phase_turns(count=len(samples), rate_hz=rate_hz, times_s=times_s, rotation_hz=track)
    fine = refine_phase(
        [samples], phase, rate_hz=rate_hz, orders=strong[:10], block_s=block_s / 2, most=MOST_FINE
    )
    times_s, track = _speed_of(fine, rate_hz, block_s / 4)
    mean_hz = _mean_hz(fine, rate_hz)
    return times_s, track, mean_hz, mean_hz / _mean_hz(phase, rate_hz) - 1


def _spread(track: Floats, *, off: float, by_lines: float) -> float:
    """Give the standard deviation of a mean speed, as a share of it.

    Where chatter pulls at the lines the speed seems to wander, and its mean leaves the comb's base: the error
    grows with both. Lines that are pulled as far as they may be are off by about that. A cut too short to be
    followed says only what its comb does.

    Parameters
    ----------
    track
        Shape (t,): the speed along the section over its mean.
    off
        By which share the mean lies off the comb's base.
    by_lines
        By which share the lines moved it.
    """
    if np.ptp(track) < STILL:
        return UNFOLLOWED_SD
    pulled = MOST_FINE if abs(by_lines) > PULLED * MOST_FINE else LEAST_SD
    return max(pulled, SPEED_SPREAD * float(np.std(track)) * (abs(off) + LEAST_OFF))


def _mean_hz(phase: Floats, rate_hz: float) -> float:
    """Give the mean rotation frequency, from a phase in turns."""
    return float((phase[-1] - phase[0]) / (len(phase) - 1) * rate_hz)


def _speed_of(phase: Floats, rate_hz: float, step_s: float) -> tuple[Floats, Floats]:
    """Give the rotation frequency at knots `step_s` apart, from a phase in turns."""
    count = max(4, round(len(phase) / rate_hz / step_s))
    knots = np.round(np.linspace(0, len(phase) - 1, count)).astype(int)
    return knots / rate_hz, np.gradient(phase[knots], knots / rate_hz)


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
