"""Where in a ramped pass chatter began.

In: the samples of one cut whose depth grows evenly, its speed, and the chatter's family heard in its deep
end. Out: the depth at which the family's power leaves what went before, with its spread.
Method: the power of the family in short windows, after what repeats every turn is taken away, against time:
two straight lines in the logarithm, before and after a change point; the change point's likelihood gives its
spread. Chatter takes time to grow, so it is heard late: the depth is corrected by what simulations showed.
Whether the pass grows at all is heard from the teeth: their force, and so their sound, goes with the depth.
Source: change of a linear regime, R. E. Quandt, J. Am. Stat. Assoc. 53 (1958) 873 to 880 (from memory).
Leaves out: ramps that fall, where chatter lingers below the depth at which it began.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.cut.engagement import WINDOW_TEETH, follow_comb
from chatter.cut.sections import Section, band_levels_db
from chatter.cut.spindle import Speed
from chatter.dsp.angle import phase_turns, split_repeating
from chatter.dsp.spectra import TINY, frame_powers

Floats = NDArray[np.float64]
WINDOW_S = 0.12  # short against a growth that matters, long enough for lines 17 Hz apart
HOP_SHARE = 0.5
AVERAGE_S = 0.5  # of what repeats, as in chatter/cut/spectrum.py
LEAST_FRAMES = 6  # on each side of the change
LEAST_RISE_NEPERS = 1.2  # 5 dB: a smaller step is no onset
MOST_SPREAD_S = 0.3  # nor is one that the windows can't place
ENDS_S = 0.1  # spread of the section's ends
LATE_SHARE, LATE_SPREAD = 0.07, 0.15  # by which the onset is heard too deep; tests/benchmarks/ramps.py
MOST_MEMBERS = 6
IDLE_S = 0.8  # of idling spindle that every recording begins with
SMOOTH_FRAMES, CLOSED_FRAMES = 15, 50  # of 20 ms each
LEAST_CONTRAST, LEAST_DEVIATIONS = 0.35, 3.0  # nepers, and deviations of the idle, that the comb must rise
COMBED_SHARE = 0.5  # own choice: of the time by which the comb began earlier, that it must stand out
LEVELS_TOP_HZ = 12_000.0
LEVEL_FRAMES, LIKE_FRAMES = 20, 20  # of 10 ms: of the running mean, and of the shortest spell like the idle
LEAST_LEVEL_SPREAD_DB, MOST_AWAY = 0.5, 6.0  # own choices: no band decides alone
AWAY, LEAST_USUAL = 2.25, 0.8  # times its usual distance in deviations, from which sound is not the idle's
RISE_WINDOW_S, RISE_HOP_S, MOST_ORDERS, TOP_HZ = 0.2, 0.05, 20, 8000.0
RISE_EDGE_S = 0.2  # entry and exit, left out
RISE_SHARE = 0.25  # of the pass at either end, that are held against each other
STANDING_TIMES = 4.0  # the power between the lines: a fainter line tells nothing of the teeth


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """The change point of one ramp."""

    share: float  # of the ramp's length at which chatter began, corrected
    share_sd: float
    time_s: float  # from the section's start, as heard


def find_ramp_onset(
    samples: Floats, *, rate_hz: float, speed: Speed, family_hz: tuple[float, ...], depth_ratio: float
) -> Onset | None:
    """Find where chatter began in a pass whose depth grows evenly.

    Parameters
    ----------
    samples
        Shape (n,): the whole cut, from the tool's entry to its exit.
    rate_hz
        Sample rate.
    speed
        The spindle along the same samples.
    family_hz
        Frequencies of the chatter's lines, strongest first.
    depth_ratio
        Depth at the start over depth at the end, 0 to below 1.

    Returns
    -------
    Onset or None
        None where the family does not rise by 5 dB at a moment that can be told; a share of 0 where it is
        there from the start.
    """
    phase = phase_turns(
        count=len(samples), rate_hz=rate_hz, times_s=speed.times_s, rotation_hz=speed.track_hz
    )
    _, rest = split_repeating(samples, phase, turns=max(5, round(AVERAGE_S * speed.rotation_hz)))
    times_s, hz, powers = frame_powers(
        rest.astype(np.float32), rate_hz=rate_hz, window_s=WINDOW_S, hop_s=HOP_SHARE * WINDOW_S, pad=2
    )
    near = np.zeros(len(hz), dtype=bool)
    for line_hz in family_hz[:MOST_MEMBERS]:
        near |= np.abs(hz - line_hz) < 1 / WINDOW_S
    if not near.any() or len(times_s) < 3 * LEAST_FRAMES:
        return None
    inside = slice(1, -1)  # the outer windows hold entry and exit
    times_s, level = times_s[inside], np.log(np.maximum(powers[inside][:, near].sum(axis=1), TINY))
    length_s = len(samples) / rate_hz
    at_s, at_sd_s, rise = _change_point(times_s, level)
    if rise < LEAST_RISE_NEPERS or at_sd_s > MOST_SPREAD_S:
        return None
    # The limit lies before what was heard, by a share of the depth there.
    depth = depth_ratio + (1 - depth_ratio) * at_s / length_s
    true = depth * (1 - LATE_SHARE)
    spread = float(np.hypot(np.hypot(at_sd_s, ENDS_S) / length_s * (1 - depth_ratio), LATE_SPREAD * depth))
    share = (true - depth_ratio) / (1 - depth_ratio)
    return Onset(share=max(0.0, float(share)), share_sd=spread / (1 - depth_ratio), time_s=float(at_s))


def find_ramp_start_s(
    samples: Floats, *, rate_hz: float, bandwidth_hz: float, tooth_hz: float, section: Section
) -> float:
    """Find when the tool touched: the shallow end is faint beside the chatter, and seems idle to the ear.

    Two things are followed back from the loud section: the comb of the teeth, to where it sinks to what it is
    in the recording's first moments; and the loudness in bands, to where it was last as in these. Chatter
    that rings in the shallow end drowns the first, a voice beforehand spoils the second.

    Parameters
    ----------
    samples
        Shape (n,): the whole recording.
    rate_hz, bandwidth_hz, tooth_hz
        Sample rate; highest frequency carried; tooth passing as measured.
    section
        The loud part of the pass.

    Returns
    -------
    float
        s; the section's own start where the file begins with it, or nothing before it is like its idle.
    """
    if section.open_start:
        return section.start_s
    muted = int(np.argmax(samples != 0))  # that a recorder left out before its first sound
    if muted:
        muted_s = muted / rate_hz
        later = replace(section, start_s=section.start_s - muted_s, end_s=section.end_s - muted_s)
        return muted_s + find_ramp_start_s(
            samples[muted:], rate_hz=rate_hz, bandwidth_hz=bandwidth_hz, tooth_hz=tooth_hz, section=later
        )
    comb = follow_comb(samples, rate_hz=rate_hz, bandwidth_hz=bandwidth_hz, tooth_hz=tooth_hz)
    times_s = comb.times_s
    contrast = ndimage.median_filter(comb.contrast, size=SMOOTH_FRAMES, mode="nearest")
    quiet = contrast[times_s < IDLE_S]
    if len(quiet) < SMOOTH_FRAMES or not (times_s < section.start_s).any():
        return section.start_s
    low = float(np.median(quiet))
    spread = 1.4826 * float(np.median(np.abs(quiet - low)))
    on = contrast > low + max(LEAST_CONTRAST, LEAST_DEVIATIONS * spread)
    by_comb_s = _followed_back_s(on, times_s, section)
    by_level_s = _departure_s(
        samples, rate_hz=rate_hz, bandwidth_hz=bandwidth_hz, tooth_hz=tooth_hz, section=section
    )
    if by_comb_s < by_level_s:
        between = (times_s >= by_comb_s) & (times_s < by_level_s)
        return by_comb_s if between.any() and on[between].mean() > COMBED_SHARE else by_level_s
    return by_level_s


def _followed_back_s(on: NDArray[np.bool_], times_s: Floats, section: Section) -> float:
    """Give when the comb that the section has was last away, s."""
    closed = ndimage.binary_closing(np.pad(on, CLOSED_FRAMES), iterations=CLOSED_FRAMES // 2)
    off = np.flatnonzero(~closed[CLOSED_FRAMES:-CLOSED_FRAMES] & (times_s < section.start_s))
    if len(off) == 0:
        return section.start_s
    return min(section.start_s, float(times_s[min(int(off[-1]) + 1, len(times_s) - 1)]))


def _departure_s(
    samples: Floats, *, rate_hz: float, bandwidth_hz: float, tooth_hz: float, section: Section
) -> float:
    """Give when the sound before a section was last as loud in every band as in the first moments, s."""
    times_s, levels_db = band_levels_db(samples, rate_hz=rate_hz, top_hz=min(bandwidth_hz, LEVELS_TOP_HZ))
    frames = max(LEVEL_FRAMES, round(1.5 / tooth_hz / float(times_s[1] - times_s[0])))
    levels_db = ndimage.uniform_filter1d(levels_db, frames, axis=0, mode="nearest")
    idle = levels_db[times_s < IDLE_S]
    deviations = (levels_db - idle.mean(axis=0)) / np.maximum(idle.std(axis=0), LEAST_LEVEL_SPREAD_DB)
    distance = np.sqrt(np.mean(np.clip(deviations, -MOST_AWAY, MOST_AWAY) ** 2, axis=1))
    usual = max(LEAST_USUAL, float(np.median(distance[times_s < IDLE_S])))
    labels, count = ndimage.label((distance < AWAY * usual) & (times_s < section.start_s))
    for label in range(count, 0, -1):
        like = np.flatnonzero(labels == label)
        if len(like) >= LIKE_FRAMES:
            return float(times_s[like[-1]])
    return section.start_s


def tooth_rise_db(samples: Floats, *, rate_hz: float, bandwidth_hz: float, tooth_hz: float) -> float | None:
    """Give how much louder the teeth are in the last quarter of a pass than in its first one.

    Parameters
    ----------
    samples
        Shape (n,): the whole pass.
    rate_hz, bandwidth_hz, tooth_hz
        Sample rate; highest frequency carried; tooth passing as measured.

    Returns
    -------
    float or None
        Median over the multiples of tooth passing that stand out in the last quarter, dB; None where none
        does, or the pass is too short.
    """
    edge, length_s = round(RISE_EDGE_S * rate_hz), len(samples) / rate_hz - 2 * RISE_EDGE_S
    window_s = float(max(RISE_WINDOW_S, WINDOW_TEETH / tooth_hz))
    if RISE_SHARE * length_s < 2 * window_s:
        return None
    top_hz = min(bandwidth_hz, 0.45 * rate_hz, TOP_HZ)
    # What lies beside an order must be in the band, too: above it a codec leaves nothing.
    orders = np.arange(1, min(MOST_ORDERS, int(top_hz / tooth_hz - 0.5)) + 1, dtype=np.float64)
    if len(orders) == 0:
        return None
    times_s, hz, powers = frame_powers(
        samples[edge:-edge].astype(np.float32),
        rate_hz=rate_hz,
        window_s=window_s,
        hop_s=RISE_HOP_S,
        top_hz=float(orders[-1] + 1) * tooth_hz,
    )
    first, last = times_s <= RISE_SHARE * length_s, times_s >= (1 - RISE_SHARE) * length_s

    def at(multiples: Floats) -> Floats:
        bins = np.clip(np.round(multiples * tooth_hz / hz[1]).astype(int), 1, len(hz) - 2)
        return np.asarray(powers[:, bins - 1] + powers[:, bins] + powers[:, bins + 1], dtype=np.float64)

    line, gap = at(orders), at(np.asarray(orders + 0.5))
    early, late = line[first].mean(axis=0), line[last].mean(axis=0)
    stands = late > STANDING_TIMES * gap[last].mean(axis=0)
    if not stands.any():
        return None
    return float(np.median(10 * np.log10(late[stands] / np.maximum(early[stands], TINY))))


def depth_rise_db(first_mm: float, *, last_mm: float) -> float:
    """Give how much louder the teeth would get, last quarter over first, by a depth that grows evenly, dB.

    >>> round(depth_rise_db(0.0, last_mm=2.0), 1)  # 1.75 mm over 0.25 mm
    16.9
    """
    middle = RISE_SHARE / 2
    shallow, deep = (first_mm + (last_mm - first_mm) * share for share in (middle, 1 - middle))
    return float(20 * np.log10(deep / shallow))


def _change_point(times_s: Floats, level: Floats) -> tuple[float, float, float]:
    """Fit two straight lines and the time between them; give time, its spread, s, and the step, nepers."""
    count = len(level)
    cuts = np.arange(LEAST_FRAMES, count - LEAST_FRAMES + 1)
    misfit = np.array([_misfit(times_s[:k], level[:k]) + _misfit(times_s[k:], level[k:]) for k in cuts])
    # Windows overlap by half, so that every second one tells something new.
    chance = -0.5 * count * HOP_SHARE * np.log(np.maximum(misfit, TINY))
    weight = np.exp(chance - chance.max())
    weight /= weight.sum()
    between_s = (times_s[cuts - 1] + times_s[np.minimum(cuts, count - 1)]) / 2
    mean_s = float(weight @ between_s)
    best = int(cuts[np.argmax(weight)])
    low, high = level[max(0, best - LEAST_FRAMES) : best], level[best : best + 2 * LEAST_FRAMES]
    rise = float(np.median(high) - np.median(low))
    spread_s = float(np.sqrt(weight @ (between_s - mean_s) ** 2))
    return mean_s, max(spread_s, HOP_SHARE * WINDOW_S / 2), rise


def _misfit(times_s: Floats, level: Floats) -> float:
    """Give the squared misfit of a straight line."""
    design = np.stack([np.ones(len(times_s)), times_s - times_s.mean()], axis=1)
    fitted = design @ np.linalg.lstsq(design, level, rcond=None)[0]
    return float(np.sum((level - fitted) ** 2))
