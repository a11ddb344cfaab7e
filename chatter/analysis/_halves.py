"""Cuts of a setup as they count after being compared with lighter ones at the same speed.

In: listed cuts. Out: the same, with the verdict that two depths give where one alone could not.
Leaves out: the comparison (chatter/advice/halves.py); what was heard stays in the document.
"""

import math
from collections.abc import Iterable
from dataclasses import replace

from chatter.model.cut import DOUBTFUL_RUN_OUT, HALVES_UNTOLD_DB, CutAnalysis
from chatter.model.notebook import KeptCut

MOST_COMPARED = 200  # of one dialled speed, the newest; own choice: keeps long notebooks quick
SOFT_DB = -10.0  # own choice: 1 in 100 cuts with softer halves doubles (tests/benchmarks/halves.py)
SURE_DOUBLING = 0.9  # chance of chatter; own choice


def settle_cuts(cuts: tuple[KeptCut, ...]) -> tuple[KeptCut, ...]:
    """Give the cuts with the verdict that counts; odd flutes and earlier versions stay as they are.

    Cuts of the same dialled speed are compared where their true speeds are within 1 % as well.
    """
    by_dial: dict[float, list[KeptCut]] = {}
    for cut in cuts:
        if cut.is_current and cut.half_passing_db is not None and cut.depth_mm:
            by_dial.setdefault(cut.set_rpm, []).append(cut)
    settled: dict[int, KeptCut] = {}
    for alike in by_dial.values():
        if len(alike) > 1:
            settled |= _settle_alike(alike[-MOST_COMPARED:])
    return tuple(settled.get(cut.number, cut) for cut in cuts)


def _settle_alike(cuts: list[KeptCut]) -> dict[int, KeptCut]:
    """Compare cuts of one dialled speed."""
    import numpy as np

    from chatter.advice.halves import compare_halves

    told = compare_halves(
        np.array([cut.true_rpm for cut in cuts]),
        depths_mm=np.array([cut.depth_mm or math.nan for cut in cuts]),
        halves_db=np.array([cut.half_passing_db for cut in cuts], dtype=float),
        chattering=np.array([cut.verdict == "chatter" for cut in cuts]),
    )
    return {cut.number: _settle(cut, one) for cut, one in zip(cuts, told, strict=True)}


def _settle(cut: KeptCut, told: str | None) -> KeptCut:
    if told == "doubling" and (cut.half_passing_db or 0.0) > SOFT_DB:
        return replace(cut, verdict="chatter", chatter_probability=SURE_DOUBLING, chatter_hz=None)
    if told == "run-out" and is_untold(cut):
        return replace(cut, verdict="stable", chatter_probability=DOUBTFUL_RUN_OUT)
    return cut


def is_untold(cut: KeptCut) -> bool:
    """Say whether a cut of known depth is undecided because its halves may be run-out or period doubling."""
    if cut.verdict != "undecided" or cut.half_passing_db is None or not cut.depth_mm:
        return False
    return cut.half_passing_db > HALVES_UNTOLD_DB


def may_double(cut: KeptCut, *, among: Iterable[KeptCut]) -> bool:
    """Say whether a cut that counts as stable may double its period, and no lighter one there tells.

    Parameters
    ----------
    cut
        It; with odd flutes it has no halves, and is heard as it is.
    among
        All cuts of its setup, as they count.
    """
    from chatter.advice.halves import LIGHTER
    from chatter.advice.near import are_one_speed

    depth_mm, half_db = cut.depth_mm, cut.half_passing_db
    if not depth_mm or half_db is None or half_db <= SOFT_DB:
        return False
    return not any(
        one.is_current
        and one.half_passing_db is not None
        and one.verdict != "chatter"
        and one.set_rpm == cut.set_rpm
        and 0 < (one.depth_mm or 0.0) <= LIGHTER * depth_mm
        and are_one_speed(one.true_rpm, cut.true_rpm)
        for one in among
    )


def caution_doubling(speeds_rpm: Iterable[float]) -> str:
    """Say that cuts at these speeds, as dialled, may double their period, and what tells."""
    told = [f"{rpm:,.0f}" for rpm in speeds_rpm]
    where = told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"
    return (
        f"At {where} rpm teeth may cut in turns: with an even number of flutes that can sound like a stable "
        "cut. Look for marks on the surface; or record a cut at less than half the depth there, and file it."
    )


def as_settled(analysis: CutAnalysis, cut: KeptCut) -> CutAnalysis:
    """Give an analysis with the verdict that counts on its worst cut."""
    worst = analysis.worst
    if worst is None or analysis.cut_index is None or worst.verdict == cut.verdict:
        return analysis
    counts = replace(worst, verdict=cut.verdict, chatter_probability=cut.chatter_probability, chatter_hz=None)
    index = analysis.cut_index
    return replace(analysis, cuts=(*analysis.cuts[:index], counts, *analysis.cuts[index + 1 :]))


def tell_settled(before: Iterable[KeptCut], *, heard: tuple[KeptCut, ...], new: int) -> list[str]:
    """Say which cuts count otherwise than they did, or than the new one was heard.

    Parameters
    ----------
    before
        The cuts as they counted before the new one was filed.
    heard
        All cuts as they were heard, the new one too.
    new
        Its number.
    """
    alone = {cut.number: cut.verdict for cut in heard}
    # What another process filed meanwhile counted as it was heard: that is no news.
    had = alone | {cut.number: cut.verdict for cut in before} | {new: alone.get(new)}
    notes = []
    for cut in settle_cuts(heard):
        if had[cut.number] == cut.verdict:
            continue
        what = "this cut" if cut.number == new else f"cut {cut.number}"
        if cut.verdict == alone[cut.number]:
            notes.append(
                f"the cuts at this speed no longer decide about {what}: it counts as it "
                f"was heard, {cut.verdict}."
            )
        elif cut.verdict == "chatter":
            notes.append(
                f"half the tooth-passing frequency is far louder in {what} than in a lighter one at this "
                f"speed: its teeth cut in turns, so {what} counts as chatter."
            )
        else:
            notes.append(
                f"half the tooth-passing frequency is as loud in {what} as at another depth: that is "
                f"run-out, so {what} counts as stable."
            )
    return notes
