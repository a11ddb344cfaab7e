"""The comb that stands out most near the dialled speed, and the chance that it is the spindle's.

In: two spectra of a section, of its lines and of the loudness of its bands. Out: the comb's base, how far it
stands out, and a chance.
Method: chatter pulls at the lines, so they count for little beside the loudness when the base is chosen. Any
machine, voice or tune has some comb that fits a speed within the window roughly; the spindle's stands out
more than combs of other speeds do, in loudness and in lines. Six marks say by how much; the speed and the
flute count, no evidence by themselves, say how many harmonics there are to hear.
Source: comb likelihood (chatter/dsp/comb.py); logistic regression, D. R. Cox, J. R. Stat. Soc. B 20 (1958)
215 to 242; weights in weights.py.
Leaves out: following the speed along the section (chatter/cut/spindle.py).
"""

import math
from dataclasses import dataclass, replace

from scipy.special import expit

from chatter.cut.weights import COMB_INTERCEPT, COMB_WEIGHTS
from chatter.dsp.comb import Layer, find_base, score_apart, score_at_fractions

LINES_BESIDE_LOUDNESS = 0.05  # weight; chosen on simulated cuts
FADE = 8.0  # orders over which those of the loudness lose weight; chosen on fitted simulated cuts
LEAST_MARK = 0.05  # scores below it are all alike
PULLED = 0.004  # share of the base by which chatter pulls at it through the lines; own choice
USUAL_HZ = 100.0  # rotation frequency from which others are counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Comb:
    """The comb that stands out most."""

    base_hz: float  # rotation frequency; of the loudness alone where that finds it by itself
    is_unpulled: bool  # whether it does, so that no line pulled at it
    score: float  # nepers above the median of all speeds tried
    z: float  # the same in robust standard deviations
    marks: dict[str, float]  # natural logs, see `find_comb`


def find_comb(lines: Layer, loudness: Layer, *, low_hz: float, high_hz: float, flutes: int) -> Comb:
    """Find the comb of a cutting spindle.

    Parameters
    ----------
    lines, loudness
        Spectrum of the sound, and of the loudness of its bands.
    low_hz, high_hz
        Rotation frequencies to try.
    flutes
        Teeth, whose harmonics count more than those between.

    Returns
    -------
    Comb
        Marks: `score` and `deviations` of the comb with loudness first; `line score` and `line deviations`
        of the best one when lines count fully; `apart`, the score over that of the best comb which shares
        few harmonics with it; `fractions`, the same over the best comb at a small fraction of it; `speed`
        over 6,000 rev/min; `flutes`.
    """
    loudness = replace(loudness, fade=FADE)
    layers = (replace(lines, scale=LINES_BESIDE_LOUDNESS), loudness)
    base_hz, score, z = find_base(layers, low_hz=low_hz, high_hz=high_hz, teeth=flutes)
    _, line_score, line_z = find_base((lines, loudness), low_hz=low_hz, high_hz=high_hz, teeth=flutes)
    apart = score_apart(layers, base_hz=base_hz, teeth=flutes)
    at_fractions = score_at_fractions(layers, base_hz=base_hz, teeth=flutes)
    marks = {
        "score": _log(score),
        "deviations": _log(z),
        "line score": _log(line_score),
        "line deviations": _log(line_z),
        "apart": _log(score) - _log(apart),
        "fractions": _log(score) - _log(at_fractions),
        "speed": math.log(base_hz / USUAL_HZ),
        "flutes": math.log(flutes),
    }
    unpulled_hz, _, _ = find_base((loudness,), low_hz=low_hz, high_hz=high_hz, teeth=flutes)
    is_unpulled = abs(unpulled_hz / base_hz - 1) < PULLED
    if is_unpulled:  # the lines helped to find it; now they would only pull
        base_hz = unpulled_hz
    return Comb(base_hz=base_hz, is_unpulled=is_unpulled, score=score, z=z, marks=marks)


def chance_of_spindle(comb: Comb) -> float:
    """Give the chance that a comb is the spindle's, where a cut is as likely as any other sound."""
    total = COMB_INTERCEPT + sum(COMB_WEIGHTS[name] * mark for name, mark in comb.marks.items())
    return float(expit(total))


def _log(score: float) -> float:
    return math.log(max(score, LEAST_MARK))
