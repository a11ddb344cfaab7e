"""Empty figures for pages: one width, the page's colours, words large enough for a phone.

In: a height. Out: a matplotlib figure and its axes.
Leaves out: what is drawn on them. matplotlib is imported where it draws, because it takes long to load.
"""

from typing import TYPE_CHECKING

from chatter.report._palette import INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDE_IN = 4.9  # 353 points: a phone of 360 points shows words at nearly their size
SMALL, USUAL = 10.5, 11.5  # sizes of words, points


def new_figure(high_in: float) -> "Figure":
    """Give an empty figure of the page's width."""
    from matplotlib.figure import Figure

    return Figure(figsize=(WIDE_IN, high_in))


def add_axes(figure: "Figure", *, left: float, right: float, low_in: float, high_in: float) -> "Axes":
    """Give axes between two shares of the width and two heights in inches, with two spines."""
    high = float(figure.get_size_inches()[1])
    axes = figure.add_axes((left, low_in / high, right - left, (high_in - low_in) / high))
    axes.tick_params(colors=INK, labelsize=SMALL, length=4)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(INK)
    axes.xaxis.label.set(color=INK, fontsize=USUAL)
    return axes


def name_height(axes: "Axes", unit: str) -> None:
    """Write the unit of the upright axis over its numbers, where it reads without turning the head."""
    axes.annotate(
        unit,
        (0, 1),
        xycoords=("figure fraction", axes.transAxes),
        xytext=(1, 8),
        textcoords="offset points",
        ha="left",
        va="bottom",
        fontsize=SMALL,
        color=INK,
    )


def space_ticks(axes: "Axes", *, most_x: int | None = None, most_y: int | None = None) -> None:
    """Put round numbers with thousands parted on one or both axes."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    for axis, most in ((axes.xaxis, most_x), (axes.yaxis, most_y)):
        if most is not None:
            axis.set_major_locator(MaxNLocator(most, steps=[1, 2, 2.5, 5, 10]))
            axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.10g}".replace("-", "−")))


def hide_ticks(axes: "Axes", *, x: bool = False, y: bool = False) -> None:
    """Take the marks and numbers off an axis whose unit doesn't matter."""
    if x:
        axes.set_xticks([])
    if y:
        axes.set_yticks([])
