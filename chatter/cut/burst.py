"""Chatter that sounds for a moment only: in a corner, at the end of a pass, where the tool takes more.

In: the channel, the cuts of a section that don't chatter as a whole, the idle parts. Out: the cuts; the one
with a moment that chatters is studied in that moment.
Method: short windows all along; a place off the comb is new where it is far louder than in the usual moment
of the cut, and than what idling holds near it. The lines of what is new most must lie whole turns apart far
better than chance has them, which those of voices, beeps and dropped tools don't; and not be multiples of
one frequency, as those of a spindle are that turns faster or slower for a moment.
Source: common practice; families of lines as in chatter/cut/evidence.py; thresholds are our own.
Leaves out: chatter of a lone line, or slow spindles' short ones, whose lines chance explains; what sounds for
seconds (chatter/cut/long_cut.py); ramped passes, whose deep end decides.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.cut.air_pass import IdleSound
from chatter.cut.evidence import CAP_NEPERS, Peak, weigh
from chatter.cut.idle import nearest_spans
from chatter.cut.sections import Section
from chatter.cut.spectrum import COMB_FROM_HZ, spectra_between
from chatter.cut.study import EDGE_S, StudiedCut, study_part
from chatter.cut.verdict import CHATTER_ABOVE
from chatter.dsp.runs import find_runs
from chatter.dsp.spectra import TINY, frames_between
from chatter.model import CutSetup, Recording

Floats = NDArray[np.float64]
OTHER_SPEEDS, OTHER_STEP, SAME_SPEED = (0.5, 1.5), 5e-4, 0.02  # of the cut's own speed
# Own choices: of a line's width, by which a line may lie off a comb; share of the lines on it, beyond chance.
ON_COMB, ALL_ON_COMB = 0.25, 0.85
Spans = tuple[tuple[float, float], ...]
MOST_SHORT = 0.9  # own choice: chance of chatter by a moment, at most; in a cut above it none is asked for
AROUND_S = 1.0  # on each side of a moment, from which what repeats is taken
WEIGHED_S, WEIGHED_TURNS = 0.1, 24.0  # of a moment that is weighed, at least
MOST_OUTSIDE_S = 1.0  # of a moment outside of what was taken for a cut: longer ones are told as not judged
LEAST_LINES, MOST_BY_CHANCE = 4, 0.05  # own choices: of its family; families as large that chance makes
WINDOW_TURNS, LEAST_WINDOW_S, MOST_WINDOW_S = 8.0, 0.06, 0.4  # of a window, so that it parts the comb's lines
HOPS = 4  # to a window
FEWEST_WINDOWS = 6  # of a cut: in a shorter one nothing is short
# On each side of the comb: of a window's line, and at most of a turn's frequency.
GUARD_LINES, MOST_GUARD = 2.4, 0.3
SPREAD_BINS = 3  # within which a hump's loudest place moves
NEW_TIMES = 10.0  # a bin's power over its usual one
OVER_IDLE, NEAR_IDLE = 2.0, 1.25  # a bin's power over the loudest of idling within a quarter of its frequency
NEW_SHARE, LEAST_SHARE = 0.2, 0.07  # of a window's power that is new: of one in a run, and of each
LEAST_S, LEAST_TURNS = 0.08, 16.0  # of what is new: shorter ones are knocks
CHUNK_S = 10.0  # what is usual is asked piece by piece, so that a long cut takes no more memory
IDLE_STEPS = 120  # places of the idle spectrum, evenly spaced in logarithm


def hear_burst(
    samples: Floats,
    section: Section,
    *,
    cuts: tuple[StudiedCut, ...],
    idle: Spans,
    recording: Recording,
    setup: CutSetup,
    idle_recording: IdleSound | None,
    idling_hz: float | None,
) -> tuple[StudiedCut, ...]:
    """Look for a moment that chatters, where no cut of a section surely does as a whole.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    section
        Where it is loud. A short chatter may hide the teeth, so that no cut was found in that place.
    cuts
        What was studied in that section.
    idle, recording, setup, idle_recording, idling_hz
        As for `study_section`.

    Returns
    -------
    tuple
        The cuts; where a moment chatters, the one that it lies in is studied there. Where it lies in none,
        the section is one cut. A moment that is unlike the rest of its cut, and not surely chatter, is kept
        with that cut.
    """
    if (
        not cuts
        or setup.is_ramp
        or any(cut.spectra.comes_and_goes for cut in cuts)
        or max(cut.chance for cut in cuts) > MOST_SHORT
    ):
        return cuts
    longest = max(cuts, key=lambda cut: cut.steady_end_s - cut.steady_start_s)
    edge_s = min(EDGE_S, 0.1 * (section.end_s - section.start_s))
    first_s, last_s = section.start_s + edge_s, section.end_s - edge_s
    burst = find_burst(
        samples,
        (first_s, last_s),
        idle=idle,
        rate_hz=recording.rate_hz,
        rotation_hz=longest.speed.rotation_hz,
        top_hz=float(longest.spectra.hz[-1]),
    )
    if burst is None:
        return cuts
    around = next(
        (cut for cut in cuts if cut.steady_start_s <= burst[0] < burst[1] <= cut.steady_end_s), None
    )
    if around is None:
        around = study_part(
            samples,
            max(first_s, burst[0] - AROUND_S),
            min(last_s, burst[1] + AROUND_S),
            section=section,
            idle=idle,
            recording=recording,
            setup=setup,
            idle_recording=idle_recording,
            idling_hz=idling_hz,
        )
    if around is None or around.spectra.comes_and_goes:
        return cuts
    short = _study_moment(
        samples,
        around,
        burst,
        idle=tuple(nearest_spans(idle, section)),
        rate_hz=recording.rate_hz,
        setup=setup,
    )
    sure = _is_surely_chatter(short, flutes=setup.flutes)
    if not sure and max(cut.chance for cut in cuts) > CHATTER_ABOVE:
        return cuts
    long = burst[1] - burst[0] > MOST_OUTSIDE_S
    for place, cut in enumerate(cuts):
        if cut.section.start_s <= short.steady_start_s < short.steady_end_s <= cut.section.end_s:
            told = replace(short, section=cut.section) if sure else replace(cut, unlike_s=burst)
            return (*cuts[:place], told, *cuts[place + 1 :])
    return (replace(short, section=section),) if sure and not long else cuts


def _study_moment(
    samples: Floats,
    around: StudiedCut,
    moment_s: tuple[float, float],
    *,
    idle: Spans,
    rate_hz: float,
    setup: CutSetup,
) -> StudiedCut:
    """Weigh a moment of a studied part."""
    rotation_hz = around.speed.rotation_hz
    length_s = max(moment_s[1] - moment_s[0], WEIGHED_S, WEIGHED_TURNS / rotation_hz)
    start_s = max(around.steady_start_s, (moment_s[0] + moment_s[1] - length_s) / 2)
    end_s = min(around.steady_end_s, start_s + length_s)
    spectra = spectra_between(
        around.spectra,
        samples[int(around.steady_start_s * rate_hz) : int(around.steady_end_s * rate_hz)],
        start_s=start_s - around.steady_start_s,
        end_s=end_s - around.steady_start_s,
        idle_parts=tuple(samples[int(a * rate_hz) : int(b * rate_hz)] for a, b in idle),
    )
    return replace(
        around,
        spectra=spectra,
        evidence=weigh(spectra, rotation_hz=rotation_hz, flutes=setup.flutes),
        steady_start_s=start_s,
        steady_end_s=end_s,
        is_short=True,
    )


def _is_surely_chatter(short: StudiedCut, *, flutes: int) -> bool:
    """Say whether lines as many, so evenly spaced, are no accident, nor a spindle at another speed."""
    if short.chance <= CHATTER_ABOVE or len(short.evidence.family) < LEAST_LINES:
        return False
    peaks = tuple(peak for peak in short.evidence.peaks if not peak.in_idle)
    rotation_hz, width_hz = short.speed.rotation_hz, short.spectra.line_width_hz
    return 10**-short.evidence.spacing < MOST_BY_CHANCE and not any(
        _on_another_comb(peaks, base_hz=base_hz, width_hz=width_hz)
        for base_hz in {rotation_hz, rotation_hz * flutes}
    )


def _on_another_comb(peaks: tuple[Peak, ...], *, base_hz: float, width_hz: float) -> bool:
    """Say whether nearly all lines are multiples of one frequency that is not far from the comb's own."""
    hz = np.array([peak.frequency_hz for peak in peaks])
    weight = np.minimum([peak.excess for peak in peaks], CAP_NEPERS)
    ratio = np.arange(*OTHER_SPEEDS, OTHER_STEP)
    other_hz = base_hz * ratio[np.abs(ratio - 1) > SAME_SPEED][:, None]
    off_hz = np.abs(hz - np.round(hz / other_hz) * other_hz)
    on = (off_hz <= ON_COMB * width_hz) @ (weight / weight.sum())
    by_chance = np.minimum(2 * ON_COMB * width_hz / other_hz[:, 0], 1.0)
    return bool((on - by_chance).max() > ALL_ON_COMB)


