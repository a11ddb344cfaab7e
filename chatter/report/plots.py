"""Pictures of stability: how deep at which speed, and how likely a cut is stable over speed.

In: answers, or arrays of them. Out: a PNG or SVG file, chosen by its ending.
Look: the limit is a coast; water below it (plain) is where a cut repeats, land above it (dotted) is where it
chatters. Colours differ in lightness too, so that they hold for colour-blind eyes and in grey; every colour
has a word or a shape beside it. Sized so that its words can be read on a phone 360 points wide.
Leaves out: any analysis. matplotlib is imported where it draws, because it takes long to load.
"""

import io
import re
import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from chatter.model.cut import CutDocument
from chatter.model.map import VIEW_OVER_LOWEST, MapDocument
from chatter.report._map_marks import (
    CutPoint,
    draw_bars,
    draw_chance_image,
    draw_coast,
    draw_cuts,
    draw_flag,
    draw_flag_rows,
    draw_present,
    explain_cuts,
    explaining_pt,
    write_word,
)
from chatter.report._palette import COAST, INK, MARK, PAPER, WATER
from chatter.report.cut_words import dial_per_true, find_told_depths, tell_odds, window_to_dial
from chatter.report.map_text import told_depth
from chatter.report.places import check_place, write_place

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

ENDINGS = (".png", ".svg")
SIZE_IN = (5.4, 7.2)  # 360 points of a phone are then 67 an inch: 11 pt words are 10 points high
DOTS_PER_IN = 200.0  # 1,080 dots wide: sharp on a phone and on paper
SUBTITLE_WIDE, CAPTION_WIDE = 46, 58  # letters that fit the sheet at their sizes
_NO_BREAK = "\N{NO-BREAK SPACE}"
_UNIT = re.compile(r"(?<=[\d?]) (?=(?:mm|rpm|W|flutes?|cuts?|in|Hz)\b)")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MapPicture:
    """What a map shows; give the limit, or chances over speed and depth, or both."""

    title: str
    subtitle: str
    speeds_rpm: Floats  # shape (n,), rising
    top: float  # depth at the upper edge
    depth_label: str
    limit: Floats | None = None  # shape (n,); inf where nothing chatters
    depths: Floats | None = None  # shape (m,), rising
    stable_probability: Floats | None = None  # shape (m, n)
    flags_rpm: tuple[float, ...] = ()  # speeds with numbered flags over the picture
    best: tuple[float, float] | None = None  # speed and depth of the flag at the best setting
    caption: str = ""  # lines under the picture
    windows: tuple[tuple[float, float], ...] = ()  # speeds from, to
    cuts: tuple[CutPoint, ...] = ()
    present_rpm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DialWindow:
    """A speed to try and its window, as they are dialled."""

    rpm: float
    low_rpm: float
    high_rpm: float
    stable_probability: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChancePicture:
    """The chance that one depth is stable over speed."""

    title: str
    subtitle: str
    present_rpm: float  # every speed as it is dialled
    windows: tuple[DialWindow, ...]
    caption: str = ""
    speeds_rpm: Floats | None = None  # a fuller curve, where there is one
    stable_probability: Floats | None = None


def check_plot_path(path: Path) -> None:
    """Refuse a file name that no picture can have, before any work is done.

    Raises
    ------
    BadValueError
        The ending is neither .png nor .svg.
    OutputError
        The folder doesn't exist, or the name is a folder.
    """
    check_place(path, option="plot", endings=ENDINGS)


def picture_map(document: MapDocument) -> MapPicture:
    """Give the picture of a `map` document."""
    cut = document.cut
    limit = np.array([np.inf if depth is None else depth for depth in document.limit_depth])
    width = "slot" if cut.width_mm == cut.diameter_mm else f"{cut.width_mm:g} mm wide, {cut.direction}"
    what = f"{cut.flutes} flute{'s' if cut.flutes > 1 else ''}, {cut.diameter_mm:g} mm, {width}"
    if cut.material is not None:
        what += f", {cut.material}"
    unit = "depth, times the lowest limit" if document.is_relative else "axial depth, mm"
    return MapPicture(
        title="How deep at which speed",
        subtitle=what,
        speeds_rpm=np.array(document.speeds_rpm),
        limit=limit,
        top=_top(document),
        depth_label=unit,
        flags_rpm=tuple(speed.middle_rpm for speed in document.best),
        windows=tuple((speed.low_rpm, speed.high_rpm) for speed in document.best),
        caption=_map_caption(document),
    )


