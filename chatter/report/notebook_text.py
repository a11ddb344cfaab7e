"""What a notebook holds as text for a person at a machine.

In: setups with their cuts and taps, the next cut. Out: lines that read without colour.
Leaves out: any judgement.
"""

import math
import textwrap

from chatter.model.notebook import (
    Card,
    CardNoise,
    CardRow,
    KeptCut,
    KeptSetup,
    NextDocument,
    SetupContents,
    SetupFacts,
    SetupMap,
)
from chatter.report._facts import tell_day
from chatter.report._wrapping import beside
from chatter.report.cut_words import tell_percent
from chatter.report.noise_words import IN_DOUBT

COLUMNS = 80
TABLE_ROWS = 20
SURE = 0.9  # docs/cut.md: the chance by which depths are told


def setups_to_text(setups: tuple[KeptSetup, ...]) -> str:
    """Lay out a list of setups, two lines each: the name with what is filed, then the facts."""
    if not setups:
        return "No setups yet: add one, or name one when a cut is judged.\n"
    lines: list[str] = []
    for setup in setups:
        retired = "" if setup.retired is None else f", retired {tell_day(setup.retired)}"
        kinds = ((setup.cuts, "cut"), (setup.taps, "tap"), (setup.noises, "noise measurement"))
        held = ", ".join(_count(number, what) for number, what in kinds)
        lines += _hang(f"{setup.name}  ({held}{retired})")
        lines += _wrap(describe_facts(setup.facts), "    ")
    return "\n".join(lines) + "\n"


def setup_to_text(contents: SetupContents) -> str:
    """Lay out one setup with its cuts, taps and noise measurements."""
    lines = setups_to_text((contents.setup,)).splitlines()
    if contents.cuts:
        lines += ["", "cut  dial rpm  true rpm  depth mm  verdict    chatter Hz  file"]
        lines += [line for cut in contents.cuts for line in _cut_lines(cut)]
    for tap in contents.taps:
        old = "" if tap.is_current else f"  (earlier version {tap.version})"
        lines += _hang(f"tap {tap.number}: {tap.of}  {tap.file}{old}")
    for noise in contents.noises:
        old = "" if noise.is_current else f"  (earlier version {noise.version})"
        level = "-" if noise.laeq_db is None else f"{noise.laeq_db:.0f} dB(A) mean at the phone"
        lines += _hang(f"noise {noise.number}: {level}  {noise.file}{old}")
    return "\n".join(lines) + "\n"


def next_to_text(document: NextDocument) -> str:
    """Lay out the next cut: what to dial first, why second, cautions last."""
    head = "CUT: make this cut and record it." if document.action == "cut" else "DONE: use these settings."
    if document.action == "done" and document.urgent:
        head = "DONE, but first mend what is unsafe."
    lines = [head, "=" * len(head), ""]
    for text in document.urgent:
        lines += [*_wrap(text), ""]
    lines += [
        f"  spindle speed   {document.set_rpm:,.0f} rpm as dialled ({document.rpm:,.0f} true)",
        f"  axial depth     {document.depth_mm:g} mm",
    ]
    if document.width_mm is not None:
        lines.append(f"  radial width    {document.width_mm:g} mm")
    if document.feed_mm_min is not None:
        lines.append(f"  feed            {document.feed_mm_min:,.0f} mm/min")
    lines += ["", *_wrap(document.why)]
    best = document.best_so_far
    if best is not None and document.action == "cut":
        rate = "" if best.removal_mm3_min is None else f", {best.removal_mm3_min:,.0f} mm³/min"
        lines += _wrap(f"Best heard stable so far: {best.set_rpm:,.0f} rpm, {best.depth_mm:g} mm deep{rate}.")
    if best is not None and best.passed_over is not None:
        lines += _wrap(best.passed_over.message)
    further = [text for text in document.cautions if text not in document.urgent]
    lines += ["", "Cautions", *(line for text in further for line in _bullet(text))]
    return "\n".join(lines) + "\n"


def card_to_text(card: Card) -> str:
    """Lay out one page with the settings that work."""
    lines = [card.setup, "=" * len(card.setup), *_wrap(describe_facts(card.facts))]
    lines += [*_wrap(tell_retired(card) or ""), ""]
    if card.rows:
        lines += [
            "dial rpm  mm/min  mm deep  mm wide  mm³/min  heard stable",
            *(_card_line(row) for row in card.rows),
        ]
    else:
        lines.append("No setting was heard stable yet.")
    cuts = _count(card.cuts, "cut")
    told = (
        f"From {cuts} with a verdict and a depth, judged by ear from recordings; made {tell_day(card.made)}."
    )
    lines += ["", *_wrap(told)]
    lines += ["", "How loud", *(line for noise in card.noises for line in _bullet(tell_noise(noise)))]
    if not card.noises:
        lines += _wrap("Not known yet: chatter noise FILE --setup NAME files it.", "  ")
    lines += ["", "Cautions", *(line for text in card.cautions for line in _bullet(text))]
    return "\n".join(lines) + "\n"


