"""How likely a cut is stable at each speed and depth, for the next cut and the map alike.

In: the cuts made, what is known of the setup, tapped modes. Out: chances over a grid.
Method: the share of the machines that would have done what was heard (chatter/advice/machines.py) that cut
stably. Near the speed of a cut that was made, what was heard there counts more than any machine: no shallower
cut is less likely stable than one that was heard stable, no deeper one likelier than one that wasn't.
Leaves out: which cut to make.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.advice.heard import MadeCut, true_per_set
from chatter.advice.machines import HeardCut, Machines, draw_machines
from chatter.advice.near import ONE_SPEED, speeds_apart
from chatter.advice.shapes import KnownMode
from chatter.advice.speeds import score_depths, smooth_over_speeds
from chatter.model.cut import CutSetup
from chatter.model.notebook import SAME_SPEED

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FADED = 2 * SAME_SPEED  # own choice: so far from its speed a cut counts by the machines alone
SAME_DEPTH = 1 + 1e-9  # rounding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChanceGrid:
    """How likely a cut is stable over speed and depth."""

    speeds_rpm: Floats  # (n,), true, rising
    depths_mm: Floats  # (m,), rising
    stable_probability: Floats  # (m, n)


def draw_history(
    cuts: tuple[MadeCut, ...], *, setup: CutSetup, known: tuple[KnownMode, ...] = ()
) -> Machines | None:
    """Draw machines that explain a history; their depths are shares of the last cut's."""
    last_mm = cuts[-1].depth_mm
    heard = tuple(
        HeardCut(
            rpm=cut.rpm,
            depth_share=cut.depth_mm / last_mm,
            chatter_probability=cut.chatter_probability,
            lines=cut.lines,
            # The depth of a ramp is where its chatter began, so it is the limit.
            limit=None if cut.depth_sd_mm is None else (1.0, cut.depth_sd_mm / cut.depth_mm),
        )
        for cut in reversed(cuts)
    )
    return draw_machines(heard, setup=setup, known=known)


def grid_chances(
    machines: Machines,
    *,
    cuts: tuple[MadeCut, ...],
    last_depth_mm: float,
    speeds_rpm: Floats,
    depths_mm: Floats,
    flutes: int,
) -> ChanceGrid:
    """Give the chance of a stable cut at each speed and depth.

    Parameters
    ----------
    machines
        From `draw_history`.
    cuts
        All that were made, whether or not the machines were drawn from them.
    last_depth_mm
        Depth of the last cut of that history.
    speeds_rpm, depths_mm
        Shapes (n,) from `speed_grid_rpm`, and (m,), rising.
    flutes
        Cutting edges.
    """
    rows = score_depths(
        machines, depth_shares=depths_mm / last_depth_mm, speeds_rpm=speeds_rpm, flutes=flutes
    )
    chance = np.clip([smooth_over_speeds(row) for row in rows], 0.0, 1.0)
    rpm, depth_mm = np.array([cut.rpm for cut in cuts]), np.array([cut.depth_mm for cut in cuts])
    sure_mm = np.array([cut.spoils_from_mm for cut in cuts])
    heard = 1 - np.array([cut.chatter_probability for cut in cuts])
    stable = np.array([cut.verdict == "stable" for cut in cuts], dtype=bool)
    dialled = np.array([cut.set_rpm for cut in cuts]) * (true_per_set(cuts) if cuts else 1.0)
    for column, speed in enumerate(speeds_rpm.tolist()):
        away = speeds_apart(rpm, speed)
        # What wasn't stable counts at the speed it was dialled at, too: chatter may have slowed the spindle.
        away = np.where(stable, away, np.minimum(away, speeds_apart(dialled, speed)))
        weight = np.clip((FADED - away) / (FADED - ONE_SPEED), 0.0, 1.0)
        # Cuts of this very speed last: they outweigh those made near it.
        for use in ((weight > 0) & (weight < 1), weight == 1):
            if use.any():
                chance[:, column] = _heed(
                    chance[:, column],
                    depths_mm=depths_mm,
                    made_mm=depth_mm[use],
                    sure_mm=sure_mm[use],
                    heard=heard[use],
                    stable=stable[use],
                    weight=weight[use],
                )
    return ChanceGrid(speeds_rpm=speeds_rpm, depths_mm=depths_mm, stable_probability=chance)


def _heed(
    chance: Floats,
    *,
    depths_mm: Floats,
    made_mm: Floats,
    sure_mm: Floats,
    heard: Floats,
    stable: Bools,
    weight: Floats,
) -> Floats:
    """Raise and lower the chances at one speed, shape (m,), by what cuts near it, shape (k,), did.

    Each step keeps the chances falling with the depth. Between where a ramp seemed to begin to chatter and
    where it surely did, a cut that was stable counts more than the ramp.
    """
    spoilt_mm = np.min(sure_mm[~stable], initial=np.inf)
    holds = stable & (made_mm < spoilt_mm)
    _, alike = np.unique(made_mm, return_inverse=True)
    least = np.ones(len(made_mm))
    np.minimum.at(least, alike[holds], heard[holds])  # of several stable cuts of one depth
    steps = depths_mm[:, None] <= made_mm[holds] * SAME_DEPTH
    up = weight[holds] * np.maximum(least[alike[holds]] - chance[:, None], 0.0)
    raised = chance + np.max(steps * up, axis=1, initial=0.0)
    held = np.max(steps * weight[holds], axis=1, initial=0.0)
    steps = depths_mm[:, None] * SAME_DEPTH >= made_mm[~stable]
    down = weight[~stable] * np.maximum(raised[:, None] - heard[~stable], 0.0)
    lowered: Floats = raised - (1 - held) * np.max(steps * down, axis=1, initial=0.0)
    return lowered
