"""Pictures of one cut: what was heard when, which lines the steady part has, and what repeats every turn.

In: a `CutDocument` with pictures. Out: `svg` elements for a page.
Look: louder is darker on paper and brighter in the dark, in one colour. Each kind of line has a shape of its
own beside its colour. Under the spectrum lies a ruler whose long marks are the teeth and whose short ones are
turns: what stands between the marks did not come from the turning alone.
Leaves out: any judgement, and every word from outside (file names): a picture holds numbers and fixed words.
"""

from typing import TYPE_CHECKING

import numpy as np

from chatter.model.cut import CutDocument, JudgedCut, Line, LineKind
from chatter.model.pictures import Spectrogram, SteadySpectrum, TurnByTurn
from chatter.report._figures import SMALL, USUAL, add_axes, hide_ticks, name_height, new_figure, space_ticks
from chatter.report._palette import COAST, FAINT, INK, MARK, PAPER, VERDICT_SHAPES, WATER
from chatter.report._svg import Raster, to_svg
from chatter.report.cut_words import find_onset_s, name_line, tell_onset, tell_span

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEFT, RIGHT = 0.125, 0.945
SHOWN_DB = 55.0  # own choice: from the loudest spot down to paper
RULER_HIGH = 0.07  # of the axes
MOST_NUMBERED = 12  # cuts whose edges and numbers have room
# Shape, size, filled, and how many of the strongest are drawn.
_SHAPES: dict[LineKind, tuple[str, float, bool, int]] = {
    "tooth passing": ("^", 7, True, 14),
    "spindle harmonic": ("|", 8, True, 12),
    "chatter": ("X", 11, True, 1),
    "chatter sideband": ("x", 6, True, 10),
    "background": ("s", 6, False, 8),
    "unexplained": ("o", 4, False, 6),
}
_KEY: dict[LineKind, str] = {
    "tooth passing": "teeth",
    "spindle harmonic": "turns (run-out)",
    "chatter": "chatter",
    "chatter sideband": "beside the chatter",
    "background": "there without cutting",
    "resonance": "rings here (a hump)",
    "unexplained": "not explained",
}


def draw_spectrogram(document: CutDocument, picture: Spectrogram) -> str:
    """Draw what was heard when, with the cuts and the onset marked."""
    figure = new_figure(3.5)
    axes = add_axes(figure, left=LEFT, right=RIGHT, low_in=0.52, high_in=2.95)
    levels = picture.levels_db
    top_db = float(np.quantile(levels, 0.999))
    quiet_db = max(top_db - SHOWN_DB, float(np.quantile(levels, 0.05)))
    shade = np.clip((levels[::-1] - quiet_db) / max(top_db - quiet_db, 6.0), 0.0, 1.0)
    axes.set_xlim(0, picture.duration_s)
    axes.set_ylim(0, picture.top_hz)
    space_ticks(axes, most_x=6, most_y=5)
    axes.set_xlabel("time, s")
    name_height(axes, "Hz")
    cuts = document.analysis.cuts
    for number, cut in enumerate(cuts, start=1):
        _draw_bracket(axes, cut, number=number, total=len(cuts), duration_s=picture.duration_s)
    onset_s = find_onset_s(document.analysis)
    if onset_s is not None:
        _draw_onset(axes, onset_s, duration_s=picture.duration_s, is_sure=_is_sure(document))
    return to_svg(
        figure,
        name="heard",
        title="What was heard when",
        description=_describe_spectrogram(document, picture),
        rasters=(Raster(axes=axes, shade=shade),),
    )


def _describe_spectrogram(document: CutDocument, picture: Spectrogram) -> str:
    parts = [f"Loudness over {picture.duration_s:.1f} s and pitches up to {picture.top_hz:,.0f} Hz."]
    cuts = document.analysis.cuts
    for number, cut in enumerate(cuts[:MOST_NUMBERED], start=1):
        parts.append(f"Cut {number}: {tell_span(cut.start_s, cut.end_s)}, {cut.verdict}.")
    if not cuts:
        parts.append("No cut is marked.")
    heard = tell_onset(document.analysis)
    if heard is not None:
        parts.append(f"Chatter is marked {heard}.")
    return " ".join(parts)


