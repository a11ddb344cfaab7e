"""A noise measurement as text for a person at a machine.

In: a `NoiseDocument`. Out: lines of at most 80 columns that read without colour.
Leaves out: any judgement; every number stands in the document.
"""

from chatter.model.noise import NoiseDocument
from chatter.report._wrapping import wrap
from chatter.report.noise_words import (
    CAUTIONS,
    IN_DOUBT,
    LEAST_ADJUSTMENT_DB,
    LEVEL_WORDS,
    SHOWN_TONES,
    TOO_SHORT,
    list_messages,
    tell_at_phone,
    tell_band,
    tell_between,
    tell_calibration,
    tell_changes,
    tell_doses,
    tell_evening,
    tell_hz,
    tell_length,
    tell_likeness,
    tell_minutes,
    tell_number,
    tell_rating,
    tell_shares,
    tell_spread,
)


def noise_to_text(document: NoiseDocument) -> str:
    """Lay out one measurement as plain text.

    Returns
    -------
    str
        Lines of at most 80 columns, the last one ended.
    """
    parts = [
        _title(document),
        _levels(document),
        _tones(document),
        _neighbour(document),
        _evening(document),
        _exposure(document),
        _helps(document),
        _notes(document),
        ["Cautions", *(line for text in CAUTIONS for line in wrap(text, "  - "))],
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _title(document: NoiseDocument) -> list[str]:
    laeq_db, sure = document.levels.LAeq_db, document.calibration.uncertainty_db
    if laeq_db is None:
        head = "NOISE: the recording holds no sound."
    else:
        head = f"NOISE: {tell_at_phone(document, sure=f', ±{sure:.0f} dB')}."
        if document.neighbour is not None:
            there = document.neighbour
            head = (
                f"NOISE: {tell_at_phone(document, sure=f' (±{sure:.0f} dB)')}; "
                f"at the neighbour {tell_number(there.LAeq_db)} dB(A), "
                f"{tell_between(there.low_db, there.high_db, to='to')}."
            )
    if laeq_db is not None and document.level_in_doubt:
        head = head.replace("NOISE: ", f"NOISE: {IN_DOUBT}. ", 1)
    lines = wrap(head)
    lines.append("=" * max(len(line) for line in lines))
    recording = document.recording
    return [
        *lines,
        *wrap(f"{recording['file']}: {tell_length(recording['duration_s'])}."),
        *wrap(tell_calibration(document)),
        *(line for text in list_messages(document, first=True) for line in wrap(text, "  - ")),
    ]


def _levels(document: NoiseDocument) -> list[str]:
    sure = document.calibration.uncertainty_db
    lines = ["Levels at the phone"]
    for name, value in document.levels.to_dict().items():
        shown = (
            "not in the recording" if value is None else f"{tell_number(value, digits=1):>6} dB ±{sure:.0f}"
        )
        lines.append(f"  {LEVEL_WORDS[name]:<38}{shown}")
    loudest = max(
        (band for band in document.bands if band.Leq_db is not None),
        key=lambda band: band.Leq_db or 0,
        default=None,
    )
    if loudest is not None:
        lines += wrap(
            f"Most of its energy lies near {tell_band(loudest.midband_hz)} (third-octave bands in --json).",
            "  ",
        )
    return lines


def _tones(document: NoiseDocument) -> list[str]:
    adjustment_db = document.tonal_adjustment_db
    if adjustment_db is None:
        return ["Tones", *wrap(TOO_SHORT, "  ")]
    if not document.tones:
        return ["Tones", *wrap("None can be heard above the rest.", "  ")]
    lines = ["Tones, most audible first", f"  {'frequency':>11}  {'above just audible':>18}  comes from"]
    for tone in document.tones[:SHOWN_TONES]:
        source = tone.source or "not known"
        lines.append(f"  {tell_hz(tone.frequency_hz):>11}  {tone.audibility_db:15.1f} dB  {source}")
    cost = (
        f"They make it as annoying as a sound {adjustment_db:.1f} dB louder (ISO 1996-2)."
        if adjustment_db >= LEAST_ADJUSTMENT_DB
        else "They are too weak to count (ISO 1996-2)."
    )
    return lines + wrap(cost, "  ")


def _neighbour(document: NoiseDocument) -> list[str]:
    there = document.neighbour
    if there is None:
        return []
    lines = [f"At the neighbour, {there.distance_m:g} m away"]
    lines += wrap(
        f"{tell_number(there.LAeq_db)} dB(A) while it cuts, between "
        f"{tell_between(there.low_db, there.high_db)}; {tell_rating(document)}: "
        f"{tell_likeness(document)}.",
        "  ",
    )
    lines.append(f"  {'part':<28}{'dB':>7}   range")
    for part in there.parts:
        lines.append(
            f"  {part.name[:27]:<28}{tell_number(part.db, digits=1):>7}   {tell_spread(part)}".rstrip()
        )
    for text in tell_shares(there):
        lines += wrap(text, "  ")
    for text in there.assumes:
        lines += wrap(text, "  - ")
    return lines


def _evening(document: NoiseDocument) -> list[str]:
    evening, told = document.evening, tell_evening(document)
    if evening is None or told is None:
        return []
    lines = ["The evening", *wrap(told, "  ")]
    for text in evening.guidance:
        lines += wrap(text, "  - ")
    return lines


def _exposure(document: NoiseDocument) -> list[str]:
    ear = document.exposure
    if ear is None:
        return []
    niosh, osha = tell_doses(ear)
    lines = [f"At your ear, {ear.ear_distance_m:g} m away, {tell_minutes(ear.minutes)} a day"]
    lines += wrap(
        f"{tell_number(ear.ear_db)} dB(A) while it cuts; spread over a day of 8 hours (LEX,8h) "
        f"{tell_number(ear.LEX8h_db)} dB, between {tell_between(ear.low_db, ear.high_db)}. "
        f"NIOSH dose {niosh}, OSHA {osha}.",
        "  ",
    )
    for text in ear.says:
        lines += wrap(text, "  - ")
    return lines


def _helps(document: NoiseDocument) -> list[str]:
    helps = list(() if document.evening is None else document.evening.helps)
    helps += tell_changes(document.tones, document.tonal_adjustment_db or 0.0)
    return ["What helps", *(line for text in helps for line in wrap(text, "  - "))] if helps else []


def _notes(document: NoiseDocument) -> list[str]:
    texts = list_messages(document, first=False)
    return ["About this recording", *(line for text in texts for line in wrap(text, "  - "))] if texts else []
