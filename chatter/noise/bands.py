"""One-third-octave bands, base ten, from 25 Hz to 16 kHz.

In: energies per line of a spectrum (spectrum.py). Out: the level of each band, dB re full scale.
Method: the lines between a band's edges are added up; a line on an edge counts by the share inside. With a
Hann window's leakage this meets class 1 in every band (tests/unit/noise/test_bands.py) without a filter
bank.
Source: IEC 61260-1:2014, 5.4 (midbands and edges, base ten), Table 1 (class limits).
Leaves out: levels of bands over time.
"""

import numpy as np
from numpy.typing import NDArray

from chatter.noise.levels import LEAST_POWER

Floats = NDArray[np.float64]
FIRST, LAST = -16, 12  # 25 Hz and 16 kHz: 1000 Hz * 10 ** (n / 10)
EDGE = 10**0.05  # IEC 61260-1:2014, 5.5: half a third octave, base ten


def midbands_hz() -> Floats:
    """Give the exact midbands, Hz, from 25 Hz to 16 kHz nominal: shape (29,)."""
    return np.asarray(1000.0 * 10 ** (np.arange(FIRST, LAST + 1) / 10))


def band_levels_db(energy: Floats, *, line_hz: float, samples: int, top_hz: float) -> list[float | None]:
    """Add up lines to bands.

    Parameters
    ----------
    energy
        Shape (f,): energy per line, the whole sound's; line k lies at k * line_hz.
    line_hz
        Distance of two lines, Hz.
    samples
        How many samples the energy is of.
    top_hz
        Highest frequency that the sound carries: a band that reaches beyond has no level.

    Returns
    -------
    list
        A level for each midband, dB re full scale; None where the recording can't carry it.
    """
    levels: list[float | None] = []
    silent = not energy.any()
    for midband in midbands_hz():
        if midband * EDGE > top_hz * (1 + 1e-9) or samples == 0 or silent:
            levels.append(None)
            continue
        # In lines, counted from the lower edge of line 0.
        low, high = midband / EDGE / line_hz + 0.5, midband * EDGE / line_hz + 0.5
        first, last = int(low), min(int(high), len(energy) - 1)
        # Summed on its own: a difference of two running sums loses a faint band beside a loud one.
        share = np.ones(last - first + 1)
        share[0] -= low - first
        share[-1] -= 1 - min(high - last, 1.0)
        power = float(share @ energy[first : last + 1]) / samples
        levels.append(float(10 * np.log10(max(power, LEAST_POWER))))
    return levels
