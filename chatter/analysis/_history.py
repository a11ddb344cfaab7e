"""What the cuts of a setup tell together: the next cut, the map, the card.

In: the name of a setup in a notebook. Out: frozen documents.
Leaves out: the odds (advice/), the file (notebook/), every layout.
"""

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from chatter.analysis._halves import as_settled, caution_doubling, is_untold, may_double, settle_cuts
from chatter.analysis._notebook import NotebookPath, kept_taps, notebook_path
from chatter.analysis._onsets import Onset, onsets_of
from chatter.analysis._parts import program_part
from chatter.analysis._values import read_number
from chatter.errors import InputError
from chatter.model.cut import CutSetup
from chatter.model.notebook import (
    WORDS,
    Card,
    CardNoise,
    CardRow,
    DoubtfulSetting,
    KeptBest,
    KeptCut,
    KeptSetup,
    NextDocument,
    SetupMap,
)
from chatter.model.tap import Tap
from chatter.notebook import Notebook
from chatter.notebook.checks import check_in_use
from chatter.notebook.documents import (
    MOST_CUTS,
    from_onset_on,
    is_noise_in_doubt,
    noise_cutting_db,
    pick_telling_cuts,
    read_analysis,
)
from chatter.notebook.store import now

if TYPE_CHECKING:
    from chatter.advice.heard import BestSoFar, HeldSetting, MadeCut
    from chatter.advice.next_cut import NextCut
    from chatter.advice.shapes import KnownMode

MOST_BOLD = 10.0
MAP_DEPTHS = 10
MAP_ROOM = 1.3  # the map reaches this far above the deepest cut
SAME_DEPTH = 1e-6  # rounding
CARD_NOISES = 6  # own choice: the newest
ASKED_WITHIN = 0.01  # of the depth asked for, what was cut for it; own choice
CARD_ROWS = 6