def _draw_bracket(axes: "Axes", cut: JudgedCut, *, number: int, total: int, duration_s: float) -> None:
    """Draw a bar over one cut, with the shape of its verdict."""
    start = 0.0 if cut.start_s is None else cut.start_s
    end = duration_s if cut.end_s is None else cut.end_s
    above = axes.get_xaxis_transform()
    axes.plot(
        [start, end],
        [1.035, 1.035],
        transform=above,
        color=INK,
        linewidth=4,
        solid_capstyle="butt",
        clip_on=False,
    )
    if total > MOST_NUMBERED:
        return
    for edge in (cut.start_s, cut.end_s):
        if edge is not None:
            axes.axvline(edge, color=INK, linewidth=1, linestyle=(0, (2, 2)))
    middle = (start + end) / 2
    axes.plot(
        [middle],
        [1.035],
        transform=above,
        marker=VERDICT_SHAPES[cut.verdict],
        markersize=11,
        color=INK if cut.verdict == "chatter" else PAPER,
        markeredgecolor=PAPER if cut.verdict == "chatter" else INK,
        markeredgewidth=1.4,
        clip_on=False,
    )
    word = "cut" if total == 1 else f"{number}"
    axes.text(middle, 1.085, word, transform=above, ha="center", va="bottom", fontsize=SMALL, color=INK)


def _is_sure(document: CutDocument) -> bool:
    worst = document.analysis.worst
    return worst is not None and worst.verdict == "chatter"


def _draw_onset(axes: "Axes", onset_s: float, *, duration_s: float, is_sure: bool) -> None:
    axes.axvline(onset_s, color=MARK, linewidth=2.2)
    on_right = onset_s < 0.6 * duration_s
    axes.annotate(
        f"chatter{'' if is_sure else '?'} from {onset_s:.1f} s",
        (onset_s, 0.965),
        xycoords=axes.get_xaxis_transform(),
        xytext=(4 if on_right else -4, 0),
        textcoords="offset points",
        ha="left" if on_right else "right",
        va="top",
        fontsize=SMALL,
        fontweight="bold",
        color=MARK,
        bbox={"boxstyle": "square,pad=0.2", "facecolor": PAPER, "edgecolor": "none"},
    )


def draw_spectrum(document: CutDocument, picture: SteadySpectrum) -> str:
    """Draw the steady part's spectrum with its named lines and a ruler of turns."""
    worst = document.analysis.worst
    lines = () if worst is None else worst.lines
    figure = new_figure(4.2)
    axes = add_axes(figure, left=LEFT, right=RIGHT, low_in=1.35, high_in=3.9)
    hz, level = picture.frequency_hz, picture.level_db
    # Bins without sound (a codec's holes) must not stretch the scale.
    floor = max(float(np.quantile(level, 0.05)), float(level.max()) - 75.0) - 3
    ceiling = float(level.max())
    high = ceiling + 0.32 * (ceiling - floor)
    axes.set_xlim(0, float(hz[-1]))
    axes.set_ylim(floor - 0.1 * (high - floor), high)
    axes.fill_between(hz, floor - 100, np.maximum(level, floor - 100), color=WATER, linewidth=0)
    axes.plot(hz, level, color=COAST, linewidth=1)
    if picture.idle_db is not None:
        axes.plot(hz, picture.idle_db, color=INK, linewidth=1.1, linestyle=(0, (1, 1.2)))
    shown = _choose_shown(lines, top_hz=float(hz[-1]), floor_db=floor)
    for kind in _SHAPES:
        _draw_kind(axes, kind, [line for line in shown if line.kind == kind])
    humps = [line for line in shown if line.kind == "resonance"]
    for hump in humps:
        _draw_hump(axes, hump)
    _label_lines(axes, shown, floor=floor, high=high)
    if worst is not None and worst.measured_rpm is not None:
        _draw_ruler(axes, rotation_hz=worst.measured_rpm / 60, flutes=document.analysis.spindle.flutes)
    space_ticks(axes, most_x=5, most_y=6)
    axes.set_xlabel("pitch, Hz")
    name_height(axes, "dB")
    _draw_key(axes, {line.kind for line in shown}, has_idle=picture.idle_db is not None)
    told = sorted(shown, key=lambda line: line.kind != "chatter")[:8]
    named = "; ".join(f"{line.frequency_hz:,.0f} Hz {name_line(line)}" for line in told)
    return to_svg(
        figure,
        name="lines",
        title="The lines of the steady part",
        description=f"Level over pitch up to {hz[-1]:,.0f} Hz. Marked: {named or 'no line'}.",
    )


