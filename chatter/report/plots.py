"""Pictures of stability: how deep at which speed, and how likely a cut is stable over speed.

In: answers, or arrays of them. Out: a PNG or SVG file, chosen by its ending.
Look: the limit is a coast; water below it (plain) is where a cut repeats, land above it (dotted) is where it
chatters. Colours differ in lightness too, so that they hold for colour-blind eyes and in grey; every colour
has a word or a shape beside it. Sized so that its words can be read on a phone 360 points wide.
Leaves out: any analysis. matplotlib is imported where it draws, because it takes long to load.
"""

import io
import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from chatter.errors import BadValueError, OutputError
from chatter.model.cut import CutDocument, SpeedWindow, Verdict
from chatter.model.map import VIEW_OVER_LOWEST, MapDocument
from chatter.report.map_text import told_depth

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

ENDINGS = (".png", ".svg")
SIZE_IN = (5.4, 7.2)  # 360 points of a phone are then 67 an inch: 11 pt words are 10 points high
DOTS_PER_IN = 200.0  # 1,080 dots wide: sharp on a phone and on paper
SUBTITLE_WIDE, CAPTION_WIDE = 46, 58  # letters that fit the sheet at their sizes
PAPER, INK, FAINT = "#FBF9F4", "#16242E", "#66727A"
WATER, LAND, DOTS = "#B9D8E8", "#EFD9A7", "#A9802F"
COAST, MARK = "#123F5C", "#7A1F4B"
_VERDICT_SHAPES: dict[Verdict, str] = {"stable": "o", "marginal": "D", "chatter": "X", "undecided": "s"}


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPoint:
    """One cut that was made, to be shown on a map."""

    rpm: float
    depth: float  # in the map's unit
    verdict: Verdict


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
    best: tuple[tuple[float, float], ...] = ()  # speed and depth of numbered flags
    caption: str = ""  # lines under the picture
    windows: tuple[tuple[float, float], ...] = ()  # speeds from, to
    cuts: tuple[CutPoint, ...] = ()
    present_rpm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChancePicture:
    """The chance that one depth is stable over speed."""

    title: str
    subtitle: str
    present_rpm: float
    windows: tuple[SpeedWindow, ...]
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
    if path.suffix.lower() not in ENDINGS:
        raise BadValueError("plot", path.name, "a file name that ends in .png or .svg")
    if path.is_dir():
        raise OutputError(str(path), "it is a folder", "give the name of a file in it")
    if not path.parent.is_dir():
        raise OutputError(str(path), "its folder doesn't exist", "make the folder, or choose another one")


def picture_map(document: MapDocument) -> MapPicture:
    """Give the picture of a `map` document."""
    cut = document.cut
    limit = np.array([np.inf if depth is None else depth for depth in document.limit_depth])
    width = "slot" if cut.width_mm == cut.diameter_mm else f"{cut.width_mm:g} mm wide, {cut.direction}"
    what = f"{cut.flutes} flute{'s' if cut.flutes > 1 else ''}, {cut.diameter_mm:g} mm, {width}"
    if cut.material is not None:
        what += f", {cut.material}"
    unit = "depth, in lowest limits" if document.is_relative else "axial depth, mm"
    return MapPicture(
        title="How deep at which speed",
        subtitle=what,
        speeds_rpm=np.array(document.speeds_rpm),
        limit=limit,
        top=_top(document),
        depth_label=unit,
        best=tuple((speed.rpm, speed.limit_depth or np.inf) for speed in document.best),
        windows=tuple((speed.low_rpm, speed.high_rpm) for speed in document.best),
        caption=_map_caption(document),
    )


