"""Trim and part loud spells by the tooth-passing comb: a bump or a voice beside a cut has none.

In: one channel, its sections, a measured speed. Out: sections whose every part carries the comb.
Method: contrast of the tooth-passing harmonics against the middle between them, in short windows; where
it stays near its idle value for long enough, the tool is not in the work, unless the harmonics themselves
are as loud as where it is: loud chatter fills the middle between them.
Source: our own.
Leaves out: how another speed is heard (chatter/cut/other_speed.py); sections whose comb does not rise clearly
over the idle pass unchanged.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.cut.other_speed import spans_at_other_speed
from chatter.cut.sections import LEAST_S, Section, Sections
from chatter.dsp.spectra import frame_powers

Floats = NDArray[np.float64]
HOP_S = 0.02
WINDOW_S = 0.2
WINDOW_TEETH = 8  # in a window at least: in one with fewer, lines and what lies between them share bins
GAP_S = 0.3  # the comb must be away this long before a cut is parted
EDGE_S = 0.35  # the level places an edge better than the comb unless they differ by more
LEAST_CONTRAST = 0.5  # nepers between cutting and idle, below which the comb can't decide
LEAST_DEVIATIONS = 2.5  # the same, in standard deviations of the idle contrast
LEAST_QUIET = 5  # windows
TOP_HZ = 8000.0
# What makes a further loud spell a cut: share of the comb's rise in the cuts, and the rise itself, in nepers
# and in standard deviations of a mean. Own choices.
SPELL_SHARE, LEAST_RISE, RISE_DEVIATIONS = 0.4, 0.3, 5.0
IDLE_MARGIN_S = 0.15
RISE_SHARE = 0.45  # of the contrast's rise over idle, above which the comb is there
CLEAR_TIMES = 0.95  # quantile over time
STANDING = 1.0  # nepers over idle and gaps, of a line that tells whether teeth are there; own choice
STILL_THERE = 0.75  # of their rise over idle, in nepers, that three quarters of them must have; own choice
MOST_LINES = 0.25


@dataclass(frozen=True)
class CombTrack:
    """A comb along time.

    Attributes
    ----------
    times_s
        Shape (t,): window centres.
    lines, gaps
        Shape (t, k): log power at the comb's lines, and half-way between them.
    window_s
        Length of a window.
    """

    times_s: Floats
    lines: Floats
    gaps: Floats
    window_s: float

    @property
    def contrast(self) -> Floats:
        """Mean log ratio of lines to gaps, nepers. Shape (t,)."""
        return np.asarray((self.lines - self.gaps).mean(axis=1))


def follow_comb(
    samples: NDArray[np.floating], *, rate_hz: float, bandwidth_hz: float, tooth_hz: float
) -> CombTrack:
    """Follow the tooth-passing harmonics along time.

    Parameters
    ----------
    samples
        Shape (n,).
    rate_hz, bandwidth_hz
        Sample rate; highest frequency carried.
    tooth_hz
        Measured tooth-passing frequency.
    """
    size_s = float(max(WINDOW_S, WINDOW_TEETH / tooth_hz))
    top_hz = min(bandwidth_hz, 0.45 * rate_hz, TOP_HZ)
    orders = np.arange(1, min(20, max(1, int(top_hz / tooth_hz))) + 1)
    times_s, hz, powers = frame_powers(
        samples.astype(np.float32),
        rate_hz=rate_hz,
        window_s=size_s,
        hop_s=HOP_S,
        top_hz=float(orders[-1] + 1) * tooth_hz,
    )
    bin_hz = float(hz[1])
    on = np.clip(np.round(orders * tooth_hz / bin_hz).astype(int), 1, len(hz) - 2)
    off = np.clip(np.round((orders + 0.5) * tooth_hz / bin_hz).astype(int), 1, len(hz) - 2)
    line = np.log(powers[:, on - 1] + powers[:, on] + powers[:, on + 1] + 1e-16)
    gap = np.log(powers[:, off - 1] + powers[:, off] + powers[:, off + 1] + 1e-16)
    return CombTrack(times_s=times_s, lines=np.asarray(line), gaps=np.asarray(gap), window_s=size_s)


def trim_to_comb(
    samples: NDArray[np.floating],
    comb: CombTrack,
    *,
    rate_hz: float,
    bandwidth_hz: float,
    sections: Sections,
    tooth_hz: float,
    flutes: int,
) -> tuple[Section, ...]:
    """Keep the parts of each section that carry the comb, and leave out those that carry another speed's.

    Parameters
    ----------
    samples, comb
        Shape (n,), and its comb along time.
    rate_hz, bandwidth_hz
        Sample rate; highest frequency carried.
    sections
        Loud spells.
    tooth_hz, flutes
        Measured tooth-passing frequency, and teeth.

    Returns
    -------
    tuple of Section
        In time order.
    """
    times_s = comb.times_s
    contrast = ndimage.median_filter(comb.contrast, size=5, mode="nearest")
    quiet = within(times_s, sections.idle)
    if quiet.sum() < LEAST_QUIET:
        return sections.cuts
    low, least = _idle_contrast(contrast[quiet])
    kept: list[Section] = []
    for section in sections.cuts:
        inside = within(times_s, [(section.start_s, section.end_s)])
        high = float(np.quantile(contrast[inside], 0.7)) if inside.any() else low
        on = inside.copy()
        if high - low >= least:
            on &= _closed(contrast > low + RISE_SHARE * (high - low))
            if on.any():
                on |= _teeth_go_on(comb, on=on, off=inside & ~on, quiet=quiet)
        spans: tuple[tuple[float, float], ...] = ()
        if on.any() and _comes_and_goes(contrast[on], low=low, least=least):
            first, last = times_s[on][0], times_s[on][-1]
            spans = spans_at_other_speed(
                samples[int(first * rate_hz) : int(last * rate_hz)].astype(np.float64),
                rate_hz=rate_hz,
                top_hz=min(bandwidth_hz, 0.45 * rate_hz),
                rotation_hz=tooth_hz / flutes,
                flutes=flutes,
            )
            on &= ~within(times_s, [(first + start_s, first + end_s) for start_s, end_s in spans])
        if on.sum() == inside.sum():
            kept.append(section)
        else:  # nothing is left where no speed holds
            kept.extend(_parts(section, on, times_s) or ([] if spans else [section]))
    return tuple(kept)


def _closed(on: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Fill the short gaps. Shape (t,)."""
    filled = ndimage.binary_closing(np.pad(on, 20), iterations=round(GAP_S / HOP_S / 2))[20:-20]
    return np.asarray(filled, dtype=bool)


