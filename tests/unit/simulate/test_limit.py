from dataclasses import replace

import pytest

from chatter.simulate import Conditions, Mode, Tool, is_stable
from chatter.simulate.limit import motion_kind

LIGHT = (Mode(axis="x", frequency_hz=922, damping_ratio=0.011, stiffness_n_m=1340049.65),)
HALF_CLIMB = Conditions(
    rpm=10_000,
    immersion=0.5,
    direction="climb",
    feed_per_tooth_m=1e-4,
    pressure_pa=6e8,
    force_ratio=1 / 3,
)


def test_period_doubling_of_two_equal_teeth_is_found_though_it_repeats_every_turn():
    # Exact Chebyshev-collocation limit, computed independently of this project: 2.1047 mm, period doubling.
    assert is_stable(Tool(flutes=2, modes=LIGHT), HALF_CLIMB, depth_m=0.85 * 2.1047e-3)
    assert not is_stable(Tool(flutes=2, modes=LIGHT), HALF_CLIMB, depth_m=1.15 * 2.1047e-3)


@pytest.mark.parametrize("offset_m", [0.0, 2e-6, 10e-6])
def test_period_doubling_of_two_teeth_is_named_under_run_out_too(offset_m):
    tool = Tool(flutes=2, modes=LIGHT, runout_m=(offset_m, -offset_m))
    # The same exact limit: a tenth of the feed as run-out lifts no tooth out of the cut.
    assert motion_kind(tool, HALF_CLIMB, depth_m=0.85 * 2.1047e-3) == "none"
    assert motion_kind(tool, HALF_CLIMB, depth_m=1.15 * 2.1047e-3) == "flip"


def test_period_doubling_of_three_teeth_is_named_though_it_takes_two_turns():
    modes = tuple(Mode(axis=a, frequency_hz=600, damping_ratio=0.03, stiffness_n_m=2e6) for a in "xy")
    conditions = replace(HALF_CLIMB, rpm=5000, immersion=0.1, pressure_pa=7e8, force_ratio=0.3)
    # Exact Chebyshev-collocation limit, same origin: 1.9684 mm, period doubling.
    assert motion_kind(Tool(flutes=3, modes=modes), conditions, depth_m=0.85 * 1.9684e-3) == "none"
    assert motion_kind(Tool(flutes=3, modes=modes), conditions, depth_m=1.15 * 1.9684e-3) == "flip"


@pytest.mark.parametrize("offset_m", [0.0, 2e-6])
def test_chatter_of_another_frequency_is_no_period_doubling(offset_m):
    tool = Tool(flutes=2, modes=LIGHT, runout_m=(offset_m, -offset_m))
    # Exact Chebyshev-collocation limit at 12,000 rpm, same origin: 0.6131 mm, quasi-periodic.
    faster = replace(HALF_CLIMB, rpm=12_000)
    assert motion_kind(tool, faster, depth_m=0.85 * 0.6131e-3) == "none"
    assert motion_kind(tool, faster, depth_m=1.15 * 0.6131e-3) == "hopf"
