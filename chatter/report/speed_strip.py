"""The small stability map of a cut: the chance of a stable cut over speed, and a strip of windows to dial.

In: a `CutDocument`. Out: an `svg` element for a page, or None where the advice names no speed.
Look: boxes of water in the strip are the windows of the speeds suggested. Nothing is drawn between them: how
likely a speed is there, the curve tells; one beside a box may be likelier than one in it. Speeds are those to
dial, because that is what a hand sets. No window is ranked: a sentence says which to try first.
Leaves out: any judgement.
"""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from chatter.model.cut import CutDocument
from chatter.report._figures import USUAL, add_axes, hide_ticks, name_height, new_figure, space_ticks
from chatter.report._palette import COAST, INK, MARK, PAPER, VERDICT_SHAPES, WATER
from chatter.report._svg import to_svg
from chatter.report.cut_words import SPEEDS_SHOWN, dial_per_true, verdict_of_all, window_to_dial

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]
LEFT, RIGHT = 0.1, 0.965
BOX_HIGH, SPEED_ROWS, NOW_ROW = 0.36, (0.5, 0.72), 0.94  # of the strip's height
EDGE_SHARE = 0.06  # half a word
LABEL_WIDE = 0.17  # of the axes: one speed's number with a gap


def draw_speeds(document: CutDocument) -> str | None:
    """Draw the chance of a stable cut over the dialled speed, the present cut, and the windows to try."""
    speeds, curve = document.advice.speeds[:SPEEDS_SHOWN], document.map
    if not speeds and curve is None:
        return None
    dial = dial_per_true(document)
    now = document.analysis.spindle.programmed_rpm
    ranges = [(one, *window_to_dial(one)) for one in speeds]
    windows = [(low, one.set_rpm, high) for one, low, high in ranges]
    ends = [now, *(rpm for low, _, high in windows for rpm in (low, high))]
    if curve is not None:
        ends += [dial * curve.speeds_rpm[0], dial * curve.speeds_rpm[-1]]
    room = 0.03 * (max(ends) - min(ends)) or 0.1 * max(ends)
    figure = new_figure(3.8 if curve is not None else 1.75)
    strip = add_axes(figure, left=LEFT, right=RIGHT, low_in=0.52, high_in=1.62)
    strip.set_xlim(min(ends) - room, max(ends) + room)
    draw_strip(strip, windows, now=now)
    strip.set_xlabel("speed to dial, rpm")
    if curve is not None:
        upper = add_axes(figure, left=LEFT, right=RIGHT, low_in=1.72, high_in=3.5)
        upper.set_xlim(strip.get_xlim())
        _draw_curve(
            upper, dial * np.array(curve.speeds_rpm), 100 * np.array(curve.stable_probability), now=now
        )
        upper.plot(
            [now],
            [float(np.interp(now / dial, curve.speeds_rpm, 100 * np.array(curve.stable_probability)))],
            marker=VERDICT_SHAPES[verdict_of_all(document)],
            markersize=12,
            color=INK if verdict_of_all(document) == "chatter" else PAPER,
            markeredgecolor=PAPER if verdict_of_all(document) == "chatter" else INK,
            markeredgewidth=1.5,
            clip_on=False,
            zorder=6,
        )
    told = "; ".join(f"{at:,.0f} rpm, from {low:,.0f} to {high:,.0f}" for low, at, high in windows)
    return to_svg(
        figure,
        name="speeds",
        title="Speeds to try",
        description=f"The present cut: {now:,.0f} rpm as dialled. Windows to try: {told or 'none'}.",
    )


def _draw_curve(axes: "Axes", rpm: Floats, percent: Floats, *, now: float) -> None:
    axes.fill_between(rpm, percent, color=WATER, linewidth=0)
    axes.plot(rpm, percent, color=COAST, linewidth=1.8)
    axes.axvline(now, color=INK, linewidth=1.2, linestyle=(0, (1, 1.4)))
    axes.set_ylim(0, 104)
    axes.set_yticks([0, 50, 100])
    hide_ticks(axes, x=True)
    name_height(axes, "chances of 100 that the cut is stable")


def draw_strip(axes: "Axes", windows: list[tuple[float, float, float]], *, now: float | None = None) -> None:
    """Draw windows as boxes of water, each with its speed, and the present speed.

    Parameters
    ----------
    axes
        With the limits of the speeds set.
    windows
        From, the speed to name, and to, rpm; the best first.
    now
        The present speed, rpm.
    """
    left, right = axes.get_xlim()
    axes.set_ylim(0, 1)
    hide_ticks(axes, y=True)
    axes.spines["left"].set_visible(False)
    for low, _, high in windows:
        axes.fill_between([low, high], 0, BOX_HIGH, facecolor=WATER, edgecolor=COAST, linewidth=1.4, zorder=2)
    room = EDGE_SHARE * (right - left)
    if now is not None:  # on a row of its own, above every speed
        axes.plot([now, now], [0, NOW_ROW], color=INK, linewidth=1.2, linestyle=(0, (1, 1.4)), zorder=3)
        _write_above(axes, min(max(now, left + room), right - room), NOW_ROW, "now", colour=INK)
    written: dict[float, list[float]] = {row: [] for row in SPEED_ROWS}  # where the words of each row stand
    for _, at, _ in windows:  # the best first: where words have no room the others go without
        place = min(max(at, left + room), right - room)
        near = LABEL_WIDE * (right - left)
        free = [row for row in SPEED_ROWS if all(abs(place - other) > near for other in written[row])]
        axes.plot([at, at], [0, free[0] if free else BOX_HIGH], color=MARK, linewidth=1.6, zorder=3)
        if free:
            written[free[0]].append(place)
            _write_above(axes, place, free[0], f"{at:,.0f}", colour=MARK)
    space_ticks(axes, most_x=5)


def _write_above(axes: "Axes", rpm: float, row: float, word: str, *, colour: str) -> None:
    axes.text(
        rpm,
        row,
        word,
        ha="center",
        va="center",
        fontsize=USUAL,
        fontweight="bold" if colour == MARK else "normal",
        color=colour,
        bbox={"boxstyle": "square,pad=0.1", "facecolor": PAPER, "edgecolor": "none"},
        zorder=5,
    )
