"""Blows that are no taps: a machine that runs, told apart from single blows and their decays.

In: the power of the sound hop by hop, and the blows of one group. Out: yes or no.
Method: a mallet that bounces hits a few times, and then the part dies away; teeth, rollers or a rattling
guard go on hitting, and the sound of a cut that begins with a jump stays. Blows that come as evenly as no
hand taps are those of a slow cutter or a clock.
Source: thresholds are our own, chosen on simulated cuts and taps; docs/tap.md says how often they hold.
A spindle that turns beside the taps stands as harmonics of one frequency in the quiet before them; hum and
motors on the mains do too, at frequencies that are known.
Leaves out: a machine that hums without blows where nobody taps (no onset is found in it).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MOST_BOUNCES = 5  # blows of one tap; own choice: a bouncing mallet made 4 at most in made taps
PEAK_S = 0.010
BEFORE_S = (0.3, 0.01)  # before the first blow
AFTER_S = (0.2, 0.7)  # after the last one: a part at 100 Hz with 2 % of damping has lost 20 dB by then
LEAST_S = 0.04  # of it, before the next blow
STAYS_DB = -12.0  # of what the blow added, left then; rooms and parts are at 20 dB or more
FADES_DB = 2.0  # from the first half of it to the second: what fades is a part that rings long
STANDS_DB = 6.0  # of the blow over what was before: less tells nothing about what stays

EVEN_TAPS = 6  # blows in a row; own choice
EVEN_SHARE = (
    0.02  # of their distance, by which each may be off: hands are off by 4 % (finger tapping, from memory)
)
MISSED = 2  # blows in a row that may not have been heard

MAINS_HZ = 25.0, 30.0, 50.0, 60.0, 100.0, 120.0  # hum, and motors of two and four poles
SLIP = 0.035  # by which a motor runs slower than the mains; and 0.5 % to the other side
LEAST_HARMONICS = 6  # of one frequency; own choice
LEAST_SHARE = 0.6  # of all lines
HIGHEST_ORDER = 30
SLOWEST_HZ = 30.0  # 1,800 rpm: the multiples of a lower one lie so close that any line is near one
NEAR_HZ, NEAR_SHARE = 0.5, 0.001  # of a line to a multiple


def find_turning(lines_hz: Floats) -> float | None:
    """Give the frequency whose harmonics stand in the quiet, in Hz; None where it is the mains', or none.

    Parameters
    ----------
    lines_hz
        Shape (n,): steady tones.
    """
    best_hz, most = 0.0, 0
    trials = {float(hz) / order for hz in lines_hz for order in (1, 2, 3, 4)}
    for hz in sorted((one for one in trials if one >= SLOWEST_HZ), reverse=True):
        order = np.round(lines_hz / hz)
        near = np.abs(lines_hz - order * hz) < NEAR_HZ + NEAR_SHARE * lines_hz
        held = len(set(order[near & (order >= 1) & (order <= HIGHEST_ORDER)].tolist()))
        if held > most:
            best_hz, most = hz, held
    if most < max(LEAST_HARMONICS, LEAST_SHARE * lines_hz.size):
        return None
    if any((1 - SLIP) * mains < best_hz < 1.005 * mains for mains in MAINS_HZ):
        return None
    return best_hz


def find_even(times_s: Sequence[float]) -> set[int]:
    """Give the blows that follow each other as evenly as only a machine strikes.

    Parameters
    ----------
    times_s
        When each blow came, rising.
    """
    gaps_s = np.diff(times_s)
    found: set[int] = set()
    for first in range(gaps_s.size - EVEN_TAPS + 2):
        part = gaps_s[first : first + EVEN_TAPS - 1]
        unit_s = float(np.median(part))
        times = np.round(part / unit_s)
        if np.all(
            (times >= 1) & (times <= MISSED + 1) & (np.abs(part - times * unit_s) < EVEN_SHARE * unit_s)
        ):
            found |= set(range(first, first + EVEN_TAPS))
    return found


def is_running(heard: Floats, *, blows: Sequence[int], until: int, hop_s: float, ran: bool = False) -> bool:
    """Say whether a group of blows sounds like something that runs.

    Parameters
    ----------
    heard
        Shape (n,), mean square of each hop.
    blows
        Hops of the group's blows, rising.
    until
        Hop of the next group's first blow, or n.
    hop_s
        Length of a hop, s.
    ran
        Whether the group before was running: then what hardly stands out of the sound belongs to it.
    """
    if len(blows) > MOST_BOUNCES:
        return True
    first, last = blows[0], blows[-1]
    before = heard[max(0, first - round(BEFORE_S[0] / hop_s)) : max(0, first - round(BEFORE_S[1] / hop_s))]
    if not before.size:
        return False
    base = float(np.median(before))
    peak = float(heard[first : first + round(PEAK_S / hop_s)].mean())
    if peak < base * 10 ** (STANDS_DB / 10):
        return ran
    after = heard[last + round(AFTER_S[0] / hop_s) : min(until - 2, last + round(AFTER_S[1] / hop_s))]
    if after.size < round(LEAST_S / hop_s):
        return False
    early, late = np.median(after[: after.size // 2]), np.median(after[after.size // 2 :])
    if late < early * 10 ** (-FADES_DB / 10):
        return False
    return float(np.median(after)) - base > (peak - base) * 10 ** (STAYS_DB / 10)
