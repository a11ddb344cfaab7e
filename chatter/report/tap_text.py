"""A tap test as text for a person at a machine.

In: a `TapDocument`. Out: lines of at most 80 columns that read without colour.
Leaves out: any judgement; every number stands in the document.
"""

from chatter.model.tap import LOWEST_HZ, SLOWEST_RPM, FavouredSpeed, TapDocument, TapMode
from chatter.report._wrapping import wrap

CAUTIONS = (
    "Spindle stopped and locked out before a hand comes near the tool.",
    "Tool edges cut, also at rest: lay a rag over them, and tap the shank with wood or plastic.",
    "A speed to try is no speed limit: never above what spindle, holder and tool are made for.",
)


SPEEDS_NOTE = (
    "True speeds, as the spindle really turns: it may be a few percent slower than dialled. The more swings, "
    "the less is gained."
)


def tap_to_text(document: TapDocument) -> str:
    """Lay out one tap test as plain text.

    Returns
    -------
    str
        Lines of at most 80 columns, the last one ended.
    """
    cautions = ["Cautions", *(line for text in CAUTIONS for line in wrap(text, "  - "))]
    parts = [_title(document), _modes(document), _change(document), _speeds(document), _notes(document)]
    return "\n\n".join("\n".join(part) for part in [*parts, cautions] if part) + "\n"


def _title(document: TapDocument) -> list[str]:
    if document.modes:
        first = document.modes[0]
        head = f"TAP: the {document.of} rings at {first.frequency_hz:,.1f} Hz, damping {tell_damping(first)}."
    else:
        head = f"TAP: {tell_nothing(document)}"
    lines = wrap(head)
    lines.append("=" * max(len(line) for line in lines))
    return lines + wrap(f"{document.recording['file']}: {tell_count(document)}")


def tell_nothing(document: TapDocument) -> str:
    """Say why no mode is given, in one sentence."""
    codes = {one["code"] for one in document.recording["findings"]}
    if "running-machine" in codes:
        return "this sounds like a running machine, not like taps."
    if "no-usable-tap" in codes:
        return f"none of the taps on the {document.of} could be used."
    return f"no ringing of the {document.of} was heard."


def tell_count(document: TapDocument) -> str:
    """Say how many taps were heard and used."""
    used = sum(tap.used for tap in document.analysis.taps)
    count = len(document.analysis.taps)
    if not count:
        return "no tap heard."
    return f"{count} tap{'' if count == 1 else 's'} heard, {used} used."


def tell_damping(mode: TapMode) -> str:
    """Give the damping ratio in percent, with its spread or as a bound."""
    if mode.damping_bound == "upper":
        return f"{100 * mode.damping_ratio:.2g} % or less"
    if mode.damping_ratio_sd is None:
        return f"{100 * mode.damping_ratio:.3g} %"
    return f"{100 * mode.damping_ratio:.2f} ± {max(0.01, 100 * mode.damping_ratio_sd):.2f} %"


def _modes(document: TapDocument) -> list[str]:
    if not document.modes:
        return []
    lines = [
        "Modes (its ways of ringing), loudest first",
        f"  {'frequency':>19}  {'damping':>16}  {'dies away (60 dB)':>17}  level",
    ]
    for mode in document.modes:
        hz = f"{mode.frequency_hz:,.1f}"
        if mode.frequency_sd_hz is not None:
            hz += f" ± {max(0.1, mode.frequency_sd_hz):.1f}"
        fall = "" if mode.decay_time_s is None else f"{1000 * mode.decay_time_s:,.0f} ms"
        if mode.damping_bound == "upper" and fall:
            fall += " or more"
        lines.append(f"  {hz + ' Hz':>19}  {tell_damping(mode):>16}  {fall:>17}  {round(mode.level_db)} dB")
    if document.of == "frame":
        lines += wrap(f"Slower ways of ringing, below {LOWEST_HZ:.0f} Hz, a phone hardly hears.", "  ")
    if document.analysis.room_decay_s is not None:
        lines += wrap(f"The room itself takes about {document.analysis.room_decay_s:.1f} s for 60 dB.", "  ")
    return lines


def _change(document: TapDocument) -> list[str]:
    comparison = document.comparison
    if comparison is None:
        return []
    lines = wrap(f"Change since {comparison.before_file}")
    for change in comparison.changes:
        lines += wrap(change.says, "  - ")
    return lines


def _speeds(document: TapDocument) -> list[str]:
    if document.flutes is None:
        return (
            []
            if not document.modes
            else ["Speeds", *wrap("Name the flutes to see which speeds it favours.", "  ")]
        )
    if not document.speeds:
        nothing = tell_no_speed(document)
        return [] if nothing is None else ["Speeds", *wrap(nothing, "  ")]
    flutes = f"{document.flutes} flute{'' if document.flutes == 1 else 's'}"
    lines = [f"Speeds that the loudest mode favours, {flutes}"]
    for speed in document.speeds:
        lines += wrap(tell_speed(speed), "  - ")
    return lines + wrap(f"{SPEEDS_NOTE} A tap doesn't tell the depth: begin shallow and record it.", "  ")


def tell_no_speed(document: TapDocument) -> str | None:
    """Say that the limits leave no favoured speed; None where there was nothing to look for."""
    if not document.modes:
        return None
    low_rpm, high_rpm = document.speed_limits_rpm
    if low_rpm is None or low_rpm < SLOWEST_RPM:  # then the slowest is this program's own choice
        slowest = f"{SLOWEST_RPM:,.0f} rpm"
        if high_rpm is None:
            return f"All speeds that the loudest mode favours lie below {slowest}, and none so slow is named."
        return (
            f"None of the speeds that the loudest mode favours can be named up to {high_rpm:,.0f} rpm: no "
            f"speed below {slowest} is named."
        )
    if high_rpm is None:
        return (
            f"All speeds that the loudest mode favours lie below {low_rpm:,.0f} rpm, the slowest that may be "
            "dialled."
        )
    return (
        f"None of the speeds that the loudest mode favours lies between {low_rpm:,.0f} and {high_rpm:,.0f} "
        "rpm, which is what may be dialled."
    )


def tell_speed(speed: FavouredSpeed) -> str:
    """Say at about which speed the mode swings whole times from tooth to tooth.

    Three digits: a spindle slips by more than what they leave out.
    """
    swings = "once" if speed.lobe == 1 else f"{speed.lobe} times"
    return f"About {float(f'{speed.rpm:.3g}'):,.0f} rpm true: it swings {swings} from tooth to tooth."


def _notes(document: TapDocument) -> list[str]:
    findings = document.recording["findings"]
    return (
        ["About this recording", *(line for one in findings for line in wrap(one["message"], "  - "))]
        if findings
        else []
    )