def _map_caption(document: MapDocument) -> str:
    """Say what the flags stand for, and from what the map was drawn."""
    unit = "x lowest" if document.is_relative else "mm"
    lines = [
        f"{number}   {speed.middle_rpm:,.0f} rpm; bar from {speed.low_rpm:,.0f} to {speed.high_rpm:,.0f}: "
        f"{told_depth(speed.window_depth)} {unit}"
        for number, speed in enumerate(document.best, start=1)
    ]
    modes = [f"{mode.frequency_hz:,.0f} Hz ({mode.axis})" for mode in document.modes[:4]]
    more = "" if len(document.modes) <= 4 else " and more"
    return "\n".join([*lines, f"Modes: {', '.join(modes)}{more}. {document.method.capitalize()}."])


def picture_chances(document: CutDocument) -> ChancePicture:
    """Give the picture of a cut's advice: its windows, and the fuller curve where the document has one."""
    curve = document.map
    windows = [(one, *window_to_dial(one)) for one in document.advice.speeds]
    return ChancePicture(
        title="Chance of a stable cut",
        subtitle=_tell_depth(document),
        present_rpm=document.analysis.spindle.programmed_rpm,
        windows=tuple(
            DialWindow(rpm=one.set_rpm, low_rpm=low, high_rpm=high, stable_probability=one.stable_probability)
            for one, low, high in windows
        ),
        caption="\n".join(
            f"{number}   dial {speed.set_rpm:,.0f} rpm ({speed.rpm:,.0f} true): "
            f"{tell_odds(speed.stable_probability)}"
            for number, speed in enumerate(document.advice.speeds, start=1)
        ),
        speeds_rpm=None if curve is None else dial_per_true(document) * np.array(curve.speeds_rpm),
        stable_probability=None if curve is None else np.array(curve.stable_probability),
    )


def _tell_depth(document: CutDocument) -> str:
    ramp_mm, depth_mm = find_told_depths(document)
    if ramp_mm is not None:
        return f"at {ramp_mm:g} mm depth, the ramp's deep end"
    return "at the present depth" if depth_mm is None else f"at {depth_mm:g} mm depth"


def draw_map(picture: MapPicture, *, path: Path) -> None:
    """Draw how deep a cut may be at which speed.

    Raises
    ------
    BadValueError, OutputError
        The file name can't be a picture's, or the file can't be written.
    """
    check_plot_path(path)
    figure, axes = _sheet(picture.title, picture.subtitle, room_pt=explaining_pt(picture.cuts))
    speeds = picture.speeds_rpm
    axes.set_xlim(float(speeds[0]), float(speeds[-1]))
    axes.set_ylim(0, picture.top)
    if picture.stable_probability is not None and picture.depths is not None:
        draw_chance_image(figure, axes, speeds, picture.depths, 100 * picture.stable_probability)
    if picture.limit is not None:
        draw_coast(axes, speeds, picture.limit, picture.top, fill=picture.stable_probability is None)
    draw_bars(axes, picture.windows)
    if picture.cuts:
        draw_cuts(axes, picture.cuts)
        explain_cuts(axes, picture.cuts, is_page=False)
    if picture.flags_rpm:
        draw_flag_rows(axes, picture.flags_rpm, top=picture.top)
    if picture.best is not None:
        draw_flag(axes, 1, *picture.best)
    if picture.present_rpm is not None:
        draw_present(axes, picture.present_rpm, picture.top)
    axes.set_xlabel("spindle speed, true, rpm")
    axes.set_ylabel(picture.depth_label)
    _write_caption(figure, picture.caption)
    save_sheet(figure, path)