def _comes_and_goes(contrast: Floats, *, low: float, least: float) -> bool:
    """Say whether a section's comb stands clear for a while, and for a while does not."""
    high = float(np.quantile(contrast, CLEAR_TIMES))
    off = _closed(contrast < low + RISE_SHARE * (high - low))
    labels, count = ndimage.label(off)
    longest = max(np.bincount(labels)[1:]) if count else 0
    return bool(high - low >= least and longest * HOP_S >= LEAST_S)


def add_combed(sections: Sections, comb: CombTrack) -> Sections:
    """Take further loud spells for cuts where the comb rises in them as it does in the cuts.

    Gives the sections back unchanged where there is none.
    """
    if not sections.spells:
        return sections
    times_s, contrast = comb.times_s, comb.contrast
    cutting = within(times_s, [(one.start_s, one.end_s) for one in sections.cuts])
    spells = [within(times_s, [(one.start_s, one.end_s)]) for one in sections.spells]
    quiet = within(times_s, sections.idle) & ~np.any([cutting, *spells], axis=0)
    if quiet.sum() < LEAST_QUIET:
        return sections
    low = float(np.median(contrast[quiet]))
    least = max(LEAST_RISE, SPELL_SHARE * (float(np.median(contrast[cutting])) - low))
    added = [
        one
        for one, inside in zip(sections.spells, spells, strict=True)
        if float(np.median(contrast[inside])) - low >= least
        and _rise_deviations(contrast[inside], contrast[quiet], window_s=comb.window_s) >= RISE_DEVIATIONS
    ]
    if not added:
        return sections
    return replace(with_cuts(sections, added), spells=())


