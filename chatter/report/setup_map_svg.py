"""Every cut of a setup over speed and depth, on the chances of a stable cut, as a picture for a page.

In: a `SetupMap`. Out: an `svg` element.
Look: the fuller the water's colour, the likelier a cut there is stable; lines stand at 50 and 90 chances of
100. Cuts have the shapes of their verdicts.
Leaves out: any analysis, and the setup's name.
"""

from typing import TYPE_CHECKING

import numpy as np

from chatter.model.notebook import SetupMap
from chatter.report._figures import SMALL, USUAL, add_axes, name_height, new_figure, space_ticks
from chatter.report._map_marks import CutPoint, draw_cuts, explain_cuts
from chatter.report._palette import COAST, PAPER
from chatter.report._svg import Raster, to_svg
from chatter.report.notebook_picture import picture_setup_map

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEFT, RIGHT = 0.12, 0.945
CELLS = (240, 120)  # across, up: what a phone's screen can show
_VERDICTS = ("stable", "marginal", "chatter", "undecided")
LEVELS = (50, 90)  # chances of 100 at which a line is drawn
NAME_WIDE, NAME_HIGH = 0.25, 0.08  # of the axes: what a line's name and a cut's mark take


def draw_setup_map(document: SetupMap) -> str:
    """Draw the cuts of a setup on the chances behind them, where there are any."""
    picture = picture_setup_map(document)
    figure = new_figure(4.7)
    axes = add_axes(figure, left=LEFT, right=RIGHT, low_in=1.05, high_in=4.38)
    speeds, top = picture.speeds_rpm, picture.top
    axes.set_xlim(float(speeds[0]), float(speeds[-1]))
    axes.set_ylim(0, top)
    rasters: tuple[Raster, ...] = ()
    if picture.stable_probability is not None and picture.depths is not None:
        across = np.linspace(float(speeds[0]), float(speeds[-1]), CELLS[0])
        up = np.linspace(top, 0, CELLS[1])
        by_speed = np.array([np.interp(across, speeds, row) for row in picture.stable_probability])
        shade = np.array([np.interp(up, picture.depths, column) for column in by_speed.T]).T
        rasters = (Raster(axes=axes, shade=shade, colour="water"),)
        percent = 100 * shade
        levels = [level for level in LEVELS if percent.min() < level < percent.max()]
        if levels:
            axes.contour(across, up, percent, levels=levels, colors=COAST, linewidths=1.6)
        for level in levels:
            ends = [float(up[int(np.argmax(percent[:, column] >= level))]) for column in (-1, 0)]
            _name_level(axes, level, ends=ends, cuts=picture.cuts)
    draw_cuts(axes, picture.cuts)
    explain_cuts(axes, picture.cuts, is_page=True)
    space_ticks(axes, most_x=5, most_y=6)
    axes.set_xlabel("true speed, rpm", fontsize=USUAL)
    name_height(axes, "mm deep")
    counts = {verdict: sum(cut.verdict == verdict for cut in document.cuts) for verdict in _VERDICTS}
    told = ", ".join(f"{count} {verdict}" for verdict, count in counts.items() if count)
    best = document.best_so_far
    tail = "" if best is None else f" Best heard stable: {best.set_rpm:,.0f} rpm, {best.depth_mm:g} mm deep."
    return to_svg(
        figure,
        name="setup",
        title="Every cut over speed and depth",
        description=f"Cuts: {told}.{tail}",
        rasters=rasters,
    )


def _name_level(axes: "Axes", level: int, *, ends: list[float], cuts: tuple[CutPoint, ...]) -> None:
    """Write a line's chances at its right end, or at its left one where a cut would lie under them there."""
    (left, right), top = axes.get_xlim(), axes.get_ylim()[1]

    def is_free(depth: float, rpm: float) -> bool:
        near_rpm, near_depth = NAME_WIDE * (right - left), NAME_HIGH * top
        return not any(abs(cut.rpm - rpm) < near_rpm and abs(cut.depth - depth) < near_depth for cut in cuts)

    at_left = not is_free(ends[0], right) and is_free(ends[1], left)
    axes.text(
        0.015 if at_left else 0.985,
        ends[1] if at_left else ends[0],
        f"{level} in 100",
        transform=axes.get_yaxis_transform(),
        ha="left" if at_left else "right",
        va="center",
        fontsize=SMALL,
        color=COAST,
        bbox={"boxstyle": "square,pad=0.1", "facecolor": PAPER, "edgecolor": "none"},
        zorder=3,
    )