def draw_chances(picture: ChancePicture, *, path: Path) -> None:
    """Draw the chance that a cut is stable over speed, with the speeds to try.

    Raises
    ------
    BadValueError, OutputError
        The file name can't be a picture's, or the file can't be written.
    """
    check_plot_path(path)
    figure, axes = _sheet(picture.title, picture.subtitle)
    ends = [picture.present_rpm, *(rpm for one in picture.windows for rpm in (one.low_rpm, one.high_rpm))]
    if picture.speeds_rpm is not None and picture.stable_probability is not None:
        percent = 100 * picture.stable_probability
        axes.fill_between(picture.speeds_rpm, percent, color=WATER, linewidth=0)
        axes.plot(picture.speeds_rpm, percent, color=COAST, linewidth=2)
        ends += [float(picture.speeds_rpm[0]), float(picture.speeds_rpm[-1])]
    room = 0.05 * (max(ends) - min(ends)) or 0.1 * max(ends)
    axes.set_xlim(min(ends) - room, max(ends) + room)
    axes.set_yticks(range(0, 101, 20))
    for window in picture.windows:
        axes.bar(
            (window.low_rpm + window.high_rpm) / 2,
            100 * window.stable_probability,
            width=window.high_rpm - window.low_rpm,
            facecolor="none" if picture.speeds_rpm is not None else WATER,
            edgecolor=MARK,
            linewidth=1.6,
            zorder=4,
        )
    top = draw_flag_rows(axes, [window.rpm for window in picture.windows], top=100)
    axes.set_ylim(0, top + 8)
    draw_present(axes, picture.present_rpm, top + 8)  # on a row of its own, above every flag
    if not picture.windows:
        write_word(axes, sum(axes.get_xlim()) / 2, 50, "no other speed to suggest")
    axes.set_xlabel("speed to dial, rpm")
    axes.set_ylabel("chances of a stable cut, of 100")
    _write_caption(figure, picture.caption)
    save_sheet(figure, path)


def _top(document: MapDocument) -> float:
    """Give the depth at the picture's upper edge."""
    finite = [depth for depth in document.limit_depth if depth is not None]
    if not finite or document.lowest_depth is None:
        return 1.0 if document.max_depth is None else document.max_depth
    if len(finite) < len(document.limit_depth) and document.max_depth is not None:
        return document.max_depth  # some speeds carry all of it
    return min(1.15 * max(finite), VIEW_OVER_LOWEST * document.lowest_depth)


def _sheet(title: str, subtitle: str, *, room_pt: float = 0.0) -> tuple["Figure", "Axes"]:
    """Give an empty sheet with its titles, and room between them and the axes."""
    from matplotlib.figure import Figure
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    figure = Figure(figsize=SIZE_IN, dpi=DOTS_PER_IN, facecolor=PAPER, layout="constrained")
    axes = figure.add_subplot()
    axes.set_facecolor(PAPER)
    # A setup's name may hold dollar signs: it is words, not mathematics.
    figure.suptitle(title, x=0.02, ha="left", color=INK, fontsize=17, fontweight="bold", parse_math=False)
    told = "\n".join(_wrap(subtitle, SUBTITLE_WIDE))
    axes.set_title(told, loc="left", color=INK, fontsize=11.5, pad=10 + room_pt, parse_math=False)
    axes.tick_params(colors=INK, labelsize=11.5, length=5)
    axes.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda rpm, _: f"{rpm:,.0f}"))
    axes.yaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(INK)
    axes.xaxis.label.set(color=INK, fontsize=12.5)
    axes.yaxis.label.set(color=INK, fontsize=12.5)
    return figure, axes


def _write_caption(figure: "Figure", caption: str) -> None:
    if caption:
        lines = [part for line in caption.split("\n") for part in _wrap(line, CAPTION_WIDE) or [""]]
        figure.supxlabel("\n".join(lines), x=0.02, ha="left", fontsize=10.5, color=INK, linespacing=1.45)


def _wrap(text: str, wide: int) -> list[str]:
    """Break words into lines, but no number from its unit."""
    kept = _UNIT.sub(_NO_BREAK, text)
    return [line.replace(_NO_BREAK, " ") for line in textwrap.wrap(kept, wide)]


def save_sheet(figure: "Figure", path: Path) -> None:
    """Write the sheet: made whole in memory first, the same bytes for the same picture."""
    import matplotlib

    kind = path.suffix.lower()[1:]
    drawn = io.BytesIO()
    # Words stay words in an SVG, so that they can be searched and read aloud.
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "chatter"}):
        figure.savefig(drawn, format=kind, metadata={"Date": None} if kind == "svg" else None)
    write_place(path, drawn.getvalue())
