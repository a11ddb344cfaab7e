"""Where in a cut the spindle turned at another speed than the measured one: an override that was moved.

In: the sound of one section and its measured speed. Out: spans in which another comb stands alone, or the
comb glides.
Method: the loudness of the bands in short windows (chatter/dsp/envelope.py). Chatter, loud or soft, keeps the
teeth's own comb there and adds none; where that comb is gone and another one stands clear over several
windows, the teeth strike at another rate.
Source: our own.
Leaves out: how fast it turned there.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chatter.dsp.comb import comb_scores
from chatter.dsp.envelope import TOP_HZ, Envelopes, band_envelopes, line_excess
from chatter.dsp.spectra import frame_powers

Floats = NDArray[np.float64]
WINDOW_S, WINDOW_TURNS = 0.5, 16.0
PIECE_S = 10.0  # weighed at once, so that long cuts take no more memory
PAD = 4
SMOOTHED = 3  # windows whose mean is taken
BETWEEN, FADE, MOST_ORDERS = 0.2, 8.0, 20  # weights of harmonics, as in spindle.py and spindle_comb.py
RANGE = (0.6, 1.6)  # other speeds, in measured ones
OWN, OTHER = 0.006, 0.012  # shares within which a comb is the measured one, and beyond which it is another
# Own choices: no window of some 900 simulated cuts at one speed meets them, nor glides.
CLEAR = 1.5  # nepers a harmonic: least score of another comb, and of the measured one where that stands
GONE = 0.35  # most that the measured comb may have where it is gone, of either
USUAL = 0.9  # quantile over the windows: a tenth of the section at the measured speed is enough
ALIKE = 0.006  # share by which the other comb may move from window to window
LEAST_RUN = 4  # windows
GLIDE = 0.01  # share by which the speed moves one way within a run: load takes half of it, and at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Combs:
    """What stands in each window: shapes (t,)."""

    times_s: Floats
    own: Floats  # nepers a harmonic of the measured comb
    best: Floats  # of the best other comb
    at: Floats  # its speed, in measured ones
    ridge: Floats  # that of the best comb of all; NaN where none is clear

    def shifted(self, by_s: float) -> "_Combs":
        """Give the same at later times."""
        return replace(self, times_s=self.times_s + by_s)


def spans_at_other_speed(
    samples: Floats, *, rate_hz: float, top_hz: float, rotation_hz: float, flutes: int
) -> tuple[tuple[float, float], ...]:
    """Find where the spindle turned at another speed, or at none that holds.

    Parameters
    ----------
    samples
        Shape (n,), one section.
    rate_hz
        Sample rate.
    top_hz
        Highest frequency to use.
    rotation_hz, flutes
        Measured speed, and teeth, whose harmonics count more than those between.

    Returns
    -------
    tuple of (float, float)
        Spans, s from the first sample, some over each other; none where the sound is too short or too narrow
        to tell.
    """
    window_s = max(WINDOW_S, WINDOW_TURNS / rotation_hz)
    if len(samples) < 2 * window_s * rate_hz:
        return ()
    parts = [
        _weigh_combs(
            samples[int(start_s * rate_hz) : int((start_s + PIECE_S) * rate_hz)],
            rate_hz=rate_hz,
            top_hz=top_hz,
            rotation_hz=rotation_hz,
            flutes=flutes,
            window_s=window_s,
        ).shifted(start_s)
        for start_s in np.arange(0.0, len(samples) / rate_hz - window_s, PIECE_S - window_s)
    ]
    times_s = np.concatenate([part.times_s for part in parts])
    own = np.concatenate([part.own for part in parts])
    best = np.concatenate([part.best for part in parts])
    at = np.concatenate([part.at for part in parts])
    ridge = np.concatenate([part.ridge for part in parts])
    if not len(own):
        return ()
    stands = float(np.quantile(own, USUAL))
    gone = (stands >= CLEAR) & (best >= CLEAR) & (own <= GONE * np.minimum(best, stands))
    glides = _glide_spans(times_s, ridge, half_s=window_s / 4)
    return tuple(sorted((*_runs(times_s, gone, at, half_s=window_s / 4), *glides)))


def _glide_spans(times_s: Floats, ridge: Floats, *, half_s: float) -> tuple[tuple[float, float], ...]:
    """Give the spans in which the speed moves one way all the time: no comb holds there."""
    steps = ridge[1:] / ridge[:-1] - 1
    moves = np.where(np.abs(steps) < ALIKE, np.sign(steps), 0.0)  # NaN is no move
    spans: list[tuple[float, float]] = []
    first = 0
    for i in range(1, len(moves) + 1):
        if i < len(moves) and moves[i] == moves[first] != 0:
            continue
        total = abs(ridge[i] / ridge[first] - 1)
        if moves[first] != 0 and i - first >= LEAST_RUN and total >= GLIDE:
            spans.append((float(times_s[first]) - half_s, float(times_s[i]) + half_s))
        first = i
    return tuple(spans)


def _weigh_combs(
    samples: Floats, *, rate_hz: float, top_hz: float, rotation_hz: float, flutes: int, window_s: float
) -> _Combs:
    """Weigh the measured comb and the others in each window; no windows where the sound is too narrow."""
    envelope_hz, envelopes = band_envelopes(samples, rate_hz=rate_hz, top_hz=top_hz)
    if not envelopes:
        nothing = np.zeros(0)
        return _Combs(times_s=nothing, own=nothing, best=nothing, at=nothing, ridge=nothing)
    times_s, bin_hz, excess = _excess_along(
        envelopes[::2], rate_hz=envelope_hz, window_s=window_s, spacing_hz=rotation_hz
    )
    most = int(np.clip(0.98 * TOP_HZ / (RANGE[1] * rotation_hz), 1, MOST_ORDERS))
    orders = np.arange(1, most + 1)
    weights = np.where(orders % flutes == 0, 1.0, BETWEEN) * np.exp(-0.5 * (orders / FADE) ** 2)
    step = bin_hz / (most * rotation_hz)
    ratios = np.exp(np.arange(np.log(RANGE[0]), np.log(RANGE[1]), step))
    bases_hz, weights = ratios * rotation_hz, weights / weights.sum()
    scores = np.array(
        [comb_scores(one, bin_hz=bin_hz, bases_hz=bases_hz, orders=orders, weights=weights) for one in excess]
    )
    scores -= np.median(scores, axis=1, keepdims=True)
    own = scores[:, np.abs(ratios - 1) < OWN].max(axis=1)
    others = np.where(np.abs(ratios - 1) > OTHER, scores, -np.inf)
    return _Combs(
        times_s=times_s,
        own=own,
        best=others.max(axis=1),
        at=ratios[others.argmax(axis=1)],
        ridge=np.where(scores.max(axis=1) >= CLEAR, ratios[scores.argmax(axis=1)], np.nan),
    )


def _excess_along(
    envelopes: Envelopes, *, rate_hz: float, window_s: float, spacing_hz: float
) -> tuple[Floats, float, Floats]:
    """Give times, bin width and excess along time: shapes (t,), float, (t, f)."""
    total: Floats | float = 0.0
    for envelope in envelopes:
        times_s, hz, powers = frame_powers(
            envelope, rate_hz=rate_hz, window_s=window_s, hop_s=window_s / 4, pad=PAD, top_hz=TOP_HZ
        )
        bin_hz = float(hz[1])
        half = SMOOTHED // 2
        padded = np.pad(powers, ((half, half), (0, 0)), mode="edge")
        smooth = np.lib.stride_tricks.sliding_window_view(padded, SMOOTHED, axis=0).mean(axis=-1)
        total = total + np.array(
            [line_excess(one, bin_hz=bin_hz, spacing_hz=spacing_hz, pad=PAD) for one in smooth]
        )
    return times_s, bin_hz, np.asarray(total / len(envelopes))


def _runs(
    times_s: Floats, met: NDArray[np.bool_], at: Floats, *, half_s: float
) -> tuple[tuple[float, float], ...]:
    """Give the spans of windows in a row that meet the test with one and the same comb."""
    spans: list[tuple[float, float]] = []
    first = 0
    for i in range(1, len(met) + 1):
        goes_on = i < len(met) and met[i] and met[i - 1] and abs(at[i] / at[i - 1] - 1) < ALIKE
        if goes_on:
            continue
        if met[i - 1] and i - first >= LEAST_RUN:
            spans.append((float(times_s[first]) - half_s, float(times_s[i - 1]) + half_s))
        first = i
    return tuple(spans)