def _map_caption(document: MapDocument) -> str:
    """Say what the flags stand for, and from what the map was drawn."""
    unit = "times lowest" if document.is_relative else "mm"
    lines = [
        f"{number}   {speed.rpm:,.0f} rpm; {told_depth(speed.window_depth)} {unit} from "
        f"{speed.low_rpm:,.0f} to {speed.high_rpm:,.0f} (bar)"
        for number, speed in enumerate(document.best, start=1)
    ]
    modes = [f"{mode.frequency_hz:,.0f} Hz ({mode.axis})" for mode in document.modes[:4]]
    more = "" if len(document.modes) <= 4 else " and more"
    return "\n".join([*lines, f"Modes: {', '.join(modes)}{more}. {document.method.capitalize()}."])


def picture_chances(document: CutDocument) -> ChancePicture:
    """Give the picture of a cut's advice: its windows, and the fuller curve where the document has one."""
    worst = document.analysis.worst
    measured = None if worst is None else worst.measured_rpm
    depth_mm = document.program["settings"].get("depth_mm")
    curve = document.map
    return ChancePicture(
        title="Chance of a stable cut",
        subtitle="at the present depth" if depth_mm is None else f"at {depth_mm:g} mm depth",
        present_rpm=document.analysis.spindle.best_rpm if measured is None else measured,
        windows=document.advice.speeds,
        caption="\n".join(
            f"{number}   dial {speed.set_rpm:,.0f} rpm ({speed.rpm:,.0f} true): "
            f"{100 * speed.stable_probability:.0f} in 100"
            for number, speed in enumerate(document.advice.speeds, start=1)
        ),
        speeds_rpm=None if curve is None else np.array(curve.speeds_rpm),
        stable_probability=None if curve is None else np.array(curve.stable_probability),
    )


def draw_map(picture: MapPicture, *, path: Path) -> None:
    """Draw how deep a cut may be at which speed.

    Raises
    ------
    BadValueError, OutputError
        The file name can't be a picture's, or the file can't be written.
    """
    check_plot_path(path)
    figure, axes = _sheet(picture.title, picture.subtitle)
    speeds = picture.speeds_rpm
    axes.set_xlim(float(speeds[0]), float(speeds[-1]))
    axes.set_ylim(0, picture.top)
    if picture.stable_probability is not None and picture.depths is not None:
        _draw_chance_image(figure, axes, speeds, picture.depths, 100 * picture.stable_probability)
    if picture.limit is not None:
        _draw_coast(axes, speeds, picture.limit, picture.top, fill=picture.stable_probability is None)
    for low, high in picture.windows:
        axes.plot([low, high], [0, 0], color=MARK, linewidth=7, solid_capstyle="butt", zorder=6)
    if picture.cuts:
        _draw_cuts(axes, picture.cuts)
        _explain_cuts(axes, picture.cuts)
    for number, (rpm, depth) in enumerate(picture.best, start=1):
        _draw_flag(axes, number, rpm, min(depth, picture.top * 0.91))
    if picture.present_rpm is not None:
        _draw_present(axes, picture.present_rpm, picture.top)
    axes.set_xlabel("spindle speed, true, rpm")
    axes.set_ylabel(picture.depth_label)
    _write_caption(figure, picture.caption)
    _save(figure, path)


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
    axes.set_ylim(0, 112)
    axes.set_yticks(range(0, 101, 20))
    for number, window in enumerate(picture.windows, start=1):
        chance = 100 * window.stable_probability
        axes.bar(
            (window.low_rpm + window.high_rpm) / 2,
            chance,
            width=window.high_rpm - window.low_rpm,
            facecolor="none" if picture.speeds_rpm is not None else WATER,
            edgecolor=MARK,
            linewidth=1.6,
            zorder=4,
        )
        _draw_flag(axes, number, window.rpm, chance)
    _draw_present(axes, picture.present_rpm, 112)
    if not picture.windows:
        axes.text(0.5, 0.45, "no speed to suggest", transform=axes.transAxes, ha="center", color=INK)
    axes.set_xlabel("spindle speed, true, rpm")
    axes.set_ylabel("chances of a stable cut, of 100")
    _write_caption(figure, picture.caption)
    _save(figure, path)


