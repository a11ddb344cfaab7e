"""What a recorder did to a sound before it stored it: automatic gain, noise suppression.

In: one channel. Out: yes or no.
Method: the background just after a loud part is compared with the same background a little later. A room can
only add its echo to it; a recorder that turned itself down for the loud part makes it fainter in every band
alike, and brings it up again slowly, but not above what it was before the loud part: what rises further is
something that was switched on. A gate cuts an echo off faster than any room does.
Source: common practice; the thresholds are our own, chosen on the "workshop" family of simulated scenes and
held by tests/unit/audio/test_processing.py.
Leaves out: processing that leaves no pause to hear it in, and suppression that only lets a steady comb fade:
a tool that leaves slowly, or a voice, sounds the same.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Samples = NDArray[np.float32]
Floats = NDArray[np.float64]
LONGEST_S = 120.0  # of a recording that is looked at
FRAME_S = 0.05
BANDS_HZ = (200.0, 500.0, 1000.0, 2000.0, 4000.0, 7000.0)
LEAST_BANDS = 3
LOUD_S = 0.5  # a loud part lasts as long as this
LOUD_DB = 8.0  # and stands this far above what follows it
HELD = 0.2  # quantile of a loud part that stands for its level
SOON_S = (0.4, 0.65)  # after its end, when the echo of a small shop is gone
LATER_S = (1.2, 1.5)
CREEP_DB = 2.0  # rise of every band from soon to later
STRICT_CREEP_DB, STRICT_STEP_SHARE = 2.5, 0.7  # where nothing is known of what was before the loud part
ALIKE_DB = 2.5  # largest difference of the rise between bands
STEP_FRAMES, STEP_SHARE = 4, 1.0  # a next pass makes the whole rise in a fifth of a second
BEFORE_S = (0.7, 0.1)  # before the loud part begins
LEAST_BEFORE_S = 0.3  # of it; with less, nothing is known of what was before
ABOVE_DB = 1.0  # of later over before, in the middle band: more did not come by a gain that recovers
GATE_FRAME_S = 0.01
GATE_FALL_S = 0.1
GATE_FALL_DB = 45.0  # in GATE_FALL_S: a room with an echo of 0.13 s, and rooms have 0.2 s or more
GATE_FLOOR_DB = -85.0  # re full scale: 10 dB below the noise of a phone's microphone
GATE_S = 0.15


def has_automatic_gain(channel: Samples, *, rate_hz: float) -> bool:
    """Say whether the background comes up again after a loud part, in every band alike.

    Parameters
    ----------
    channel
        Shape (n,), full scale 1.
    rate_hz
        Sample rate.
    """
    levels = _band_levels_db(channel[: round(LONGEST_S * rate_hz)], rate_hz=rate_hz)
    if levels.shape[1] < LEAST_BANDS:
        return False
    for end in _loud_ends(levels):
        soon = levels[end + _frames(SOON_S[0]) : end + _frames(SOON_S[1])].mean(axis=0)
        later = levels[end + _frames(LATER_S[0]) : end + _frames(LATER_S[1])].mean(axis=0)
        before = _before(levels, end=end)
        middle = levels[end + _frames(SOON_S[1]) : end + _frames(LATER_S[0])].mean(axis=0)
        rise = later - soon
        path = levels[end + _frames(SOON_S[0]) : end + _frames(LATER_S[1])].mean(axis=1)
        step = float(np.max(path[STEP_FRAMES:] - path[:-STEP_FRAMES]))
        if len(rise) > LEAST_BANDS:  # a tone or a bump may hold one band
            kept = np.argsort(np.abs(rise - np.median(rise)))[:-1]
            rise, soon, middle, later = rise[kept], soon[kept], middle[kept], later[kept]
            before = None if before is None else before[kept]
        way = float(np.median((middle - soon) / np.maximum(rise, 1e-9)))
        creep_db, share = CREEP_DB, STEP_SHARE
        if before is None:
            creep_db, share = STRICT_CREEP_DB, STRICT_STEP_SHARE
        if (
            rise.min() > creep_db
            and np.ptp(rise) < ALIKE_DB
            and 0.2 < way < 0.85
            and step < rise.mean() * share
            and (before is None or np.median(later - before) < ABOVE_DB)
        ):
            return True
    return False


def has_gate(channel: Samples, *, rate_hz: float) -> bool:
    """Say whether sound is cut off to nothing, faster than a room lets it fall, and comes back."""
    size = max(8, round(GATE_FRAME_S * rate_hz))
    count = len(channel) // size
    power = np.einsum("ij,ij->i", *(2 * [channel[: count * size].reshape(count, size)])) / size
    level = 10 * np.log10(power.astype(np.float64) + 1e-12)
    fall, hold = round(GATE_FALL_S / GATE_FRAME_S), round(GATE_S / GATE_FRAME_S)
    empty = ndimage.binary_opening(level < GATE_FLOOR_DB, np.ones(hold, dtype=np.bool_))
    starts = np.flatnonzero(empty[1:] & ~empty[:-1]) + 1
    before = np.array([level[max(0, start - fall) : start].max() for start in starts])
    cut_off = starts[before > GATE_FLOOR_DB + GATE_FALL_DB] if len(starts) else starts
    last_sound = np.flatnonzero(~empty)
    return bool(len(cut_off) and len(last_sound) and cut_off[0] < last_sound[-1] - hold)


def _frames(seconds: float) -> int:
    return round(seconds / FRAME_S)


def _band_levels_db(channel: Samples, *, rate_hz: float) -> Floats:
    """Give the level of each band in each frame, dB: shape (t, b)."""
    hop = max(32, round(FRAME_S * rate_hz))
    size = 2 * hop  # windows overlap by half, so that the thumps of a compressor can't fall between them
    count = max(0, len(channel) // hop - 1)
    edges = [round(hz * size / rate_hz) for hz in BANDS_HZ if hz < 0.45 * rate_hz]
    window = np.hanning(size).astype(np.float32)
    levels = np.zeros((count, max(0, len(edges) - 1)))
    for first in range(0, count, 200):
        part = channel[first * hop : (min(count, first + 200) + 1) * hop]
        frames = np.lib.stride_tricks.sliding_window_view(part, size)[::hop] * window
        spectrum = np.fft.rfft(frames, axis=1)[:, : edges[-1] if edges else 0]
        power = (spectrum.real**2 + spectrum.imag**2) / window.sum() ** 2
        for band in range(levels.shape[1]):
            levels[first : first + 200, band] = power[:, edges[band] : edges[band + 1]].sum(axis=1)
    return 10 * np.log10(levels + 1e-15)


def _before(levels: Floats, *, end: int) -> Floats | None:
    """Give the level of each band before the loud part that ends here; None where too little was recorded."""
    total, loud = _total_db(levels[:end]), _frames(LOUD_S)
    quiet = total[:-loud] < np.quantile(total[-loud:], HELD) - LOUD_DB / 2
    if len(quiet) < STEP_FRAMES:
        return None
    long = np.convolve(quiet, np.ones(STEP_FRAMES), "valid") > STEP_FRAMES - 0.5  # a dip is no end
    if not long.any():
        return None
    begin = int(np.flatnonzero(long)[-1]) + STEP_FRAMES
    part = levels[max(0, begin - _frames(BEFORE_S[0])) : max(0, begin - _frames(BEFORE_S[1]))]
    return np.median(part, axis=0) if len(part) >= _frames(LEAST_BEFORE_S) else None


def _total_db(levels: Floats) -> Floats:
    return np.asarray(10 * np.log10((10 ** (levels / 10)).sum(axis=1)))


def _loud_ends(levels: Floats) -> list[int]:
    """Give the frames at which loud parts end, with room for a look at what follows."""
    total = _total_db(levels)
    loud, soon, room = _frames(LOUD_S), _frames(SOON_S[0]), _frames(LATER_S[1])
    ends = np.arange(loud, len(total) - room)
    if len(ends) == 0:
        return []
    windows = np.lib.stride_tricks.sliding_window_view(total, loud)
    held = np.quantile(windows, HELD, axis=1)[ends - loud]
    short = np.lib.stride_tricks.sliding_window_view(total, _frames(SOON_S[1]) - soon)
    after = short.mean(axis=1)[ends + soon]
    drop = held - after
    tops = (drop > LOUD_DB) & (drop == ndimage.maximum_filter1d(drop, 2 * loud + 1))
    return [int(end) for end in ends[tops]]
