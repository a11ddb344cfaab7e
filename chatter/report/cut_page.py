"""The answer about a cut as a page: verdict, what to set next, pictures, reasons, what was assumed.

In: a `CutDocument` that was made with pictures. Out: a `Page`.
Leaves out: any judgement; every number stands in the document.
"""

from chatter.model.cut import CutDocument, JudgedCut, Line
from chatter.report._facts import list_provenance, list_settings, tell_version
from chatter.report.cut_pictures import draw_spectrogram, draw_spectrum, draw_turns
from chatter.report.cut_words import (
    OTHER_SPEEDS,
    SPEEDS_SHOWN,
    choose_lines,
    find_deep_end,
    find_depths_mm,
    find_told_depths,
    name_line,
    round_down,
    tell_action,
    tell_any,
    tell_chance,
    tell_counts,
    tell_depth,
    tell_dial,
    tell_doubt,
    tell_odds,
    tell_onset,
    tell_other_findings,
    tell_percent,
    tell_ramp,
    tell_span,
    tell_unlikely,
    tell_verdict,
    tell_why,
    tell_window,
    to_sentence,
    verdict_of_all,
)
from chatter.report.page import Block, Facts, Page, Part, Picture, Points, Sound, Table, Words
from chatter.report.speed_strip import draw_speeds

LINES_SHOWN = 14
NO_BREAK = "\N{NO-BREAK SPACE}"
BETWEEN_BOXES = (
    "Between the boxes the curve can be higher than in one of them: a further speed is there for the case "
    "that those before it chatter, and not because it is the next likeliest."
)
LIKELY = 0.7  # own choice: below it a speed is tried, not just dialled


def page_of_cut(document: CutDocument, *, sound: Sound | None = None) -> Page:
    """Give the page of one answer.

    Parameters
    ----------
    document
        The answer; without pictures in it the page has words and tables only.
    sound
        A player for the recording.
    """
    verdict = verdict_of_all(document)
    worst = document.analysis.worst
    again = document.advice.action == "record again"
    findings = tuple(
        f"{severity.capitalize()}: {message}" for severity, message in tell_other_findings(document)
    )
    mind = Part(
        heading="How to record, and what to mind" if again else "Before you cut",
        blocks=(_points(document.advice.further_cautions),),
        is_warning=True,
    )
    return Page(
        subject=document.recording["file"],
        kicker="A milling cut, by its sound",
        sign=verdict,
        answer=f"{verdict.capitalize()}: {tell_verdict(document.analysis, verdict)}.",
        lead=(*_first_of_all(document), *_lead(document, worst)),
        parts=(
            Part(heading="Set next", blocks=_next(document)),
            mind,
            Part(heading="What was heard", blocks=(*_pictures(document), sound)),
            Part(heading="Why", blocks=_why(document, worst)),
            Part(heading="Every cut", blocks=(_cut_table(document),)),
            Part(heading="Noticed in the recording", blocks=(_points(findings),)),
            Part(heading="What was assumed", blocks=(_points(_assumed(document)),)),
            Part(
                heading="What you told",
                blocks=(Facts(pairs=list_settings(document.program["settings"])),),
            ),
            Part(
                heading="Made from",
                blocks=(Facts(pairs=list_provenance(document.program, document.recording)),),
            ),
        ),
        footer=tell_version(document.program),
    )


def _how_deep(document: CutDocument) -> str:
    ramp_to_mm, _ = find_told_depths(document)
    return "as deep as yours" if ramp_to_mm is None else f"{ramp_to_mm:g} mm deep, as the ramp's deep end,"


def _first_of_all(document: CutDocument) -> tuple[str, ...]:
    return tuple(text for text in (tell_doubt(document), tell_counts(document)) if text is not None)


def _lead(document: CutDocument, worst: JudgedCut | None) -> tuple[str, ...]:
    """Say which cut the verdict is about, how sure it is, and when chatter began."""
    if worst is None:
        return ("No cut was found in the recording.",)
    total = len(document.analysis.cuts)
    number = (document.analysis.cut_index or 0) + 1
    ramp = find_deep_end(document.analysis)
    what = "cut" if ramp is None else "pass"
    which = f"The {what} goes" if total == 1 else f"Cut {number} of {total} is the worst; it goes"
    if ramp is None:
        text = f"{which} {tell_span(worst.start_s, worst.end_s)}."
    else:
        span = tell_span(ramp.start_s, ramp.end_s)
        text = f"{which} {span}; its deep end, from {ramp.deep_from_s:.1f} s on, is judged."
    if worst.chatter_probability is not None:
        text += f" Chances that it chattered: {tell_odds(worst.chatter_probability)}."
    heard = tell_onset(document.analysis)
    what = "Chatter" if worst.verdict == "chatter" else "What may be chatter"
    return (text if heard is None else f"{text} {what} is heard {heard}.",)


