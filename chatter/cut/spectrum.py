"""The steady part of a cut: what repeats every turn, what does not, and the idle part beside it.

In: a section's sound, its speed, the idle sound. Out: spectra on one grid of frequencies.
Source: synchronous averaging (chatter/dsp/angle.py); Welch spectra (chatter/dsp/spectra.py).
Leaves out: names (chatter/cut/lines.py).
"""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from chatter.cut.air_pass import AirPass, IdleSound, hear_air_pass
from chatter.cut.comes_and_goes import find_spells
from chatter.cut.spindle import Speed
from chatter.dsp.angle import phase_turns, split_repeating
from chatter.dsp.spectra import TINY, frame_powers

Floats = NDArray[np.float64]
AVERAGE_S = 0.8  # sliding average that catches the harmonics; its notch is 2 / AVERAGE_S wide
SPELL_SHARE = 0.8  # of a spell in which the teeth cut, that a window lasts
LEAST_LEVEL = 0.4  # of the louder turns, to which no turn is raised from less
COMB_FROM_HZ = 100.0  # below, phones roll off and mains hum lives
WINDOW_S = 0.8  # of a spectrum: near a lobe's top chatter sings within a few hertz of the comb
SHORT_WINDOWS = 2.0  # window lengths in a part that is too short for such windows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutSpectra:
    """Spectra of one steady part; all powers are mean squares per bin, lines at their true power."""

    hz: Floats  # shape (f,)
    bin_hz: float
    line_width_hz: float  # half the main lobe of the window
    whole: Floats  # shape (f,)
    rest: Floats  # shape (f,), without what repeats every turn
    rest_samples: Floats  # shape (n,), the sound without what repeats every turn
    rate_hz: float  # of those samples
    rest_frames: Floats  # shape (t, f)
    frame_times_s: Floats  # shape (t,), from the section's start
    idle: Floats | None  # shape (f,)
    idle_usual: Floats | None  # shape (f,), of the usual moment of the idle parts
    air: AirPass | None  # of an idle recording, whose power the idle power covers
    comes_and_goes: bool = False  # only the spells of it in which the teeth cut, one after another

    @property
    def repeating(self) -> Floats:
        """Power that repeats every turn. Shape (f,)."""
        return np.maximum(self.whole - self.rest, 0.0)


def cut_spectra(
    samples: Floats,
    *,
    rate_hz: float,
    top_hz: float,
    speed: Speed,
    idle_parts: tuple[Floats, ...],
    idle_recording: IdleSound | None = None,
    throughout: bool = False,
) -> CutSpectra:
    """Give the spectra of one steady part.

    Parameters
    ----------
    samples
        Shape (n,), the steady part.
    rate_hz
        Sample rate.
    top_hz
        Spectra end here.
    speed
        The spindle along the same samples.
    idle_parts
        Arrays of shape (m,), sound without cutting beside the cut.
    idle_recording
        Another recording without cutting. What either holds is background.
    throughout
        Whether all of it counts, also where the teeth come and go.

    Returns
    -------
    CutSpectra
    """
    rotation_hz = speed.rotation_hz
    length_s = len(samples) / rate_hz
    size_s = float(min(max(WINDOW_S, 16 / rotation_hz), length_s / 2.5))
    phase = phase_turns(
        count=len(samples), rate_hz=rate_hz, times_s=speed.times_s, rotation_hz=speed.track_hz
    )
    spells = None
    if not throughout:
        spells = find_spells(samples, phase, rate_hz=rate_hz, rotation_hz=rotation_hz)
    gain = None if spells is None else spells.gain
    _, rest = split_repeating(samples, phase, turns=max(5, round(AVERAGE_S * rotation_hz)), gain=gain)
    louder = 1.0
    at_s = np.arange(len(samples)) / rate_hz
    if spells is not None:
        at_s = at_s[spells.cutting]
        even = 1 / np.maximum(spells.level[spells.cutting], LEAST_LEVEL)
        samples, rest = samples[spells.cutting] * even, rest[spells.cutting] * even
        louder = float(np.mean(even**2))
        size_s = min(size_s, SPELL_SHARE * spells.spell_s, len(samples) / rate_hz / 2.5)

    spectra = partial(_windows, rate_hz=rate_hz, size_s=size_s, top_hz=top_hz)
    _, hz, whole = spectra(samples)
    times_s, _, rest_frames = spectra(rest)
    rest_power = rest_frames.mean(axis=0)
    beside = idle_powers(idle_parts, rate_hz=rate_hz, size_s=size_s, hz=hz)
    idle, usual = (None, None) if beside is None else (louder * beside[0], louder * beside[1])
    air = None
    if idle_recording is not None:
        air = hear_air_pass(
            idle_recording, size_s=size_s, hz=hz, cutting=samples, beside=idle_parts, rotation_hz=rotation_hz
        )
    if air is not None:
        heard = np.minimum(air.power, rest_power)  # another gain, or a hum, explains no more
        idle = heard if idle is None else np.maximum(idle, heard)
    return CutSpectra(
        hz=hz,
        bin_hz=float(hz[1]),
        line_width_hz=2 / size_s,
        whole=whole.mean(axis=0),
        rest=rest_power,
        rest_samples=rest,
        rate_hz=rate_hz,
        rest_frames=rest_frames,
        frame_times_s=at_s[(times_s * rate_hz).astype(int)],
        idle=idle,
        idle_usual=usual,
        air=air,
        comes_and_goes=spells is not None,
    )


