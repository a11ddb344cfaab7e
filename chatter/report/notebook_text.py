"""What a notebook holds as text for a person at a machine.

In: setups with their cuts and taps, the next cut. Out: lines that read without colour.
Leaves out: any judgement.
"""

import textwrap

from chatter.model.notebook import KeptCut, KeptSetup, SetupContents, SetupFacts

COLUMNS = 80


def setups_to_text(setups: tuple[KeptSetup, ...]) -> str:
    """Lay out a list of setups, two lines each: the name with what is filed, then the facts."""
    if not setups:
        return "No setups yet: add one, or name one when a cut is judged.\n"
    lines: list[str] = []
    for setup in setups:
        retired = "" if setup.retired is None else f", retired {setup.retired[:10]}"
        lines.append(f"{setup.name}  ({_count(setup.cuts, 'cut')}, {_count(setup.taps, 'tap')}{retired})")
        lines += _wrap(describe_facts(setup.facts), "    ")
    return "\n".join(lines) + "\n"


def setup_to_text(contents: SetupContents) -> str:
    """Lay out one setup with its cuts and taps."""
    lines = setups_to_text((contents.setup,)).splitlines()
    if contents.cuts:
        lines += ["", "cut  set rpm  true rpm  depth mm  verdict    chatter Hz  file"]
        lines += [_cut_line(cut) for cut in contents.cuts]
    for tap in contents.taps:
        old = "" if tap.is_current else f"  (earlier version {tap.version})"
        lines.append(f"tap {tap.number}: {tap.of}  {tap.file}{old}")
    return "\n".join(lines) + "\n"


def describe_facts(facts: SetupFacts) -> str:
    """Say in one line what a setup is."""
    parts = [
        _joined(facts.machine, _range(facts), _unit(facts.spindle_power_w, "W")),
        _joined(
            _unit(facts.diameter_mm, "mm"),
            facts.tool,
            _count(facts.flutes, "flute"),
            _unit(facts.stick_out_mm, "mm out"),
            None if facts.tool_max_rpm is None else f"at most {facts.tool_max_rpm:g} rpm",
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


def _cut_line(cut: KeptCut) -> str:
    true = "-" if cut.measured_rpm is None else f"{cut.measured_rpm:.0f}"
    depth = "-" if cut.depth_mm is None else f"{cut.depth_mm:g}"
    hz = "-" if cut.chatter_hz is None else f"{cut.chatter_hz:.0f}"
    old = "" if cut.is_current else f"  (earlier version {cut.version})"
    figures = f"{cut.number:>3}  {cut.set_rpm:>7.0f}  {true:>8}  {depth:>8}  {cut.verdict:<9}  {hz:>10}"
    return f"{figures}  {cut.file}{old}"


def _range(facts: SetupFacts) -> str | None:
    if facts.min_rpm is None and facts.max_rpm is None:
        return None
    if facts.min_rpm is None:
        return f"up to {facts.max_rpm:g} rpm"
    return f"{facts.min_rpm:g} to {'?' if facts.max_rpm is None else f'{facts.max_rpm:g}'} rpm"


def _unit(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:g} {unit}"


def _joined(*parts: str | None) -> str:
    return ", ".join(part for part in parts if part)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _wrap(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, width=COLUMNS, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )
