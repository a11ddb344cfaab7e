"""A noise measurement as text for a person at a machine.

In: a `NoiseDocument` or a `NoiseComparison`. Out: lines of at most 80 columns that read without colour.
Leaves out: any judgement; every number stands in the document.
"""

import math

from chatter.model.noise import NoiseComparison, NoiseDocument, NoiseTone
from chatter.report._wrapping import wrap

CAUTIONS = (
    "This is no legal measurement: a phone is no sound level meter. Local codes and licensed practice "
    "decide.",
    "Wear hearing protection at the machine whenever you have to raise your voice there, or are not sure.",
)
SHOWN_TONES = 6
LEAST_ADJUSTMENT_DB = 0.05  # smaller ones show as 0.0
TOO_SHORT = "The recording is too short to judge tones: record at least ten seconds."
LEVEL_WORDS = {
    "LAeq_db": "mean, as heard (LAeq)",
    "LCeq_db": "mean with its bass (LCeq)",
    "LZeq_db": "mean, unweighted (LZeq)",
    "LAFmax_db": "loudest moment (LAFmax)",
    "LASmax_db": "loudest second (LASmax)",
    "LCpeak_db": "highest peak (LCpeak)",
    "LAF10_db": "exceeded a tenth of the time (LAF10)",
    "LAF50_db": "exceeded half of the time (LAF50)",
    "LAF90_db": "exceeded nearly always (LAF90)",
    "LAE_db": "all of it in one second (LAE)",
}
# What a level of cutting sound outdoors is like to the neighbour. WHO, Guidelines for Community Noise, 1999,
# 4.1 and 4.2: sleep with a window open needs 45 dB outside, few are moderately annoyed below 50 dB outdoors,
# few seriously below 55 dB, and speech at a metre is understood in full up to about 55 dB.
LIKE = (
    (30.0, "hardly heard, even on a quiet night"),
    (45.0, "heard when it is quiet, and soft enough to sleep by"),
    (50.0, "heard in the garden; with an open window it disturbs sleep"),
    (55.0, "annoying to some in the garden, by day"),
    (65.0, "seriously annoying; talk outside needs a raised voice"),
    (float("inf"), "loud: talk outside is hard, and it is heard through closed windows"),
)

COUNTED_FROM_DB = 4.0  # ISO 1996-2:2007, C.2.4: audibility above which a tone costs an adjustment
# What to do about a tone by where it comes from; chatter first, since it alone can go altogether.
CHANGES: dict[str, str] = {
    "chatter": "The tone at {hz} is chatter: change to a stable lobe (chatter cut says which), and it goes.",
    "tooth passing": "The tone at {hz} is the teeth: another speed moves it, another flute count (or a "
    "cutter with uneven pitch) spreads it, less depth makes it weaker.",
    "spindle": "The tone at {hz} is the spindle's turning: run-out or balance. Clean the collet, seat the "
    "tool anew, and check the bearings.",
    "other": "The tone at {hz} belongs neither to teeth nor to spindle: look for a fan, a vacuum, a pump or "
    "a drive.",
}


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


def comparison_to_text(comparison: NoiseComparison) -> str:
    """Lay out several measurements, quietest for the neighbour first."""
    where = "at the neighbour" if comparison.noises[0].neighbour is not None else "at the phone"
    lines = wrap(f"NOISE: {len(comparison.noises)} recordings, quietest first {where}")
    lines = [*lines, "=" * max(len(line) for line in lines)]
    table = [f"  {'rated':>6}  {'LAeq':>6}  {'tones':>6}  recording"]
    for noise in comparison.noises:
        laeq_db = noise.levels.LAeq_db if noise.neighbour is None else noise.neighbour.LAeq_db
        table.append(
            f"  {_cell(noise.rated_db)}  {_cell(laeq_db)}  {_cell(noise.tonal_adjustment_db)}  "
            f"{noise.recording['file']}"
        )
    sure = max(noise.calibration.uncertainty_db for noise in comparison.noises)
    note = wrap(
        f"dB; every level ±{sure:.0f} dB, their differences are surer. Rated: with the adjustment for tones.",
        "  ",
    )
    says = [line for text in comparison.says for line in wrap(text, "  - ")]
    cautions = ["Cautions", *(line for text in CAUTIONS for line in wrap(text, "  - "))]
    return "\n\n".join("\n".join(part) for part in (lines, [*table, *note], says, cautions)) + "\n"


def tell_likeness(level_db: float) -> str:
    """Say what a rated level of cutting is like to the neighbour, outdoors."""
    return next(words for limit_db, words in LIKE if level_db < limit_db)


def tell_rating(document: NoiseDocument) -> str:
    """Say at what level it rates, and whether tones are in that; without a capital and a full stop."""
    rated_db, adjustment_db = document.rated_db or 0.0, document.tonal_adjustment_db
    if adjustment_db is None:
        return f"the recording is too short to judge tones, so without them it rates as {rated_db:.0f} dB"
    tones = "with its tones " if adjustment_db >= LEAST_ADJUSTMENT_DB else ""
    return f"{tones}it rates as {rated_db:.0f} dB"


def tell_calibration(document: NoiseDocument) -> str:
    """Say where the levels come from and how sure they are."""
    calibration = document.calibration
    sure = f"±{calibration.uncertainty_db:.0f} dB"
    if calibration.source == "typical phone":
        said = (
            f"No calibration was given, so a typical phone is assumed: every level is {sure}. "
            "Calibrate to be surer (chatter calibrate)."
        )
    elif calibration.source == "saved":
        said = f"Calibration {calibration.name!r}: every level is {sure}."
    else:
        said = f"Full scale given as {calibration.full_scale_db:g} dB: every level is {sure}."
    return " ".join([said, *calibration.because])


