"""The answer about a cut as text for a person at a machine.

In: a `CutDocument`. Out: lines of at most 80 columns that read without colour: the verdict first, what to
set next second, why third, cautions last.
Leaves out: any judgement; every number stands in the document.
"""

from collections.abc import Iterable
from typing import Any

from chatter.model import CutAnalysis, CutDocument, JudgedCut, Line, SpeedWindow
from chatter.model.cut import present_depth_mm
from chatter.report._wrapping import COLUMNS, wrap

LINES_SHOWN = 8
SPEEDS_SHOWN = 3

_HEADLINES = {
    "stable": "STABLE: this cut did not chatter.",
    "marginal": "MARGINAL: this cut is at the edge; it may have begun to chatter.",
    "chatter": "CHATTER: this cut chattered.",
    "undecided": "UNDECIDED: this recording can't tell whether the cut chattered.",
}
_ACTIONS = {
    "keep": "Keep these settings.",
    "change speed": "Change the spindle speed.",
    "reduce depth": "Keep the speed and take less depth.",
    "record again": "Record again before changing anything.",
}
_LINE_NAMES = {
    "tooth passing": "tooth passing",
    "spindle harmonic": "spindle turns (run-out)",
    "chatter": "chatter",
    "chatter sideband": "chatter, beside its main line",
    "background": "also there without cutting",
    "resonance": "the machine rings here (a hump)",
    "unexplained": "not explained",
}


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
        [] if _must_record_again(document) else _bullets("Cautions", document.advice.cautions),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _bullets(title: str, texts: Iterable[str]) -> list[str]:
    lines = [line for text in texts for line in wrap(text, "  - ", "    ")]
    return [title, *lines] if lines else []


def _verdict(document: CutDocument, worst: JudgedCut | None) -> list[str]:
    verdict = "undecided" if worst is None else worst.verdict
    lines = wrap(_headline(document.analysis, verdict))
    lines.append("=" * len(lines[0]))
    lines += wrap(f"{document.recording['file']}: {_verdict_sentence(document.analysis, worst)}")
    return lines


def _headline(analysis: CutAnalysis, verdict: str) -> str:
    """Give the verdict in words, over all cuts where there are several."""
    total = len(analysis.cuts)
    if total < 2:
        return _HEADLINES[verdict]
    share = f"{sum(cut.verdict == verdict for cut in analysis.cuts)} of {total} cuts"
    return {
        "stable": f"STABLE: none of the {total} cuts chattered.",
        "marginal": f"MARGINAL: at the edge in {share}; no cut clearly chattered.",
        "chatter": f"CHATTER: {share} chattered.",
        "undecided": f"UNDECIDED: this recording can't tell whether {share} chattered.",
    }[verdict]


def _verdict_sentence(analysis: CutAnalysis, worst: JudgedCut | None) -> str:
    """Say in one sentence which cut the verdict is about and how sure it is."""
    if worst is None:
        return "no cut was found in it."
    sentence = f"the cut {_span(worst)}"
    if len(analysis.cuts) > 1 and analysis.cut_index is not None:
        sentence = f"judged by the worst cut, number {analysis.cut_index + 1} ({_span(worst)})"
    if worst.chatter_probability is not None:
        sentence += f", chatter {_chance(worst.chatter_probability)}"
    if worst.verdict in ("chatter", "marginal") and worst.onset_s is not None:
        sentence += f", from {worst.onset_s:.1f} s on"
    return sentence + "."


def _span(cut: JudgedCut) -> str:
    start = "before the recording begins" if cut.start_s is None else f"from {cut.start_s:.1f} s"
    end = "past its end" if cut.end_s is None else f"to {cut.end_s:.1f} s"
    return f"{start} {end}"


def _chance(probability: float) -> str:
    """Give a probability in whole chances out of a hundred, never as certain."""
    if probability > 0.99:
        return "with more than 99 chances in 100"
    if probability < 0.01:
        return "with less than 1 chance in 100"
    chances = round(100 * probability)
    return f"with {chances} chance{'' if chances == 1 else 's'} in 100"


def _what_next(document: CutDocument) -> list[str]:
    advice = document.advice
    lines = ["Set next", *wrap(_ACTIONS[advice.action], "  ")]
    for rank, speed in enumerate(advice.speeds[:SPEEDS_SHOWN], start=1):
        lines += _speed(rank, speed)
    if advice.action != "record again":
        lines += [*_ramp(document), *_depth(document)]
    if _must_record_again(document):  # then the cautions say how, so they come here
        lines += ["", *_bullets("How to record, and what to mind", advice.cautions)]
    return lines


def _must_record_again(document: CutDocument) -> bool:
    return document.advice.action == "record again"


def _speed(rank: int, speed: SpeedWindow) -> list[str]:
    dial = f"  {rank}. Dial {speed.set_rpm:,.0f} rpm"
    if speed.feed_mm_min is not None:
        dial += f", feed {speed.feed_mm_min:,.0f} mm/min"
    dial += f": stable {_chance(speed.stable_probability)}."
    detail = (
        f"That is {speed.rpm:,.0f} rpm true, in a window from {speed.low_rpm:,.0f} to "
        f"{speed.high_rpm:,.0f} (lobe {speed.lobe}). {_sentence(speed.why) if rank == 1 else ''}"
    )
    return [*wrap(dial.strip(), "  ", "     "), *wrap(detail, "     ")]


