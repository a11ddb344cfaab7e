"""Shapes of machines: what may ring, before a recording says more.

In: what the user told of the cut, tapped modes. Out: a sample of shapes whose first x mode has frequency and
stiffness 1, with their edge of chatter (zero order, chatter/milling/stability.py).
Source: ranges are common practice; the edge after Altintas and Budak, CIRP Annals 44/1, 1995.
Leaves out: where on its lobes a shape stands (chatter/advice/machines.py).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.milling import stability
from chatter.milling.materials import find_material
from chatter.model.cut import CutSetup, Line
from chatter.model.tap import Tap

Floats = NDArray[np.float64]

SHAPES = 600  # own choice: steadies the probabilities to about 0.02
DAMPING_RANGE = (0.01, 0.06)  # tool-point modes 0.01 to 0.05 are usual: common practice, from memory
FORCE_RATIO_RANGE = (0.1, 0.6)  # radial over tangential: 0.25 to 0.6 in published end-milling tables
NEAR_SHARE = 0.5  # own choice: half of all tools are much the same both ways
NEAR_SPREAD, FAR_SPREAD = 0.12, 0.6  # of ln(y over x frequency)
STIFFNESS_SPREAD = 0.45  # of ln(y over x stiffness)
SECOND_SHARE = 0.3  # own choice: so many axes have a second mode worth counting
SECOND_HZ, MOST_SECOND_STIFFNESS = (1.4, 2.5), 5.0  # over the first mode's
BELOW, ABOVE, POINTS = 0.15, 0.55, 110  # trial frequencies about each mode: reach in e-folds, number
BACKGROUND = 30  # trial frequencies between the modes
ABSENT = 1e9  # stiffness of a mode that is not there
TAP_MISMATCH = 0.15  # own choice: share of shapes that do not believe that the tapped modes ring
TAP_SPREAD = 0.01  # of a tapped frequency, tool clamped again and cutting instead of resting: own choice
POSSIBLE_DAMPING = (1e-3, 0.3)
HUMP_MISMATCH = 0.7  # own choice: most humps are the work's or the room's
HUMP_SPREAD = 0.04  # the cut moves a pole: 4 % in one computed slot case
HUMP_DAMPING_SPREAD = 0.7  # and its damping twofold in the same case


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownMode:
    """A mode that a tap or a hump tells of."""

    frequency_hz: float
    spread: float  # of ln(frequency)
    damping_ratio: float
    damping_spread: float  # of ln(damping ratio)
    damping_is_bound: bool  # True: the true ratio may be lower
    weight: float  # how likely this of several modes is the one along an axis
    believed: float  # share of shapes that take it to be one that matters


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shapes:
    """Machines with the first x mode at frequency and stiffness 1; s shapes, t trial frequencies."""

    hz: Floats  # (s, 4): two modes along x, two along y; over the first
    damping: Floats  # (s, 4)
    stiffness: Floats  # (s, 4); ABSENT where there is no such mode
    trial: Floats  # (s, t): frequencies over the first x mode's, rising
    edge: stability.Boundary  # (2, s, t)
    eigenvalue: NDArray[np.complex128]  # (2, s, t)
    known_hz: Floats  # (s,): the first x mode's frequency where it is known, else NaN
    known_spread: Floats  # (s,): of its logarithm


def known_modes(taps: tuple[Tap, ...], *, lines: tuple[Line, ...]) -> tuple[KnownMode, ...]:
    """Give what taps say of the modes, or what humps among the lines heard say where nothing was tapped.

    The order of the cuts from which the lines come takes no part.
    """
    loudest_first = sorted(lines, key=lambda line: (-line.level_db, line.frequency_hz))
    return modes_of_taps(taps) or modes_of_humps(tuple(loudest_first))


def modes_of_taps(taps: tuple[Tap, ...]) -> tuple[KnownMode, ...]:
    """Give what taps say of the modes."""
    return tuple(
        KnownMode(
            frequency_hz=mode.frequency_hz,
            spread=math.hypot((mode.frequency_sd_hz or 0.0) / mode.frequency_hz, TAP_SPREAD),
            damping_ratio=mode.damping_ratio,
            damping_spread=0.15
            if mode.damping_ratio_sd is None
            else mode.damping_ratio_sd / mode.damping_ratio,
            damping_is_bound=mode.damping_bound == "upper",
            weight=10 ** (mode.level_db / 20),
            believed=1 - TAP_MISMATCH,
        )
        for tap in taps
        for mode in tap.modes
    )


def modes_of_humps(lines: tuple[Line, ...]) -> tuple[KnownMode, ...]:
    """Give what humps heard in a cut say of the modes: poles of the machine with the cut acting on it."""
    return tuple(
        KnownMode(
            frequency_hz=line.frequency_hz,
            spread=HUMP_SPREAD,
            damping_ratio=line.width_hz / (2 * line.frequency_hz),
            damping_spread=HUMP_DAMPING_SPREAD,
            damping_is_bound=False,
            weight=1.0,
            believed=1 - HUMP_MISMATCH,
        )
        for line in lines
        if line.kind == "resonance" and line.width_hz is not None and line.frequency_hz > 0
    )


def draw_shapes(rng: np.random.Generator, *, setup: CutSetup, known: tuple[KnownMode, ...]) -> Shapes:
    """Draw equally likely shapes; `known` modes take the place of drawn ones in most of them."""

    def damping() -> Floats:
        return np.exp(rng.uniform(math.log(DAMPING_RANGE[0]), math.log(DAMPING_RANGE[1]), SHAPES))

    near = rng.random(SHAPES) < NEAR_SHARE
    y_hz = np.exp(rng.normal(0, 1, SHAPES) * np.where(near, NEAR_SPREAD, FAR_SPREAD))
    y_stiffness = np.exp(rng.normal(0, STIFFNESS_SPREAD, SHAPES))
    hz = np.ones((SHAPES, 4))
    hz[:, 2] = y_hz
    stiffness = np.ones((SHAPES, 4))
    stiffness[:, 2] = y_stiffness
    for second, first in ((1, 0), (3, 2)):
        there = rng.random(SHAPES) < SECOND_SHARE
        hz[:, second] = hz[:, first] * rng.uniform(*SECOND_HZ, SHAPES)
        ratio = np.exp(rng.uniform(0.0, math.log(MOST_SECOND_STIFFNESS), SHAPES))
        stiffness[:, second] = np.where(there, stiffness[:, first] * ratio, ABSENT)
    damped = np.stack([damping() for _ in range(4)], axis=1)
    known_hz, known_spread = np.full(SHAPES, np.nan), np.full(SHAPES, np.nan)
    if known:
        known_hz, known_spread = _believe(rng, known=known, hz=hz, damping=damped)
    entry, leave = _draw_arcs(rng, setup)
    factors = stability.directional_factors(
        entry, exit_rad=leave, radial_ratio=rng.uniform(*_force_ratio_range(setup), (SHAPES, 1))
    )
    trial = _trial_frequencies(hz, stiffness)
    x_mode, y_mode = respond(trial, hz=hz, damping=damped, stiffness=stiffness)
    eigenvalue = stability.find_eigenvalues(x_mode, y_m_per_n=y_mode, factors=factors)
    return Shapes(
        hz=hz,
        damping=damped,
        stiffness=stiffness,
        trial=trial,
        edge=stability.boundary_of(eigenvalue, flutes=setup.flutes),
        eigenvalue=eigenvalue,
        known_hz=known_hz,
        known_spread=known_spread,
    )


def _believe(
    rng: np.random.Generator,
    *,
    known: tuple[KnownMode, ...],
    hz: Floats,
    damping: Floats,
) -> tuple[Floats, Floats]:
    """Put known modes in the place of drawn ones, in some shapes.

    Along each axis one known mode is taken, the likelier the oftener: nobody says along which axis a mode
    swings. Changes the arrays; gives the frequency of the first x mode and its spread, NaN where it is not
    believed.
    """
    weight = np.array([mode.weight for mode in known])
    believed = np.array([mode.believed for mode in known])
    picks = [rng.choice(len(known), SHAPES, p=weight / weight.sum()) for _ in range(2)]
    believes = rng.random(SHAPES) < np.minimum(believed[picks[0]], believed[picks[1]])
    for axis, pick in zip((0, 2), picks, strict=True):
        for index, mode in enumerate(known):
            chosen = believes & (pick == index)
            drawn = mode.damping_ratio * np.exp(rng.normal(0, mode.damping_spread, SHAPES))
            if mode.damping_is_bound:  # the room may have rung longer than the mode
                drawn = rng.uniform(0.3, 1.0, SHAPES) * drawn
            damping[chosen, axis] = np.clip(drawn, *POSSIBLE_DAMPING)[chosen]
    frequency_hz = np.array([mode.frequency_hz for mode in known])
    spread = np.array([mode.spread for mode in known])
    off = np.exp(rng.normal(0, spread[picks[1]]))
    ratio = np.where(believes, frequency_hz[picks[1]] * off / frequency_hz[picks[0]], hz[:, 2])
    hz[:, 3] *= ratio / hz[:, 2]
    hz[:, 2] = ratio
    return np.where(believes, frequency_hz[picks[0]], np.nan), np.where(believes, spread[picks[0]], np.nan)


def _draw_arcs(rng: np.random.Generator, setup: CutSetup) -> tuple[Floats, Floats]:
    """Give the arcs of cut: the one told, or a spread of slots and side cuts."""
    if setup.width_mm is not None and setup.diameter_mm is not None:
        width = np.full((SHAPES, 1), min(1.0, setup.width_mm / setup.diameter_mm))
    else:
        width = np.where(rng.random((SHAPES, 1)) < 0.3, 1.0, rng.uniform(0.1, 1.0, (SHAPES, 1)))
    up = stability.immersion_angles_rad(width, direction="up")
    climb = stability.immersion_angles_rad(width, direction="climb")
    upward = rng.random((SHAPES, 1)) < {"up": 1.0, "climb": 0.0, None: 0.5}[setup.direction]
    return np.where(upward, up[0], climb[0]), np.where(upward, up[1], climb[1])


def _force_ratio_range(setup: CutSetup) -> tuple[float, float]:
    """Give the range of radial over tangential force: the material's where it is well known."""
    if setup.material is not None:
        known = find_material(setup.material).radial_ratio
        if known is not None and known.is_sure:
            return known.low, known.high
    return FORCE_RATIO_RANGE