def tell_retired(document: Card | SetupMap) -> str | None:
    """Say that a setup is retired, and how to bring it back; None of one in use."""
    if document.retired is None:
        return None
    return (
        f"This setup is retired since {tell_day(document.retired)}; "
        f'chatter setup retire "{document.setup}" --undo brings it back.'
    )


def tell_noise(noise: CardNoise) -> str:
    """Say how loud one recording of a setup is, at the phone and next door."""
    deep = "" if noise.depth_mm is None else f", {noise.depth_mm:g} mm deep"
    cut = "" if noise.set_rpm is None else f"{noise.set_rpm:,.0f} rpm{deep}, {noise.verdict}: "
    if noise.at_phone_db is None:
        return f"{cut}no level could be told ({noise.file})."
    text = f"{cut}{noise.at_phone_db:.0f} dB(A) at the phone while it cuts (±{noise.uncertainty_db:.0f})"
    if noise.level_in_doubt:
        return f"{text}, but {IN_DOUBT}: calibrate, or record anew ({noise.file})."
    if noise.at_neighbour_db is not None and noise.neighbour_distance_m is not None:
        text += f"; next door, {noise.neighbour_distance_m:g} m away, {noise.at_neighbour_db:.0f} dB(A)"
        if noise.low_db is not None and noise.high_db is not None:
            text += f" ({noise.low_db:.0f} to {noise.high_db:.0f})"
        if noise.rating_db is not None:
            text += f", with its tones rated {noise.rating_db:.0f}"
    return f"{text} ({noise.file})."


