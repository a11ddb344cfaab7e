"""The spell between two echoes: what rings there rings as if there were no room.

In: decays. Out: the longest beginning of them that modes and noise explain, with its fit.
Method: an echo starts the decay anew, so it spoils a fit from its arrival on, and not before; one that came
before the fit began only changes how loud the modes are. The part used is made longer until the fit leaves
more than noise.
Source: thresholds are our own, each on its line.
Leaves out: rooms whose echoes come thick from the start (room.py).
"""

from dataclasses import dataclass

from chatter.tap.decays import Decays
from chatter.tap.modes import Found, fit_decays
from chatter.tap.room import UNEXPLAINED

SHORTEST_S = 2.5e-3  # sound goes 0.9 m
LONGEST_S = 20e-3  # and 7 m: there is no shop without a wall so near
LONGER = 1.2  # from one length to the next
SPOILT = 2  # lengths in a row that leave more than noise: the echo is there
MOST_POLES = 5  # what needs more in so short a time is a crowd of echoes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spell:
    """A beginning of the decays without an echo."""

    found: Found
    length_s: float


def find_spell(decays: Decays) -> Spell | None:
    """Find the longest beginning of the decays that a few modes and noise explain.

    Parameters
    ----------
    decays
        Cut out from the moment on at which nothing touches the part.

    Returns
    -------
    Spell or None
        None where even the shortest holds echoes.
    """
    longest: Spell | None = None
    spoilt, length_s = 0, SHORTEST_S
    while length_s <= LONGEST_S and spoilt < SPOILT:
        found = fit_decays(decays, length_s=length_s, most=MOST_POLES)
        if _is_explained(found):
            longest, spoilt = Spell(found=found, length_s=length_s), 0
        elif len(found.fit.poles):  # without any, it is too short to tell
            spoilt += 1
        length_s *= LONGER
    return longest


def _is_explained(found: Found) -> bool:
    """Say whether modes leave no more than noise, what they have taken of it counted."""
    poles, (taps, bins) = len(found.fit.poles), found.spectra.values.shape
    left = 2 * taps * bins - 2 * poles * (1 + taps)  # a pole has two numbers, and two more in each tap
    return poles > 0 and left > 0 and found.fit.misfit < UNEXPLAINED * left
