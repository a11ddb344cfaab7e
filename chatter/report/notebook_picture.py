"""A setup's map as a picture: its cuts as points on the chances of a stable cut.

In: a `SetupMap`. Out: what report/plots.py draws.
Leaves out: any analysis.
"""

import math

import numpy as np

from chatter.model.notebook import KeptCut, SetupMap
from chatter.report._map_marks import CutPoint
from chatter.report.notebook_text import describe_facts, tell_beyond, tell_retired
from chatter.report.plots import MapPicture

MOST_POINTS = 400  # own choice: more lie on top of each other
CELLS_PER_UNIT = 60  # across the map; cuts with one verdict in one cell are one point


def picture_setup_map(document: SetupMap) -> MapPicture:
    """Give the picture of a setup's map."""
    speeds = np.array(document.speeds_rpm)
    top_mm = document.depths_mm[-1]
    shown = _thin(document.cuts, wide_rpm=float(speeds[-1] - speeds[0]), high_mm=top_mm)
    best: tuple[float, float] | None = None
    caption = ["No setting was heard stable yet."]
    if document.best_so_far is not None and document.best_rpm is not None:
        kept = document.best_so_far
        best = (document.best_rpm, kept.depth_mm)
        caption = [f"1   best heard stable: dial {kept.set_rpm:,.0f} rpm, {kept.depth_mm:g} mm"]
        beyond = tell_beyond(document)
        caption += [] if beyond is None else [beyond]
    retired = tell_retired(document)
    caption += [] if retired is None else [retired]
    count = len(document.cuts)
    more = "" if len(shown) == count else "; where they crowd, the newest are drawn"
    caption.append(f"{count:,} cut{'' if count == 1 else 's'}{more}.")
    if document.stable_probability is None:
        caption.append("No chances yet: no chatter and no tap names a frequency.")
    return MapPicture(
        title=document.setup,
        subtitle=describe_facts(document.facts),
        speeds_rpm=speeds,
        top=top_mm,
        depth_label="axial depth, mm",
        depths=np.array([0.0, *document.depths_mm]),
        stable_probability=None
        if document.stable_probability is None
        else np.array([[1.0] * len(speeds), *document.stable_probability]),  # no depth, no chatter
        best=best,
        caption="\n".join(caption),
        cuts=tuple(
            CutPoint(rpm=cut.true_rpm, depth=cut.depth_mm or math.nan, verdict=cut.verdict) for cut in shown
        ),
    )


def _thin(cuts: tuple[KeptCut, ...], *, wide_rpm: float, high_mm: float) -> tuple[KeptCut, ...]:
    """Give the newest cut of each verdict in each small cell of the map, oldest first."""
    if len(cuts) <= MOST_POINTS:
        return cuts
    cells: dict[tuple[str, int, int], KeptCut] = {}
    for cut in cuts:
        across = int(CELLS_PER_UNIT * cut.true_rpm / wide_rpm)
        up = int(CELLS_PER_UNIT * (cut.depth_mm or 0.0) / high_mm)
        cells[(cut.verdict, across, up)] = cut
    newest = sorted(cells.values(), key=lambda cut: cut.number)[-MOST_POINTS:]
    return tuple(newest)
