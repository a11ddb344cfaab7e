"""How strongly a cut's sound speaks for chatter.

In: the spectra of a steady part and its speed. Out: narrow lines off the comb, the loudest family
of them, and the numbers that the verdict weighs.
Method: a line is a peak above the ring of spectrum beside it (a hump is not) and above the idle part. A
family is |±f_c + k·f_rot|; its members are the lines that fit it. Run-out, vacuum tones and chip noise each
lack one of the marks: off the comb, absent while idle, narrow, with sidebands, steady over some turns.
Source: families after Insperger, Stépán, Bayly and Mann, J. Sound Vib. 262 (2003) 333 to 345.
Leaves out: how loud the rest is (chatter/cut/unrepeated.py); the map from all of these numbers to a
probability (chatter/cut/verdict.py).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc

from chatter.cut.idling_lines import find_idling_lines
from chatter.cut.spectrum import CutSpectra
from chatter.cut.unrepeated import BOTTOM_HZ, concentration, hear_moments, loudness
from chatter.dsp.spectra import TINY, find_tops, line_ring, peak_frequency_hz
from chatter.dsp.steadiness import band_coherence
from chatter.model.cut import LoneTone

Floats = NDArray[np.float64]
LEAST_NEPERS = 1.8  # 8 dB above its surroundings: a candidate line
CAP_NEPERS = 5.0  # 22 dB: beyond this a line is just loud
MOST_LINES = 60
GUARD = 0.015  # of a turn's frequency on each side of the comb that is left to it
KEPT = 0.7  # own choice: share of its power that a place so near must keep when what repeats is taken away
SPEED_OFF = 1e-3  # own choice: of a tone, how far the comb may lie from where a speed a little wrong has it
SIDE_LOBE = 0.01  # of a line's power: a Hann window's own is a thousandth, wandering makes it more
SEEDS = 25  # loudest lines that may found a family
SIDEBAND_WORTH = 0.15  # nepers of loudness for a neper of sideband
MOST_SPARE = 15.0  # nepers of sidebands that count: with the above, 10 dB at most
STEADY_TURNS = 6.0  # time over which a line shall keep its phase
STEADY_WIDTH = 0.12  # of a turn's frequency: half width of the band that is asked
LEAST_WIDTH_HZ = 6.0  # own choice: the phase of a sagging spindle's sidebands wanders by some hertz
USUAL, QUIET = 0.5, 0.25  # quantiles over moments
STEADY_LINES = 8  # loudest members that are asked
LEAST_BASE = 0.1  # own choice: of the loudest family's power
EXACT = 0.3  # own choice: share of a family's tolerance within which a double lies
TWICE = 2  # multiple of the chatter that a tool leaving the cut makes loud
CLEAR_LINES = 3  # own choice: of a family that clearly is one
MOST_SPACING = 5.0  # own choice: of a family that chance makes once in 100,000; rarer says no more
SPACED = 0.15  # own choice: of a line's width, by which lines of one family may lie off their spacing
MULTIPLES = (2, 3, 4, 5)  # at which a family may stand of a line that is louder than all of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """One narrow line off the comb."""

    frequency_hz: float
    power: float  # mean square
    excess: float  # nepers above ring and idle
    in_idle: bool
    idles: bool = False  # a line while idling, too, however much fainter


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """The numbers that the verdict weighs; each grows with chatter."""

    peaks: tuple[Peak, ...]  # strongest first, background ones included
    family: tuple[Peak, ...]  # members of the best family, strongest first; empty without one
    base: tuple[Peak, ...]  # the chatter's own family: another one where the best lies at a multiple of it
    multiple: int  # of the base, at which the best family lies: 1 where they are the same
    steady: float  # -log(1 - coherence) of the members over some turns; 0 with less than two members
    share: float  # log of the family's power over all that repeats
    local: float  # log of a member's power over what repeats near it, the highest of all members
    loudness: tuple[float, float]  # logs of power that does not repeat over power that does: low, high tones
    broad: tuple[float, float]  # the same without a lone line, in the quieter moments: no voice, no lone tone
    spacing: float  # -log10 of how many families as large as the largest chance makes; 0 where it makes one
    concentration: float  # how much of what does not repeat lies at one fraction of a turn; no lone line
    halved: float  # log of power at odd halves of the tooth-passing frequency over power at the other orders
    tone: LoneTone | None  # whose a lone line is; None without one


def find_peaks(
    spectra: CutSpectra, *, rotation_hz: float, flutes: int, away_hz: float = 0.0
) -> tuple[Peak, ...]:
    """List the narrow lines off the comb.

    Parameters
    ----------
    spectra
        Of one steady part.
    rotation_hz, flutes
        Its comb.
    away_hz
        How far from the comb they lie at least.

    Returns
    -------
    tuple of Peak
        Strongest excess first, at most 60.
    """
    bin_hz, width_hz = spectra.bin_hz, spectra.line_width_hz
    excess = np.log(
        np.maximum(spectra.rest, TINY) / line_ring(spectra.rest, bin_hz=bin_hz, width_hz=width_hz)
    )
    below = np.zeros(len(excess), dtype=bool)
    if spectra.idle is not None:
        spread = max(1, round(width_hz / bin_hz))
        idle = np.max(
            np.lib.stride_tricks.sliding_window_view(
                np.pad(spectra.idle, spread, mode="edge"), 2 * spread + 1
            ),
            axis=1,
        )
        over_idle = np.log(np.maximum(spectra.rest, TINY) / np.maximum(idle, TINY))
        below = over_idle < LEAST_NEPERS
    usable = _off_comb(spectra, rotation_hz=rotation_hz)
    usable &= _away_hz(spectra, rotation_hz=rotation_hz) >= away_hz
    top = find_tops(spectra.rest)
    top = top[usable[top] & (excess[top] > LEAST_NEPERS)]
    order = np.argsort(excess[top])[::-1]
    taken: list[Peak] = []
    for index in top[order]:
        frequency = peak_frequency_hz(spectra.rest, int(index), bin_hz)
        if any(_belongs(frequency, float(spectra.rest[index]), peak, width_hz=width_hz) for peak in taken):
            continue
        taken.append(
            Peak(
                frequency_hz=frequency,
                power=float(spectra.rest[index]),
                excess=float(excess[index]),
                in_idle=bool(below[index]),
            )
        )
        if len(taken) >= MOST_LINES:
            break
    found = find_idling_lines(
        np.array([peak.frequency_hz for peak in taken]),
        np.array([peak.power for peak in taken]),
        spectra,
        rotation_hz=rotation_hz,
        flutes=flutes,
    )
    return tuple(
        replace(peak, in_idle=True, idles=True) if idles else peak
        for peak, idles in zip(taken, found, strict=True)
    )


def _belongs(frequency_hz: float, power: float, peak: Peak, *, width_hz: float) -> bool:
    """Say whether a place is a line that was taken already, or a side lobe of its window."""
    away_hz = abs(frequency_hz - peak.frequency_hz)
    return away_hz < width_hz or (away_hz < 2 * width_hz and power < SIDE_LOBE * peak.power)


def _clear_of_comb(spectra: CutSpectra, *, rotation_hz: float) -> NDArray[np.bool_]:
    """Say which bins the comb's lines don't reach. Shape (f,)."""
    guard_hz = min(max(1.2 * spectra.line_width_hz, GUARD * rotation_hz), 0.2 * rotation_hz)
    return np.asarray(_away_hz(spectra, rotation_hz=rotation_hz) > guard_hz) & (spectra.hz > BOTTOM_HZ)


def _away_hz(spectra: CutSpectra, *, rotation_hz: float) -> Floats:
    """Give how far each bin lies from the comb. Shape (f,)."""
    return np.asarray(np.abs(spectra.hz - np.round(spectra.hz / rotation_hz) * rotation_hz))


def _off_comb(spectra: CutSpectra, *, rotation_hz: float) -> NDArray[np.bool_]:
    """Say which bins lie clear of the comb and of the phone's low end. Shape (f,).

    The spectrum of a short part is too coarse to part a line from the comb beside it. The average over the
    turns parts them: what stands there and doesn't repeat is not the comb's.
    """
    close_hz = np.maximum(GUARD * rotation_hz, SPEED_OFF * spectra.hz)
    beside = (_away_hz(spectra, rotation_hz=rotation_hz) > close_hz) & (spectra.hz > BOTTOM_HZ)
    beside &= spectra.rest > KEPT * spectra.whole
    return _clear_of_comb(spectra, rotation_hz=rotation_hz) | beside


def _whose(spectra: CutSpectra, family: tuple[Peak, ...]) -> LoneTone | None:
    """Say what an idle recording tells of a lone line; None where there is none, or only a broad place."""
    if len(family) != 1 or family[0].excess <= 0:
        return None
    if spectra.air is not None and spectra.air.holds(family[0].frequency_hz):
        return "in air"
    if spectra.air is not None and spectra.air.lacks(family[0].frequency_hz):
        return "only cutting"
    return "unknown"


def _in_air_hz(spectra: CutSpectra, peaks: tuple[Peak, ...]) -> list[float]:
    """Give the lines that idling or an air pass has: the load may make them louder, they stay background."""
    return [peak.frequency_hz for peak in peaks if peak.idles or (peak.in_idle and spectra.air is not None)]


def _in_air(spectra: CutSpectra, peaks: tuple[Peak, ...]) -> NDArray[np.bool_]:
    """Say which bins hold such lines. Shape (f,)."""
    held = np.zeros(len(spectra.hz), dtype=bool)
    for line_hz in _in_air_hz(spectra, peaks):
        held |= np.abs(spectra.hz - line_hz) < spectra.line_width_hz
    return held


def _loudest(spectra: CutSpectra, peaks: tuple[Peak, ...], *, rotation_hz: float) -> tuple[Peak, ...]:
    """Give the loudest place off the comb and above the idle part, however broad; empty without one."""
    above = np.where(_off_comb(spectra, rotation_hz=rotation_hz), spectra.rest, 0.0)
    if spectra.idle is not None:
        above = np.where((spectra.rest > 2 * spectra.idle) & ~_in_air(spectra, peaks), above, 0.0)
    index = 1 + int(np.argmax(above[1:-1]))
    if above[index] <= 0:
        return ()
    frequency_hz = peak_frequency_hz(spectra.rest, index, spectra.bin_hz)
    near = [peak for peak in peaks if abs(peak.frequency_hz - frequency_hz) < spectra.line_width_hz]
    lines = [peak for peak in near if not peak.in_idle]
    broad = Peak(frequency_hz=frequency_hz, power=float(above[index]), excess=0.0, in_idle=False)
    return (max(lines, key=lambda peak: peak.power, default=broad),)


def weigh(spectra: CutSpectra, *, rotation_hz: float, flutes: int) -> Evidence:
    """Weigh a steady part.

    Parameters
    ----------
    spectra
        Of one steady part.
    rotation_hz, flutes
        Its comb.

    Returns
    -------
    Evidence
    """
    peaks = find_peaks(spectra, rotation_hz=rotation_hz, flutes=flutes)
    fresh = [peak for peak in peaks if not peak.in_idle]
    family = _best_family(fresh, rotation_hz=rotation_hz, width_hz=spectra.line_width_hz)
    base, multiple = _find_base(family, fresh, rotation_hz=rotation_hz, width_hz=spectra.line_width_hz)
    steady = _steadiness(spectra, family, rotation_hz=rotation_hz) if len(family) > 1 else 0.0
    if len(family) < 2:
        family = base = _loudest(spectra, peaks, rotation_hz=rotation_hz) or family
    in_air_hz = _in_air_hz(spectra, peaks)
    lone_hz = [peak.frequency_hz for peak in family if len(family) == 1]
    among = _clear_of_comb(spectra, rotation_hz=rotation_hz)
    for line_hz in in_air_hz + lone_hz:
        among &= np.abs(spectra.hz - line_hz) > spectra.line_width_hz

    moments = hear_moments(spectra, quantiles=(USUAL, QUIET), rotation_hz=rotation_hz)

    def loud(power: Floats, without_hz: list[float]) -> tuple[float, float]:
        return loudness(
            power, moments, spectra, tooth_hz=rotation_hz * flutes, without_hz=np.array(without_hz)
        )

    usual, quiet = moments.powers

    return Evidence(
        peaks=peaks,
        family=family,
        base=base,
        multiple=multiple,
        steady=steady,
        share=_share(spectra, family),
        local=_local_share(spectra, family, rotation_hz=rotation_hz, flutes=flutes),
        loudness=loud(usual, in_air_hz),
        broad=loud(quiet, in_air_hz + lone_hz),
        spacing=_spacing(peaks, rotation_hz=rotation_hz, width_hz=spectra.line_width_hz),
        concentration=concentration(spectra, among=among, rotation_hz=rotation_hz),
        halved=_halved(spectra, rotation_hz=rotation_hz, flutes=flutes),
        tone=_whose(spectra, family),
    )


def weigh_lines(
    evidence: Evidence, spectra: CutSpectra, *, rotation_hz: float, flutes: int, away_hz: float
) -> Evidence:
    """Take the lines of other spectra of the same part, where they clearly make a family.

    Parameters
    ----------
    evidence
        What is told but by lines.
    spectra
        Whose lines count.
    rotation_hz, flutes
        The comb.
    away_hz
        How far from the comb lines lie at least.

    Returns
    -------
    Evidence
        The same object where they make no family.
    """
    peaks = find_peaks(spectra, rotation_hz=rotation_hz, flutes=flutes, away_hz=away_hz)
    fresh = [peak for peak in peaks if not peak.in_idle]
    family = _best_family(fresh, rotation_hz=rotation_hz, width_hz=spectra.line_width_hz)
    if len(family) < CLEAR_LINES:
        return evidence
    base, multiple = _find_base(family, fresh, rotation_hz=rotation_hz, width_hz=spectra.line_width_hz)
    return replace(
        evidence,
        peaks=peaks,
        family=family,
        base=base,
        spacing=_spacing(peaks, rotation_hz=rotation_hz, width_hz=spectra.line_width_hz),
        multiple=multiple,
        steady=_steadiness(spectra, family, rotation_hz=rotation_hz),
        share=_share(spectra, family),
        local=_local_share(spectra, family, rotation_hz=rotation_hz, flutes=flutes),
        tone=None,
    )


def _steadiness(spectra: CutSpectra, family: tuple[Peak, ...], *, rotation_hz: float) -> float:
    """Ask how well the members keep their phase over some turns, the clearer ones with more weight."""
    asked = family[:STEADY_LINES]
    coherence = band_coherence(
        spectra.rest_samples,
        rate_hz=spectra.rate_hz,
        centres_hz=np.array([peak.frequency_hz for peak in asked]),
        half_width_hz=max(LEAST_WIDTH_HZ, STEADY_WIDTH * rotation_hz),
        lag_s=STEADY_TURNS / rotation_hz,
    )
    weights = np.minimum([peak.excess for peak in asked], CAP_NEPERS)
    return float(-np.log(max(1 - np.average(coherence, weights=weights), 1e-4)))


def _share(spectra: CutSpectra, family: tuple[Peak, ...]) -> float:
    """Compare the family with all that repeats."""
    repeating = float(spectra.repeating.sum())
    power = sum(peak.power for peak in family)
    return float(np.clip(np.log(max(power, TINY) / max(repeating, TINY)), -12.0, 6.0))


def _local_share(spectra: CutSpectra, family: tuple[Peak, ...], *, rotation_hz: float, flutes: int) -> float:
    """Compare each member with what repeats around it; loud low teeth say nothing against a high chatter."""
    repeating = spectra.repeating
    reach_hz = max(1.05, 0.6 * flutes) * rotation_hz
    best = -12.0
    for peak in family:
        near = np.abs(spectra.hz - peak.frequency_hz) < reach_hz
        beside = max(float(repeating[near].sum()), 1e-3 * float(spectra.rest[near].sum()), TINY)
        best = max(best, float(np.log(max(peak.power, TINY) / beside)))
    return min(best, 6.0)


def _halved(spectra: CutSpectra, *, rotation_hz: float, flutes: int) -> float:
    """Compare lines at odd halves of tooth passing, where period doubling lies, with the other orders.

    Run-out of four teeth or more puts its power on the orders beside those of the teeth, so where those are
    as loud as the halves, the halves need no period doubling.
    """
    if flutes % 2:
        return -12.0  # there the halves are off the comb, and count as any other line
    above = spectra.whole if spectra.idle is None else np.maximum(spectra.whole - 2 * spectra.idle, 0.0)
    orders = np.arange(1, int(spectra.hz[-1] / rotation_hz))
    at = np.clip(np.round(orders * rotation_hz / spectra.bin_hz).astype(int), 1, len(above) - 2)
    power = np.maximum(np.maximum(above[at - 1], above[at]), above[at + 1])
    halves = (orders % (flutes // 2) == 0) & (orders % flutes != 0)
    half = power[halves].sum()
    other = power[~halves].sum()
    return float(np.clip(np.log(max(half, TINY) / max(other, TINY)), -12.0, 12.0))


def _best_family(peaks: list[Peak], *, rotation_hz: float, width_hz: float) -> tuple[Peak, ...]:
    """Give the loudest family, strongest member first."""
    if not peaks:
        return ()
    folded = _fold([peak.frequency_hz for peak in peaks], rotation_hz=rotation_hz)
    strength = np.minimum(np.array([peak.excess for peak in peaks]), CAP_NEPERS)
    loud = np.log(np.array([peak.power for peak in peaks]))
    tolerance = _fold_tolerance(rotation_hz, width_hz=width_hz)
    chance = min(1.0, 4 * tolerance)
    # The chatter is the loudest family; sidebands beyond chance are worth some decibels.
    best: tuple[float, tuple[int, ...]] = (-np.inf, ())
    for seed in np.argsort(loud)[::-1][:SEEDS]:
        near = np.abs(folded - folded[seed]) <= tolerance
        others = near.copy()
        others[seed] = False
        spare = float(strength[others].sum() - chance * np.delete(strength, seed).sum())
        value = float(np.log(np.exp(loud[near]).sum())) + SIDEBAND_WORTH * float(
            np.clip(spare, 0, MOST_SPARE)
        )
        if value > best[0]:
            ids = tuple(int(i) for i in np.flatnonzero(near)[np.argsort(loud[near])[::-1]])
            best = (value, ids)
    return tuple(peaks[i] for i in best[1])


def chance_of_spacing(peaks: tuple[Peak, ...], *, rotation_hz: float, width_hz: float) -> float:
    """Say how often lines at random would lie at one fraction of a turn as many times as these do.

    Parameters
    ----------
    peaks
        Lines off the comb; background ones don't count.
    rotation_hz, width_hz
        The comb; the width of a line.

    Returns
    -------
    float
        Expected number of such families: near 0 where no chance explains the spacing, above 1 where any does.
        Source: the upper tail of a binomial, times the number of lines that may found a family.
    """
    fresh_hz = [peak.frequency_hz for peak in peaks if not peak.in_idle]
    if len(fresh_hz) < 2:
        return float(len(fresh_hz))
    folded = _fold(fresh_hz, rotation_hz=rotation_hz)
    tolerance = min(SPACED * width_hz / rotation_hz, 0.25)
    others = len(folded) - 1
    most = int((np.abs(folded[:, None] - folded) <= tolerance).sum(axis=1).max()) - 1
    hit = 4 * tolerance  # of half a turn, on both sides
    return float(len(folded) * bdtrc(most - 1, others, hit))


def _spacing(peaks: tuple[Peak, ...], *, rotation_hz: float, width_hz: float) -> float:
    """Give -log10 of the chance of the lines' spacing, 0 to MOST_SPACING; 0 with less than two lines."""
    by_chance = chance_of_spacing(peaks, rotation_hz=rotation_hz, width_hz=width_hz) or 1.0
    return float(np.clip(-np.log10(max(by_chance, 10**-MOST_SPACING)), 0.0, MOST_SPACING))


