"""The modes that ring in decays: how many, and each one's frequency and damping.

In: decays cut out alike. Out: poles shared by all taps, their amplitudes, their spread.
Method: modes are added one at a time, each begun at several places (at the peaks of what is left, and by
parting the strongest mode in two), all refitted together each time; a mode stays when it lowers the
information criterion of Schwarz (Ann. Statist. 6, 1978), which is the stated rule for how many there are.
Source: the fit is in _fit.py; thresholds are our own, each on its line.
Leaves out: what a room does (room.py).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from chatter.tap._fit import Fit, Spectra, fit_poles, gains, no_poles, shape_of
from chatter.tap.decays import Decays

Floats = NDArray[np.float64]

MOST_POLES = 8  # what rings louder than that in a shop is a room; own choice
FEW, LITTLE = 3, 0.6  # modes, and what one more leaves of the misfit, beyond which a room is asked for
TRIAL_DAMPINGS = (0.004, 0.012, 0.03, 0.08)
PEAKS = 3
PARTINGS = ((0.02, 0.0), (0.035, 0.5))  # of ln f to both sides, and of ln decay apart
STARTS = 3  # refined at each step
LEAST_GAIN = 1e-6  # of the decays' energy: a mode 60 dB down is of no use to anyone
HEARD_OVER = 12.0  # a spectrum stands 11 dB over the noise where modes are looked for
ROOM_ABOVE = 1.3  # the band ends this far above the highest such frequency
LOWEST_BAND_HZ = 600.0
LEAST_BINS = 4  # two numbers each, and a mode has four


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """A fit of all decays and what it was made of."""

    spectra: Spectra
    fit: Fit
    power: float  # sum of squares of the spectra over noise


def fit_decays(decays: Decays, *, length_s: float, most: int = MOST_POLES, reverberant: float = 0.0) -> Found:
    """Fit as many modes as the decays carry.

    Parameters
    ----------
    decays
        Cut out alike.
    length_s
        How much of each is used.
    most
        Modes at most.
    reverberant
        Energy of the room over that of the direct sound: what it adds around each mode counts as noise.

    Returns
    -------
    Found
        The fit; without any pole where nothing rings, or so short a part holds too few frequencies to tell.
    """
    high_hz = _upper_hz(decays, length_s=length_s)
    spectra = decays.spectra(length_s=length_s, high_hz=high_hz)
    best = no_poles(spectra)
    power = best.misfit
    while spectra.hz.size >= LEAST_BINS and len(best.poles) < most:
        trial = _with_one_more(spectra, best)
        if trial is None or not _is_worth(spectra, best, trial, power):
            break
        little = trial.misfit > LITTLE * best.misfit
        best = trial
        if reverberant == 0 and little and len(best.poles) > FEW and best.misfit > 3 * spectra.values.size:
            break  # one mode after the other tells little, and much is left: that is a room
        if reverberant > 0:
            spectra = _louder_noise(decays, spectra, best, reverberant, length_s=length_s, high_hz=high_hz)
            best = fit_poles(spectra, best.poles)
    return Found(spectra=spectra, fit=best, power=power)


def _louder_noise(
    decays: Decays, spectra: Spectra, fit: Fit, reverberant: float, *, length_s: float, high_hz: float
) -> Spectra:
    """Add to the noise what a room makes of the modes found so far."""
    plain = decays.spectra(length_s=length_s, high_hz=high_hz)
    power = plain.noise**2
    for index, pole in enumerate(fit.poles):
        strength = float(np.mean(np.abs(fit.amplitudes[:, index]) ** 2))
        power = power + 0.5 * reverberant * strength * np.abs(0.5 * shape_of(spectra, pole)) ** 2
    return replace(plain, noise=np.sqrt(power))


def _is_worth(spectra: Spectra, before: Fit, after: Fit, power: float) -> bool:
    """Say whether one more mode tells more than it costs (Schwarz, with unknown strength of the rest)."""
    numbers = 2 * spectra.values.size
    more = 2 + 2 * len(spectra.values)
    if before.misfit - after.misfit < LEAST_GAIN * power:
        return False
    # what is left is never taken for less than the noise it must hold
    left = max(after.misfit, 0.5 * numbers)
    return bool(numbers * np.log(max(before.misfit, left) / left) > more * np.log(numbers))


def _with_one_more(spectra: Spectra, best: Fit) -> Fit | None:
    """Give the best fit with one more pole."""
    starts = []
    trials = _trials(spectra, best)
    if len(trials):
        gain = gains(spectra, best, trials)
        order = np.argsort(-gain)
        used_hz: list[float] = []
        for index in order:
            hz = float(np.exp(trials[index, 0]))
            if any(abs(hz / other - 1) < 0.01 for other in used_hz):
                continue
            used_hz.append(hz)
            starts.append(np.concatenate((best.poles, trials[index][None])))
            if len(used_hz) == STARTS - (1 if len(best.poles) else 0):
                break
    if len(best.poles):
        starts += _parted(spectra, best)
    fits = []
    for start in starts:
        try:
            fits.append(fit_poles(spectra, start))
        except np.linalg.LinAlgError:
            continue  # two poles fell on one another: no gain there
    return min(fits, key=lambda fit: fit.misfit) if fits else None


def _trials(spectra: Spectra, best: Fit) -> Floats:
    """Give poles at the peaks of what is left, each with several dampings."""
    step_hz = float(spectra.hz[1] - spectra.hz[0])
    power = np.sum(np.abs(best.rest) ** 2, axis=0)
    peaks: list[int] = []
    for width_hz in (step_hz, 25.0, 80.0):
        size = max(1, round(width_hz / step_hz))
        smooth = ndimage.uniform_filter1d(power, size) if size > 1 else power
        tops = np.flatnonzero(smooth == ndimage.maximum_filter1d(smooth, 2 * size + 1))
        peaks += [int(top) for top in tops[np.argsort(-smooth[tops])][:PEAKS]]
    trials = [
        (np.log(hz), np.log(2 * np.pi * hz * damping))
        for hz in sorted({float(spectra.hz[peak]) for peak in peaks})
        for damping in TRIAL_DAMPINGS
    ]
    return np.array(trials).reshape(-1, 2)


def _parted(spectra: Spectra, best: Fit) -> list[Floats]:
    """Part the strongest mode in two close ones."""
    share = [
        float(
            np.sum(np.abs(shape_of(spectra, pole) / spectra.noise) ** 2)
            * np.sum(np.abs(best.amplitudes[:, i]) ** 2)
        )
        for i, pole in enumerate(best.poles)
    ]
    index = int(np.argmax(share))
    starts = []
    for apart, uneven in PARTINGS[: 2 if len(best.poles) <= 3 else 1]:
        poles = np.concatenate((best.poles, best.poles[index][None]))
        poles[index] += (-apart, uneven / 2)
        poles[-1] += (apart, -uneven / 2)
        starts.append(poles)
    return starts


def _upper_hz(decays: Decays, *, length_s: float) -> float:
    """Give the highest frequency worth looking at."""
    spectra = decays.spectra(length_s=length_s, high_hz=8000.0)
    step_hz = float(spectra.hz[1] - spectra.hz[0])
    power = np.mean(np.abs(spectra.values / spectra.noise) ** 2, axis=0) / 2
    smooth = ndimage.uniform_filter1d(power, max(1, round(40 / step_hz)))
    over = np.flatnonzero(smooth > HEARD_OVER)
    top = float(spectra.hz[over[-1]]) if over.size else 0.0
    return min(float(spectra.hz[-1]), max(LOWEST_BAND_HZ, ROOM_ABOVE * top + 200))