def _choose_shown(lines: tuple[Line, ...], *, top_hz: float, floor_db: float) -> list[Line]:
    """Give the strongest lines of each kind that the picture has room for."""
    shown: list[Line] = []
    for kind, most in [*((kind, shape[3]) for kind, shape in _SHAPES.items()), ("resonance", 3)]:
        inside = [
            line
            for line in lines
            if line.kind == kind and line.frequency_hz < 0.995 * top_hz and line.level_db > floor_db
        ]
        shown += sorted(inside, key=lambda line: -line.level_db)[:most]
    return shown


def _draw_kind(axes: "Axes", kind: LineKind, lines: list[Line]) -> None:
    marker, size, filled, _ = _SHAPES[kind]
    colour = MARK if kind.startswith("chatter") else COAST if kind != "background" else INK
    axes.plot(
        [line.frequency_hz for line in lines],
        [line.level_db + 2.5 for line in lines],
        marker=marker,
        markersize=size,
        color=colour,
        markerfacecolor=colour if filled else PAPER,
        markeredgecolor=PAPER if kind == "chatter" else colour,
        markeredgewidth=1.0 if kind == "chatter" else 1.5,
        linestyle="none",
        label=_KEY[kind],
        zorder=5 if kind.startswith("chatter") else 4,
    )


def _draw_hump(axes: "Axes", hump: Line) -> None:
    half = (hump.width_hz or 0.0) / 2
    axes.plot(
        [hump.frequency_hz - half, hump.frequency_hz + half],
        [hump.level_db + 6] * 2,
        color=INK,
        linewidth=3,
        solid_capstyle="round",
        zorder=4,
    )


def _label_lines(axes: "Axes", shown: list[Line], *, floor: float, high: float) -> None:
    """Write beside the strongest chatter line and the first tooth passing, on two levels."""
    for kind, share, word in (("chatter", 0.965, "chatter"), ("tooth passing", 0.86, "teeth")):
        own = [line for line in shown if line.kind == kind]
        if not own:
            continue
        line = min(own, key=lambda one: one.order or 0) if kind == "tooth passing" else own[0]
        word = f"{line.order} × {word}" if (line.order or 1) > 1 else word
        y = floor + share * (high - floor)
        colour = MARK if kind == "chatter" else COAST
        on_right = line.frequency_hz < 0.55 * axes.get_xlim()[1]
        axes.plot([line.frequency_hz] * 2, [line.level_db + 5, y], color=colour, linewidth=1)
        axes.annotate(
            f"{word} {line.frequency_hz:,.0f} Hz",
            (line.frequency_hz, y),
            xytext=(3 if on_right else -3, 0),
            textcoords="offset points",
            ha="left" if on_right else "right",
            va="center",
            fontsize=USUAL,
            fontweight="bold" if kind == "chatter" else "normal",
            color=colour,
            bbox={"boxstyle": "square,pad=0.12", "facecolor": PAPER, "edgecolor": "none"},
            zorder=6,
        )