def _points(texts: tuple[str, ...]) -> Points | None:
    return Points(texts=texts) if texts else None


def _next(document: CutDocument) -> tuple[Block | None, ...]:
    """Give what to set next in large words, then why, then the windows as a picture."""
    advice = document.advice
    more: list[str] = []
    *first_of_all, large = tell_action(document)
    first = advice.speeds[0] if advice.speeds else None
    if advice.action == "record again":
        return (Words(texts=(*first_of_all, large), large=True),)
    if first is not None and advice.action == "change speed":
        feed = "" if first.feed_mm_min is None else f" and feed {first.feed_mm_min:,.0f} mm/min"
        verb = "Dial" if first.stable_probability >= LIKELY else "Try"
        large = f"{verb} {first.set_rpm:,.0f} rpm{feed}."
        more.append(f"Stable {tell_chance(first.stable_probability)}. {tell_window(first)}")
        more.append(to_sentence(first.why))
    if advice.action == "reduce depth":
        large = _less_depth(document) or large
    others = (
        advice.speeds[1:SPEEDS_SHOWN] if advice.action == "change speed" else advice.speeds[:SPEEDS_SHOWN]
    )
    unlikely = tell_unlikely(document)
    if unlikely is not None:
        more.append(unlikely)
        others = ()
    elif others:
        more.append("Also worth a try:" if advice.action == "change speed" else OTHER_SPEEDS)
    after = [text for text in (tell_any(document) if others else None,) if text is not None]
    deep = [text for text in (tell_ramp(document), tell_depth(document)) if text is not None]
    if advice.action == "reduce depth":
        more = [*deep, *more]
    else:
        after += deep
    strip = draw_speeds(document)
    picture = None
    if strip is not None:
        picture = Picture(
            heading="Which speeds are worth a try",
            svg=strip,
            texts=(
                "Along the bottom runs the speed to dial. A box in the strip is the window of a speed "
                "suggested: every speed in it is at least nine tenths as likely to be stable. The dotted "
                "line is the cut you recorded.",
                *(
                    ()
                    if document.map is None
                    else (
                        f"The curve above is the chance that a cut {_how_deep(document)} stays quiet, among "
                        "the machines that would sound like yours. Where it is high over a wide stretch, "
                        "small errors of speed do no harm.",
                        *(() if len(advice.speeds) < 2 else (BETWEEN_BOXES,)),
                    )
                ),
            ),
        )
    return (
        Words(texts=(*first_of_all, large), large=True),
        Words(texts=tuple(more)) if more else None,
        _points(tuple(f"{tell_dial(one)} {tell_window(one)}" for one in others)),
        Words(texts=tuple(after)) if after else None,
        picture,
    )


def _less_depth(document: CutDocument) -> str | None:
    """Say how deep to cut at the present speed, rounded down; None where the depth isn't known."""
    depths = find_depths_mm(document)
    return None if depths is None else f"Keep the speed and take {round_down(depths[1])} mm or less."