def with_cuts(sections: Sections, added: Sequence[Section]) -> Sections:
    """Give sections with further cuts, which are no idle then."""
    cuts = sorted((*sections.cuts, *added), key=lambda one: one.start_s)
    idle = tuple(part for span in sections.idle for part in _without(span, added))
    return replace(sections, cuts=tuple(cuts), idle=idle)


def _rise_deviations(inside: Floats, quiet: Floats, *, window_s: float) -> float:
    """Give how far one mean contrast lies above another, in standard deviations of the difference."""
    overlap = window_s / HOP_S  # windows that share sound count once
    variance = sum(float(part.var()) * overlap / max(len(part), overlap) for part in (inside, quiet))
    return float((inside.mean() - quiet.mean()) / np.sqrt(variance + 1e-12))


def _teeth_go_on(
    comb: CombTrack,
    *,
    on: NDArray[np.bool_],
    off: NDArray[np.bool_],
    quiet: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Say which spells without a contrast hold the comb's lines all the same, as loud as beside them.

    Loud chatter fills the gaps, and the teeth go on below it. A voice or a bump lacks most of their lines.

    Parameters
    ----------
    comb
        Along time.
    on, off, quiet
        Shape (t,): with a contrast, at least one; without it in the same section; idle.

    Returns
    -------
    NDArray
        Shape (t,).
    """
    line = comb.lines
    cutting, idle = np.median(line[on], axis=0), np.median(line[quiet], axis=0)
    telling = (cutting - idle > STANDING) & (np.median((line - comb.gaps)[on], axis=0) > STANDING)
    found = np.zeros(len(on), dtype=bool)
    if not telling.any():
        return found
    labels, count = ndimage.label(off)
    for label in range(1, count + 1):
        spell = labels == label
        share = ((np.median(line[spell], axis=0) - idle) / (cutting - idle))[telling]
        if spell.sum() * HOP_S >= LEAST_S and np.quantile(share, MOST_LINES) >= STILL_THERE:
            found |= spell
    return found


def within(times_s: Floats, spans: Iterable[tuple[float, float]]) -> NDArray[np.bool_]:
    """Say which times lie in any of the spans."""
    found = np.zeros(len(times_s), dtype=bool)
    for start_s, end_s in spans:
        found |= (times_s >= start_s) & (times_s <= end_s)
    return found


def _idle_contrast(contrast: Floats) -> tuple[float, float]:
    """Give the comb's contrast while idle, and how far above it the comb can decide."""
    low = float(np.median(contrast))
    spread = 1.4826 * float(np.median(np.abs(contrast - low)))
    return low, max(LEAST_CONTRAST, LEAST_DEVIATIONS * spread)


def _without(span: tuple[float, float], cuts: Sequence[Section]) -> list[tuple[float, float]]:
    """Give what cuts leave of an idle span."""
    left = [span]
    for cut in cuts:
        low, high = cut.start_s - IDLE_MARGIN_S, cut.end_s + IDLE_MARGIN_S
        left = [
            (a, b)
            for start, end in left
            for a, b in ((start, min(end, low)), (max(start, high), end))
            if b - a > IDLE_MARGIN_S
        ]
    return left


def _parts(section: Section, on: NDArray[np.bool_], times_s: Floats) -> list[Section]:
    """Cut one section into its runs with a comb; an edge moves only by more than a window."""
    labels, count = ndimage.label(on)
    parts: list[Section] = []
    for label in range(1, count + 1):
        where = np.flatnonzero(labels == label)
        start_s, end_s = float(times_s[where[0]]), float(times_s[where[-1]])
        near_start = start_s - section.start_s < EDGE_S
        near_end = section.end_s - end_s < EDGE_S
        part = replace(
            section,
            start_s=section.start_s if near_start else start_s,
            end_s=section.end_s if near_end else end_s,
            open_start=section.open_start and near_start,
            open_end=section.open_end and near_end,
        )
        if part.end_s - part.start_s >= LEAST_S:
            parts.append(part)
    return parts