def _top(document: MapDocument) -> float:
    """Give the depth at the picture's upper edge."""
    if document.max_depth is not None:
        return document.max_depth
    finite = [depth for depth in document.limit_depth if depth is not None]
    if not finite or document.lowest_depth is None:
        return 1.0
    return min(1.15 * max(finite), VIEW_OVER_LOWEST * document.lowest_depth)


def _sheet(title: str, subtitle: str) -> tuple["Figure", "Axes"]:
    """Give an empty sheet with its titles."""
    from matplotlib.figure import Figure
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    figure = Figure(figsize=SIZE_IN, dpi=DOTS_PER_IN, facecolor=PAPER, layout="constrained")
    axes = figure.add_subplot()
    axes.set_facecolor(PAPER)
    figure.suptitle(title, x=0.02, ha="left", color=INK, fontsize=17, fontweight="bold")
    axes.set_title(textwrap.fill(subtitle, SUBTITLE_WIDE), loc="left", color=INK, fontsize=11.5, pad=10)
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
        lines = [part for line in caption.split("\n") for part in textwrap.wrap(line, CAPTION_WIDE) or [""]]
        figure.supxlabel("\n".join(lines), x=0.02, ha="left", fontsize=10.5, color=INK, linespacing=1.45)


def _draw_coast(axes: "Axes", speeds: Floats, limit: Floats, top: float, *, fill: bool) -> None:
    """Draw the limit as a coast, with the words for both sides."""
    coast = np.minimum(limit, 1.5 * top)  # a line that leaves the picture, not one along its edge
    if fill:
        axes.fill_between(speeds, 0, coast, color=WATER, linewidth=0, zorder=1)
        axes.fill_between(
            speeds, coast, 2 * top, facecolor=LAND, edgecolor=DOTS, hatch="..", linewidth=0, zorder=1
        )
    axes.plot(speeds, coast, color=COAST, linewidth=2.4, solid_joinstyle="round", zorder=3)
    seen = np.minimum(limit, top)
    floor, ceiling = _running(seen, np.min), _running(seen, np.max)
    wet, dry = int(np.argmax(floor)), int(np.argmin(ceiling))
    _write(axes, float(speeds[wet]), 0.5 * float(floor[wet]), "repeats")
    if ceiling[dry] < 0.85 * top:
        _write(axes, float(speeds[dry]), 0.5 * (float(ceiling[dry]) + top), "chatters")


