"""Machines that would have done what was heard.

In: the cuts heard (lines, verdict, speed, depth), tapped modes, what is known of the cut. Out: a sample of
equally likely machines (natural frequencies, damping, stiffness over cutting pressure, depth over limit).
Method: shapes of machines are drawn from a prior (chatter/advice/shapes.py); the phase between one tooth's
wave and the next, known from chatter frequency and speed, says where on its lobes each shape stands, and so
its natural frequency. Each cut that sang places its share of the draws; taps and what the other cuts did
weigh them. The order of the cuts takes no part.
Source: Altintas and Budak 1995 (chatter/milling/stability.py); systematic resampling, common practice.
Leaves out: period doubling.
"""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from chatter.advice.shapes import ABSENT, KnownMode, Shapes, draw_shapes, respond
from chatter.milling import stability
from chatter.model.cut import CutSetup

Floats = NDArray[np.float64]

FIRST_DRAWS = 1200  # of places on the lobes, of all anchors, before their limits are worked out
MOST_ANCHORS = 5  # own choice: so many cuts a practitioner gives a setup; each costs some 0.1 s
DRAWS = 500
SEED = 1995
PHASE_SPREAD_TURNS = 0.08  # what zero order, run-out and a tool that leaves the cut do to the phase
CHATTER_DEPTHS = (1.1, 3.15)  # depth over limit of a cut that clearly chatters; own choice
LEAST_LIMIT_SHARE = 0.02
STABLE_DEPTHS = (0.1, 1.0)  # and of one that clearly doesn't
# Of ln(limit): what zero order gets wrong; 12 % at half immersion, twice it and more below.
LIMIT_SPREAD = 0.25
DOMINANT_SPREAD = 0.3  # of ln(limit): of several lobes a cut chatters on the lowest or near it
MOST_BASES = 8
FAINTEST_BASE_DB = -25.0  # own choice, re the strongest member
BASE_LEVEL_POWER = 2.0  # of a member's amplitude: how likely it is the one beside the mode (docs/advice.md)
RADIATION_POWER = 1.25  # own choice: large faces sound by velocity (1), small bodies by acceleration (2)
COLOUR_DB, ODD_COLOUR_DB, ODD_SHARE = 6.0, 18.0, 0.25  # spread of what work, room and phone do to one line
USUAL_HZ, USUAL_SPREAD = 1000.0, 0.9  # tool-point modes, ln: common practice for small mills
SURPRISE = 0.03  # own choice: share of cuts whose verdict no machine explains
# Of ln(chatter frequency) at another cut's speed: what zero order, the depth and another lobe do to it.
FREQUENCY_SPREAD = 0.08
ODD_FREQUENCY = 0.2  # own choice: share of cuts that sing on a lobe, or in a line, that no machine explains
HEARD_RANGE = math.log(8000 / 60)  # ln of the range in which a family is heard, advise.LOWEST_BASE_HZ on
_share_below = np.frompyfunc(NormalDist().cdf, 1, 1)  # scipy's takes longer to load than this to run


@dataclass(frozen=True, slots=True, kw_only=True)
class ChatterLine:
    """One measured line of the chatter's family: any of them may be its base frequency."""

    frequency_hz: float
    level_db: float  # re the strongest


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardCut:
    """One cut of the setup, as the advice sees it."""

    rpm: float  # true
    depth_share: float  # its depth over the present depth
    chatter_probability: float
    lines: tuple[ChatterLine, ...]  # strongest first; empty where no chatter was heard
    limit: tuple[float, float] | None = None  # limit over its depth and the spread, where a ramp told it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Machines:
    """Equally likely machines; the first axis of each array counts them."""

    trial_hz: Floats  # (machines, trials)
    phase_turns: Floats  # (2, machines, trials)
    depth_share: Floats  # (2, machines, trials): limit over the present depth; not above 0 means none
    natural_hz: Floats  # (machines,): of the mode nearest the chatter
    limit_share: Floats  # (machines,): limit at the present speed over the present depth


