"""Find where the tool cuts.

In: one channel. Out: sections with their edges, and the spans that are surely idle.
Method: levels in third-octave-like bands every 10 ms give one score that tells the loud state from the quiet
one (two_states.py); two thresholds with hysteresis; pieces that are close are joined; a cut begins
where it leaves the quiet, and ends half-way down the step. What a recorder left out is neither.
Source: our own.
Leaves out: whether the loud state is a cut at all (the spindle stage looks for its comb).
"""

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.cut.two_states import LEAST_STEP_DB, tell_apart
from chatter.dsp.runs import find_runs
from chatter.dsp.spectra import frame_powers

Floats = NDArray[np.float64]
HOP_S = 0.010
WINDOW_S = 0.040
LOW = 0.1  # quantile over time of the levels that others are counted from
MUTED_DB = -125.0  # a band; sixteen bits of noise have some -110 dB
TOP_HZ = 12_000.0
JOIN_S = 0.3  # a corner: shorter pauses never part a cut
JOIN_SHORT_S = 1.0  # pauses up to this join two pieces that are both shorter than this
LEAST_S = 0.35  # shorter loud spells are bumps
BUMP_S = 0.25  # a spell shorter than this beside long ones is a bump
LEAST_SEPARATION = 2.5  # smallest distance of the two states, in pooled standard deviations
LOUD_SPELL_DB = 6.0  # own choice: over the idle, in the mean of the bands
SPELL_RISE_DB, SPELL_SHARE = 3.0, 0.3  # a further loud spell: least rise of the cuts, and its share of that
# Where a cut has begun: share of the step, and deviations of the quiet, that it stands above; longest way
# back from the middle of the step. Own choices.
BEGIN_SHARE, BEGIN_DEVIATIONS, ENTRY_S = 0.25, 3.0, 0.4
NEAR_FRAMES = 20  # before a cut, left out of the quiet; and the fewest whose spread says anything
BESIDE_S = 0.15  # left out beside a cut where softer ones are looked for
LEAST_BETWEEN_S = 1.0  # own choice: a pause in speech is shorter
LEAST_REST_S = 1.5  # what is shorter holds no cut with quiet before and after it
# Of what lies before a cut: unlikeness to what follows it, of that to the cut; dB over it. Own choices.
HEAD_ALIKE, HEAD_FAINTER_DB = 0.5, -2.0
SPELL_QUIET_S = 0.3  # quiet before and after it: a spindle that idles beside a cut has none; own choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One spell of cutting."""

    start_s: float
    end_s: float
    open_start: bool  # it began before the file did
    open_end: bool

    def holds(self, part: "Section") -> bool:
        """Say whether a part of it is meant."""
        return self.start_s <= (part.start_s + part.end_s) / 2 <= self.end_s

    def meets(self, other: "Section") -> bool:
        """Say whether they share some time."""
        return self.start_s < other.end_s and other.start_s < self.end_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Sections:
    """Where a recording cuts and where it idles."""

    cuts: tuple[Section, ...]
    idle: tuple[tuple[float, float], ...]  # spans, s, clear of every loud spell
    rise_db: float  # mean rise of the loud state over the quiet one
    spells: tuple[Section, ...] = ()  # loud too, but of another sound: a comb must tell whether they are cuts
    loud_spells: tuple[Section, ...] = ()  # those that are louder than a gain that comes up makes the idle


def band_levels_db(samples: NDArray[np.floating], *, rate_hz: float, top_hz: float) -> tuple[Floats, Floats]:
    """Give band levels along time.

    Returns
    -------
    times_s, levels_db
        Shapes (t,), (t, bands).
    """
    top = min(top_hz, 0.45 * rate_hz)
    times_s, hz, powers = frame_powers(
        samples.astype(np.float32), rate_hz=rate_hz, window_s=WINDOW_S, hop_s=HOP_S, top_hz=top
    )
    edges = 100.0 * 2 ** (np.arange(0, np.log2(max(top / 100.0, 2.0)), 1 / 3))
    at = np.unique(np.searchsorted(hz, edges))
    at = at[at < len(hz)]
    sums = np.add.reduceat(powers, at, axis=1)[:, :-1] if len(at) > 1 else powers.sum(1, keepdims=True)
    return times_s, 10 * np.log10(sums + 1e-14)