def _running(values: Floats, reduce: Any) -> Floats:
    """Give the least or most of the values over a tenth of the range either side, where that fits."""
    half = max(1, values.size // 10)
    width = min(2 * half + 1, values.size)
    inner = reduce(np.lib.stride_tricks.sliding_window_view(values, width), axis=-1)
    lost = values.size - inner.size
    worst = inner.min() if reduce is np.min else inner.max()
    return np.pad(inner, (lost // 2, lost - lost // 2), constant_values=worst)


def _write(axes: "Axes", rpm: float, depth: float, word: str) -> None:
    axes.text(
        rpm,
        depth,
        word,
        ha="center",
        va="center",
        fontsize=15,
        fontstyle="italic",
        color=INK,
        bbox={"boxstyle": "round,pad=0.25", "facecolor": PAPER, "edgecolor": "none", "alpha": 0.85},
        zorder=7,
    )


def _draw_flag(axes: "Axes", number: int, rpm: float, height: float) -> None:
    """Mark a speed with a numbered flag on a staff that stands on the speed axis."""
    axes.plot([rpm, rpm], [0, height], color=MARK, linewidth=1.4, linestyle=(0, (3, 2)), zorder=6)
    left, right = axes.get_xlim()
    place = (rpm - left) / (right - left)
    axes.annotate(
        f"{number}",
        (rpm, height),
        xytext=(9 * (place < 0.03) - 9 * (place > 0.97), 11),  # beside the edge, not across it
        textcoords="offset points",
        ha="center",
        va="center",
        fontsize=12,
        fontweight="bold",
        color="white",
        bbox={"boxstyle": "round,pad=0.25", "facecolor": MARK, "edgecolor": "white", "linewidth": 1.2},
        zorder=8,
    )


def _draw_present(axes: "Axes", rpm: float, top: float) -> None:
    axes.axvline(rpm, color=INK, linewidth=2, linestyle=(0, (1, 1.2)), zorder=5)
    left, right = axes.get_xlim()
    on_right = rpm < (left + right) / 2
    axes.annotate(
        f"now {rpm:,.0f}",
        (rpm, top * 0.99),
        xytext=(5 if on_right else -5, 0),
        textcoords="offset points",
        ha="left" if on_right else "right",
        va="top",
        fontsize=11.5,
        color=INK,
        zorder=7,
    )


def _draw_cuts(axes: "Axes", cuts: tuple[CutPoint, ...]) -> None:
    for verdict, shape in _VERDICT_SHAPES.items():  # all of one shape at once: a long history has thousands
        points = [point for point in cuts if point.verdict == verdict]
        axes.plot(
            [point.rpm for point in points],
            [point.depth for point in points],
            marker=shape,
            markersize=11,
            color="white" if verdict == "stable" else INK,
            markeredgecolor=INK if verdict != "chatter" else "white",
            markeredgewidth=1.6,
            linestyle="none",
            zorder=7,
        )


def _explain_cuts(axes: "Axes", cuts: tuple[CutPoint, ...]) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D(
            [],
            [],
            marker=shape,
            markersize=9,
            color="white" if verdict == "stable" else INK,
            markeredgecolor=INK,
            linestyle="none",
            label=f"cut: {verdict}",
        )
        for verdict, shape in _VERDICT_SHAPES.items()
        if any(point.verdict == verdict for point in cuts)
    ]
    axes.legend(handles=handles, loc="upper left", fontsize=10.5, framealpha=0.9, edgecolor=FAINT)


def _draw_chance_image(
    figure: "Figure", axes: "Axes", speeds: Floats, depths: Floats, percent: Floats
) -> None:
    """Draw chances over speed and depth, with lines at 10, 50 and 90 in 100."""
    from matplotlib.colors import LinearSegmentedColormap

    shades = LinearSegmentedColormap.from_list("coast", ["#C39A45", LAND, PAPER, WATER, "#3F86B0"])
    image = axes.pcolormesh(speeds, depths, percent, cmap=shades, vmin=0, vmax=100, shading="gouraud")
    levels = [level for level in (10, 50, 90) if percent.min() < level < percent.max()]
    if levels:
        widths = [1.6 if level == 50 else 0.8 for level in levels]
        lines = axes.contour(speeds, depths, percent, levels=levels, colors=INK, linewidths=widths)
        axes.clabel(lines, fmt="%.0f", fontsize=10)
    bar = figure.colorbar(image, ax=axes, orientation="horizontal", pad=0.02, aspect=30)
    bar.set_label("chances of a stable cut, of 100", color=INK, fontsize=11)
    bar.ax.tick_params(colors=INK, labelsize=10.5)


def _save(figure: "Figure", path: Path) -> None:
    """Write the sheet: made whole in memory first, the same bytes for the same picture."""
    import matplotlib

    kind = path.suffix.lower()[1:]
    drawn = io.BytesIO()
    # Words stay words in an SVG, so that they can be searched and read aloud.
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "chatter"}):
        figure.savefig(drawn, format=kind, metadata={"Date": None} if kind == "svg" else None)
    try:
        path.write_bytes(drawn.getvalue())
    except OSError as error:
        problem = error.strerror or "can't be written"
        raise OutputError(str(path), problem.lower(), "choose another place or name") from error