def _pictures(document: CutDocument) -> tuple[Picture, ...]:
    held = document.analysis.pictures
    if held is None:
        return ()
    several = len(document.analysis.cuts) > 1 and document.analysis.cut_index is not None
    which = f" of cut {(document.analysis.cut_index or 0) + 1}" if several else ""
    pictures = [
        Picture(
            heading="The whole recording",
            svg=draw_spectrogram(document, held.spectrogram),
            texts=(
                "Time runs to the right and pitch upward; the stronger the shade, the louder. The bar on "
                "top spans each cut, and its shape is the verdict: ring stable, diamond marginal, cross "
                "chatter, square undecided.",
                "A cut that repeats shows evenly spaced stripes. Chatter adds stripes between them.",
            ),
        )
    ]
    if held.spectrum is not None:
        pictures.append(
            Picture(
                heading=f"The lines in the steady part{which}",
                svg=draw_spectrum(document, held.spectrum),
                texts=(
                    f"From {held.spectrum.start_s:.1f} to {held.spectrum.end_s:.1f} s. The ruler at the "
                    "bottom has a long mark for each multiple of tooth passing and a short one for each "
                    "turn. What stands on a mark comes from the turning; what stands between marks does "
                    "not.",
                ),
            )
        )
    if held.turns is not None:
        turns = held.turns.pressure.shape[0]
        pictures.append(
            Picture(
                heading="Turn under turn",
                svg=draw_turns(held.turns),
                texts=(
                    f"Each row is the sound of one turn of the spindle, {turns} turns from top to bottom. "
                    "Upright stripes mean that every turn sounds like the last one. Slanting or scattered "
                    "ones mean that something swings at a beat of its own.",
                    "Below, one dot a turn, always at the angle of the dashed line: a level row repeats, a "
                    "scattered one does not.",
                    f"{_share(held.turns.repeating_share)} of the cut's sound comes again every turn.",
                ),
            )
        )
    return tuple(pictures)


def _why(document: CutDocument, worst: JudgedCut | None) -> tuple[Block | None, ...]:
    words = Words(texts=tell_why(document))
    return (words, _line_table(worst.lines) if worst is not None and worst.lines else None)


def _line_table(lines: tuple[Line, ...]) -> Table:
    shown = choose_lines(lines, count=LINES_SHOWN)
    more = len(lines) - len(shown)
    return Table(
        caption="The lines that decide first, then the strongest others"
        + (f" ({more} more in the JSON document)" if more else ""),
        heads=("Hz", "dB", "what it is"),
        rows=tuple(
            (f"{line.frequency_hz:,.1f}", f"{line.level_db:.1f}".replace("-", "−"), name_line(line))
            for line in shown
        ),
        numbers=(0, 1),
    )


def _cut_table(document: CutDocument) -> Table | None:
    """Give one row a cut where a recording holds several."""
    cuts = document.analysis.cuts
    if len(cuts) < 2:
        return None
    return Table(
        caption="Times in seconds; the verdict with the chance of chatter",
        heads=("cut", "from", "to", "verdict", "at Hz"),
        rows=tuple(
            (
                f"{number}",
                _told(cut.start_s),
                _told(cut.end_s),
                f"{cut.verdict} {tell_percent(cut.chatter_probability).replace(' ', NO_BREAK)}",
                _told(cut.chatter_hz),
            )
            for number, cut in enumerate(cuts, start=1)
        ),
        numbers=(0, 1, 2, 4),
    )


def _share(share: float) -> str:
    if share < 0.01:
        return "Less than 1 %"
    return "More than 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def _told(value: float | None) -> str:
    return "–" if value is None else f"{value:,.1f}"


def _assumed(document: CutDocument) -> tuple[str, ...]:
    """Say what stood in for what wasn't told."""
    told = document.program["settings"]
    notes = [
        f"The spindle turns within 6 % of the {document.analysis.spindle.programmed_rpm:,.0f} rpm dialled, "
        f"and the tool has {document.analysis.spindle.flutes} evenly spaced "
        f"flute{'' if document.analysis.spindle.flutes == 1 else 's'}.",
    ]
    if told.get("idle") is None:
        notes.append(
            "No recording without cutting was given: what sounds in the idle parts of this one counts as "
            "background. A noise that starts with the cut, such as an air blast, can't be told apart."
        )
    if not told.get("tap"):
        notes.append("No tap was given: where the machine rings is inferred from the chatter alone.")
    missing = [
        word
        for name, word in (
            ("width_mm", "radial width"),
            ("diameter_mm", "tool diameter"),
            ("direction", "direction"),
        )
        if told.get(name) is None
    ]
    if missing:
        notes.append(
            f"Not told: {', '.join(missing)}. The advice weighs machines over all usual cuts, so its odds "
            "are nearer to even than they could be."
        )
    if told.get("max_rpm") is None:
        notes.append(
            "The fastest speed of the spindle wasn't told, so nothing above the dialled speed is looked at."
        )
    if told.get("depth_mm") is None and told.get("depth_to_mm") is None:
        notes.append("The depth wasn't told, so depths are shares of the present one.")
    notes.append(
        "The chances of the verdict were fitted on simulated cuts; no real chatter has been heard yet."
    )
    return tuple(notes)
