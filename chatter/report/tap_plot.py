"""Pictures of a tap test: how the sound dies away, and its spectrum with the modes marked.

In: a `TapDocument`. Out: one PNG or SVG file; the modes from before a change stand beside those after it.
Leaves out: any judgement; every number stands in the document. Colours and sheet are those of plots.py.
"""

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from chatter.errors import BadValueError
from chatter.model.tap import TapDocument, TapMode, TapView
from chatter.report._map_marks import write_flag
from chatter.report._palette import COAST, FAINT, INK, MARK, PAPER, WATER
from chatter.report.plots import DOTS_PER_IN, check_plot_path, save_sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIZE_IN = (8.6, 9.2)
MOST_FLAGS = 6
LOWEST_DB = -75.0
LEFTMOST_HZ = 50.0
# Of the axis' width and in points: a flag's edges, one of its letters, its height; measured on a picture.
FLAG_SHARE, LETTER_SHARE, FLAG_PT = 0.02, 0.014, 18.0


def draw_tap(document: TapDocument, *, path: Path) -> None:
    """Draw the decay and the spectrum of a tap test.

    Raises
    ------
    BadValueError
        Nothing rang, so there is nothing to draw; or the file name can't be a picture's.
    OutputError
        The file can't be written.
    """
    check_plot_path(path)
    view = document.analysis.view
    if view is None:
        raise BadValueError("plot", path.name, "a recording in which a tap rings: there is nothing to draw")
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE_IN, dpi=DOTS_PER_IN, facecolor=PAPER, layout="constrained")
    figure.suptitle(
        f"How the {document.of} rings", x=0.02, ha="left", color=INK, fontsize=17, fontweight="bold"
    )
    upper, lower = figure.subplots(2, 1)
    for axes in (upper, lower):
        axes.set_facecolor(PAPER)
        axes.tick_params(colors=INK, labelsize=11)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
    modes = document.modes[:MOST_FLAGS]
    before = modes_before(document)
    paint_decay(upper, view, mode=modes[0] if modes else None, before=before_loudest(document))
    title = "The loudest tap dying away; dashed: mode 1 alone"
    upper.set_title(_with_before(title, before), loc="left", color=INK, fontsize=11.5)
    upper.set_xlabel("time after the blow, ms", color=INK, fontsize=12)
    upper.set_ylabel("level, dB", color=INK, fontsize=12)
    names = tuple(f"{k}" for k in range(1, len(modes) + 1))
    paint_spectrum(lower, view, modes=modes, names=names, before=before)
    title = "Spectrum of all taps after the click; dotted: the noise"
    lower.set_title(_with_before(title, before), loc="left", color=INK, fontsize=11.5)
    lower.set_xlabel("frequency, Hz", color=INK, fontsize=12)
    lower.set_ylabel("level, dB", color=INK, fontsize=12)
    lines = [
        f"{number}   {mode.frequency_hz:,.1f} Hz, damping {100 * mode.damping_ratio:.3g} %"
        + (" or less" if mode.damping_bound == "upper" else "")
        + f", {round(mode.level_db)} dB".replace("-", "−")
        for number, mode in enumerate(modes, start=1)
    ]
    figure.supxlabel("\n".join(lines), x=0.02, ha="left", fontsize=10.5, color=INK, linespacing=1.4)
    save_sheet(figure, path)


def modes_before(document: TapDocument) -> tuple[TapMode, ...]:
    """Give the modes from before a change; none where nothing was compared."""
    changes = () if document.comparison is None else document.comparison.changes
    return tuple(change.before for change in changes if change.before is not None)


def before_loudest(document: TapDocument) -> TapMode | None:
    """Give what the loudest mode was before a change."""
    if document.comparison is None or not document.comparison.changes:
        return None
    return document.comparison.changes[0].before  # the loudest mode after the change comes first


def _with_before(title: str, before: tuple[TapMode, ...]) -> str:
    return f"{title}; grey: before" if before else title


