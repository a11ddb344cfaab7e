"""Several noises beside each other: rows, and what is told about each, for the text and the page.

In: a `NoiseComparison`. Out: rows, sentences, and lines of at most 80 columns that read without colour.
Leaves out: any judgement; every number stands in the document.
"""

from collections.abc import Callable, Iterable

from chatter.model.noise import NoiseComparison, NoiseDocument
from chatter.report._wrapping import beside, wrap
from chatter.report.noise_words import (
    CAUTIONS,
    tell_between,
    tell_calibration,
    tell_evening,
    tell_number,
)

HEADS = ("rated", "LAeq", "between", "tones")
NOTE = (
    "dB. Each LAeq lies within its own range; what one phone heard in one place differs by less than that. "
    "LAeq: while it cuts, long quiet parts left out. Rated: with the adjustment for tones."
)
NONE = "-"
DOUBTED = "level in doubt"


def comparison_to_text(comparison: NoiseComparison) -> str:
    """Lay out several measurements, quietest for the neighbour first."""
    where = "neighbour" if _has_neighbour(comparison) else "phone"
    head = wrap(f"NOISE: {len(comparison.noises)} recordings, {tell_order(comparison)} at the {where}")
    head.append("=" * max(len(line) for line in head))
    table = _lines("recording", *HEADS)
    for (file, *cells), noise in zip(list_rows(comparison), comparison.noises, strict=True):
        table += _lines(file, *cells)
        if noise.level_in_doubt:  # below: beside a long name there is no room
            table += _lines(f"({DOUBTED})", *("" for _ in cells))
    parts = [head, [*table, *wrap(NOTE, "  ")], _bullets(comparison.says)]
    parts += [[heading, *_bullets(texts)] for heading, texts in list_notes(comparison)]
    parts.append(["Cautions", *_bullets(CAUTIONS)])
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def tell_order(comparison: NoiseComparison) -> str:
    """Say in which order the recordings stand, without a capital."""
    if not any(noise.level_in_doubt for noise in comparison.noises):
        return "quietest first"
    if not any(noise.is_ranked for noise in comparison.noises):
        return "levels in doubt"
    return "quietest first, levels in doubt last"


def _lines(file: str, *cells: str) -> list[str]:
    return beside("  {:>6}  {:>6}  {:>12}  {:>6}".format(*cells), file)


def list_rows(comparison: NoiseComparison) -> tuple[tuple[str, ...], ...]:
    """Give each recording with its rated level, LAeq, the range of that, and its adjustment for tones."""
    rows = []
    for noise in comparison.noises:
        laeq_db, between = noise.cutting_db, NONE
        if noise.neighbour is not None:
            there = noise.neighbour
            laeq_db, between = there.LAeq_db, tell_between(there.low_db, there.high_db, to="to")
        elif laeq_db is not None:
            sure_db = noise.calibration.uncertainty_db
            between = tell_between(laeq_db - sure_db, laeq_db + sure_db, to="to")
        rows.append(
            (
                noise.recording["file"],
                _cell(noise.rated_db),
                _cell(laeq_db),
                between,
                _cell(noise.tonal_adjustment_db),
            )
        )
    return tuple(rows)


def list_notes(comparison: NoiseComparison) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Give what is told about each recording, under headings; nothing where there is nothing to tell."""
    notes = (
        ("The evening", _tell_each(comparison, _evening)),
        ("At your ear", _tell_each(comparison, _ear)),
        ("How sure", _tell_each(comparison, _sure)),
        ("About these recordings", _tell_each(comparison, _findings)),
    )
    return tuple((heading, texts) for heading, texts in notes if texts)


def _tell_each(
    comparison: NoiseComparison, tell: Callable[[NoiseDocument], Iterable[str]]
) -> tuple[str, ...]:
    """Give every sentence once, with the recordings that it is about."""
    about: dict[str, list[str]] = {}
    for noise in comparison.noises:
        for text in tell(noise):
            about.setdefault(text, []).append(noise.recording["file"])
    whole = len(comparison.noises)
    return tuple(
        f"{'each recording' if len(files) == whole else ', '.join(files)}: {text}"
        for text, files in about.items()
    )


def _evening(noise: NoiseDocument) -> tuple[str, ...]:
    told = tell_evening(noise)
    return () if told is None else (told,)


def _ear(noise: NoiseDocument) -> tuple[str, ...]:
    ear = noise.exposure
    if ear is None:
        return ()
    level = f"LEX,8h {tell_number(ear.LEX8h_db)} dB, between {tell_between(ear.low_db, ear.high_db)}"
    return (f"{level}. {ear.says[0]}",)


def _sure(noise: NoiseDocument) -> tuple[str, ...]:
    if noise.levels.LAeq_db is None:
        return ()
    return (tell_calibration(noise, because=False), *noise.calibration.because)


def _findings(noise: NoiseDocument) -> tuple[str, ...]:
    return tuple(one["message"] for one in noise.recording["findings"])


def _has_neighbour(comparison: NoiseComparison) -> bool:
    return comparison.noises[0].neighbour is not None


def _cell(value: float | None) -> str:
    return NONE if value is None else tell_number(value, digits=1)


def _bullets(texts: Iterable[str]) -> list[str]:
    return [line for text in texts for line in wrap(text, "  - ")]
