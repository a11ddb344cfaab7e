"""How loud it is where, with its range, on one scale with the limit.

In: a `NoiseDocument` with a neighbour. Out: an `svg` element for a page.
Look: each row is a range, because no level is known better; the mark in it is the likeliest. At the neighbour
the scale is a coast: dotted land begins at the limit that was given; a range that reaches it may be too loud.
Leaves out: any judgement.
"""

from typing import TYPE_CHECKING

from chatter.model.noise import NoiseDocument
from chatter.report._figures import SMALL, USUAL, add_axes, hide_ticks, new_figure, space_ticks
from chatter.report._palette import COAST, DOTS, INK, LAND, MARK, PAPER, WATER
from chatter.report._svg import to_svg
from chatter.report.noise_words import tell_between, tell_number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEFT, RIGHT = 0.03, 0.965
ROW_IN, BAR_HIGH = 0.5, 0.34  # inches a row, share of a row
ROOM_DB = 4.0
Row = tuple[str, float, float, float, bool]  # name, low, likeliest, high; whether the limit is for it


def list_levels(document: NoiseDocument) -> tuple[Row, ...]:
    """Give the levels to show, the neighbour's first."""
    there, phone_db = document.neighbour, document.cutting_db
    if there is None or phone_db is None:
        return ()
    down_db, up_db = there.LAeq_db - there.low_db, there.high_db - there.LAeq_db
    told = [("while it cuts, at the neighbour", there.LAeq_db)]
    if document.tonal_adjustment_db is not None:  # else the recording is too short to judge tones
        told.append(("the same with its tones", there.rating_db))
    evening = document.evening
    if evening is not None and evening.asked_minutes is not None:
        told.append((f"{evening.asked_minutes:g} min of it in {evening.reference_h:g} h", evening.rated_db))
    rows: list[Row] = [(name, db - down_db, db, db + up_db, True) for name, db in told]
    sure_db = document.calibration.uncertainty_db
    if document.exposure is not None:
        ear = document.exposure
        to_ear_db = ear.ear_db - ear.LEX8h_db  # the range of both is the same
        rows.append(("at your ear", ear.low_db + to_ear_db, ear.ear_db, ear.high_db + to_ear_db, False))
    rows.append(("at the phone", phone_db - sure_db, phone_db, phone_db + sure_db, False))
    return tuple(rows)


def draw_noise_strip(document: NoiseDocument) -> str | None:
    """Draw the levels with the limit; None without a neighbour."""
    rows = list_levels(document)
    if not rows:
        return None
    limit_db = None if document.evening is None else document.evening.limit_db
    figure = new_figure(0.62 + ROW_IN * len(rows) + 0.3)
    axes = add_axes(figure, left=LEFT, right=RIGHT, low_in=0.52, high_in=0.52 + ROW_IN * len(rows) + 0.05)
    ends = [end for _, low, _, high, _ in rows for end in (low, high)] + (
        [] if limit_db is None else [limit_db]
    )
    axes.set_xlim(min(ends) - ROOM_DB, max(ends) + ROOM_DB)
    axes.set_ylim(len(rows), -0.05)
    hide_ticks(axes, y=True)
    axes.spines["left"].set_visible(False)
    space_ticks(axes, most_x=6)
    axes.set_xlabel("dB(A)", fontsize=USUAL)
    if limit_db is not None:
        _draw_limit(axes, limit_db, rows=sum(row[4] for row in rows))
    for place, row in enumerate(rows):
        _draw_row(axes, place, row)
    told = "; ".join(
        f"{name} {tell_number(db)} dB, between {tell_between(low, high)}" for name, low, db, high, _ in rows
    )
    limit = "" if limit_db is None else f" The limit is {limit_db:g} dB."
    return to_svg(figure, name="strip", title="How loud it is where", description=f"{told}.{limit}")


def _draw_limit(axes: "Axes", limit_db: float, *, rows: int) -> None:
    """Draw land beyond the limit behind the neighbour's rows, and the limit's name."""
    right = axes.get_xlim()[1]
    axes.fill_between(
        [limit_db, right], 0, rows, facecolor=LAND, edgecolor=DOTS, hatch="..", linewidth=0, zorder=1
    )
    axes.plot([limit_db, limit_db], [-0.05, rows], color=MARK, linewidth=2, zorder=4)
    on_left = limit_db > sum(axes.get_xlim()) / 2
    axes.annotate(
        f"limit {limit_db:g}",
        (limit_db, -0.05),
        xytext=(0, 4),
        textcoords="offset points",
        ha="right" if on_left else "left",
        va="bottom",
        fontsize=USUAL,
        fontweight="bold",
        color=MARK,
    )


def _draw_row(axes: "Axes", place: int, row: Row) -> None:
    """Draw one range with its likeliest level, its name above it."""
    name, low, db, high, _ = row
    top = place + 0.52
    axes.fill_between(
        [low, high], top, top + BAR_HIGH, facecolor=WATER, edgecolor=COAST, linewidth=1.4, zorder=3
    )
    axes.plot([db, db], [top, top + BAR_HIGH], color=COAST, linewidth=4, solid_capstyle="butt", zorder=5)
    axes.text(
        axes.get_xlim()[0],
        place + 0.3,
        f"{name}: {tell_number(db)}, from {tell_between(low, high, to='to')}",
        ha="left",
        va="center",
        fontsize=SMALL,
        color=INK,
        bbox={"boxstyle": "square,pad=0.1", "facecolor": PAPER, "edgecolor": "none"},
        zorder=6,
    )