def draw_machines(
    cuts: tuple[HeardCut, ...], *, setup: CutSetup, known: tuple[KnownMode, ...] = ()
) -> Machines | None:
    """Draw machines that explain the cuts; the first cut is the present one.

    The same input gives the same machines. None where nothing heard says where the modes lie, or no drawn
    shape explains it.
    """
    singing = sorted((cut for cut in cuts if cut.lines), key=_rank)
    if not singing and not known:
        return None
    rng = np.random.default_rng(SEED)
    shapes = draw_shapes(rng, setup=setup, known=known)
    if singing:
        anchors = singing[:MOST_ANCHORS]
        count = FIRST_DRAWS // len(anchors)
        places = [
            _stand_on_lobes(shapes, rng=rng, cut=cut, flutes=setup.flutes, count=count) for cut in anchors
        ]
    else:
        anchors = [min(cuts, key=_rank_quiet)]
        places = [_stand_on_taps(shapes, rng=rng, cut=anchors[0], flutes=setup.flutes)]
    found = [(cut, drawn) for cut, drawn in zip(anchors, places, strict=True) if drawn is not None]
    if not found:
        return None
    shape, x_hz, near_hz, limit_times_kt, weight = (
        np.concatenate(part) for part in zip(*(drawn for _, drawn in found), strict=True)
    )
    sizes = [len(drawn[0]) for _, drawn in found]
    anchor = np.repeat(np.arange(len(found)), sizes)
    share = np.concatenate(
        [draw_limit_share(cut, count=size) for (cut, _), size in zip(found, sizes, strict=True)]
    )
    # Limit over the depth of the anchor, and over the present depth.
    per_depth = share * np.array([cut.depth_share for cut, _ in found])[anchor] / limit_times_kt
    edge = stability.Boundary(
        depth_times_kt=shapes.edge.depth_times_kt[:, shape] * per_depth[:, None],
        phase_turns=shapes.edge.phase_turns[:, shape],
    )
    trial_hz = shapes.trial[shape] * x_hz[:, None]
    limit_share, is_own = share, np.ones(len(shape), dtype=np.bool_)
    for cut in sorted(cuts, key=_rank):
        own = np.array([cut is one for one, _ in found])[anchor]
        if not own.all():
            limit, chatter_hz = stability.limit_at_speed(
                edge, frequency_hz=trial_hz, speed_rpm=cut.rpm, flutes=setup.flutes
            )
            fit = _fit(cut, limit_share=limit)
            if cut.lines:
                fit = fit * _fit_frequency(cut, chatter_hz=chatter_hz)
            # A draw placed by a cut takes it for chatter: as likely as that is.
            weight = weight * np.where(own, _believe(cut.chatter_probability), fit)
            if cut is cuts[0]:
                limit_share, is_own = np.where(own, share, limit), own
    if not weight.sum() > 0:
        return None
    pick = _resample(weight, rng=rng, count=DRAWS)
    error = np.exp(rng.normal(0, LIMIT_SPREAD, DRAWS))
    return Machines(
        trial_hz=trial_hz[pick],
        phase_turns=edge.phase_turns[:, pick],
        depth_share=edge.depth_times_kt[:, pick] * error[:, None],
        natural_hz=near_hz[pick],
        # Only the anchor's own limit is known without what zero order gets wrong from one speed to another.
        limit_share=limit_share[pick] * np.where(is_own[pick], 1.0, error),
    )


def _rank(cut: HeardCut) -> tuple[float, float, float, tuple[tuple[float, float], ...]]:
    """Order cuts by what was heard, never by when: the surest chatter first, then the shallowest."""
    lines = tuple((line.frequency_hz, line.level_db) for line in cut.lines)
    return -cut.chatter_probability, cut.depth_share, cut.rpm, lines


def _rank_quiet(cut: HeardCut) -> tuple[float, float, float]:
    """Order cuts of which none sang: the deepest tells most of the limit."""
    return -cut.depth_share, -cut.chatter_probability, cut.rpm


Drawn = tuple[NDArray[np.intp], Floats, Floats, Floats, Floats]