def _fold(lines_hz: list[float], *, rotation_hz: float) -> Floats:
    """Give how far each line lies from the comb, 0 to 0.5 turns: the same for a whole family. Shape (n,)."""
    turns = np.array(lines_hz) / rotation_hz
    return np.asarray(np.abs(turns - np.round(turns)))


def _fold_tolerance(rotation_hz: float, *, width_hz: float) -> float:
    return min(0.5 * width_hz / rotation_hz, 0.06)


def _find_base(
    family: tuple[Peak, ...], peaks: list[Peak], *, rotation_hz: float, width_hz: float
) -> tuple[tuple[Peak, ...], int]:
    """Give the family whose multiple the best one is, and which; else the best, and 1.

    A tool that leaves the cut makes twice the chatter's frequency loud, and a small part radiates high tones
    better than low ones; the machine rings at the lower one. That one may be nearly as loud as its double, or
    a line that is louder than all of a family at any of its multiples.
    """
    if len(family) < 2:
        return family, 1
    power = sum(peak.power for peak in family)
    there_hz = np.array([peak.frequency_hz for peak in family])
    for peak in sorted(set(peaks) - set(family), key=lambda peak: -peak.power):
        if peak.power <= power:
            break
        for multiple in MULTIPLES:
            if np.abs(there_hz - multiple * peak.frequency_hz).min() < EXACT * width_hz:
                return _family_of(peak, peaks, rotation_hz=rotation_hz, width_hz=width_hz), multiple
    base = _halved_base(family, peaks, rotation_hz=rotation_hz, width_hz=width_hz)
    return (family, 1) if base is None else (base, TWICE)


