"""Where a tone comes from.

In: a tone's frequency, the spindle's, the flutes, lines that the cut pipeline named. Out: a source.
Source: f_rot = n / 60, f_tooth = flutes * n / 60 (kinematics of milling); chatter also sounds at
|m f_c + k f_tooth|, m = 1 and 2, since the cut switches it on and off with every tooth, and bends it.
Leaves out: finding the speed (cut/).
"""

from collections.abc import Sequence

from chatter.model import Line, LineKind
from chatter.model.noise import ToneSource

NEAR_HZ = 1.5  # own choice: two lines of the spectrum that tones are found in
NEAR_SHARE = 0.002  # own choice: what a speed that was heard moves by during a cut
DIALLED_SHARE = 0.03  # open-loop spindles slip by up to 3 %
SUM_SHARE = 0.01  # own choice: of tooth passing; four sums lie in each of its spacings, and may not fill it
CHATTER_MULTIPLES = (1, 2)
PARTED = 0.25  # own choice: of the spacing; wider errors could be the next order
OF_KIND: dict[LineKind, ToneSource] = {
    "tooth passing": "tooth passing",
    "spindle harmonic": "spindle",
    "chatter": "chatter",
    "chatter sideband": "chatter",
}


def name_tone(
    frequency_hz: float, *, rotation_hz: float, measured: bool, flutes: int, lines: Sequence[Line] = ()
) -> ToneSource | None:
    """Say where a tone comes from.

    Parameters
    ----------
    frequency_hz
        Of the tone, Hz.
    rotation_hz
        Turns of the spindle, 1/s.
    measured
        Whether it was heard in the recording; else it is as dialled, and slips.
    flutes
        Cutting edges.
    lines
        Lines of the cut with their kinds.

    Returns
    -------
    str or None
        "other" where it fits neither; None where the speed is too vague to tell.
    """
    near_hz = max(NEAR_HZ, NEAR_SHARE * frequency_hz)
    sharp = [line for line in lines if line.width_hz is None]
    near = [line for line in sharp if line.kind in OF_KIND]
    if near:
        line = min(near, key=lambda each: abs(each.frequency_hz - frequency_hz))
        if abs(line.frequency_hz - frequency_hz) <= near_hz:
            return OF_KIND[line.kind]
    error_hz = max(NEAR_HZ, (NEAR_SHARE if measured else DIALLED_SHARE) * frequency_hz)
    order = round(frequency_hz / rotation_hz)
    if order > 0:
        if error_hz > PARTED * rotation_hz:
            return None
        if abs(order * rotation_hz - frequency_hz) <= error_hz:
            return "tooth passing" if order % flutes == 0 else "spindle"
    is_idle = any(
        line.kind == "background" and abs(line.frequency_hz - frequency_hz) <= near_hz for line in sharp
    )
    chatter_hz = [line.frequency_hz for line in sharp if line.kind == "chatter"]
    if not is_idle and _is_sum(frequency_hz, chatter_hz=chatter_hz, tooth_hz=flutes * rotation_hz):
        return "chatter"
    return "other"


def _is_sum(frequency_hz: float, *, chatter_hz: Sequence[float], tooth_hz: float) -> bool:
    """Say whether a tone is a chatter's, once or twice, with multiples of tooth passing added or taken."""
    near_hz = max(NEAR_HZ, min(NEAR_SHARE * frequency_hz, SUM_SHARE * tooth_hz))
    for base_hz in chatter_hz:
        for multiple in CHATTER_MULTIPLES:
            for sign in (-1, 1):
                away_hz = (frequency_hz - sign * multiple * base_hz) / tooth_hz
                if abs(away_hz - round(away_hz)) * tooth_hz <= near_hz:
                    return True
    return False