def _stand_on_lobes(
    shapes: Shapes, *, rng: np.random.Generator, cut: HeardCut, flutes: int, count: int
) -> Drawn | None:
    """Find where on its lobes each shape stands when it chatters as heard.

    Returns
    -------
    tuple or None
        Shape, frequency of its first x mode, frequency of the mode that rings, limit depth times tangential
        coefficient at the heard speed, weight; one entry a place.
    """
    places = [_find_places(shapes, rng=rng, base=line, rpm=cut.rpm, flutes=flutes) for line in _bases(cut)]
    shape, ratio, depth, weight, base_hz = (np.concatenate(part) for part in zip(*places, strict=True))
    x_hz = base_hz / ratio
    weight = weight * np.exp(-0.5 * (np.log(x_hz / USUAL_HZ) / USUAL_SPREAD) ** 2)
    weight = weight * _fit_levels(shapes, shape=shape, x_hz=x_hz, lines=cut.lines)
    known = shapes.known_hz[shape]
    off = np.log(x_hz / np.where(np.isfinite(known), known, x_hz)) / np.where(
        np.isfinite(known), shapes.known_spread[shape], 1.0
    )
    weight = weight * np.exp(-0.5 * off**2)
    if not weight.sum() > 0:
        return None
    pick = _resample(weight, rng=rng, count=count)
    shape, ratio, depth, x_hz = shape[pick], ratio[pick], depth[pick], x_hz[pick]
    limit = _limit_times_kt(shapes, shape=shape, x_hz=x_hz, rpm=cut.rpm, flutes=flutes)
    limit = np.minimum(limit, depth)
    weight = np.exp(-0.5 * (np.log(depth / limit) / DOMINANT_SPREAD) ** 2)
    there = shapes.stiffness[shape] < ABSENT
    apart = np.where(there, np.abs(np.log(shapes.hz[shape] / ratio[:, None])), np.inf)
    nearest = np.take_along_axis(shapes.hz[shape], apart.argmin(axis=1)[:, None], axis=1)[:, 0]
    return shape, x_hz, nearest * x_hz, limit, weight


def _bases(cut: HeardCut) -> list[ChatterLine]:
    """Give the lines that may be the one beside the mode."""
    return [line for line in cut.lines[:MOST_BASES] if line.level_db > FAINTEST_BASE_DB]


def _fit_levels(
    shapes: Shapes, *, shape: NDArray[np.intp], x_hz: Floats, lines: tuple[ChatterLine, ...]
) -> Floats:
    """Give the likelihood of the family's levels: what rings most readily is heard most.

    The cutting force holds every member of the family; the machine's response and an unknown colouring by
    the work, the room and the phone decide how loud each is heard.
    """
    heard_db = np.array([line.level_db for line in lines])
    predicted = []
    for line in lines:
        at = (line.frequency_hz / x_hz)[:, None]
        x_mode, y_mode = respond(
            at, hz=shapes.hz[shape], damping=shapes.damping[shape], stiffness=shapes.stiffness[shape]
        )
        swing = (
            np.sqrt(np.abs(x_mode[:, 0]) ** 2 + np.abs(y_mode[:, 0]) ** 2)
            * line.frequency_hz**RADIATION_POWER
        )
        predicted.append(20 * np.log10(swing))
    off = np.array(predicted) - heard_db[:, None]
    off -= np.median(off, axis=0)
    usual = np.exp(-0.5 * (off / COLOUR_DB) ** 2) / COLOUR_DB
    odd = np.exp(-0.5 * (off / ODD_COLOUR_DB) ** 2) / ODD_COLOUR_DB
    return np.asarray(np.prod((1 - ODD_SHARE) * usual + ODD_SHARE * odd, axis=0))


def _find_places(
    shapes: Shapes, *, rng: np.random.Generator, base: ChatterLine, rpm: float, flutes: int
) -> tuple[NDArray[np.intp], Floats, Floats, Floats, Floats]:
    """Give the places on the lobes that one base frequency allows: shape, ratio, depth, weight, base."""
    turns = base.frequency_hz / (rpm * flutes / 60)
    spread = rng.normal(0, PHASE_SPREAD_TURNS, (len(shapes.trial), 1))
    # One tooth's wave against the next: the depth is real only where the phases fit.
    regeneration = 1 - np.exp(-2j * math.pi * (turns + spread))
    depth = -4 * math.pi / flutes * shapes.eigenvalue / regeneration
    left, right = depth[..., :-1], depth[..., 1:]
    branch, shape, trial = np.nonzero(
        ((left.imag > 0) != (right.imag > 0)) & (left.real > 0) & (right.real > 0)
    )
    at = left.real[branch, shape, trial]
    ratio = shapes.trial[shape, trial]
    phase = np.angle(right[branch, shape, trial] / left[branch, shape, trial]) / -math.pi
    step = np.log(shapes.trial[shape, trial + 1] / ratio)
    slope = phase / np.maximum(step, 1e-9)  # turns per e-fold of frequency
    with np.errstate(divide="ignore"):
        # Density of natural frequencies for one heard frequency: flat over log, so 1 / (d ln fc / d ln fn)
        weight = np.clip(np.abs(1 - turns / slope), 0, 5)
    lowest = np.full(len(shapes.trial), np.inf)
    np.minimum.at(lowest, shape, at)
    weight = weight * np.exp(-0.5 * (np.log(at / lowest[shape]) / DOMINANT_SPREAD) ** 2)
    total = weight.sum()
    weight = weight * 10 ** (BASE_LEVEL_POWER * base.level_db / 20) / total if total > 0 else weight
    return shape, ratio, at, weight, np.full(shape.size, base.frequency_hz)


