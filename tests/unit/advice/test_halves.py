"""Period doubling against run-out: by hand, and on the time-domain simulator."""

from unittest import mock

import numpy as np
import pytest

from chatter.advice.halves import compare_halves
from chatter.cut import judge_recording
from chatter.model import CutSetup
from chatter.simulate import scene as scenes
from chatter.simulate.limit import motion_kind
from chatter.simulate.milling import Conditions, Mode, Tool
from tests.recordings_made import as_recording


def compare(*cuts):
    """Each cut: speed, depth, halves in dB, and whether it chatters otherwise."""
    speeds, depths, halves, chattering = (np.array(one) for one in zip(*cuts, strict=True))
    return compare_halves(
        speeds.astype(float),
        depths_mm=depths.astype(float),
        halves_db=halves.astype(float),
        chattering=chattering.astype(bool),
    )


def test_halves_that_leap_with_the_depth_are_doubling_and_those_that_stay_are_run_out():
    assert compare((20_000, 0.4, -20, False), (20_050, 1.0, 2, False)) == (None, "doubling")
    assert compare((20_000, 0.4, 8, False), (20_050, 1.0, 9, False)) == ("run-out", "run-out")


@pytest.mark.parametrize(
    "cuts",
    [
        ((20_000, 0.4, -20, False), (21_000, 1.0, 2, False)),  # another speed
        ((20_000, 0.8, -20, False), (20_000, 1.0, 2, False)),  # hardly lighter
        ((20_000, 0.4, -20, True), (20_000, 1.0, 2, False)),  # the lighter one chatters otherwise
        ((20_000, 0.4, np.nan, False), (20_000, 1.0, 2, False)),  # not known
        ((20_000, 0.4, -2, False), (20_000, 1.0, 2, False)),  # neither a leap nor alike
    ],
)
def test_what_two_cuts_do_not_tell_stays_open(cuts):
    assert compare(*cuts) == (None, None)


def test_nothing_is_run_out_at_a_speed_that_doubles():
    told = compare((20_000, 0.2, -20, False), (20_000, 0.5, 4, False), (20_000, 1.0, 6, False))
    assert told == (None, "doubling", "doubling")


@pytest.mark.parametrize(
    ("runout_m", "deeper_mm", "expected"), [(0.1e-6, 1.6, "doubling"), (4e-6, 1.0, None)]
)
def test_two_depths_of_a_simulated_two_fluted_tool_are_told_apart(rng, runout_m, deeper_mm, expected):
    # A machine built by hand that doubles its period between 1 and 1.6 mm at 22,000 rpm; the truth of each
    # cut is the simulator's own, by once-per-tooth samples.
    drawn = scenes.random_scene(rng, family="other", chattering=True)
    tool = Tool(
        flutes=2,
        modes=(
            Mode(axis="x", frequency_hz=410.0, damping_ratio=0.052, stiffness_n_m=2.5e6),
            Mode(axis="y", frequency_hz=287.0, damping_ratio=0.058, stiffness_n_m=8.7e6),
        ),
        runout_m=(runout_m, -runout_m),
    )
    conditions = Conditions(
        rpm=22_000.0,
        immersion=0.385,
        direction="climb",
        feed_per_tooth_m=1.5e-5,
        pressure_pa=1.06e9,
        force_ratio=0.27,
    )
    heard_db, kinds = [], []
    for depth_mm in (0.4, deeper_mm):
        kind = motion_kind(tool, conditions, depth_m=depth_mm / 1000, least_s=scenes.SETTLED_S)
        scene = scenes.replace(
            drawn,
            seed=1,
            tool=tool,
            conditions=conditions,
            programmed_rpm=22_000.0,
            cuts=1,
            sag=0.0,
            noise="none",
            drive_tone=False,
            agc=False,
            roughness=0.01,
            cut_s=2.0,
        )
        told = (depth_mm / 1000, depth_mm / 1000, kind)
        with mock.patch.object(scenes, "settle_depth", return_value=told):
            rendered = scenes.render_scene(scene)
        recording = as_recording(rendered.samples, rate_hz=rendered.rate_hz)
        worst = judge_recording(recording, setup=CutSetup(rpm=22_000.0, flutes=2)).worst
        assert worst is not None
        heard_db.append(worst.half_passing_db)
        kinds.append(kind)
    assert kinds == ["none", "flip" if expected == "doubling" else "none"]
    told = compare((22_000, 0.4, heard_db[0], False), (22_000, deeper_mm, heard_db[1], False))
    assert told[1] == expected or (expected is None and told[1] == "run-out")
    assert told[0] != "doubling"
