"""Audible tones and the adjustment for them.

In: the mean spectrum of a stretch of sound (spectrum.py). Out: tones with their audibility, and 0 to 6 dB.
Method: lines that stand out of a running median are tonal; the masking noise in a tone's critical band is a
straight line in dB, fitted to the power of the lines around it that are not tonal, so that few averages give
no bias. docs/noise.md tells it in full.
Source: ISO 1996-2:2007, Annex C (critical bands, audibility, adjustment, regression over the lines around).
Leaves out: whether a tone alone, without masking noise, can be heard at all.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.dsp.runs import find_runs
from chatter.dsp.spectra import peak_frequency_hz
from chatter.noise.spectrum import Span

Floats = NDArray[np.float64]
# ISO 1996-2:2007, C.2.2 and C.4: critical bands, range of the regression, widest tone, adjustment.
NARROW_BAND_HZ, WIDE_FROM_HZ, WIDE_SHARE = 100.0, 500.0, 0.20
LOWEST_CENTRE_HZ = 50.0
REGRESSION_SHARE = 0.75  # of the critical band, on either side of the tone
WIDEST_TONE_SHARE = 0.10  # of the critical band, 3 dB below the top: a wider hump is noise
FINEST_SHARE = 0.05  # of the critical band: the resolution has to be better
ADJUSTED_FROM_DB, MOST_ADJUSTMENT_DB = 4.0, 6.0
BOTTOM_HZ = 20.0
OVERLAP_LOSS = 0.55  # own choice: windows that overlap by two thirds count about as much less
SIGNIFICANT = 4.75  # standard deviations: one line in a million of noise; 60,000 lines are looked at
LEAST_RATIO = 2.0  # own choice: 3 dB over the median at least
TOP_RANGE = 0.1  # own choice: lines down to 10 dB below its top belong to a tone
LEAST_POWER = 1e-16  # own choice: of a line; what single precision leaves of a tone at full scale
LOBE_LINES = 2  # of a Hann window: F. J. Harris, Proc. IEEE 66 (1978)
SKIRT_LINES = 3  # own choice: a Hann window's main lobe and one line more
CLEARLY_MORE_DB = 0.5  # own choice: short spans scatter by that; less of a difference is no wandering tone
MOST_TONES = 40  # own choice: the strongest are looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundTone:
    """One tone; its audibility is that of the critical band in which it is the strongest, or its own."""

    frequency_hz: float
    level_db: float  # re full scale
    audibility_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundTones:
    """The tones of one spectrum, most audible first."""

    tones: tuple[FoundTone, ...]
    adjustment_db: float | None  # None where the sound is too short to tell


@dataclass(frozen=True, slots=True, kw_only=True)
class _Peak:
    """Tonal lines that belong together."""

    first: int
    last: int  # inclusive
    frequency_hz: float
    power: float


def critical_band_hz(centre_hz: float) -> float:
    """Give the width of the critical band at a frequency, Hz.

    Source: ISO 1996-2:2007, C.2.2: 100 Hz up to 500 Hz, 20 % above.
    """
    return NARROW_BAND_HZ if centre_hz <= WIDE_FROM_HZ else WIDE_SHARE * centre_hz


def audibility_db(tone_db: float, *, noise_db: float, centre_hz: float) -> float:
    """Give how far a tone stands above the level at which it can just be heard.

    Source: ISO 1996-2:2007, C.2.4.

    Parameters
    ----------
    tone_db, noise_db
        Level of the tones, and of the noise, in the critical band, dB.
    centre_hz
        Its centre, Hz.
    """
    return tone_db - noise_db + 2 + float(np.log10(1 + (centre_hz / 502) ** 2.5))


def adjust(audible_db: float) -> float:
    """Give the adjustment for tones: 0 dB up to 4 dB of audibility, 6 dB from 10.

    Source: ISO 1996-2:2007, C.2.4.
    """
    return float(np.clip(audible_db - ADJUSTED_FROM_DB, 0.0, MOST_ADJUSTMENT_DB))


def find_tones(span: Span, *, top_hz: float) -> FoundTones:
    """Find the tones of a spectrum and the adjustment for them.

    Parameters
    ----------
    span
        The mean spectrum.
    top_hz
        Highest frequency that the sound carries.

    Returns
    -------
    FoundTones
        The strongest critical band decides on the adjustment.
    """
    if span.resolution_hz > FINEST_SHARE * NARROW_BAND_HZ:
        return FoundTones(tones=(), adjustment_db=None)
    last = min(len(span.powers) - 1, int(top_hz / span.line_hz))
    powers = np.maximum(span.powers[: last + 1], LEAST_POWER).astype(np.float64)
    peaks, tonal = _peaks(powers, span)
    found: dict[int, float] = {}
    most = -np.inf
    for index, peak in enumerate(peaks):
        own_noise_db = _noise_db(powers, tonal, peak.frequency_hz, span.line_hz)
        own = audibility_db(
            _in_db(peak.power), noise_db=own_noise_db, centre_hz=max(peak.frequency_hz, LOWEST_CENTRE_HZ)
        )
        found[index] = max(found.get(index, -np.inf), own)
        together = _within(peaks, index)
        if len(together) > 1:
            middle = (peaks[together[0]].frequency_hz + peaks[together[-1]].frequency_hz) / 2
            total = _in_db(sum(peaks[each].power for each in together))
            noise_db = _noise_db(powers, tonal, middle, span.line_hz)
            both = audibility_db(total, noise_db=noise_db, centre_hz=max(middle, LOWEST_CENTRE_HZ))
            strongest = max(together, key=lambda each: peaks[each].power)
            found[strongest] = max(found.get(strongest, -np.inf), both)
        most = max(most, *found.values())
    tones = [
        FoundTone(
            frequency_hz=peaks[index].frequency_hz, level_db=_in_db(peaks[index].power), audibility_db=audible
        )
        for index, audible in found.items()
        if audible > 0  # below it cannot be heard
    ]
    return FoundTones(
        tones=tuple(sorted(tones, key=lambda tone: -tone.audibility_db)), adjustment_db=adjust(most)
    )


def find_wandering_tones(span: Span, *, weight: Floats, top_hz: float) -> FoundTones:
    """Find the tones of a stretch of sound, and those that wander through it too.

    The mean over a minute smears a tone whose frequency drifts, so the short spans inside are judged as well.
    Their adjustments are put together by energy, as those of minutes are; the larger result counts.
    Source: ISO 1996-2:2007, C.2.2 (shorter averages where a tone moves by more than a tenth of its critical
    band); ISO 1996-1:2016 (rating level).

    Parameters
    ----------
    span
        The mean spectrum, with its parts.
    weight
        Shape (f,): weight of each line's power in the energy, A-weighting.
    top_hz
        Highest frequency that the sound carries.

    Returns
    -------
    FoundTones
        With the tones of the part that counts most, where the parts say more than the whole.
    """
    whole = find_tones(span, top_hz=top_hz)
    if whole.adjustment_db is None or whole.adjustment_db >= MOST_ADJUSTMENT_DB or len(span.parts) < 2:
        return whole
    energy = rated = most = 0.0
    strongest = whole
    for part in span.parts:
        found = find_tones(part, top_hz=top_hz)
        own = part.energy(weight)
        counts = own * 10 ** ((found.adjustment_db or 0.0) / 10)
        energy += own
        rated += counts
        if found.tones and found.adjustment_db and counts > most:
            most, strongest = counts, found
    together_db = float(10 * np.log10(rated / energy)) if energy > 0 else 0.0
    if together_db <= whole.adjustment_db + CLEARLY_MORE_DB:
        return whole
    return FoundTones(tones=strongest.tones, adjustment_db=together_db)


def _in_db(power: float) -> float:
    return float(10 * np.log10(max(power, LEAST_POWER)))


def _within(peaks: list[_Peak], first: int) -> list[int]:
    """Give the peaks that one critical band can hold together with this one as its lowest."""
    low_hz = peaks[first].frequency_hz
    together = [first]
    for index in range(first + 1, len(peaks)):
        high_hz = peaks[index].frequency_hz
        if high_hz - low_hz > critical_band_hz(max((low_hz + high_hz) / 2, LOWEST_CENTRE_HZ)):
            break
        together.append(index)
    return together


def _peaks(powers: Floats, span: Span) -> tuple[list[_Peak], NDArray[np.bool_]]:
    """Find groups of lines that stand out, by rising frequency, and all lines that belong to them."""
    averages = max(1.0, OVERLAP_LOSS * span.windows)
    floor = _floor(powers, span.line_hz, averages)
    # Wilson and Hilferty, Proc. Natl. Acad. Sci. 17 (1931) 684: quantile of a mean of `averages` powers.
    ratio = (1 - 1 / (9 * averages) + SIGNIFICANT / (3 * np.sqrt(averages))) ** 3
    out = powers > floor * max(ratio, LEAST_RATIO)
    out[: max(1, round(BOTTOM_HZ / span.line_hz))] = False
    tonal = np.zeros(len(powers), dtype=np.bool_)
    # One missing line does not part a group.
    joined = out | (np.concatenate([[False], out[:-1]]) & np.concatenate([out[1:], [False]]))
    peaks = []
    spread = max(1.0, span.resolution_hz / (1.5 * span.line_hz))  # lines a short sound smears over
    skirt = round(SKIRT_LINES * spread)
    for first, end in find_runs(joined):
        top = first + int(np.argmax(powers[first:end]))
        wide = np.flatnonzero(powers[first:end] > powers[top] / 2)
        centre_hz = max(top * span.line_hz, LOWEST_CENTRE_HZ)
        if (wide[-1] - wide[0]) * span.line_hz > WIDEST_TONE_SHARE * critical_band_hz(centre_hz):
            continue
        tonal[max(0, first - skirt) : end + skirt] = True
        near = np.arange(max(0, first - skirt), min(len(powers), end + skirt))
        lobe = np.abs(near - top) <= LOBE_LINES * spread
        own = powers[near[lobe | (powers[near] > TOP_RANGE * powers[top])]]
        power = float(own.sum() - floor[top] * len(own))
        hz = float(peak_frequency_hz(powers, top, span.line_hz))
        peaks.append(
            _Peak(first=int(first), last=int(end) - 1, frequency_hz=hz, power=max(power, LEAST_POWER))
        )
    if len(peaks) > MOST_TONES:
        strength = sorted(peaks, key=lambda peak: -peak.power / floor[(peak.first + peak.last) // 2])
        peaks = sorted(strength[:MOST_TONES], key=lambda peak: peak.frequency_hz)
    return peaks, tonal


def _floor(powers: Floats, line_hz: float, averages: float) -> Floats:
    """Give the running median over a critical band, as a mean power."""
    top_hz = (len(powers) - 1) * line_hz
    wide_hz = WIDE_FROM_HZ * 1.05 ** np.arange(np.log(max(top_hz / WIDE_FROM_HZ, 1.0)) / np.log(1.05) + 1)
    grid_hz = np.concatenate([np.arange(LOWEST_CENTRE_HZ / 2, WIDE_FROM_HZ, 20.0), wide_hz])
    grid_hz = grid_hz[grid_hz <= top_hz]
    medians = []
    for hz in grid_hz:
        half = min(critical_band_hz(hz) / 2, hz)  # as far down as up, so that a slope does no harm
        low, high = round((hz - half) / line_hz), round((hz + half) / line_hz)
        medians.append(float(np.median(powers[max(1, low) : high + 1])))
    less = (1 - 1 / (9 * averages)) ** 3  # the median of a mean of powers; Wilson and Hilferty, as below
    lines_hz = np.arange(len(powers)) * line_hz
    return np.asarray(np.exp(np.interp(lines_hz, grid_hz, np.log(np.array(medians) / less))))


def _noise_db(powers: Floats, tonal: NDArray[np.bool_], tone_hz: float, line_hz: float) -> float:
    """Give the level of the noise in the critical band around a tone, dB.

    A straight line in dB over the logarithm of frequency, fitted to powers as a gamma regression with a
    logarithmic link (P. McCullagh and J. A. Nelder, Generalized Linear Models, 1989, 8.2).
    """
    centre_hz = max(tone_hz, LOWEST_CENTRE_HZ)
    band_hz = critical_band_hz(centre_hz)
    reach = REGRESSION_SHARE * band_hz
    lines = np.arange(len(powers))
    low, high = round((centre_hz - reach) / line_hz), round((centre_hz + reach) / line_hz)
    around = lines[max(1, low, round(BOTTOM_HZ / line_hz)) : high + 1]
    kept = around[~tonal[around]]
    if len(kept) < max(4, len(around) // 10):  # so many tones that their gaps are all there is
        kept = around[powers[around] <= np.quantile(powers[around], 0.1)]
    at = np.log(kept * line_hz / centre_hz)
    values = powers[kept]
    level, slope = float(np.log(values.mean())), 0.0
    spread = at - at.mean()
    for _ in range(5):
        fitted = np.exp(level + slope * at)
        excess = values / fitted - 1
        step = float(spread @ excess / max(float(spread @ spread), 1e-12))
        step = float(np.clip(step, -2.0, 2.0))
        slope = float(np.clip(slope + step, -10.0, 10.0))
        level = float(np.log(np.mean(values / np.exp(slope * at))))
    inside = np.arange(centre_hz - band_hz / 2, centre_hz + band_hz / 2, line_hz)
    return _in_db(float(np.exp(level + slope * np.log(np.maximum(inside, BOTTOM_HZ) / centre_hz)).sum()))