def _stand_on_taps(shapes: Shapes, *, rng: np.random.Generator, cut: HeardCut, flutes: int) -> Drawn | None:
    """Take the tapped frequencies as they are, where no cut chattered. Returns as `_stand_on_lobes`."""
    shape = np.flatnonzero(np.isfinite(shapes.known_hz))
    x_hz = shapes.known_hz[shape] * np.exp(rng.normal(0, shapes.known_spread[shape]))
    limit = _limit_times_kt(shapes, shape=shape, x_hz=x_hz, rpm=cut.rpm, flutes=flutes)
    known = np.isfinite(limit)
    if not known.any():
        return None
    shape, x_hz, limit = shape[known], x_hz[known], limit[known]
    return shape, x_hz, x_hz, limit, np.ones(len(shape))


def _limit_times_kt(
    shapes: Shapes, *, shape: NDArray[np.intp], x_hz: Floats, rpm: float, flutes: int
) -> Floats:
    """Give the limit depth times the tangential coefficient at a speed, of each shape as it stands."""
    edge = stability.Boundary(
        depth_times_kt=shapes.edge.depth_times_kt[:, shape], phase_turns=shapes.edge.phase_turns[:, shape]
    )
    limit, _ = stability.limit_at_speed(
        edge, frequency_hz=x_hz[:, None] * shapes.trial[shape], speed_rpm=rpm, flutes=flutes
    )
    return limit


def draw_limit_share(cut: HeardCut, *, count: int = DRAWS) -> Floats:
    """Draw the limit over the cut's depth from what its verdict says alone. Shape (count,).

    Held at its limit by the tool leaving the cut, chatter says nothing of how far the limit is; a prior does.
    """
    rng = np.random.default_rng(SEED + 1)
    if cut.limit is not None:
        middle, spread = cut.limit
        return np.maximum(rng.normal(middle, spread, count), LEAST_LIMIT_SHARE)
    chatters = rng.permutation((np.arange(count) + 0.5) / count < cut.chatter_probability)
    low = np.where(chatters, CHATTER_DEPTHS[0], STABLE_DEPTHS[0])
    high = np.where(chatters, CHATTER_DEPTHS[1], STABLE_DEPTHS[1])
    return np.asarray(1 / rng.uniform(low, high))


def _fit(cut: HeardCut, *, limit_share: Floats) -> Floats:
    """Give the likelihood of a cut's verdict, from the limit at its speed over the present depth."""
    over = np.log(cut.depth_share / np.clip(limit_share, 1e-12, 1e12)) / LIMIT_SPREAD
    chatters = np.asarray(_share_below(over), dtype=float)
    heard = cut.chatter_probability
    return np.asarray(_believe(heard * chatters + (1 - heard) * (1 - chatters)))


def _believe(chance: float | Floats) -> float | Floats:
    return SURPRISE + (1 - SURPRISE) * chance


def _fit_frequency(cut: HeardCut, *, chatter_hz: Floats) -> Floats:
    """Give the likelihood of what a cut sang, from where each machine sings at its speed; NaN: nowhere.

    As for an anchor, any member of the family may be its base, the louder the likelier. Some fit no machine,
    and lines of a cut that may not have chattered tell the less.
    """
    fits = (1 - ODD_FREQUENCY) * cut.chatter_probability
    lines = _bases(cut)
    base_hz = np.array([line.frequency_hz for line in lines])
    likely = 10 ** (BASE_LEVEL_POWER * np.array([line.level_db for line in lines]) / 20)
    off = np.log(base_hz[:, None] / chatter_hz) / FREQUENCY_SPREAD
    density = np.nan_to_num(np.exp(-0.5 * off**2)) / (FREQUENCY_SPREAD * math.sqrt(2 * math.pi))
    return np.asarray(fits * (likely / likely.sum()) @ density + (1 - fits) / HEARD_RANGE)


def _resample(weight: Floats, *, rng: np.random.Generator, count: int) -> NDArray[np.intp]:
    """Give indices of equally likely draws (systematic resampling)."""
    edges = np.cumsum(weight) / weight.sum()
    return np.minimum(np.searchsorted(edges, (np.arange(count) + rng.random()) / count), weight.size - 1)
