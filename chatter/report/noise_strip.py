"""How loud it is where, with its range, on one scale with the limit.

In: a `NoiseDocument` with a neighbour. Out: an `svg` element for a page.
Look: each row is a range, because no level is known better; the mark in it is the likeliest. At the neighbour
the scale is a coast: dotted land begins at the limit that was given; a range that reaches it may be too loud.
Leaves out: any judgement.
"""

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from chatter.model.noise import NoiseDocument
from chatter.report._figures import SMALL, USUAL, WIDE_IN, add_axes, hide_ticks, new_figure, space_ticks
from chatter.report._palette import COAST, DOTS, INK, LAND, MARK, PAPER, WATER
from chatter.report._svg import to_svg
from chatter.report.noise_words import tell_between, tell_number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEFT, RIGHT = 0.03, 0.965
BAR_IN, LINE_IN, GAP_IN = 0.17, 0.17, 0.16  # inches: a bar, a line of words, what parts them and the rows
WIDE_PT = 72 * WIDE_IN * (RIGHT - LEFT)
LETTER_PT, BESIDE_PT = 5.5, 5.0  # a letter's width with room to spare; between words and the limit
ROOM_DB = 4.0
Row = tuple[str, float, float, float, bool]  # name, low, likeliest, high; whether the limit is for it


@dataclass(frozen=True, slots=True, kw_only=True)
class _Words:
    """What stands over one bar, and where."""

    text: str
    at_db: float  # where they begin

    @property
    def high_in(self) -> float:
        """Their height, inches."""
        return LINE_IN * (1 + self.text.count("\n"))


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
    ends = [end for _, low, _, high, _ in rows for end in (low, high)] + (
        [] if limit_db is None else [limit_db]
    )
    left, right = min(ends) - ROOM_DB, max(ends) + ROOM_DB
    if limit_db is not None:  # one side of it has room for every line of words
        longest = max(len(line) for row in rows for line in _lines(row))
        share = (LETTER_PT * longest + BESIDE_PT) / WIDE_PT
        if max(limit_db - left, right - limit_db) < share * (right - left):
            right = left + (limit_db - left) / (1 - share)
    words = [_place_words(row, left=left, right=right, limit_db=limit_db) for row in rows]
    tops = [0.0, *itertools.accumulate(one.high_in + BAR_IN + GAP_IN for one in words)]
    figure = new_figure(0.92 + tops[-1])
    axes = add_axes(figure, left=LEFT, right=RIGHT, low_in=0.52, high_in=0.57 + tops[-1])
    axes.set_xlim(left, right)
    axes.set_ylim(tops[-1], -0.05)  # inches, from the top
    hide_ticks(axes, y=True)
    axes.spines["left"].set_visible(False)
    space_ticks(axes, most_x=6)
    axes.set_xlabel("dB(A)", fontsize=USUAL)
    if limit_db is not None:
        _draw_limit(axes, limit_db, down_to=tops[sum(row[4] for row in rows)])
    for top, row, one in zip(tops, rows, words, strict=False):
        _draw_row(axes, top, row, one)
    told = "; ".join(
        f"{name} {tell_number(db)} dB, between {tell_between(low, high)}" for name, low, db, high, _ in rows
    )
    limit = "" if limit_db is None else f" The limit is {limit_db:g} dB."
    return to_svg(figure, name="strip", title="How loud it is where", description=f"{told}.{limit}")


def _lines(row: Row) -> tuple[str, str]:
    """Give a row's words as two lines: its name and its numbers."""
    name, low, db, high, _ = row
    return f"{name}:", f"{tell_number(db)}, from {tell_between(low, high, to='to')}"


def _place_words(row: Row, *, left: float, right: float, limit_db: float | None) -> _Words:
    """Put a row's words where the limit doesn't run through them: beside it, in two lines if need be."""
    whole = " ".join(_lines(row))
    if limit_db is None or not row[4]:
        return _Words(text=whole, at_db=left)
    db_per_pt = (right - left) / WIDE_PT
    gap = BESIDE_PT * db_per_pt
    needed = LETTER_PT * db_per_pt * len(whole)
    if left + needed + gap < limit_db:  # ends before the limit
        return _Words(text=whole, at_db=left)
    text = whole if limit_db + gap + needed < right else "\n".join(_lines(row))
    if limit_db > (left + right) / 2 and text != whole:
        return _Words(text=text, at_db=left)
    return _Words(text=text, at_db=limit_db + gap)


def _draw_limit(axes: "Axes", limit_db: float, *, down_to: float) -> None:
    """Draw land beyond the limit behind the neighbour's rows, and the limit's name."""
    right = axes.get_xlim()[1]
    axes.fill_between(
        [limit_db, right], 0, down_to, facecolor=LAND, edgecolor=DOTS, hatch="..", linewidth=0, zorder=1
    )
    axes.plot([limit_db, limit_db], [-0.05, down_to], color=MARK, linewidth=2, zorder=4)
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


def _draw_row(axes: "Axes", top: float, row: Row, words: _Words) -> None:
    """Draw one range with its likeliest level, its name above it."""
    _, low, db, high, _ = row
    bar = top + GAP_IN / 2 + words.high_in, top + GAP_IN / 2 + words.high_in + BAR_IN
    axes.fill_between([low, high], *bar, facecolor=WATER, edgecolor=COAST, linewidth=1.4, zorder=3)
    axes.plot([db, db], bar, color=COAST, linewidth=4, solid_capstyle="butt", zorder=5)
    axes.text(
        words.at_db,
        top + GAP_IN / 4 + words.high_in / 2,
        words.text,
        ha="left",
        va="center",
        fontsize=SMALL,
        color=INK,
        bbox={"boxstyle": "square,pad=0.1", "facecolor": PAPER, "edgecolor": "none"},
        zorder=6,
    )