def find_sections(
    samples: NDArray[np.floating], *, rate_hz: float, bandwidth_hz: float, rotation_hz: float
) -> Sections:
    """Find the loud spells that may be cuts.

    Parameters
    ----------
    samples
        Shape (n,), one channel.
    rate_hz, bandwidth_hz
        Sample rate and highest frequency that the sound carries.
    rotation_hz
        Roughly the spindle's; the shortest cut holds four turns.

    Returns
    -------
    Sections
        No cuts when the recording has one state only.
    """
    duration_s = len(samples) / rate_hz
    if duration_s < 2 * LEAST_S:
        return Sections(cuts=(), idle=((0.0, duration_s),), rise_db=0.0)
    times_s, heard = band_levels_db(samples, rate_hz=rate_hz, top_hz=min(bandwidth_hz, TOP_HZ))
    muted = heard.max(axis=1) < MUTED_DB
    find = partial(
        _find_in,
        samples,
        times_s=times_s,
        rate_hz=rate_hz,
        bandwidth_hz=bandwidth_hz,
        rotation_hz=rotation_hz,
    )
    if muted.any() and not muted.all():
        sounding = np.flatnonzero(samples)
        first, last = int(sounding[0]), int(sounding[-1]) + 1
        if max(first, len(samples) - last) > WINDOW_S * rate_hz:
            inner = find_sections(
                samples[first:last], rate_hz=rate_hz, bandwidth_hz=bandwidth_hz, rotation_hz=rotation_hz
            )
            if inner.cuts:
                return _later(inner, first / rate_hz)
        filled = heard.copy()
        filled[muted] = np.quantile(heard[~muted], LOW, axis=0)
        found = find(filled, muted=muted)
        if found.cuts:
            return found
    return find(heard, muted=np.zeros(len(heard), dtype=bool))  # what is muted may be all the idle there is


def _later(sections: Sections, by_s: float) -> Sections:
    """Give the same sections at later times."""
    cuts, spells, loud_spells = (
        tuple(replace(one, start_s=one.start_s + by_s, end_s=one.end_s + by_s) for one in part)
        for part in (sections.cuts, sections.spells, sections.loud_spells)
    )
    idle = tuple((start_s + by_s, end_s + by_s) for start_s, end_s in sections.idle)
    return replace(sections, cuts=cuts, idle=idle, spells=spells, loud_spells=loud_spells)


def _find_in(
    samples: NDArray[np.floating],
    levels: Floats,
    *,
    times_s: Floats,
    muted: NDArray[np.bool_],
    rate_hz: float,
    bandwidth_hz: float,
    rotation_hz: float,
) -> Sections:
    """Find the loud spells in band levels.

    Parameters
    ----------
    samples
        Shape (n,), what the levels are of.
    levels, times_s
        Shapes (t, bands), (t,).
    muted
        Shape (t,): what the recorder left out is no idle.
    rate_hz, bandwidth_hz, rotation_hz
        As for `find_sections`.
    """
    duration_s = len(samples) / rate_hz
    smooth = max(5, round(1.5 / rotation_hz / HOP_S))
    levels = ndimage.uniform_filter1d(levels, smooth, axis=0, mode="nearest")
    excess = np.clip(levels - np.quantile(levels, LOW, axis=0), -3.0, 25.0)
    score, loud, separation = tell_apart(levels, excess, hop_s=HOP_S)
    if loud.sum() < 5 or (~loud).sum() < 5:
        return Sections(cuts=(), idle=((0.0, duration_s),), rise_db=0.0)
    low, high = float(np.median(score[~loud])), float(np.median(score[loud]))
    if high - low < LEAST_STEP_DB or separation < LEAST_SEPARATION:
        return Sections(cuts=(), idle=((0.0, duration_s),), rise_db=high - low)
    upper, lower = low + 0.5 * (high - low), low + 0.4 * (high - low)
    raw = find_runs(score > lower)
    raw = [(a, b) for a, b in raw if score[a:b].max() > upper]
    raw = _join(_without_bumps(raw))
    least = max(LEAST_S, 4 / rotation_hz) / HOP_S
    kept = [(a, b) for a, b in raw if b - a >= least]
    clear = ndimage.binary_dilation(score > lower, iterations=round(0.12 / HOP_S)) | muted
    idle = tuple(
        (float(times_s[a]), float(times_s[b - 1])) for a, b in find_runs(~clear) if b - a > 0.15 / HOP_S
    )
    level = ndimage.uniform_filter1d(score, 3, mode="nearest")
    cuts = []
    for a, b in kept:
        inside = float(np.median(score[a:b]))
        half = low + 0.5 * (inside - low)
        begin = _begin(level, a, b, low=low, inside=inside)
        open_start, open_end = begin * HOP_S < 0.06, b >= len(score) - round(0.06 / HOP_S)
        cuts.append(
            Section(
                start_s=0.0 if open_start else float(times_s[begin]),
                end_s=duration_s if open_end else float(times_s[_last_above(level, a, b, half)]),
                open_start=open_start,
                open_end=open_end,
            )
        )
    found = Sections(cuts=tuple(cuts), idle=idle, rise_db=high - low)
    if cuts and cuts[0].open_start and not cuts[0].open_end:
        found = _without_head(
            found,
            samples,
            levels,
            times_s,
            find=partial(find_sections, rate_hz=rate_hz, bandwidth_hz=bandwidth_hz, rotation_hz=rotation_hz),
            rate_hz=rate_hz,
        )
        kept[0] = (int(np.searchsorted(times_s, found.cuts[0].start_s)), kept[0][1])
    spells = _other_spells(excess.mean(axis=1), kept, least=least, times_s=times_s)
    loud_spells = tuple(
        one for one in spells if _rise_db(levels, times_s, one, idle=found.idle) >= LOUD_SPELL_DB
    )
    return replace(found, spells=spells, loud_spells=loud_spells)