def _sentence(text: str) -> str:
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if not text or text.endswith((".", "!", "?")) else text + "."


def _ramp(document: CutDocument) -> list[str]:
    """Say at which depth of a ramped pass chatter began, or that none was heard."""
    last = document.program["settings"].get("depth_to_mm")
    worst = document.analysis.worst
    if last is None or worst is None:
        return []
    onset = document.analysis.ramp
    if onset is not None:
        text = (
            f"In this pass chatter began at {onset.depth_mm:.2f} ± {onset.depth_sd_mm:.2f} mm, heard at "
            f"{onset.time_s:.1f} s: at this speed stay clearly below that depth."
        )
    elif worst.verdict == "stable":
        text = f"No chatter was heard down to {last:g} mm at this speed."
    else:
        text = (
            "Where in this pass chatter began can't be told: cut a longer ramp, and record it "
            "with less noise."
        )
    return wrap(text, "  ")


def _depth(document: CutDocument) -> list[str]:
    factor = document.advice.depth_factor
    if factor is None:
        return []
    settings = document.program["settings"]
    ramp_mm = settings.get("depth_to_mm")
    depth_mm = present_depth_mm(settings.get("depth_mm"), depth_to_mm=ramp_mm)
    share = f"{factor:.2f} times the {'present depth' if ramp_mm is None else 'deep end of the ramp'}"
    if depth_mm is not None:
        share += f" ({factor * depth_mm:.2f} mm instead of {depth_mm:g} mm)"
    if factor > 1:
        text = f"At the present speed up to {share} should stay stable with 90 chances in 100: "
        return wrap(f"{text}go deeper in small steps, and record each.", "  ")
    if factor == 1:
        return wrap("At the present speed the present depth is as deep as can be advised.", "  ")
    return wrap(f"At the present speed no more than {share} is stable with 90 chances in 100.", "  ")


def _why(document: CutDocument, worst: JudgedCut | None) -> list[str]:
    lines = ["Why"]
    spindle = document.analysis.spindle
    if spindle.measured_rpm is None:
        text = f"The spindle's own lines were not found; {spindle.programmed_rpm:,.0f} rpm was dialled."
    else:
        off_percent = 100 * (spindle.measured_rpm / spindle.programmed_rpm - 1)
        spread = "" if spindle.measured_rpm_sd is None else f" ± {spindle.measured_rpm_sd:.1f}"
        side = "above" if off_percent >= 0 else "below"
        text = (
            f"Spindle: {spindle.measured_rpm:,.1f}{spread} rpm measured, {abs(off_percent):.2f} % {side} the "
            f"{spindle.programmed_rpm:,.0f} dialled. "
            f"It turns {spindle.measured_rpm / 60:.1f} times a second; "
            f"{spindle.flutes} flute{'s' if spindle.flutes > 1 else ''} strike at "
            f"{spindle.measured_rpm * spindle.flutes / 60:.1f} Hz."
        )
    lines += wrap(text, "  ")
    if worst is None:
        return lines
    if worst.chatter_hz is not None:
        lines += wrap(
            f"Chatter: strongest at {worst.chatter_hz:,.1f} Hz, which is not a multiple of the spindle's "
            "speed and not there without cutting.",
            "  ",
        )
    if document.rings is not None:
        lines += wrap(f"What rings: {document.rings.why}", "  ")
    return lines + _line_table(worst.lines)


def _line_table(lines: tuple[Line, ...]) -> list[str]:
    """List the lines that decide first, then the strongest others."""
    if not lines:
        return []
    first = [line for line in lines if line.kind == "chatter"]
    rest = sorted((line for line in lines if line.kind != "chatter"), key=lambda line: -line.level_db)
    shown = [*first, *rest][:LINES_SHOWN]
    table = [f"  {'frequency':>12}  {'level':>9}  what it is"]
    for line in shown:
        name = _LINE_NAMES[line.kind]
        if line.order is not None and line.kind in ("tooth passing", "spindle harmonic"):
            name += f", multiple {line.order}"
        if line.width_hz is not None:
            name += f", {line.width_hz:.0f} Hz wide"
        table.append(f"  {line.frequency_hz:>9,.1f} Hz  {line.level_db:>6.1f} dB  {name}"[:COLUMNS])
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
        chance = _percent(cut.chatter_probability)
        table.append(
            f"  {number:>3}  {_cell(cut.start_s)}  {_cell(cut.end_s)}  {cut.verdict:<9}  {chance:>7}  "
            f"{_cell(cut.chatter_hz, 8)}  {_cell(cut.measured_rpm, 9)}"
        )
    return table


def _percent(probability: float | None) -> str:
    """Give a probability in percent, never as certain."""
    if probability is None:
        return "-"
    return "< 1 %" if probability < 0.01 else "> 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def _cell(value: float | None, width: int = 7) -> str:
    return f"{'-' if value is None else f'{value:.1f}':>{width}}"


def _finding_texts(document: CutDocument) -> list[str]:
    findings: list[dict[str, Any]] = document.recording["findings"]
    return [f"{finding['severity']}: {finding['message']}" for finding in findings]
