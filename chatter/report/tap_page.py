"""A tap test as a page: what rings and how well it is damped, the decay and the spectrum as pictures.

In: a `TapDocument`. Out: a `Page`.
Leaves out: any judgement; every number stands in the document.
"""

from chatter.model.tap import TapDocument, TapMode, TapView
from chatter.report._facts import list_provenance, list_settings, tell_version
from chatter.report._figures import USUAL, add_axes, name_height, new_figure
from chatter.report._svg import to_svg
from chatter.report.page import Facts, Page, Part, Picture, Points, Sound, Table, Words
from chatter.report.tap_plot import MOST_FLAGS, before_loudest, modes_before, paint_decay, paint_spectrum
from chatter.report.tap_text import (
    CAUTIONS,
    SPEEDS_NOTE,
    tell_count,
    tell_damping,
    tell_no_speed,
    tell_nothing,
    tell_speed,
)

LEFT, RIGHT = 0.12, 0.965
MOST_NAMED = 3  # frequencies written at their peaks; more would lie on each other
LEAST_RATIO = 1.35  # of two written frequencies
NO_BREAK = "\N{NO-BREAK SPACE}"


def page_of_tap(document: TapDocument, *, sound: Sound | None = None) -> Page:
    """Give the page of one tap test."""
    findings = tuple(one["message"] for one in document.recording["findings"])
    changes = () if document.comparison is None else tuple(one.says for one in document.comparison.changes)
    view = document.analysis.view
    return Page(
        subject=document.recording["file"],
        kicker="A tap test, by its sound",
        sign="tap",
        answer=_answer(document),
        lead=(_capital(tell_count(document)),),
        parts=(
            Part(heading="How it rings", blocks=(_first(document), _table(document))),
            Part(
                heading="What changed",
                blocks=(
                    None
                    if document.comparison is None
                    else Facts(pairs=(("Compared with", document.comparison.before_file),)),
                    Points(texts=changes) if changes else None,
                ),
            ),
            Part(heading="Speeds that the loudest mode favours", blocks=_speeds(document)),
            Part(heading="Before you tap or cut", blocks=(Points(texts=CAUTIONS),), is_warning=True),
            Part(
                heading="What was heard",
                blocks=(
                    *(() if view is None or not document.modes else _pictures(document, view)),
                    sound,
                ),
            ),
            Part(heading="Noticed in the recording", blocks=(Points(texts=findings) if findings else None,)),
            Part(
                heading="What was assumed",
                blocks=(
                    Points(
                        texts=(
                            "What was tapped rings by itself after each blow; nothing else in the shop "
                            "rang along.",
                            "A tap without a hammer that measures gives no stiffness: how deep you may "
                            "cut can't be told from it alone.",
                        )
                    ),
                ),
            ),
            Part(heading="What you told", blocks=(Facts(pairs=list_settings(document.program["settings"])),)),
            Part(
                heading="Made from",
                blocks=(Facts(pairs=list_provenance(document.program, document.recording)),),
            ),
        ),
        footer=tell_version(document.program),
    )


def _answer(document: TapDocument) -> str:
    if not document.modes:
        return _capital(tell_nothing(document))
    return f"The {document.of} rings at {document.modes[0].frequency_hz:,.1f} Hz."


def _capital(sentence: str) -> str:
    return sentence[0].upper() + sentence[1:]


def _first(document: TapDocument) -> Words | None:
    if not document.modes:
        return None
    first = document.modes[0]
    text = f"Damping {tell_damping(first)}"
    if first.decay_time_s is not None:
        longer = " or more" if first.damping_bound == "upper" else ""
        text += f": it dies away in {1000 * first.decay_time_s:,.0f} ms{longer} (60 dB)"
    return Words(texts=(text + ".",), large=True)