def _without_head(
    found: Sections,
    samples: NDArray[np.floating],
    levels: Floats,
    times_s: Floats,
    *,
    find: Callable[..., Sections],
    rate_hz: float,
) -> Sections:
    """Leave out idling in front of a cut that seems to begin with the file: automatic gain makes it loud.

    The gain is up before the first cut and down after it, so that idling lies on two levels, and the first is
    nearer to the cut's. But its spectrum has the shape of what follows the cut, or it is even fainter.

    Parameters
    ----------
    found
        The first cut is open at its start, and ends.
    samples, levels, times_s
        Shapes (n,), (t, bands), (t,): what it was found in, and its smoothed band levels, dB.
    find
        Finds sections in samples.
    rate_hz
        Their sample rate.

    Returns
    -------
    Sections
        The same object where nothing speaks for idling.
    """
    cut = found.cuts[0]
    after = [span for span in found.idle if span[0] > cut.end_s][:1]
    if not after:
        return found
    inner = find(samples[: int(cut.end_s * rate_hz)]).cuts
    if len(inner) != 1 or inner[0].start_s < LEAST_S + BESIDE_S or not inner[0].open_end:
        return found
    start_s = inner[0].start_s
    head = (0.0, start_s - BESIDE_S)

    def usual(span: tuple[float, float]) -> Floats:
        return np.asarray(levels[(times_s >= span[0]) & (times_s <= span[1])].mean(axis=0))

    before, cutting, later = usual(head), usual((start_s, cut.end_s)), usual(after[0])
    alike = np.std(before - later) < HEAD_ALIKE * np.std(before - cutting)
    fainter = np.mean(before - later) < HEAD_FAINTER_DB
    if not (alike or fainter):
        return found
    first = replace(cut, start_s=start_s, open_start=False)
    return replace(found, cuts=(first, *found.cuts[1:]), idle=(head, *found.idle))


def _rise_db(
    levels: Floats, times_s: Floats, spell: Section, *, idle: tuple[tuple[float, float], ...]
) -> float:
    """Give how much louder a spell is than the idle spans, dB: mean of the bands, median over time."""
    level = levels.mean(axis=1)
    inside = (times_s >= spell.start_s) & (times_s <= spell.end_s)
    quiet = np.any([(times_s >= start_s) & (times_s <= end_s) for start_s, end_s in idle], axis=0) & ~inside
    return float(np.median(level[inside]) - np.median(level[quiet])) if np.any(quiet) else 0.0


def find_softer(
    samples: NDArray[np.floating],
    sections: Sections,
    *,
    rate_hz: float,
    bandwidth_hz: float,
    rotation_hz: float,
) -> Sections:
    """Look for further loud spells in what the cuts leave, each stretch by itself.

    Beside a cut that chatters loudly a soft one counts as quiet. Takes as `find_sections`, and the sections
    that it found; gives them with the further spells.
    """
    if not sections.cuts:
        return sections
    duration_s = len(samples) / rate_hz
    ends = [0.0, *(edge for one in sections.cuts for edge in (one.start_s - BESIDE_S, one.end_s + BESIDE_S))]
    spells = list(sections.spells)
    for start_s, end_s in zip(ends[::2], [*ends[1::2], duration_s], strict=True):
        if end_s - start_s < LEAST_REST_S:
            continue
        inside = find_sections(
            samples[int(start_s * rate_hz) : int(end_s * rate_hz)],
            rate_hz=rate_hz,
            bandwidth_hz=bandwidth_hz,
            rotation_hz=rotation_hz,
        )
        for one in inside.cuts:
            found = replace(one, start_s=start_s + one.start_s, end_s=start_s + one.end_s)
            known = any(spell.meets(found) for spell in spells)
            if not (known or one.open_start or one.open_end):
                spells.append(found)
    return replace(sections, spells=tuple(sorted(spells, key=lambda one: one.start_s)))