def _family_of(peak: Peak, peaks: list[Peak], *, rotation_hz: float, width_hz: float) -> tuple[Peak, ...]:
    """Give the lines that lie at one fraction of a turn with one of them, strongest first."""
    folded = _fold([one.frequency_hz for one in peaks], rotation_hz=rotation_hz)
    near = np.abs(folded - folded[peaks.index(peak)]) <= _fold_tolerance(rotation_hz, width_hz=width_hz)
    return tuple(sorted((peaks[i] for i in np.flatnonzero(near)), key=lambda member: -member.power))


def _halved_base(
    family: tuple[Peak, ...], peaks: list[Peak], *, rotation_hz: float, width_hz: float
) -> tuple[Peak, ...] | None:
    """Give the loudest family whose line has its double in the best one, where it is nearly as loud."""
    power = sum(peak.power for peak in family)
    tolerance = _fold_tolerance(rotation_hz, width_hz=width_hz)
    doubled = _fold([TWICE * peak.frequency_hz for peak in peaks], rotation_hz=rotation_hz)
    (top,) = _fold([family[0].frequency_hz], rotation_hz=rotation_hz)
    there_hz = np.array([peak.frequency_hz for peak in family])
    own_hz = np.concatenate([TWICE * there_hz, 3 * there_hz])
    best, loudest = None, LEAST_BASE * power
    for place, peak in enumerate(peaks):
        if np.abs(doubled[place] - top) > EXACT * tolerance:
            continue
        if peak in family or np.abs(there_hz - TWICE * peak.frequency_hz).min() > 0.5 * width_hz:
            continue
        members = _family_of(peak, peaks, rotation_hz=rotation_hz, width_hz=width_hz)
        loud = sum(member.power for member in members)
        members_hz = np.array([member.frequency_hz for member in members])
        if loud < power and np.abs(members_hz[:, None] - own_hz).min() < EXACT * width_hz:
            continue  # as well a multiple of the louder one
        if len(members) > 1 and loud > loudest:
            best, loudest = members, loud
    return best