def suggest_next_cut(setup: str, *, notebook: NotebookPath = None, boldest_step: float = 1.5) -> NextDocument:
    """Say which cut of a setup to make next, or that none is worth making.

    Parameters
    ----------
    setup
        Its name.
    notebook
        File of the notebook; the one in the user's data folder when not given.
    boldest_step
        Most that the depth may grow over the deepest stable cut so far, above 1 and not above 10.

    Raises
    ------
    BadValueError
        There is no such setup, it is retired, or the step is out of its range.
    InputError
        The setup has no cut yet that carries a verdict and a depth, or its limits leave no speed.
    NotebookError
        The file can't be used.
    """
    boldest_step = read_number("boldest_step", boldest_step, MOST_BOLD, above=1.0)
    history = _read(setup, notebook)
    check_in_use(history.setup)
    untold = history.newest if history.newest is not None and is_untold(history.newest) else None
    if not history.cuts and untold is None:
        raise _no_cuts(history)
    from chatter.advice.concerns import Setting, find_concerns
    from chatter.advice.heard import allows_speed, keep_chip_load, range_to_try
    from chatter.advice.lighter import choose_lighter
    from chatter.advice.next_cut import choose_next
    from chatter.advice.words import (
        URGENT_CONCERNS,
        ask_for_air_pass_first,
        caution_jump,
        explain_no_feed,
        list_cautions,
    )
    from chatter.milling.limits import find_speed_range

    known = _present(history)
    made, weighed = _made(history)
    if untold is not None and not allows_speed(known, set_rpm=untold.set_rpm):
        untold = None  # no cut may be made at that speed again
        if not history.cuts:
            raise _no_cuts(history)
    chosen, last, at_load = None, known, known
    if untold is not None and untold.depth_mm is not None:
        chosen = choose_lighter(
            made,
            setup=known,
            rpm=untold.true_rpm,
            set_rpm=untold.set_rpm,
            depth_mm=untold.depth_mm,
            feed_mm_min=untold.feed_mm_min,
            boldest_step=boldest_step,
        )
        if chosen is not None:
            last = at_load = replace(known, rpm=untold.set_rpm, feed_mm_min=untold.feed_mm_min)
    if chosen is None:
        chosen = choose_next(
            made, setup=known, known=_known_modes(history), boldest_step=boldest_step, weighed=weighed
        )
        at_load = keep_chip_load(known, chosen.best)
    # Of a setting to keep whose feed wasn't told nothing is said that goes by another cut's.
    keeps_untold = chosen.action == "done" and chosen.best is not None and chosen.best.feed_mm_min is None
    at_load = replace(at_load, feed_mm_min=None) if keeps_untold else at_load
    setting = Setting(set_rpm=chosen.set_rpm, feed_mm_min=chosen.feed_mm_min, depth_mm=chosen.depth_mm)
    concerns = find_concerns(at_load, settings=[setting], keeps_present=False)
    limits = range_to_try(made, setup=known) if made else find_speed_range(known)
    cautions = list_cautions(limits, record_again=False, gives_speeds=chosen.action == "cut")
    if not keeps_untold:
        jump = caution_jump(last, set_rpm=chosen.set_rpm, feed_mm_min=chosen.feed_mm_min)
        cautions = (*jump, *cautions)
    tone_hz = _tone_in_doubt_hz(history)
    if tone_hz is not None:
        cautions = (ask_for_air_pass_first(tone_hz), *cautions)
    urgent = tuple(concern.message for concern in concerns if concern.code in URGENT_CONCERNS)
    urgent += explain_no_feed(at_load, set_rpm=chosen.set_rpm) if chosen.feed_mm_min is None else ()
    others = tuple(concern.message for concern in concerns if concern.code not in URGENT_CONCERNS)
    best = _best(chosen.best, history)
    if best is not None and best.may_double and chosen.action == "done":
        cautions = (caution_doubling([best.set_rpm]), *cautions)
    return NextDocument(
        program=program_part({"setup": history.setup.name, "boldest_step": float(boldest_step)}),
        setup=history.setup.name,
        action=chosen.action,
        rpm=chosen.rpm,
        set_rpm=chosen.set_rpm,
        depth_mm=chosen.depth_mm,
        width_mm=known.width_mm,
        feed_mm_min=chosen.feed_mm_min,
        stable_probability=chosen.stable_probability,
        best_so_far=best,
        why=_made_again(history, chosen) + chosen.why,
        cuts=len(history.cuts),
        cautions=(*urgent, *others, *cautions),
        urgent=urgent,
    )


def map_setup(setup: str, *, notebook: NotebookPath = None) -> SetupMap:
    """Give every cut of a setup over speed and depth, with the chances of a stable cut behind them.

    Raises
    ------
    BadValueError
        There is no such setup.
    InputError
        The setup has no cut yet that carries a verdict and a depth.
    NotebookError
        The file can't be used.
    """
    history = _read(setup, notebook)
    if not history.cuts:
        raise _no_cuts(history)
    import numpy as np

    from chatter.advice.chances import draw_history, grid_chances
    from chatter.advice.heard import find_best, range_to_try, true_per_set
    from chatter.advice.next_cut import SPEEDS
    from chatter.advice.speeds import speed_grid_rpm

    known = _present(history)
    made, weighed = _made(history)
    limits, slip = range_to_try(made, setup=known), true_per_set(made)
    speeds = [cut.true_rpm for cut in history.cuts]  # those outside the limits are shown, too
    low = min([limits.low_rpm * slip, *speeds])
    high = max([limits.high_rpm * slip, *speeds])
    grid_rpm = speed_grid_rpm(low, high_rpm=max(high, 1.01 * low), points=SPEEDS)
    best = find_best(made, setup=known)
    top_mm = MAP_ROOM * max(cut.depth_mm or 0.0 for cut in history.cuts)
    depths_mm = np.linspace(top_mm / MAP_DEPTHS, top_mm, MAP_DEPTHS)
    if best is not None:  # so that its chance can be read, and is the one that the next cut goes by
        apart = np.abs(depths_mm / best.depth_mm - 1) > SAME_DEPTH
        depths_mm = np.sort(np.append(depths_mm[apart], best.depth_mm))
    machines = draw_history(weighed, setup=known, known=_known_modes(history)) if weighed else None
    chances = None
    if machines is not None:
        grid = grid_chances(
            machines,
            cuts=made,
            last_depth_mm=weighed[-1].depth_mm,
            speeds_rpm=grid_rpm,
            depths_mm=depths_mm,
            flutes=known.flutes,
        )
        chances = tuple(tuple(round(float(one), 4) for one in row) for row in grid.stable_probability)
    return SetupMap(
        program=program_part({"setup": history.setup.name}),
        setup=history.setup.name,
        facts=history.setup.facts,
        speeds_rpm=tuple(grid_rpm.tolist()),
        depths_mm=tuple(depths_mm.tolist()),
        stable_probability=chances,
        cuts=history.cuts,
        left_out=history.left_out,
        best_so_far=_best(best, history),
        best_rpm=None if best is None else best.rpm,
        retired=history.setup.retired,
    )