def find_burst(
    samples: Floats,
    cut_s: tuple[float, float],
    *,
    idle: Spans,
    rate_hz: float,
    rotation_hz: float,
    top_hz: float,
) -> tuple[float, float] | None:
    """Find the moment of a cut that holds most that is new off the comb.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    cut_s
        Start and end of the cut, s.
    idle
        Spans without cutting, s.
    rate_hz, rotation_hz
        Sample rate; the comb.
    top_hz
        Above it nothing counts.

    Returns
    -------
    tuple or None
        Its start and end, s; None where no moment is unlike the others.
    """
    window_s = float(np.clip(WINDOW_TURNS / rotation_hz, LEAST_WINDOW_S, MOST_WINDOW_S))
    hop_s = window_s / HOPS
    listen = partial(frames_between, rate_hz=rate_hz, window_s=window_s, hop_s=hop_s, top_hz=top_hz)
    guard_hz = min(GUARD_LINES / window_s, MOST_GUARD * rotation_hz)
    idle_power: Floats | None = None
    best: tuple[float, tuple[float, float]] | None = None
    pieces = max(1, round((cut_s[1] - cut_s[0]) / CHUNK_S))
    edges_s = np.linspace(*cut_s, pieces + 1)
    for start_s, end_s in pairwise(edges_s.tolist()):
        if end_s - start_s < FEWEST_WINDOWS * window_s:
            continue
        times_s, hz, powers = listen(samples, start_s, end_s)
        if idle_power is None:
            idle_power = _loudest_near(samples, idle, hz=hz, least_s=window_s, listen=listen)
        usual = ndimage.maximum_filter1d(np.median(powers, axis=0), SPREAD_BINS, mode="nearest")
        least = np.maximum(NEW_TIMES * usual, OVER_IDLE * idle_power)
        heard = hz > COMB_FROM_HZ
        off = heard & (np.abs(hz - np.round(hz / rotation_hz) * rotation_hz) > guard_hz)
        new = np.where((powers > least) & off, powers, 0.0).sum(axis=1)
        share = new / np.maximum(powers[:, heard].sum(axis=1), TINY)
        new_windows = np.pad(share > LEAST_SHARE, HOPS)
        is_new = ndimage.binary_closing(new_windows, np.ones(HOPS + 1, dtype=np.bool_))[HOPS:-HOPS]
        for first, end in find_runs(is_new):
            if share[first:end].max() < NEW_SHARE:
                continue
            loud = float(new[first:end].sum())
            span_s = (float(times_s[first]) - hop_s, float(times_s[end - 1]) + hop_s)
            long_enough = span_s[1] - span_s[0] >= max(LEAST_S, LEAST_TURNS / rotation_hz)
            if long_enough and (best is None or loud > best[0]):
                best = loud, (max(span_s[0], cut_s[0]), min(span_s[1], cut_s[1]))
    return None if best is None else best[1]


def _loudest_near(
    samples: Floats,
    idle: Spans,
    *,
    hz: Floats,
    least_s: float,
    listen: Callable[..., tuple[Floats, Floats, Floats]],
) -> Floats:
    """Give the loudest that any moment of the idle parts holds near each frequency. Shape (f,)."""
    loudest = np.zeros(len(hz))
    for start_s, end_s in idle:
        end_s = min(end_s, start_s + CHUNK_S)
        if end_s - start_s > least_s:
            _, _, powers = listen(samples, start_s, end_s)
            loudest = np.maximum(loudest, powers.max(axis=0)[: len(hz)])
    even = np.geomspace(hz[1], hz[-1], IDLE_STEPS)
    place = np.clip(np.searchsorted(even, hz), 0, IDLE_STEPS - 1)
    held = np.zeros(IDLE_STEPS)
    np.maximum.at(held, place, loudest)
    reach = int(np.ceil(np.log(NEAR_IDLE) / np.log(even[1] / even[0])))
    return np.asarray(ndimage.maximum_filter1d(held, 2 * reach + 1, mode="nearest")[place])