def _windows(part: Floats, *, rate_hz: float, size_s: float, top_hz: float) -> tuple[Floats, Floats, Floats]:
    """Give times, frequencies and powers of windows that overlap by three quarters."""
    return frame_powers(
        part.astype(np.float32), rate_hz=rate_hz, window_s=size_s, hop_s=size_s / 4, pad=2, top_hz=top_hz
    )


def spectra_between(
    spectra: CutSpectra, samples: Floats, *, start_s: float, end_s: float, idle_parts: tuple[Floats, ...]
) -> CutSpectra:
    """Give the spectra of a short part of a steady part; what repeats is taken from all of it.

    Parameters
    ----------
    spectra, samples
        Of the steady part; shape (n,), its sound.
    start_s, end_s
        From the steady part's start; longer than `SHORT_WINDOWS` samples by far.
    idle_parts
        As for `cut_spectra`.

    Returns
    -------
    CutSpectra
        Nothing of an air pass.
    """
    rate_hz = spectra.rate_hz
    inside = slice(int(start_s * rate_hz), int(end_s * rate_hz))
    rest = spectra.rest_samples[inside]
    size_s = len(rest) / rate_hz / SHORT_WINDOWS

    frames = partial(_windows, rate_hz=rate_hz, size_s=size_s, top_hz=float(spectra.hz[-1]))
    _, hz, whole = frames(samples[inside])
    times_s, _, rest_frames = frames(rest)
    idle, usual = idle_powers(idle_parts, rate_hz=rate_hz, size_s=size_s, hz=hz) or (None, None)
    return replace(
        spectra,
        hz=hz,
        bin_hz=float(hz[1]),
        line_width_hz=2 / size_s,
        whole=whole.mean(axis=0),
        rest=rest_frames.mean(axis=0),
        rest_samples=rest,
        rest_frames=rest_frames,
        frame_times_s=times_s,
        idle=idle,
        idle_usual=usual,
        air=None,
    )


def comb_rise(spectra: CutSpectra, *, rotation_hz: float) -> float:
    """Say how much louder the spindle's harmonics are than while idling, in nepers of power.

    Returns
    -------
    float
        Infinite without idle sound.
    """
    if spectra.idle is None:
        return np.inf
    powers = np.array([spectra.whole, spectra.idle])
    cutting, idling = comb_power(powers, spectra.hz, base_hz=rotation_hz).tolist()
    return float(np.log(max(cutting, TINY) / max(idling, TINY)))


def comb_power(powers: Floats, hz: Floats, *, base_hz: float) -> Floats:
    """Give the power at the multiples of a frequency.

    Parameters
    ----------
    powers, hz
        Shapes (t, f) and (f,), evenly spaced from 0.
    base_hz
        That frequency.

    Returns
    -------
    NDArray
        Shape (t,); of each multiple the loudest of three bins.
    """
    at = np.round(np.arange(base_hz, hz[-2], base_hz) / hz[1]).astype(int)
    at = at[(hz[at] > COMB_FROM_HZ) & (at < len(hz) - 1)]
    near = np.maximum(np.maximum(powers[:, at - 1], powers[:, at]), powers[:, at + 1])
    return np.asarray(near.sum(axis=1))


def idle_powers(
    parts: tuple[Floats, ...], *, rate_hz: float, size_s: float, hz: Floats
) -> tuple[Floats, Floats] | None:
    """Give the mean idle spectrum on a given grid and that of the usual moment, or None without idle sound.

    Returns
    -------
    mean, usual
        Shapes (f,). Parts shorter than a third of the window are passed over.
    """
    moments: list[Floats] = []
    weights: list[float] = []
    for part in parts:
        if len(part) < size_s * rate_hz / 3:
            continue
        size = min(size_s, len(part) / rate_hz)
        _, at, powers = frame_powers(
            part.astype(np.float32),
            rate_hz=rate_hz,
            window_s=size,
            hop_s=size / 2,
            pad=2,
            top_hz=float(hz[-1]),
        )
        moments.extend(np.interp(hz, at, row * (size / size_s)) for row in powers)
        weights.extend([size] * len(powers))
    if not moments:
        return None
    return np.asarray(np.average(moments, axis=0, weights=weights)), np.asarray(np.median(moments, axis=0))
