"""Reduce what the stages computed to arrays of a picture's size.

In: the channel's sound, and for one cut its steady part, speed and spectra. Out: `CutPictures`.
Source: laying turn under turn shows what repeats, after T. L. Schmitz, K. Medicus and B. Dutterer,
Machining Sci. Tech. 6 (2002) 215; spectrogram as common practice.
Leaves out: every judgement, and how the pictures look.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from chatter.cut.spectrum import CutSpectra
from chatter.cut.spindle import Speed
from chatter.dsp.angle import phase_turns
from chatter.dsp.spectra import TINY, frame_powers
from chatter.model.pictures import CutPictures, Spectrogram, SteadySpectrum, TurnByTurn

Floats = NDArray[np.float64]
# Sizes are our own choice: what a phone's screen can show.
MOST_COLUMNS, ROWS = 600, 300
MOST_WINDOWS = 6000  # of a long recording: some moments between the windows are passed over
LEAST_WINDOW_S, MOST_WINDOW_S = 0.04, 0.12
SPECTRUM_POINTS = 1200
MOST_TURNS = 100
LEAST_ANGLES, MOST_ANGLES = 120, 360
BOTTOM_HZ = 100.0  # phones roll off below, and mains hum lives there
LEAST_TOP_HZ, MOST_TOP_HZ, TOP_STEP_HZ = 2000.0, 8000.0, 500.0
POWER_SHOWN = 0.98  # share of the steady part's power that lies below the pictures' upper edge
TEETH_SHOWN = 6.0  # multiples of tooth passing that are shown at least


def make_pictures(
    samples: NDArray[np.float32],
    *,
    rate_hz: float,
    bandwidth_hz: float,
    steady_s: tuple[float, float] | None = None,
    speed: Speed | None = None,
    spectra: CutSpectra | None = None,
    flutes: int = 1,
    chatter_hz: float | None = None,
) -> CutPictures:
    """Give what the pictures of one recording show.

    Parameters
    ----------
    samples
        Shape (n,), the whole channel.
    rate_hz, bandwidth_hz
        Of the recording.
    steady_s
        Start and end of the steady part of the cut that is shown.
    speed, spectra
        Of that part.
    flutes, chatter_hz
        Of that cut; they say how far up the pictures reach.

    Returns
    -------
    CutPictures
        With the spectrogram alone where no cut is given.
    """
    limit_hz = min(MOST_TOP_HZ, 0.45 * rate_hz, max(bandwidth_hz, 1000.0))
    if steady_s is None or speed is None or spectra is None:
        return CutPictures(
            spectrogram=_spectrogram(samples, rate_hz=rate_hz, top_hz=limit_hz), spectrum=None, turns=None
        )
    top_hz = _top_hz(spectra, tooth_hz=speed.rotation_hz * flutes, chatter_hz=chatter_hz, limit_hz=limit_hz)
    part = samples[int(steady_s[0] * rate_hz) : int(steady_s[1] * rate_hz)].astype(np.float64)
    return CutPictures(
        spectrogram=_spectrogram(samples, rate_hz=rate_hz, top_hz=top_hz),
        spectrum=_spectrum(spectra, top_hz=top_hz, steady_s=steady_s),
        turns=_turns(part, rate_hz=rate_hz, speed=speed, spectra=spectra, top_hz=top_hz),
    )


def _top_hz(spectra: CutSpectra, *, tooth_hz: float, chatter_hz: float | None, limit_hz: float) -> float:
    """Give the upper edge of the pictures: most of the power, the chatter and some teeth lie below it."""
    power = np.where(spectra.hz > BOTTOM_HZ, spectra.whole, 0.0)
    heard = np.cumsum(power)
    loud_hz = float(spectra.hz[int(np.searchsorted(heard, POWER_SHOWN * heard[-1]))])
    wanted_hz = max(1.15 * loud_hz, 1.5 * (chatter_hz or 0.0), TEETH_SHOWN * tooth_hz, LEAST_TOP_HZ)
    return min(float(np.ceil(wanted_hz / TOP_STEP_HZ)) * TOP_STEP_HZ, limit_hz, float(spectra.hz[-1]))


def _spectrogram(samples: NDArray[np.float32], *, rate_hz: float, top_hz: float) -> Spectrogram:
    """Give the levels of the whole recording, the loudest bin of each row, the mean of each column."""
    duration_s = len(samples) / rate_hz
    window_s = float(np.clip(2 * ROWS / top_hz, LEAST_WINDOW_S, MOST_WINDOW_S))
    window_s = min(window_s, duration_s)
    hop_s = max(duration_s / MOST_WINDOWS, window_s / 4)
    times_s, hz, powers = frame_powers(
        samples.astype(np.float32), rate_hz=rate_hz, window_s=window_s, hop_s=hop_s, top_hz=top_hz
    )
    at = np.unique(np.linspace(0, len(hz) - 1, ROWS).astype(int))
    rows = np.maximum.reduceat(powers, at, axis=1)
    columns = min(MOST_COLUMNS, len(times_s))
    # Each column shows the windows whose middle lies in its span, or the nearest one.
    edges = np.linspace(0, duration_s, columns + 1)
    first = np.searchsorted(times_s, edges[:-1])
    last = np.searchsorted(times_s, edges[1:])
    totals = np.vstack([np.zeros(rows.shape[1]), np.cumsum(rows, axis=0)])
    first = np.minimum(first, len(times_s) - 1)
    last = np.maximum(last, first + 1)
    mean = (totals[last] - totals[first]) / (last - first)[:, None]
    return Spectrogram(
        levels_db=10 * np.log10(np.maximum(mean.T, TINY)),
        top_hz=float(hz[-1]),
        duration_s=duration_s,
    )


def _spectrum(spectra: CutSpectra, *, top_hz: float, steady_s: tuple[float, float]) -> SteadySpectrum:
    """Give the steady part's spectrum: of each group of bins the loudest, at its own frequency."""
    count = int(np.searchsorted(spectra.hz, top_hz, side="right"))
    step = max(1, -(-count // SPECTRUM_POINTS))
    groups = range(0, count, step)
    kept = np.array(
        [start + int(np.argmax(spectra.whole[start : min(start + step, count)])) for start in groups]
    )
    idle = None
    if spectra.idle is not None:
        idle = np.array([spectra.idle[start : min(start + step, count)].max() for start in groups])
    return SteadySpectrum(
        start_s=steady_s[0],
        end_s=steady_s[1],
        frequency_hz=spectra.hz[kept],
        level_db=10 * np.log10(np.maximum(spectra.whole[kept], TINY)),
        idle_db=None if idle is None else 10 * np.log10(np.maximum(idle, TINY)),
    )


def _turns(
    part: Floats, *, rate_hz: float, speed: Speed, spectra: CutSpectra, top_hz: float
) -> TurnByTurn | None:
    """Lay the turns in the middle of the steady part under each other; None where they are too few."""
    rotation_hz = speed.rotation_hz
    angles = int(np.clip(2.5 * top_hz / rotation_hz, LEAST_ANGLES, MOST_ANGLES))
    phase = phase_turns(count=len(part), rate_hz=rate_hz, times_s=speed.times_s, rotation_hz=speed.track_hz)
    whole = int(np.floor(phase[-1]))
    turns = min(MOST_TURNS, whole - 2)
    if turns < 4:
        return None
    first = (whole - turns) // 2
    grid = first + np.arange(turns * angles) / angles
    low_hz, high_hz = BOTTOM_HZ, min(top_hz, 0.4 * angles * rotation_hz)
    length = fft.next_fast_len(len(part), real=True)
    lines = fft.rfft(part, n=length)
    at_hz = np.arange(len(lines)) * rate_hz / length
    lines[(at_hz < low_hz) | (at_hz > high_hz)] = 0
    band = fft.irfft(lines, n=length)[: len(part)]
    at = np.interp(grid, phase, np.arange(len(part), dtype=np.float64))
    pressure = ndimage.map_coordinates(band, [at], order=3, mode="nearest").reshape(turns, angles)
    idle = 0.0 if spectra.idle is None else float(spectra.idle.sum())
    total = max(float(spectra.whole.sum()) - idle, TINY)
    changing = max(float(spectra.rest.sum()) - idle, 0.0)
    return TurnByTurn(
        pressure=pressure,
        watched_angle=int(np.argmax(np.abs(pressure.mean(axis=0)))),
        repeating_share=float(np.clip(1 - changing / total, 0.0, 1.0)),
    )