def _table(document: TapDocument) -> Table | None:
    if not document.modes:
        return None
    room = document.analysis.room_decay_s
    return Table(
        caption="Modes, loudest first; ms: time to die away by 60 dB; dB: loudness beside the first"
        + ("" if room is None else f"; the room itself takes about {room:.1f} s for 60 dB"),
        heads=("Hz", "damping", "ms", "dB"),
        rows=tuple(
            (
                f"{mode.frequency_hz:,.1f}{_spread(mode)}",
                tell_damping(mode).replace(" ± ", f"{NO_BREAK}±{NO_BREAK}"),
                "–" if mode.decay_time_s is None else f"{1000 * mode.decay_time_s:,.0f}",
                f"{round(mode.level_db)}".replace("-", "−"),
            )
            for mode in document.modes
        ),
        numbers=(2, 3),
    )


def _spread(mode: TapMode) -> str:
    return (
        ""
        if mode.frequency_sd_hz is None
        else f" ± {max(0.1, mode.frequency_sd_hz):.1f}".replace(" ", NO_BREAK)
    )


def _speeds(document: TapDocument) -> tuple[Words | None, Points | None]:
    if not document.modes:
        return None, None
    if document.flutes is None:
        return Words(texts=("Name the flutes to see which speeds it favours.",)), None
    if not document.speeds:
        nothing = tell_no_speed(document)
        return None if nothing is None else Words(texts=(nothing,)), None
    flutes = f"{document.flutes} flute{'' if document.flutes == 1 else 's'}"
    return (
        Words(
            texts=(
                f"With {flutes}. {SPEEDS_NOTE} A tap doesn't tell the depth: begin shallow and record it.",
            )
        ),
        Points(texts=tuple(tell_speed(one) for one in document.speeds)),
    )


def _pictures(document: TapDocument, view: TapView) -> tuple[Picture, ...]:
    modes = document.modes[:MOST_FLAGS]
    before = modes_before(document)
    figure = new_figure(3.3)
    axes = add_axes(figure, left=LEFT, right=RIGHT, low_in=0.52, high_in=2.98)
    paint_decay(axes, view, mode=modes[0], before=before_loudest(document))
    axes.set_xlabel("time after the blow, ms", fontsize=USUAL)
    name_height(axes, "dB")
    decay = to_svg(
        figure,
        name="decay",
        title="The loudest tap dying away",
        description=f"Level over {1000 * view.times_s[-1]:,.0f} ms after the blow; dashed: the loudest mode.",
    )
    figure = new_figure(3.3)
    axes = add_axes(figure, left=LEFT, right=RIGHT, low_in=0.52, high_in=2.98)
    paint_spectrum(axes, view, modes=modes, names=_names(modes), before=before)
    axes.set_xlabel("pitch, Hz", fontsize=USUAL)
    name_height(axes, "dB")
    spectrum = to_svg(
        figure,
        name="modes",
        title="Spectrum of all taps after the click",
        description="Modes at " + ", ".join(f"{mode.frequency_hz:,.0f} Hz" for mode in modes) + ".",
    )
    return (
        Picture(
            heading="The loudest tap dying away",
            svg=decay,
            texts=(
                "Level against time. The dashed line is the loudest mode alone: the steeper it falls, the "
                "better the damping. Where the sound falls less steeply than the line, the room rings on."
                + (" The grey line is the same mode before the change." if before else ""),
            ),
        ),
        Picture(
            heading="Its pitches",
            svg=spectrum,
            texts=(
                "The spectrum of all taps together, after the click of the blow. Each dashed line is a "
                "mode; dotted is the noise of the shop."
                + (" Grey lines are the modes before the change." if before else ""),
            ),
        ),
    )


def _names(modes: tuple[TapMode, ...]) -> tuple[str, ...]:
    """Give the frequencies of the loudest modes as names, where they don't lie on each other."""
    named: list[float] = []
    names: list[str] = []
    for mode in modes:
        hz = mode.frequency_hz
        apart = all(max(hz / other, other / hz) > LEAST_RATIO for other in named)
        if apart and len(named) < MOST_NAMED:
            named.append(hz)
        names.append(f"{hz:,.0f}" if hz in named else "")
    return tuple(names)
