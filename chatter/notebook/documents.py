"""Kept documents as lists and the advice see them, and which cuts of a long history tell most.

In: documents and listed cuts. Out: cells of the lists; frozen results of the model.
Leaves out: the store, and every judgement of the sound.
"""

import math
from dataclasses import replace
from typing import Any

from chatter.model.cut import NO_RAMP, CutAnalysis, JudgedCut, Line, Spindle, present_depth_mm
from chatter.model.noise import FULL_SCALE_IN_DOUBT
from chatter.model.notebook import DOUBTFUL, FACT_NAMES, SAME_SPEED, KeptCut
from chatter.notebook.checks import is_same_fact

ONSET_DEVIATIONS = 2.0  # so many deeper than its onset a ramp surely chattered; own choice
LEAST_ONSET_SHARE = 0.02  # of the ramp's end: from the start may be from no depth at all; own choice
MOST_CUTS = 12  # own choice: more cuts cost time and hardly sharpen the odds


def cut_values(document: dict[str, Any]) -> dict[str, Any]:
    """Give what a list shows of a `cut` document; of a ramped cut the depth at its deep end.

    A pass that hardly is the ramp that it was told to be has no depth that is known.
    """
    settings, worst = document["program"]["settings"], read_analysis(document).worst
    is_told = all(one["code"] != NO_RAMP for one in document["recording"].get("findings", ()))
    depth_mm = present_depth_mm(settings.get("depth_mm"), depth_to_mm=settings.get("depth_to_mm"))
    return {
        "set_rpm": document["spindle"]["programmed_rpm"],
        "measured_rpm": document["spindle"]["measured_rpm"],
        "depth_mm": depth_mm if is_told else None,
        "width_mm": settings.get("width_mm"),
        "feed_mm_min": settings.get("feed_mm_min"),
        "verdict": document["verdict"],
        "chatter_probability": document["chatter_probability"],
        "chatter_hz": document["chatter_hz"],
        "half_passing_db": None if worst is None else worst.half_passing_db,
        "ramp_onset_mm": read_onset_mm(document)[0],
    }


def read_onset_mm(document: dict[str, Any]) -> tuple[float | None, float | None]:
    """Give the depth at which chatter began in a ramped pass, and its deviation; None where not known."""
    ramp = document.get("ramp")
    return (None, None) if ramp is None else (ramp["onset_depth_mm"], ramp["onset_depth_sd_mm"])


def from_onset_on(cut: KeptCut) -> KeptCut:
    """Give a cut as others are compared with it: a ramped pass chattered from its onset on."""
    if cut.verdict != "chatter" or cut.ramp_onset_mm is None or cut.depth_mm is None:
        return cut
    onset_mm = min(max(cut.ramp_onset_mm, LEAST_ONSET_SHARE * cut.depth_mm), cut.depth_mm)
    return replace(cut, depth_mm=round(onset_mm, 2) or onset_mm)


def surely_from_mm(cut: KeptCut, *, onset_sd_mm: float) -> float | None:
    """Give the depth from which a ramped pass chattered for sure; None of a pass that is no such one.

    Parameters
    ----------
    cut
        It, as it was filed.
    onset_sd_mm
        Deviation of its onset.
    """
    if cut.verdict != "chatter" or cut.ramp_onset_mm is None or cut.depth_mm is None:
        return None
    sure_mm = min(cut.ramp_onset_mm + ONSET_DEVIATIONS * onset_sd_mm, cut.depth_mm)
    return max(round(sure_mm, 2), from_onset_on(cut).depth_mm or 0.0)


def is_bound_only(cut: KeptCut, *, from_mm: float) -> bool:
    """Say whether a ramp chattered from its very start on, so that its onset is no more than a bound.

    Parameters
    ----------
    cut
        It, as it was filed.
    from_mm
        Depth at its start.
    """
    if cut.ramp_onset_mm is None or cut.depth_mm is None:
        return False
    return cut.ramp_onset_mm <= from_mm + LEAST_ONSET_SHARE * (cut.depth_mm - from_mm)


def told_alike(had: dict[str, Any], document: dict[str, Any]) -> bool:
    """Say whether two documents of one recording were made from the same facts by the same program.

    The settings hold facts of the setup too: what it has learnt since tells nothing of the recording. They
    hold the name of a calibration alone, and what is kept by that name may have been replaced.
    """
    before, now = (dict(one["program"]) for one in (had, document))
    settings, others = before.pop("settings"), now.pop("settings")
    return (
        had.get("calibration") == document.get("calibration")
        and before == now
        and all(_is_same_setting(name, settings, others) for name in {*settings, *others})
    )


