"""Marks on maps of stability: the coast, flags, the present speed, cuts that were made.

In: axes and arrays. Out: nothing; the axes are drawn on.
Look: as in plots.py. Leaves out: any analysis. matplotlib is imported where it draws.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from chatter.model.cut import Verdict
from chatter.report._palette import COAST, DOTS, INK, LAND, MARK, ON_MARK, PAPER, VERDICT_SHAPES, WATER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

SHAPES_A_ROW = 2
STAFF = (0, (3, 2))  # dashes of a flag's staff
OVER_SHAPE_PT = 9.0  # a flag is 20 points high, the shape of a cut 13
FLAG_SHARE, ROW_SHARE = 0.075, 0.07  # a flag's width and height, of a picture's axes
WORD_PLACES = 601  # speeds tried for the words on a map
BAR_SHARE, BAR_IN = 0.015, 0.125  # bars nearer than this, of the width, stand at two heights


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPoint:
    """One cut that was made, to be shown on a map."""

    rpm: float
    depth: float  # in the map's unit
    verdict: Verdict


def draw_coast(axes: "Axes", speeds: Floats, limit: Floats, top: float, *, fill: bool) -> None:
    """Draw the limit as a coast, with the words for both sides."""
    coast = np.minimum(limit, 1.5 * top)  # a line that leaves the picture, not one along its edge
    if fill:
        axes.fill_between(speeds, 0, coast, color=WATER, linewidth=0, zorder=1)
        axes.fill_between(
            speeds, coast, 2 * top, facecolor=LAND, edgecolor=DOTS, hatch="..", linewidth=0, zorder=1
        )
    axes.plot(speeds, coast, color=COAST, linewidth=2.4, solid_joinstyle="round", zorder=3)
    even = np.linspace(speeds[0], speeds[-1], WORD_PLACES)  # a map has more speeds where its peaks are
    seen = np.interp(even, speeds, np.minimum(limit, top))
    floor, ceiling = _running(seen, np.min), _running(seen, np.max)
    wet, dry = int(np.argmax(floor)), int(np.argmin(ceiling))
    write_word(axes, float(even[wet]), 0.5 * float(floor[wet]), "stable")
    if ceiling[dry] < 0.85 * top:
        write_word(axes, float(even[dry]), 0.5 * (float(ceiling[dry]) + top), "chatters")


def _running(values: Floats, reduce: Any) -> Floats:
    """Give the least or most of the values over a tenth of the range either side, where that fits."""
    half = max(1, values.size // 10)
    width = min(2 * half + 1, values.size)
    inner = reduce(np.lib.stride_tricks.sliding_window_view(values, width), axis=-1)
    lost = values.size - inner.size
    worst = inner.min() if reduce is np.min else inner.max()
    return np.pad(inner, (lost // 2, lost - lost // 2), constant_values=worst)


def write_word(axes: "Axes", rpm: float, depth: float, word: str) -> None:
    """Write one word on the map, readable on any ground."""
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


def draw_flag(axes: "Axes", number: int, rpm: float, height: float) -> None:
    """Mark a point with a numbered flag clear of its shape, on a staff that stands on the speed axis."""
    axes.plot([rpm, rpm], [0, height], color=MARK, linewidth=1.4, linestyle=STAFF, zorder=6)
    is_high = height > 0.88 * axes.get_ylim()[1]  # no room for a flag above it
    lift = -22 - OVER_SHAPE_PT if is_high else OVER_SHAPE_PT
    write_flag(axes, f"{number}", (rpm, height), aside=_aside(axes, rpm), lift=lift)


def draw_flag_rows(axes: "Axes", speeds: Sequence[float], *, top: float) -> float:
    """Mark speeds with numbered flags over the top of what is drawn, where none hides another.

    Parameters
    ----------
    axes
        With the limits of the speeds set.
    speeds
        In the order of their numbers.
    top
        Upper end of what is drawn; the axes are made higher for the flags.

    Returns
    -------
    float
        The upper end of the flags.
    """
    left, right = axes.get_xlim()
    rows = find_rows([(rpm, rpm) for rpm in speeds], apart=FLAG_SHARE * (right - left))
    high = top * (1 + ROW_SHARE * (max(rows, default=-1) + 1))
    axes.set_ylim(0, high)
    for number, (rpm, row) in enumerate(zip(speeds, rows, strict=True), start=1):
        height = top * (1 + ROW_SHARE * row)
        axes.plot([rpm, rpm], [0, height], color=MARK, linewidth=1.4, linestyle=STAFF, zorder=6)
        write_flag(axes, f"{number}", (rpm, height), aside=_aside(axes, rpm))
    return high


def draw_bars(axes: "Axes", windows: Sequence[tuple[float, float]]) -> None:
    """Draw windows as bars at the foot, neighbours at two heights, so that none seems to go on in another."""
    from matplotlib.transforms import ScaledTranslation

    left, right = axes.get_xlim()
    inches = axes.figure.dpi_scale_trans
    rows = find_rows(windows, apart=BAR_SHARE * (right - left))
    for (low, high), row in zip(windows, rows, strict=True):
        lifted = axes.transData + ScaledTranslation(0, row * BAR_IN, inches)
        axes.plot(
            [low, high], [0, 0], color=MARK, linewidth=7, solid_capstyle="butt", zorder=6, transform=lifted
        )


def find_rows(spans: Sequence[tuple[float, float]], *, apart: float) -> list[int]:
    """Give each span the lowest row in which it keeps apart from the others.

    >>> find_rows([(10, 12), (13, 14), (30, 31)], apart=2)
    [0, 1, 0]
    """
    rows = [0] * len(spans)
    ends: list[float] = []  # of each row's last span
    for index in sorted(range(len(spans)), key=lambda index: spans[index]):
        low, high = spans[index]
        free = [row for row, end in enumerate(ends) if low - end >= apart]
        rows[index] = free[0] if free else len(ends)
        if not free:
            ends.append(high)
        ends[rows[index]] = high
    return rows


def _aside(axes: "Axes", rpm: float) -> float:
    """Give how far a flag moves off an edge, in points."""
    left, right = axes.get_xlim()
    place = (rpm - left) / (right - left)
    return 9 * (place < 0.03) - 9 * (place > 0.97)


def write_flag(
    axes: "Axes", text: str, at: tuple[float, float], *, aside: float = 0.0, lift: float = 0.0
) -> None:
    """Write a flag over a point; `aside` and `lift` move it, in points: off an edge, or another flag."""
    axes.annotate(
        text,
        at,
        xytext=(aside, 11 + lift),
        textcoords="offset points",
        ha="center",
        va="center",
        fontsize=12,
        fontweight="bold",
        color=ON_MARK,
        bbox={"boxstyle": "round,pad=0.25", "facecolor": MARK, "edgecolor": ON_MARK, "linewidth": 1.2},
        zorder=8,
    )


def draw_present(axes: "Axes", rpm: float, top: float) -> None:
    """Mark the present speed with a dotted line and its number."""
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


def draw_cuts(axes: "Axes", cuts: tuple[CutPoint, ...]) -> None:
    """Draw a point for each cut inside the axes, in the shape of its verdict."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    cuts = tuple(cut for cut in cuts if left <= cut.rpm <= right and low <= cut.depth <= high)
    for verdict, shape in VERDICT_SHAPES.items():  # all of one shape at once: a long history has thousands
        points = [point for point in cuts if point.verdict == verdict]
        if not points:
            continue
        axes.plot(
            [point.rpm for point in points],
            [point.depth for point in points],
            marker=shape,
            markersize=11,
            color=PAPER if verdict == "stable" else INK,
            markeredgecolor=INK if verdict != "chatter" else PAPER,
            markeredgewidth=1.6,
            linestyle="none",
            zorder=7,
            clip_on=False,  # a cut at the fastest speed lies on the edge
        )


