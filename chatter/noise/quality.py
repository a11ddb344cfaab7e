"""What the levels of bands tell about the recorder.

In: third-octave bands. Out: findings.
Method: a recorder's high-pass takes 12 to 36 dB an octave from a broad sound below its edge; rooms and
machines that fade so steadily below 315 Hz, under a shelf that is even, are rare.
Source: common practice; the numbers are our own, held by tests/unit/noise/test_quality.py.
Leaves out: what the samples themselves tell (chatter/audio).
"""

from collections.abc import Sequence

from chatter.model import Finding
from chatter.model.noise import BandLevel

HIGHEST_EDGE_HZ = 320.0
STEPS_DB = (4.0, 12.0)  # from band to band: 12 and 36 dB an octave
STEPS = 3
SHELF = 3  # bands above the edge
EVEN_DB = 8.0  # they differ by less
FAINTEST_DB = 25.0  # below the loudest band: fainter sound tells nothing about the recorder


def high_pass_finding(bands: Sequence[BandLevel]) -> Finding | None:
    """Say where low frequencies fade as in a recorder that takes them away.

    Parameters
    ----------
    bands
        By rising midband.

    Returns
    -------
    Finding or None
        None where nothing shows.
    """
    known = [(band.midband_hz, band.Leq_db) for band in bands if band.Leq_db is not None]
    if not known:
        return None
    loudest_db = max(level for _, level in known)
    for edge in range(STEPS, len(known) - SHELF):
        hz, level_db = known[edge]
        if hz > HIGHEST_EDGE_HZ:
            return None
        falls = [known[edge - step][1] - known[edge - step - 1][1] for step in range(STEPS)]
        shelf = [level for _, level in known[edge : edge + SHELF]]
        if (
            all(STEPS_DB[0] <= fall <= STEPS_DB[1] for fall in falls)
            and max(shelf) - min(shelf) < EVEN_DB
            and level_db > loudest_db - FAINTEST_DB
        ):
            return Finding(
                code="high-pass",
                severity="info",
                message=f"Low sound fades below about {hz:.0f} Hz, as recorders make it, so LCeq and LZeq "
                "read low: choose a recorder without a filter against rumble.",
            )
    return None
