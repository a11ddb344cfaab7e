"""The plain script finds the share and the line of a tone beside a comb."""

import numpy as np
import pytest

from tests.benchmarks.plain_script import density, off_comb

RATE_HZ = 48_000.0


def test_share_off_the_comb_and_the_strongest_line_there():
    at_s = np.arange(4 * int(RATE_HZ)) / RATE_HZ
    # All lie on bins of the window, so that none leaks beyond them.
    teeth = sum(np.sin(2 * np.pi * 281.25 * order * at_s) for order in (1, 2, 3))
    tone = 0.5 * np.sin(2 * np.pi * 703.125 * at_s)
    share, line_hz = off_comb(*density(teeth + tone, RATE_HZ), rotation_hz=93.75)
    assert share == pytest.approx(0.25 / 3.25, rel=0.01)
    assert line_hz == pytest.approx(703.125, abs=1.0)