def explain_cuts(axes: "Axes", cuts: tuple[CutPoint, ...], *, is_page: bool) -> None:
    """Explain the shapes of the verdicts that are there, over or under the map: no cut can lie there."""
    from matplotlib.lines import Line2D

    handles = [
        Line2D(
            [],
            [],
            marker=shape,
            markersize=9,
            color=PAPER if verdict == "stable" else INK,
            markeredgecolor=INK,
            linestyle="none",
            label=f"cut: {verdict}",
        )
        for verdict, shape in VERDICT_SHAPES.items()
        if any(point.verdict == verdict for point in cuts)
    ]
    place: dict[str, Any] = {"loc": "lower left", "bbox_to_anchor": (0, 1)}
    if is_page:  # which has no title there
        place = {"loc": "upper center", "bbox_to_anchor": (0.45, -0.15)}
    axes.legend(handles=handles, fontsize=10.5, labelcolor=INK, frameon=False, ncols=SHAPES_A_ROW, **place)


def explaining_pt(cuts: tuple[CutPoint, ...]) -> float:
    """Give how high the rows are, in points, that explain the shapes of the verdicts that are there."""
    return 19.0 * math.ceil(len({point.verdict for point in cuts}) / SHAPES_A_ROW)


def draw_chance_image(
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