def paint_decay(axes: "Axes", view: TapView, *, mode: TapMode | None, before: TapMode | None = None) -> None:
    """Draw how the loudest tap dies away, one mode alone as a dashed line, and what it was before in grey."""
    top = float(view.levels_db.max())
    axes.plot(1000 * view.times_s, view.levels_db - top, color=COAST, linewidth=1.6)
    axes.fill_between(1000 * view.times_s, view.levels_db - top, LOWEST_DB, color=WATER, linewidth=0)
    axes.axvline(0, color=FAINT, linewidth=1)
    after = view.times_s > 0.002
    begin = float(np.max((view.levels_db - top)[after][:4], initial=LOWEST_DB))
    for one, colour in ((before, FAINT), (mode, MARK)):
        if one is None or not one.decay_time_s:
            continue
        t = np.linspace(0.002, min(float(view.times_s[-1]), 1.1 * one.decay_time_s), 50)
        fall = begin - 60 * (t - 0.002) / one.decay_time_s
        axes.plot(1000 * t, fall, color=colour, linewidth=2, linestyle=(0, (4, 2)))
    axes.set_ylim(max(LOWEST_DB, float(np.min(view.levels_db - top)) - 3), 4)
    axes.set_xlim(1000 * float(view.times_s[0]), 1000 * float(view.times_s[-1]))


def paint_spectrum(
    axes: "Axes",
    view: TapView,
    *,
    modes: tuple[TapMode, ...],
    names: tuple[str, ...],
    before: tuple[TapMode, ...] = (),
) -> None:
    """Draw the spectrum of all taps with a flag at each mode, the noise dotted, modes from before in grey."""
    highest = min(float(view.frequencies_hz[-1]), max(1000.0, 1.8 * max(mode.frequency_hz for mode in modes)))
    shown = view.frequencies_hz <= highest
    axes.plot(view.frequencies_hz[shown], view.spectrum_db[shown], color=COAST, linewidth=1.6)
    axes.plot(view.frequencies_hz[shown], view.noise_db[shown], color=INK, linewidth=1, linestyle=":")
    axes.set_xscale("log")
    axes.set_xlim(LEFTMOST_HZ, highest)
    axes.set_ylim(-65, 14)
    ticks = [hz for hz in (50, 100, 200, 500, 1000, 2000, 5000) if hz <= highest]
    axes.set_xticks(ticks, [f"{hz:,}" for hz in ticks])
    axes.minorticks_off()
    for mode in before:
        if mode.frequency_hz < highest:
            axes.axvline(mode.frequency_hz, color=FAINT, linewidth=1.6, linestyle=(0, (3, 2)))
    lifts = lift_flags([mode.frequency_hz for mode in modes], names, highest_hz=highest)
    for mode, name, lift in zip(modes, names, lifts, strict=True):
        height = float(np.interp(mode.frequency_hz, view.frequencies_hz, view.spectrum_db))
        axes.plot([mode.frequency_hz] * 2, [-65, height], color=MARK, linewidth=1.3, linestyle=(0, (3, 2)))
        if not name:
            continue
        write_flag(axes, name, (mode.frequency_hz, height), lift=lift)


def lift_flags(hz: list[float], names: tuple[str, ...], *, highest_hz: float) -> list[float]:
    """Give how far to lift each flag, in points, so that flags of near modes stand over each other.

    Parameters
    ----------
    hz
        Frequency of each mode.
    names
        What its flag says; none where that is empty.
    highest_hz
        Right end of the axis.

    Returns
    -------
    list of float
        0 where no flag is in the way.
    """
    span = math.log(highest_hz / LEFTMOST_HZ)
    lifts = [0.0] * len(hz)
    placed: list[int] = []
    for index in sorted(range(len(hz)), key=lambda index: hz[index]):
        if not names[index]:
            continue
        near = {
            lifts[other]
            for other in placed
            if math.log(hz[index] / hz[other]) / span
            < FLAG_SHARE + LETTER_SHARE * (len(names[index]) + len(names[other])) / 2
        }
        lifts[index] = next(FLAG_PT * step for step in range(len(hz) + 1) if FLAG_PT * step not in near)
        placed.append(index)
    return lifts
