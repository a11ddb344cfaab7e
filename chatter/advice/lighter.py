"""The lighter cut that tells period doubling from run-out.

In: the cuts made, the one that could not be told. Out: the same speed with less depth, inside every limit of
the next cut; or nothing, where the other cuts tell more.
Leaves out: which cuts can't be told, and what the lighter one then tells (chatter/advice/halves.py).
"""

from dataclasses import replace

from chatter.advice.heard import MadeCut, find_best, lies_near
from chatter.advice.near import ONE_SPEED
from chatter.advice.next_cut import (
    BOLDEST_STEP,
    CHANGE_FIRST,
    LEAST_MM,
    MUCH_THE_SAME,
    TRIED_AGAIN,
    NextCut,
    deepest_to_try_mm,
    powered_mm,
    round_down,
    too_weak,
)
from chatter.milling.limits import feed_to_suggest_mm_min
from chatter.model.cut import CutSetup

LIGHTER_SHARE = 0.45  # of the depth of a cut that may double its period; own choice


def choose_lighter(
    cuts: tuple[MadeCut, ...],
    *,
    setup: CutSetup,
    rpm: float,
    set_rpm: float,
    depth_mm: float,
    feed_mm_min: float | None,
    boldest_step: float = BOLDEST_STEP,
) -> NextCut | None:
    """Choose the cut that tells period doubling from run-out: the same speed, less than half the depth.

    Parameters
    ----------
    cuts, setup, boldest_step
        As for `choose_next`; there may be no cut yet.
    rpm, set_rpm, depth_mm, feed_mm_min
        Of the cut that could not be told, at a speed that `allows_speed`.

    Returns
    -------
    NextCut
        None where the other cuts tell more: one of less depth chattered at that speed, or the limits leave no
        depth that can be set.

    Raises
    ------
    InputError
        The spindle has not the power for any cut, and no other cut was made.
    """
    best = find_best(cuts, setup=setup)
    spoilt = [cut for cut in cuts if cut.verdict == "chatter"]
    near = [cut for cut in spoilt if lies_near(cut, rpm=rpm, set_rpm=set_rpm, within=MUCH_THE_SAME)]
    lighter_mm = min(
        LIGHTER_SHARE * depth_mm,
        deepest_to_try_mm(cuts, setup=setup, best=best, boldest_step=boldest_step),
        *(TRIED_AGAIN * cut.depth_mm for cut in near),
    )
    load = replace(setup, rpm=set_rpm, feed_mm_min=feed_mm_min)  # its own: other cuts have other chips
    driven_mm = powered_mm(lighter_mm, set_rpm=set_rpm, setup=load)
    there = [cut for cut in near if lies_near(cut, rpm=rpm, set_rpm=set_rpm, within=ONE_SPEED)]
    is_settled = any(cut.spoils_from_mm <= depth_mm for cut in there)  # it can't hold, whatever it was
    if cuts and (is_settled or driven_mm < LEAST_MM):
        return None
    if driven_mm < min(LEAST_MM, lighter_mm):
        raise too_weak(setup)
    why = (
        "Half the tooth-passing frequency is loud in the last cut, from run-out (the tool turns a little off "
        "centre) or from a kind of chatter. This cut at less than half the depth tells which: run-out stays "
        "as loud beside the other sounds of the cut, the chatter gets far softer."
    )
    if driven_mm < LEAST_MM:
        driven_mm, why = LEAST_MM, f"The last cut leaves hardly any depth. {CHANGE_FIRST}"
    if feed_mm_min is None and setup.feed_mm_min is not None:
        why += " The last cut's feed wasn't told: keep the one that it was cut with."
    return NextCut(
        action="cut",
        rpm=rpm,
        set_rpm=set_rpm,
        depth_mm=round_down(driven_mm),
        feed_mm_min=feed_to_suggest_mm_min(load, set_rpm=set_rpm),
        stable_probability=None,
        best=best,
        why=why,
    )