def _trial_frequencies(hz: Floats, stiffness: Floats) -> Floats:
    """Give trial frequencies, close together beside each mode. Shape (s, t)."""
    place = np.linspace(-1, 1, POINTS)
    # Steps shrink toward the mode, to some 0.2 %: the finest mode drawn is 2 % wide.
    reach = np.where(place < 0, BELOW, ABOVE) * np.sinh(3 * place) / math.sinh(3)
    there = stiffness < ABSENT
    lowest = np.where(there, hz, np.inf).min(axis=1)
    highest = np.where(there, hz, 0.0).max(axis=1)
    about = np.where(there, hz, hz[:, :1])[:, :, None] * np.exp(reach)
    # A mode that isn't there repeats the points of the first; shifted a little, they refine it.
    about *= 1 + 1e-6 * np.arange(4)[None, :, None]
    share = np.linspace(0, 1, BACKGROUND)
    between = (0.8 * lowest[:, None]) * (2.0 * highest / lowest)[:, None] ** share
    return np.sort(np.concatenate([about.reshape(len(hz), -1), between], axis=1), axis=1)


def respond(
    trial: Floats, *, hz: Floats, damping: Floats, stiffness: Floats
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Give the receptances along x and y at trial frequencies. Shapes (s, t); the modes' are (s, 4)."""

    def along(first: int) -> NDArray[np.complex128]:
        one, two = (
            stability.receptance_m_per_n(
                trial,
                natural_hz=hz[:, mode, None],
                damping_ratio=damping[:, mode, None],
                stiffness_n_per_m=stiffness[:, mode, None],
            )
            for mode in (first, first + 1)
        )
        return one + two

    return along(0), along(2)