def setup_map_to_text(document: SetupMap) -> str:
    """Lay out a setup's map: its best setting, and the depths that likely machines carry at each speed."""
    lines = [document.setup, "=" * len(document.setup), *_wrap(tell_retired(document) or "")]
    lines += _wrap(
        f"{_count(len(document.cuts), 'cut')} with a verdict and a depth; "
        f"{document.left_out} without, left out."
    )
    best = document.best_so_far
    if best is None:
        lines.append("No setting was heard stable yet.")
    else:
        lines.append(f"Best heard stable: {best.set_rpm:,.0f} rpm as dialled, {best.depth_mm:g} mm deep.")
        if best.may_double:
            lines += _wrap(
                "That cut may have chattered in a way that sounds like run-out (teeth that cut deep and "
                "shallow in turns). A cut at less than half the depth, at the same speed, would tell: record "
                "it, and file it."
            )
        if best.passed_over is not None:
            lines += _wrap(best.passed_over.message)
    if document.stable_probability is None:
        lines += _wrap("No chances yet: no chatter and no tap names a frequency.")
        return "\n".join(lines) + "\n"
    lines += ["", "Deepest cut, mm, that is stable", "true rpm  with 90 chances in 100  with 50 in 100"]
    step, table = max(1, len(document.speeds_rpm) // TABLE_ROWS), []
    for column in range(0, len(document.speeds_rpm), step):
        chances = [row[column] for row in document.stable_probability]
        sure, even = (_find_deepest(document.depths_mm, chances, least) for least in (SURE, 0.5))
        table.append(f"{document.speeds_rpm[column]:>8,.0f}  {_deep(*sure):>22}  {_deep(*even):>14}")
    lines += [*table, ""]
    if any("+" in row for row in table):
        lines += _wrap("+ means that or more: no greater depth was looked at.")
    return "\n".join([*lines, *(line for text in explain_map(document) for line in _wrap(text))]) + "\n"


def explain_map(document: SetupMap) -> tuple[str, ...]:
    """Say which speeds a setup's map is over, and where its best setting lies beyond its sure depths."""
    told = [cut for cut in document.cuts if cut.measured_rpm is not None]
    texts = ["Speeds here are true ones, not those to dial."]
    if told:
        newest = told[-1]
        texts[0] += (
            f" In the newest cut {newest.set_rpm:,.0f} rpm on the dial were {newest.true_rpm:,.0f} true."
        )
    beyond = tell_beyond(document)
    return tuple(texts if beyond is None else [*texts, beyond])


def tell_beyond(document: SetupMap) -> str | None:
    """Say that the best setting heard stable lies deeper than the sure depth; None where it doesn't."""
    best, best_rpm, rows = document.best_so_far, document.best_rpm, document.stable_probability
    if best is None or best_rpm is None or rows is None:
        return None
    near = min(range(len(document.speeds_rpm)), key=lambda one: abs(document.speeds_rpm[one] - best_rpm))
    sure_mm, is_open = _find_deepest(document.depths_mm, [row[near] for row in rows], SURE)
    if is_open or best.depth_mm <= sure_mm:
        return None
    return (
        "The best heard stable was quiet when it was heard; that it stays so is less sure than 90 chances in "
        f"100, which at its speed reach {_floor_mm(sure_mm)} mm."
    )


def _find_deepest(depths_mm: tuple[float, ...], chances: list[float], least: float) -> tuple[float, bool]:
    """Give the depth down to which the chance is at least that, and whether it is all that was looked at."""
    above_mm, above = 0.0, 1.0  # no depth, no chatter
    for depth_mm, chance in zip(depths_mm, chances, strict=True):
        if chance < least:
            return above_mm + (depth_mm - above_mm) * (above - least) / (above - chance), False
        above_mm, above = depth_mm, chance
    return above_mm, True


def _deep(depth_mm: float, is_open: bool) -> str:
    return f"{_floor_mm(depth_mm)}{'+' if is_open else ''}"


def _floor_mm(depth_mm: float) -> str:
    return f"{math.floor(100 * depth_mm + 1e-9) / 100:.2f}"  # rounded up it might chatter


def _card_line(row: CardRow) -> str:
    def shown(value: float | None, form: str) -> str:
        return "-" if value is None else format(value, form)

    margin = "" if row.chatter_depth_mm is None else f"; not at {row.chatter_depth_mm:g} mm"
    chance = f"chatter {tell_percent(row.chatter_probability)}"
    return (
        f"{row.set_rpm:>8,.0f}  {shown(row.feed_mm_min, ',.0f'):>6}  {row.depth_mm:>7g}  "
        f"{shown(row.width_mm, 'g'):>7}  {shown(row.removal_mm3_min, ',.0f'):>7}  "
        f"{row.cuts}x, {chance}{margin}"
    )


def _bullet(text: str) -> list[str]:
    return textwrap.wrap(
        text, width=COLUMNS, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False
    )


def describe_facts(facts: SetupFacts) -> str:
    """Say in one line what a setup is."""
    parts = [
        _joined(facts.machine, _range(facts), _unit(facts.spindle_power_w, "W")),
        _joined(
            _unit(facts.diameter_mm, "mm"),
            facts.tool,
            _count(facts.flutes, "flute"),
            _unit(facts.stick_out_mm, "mm out"),
            None if facts.tool_max_rpm is None else f"at most {facts.tool_max_rpm:,g} rpm",
        ),
        facts.holder or "",
        _joined(
            facts.material,
            _unit(facts.width_mm, "mm wide"),
            facts.direction,
            None if facts.max_depth_mm is None else f"at most {facts.max_depth_mm:g} mm deep",
        ),
    ]
    return "; ".join(part for part in parts if part)


def _cut_lines(cut: KeptCut) -> list[str]:
    """Give the line of one cut, or two where its file's name doesn't fit beside the figures."""
    true = "-" if cut.measured_rpm is None else f"{cut.measured_rpm:,.0f}"
    depth = "-" if cut.depth_mm is None else f"{cut.depth_mm:g}"
    hz = "-" if cut.chatter_hz is None else f"{cut.chatter_hz:,.0f}"
    old = "" if cut.is_current else f"  (earlier version {cut.version})"
    figures = f"{cut.number:>3}  {cut.set_rpm:>8,.0f}  {true:>8}  {depth:>8}  {cut.verdict:<9}  {hz:>10}"
    return beside(figures, f"{cut.file}{old}")


def _range(facts: SetupFacts) -> str | None:
    if facts.min_rpm is None and facts.max_rpm is None:
        return None
    if facts.min_rpm is None:
        return f"up to {facts.max_rpm:,g} rpm"
    return f"{facts.min_rpm:,g} to {'?' if facts.max_rpm is None else f'{facts.max_rpm:,g}'} rpm"


def _unit(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:,g} {unit}"


def _joined(*parts: str | None) -> str:
    return ", ".join(part for part in parts if part)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _hang(text: str) -> list[str]:
    """Give a text in one line as it stands, or in more, those after the first further in."""
    if len(text) <= COLUMNS:
        return [text]
    return textwrap.wrap(text, width=COLUMNS, subsequent_indent="     ", break_on_hyphens=False)


def _wrap(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, width=COLUMNS, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )
