"""A tool that comes and goes within a cut, as along trochoidal paths, and pecking.

In: a steady part and the spindle's phase. Out: how loud the teeth are from turn to turn, and when they cut.
Why: what swells and fades several times a second doesn't repeat from turn to turn, and side tones at its rate
lie beside every multiple of the spindle, as those of chatter do. So only the turns in which the teeth cut are
looked at, each at one loudness.
Source: common practice; thresholds are our own.
Leaves out: pauses of a second or more, which part cuts (chatter/cut/sections.py).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.dsp.angle import follow_gain
from chatter.dsp.runs import find_runs

Floats = NDArray[np.float64]
SMOOTH_S = 0.03  # average over turns
FRAME_S = 0.02
FADED = 0.5  # level of the quieter tenth over the louder tenth, above which nothing comes and goes
LEVEL_AWAY, TEETH_AWAY = (
    0.4,
    (-0.25, 0.2),
)  # of the louder turns: all sound, and the teeth, in the quieter tenth
ALIKE = 0.5  # correlation of the two: beats of chatter beside the comb move the teeth alone
CUTTING = 0.5  # of the louder turns' teeth, from which a turn is looked at
FEWEST_SPELLS, LEAST_TURNS = 2, 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ComesAndGoes:
    """When the teeth cut."""

    gain: Floats  # shape (whole turns,), of what repeats
    level: Floats  # shape (n,), the same at every sample
    cutting: NDArray[np.bool_]  # shape (n,)
    spell_s: float  # how long they usually cut


def find_spells(samples: Floats, phase: Floats, *, rate_hz: float, rotation_hz: float) -> ComesAndGoes | None:
    """Find when the teeth cut, where they come and go; None where they cut all the time.

    Parameters
    ----------
    samples, phase
        Shapes (n,): a steady part, and the spindle's phase along it, turns.
    rate_hz, rotation_hz
        Sample rate; mean rotation frequency.
    """
    size = max(1, round(max(FRAME_S, 2 / rotation_hz) * rate_hz))
    frames = samples[: len(samples) // size * size].reshape(-1, size)
    low, high = np.quantile(np.std(frames, axis=1), (0.1, 0.9)) if len(frames) else (1.0, 1.0)
    if low >= FADED * high:  # silence, too
        return None
    turns = max(3, round(SMOOTH_S * rotation_hz)) | 1
    gain, level = follow_gain(samples, phase, turns=turns)
    if not gain.size or np.quantile(level, 0.1) > LEVEL_AWAY:
        return None
    away = float(np.quantile(gain, 0.1))
    if not TEETH_AWAY[0] < away < TEETH_AWAY[1] or np.corrcoef(gain, level)[0, 1] < ALIKE:
        return None
    spells = [(a, b) for a, b in find_runs(gain > CUTTING) if b - a >= LEAST_TURNS]
    if len(spells) < FEWEST_SPELLS:
        return None
    cutting = np.zeros(len(gain), dtype=np.bool_)
    for first, end in spells:
        cutting[first:end] = True
    turn = np.floor(phase - np.ceil(phase[0])).astype(int)
    inside = (turn >= 0) & (turn < len(gain))
    at = np.clip(turn, 0, len(gain) - 1)
    return ComesAndGoes(
        gain=np.maximum(gain, 0.0),
        level=np.interp(phase - np.ceil(phase[0]), np.arange(len(gain)) + 0.5, gain),
        cutting=inside & cutting[at],
        spell_s=float(np.median([b - a for a, b in spells])) / rotation_hz,
    )