def turn_round(sections: Sections) -> Sections | None:
    """Take what lies between the loud spells for the cuts, and the spells for idle.

    Speech or music beside a cut may be louder than it. None where nothing long enough lies between them.
    """
    between = tuple(
        Section(start_s=before.end_s, end_s=after.start_s, open_start=False, open_end=False)
        for before, after in itertools.pairwise(sections.cuts)
        if after.start_s - before.end_s >= LEAST_BETWEEN_S
    )
    if not between:
        return None
    idle = tuple(
        (one.start_s + BESIDE_S, one.end_s - BESIDE_S)
        for one in sections.cuts
        if one.end_s - one.start_s > 3 * BESIDE_S
    )
    return Sections(cuts=between, idle=idle, rise_db=-sections.rise_db)


def _other_spells(
    level: Floats, kept: list[tuple[int, int]], *, least: float, times_s: Floats
) -> tuple[Section, ...]:
    """Find spells that are loud beside the cuts: a cut that chatters sounds unlike the one before it.

    `level` is the mean excess over the quiet of each frame.
    """
    beside = np.ones(len(level), dtype=bool)
    for a, b in kept:
        beside[a:b] = False
    if not kept or beside.sum() < 5:
        return ()
    quiet, loud = float(np.quantile(level[beside], 0.10)), float(np.median(level[~beside]))
    if loud - quiet < SPELL_RISE_DB:
        return ()
    high = level > quiet + SPELL_SHARE * (loud - quiet)
    gap = round(SPELL_QUIET_S / HOP_S)
    runs = [(a, b) for a, b in _join(_without_bumps(find_runs(high & beside))) if b - a >= least]
    return tuple(
        Section(start_s=float(times_s[a]), end_s=float(times_s[b - 1]), open_start=False, open_end=False)
        for a, b in runs
        if a >= gap
        and b + gap <= len(level)
        and not (high | ~beside)[a - gap : a].any()
        and not (high | ~beside)[b : b + gap].any()
    )


def _without_bumps(raw: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Drop short spells, unless another short one is near: a trochoidal path is a train of them."""
    short = [(b - a) * HOP_S < BUMP_S for a, b in raw]

    def near_short(index: int) -> bool:
        return any(
            0 <= other < len(raw)
            and short[other]
            and max(raw[other][0] - raw[index][1], raw[index][0] - raw[other][1]) * HOP_S < BUMP_S
            for other in (index - 1, index + 1)
        )

    return [piece for i, piece in enumerate(raw) if not short[i] or near_short(i)]


def _join(raw: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Join pieces that belong to one engagement."""
    joined: list[tuple[int, int]] = []
    last = 0  # length of the latest piece
    for a, b in raw:
        if joined:
            before = joined[-1]
            pause = (a - before[1]) * HOP_S
            short = max(last, b - a) * HOP_S < JOIN_SHORT_S
            if pause < JOIN_S or (pause < JOIN_SHORT_S and short):
                joined[-1] = (before[0], b)
                last = b - a
                continue
        joined.append((a, b))
        last = b - a
    return joined


def _begin(level: Floats, a: int, b: int, *, low: float, inside: float) -> int:
    """Give the frame at which a loud spell leaves the quiet.

    A slow entry is soft at first, and chatter that grows on it lifts the middle of the step: from there it
    goes back to where the level comes out of what it does while quiet.
    """
    half = low + 0.5 * (inside - low)
    above = np.flatnonzero(level[a:b] >= half)
    at = a + (int(above[0]) if len(above) else 0)
    before = level[: max(0, a - NEAR_FRAMES)]
    before = before[before < half]
    spread = (
        1.4826 * float(np.median(np.abs(before - np.median(before)))) if len(before) > NEAR_FRAMES else 0.0
    )
    out = min(half, low + max(BEGIN_SHARE * (inside - low), BEGIN_DEVIATIONS * spread))
    least = max(0, at - round(ENTRY_S / HOP_S))
    while at > least and level[at - 1] >= out:
        at -= 1
    return at


def _last_above(level: Floats, a: int, b: int, half: float) -> int:
    """Give the last frame of a loud spell at which half the step is passed."""
    above = np.flatnonzero(level[a:b] >= half)
    return a + int(above[-1]) if len(above) else b - 1