def tell_changes(tones: tuple[NoiseTone, ...], adjustment_db: float) -> list[str]:
    """Say what to change about the tones that cost an adjustment, one sentence a source, chatter first."""
    if adjustment_db < 0.5 or not tones:
        return []
    counted = [tone for tone in tones if tone.audibility_db > COUNTED_FROM_DB]
    found = sorted({tone.source for tone in counted if tone.source is not None}, key=list(CHANGES).index)
    if not found:
        return [
            "To learn what makes the tone, tell speed and flutes, and record one cut of under two minutes."
        ]
    return [
        CHANGES[source].format(
            hz=tell_hz(
                max(
                    (tone for tone in counted if tone.source == source), key=lambda tone: tone.audibility_db
                ).frequency_hz
            )
        )
        for source in found
    ]


def _cell(value: float | None) -> str:
    return f"{'-':>6}" if value is None else f"{value:6.1f}"


def _title(document: NoiseDocument) -> list[str]:
    laeq_db, sure = document.levels.LAeq_db, document.calibration.uncertainty_db
    if laeq_db is None:
        head = "NOISE: the recording holds no sound."
    else:
        head = f"NOISE: {laeq_db:.0f} dB(A) at the phone, ±{sure:.0f} dB."
        if document.neighbour is not None:
            there = document.neighbour
            head = (
                f"NOISE: {laeq_db:.0f} dB(A) at the phone (±{sure:.0f} dB); "
                f"at the neighbour {there.LAeq_db:.0f} dB(A), {there.low_db:.0f} to {there.high_db:.0f}."
            )
    lines = wrap(head)
    lines.append("=" * max(len(line) for line in lines))
    recording = document.recording
    return [
        *lines,
        *wrap(f"{recording['file']}: {tell_length(recording['duration_s'])}."),
        *wrap(tell_calibration(document)),
    ]


def tell_length(seconds: float) -> str:
    """Give a length of sound in the unit that it is read in."""
    if seconds < 120:
        return f"{seconds:.1f} s"
    return f"{seconds / 60:.0f} minutes" if seconds < 7200 else f"{seconds / 3600:.1f} hours"


def _levels(document: NoiseDocument) -> list[str]:
    sure = document.calibration.uncertainty_db
    lines = ["Levels at the phone"]
    for name, value in document.levels.to_dict().items():
        shown = "not in the recording" if value is None else f"{value:6.1f} dB ±{sure:.0f}"
        lines.append(f"  {LEVEL_WORDS[name]:<38}{shown}")
    loudest = max(
        (band for band in document.bands if band.Leq_db is not None),
        key=lambda band: band.Leq_db or 0,
        default=None,
    )
    if loudest is not None:
        lines += wrap(
            f"Most of its energy lies near {tell_hz(loudest.midband_hz)} (third-octave bands in --json).",
            "  ",
        )
    return lines


def tell_hz(hz: float) -> str:
    """Give a frequency with the digits that it is read with."""
    return f"{hz:,.0f} Hz" if hz >= 100 else f"{hz:.1f} Hz"


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
        f"{there.LAeq_db:.0f} dB(A) while it cuts, between {there.low_db:.0f} and {there.high_db:.0f}; "
        f"{tell_rating(document)}: {tell_likeness(there.rating_db)}.",
        "  ",
    )
    lines.append(f"  {'part':<28}{'dB':>7}   range")
    for part in there.parts:
        spread = "" if not (part.down_db or part.up_db) else f"-{part.down_db:.1f} to +{part.up_db:.1f}"
        lines.append(f"  {part.name[:27]:<28}{part.db:7.1f}   {spread}".rstrip())
    for share in there.shares:
        lines += wrap(f"{share.percent:.0f} % gets out by the {share.name} ({share.area_m2:g} m²).", "  ")
    for text in there.assumes:
        lines += wrap(text, "  - ")
    return lines


def _evening(document: NoiseDocument) -> list[str]:
    evening = document.evening
    if evening is None:
        return []
    lines = [f"An evening of {evening.reference_h:g} h under {evening.limit_db:g} dB"]
    fit, low, high, hourly = (
        math.floor(minutes)  # never more than fit
        for minutes in (evening.minutes, evening.minutes_low, evening.minutes_high, evening.minutes_per_hour)
    )
    lines += wrap(
        f"{fit} minute{'' if fit == 1 else 's'} of cutting fit it, between {low} and {high}; {hourly} in "
        "each hour by itself.",
        "  ",
    )
    for text in evening.guidance:
        lines += wrap(text, "  - ")
    return lines


def _exposure(document: NoiseDocument) -> list[str]:
    ear = document.exposure
    if ear is None:
        return []
    lines = [f"At your ear, {ear.ear_distance_m:g} m away, {ear.minutes:.0f} minutes a day"]
    lines += wrap(
        f"{ear.ear_db:.0f} dB(A) while it cuts; LEX,8h {ear.LEX8h_db:.0f} dB, between {ear.low_db:.0f} and "
        f"{ear.high_db:.0f}. NIOSH dose {ear.niosh_percent:.0f} %, OSHA {ear.osha_percent:.0f} %.",
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
    findings = document.recording["findings"]
    if not findings:
        return []
    return ["About this recording", *(line for one in findings for line in wrap(one["message"], "  - "))]