def _is_same_setting(name: str, settings: dict[str, Any], others: dict[str, Any]) -> bool:
    one, other = settings.get(name), others.get(name)
    if name in FACT_NAMES:
        return one is None or other is None or is_same_fact(name, one, other)
    return bool(one == other)


def noise_cutting_db(document: dict[str, Any]) -> float | None:
    """Give the level at the phone while it cuts; of an older `noise` document the mean of the recording."""
    level_db = (document.get("loud_part") or document["levels"])["LAeq_db"]
    return None if level_db is None else float(level_db)


def is_noise_in_doubt(document: dict[str, Any]) -> bool:
    """Say whether the levels of a `noise` document may be far off."""
    return any(one["code"] == FULL_SCALE_IN_DOUBT for one in document["recording"].get("findings", ()))


def noise_values(document: dict[str, Any]) -> dict[str, Any]:
    """Give what a list shows of a `noise` document: levels in dB(A), rated next door where that was told."""
    laeq_db, neighbour = document["levels"]["LAeq_db"], document["neighbour"]
    cutting_db = noise_cutting_db(document)
    rated_db = None if cutting_db is None else cutting_db + (document["tonal_adjustment_db"] or 0.0)
    return {"laeq_db": laeq_db, "rated_db": rated_db if neighbour is None else neighbour["rating_db"]}


def read_analysis(document: dict[str, Any]) -> CutAnalysis:
    """Give the analysis that a `cut` document holds; findings stay in the document."""
    spindle = document["spindle"]
    return CutAnalysis(
        spindle=Spindle(
            programmed_rpm=spindle["programmed_rpm"],
            flutes=spindle["flutes"],
            measured_rpm=spindle["measured_rpm"],
            measured_rpm_sd=spindle["measured_rpm_sd"],
        ),
        channel=document["recording"].get("channel", 0),
        cuts=tuple(_read_cut(cut) for cut in document["cuts"]),
        cut_index=document["cut_index"],
        findings=(),
    )


def _read_cut(cut: dict[str, Any]) -> JudgedCut:
    values = {name: cut[name] for name in _CUT_FIELDS}
    lines = tuple(Line(**{name: line[name] for name in _LINE_FIELDS}) for line in cut["lines"])
    return JudgedCut(**values, lines=lines, half_passing_db=cut.get("half_passing_db"))


_LINE_FIELDS = ("frequency_hz", "width_hz", "level_db", "kind", "order")
_CUT_FIELDS = (
    "start_s",
    "end_s",
    "measured_rpm",
    "measured_rpm_sd",
    "verdict",
    "chatter_probability",
    "chatter_hz",
    "onset_s",
)


def pick_telling_cuts(cuts: tuple[KeptCut, ...], *, most: int = MOST_CUTS) -> tuple[KeptCut, ...]:
    """Give the cuts that tell most about the machine, in the order given: oldest first.

    Cuts without a depth or a verdict tell nothing. Of stable cuts at one speed the deepest tells what the
    shallower ones tell, of sure and of doubtful ones, and of chattering ones the shallowest, with a chatter
    frequency and without one. Of what remains the newest are taken, at least half of them with a frequency
    where there are so many.
    """
    telling: dict[tuple[bool, bool, bool, int], KeptCut] = {}
    edge: list[KeptCut] = []
    for cut in cuts:
        if cut.depth_mm is None or cut.verdict == "undecided":
            continue
        if cut.verdict == "marginal":
            edge.append(cut)
            continue
        chatters = cut.verdict == "chatter"
        is_doubtful = not chatters and (cut.chatter_probability or 0.0) > DOUBTFUL
        place = (chatters, is_doubtful, cut.chatter_hz is not None, _speed_place(cut.true_rpm))
        had = telling.get(place)
        if had is None or had.depth_mm is None or _tells_more(cut, had):
            telling[place] = cut
    age = {cut.number: -place for place, cut in enumerate(cuts)}
    left = sorted([*telling.values(), *edge], key=lambda cut: age[cut.number])
    singing = [cut for cut in left if cut.chatter_hz is not None][: most // 2]
    others = [cut for cut in left if cut not in singing][: most - len(singing)]
    return tuple(sorted([*singing, *others], key=lambda cut: -age[cut.number]))


def _speed_place(rpm: float) -> int:
    """Give the number of a speed; those of one number are compared by depth alone."""
    return round(math.log(rpm) / math.log1p(SAME_SPEED))


def _tells_more(cut: KeptCut, had: KeptCut) -> bool:
    """Say whether a later cut at much the same speed with the same verdict tells at least as much."""
    depth_mm, had_mm = cut.depth_mm or 0.0, had.depth_mm or 0.0
    return depth_mm <= had_mm if cut.verdict == "chatter" else depth_mm >= had_mm