def _draw_ruler(axes: "Axes", *, rotation_hz: float, flutes: int) -> None:
    """Draw a ruler under the spectrum: a long mark each tooth passing, a short one each turn."""
    below, top = axes.get_xaxis_transform(), RULER_HIGH
    right = axes.get_xlim()[1]
    orders = np.arange(1, int(right / rotation_hz) + 1)
    if len(orders) > 400:  # they would run into one another
        orders = orders[orders % flutes == 0]
    teeth = orders % flutes == 0
    axes.fill_between([0, 1], 0, RULER_HIGH, transform=axes.transAxes, color=PAPER, linewidth=0, zorder=6)
    axes.plot([0, 1], [RULER_HIGH] * 2, transform=axes.transAxes, color=COAST, linewidth=0.9, zorder=7)
    axes.vlines(
        orders[~teeth] * rotation_hz, 0.6 * top, top, transform=below, color=COAST, linewidth=0.9, zorder=7
    )
    axes.vlines(
        orders[teeth] * rotation_hz, 0.15 * top, top, transform=below, color=COAST, linewidth=2.0, zorder=7
    )


def _draw_key(axes: "Axes", kinds: set[LineKind], *, has_idle: bool) -> None:
    """Explain the shapes under the picture, those that are there."""
    from matplotlib.lines import Line2D

    handles: list[Line2D] = []
    for kind, (marker, size, filled, _) in _SHAPES.items():
        if kind not in kinds:
            continue
        colour = MARK if kind.startswith("chatter") else COAST if kind != "background" else INK
        face = colour if filled else PAPER
        handles.append(
            Line2D(
                [], [], marker=marker, markersize=size, color=colour, markerfacecolor=face, linestyle="none"
            )
        )
        handles[-1].set_label(_KEY[kind])
    if "resonance" in kinds:
        handles.append(Line2D([], [], color=INK, linewidth=3, label=_KEY["resonance"]))
    if has_idle:
        handles.append(
            Line2D([], [], color=INK, linewidth=1.1, linestyle=(0, (1, 1.2)), label="without cutting")
        )
    axes.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(-0.13, -0.2),
        ncols=2,
        fontsize=SMALL,
        frameon=False,
        labelcolor=INK,
        borderaxespad=0,
        handletextpad=0.6,
        columnspacing=1.2,
        labelspacing=0.35,
    )


def draw_turns(picture: TurnByTurn) -> str:
    """Draw turn under turn, and one dot a turn, always at the same angle."""
    figure = new_figure(4.4)
    upper = add_axes(figure, left=LEFT, right=RIGHT, low_in=1.95, high_in=4.1)
    lower = add_axes(figure, left=LEFT, right=RIGHT, low_in=0.52, high_in=1.3)
    pressure = picture.pressure
    turns, angles = pressure.shape
    scale = max(float(np.quantile(np.abs(pressure), 0.995)), 1e-9)
    upper.set_xlim(0, 360)
    upper.set_ylim(turns, 0)
    upper.set_xticks([0, 90, 180, 270, 360], ["0°", "90°", "180°", "270°", "360°"])
    space_ticks(upper, most_y=4)
    upper.set_xlabel("angle within the turn")
    name_height(upper, "turn")
    watched = 360 * (picture.watched_angle + 0.5) / angles
    upper.plot([watched, watched], [0, turns], color=MARK, linewidth=1.2, linestyle=(0, (3, 2)))
    dots = pressure[:, picture.watched_angle] / scale
    lower.plot(
        np.arange(turns) + 0.5, dots, marker="o", markersize=3.4, color=MARK, linestyle="none", clip_on=False
    )
    lower.axhline(0, color=FAINT, linewidth=0.8)
    lower.set_xlim(0, turns)
    lower.set_ylim(-1.15, 1.15)
    hide_ticks(lower, y=True)
    space_ticks(lower, most_x=5)
    lower.set_xlabel("turn")
    return to_svg(
        figure,
        name="turns",
        title="Turn under turn",
        description=(
            f"The sound of {turns} turns of the spindle, one under the other, and below it one dot a turn at "
            f"the angle of the dashed line. {100 * picture.repeating_share:.0f} percent of the sound's power "
            "comes again every turn."
        ),
        rasters=(Raster(axes=upper, shade=pressure / scale),),
    )
