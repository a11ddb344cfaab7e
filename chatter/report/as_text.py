"""The answer about a cut as text for a person at a machine.

In: a `CutDocument`. Out: lines of at most 80 columns that read without colour: the verdict first, what to
set next second, why third, cautions last.
Leaves out: any judgement; every number stands in the document.
"""

from collections.abc import Iterable

from chatter.model import CutAnalysis, CutDocument, JudgedCut, Line, SpeedWindow
from chatter.report._wrapping import COLUMNS, wrap
from chatter.report.cut_words import (
    OTHER_SPEEDS,
    SPEEDS_SHOWN,
    choose_lines,
    name_line,
    tell_action,
    tell_any,
    tell_counts,
    tell_depth,
    tell_dial,
    tell_doubt,
    tell_other_findings,
    tell_percent,
    tell_ramp,
    tell_unlikely,
    tell_verdict,
    tell_which_cut,
    tell_why,
    tell_window,
    to_sentence,
    verdict_of_all,
)

LINES_SHOWN = 8


def to_text(document: CutDocument) -> str:
    """Lay out one answer as plain text.

    Parameters
    ----------
    document
        The answer about one recording.

    Returns
    -------
    str
        Lines of at most 80 columns, the last one ended.
    """
    worst = document.analysis.worst
    parts = [
        _verdict(document, worst),
        _what_next(document),
        _why(document, worst),
        _cut_table(document.analysis),
        _bullets("Noticed in the recording", _finding_texts(document)),
        [] if _must_record_again(document) else _bullets("Cautions", document.advice.further_cautions),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _bullets(title: str, texts: Iterable[str]) -> list[str]:
    lines = [line for text in texts for line in wrap(text, "  - ", "    ")]
    return [title, *lines] if lines else []


def _verdict(document: CutDocument, worst: JudgedCut | None) -> list[str]:
    verdict = verdict_of_all(document)
    lines = wrap(f"{verdict.upper()}: {tell_verdict(document.analysis, verdict)}.")
    lines.append("=" * len(lines[0]))
    for text in (tell_doubt(document), tell_counts(document)):
        lines += wrap(text or "")
    return lines + wrap(f"{document.recording['file']}: {tell_which_cut(document.analysis, worst)}")


def _what_next(document: CutDocument) -> list[str]:
    advice = document.advice
    lines = ["Set next", *(line for text in tell_action(document) for line in wrap(text, "  "))]
    if _must_record_again(document):  # then the cautions say how, so they come here
        return [*lines, "", *_bullets("How to record, and what to mind", advice.further_cautions)]
    speeds = [
        line
        for rank, speed in enumerate(advice.speeds[:SPEEDS_SHOWN], start=1)
        for line in _speed(rank, speed)
    ]
    speeds += wrap(tell_any(document) or "", "  ")
    deep = [line for text in (tell_ramp(document), tell_depth(document)) for line in wrap(text or "", "  ")]
    if advice.action == "reduce depth" and speeds:  # what is advised comes first
        unlikely = tell_unlikely(document)
        if unlikely is not None:
            return [*lines, *deep, *wrap(unlikely, "  "), *_ask_next(document)]
        return [*lines, *deep, *wrap(OTHER_SPEEDS, "  "), *speeds, *_ask_next(document)]
    return [*lines, *speeds, *deep, *_ask_next(document)]


def _ask_next(document: CutDocument) -> list[str]:
    """Point at the advice that weighs the whole setup, where the cut was filed with one."""
    if document.notebook is None:
        return []
    setup = document.notebook["setup"]
    return wrap(
        f'Which cut to make next, by all cuts of this setup and not this one alone: chatter next "{setup}".',
        "  ",
    )


def _must_record_again(document: CutDocument) -> bool:
    return document.advice.action == "record again"


def _speed(rank: int, speed: SpeedWindow) -> list[str]:
    detail = (
        f"{tell_window(speed)} True speed: {speed.rpm:,.0f} rpm (lobe {speed.lobe}). "
        f"{to_sentence(speed.why) if rank == 1 else ''}"
    )
    return [*wrap(f"{rank}. {tell_dial(speed)}", "  ", "     "), *wrap(detail, "     ")]


def _why(document: CutDocument, worst: JudgedCut | None) -> list[str]:
    lines = ["Why", *(line for text in tell_why(document) for line in wrap(text, "  "))]
    return lines if worst is None else lines + _line_table(worst.lines)


def _line_table(lines: tuple[Line, ...]) -> list[str]:
    """List the lines that decide first, then the strongest others."""
    if not lines:
        return []
    shown = choose_lines(lines, count=LINES_SHOWN)
    table = [f"  {'frequency':>12}  {'level':>9}  what it is"]
    for line in shown:
        row = f"  {line.frequency_hz:>9,.1f} Hz  {line.level_db:>6.1f} dB  {name_line(line)}"
        table.append(row[:COLUMNS])
    if len(lines) > len(shown):
        table.append(f"  and {len(lines) - len(shown)} more (all of them in the JSON document)")
    return table


def _cut_table(analysis: CutAnalysis) -> list[str]:
    """Give one line a cut where a recording holds several."""
    if len(analysis.cuts) < 2:
        return []
    table = [
        "Every cut",
        f"  {'cut':>3}  {'from s':>7}  {'to s':>7}  {'verdict':<9}  {'chatter':>7}  {'at Hz':>8}  {'rpm':>9}",
    ]
    for number, cut in enumerate(analysis.cuts, start=1):
        chance = tell_percent(cut.chatter_probability)
        table.append(
            f"  {number:>3}  {_cell(cut.start_s)}  {_cell(cut.end_s)}  {cut.verdict:<9}  {chance:>7}  "
            f"{_cell(cut.chatter_hz, 8)}  {_cell(cut.measured_rpm, 9)}"
        )
    return table


def _cell(value: float | None, width: int = 7) -> str:
    return f"{'-' if value is None else f'{value:,.1f}':>{width}}"


def _finding_texts(document: CutDocument) -> list[str]:
    return [f"{severity}: {message}" for severity, message in tell_other_findings(document)]
