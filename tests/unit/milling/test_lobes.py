import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from chatter.errors import BadValueError
from chatter.milling.lobes import limit_depths_m, trial_frequencies_hz
from tests.reference.milling_limits import BENCHTOP, LIGHT, system

SLOT = system(BENCHTOP, axes="xy", width=1.0, direction="up", rpm=8_000)


def test_limit_does_not_hang_on_the_speed_that_the_system_carries():
    speeds = np.array([5_000.0, 8_000.0])
    first, second = (limit_depths_m(replace(SLOT, rpm=rpm), speeds_rpm=speeds)[0] for rpm in (1.0, 8_000.0))
    assert np.array_equal(first, second)


def test_harder_material_has_the_shallower_limit():
    speeds = np.linspace(3_000, 24_000, 20)
    usual, _ = limit_depths_m(SLOT, speeds_rpm=speeds)
    hard, _ = limit_depths_m(replace(SLOT, tangential_pa=2 * SLOT.tangential_pa), speeds_rpm=speeds)
    assert hard == pytest.approx(usual / 2, rel=1e-12)  # depth and pressure only act together


def test_limit_goes_on_rising_at_speeds_far_above_all_lobes():
    # One mode along the feed, 5 % up milling. The direct factor is negative there, so chatter needs Re G < 0:
    # above f_n, with a phase of half a turn to a whole one. At 400,000 rpm and two flutes a tooth period
    # holds one swing of 13,333 Hz, so the edge lies beyond 6,666 Hz: seven times f_n. There the mode is as
    # stiff as its mass makes it, k (f/f_n)^2, so at twice the speed the limit is about four times as deep.
    cut = system(LIGHT, axes="x", width=0.05, direction="up", rpm=1.0)
    limit_m, chatter_hz = limit_depths_m(cut, speeds_rpm=np.linspace(200_000.0, 400_000.0, 101))
    assert np.all(np.isfinite(limit_m))
    assert np.all(np.diff(limit_m) > 0)
    assert limit_m[-1] / limit_m[0] == pytest.approx(4, rel=0.1)
    assert np.all((chatter_hz > 3_333) & (chatter_hz < 13_333))


def test_trial_frequencies_lie_within_a_hundredth_of_each_mode_s_width():
    narrow = replace(SLOT, damping_ratio=np.array([0.002, 0.03]), natural_hz=np.array([600.0, 3_000.0]))
    trial_hz = trial_frequencies_hz(narrow)
    assert np.all(np.diff(trial_hz) > 0)
    for hz, zeta in zip(narrow.natural_hz, narrow.damping_ratio, strict=True):
        near = trial_hz[np.abs(trial_hz / hz - 1) < zeta]
        assert np.diff(near).max() < 2 * zeta * hz / 100  # 2 zeta f_n: width at half power


def test_uneven_pitch_is_refused():
    with pytest.raises(BadValueError, match="uneven pitch"):
        limit_depths_m(replace(SLOT, pitch_rad=(2.0, 2.1, 2 * np.pi - 4.1)), speeds_rpm=np.array([8_000.0]))


@pytest.mark.parametrize("speeds", [[0.0], [-1.0], [np.nan], [[5_000.0]]])
def test_speeds_that_are_no_list_above_zero_are_refused(speeds):
    with pytest.raises(BadValueError, match="speeds_rpm"):
        limit_depths_m(SLOT, speeds_rpm=np.array(speeds))


def test_no_speeds_give_no_limits():
    limits_m, chatter_hz = limit_depths_m(SLOT, speeds_rpm=np.zeros(0))
    assert limits_m.shape == chatter_hz.shape == (0,)


def test_importing_the_stability_modules_does_not_load_the_compiler():
    code = (
        "import sys, chatter.milling.lobes, chatter.milling.semi_discretization\n"
        "print([name for name in ('numba', 'matplotlib') if name in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert shown.strip() == "[]"
