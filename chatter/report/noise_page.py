"""A noise measurement as a page: the level and how sure it is, neighbour, evening, ear, tones and bands.

In: a `NoiseDocument` or a `NoiseComparison`. Out: a `Page`.
Leaves out: any judgement; every number stands in the document.
"""

from typing import Any

import numpy as np

from chatter.model.noise import NoiseComparison, NoiseDocument
from chatter.report._facts import NO_METER, list_provenance, tell_version
from chatter.report._figures import SMALL, USUAL, add_axes, name_height, new_figure
from chatter.report._palette import COAST, INK
from chatter.report._svg import to_svg
from chatter.report.noise_comparison import DOUBTED, HEADS, NOTE, list_notes, list_rows, tell_order
from chatter.report.noise_strip import draw_noise_strip
from chatter.report.noise_words import (
    CAUTIONS,
    IN_DOUBT,
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
from chatter.report.page import Block, Facts, Page, Part, Picture, Points, Sound, Table, Words

LEFT, RIGHT = 0.12, 0.965
MINUS = "\N{MINUS SIGN}"
# What was told, in words with the unit.
TOLD = {
    "full_scale_db": ("Full scale", "dB"),
    "calibration": ("Calibration", ""),
    "rpm": ("Speed dialled", "rpm"),
    "flutes": ("Flutes", ""),
    "mic_distance_m": ("Machine to phone", "m"),
    "neighbour_distance_m": ("Machine, indoors the openings, to neighbour", "m"),
    "screen_height_m": ("Height of the screen", "m"),
    "screen_distance_m": ("Machine, indoors the openings, to screen", "m"),
    "machine_height_m": ("Height of the machine, indoors of the openings", "m"),
    "neighbour_height_m": ("Height of the neighbour's ear", "m"),
    "opening": ("Openings", ""),
    "room_m3": ("Volume of the room", "m³"),
    "ear_distance_m": ("Cut to ear", "m"),
    "limit_db": ("Limit", "dB"),
    "minutes": ("Minutes of cutting", "min"),
    "evening_h": ("Evening", "h"),
    "cut": ("Cut documents", ""),
}


def page_of_noise(document: NoiseDocument, *, sound: Sound | None = None) -> Page:
    """Give the page of one measurement."""
    findings = list_messages(document, first=False)
    helps = (
        *(() if document.evening is None else document.evening.helps),
        *tell_changes(document.tones, document.tonal_adjustment_db or 0.0),
    )
    return Page(
        subject=document.recording["file"],
        kicker="Noise, by a phone",
        sign="noise",
        answer=_answer(document),
        lead=(
            f"{tell_length(document.recording['duration_s'])}. {tell_calibration(document)}",
            *list_messages(document, first=True),
        ),
        parts=(
            Part(heading="At the neighbour", blocks=_neighbour(document)),
            Part(heading="The evening", blocks=_evening(document)),
            Part(heading="What helps", blocks=(Points(texts=helps) if helps else None,)),
            Part(heading="At your ear", blocks=_ear(document)),
            Part(heading="Before you rely on it", blocks=(Points(texts=CAUTIONS),), is_warning=True),
            Part(heading="Levels at the phone", blocks=(_levels(document),)),
            Part(heading="Tones", blocks=_tones(document)),
            Part(heading="What was heard", blocks=(_bands(document), sound)),
            Part(heading="Noticed in the recording", blocks=(Points(texts=findings) if findings else None,)),
            Part(heading="What was assumed", blocks=_assumed(document)),
            Part(heading="What you told", blocks=(_told(document.program["settings"]),)),
            Part(
                heading="Made from",
                blocks=(Facts(pairs=list_provenance(document.program, document.recording)),),
            ),
        ),
        footer=tell_version(document.program, doubt=NO_METER),
    )


def page_of_comparison(comparison: NoiseComparison) -> Page:
    """Give the page of several measurements."""
    where = "the phone" if comparison.noises[0].neighbour is None else "the neighbour"
    rows = tuple(
        (
            f"{file} ({DOUBTED})" if noise.level_in_doubt else file,
            *(cell.replace("-", MINUS) for cell in cells),
        )
        for (file, *cells), noise in zip(list_rows(comparison), comparison.noises, strict=True)
    )
    order = tell_order(comparison)
    notes = tuple(
        Part(heading=heading, blocks=(Points(texts=texts),)) for heading, texts in list_notes(comparison)
    )
    return Page(
        subject=f"{len(rows)} recordings",
        kicker="Noise, by a phone",
        sign="noise",
        answer=comparison.says[0],
        lead=tuple(comparison.says[1:]),
        parts=(
            Part(
                heading=f"{order[0].upper()}{order[1:]}, at {where}",
                blocks=(
                    Table(
                        caption=NOTE,
                        heads=("recording", *HEADS[:-1]),
                        rows=tuple(row[:-1] for row in rows),
                        numbers=(1, 2, 3),
                    ),
                    Table(  # of its own: a phone has no room for it beside the others
                        caption="Of the rated level, the adjustment for tones, dB",
                        heads=("recording", HEADS[-1]),
                        rows=tuple((row[0], row[-1]) for row in rows),
                        numbers=(1,),
                    ),
                ),
            ),
            *notes,
            Part(heading="Before you rely on it", blocks=(Points(texts=CAUTIONS),), is_warning=True),
            Part(heading="What you told", blocks=(_told(comparison.program["settings"]),)),
        ),
        footer=tell_version(comparison.program, doubt=NO_METER),
    )


def _answer(document: NoiseDocument) -> str:
    level_db, sure = document.levels.LAeq_db, document.calibration.uncertainty_db
    if level_db is None:
        return "The recording holds no sound."
    doubt = f"{IN_DOUBT[0].upper()}{IN_DOUBT[1:]}. " if document.level_in_doubt else ""
    if document.neighbour is None:
        return f"{doubt}{tell_at_phone(document, sure=f', ±{sure:.0f} dB')}."
    there = document.neighbour
    return (
        f"{doubt}{tell_number(there.LAeq_db)} dB(A) at the neighbour, between "
        f"{tell_between(there.low_db, there.high_db)}; {tell_at_phone(document, sure='')}."
    )


def _db(value: float | None) -> str:
    return "–" if value is None else tell_number(value, digits=1).replace("-", MINUS)


def _neighbour(document: NoiseDocument) -> tuple[Block | None, ...]:
    there = document.neighbour
    if there is None:
        return ()
    rows = tuple(
        (
            part.name,
            _db(part.db),
            tell_spread(part, minus=MINUS),
        )
        for part in there.parts
    )
    rating = tell_rating(document)
    shares = tuple(tell_shares(there))
    return (
        Words(
            texts=(
                f"{rating[0].upper()}{rating[1:]}, {there.distance_m:g} m away: {tell_likeness(document)}.",
            ),
            large=True,
        ),
        _strip(document),
        Table(
            caption="From the phone to the neighbour", heads=("part", "dB", "range"), rows=rows, numbers=(1,)
        ),
        Points(texts=shares) if shares else None,
    )


def _strip(document: NoiseDocument) -> Picture | None:
    drawn = draw_noise_strip(document)
    if drawn is None:
        return None
    limit = (
        "Name a limit to see it here."
        if document.evening is None
        else "Dotted land begins at the limit you named: a range that reaches into it may be too loud, and "
        "one that lies on it is."
    )
    return Picture(
        heading="How loud it is where",
        svg=drawn,
        texts=("Each bar is the range in which the level lies, and the mark in it the likeliest.", limit),
    )


def _evening(document: NoiseDocument) -> tuple[Block | None, ...]:
    evening, told = document.evening, tell_evening(document)
    if evening is None or told is None:
        return ()
    return (
        Words(
            texts=(told,),
            large=True,
        ),
        Points(texts=evening.guidance) if evening.guidance else None,
    )


def _ear(document: NoiseDocument) -> tuple[Block | None, ...]:
    ear = document.exposure
    if ear is None:
        return ()
    niosh, osha = tell_doses(ear)
    return (
        Facts(
            pairs=(
                ("While it cuts", f"{tell_number(ear.ear_db)} dB(A), {ear.ear_distance_m:g} m away"),
                ("In a day", tell_minutes(ear.minutes)),
                (
                    "Spread over 8 hours (LEX,8h)",
                    f"{tell_number(ear.LEX8h_db)} dB, between {tell_between(ear.low_db, ear.high_db)}",
                ),
                ("NIOSH dose", niosh),
                ("OSHA dose", osha),
            )
        ),
        Points(texts=ear.says),
    )


def _levels(document: NoiseDocument) -> Table:
    sure = document.calibration.uncertainty_db
    rows = tuple(
        (LEVEL_WORDS[name], "not in the recording" if value is None else f"{_db(value)} ±{sure:.0f}")
        for name, value in document.levels.to_dict().items()
    )
    return Table(caption="Levels", heads=("level", "dB"), rows=rows, numbers=(1,))


def _tones(document: NoiseDocument) -> tuple[Block | None, ...]:
    adjustment_db = document.tonal_adjustment_db
    if adjustment_db is None:
        return (Words(texts=(TOO_SHORT,)),)
    if not document.tones:
        return (Words(texts=("None can be heard above the rest.",)),)
    rows = tuple(
        (tell_hz(tone.frequency_hz), _db(tone.audibility_db), tone.source or "not known")
        for tone in document.tones[:SHOWN_TONES]
    )
    return (
        Words(texts=(f"Adjustment for tones: {adjustment_db:.1f} dB (ISO 1996-2).",)),
        Table(
            caption="Tones, most audible first",
            heads=("tone", "above just audible, dB", "comes from"),
            rows=rows,
            numbers=(1,),
        ),
    )


def _assumed(document: NoiseDocument) -> tuple[Block | None, ...]:
    said = () if document.neighbour is None else document.neighbour.assumes
    return (Points(texts=said) if said else None,)


def _told(settings: dict[str, Any]) -> Facts | None:
    pairs = []
    for name, (word, unit) in TOLD.items():
        value = settings.get(name)
        if value is None or value in ([], ()):
            continue
        shown = str(value)
        if isinstance(value, list | tuple):
            shown = ", ".join(map(str, value))
        elif isinstance(value, int | float):
            shown = f"{value:,g}"
        pairs.append((word, f"{shown} {unit}".strip()))
    if settings.get("indoors"):
        pairs.append(("Machine and phone", "in a room"))
    return Facts(pairs=tuple(pairs)) if pairs else None


def _bands(document: NoiseDocument) -> Picture | None:
    """Draw the third-octave bands as bars from the least level up."""
    known = [(band.midband_hz, band.Leq_db) for band in document.bands if band.Leq_db is not None]
    if not known:
        return None
    hz, levels = (np.array(column, dtype=float) for column in zip(*known, strict=True))
    bottom_db = 10 * np.floor(max(levels.min(), levels.max() - 60) / 10)
    figure = new_figure(3.3)
    axes = add_axes(figure, left=LEFT, right=RIGHT, low_in=0.52, high_in=2.98)
    at = np.log10(hz / 1000) * 10
    axes.bar(at, np.maximum(levels - bottom_db, 0), bottom=bottom_db, width=0.8, color=COAST)
    ticks = [
        tick for tick in (31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16_000) if tick <= hz.max() * 1.1
    ]
    axes.set_xticks(
        [10 * np.log10(tick / 1000) for tick in ticks],
        [f"{tick / 1000:g}k" if tick >= 1000 else f"{tick:g}" for tick in ticks],
        fontsize=SMALL - 1.5,
        color=INK,
    )
    axes.set_xlabel("third-octave band, Hz", fontsize=USUAL)
    name_height(axes, "dB")
    loudest = hz[int(np.argmax(levels))]
    svg = to_svg(
        figure,
        name="bands",
        title="Third-octave bands at the phone",
        description=f"Levels of {len(known)} bands; the loudest is the one at {tell_band(loudest)}.",
    )
    return Picture(
        heading="Low and high",
        svg=svg,
        texts=(
            "The mean level of each third of an octave, unweighted. The loudest is the band at "
            f"{tell_band(loudest)}. "
            "Walls and fences take high sound away and let low sound through.",
        ),
    )
