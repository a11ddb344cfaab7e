"""Lines that sound without cutting, too, however much louder the load makes them: gears, belts, motors, fans.

In: lines of a cut off the comb, the spectra of the cut and of the idle parts. Out: which lines idling has.
Method: what turns with the spindle keeps its ratio to it, so its lines all move by one factor where the load
slows it. A line that stands out in the usual idle moment (chatter may ring on after a cut), there or moved
by the factor that brings the most of them together, is none of the cut's own. The chatter of a light cut
among the idle parts would look the same, but it lies at few fractions of a turn, and fades with the teeth.
Source: common practice (gear mesh and belts get louder under load); thresholds are our own.
Leaves out: noise that is about as loud while idling (chatter/cut/evidence.py).
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc

from chatter.cut.spectrum import COMB_FROM_HZ, CutSpectra
from chatter.dsp.spectra import TINY, find_tops, line_ring, peak_frequency_hz

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
STANDS_OUT = 6.0  # times the power around it: 8 dB, as a line of the cut does
THERE, MOVED = 0.25, 0.5  # of a line's width: how near it lies to itself while idling
SPACED = 0.15  # of a line's width: nearer fractions of a turn are one
SLOWER = (-0.003, 0.035)  # by so much the load may slow a drive
WIDEST = 0.06  # own choice: share within which pairs are looked at; wider than any factor
FEWEST = 3  # lines, or fractions of a turn, that tell a drive
FEWEST_OF_COMB = 5  # lines that tell a comb
BY_CHANCE = 0.05  # expected number of factors that bring as many lines together
CLEAR_TEETH = 10.0  # times what doesn't repeat there
LESS_THAN_TEETH = 4.0  # 6 dB: by so much less than the teeth a line alone must fade
LIKE_TEETH, MOST_LIKE_TEETH = 1.0, 0.5  # nepers; many lines that fade as most teeth do are a light cut's
MOST_LOUDER = 1e-3  # of a line's power in the cut: what is 30 dB fainter while idling is another
NEAR_COMB = 0.1  # of a turn's frequency: so near the comb a line is the spindle's, at most


def find_idling_lines(
    lines_hz: Floats, powers: Floats, spectra: CutSpectra, *, rotation_hz: float, flutes: int
) -> Bools:
    """Say which lines sound while idling, too.

    Parameters
    ----------
    lines_hz, powers
        Shapes (n,), lines of the cut off the comb; mean squares.
    spectra
        Of the cut.
    rotation_hz, flutes
        Its comb.

    Returns
    -------
    NDArray
        Shape (n,); none without idle sound.
    """
    found = np.zeros(len(lines_hz), dtype=bool)
    if spectra.idle_usual is None or not len(lines_hz):
        return found
    width_hz = spectra.line_width_hz
    idle_hz, idle_powers = _idle_lines(spectra, spectra.idle_usual, rotation_hz=rotation_hz)
    left = idle_powers / np.maximum(powers[:, None], TINY)  # shape (lines, idle lines)
    teeth_left = _teeth_left(spectra, spectra.idle_usual, tooth_hz=rotation_hz * flutes)
    factors = 1 + np.arange(*SLOWER, MOVED * width_hz / float(lines_hz.max()))
    line, other = np.nonzero((left > MOST_LOUDER) & (np.abs(idle_hz / lines_hz[:, None] - 1) < WIDEST))
    near_by = np.abs(idle_hz[other] / factors[:, None] - lines_hz[line]) < MOVED * width_hz
    count = np.array([len(np.unique(line[one])) for one in near_by])
    at = near_by[int(np.argmax(count))]
    best = np.zeros(left.shape, dtype=bool)
    best[line[at], other[at]] = True
    there = (np.abs(idle_hz - lines_hz[:, None]) < THERE * width_hz) & (left > MOST_LOUDER)
    for same, near, tried in ((there, THERE, 1), (best, MOVED, len(factors))):
        together = same.any(axis=1)
        hit = 2 * near * width_hz * len(idle_hz) / float(np.ptp(spectra.hz))
        chance = tried * _chance_of(int(together.sum()), among=len(lines_hz), hit=hit)
        told = together.sum() >= FEWEST and chance < BY_CHANCE
        fractions = _count_fractions(lines_hz[together] / rotation_hz, SPACED * width_hz / rotation_hz)
        usual = np.median(np.where(same, left, 0.0).max(axis=1)[together]) if told else 1.0
        with_teeth = np.mean(np.abs(np.log(teeth_left / usual)) < LIKE_TEETH)
        if told and fractions >= FEWEST and with_teeth < MOST_LIKE_TEETH:
            found |= together
        elif told or tried == 1:
            found |= np.any(same & (left > LESS_THAN_TEETH * np.median(teeth_left)), axis=1)
    return found


def _idle_lines(spectra: CutSpectra, idle: Floats, *, rotation_hz: float) -> tuple[Floats, Floats]:
    """Give frequencies and powers of the idle parts' lines; none of a comb near the spindle's."""
    ring = line_ring(idle, bin_hz=spectra.bin_hz, width_hz=spectra.line_width_hz)
    tops = find_tops(idle)
    tops = tops[(idle[tops] > STANDS_OUT * ring[tops]) & (spectra.hz[tops] > COMB_FROM_HZ)]
    hz = np.array([peak_frequency_hz(idle, int(at), spectra.bin_hz) for at in tops])
    bases_hz = rotation_hz * (1 + np.arange(*SLOWER, 0.2 * abs(SLOWER[0])))[:, None]
    near_hz = min(MOVED * spectra.line_width_hz, NEAR_COMB * rotation_hz)
    on = np.abs(hz - np.round(hz / bases_hz) * bases_hz) < near_hz
    comb_of = on[int(np.argmax(on.sum(axis=1)))]
    chance = _chance_of(int(comb_of.sum()), among=len(hz), hit=2 * near_hz / rotation_hz)
    if comb_of.sum() >= FEWEST_OF_COMB and len(bases_hz) * chance < BY_CHANCE:
        hz, tops = hz[~comb_of], tops[~comb_of]
    return hz, idle[tops]


def _teeth_left(spectra: CutSpectra, idle: Floats, *, tooth_hz: float) -> Floats:
    """Give how much of each clear tooth harmonic's power is left while idling; all of one with too few."""
    at = np.round(np.arange(tooth_hz, spectra.hz[-2], tooth_hz) / spectra.bin_hz).astype(int)
    at = at[spectra.hz[at] > COMB_FROM_HZ]
    cutting, idling, rest = (
        np.maximum(np.maximum(power[at - 1], power[at]), power[at + 1])
        for power in (spectra.whole, idle, spectra.rest)
    )
    clear = cutting > CLEAR_TEETH * np.maximum(rest, TINY)
    if clear.sum() < FEWEST:
        return np.ones(1)
    return np.asarray(np.maximum(idling[clear], TINY) / cutting[clear])


def _chance_of(count: int, *, among: int, hit: float) -> float:
    """Give the chance of so many hits or more: the upper tail of a binomial."""
    return float(bdtrc(count - 1, among, min(1.0, hit)))


def _count_fractions(turns: Floats, nearest: float) -> int:
    """Count the fractions of a turn at which lines lie, either side of the comb alike."""
    away = np.sort(np.abs(turns - np.round(turns)))
    return int(np.sum(np.diff(away) > nearest)) + 1 if len(away) else 0