def make_card(setup: str, *, notebook: NotebookPath = None) -> Card:
    """Give the settings of a setup that were heard stable, one a speed, best first.

    The first is the best of `chatter next`. The sure ones go by the metal they remove; then the doubtful.

    Raises
    ------
    BadValueError
        There is no such setup.
    NotebookError
        The file can't be used.
    """
    history = _read(setup, notebook, most=0)
    from chatter.advice.concerns import Setting, find_heard_concerns
    from chatter.advice.heard import allows_speed, find_best, rank_held
    from chatter.advice.words import URGENT_CONCERNS, USUAL_CAUTIONS, caution_outside

    known = _present(history) if history.cuts else None
    outside = {
        cut.set_rpm
        for cut in history.cuts
        if cut.verdict == "stable" and known is not None and not allows_speed(known, set_rpm=cut.set_rpm)
    }
    rows: list[CardRow] = []
    best: KeptBest | None = None
    if known is not None:
        made, _ = _made(history)
        rows = [_card_row(held, history) for held in rank_held(made, setup=known, most=CARD_ROWS)]
        best = _best(find_best(made, setup=known), history)
    doubtful = [row.set_rpm for row in rows if row.may_double]
    cautions = [caution_outside(sorted(outside))] if outside else []
    cautions += [caution_doubling(doubtful)] if doubtful else []
    cautions += [] if best is None or best.passed_over is None else [best.passed_over.message]
    settings = [
        Setting(set_rpm=row.set_rpm, feed_mm_min=row.feed_mm_min, depth_mm=row.depth_mm) for row in rows
    ]
    concerns = () if known is None else find_heard_concerns(known, settings=settings)
    cautions = [
        *(one.message for one in concerns if one.code in URGENT_CONCERNS),
        *cautions,
        *(one.message for one in concerns if one.code not in URGENT_CONCERNS),
    ]
    return Card(
        program=program_part({"setup": history.setup.name}),
        setup=history.setup.name,
        facts=history.setup.facts,
        made=now(),
        cuts=len(history.cuts),
        rows=tuple(rows),
        noises=history.noises,
        cautions=(*cautions, *USUAL_CAUTIONS),
        retired=history.setup.retired,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Read:
    """What the notebook holds of one setup."""

    setup: KeptSetup
    listed: tuple[KeptCut, ...]  # all, oldest first
    cuts: tuple[KeptCut, ...]  # with a verdict and a depth
    left_out: int
    documents: dict[int, dict[str, Any]]  # of the cuts that tell most
    taps: tuple[Tap, ...]
    noises: tuple[CardNoise, ...]  # newest first
    onsets: dict[int, Onset]  # of the ramped passes that chattered

    @property
    def newest(self) -> KeptCut | None:
        """The last one filed."""
        return self.listed[-1] if self.listed else None


def _read(setup: str, notebook: NotebookPath, *, most: int = MOST_CUTS) -> _Read:
    """Read a setup's cuts, and the documents of those that tell most."""
    with Notebook(notebook_path(notebook)) as opened:
        kept = opened.find_setup(setup)
        told = settle_cuts(opened.list_cuts(setup))
        listed = tuple(from_onset_on(cut) for cut in told)
        cuts = tuple(cut for cut in listed if cut.depth_mm is not None and cut.verdict != "undecided")
        telling = pick_telling_cuts(cuts, most=most)
        return _Read(
            setup=kept,
            listed=listed,
            cuts=cuts,
            left_out=len(listed) - len(cuts),
            documents={cut.number: opened.read_cut(cut.number) for cut in telling},
            taps=kept_taps(opened, setup),
            noises=_noises(opened, setup, told),
            onsets=onsets_of(opened, setup, told),
        )


def _noises(opened: Notebook, setup: str, cuts: tuple[KeptCut, ...]) -> tuple[CardNoise, ...]:
    """Give how loud the newest recordings were, with the cut that each is a recording of."""
    cut_of = {cut.sha256: cut for cut in cuts}
    told = []
    for noise in opened.list_noises(setup)[: -CARD_NOISES - 1 : -1]:
        document, cut = opened.read_noise(noise.number), cut_of.get(noise.sha256)
        neighbour, in_doubt = document["neighbour"] or {}, is_noise_in_doubt(document)
        there = {} if in_doubt else neighbour  # no level next door from one that may be far off
        told.append(
            CardNoise(
                file=noise.file,
                set_rpm=None if cut is None else cut.set_rpm,
                depth_mm=None if cut is None else cut.depth_mm,
                verdict=None if cut is None else cut.verdict,
                at_phone_db=noise_cutting_db(document),
                uncertainty_db=document["calibration"]["uncertainty_db"],
                neighbour_distance_m=neighbour.get("distance_m"),
                at_neighbour_db=there.get("LAeq_db"),
                low_db=there.get("low_db"),
                high_db=there.get("high_db"),
                rating_db=None if document["tonal_adjustment_db"] is None else there.get("rating_db"),
                level_in_doubt=in_doubt,
            )
        )
    return tuple(told)


def _tone_in_doubt_hz(history: _Read) -> float | None:
    """Give the lone tone that alone makes the newest cut marginal, where no air pass has told whose it is."""
    newest = history.newest
    document = None if newest is None else history.documents.get(newest.number)
    if newest is None or newest.verdict != "marginal" or document is None:
        return None
    worst = document["cuts"][document["cut_index"]]
    tone_hz: float | None = worst["chatter_hz"] if worst.get("tone") == "unknown" else None
    return tone_hz


def _no_cuts(history: _Read) -> InputError:
    has = f"the setup {history.setup.name!r} has no cut yet that carries a verdict and a depth"
    if history.left_out:
        what = "record anew as the answers to those filed say, and file the depth with it"
    else:
        what = "make a short, shallow cut, record it, and file it with its depth"
    return InputError(f"{has}: {what}")


def _made_again(history: _Read, chosen: "NextCut") -> str:
    """Say so where the cut chosen is the one whose newest recording carried no verdict; else nothing."""
    newest = history.newest
    if newest is None or newest.verdict != "undecided" or chosen.action != "cut" or not newest.depth_mm:
        return ""
    if newest.set_rpm != chosen.set_rpm or abs(newest.depth_mm / chosen.depth_mm - 1) > ASKED_WITHIN:
        return ""
    return (
        "This is the cut whose last recording carried no verdict: make it once more, and record it as the "
        "answer to that said. "
    )


def _present(history: _Read) -> CutSetup:
    """Give what is known of the setup, with the speed and feed of its last cut that told its feed."""
    facts = {key: value for key, value in history.setup.facts.to_dict().items() if key not in WORDS}
    cuts = history.cuts or ((history.newest,) if history.newest is not None else ())
    last = next((cut for cut in reversed(cuts) if cut.feed_mm_min is not None), cuts[-1])
    return CutSetup(**facts, rpm=last.set_rpm, feed_mm_min=last.feed_mm_min, depth_mm=cuts[-1].depth_mm)


def _made(history: _Read) -> "tuple[tuple[MadeCut, ...], tuple[MadeCut, ...]]":
    """Give all cuts as the advice sees them, and the few that tell most, with their chatter's lines."""
    from chatter.advice.advise import find_lines
    from chatter.advice.heard import MadeCut

    made, weighed = [], []
    for cut in history.cuts:
        document = history.documents.get(cut.number)
        worst = None if document is None else as_settled(read_analysis(document), cut).worst
        probability = 0.5 if cut.chatter_probability is None else cut.chatter_probability
        onset = history.onsets.get(cut.number)
        one = MadeCut(
            rpm=cut.true_rpm,
            set_rpm=cut.set_rpm,
            depth_mm=cut.depth_mm or math.nan,
            verdict=cut.verdict,
            chatter_probability=probability,
            lines=() if worst is None or cut.verdict == "stable" else find_lines(worst),
            feed_mm_min=cut.feed_mm_min,
            depth_sd_mm=None if onset is None else onset.sd_mm,
            surely_from_mm=None if onset is None else onset.sure_mm,
        )
        made.append(one)
        if document is not None:
            weighed.append(one)
    return tuple(made), tuple(weighed)


def _known_modes(history: _Read) -> "tuple[KnownMode, ...]":
    """Give the modes that taps tell of, or humps where nothing was tapped."""
    from chatter.advice.shapes import known_modes

    worst = [read_analysis(document).worst for document in history.documents.values()]
    lines = tuple(line for cut in worst if cut is not None for line in cut.lines)
    return known_modes(history.taps, lines=lines)


def _best(best: "BestSoFar | None", history: _Read) -> KeptBest | None:
    if best is None:
        return None
    from chatter.advice.words import tell_passed_over

    over = None if best.passed_over is None else history.cuts[best.passed_over.number]
    return KeptBest(
        set_rpm=best.set_rpm,
        depth_mm=best.depth_mm,
        feed_mm_min=best.feed_mm_min,
        removal_mm3_min=best.removal_mm3_min,
        may_double=_may_double(history.cuts[best.number], history),
        passed_over=None
        if best.passed_over is None or over is None
        else DoubtfulSetting(
            set_rpm=over.set_rpm,
            depth_mm=over.depth_mm or 0.0,
            chatter_probability=best.passed_over.chatter_probability,
            message=tell_passed_over(
                set_rpm=over.set_rpm,
                depth_mm=over.depth_mm or 0.0,
                chatter_probability=best.passed_over.chatter_probability,
            ),
        ),
    )


def _card_row(held: "HeldSetting", history: _Read) -> CardRow:
    """Give the row of a setting that holds."""
    cut = history.cuts[held.number]
    depth_mm = cut.depth_mm or 0.0
    width_mm = history.setup.facts.width_mm or cut.width_mm
    feed = cut.feed_mm_min
    return CardRow(
        set_rpm=cut.set_rpm,
        feed_mm_min=feed,
        depth_mm=depth_mm,
        width_mm=width_mm,
        removal_mm3_min=None if feed is None or width_mm is None else feed * depth_mm * width_mm,
        cuts=held.cuts,
        chatter_probability=held.chatter_probability,
        chatter_depth_mm=held.spoilt_mm,
        may_double=_may_double(cut, history),
    )


def _may_double(setting: KeptCut, history: _Read) -> bool:
    """Say whether any of the stable cuts of one setting may double its period unheard."""
    return any(
        may_double(cut, among=history.listed)
        for cut in history.cuts
        if cut.verdict == "stable" and (cut.set_rpm, cut.depth_mm) == (setting.set_rpm, setting.depth_mm)
    )
