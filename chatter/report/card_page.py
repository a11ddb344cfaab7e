"""A setup's card as a page for the wall: the settings that were heard stable.

In: a `Card`. Out: a `Page`.
Leaves out: any judgement; every number stands in the card.
"""

from typing import TYPE_CHECKING

from chatter.model.notebook import Card, CardRow, SetupMap
from chatter.report._facts import list_facts, list_provenance, tell_day, tell_version
from chatter.report._figures import SMALL, USUAL, add_axes, name_height, new_figure, space_ticks
from chatter.report._palette import COAST, INK, PAPER, VERDICT_SHAPES, WATER
from chatter.report._svg import to_svg
from chatter.report.cut_words import tell_odds
from chatter.report.notebook_text import explain_map, tell_noise, tell_retired
from chatter.report.page import Facts, Page, Part, Picture, Points, Table, Words
from chatter.report.setup_map_svg import draw_setup_map

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEFT, RIGHT = 0.12, 0.945
MOST_WRITTEN = 8  # speeds whose depths are written at their marks


def page_of_card(card: Card, *, cuts: SetupMap | None = None) -> Page:
    """Give the page of one card, with every cut behind it where they are given."""
    count = len(card.rows)
    answer = f"{count} setting{' was' if count == 1 else 's were'} heard stable."
    count_told = f"{card.cuts} cut{'' if card.cuts == 1 else 's'}"
    return Page(
        subject=card.setup,
        kicker="A card for the wall",
        sign="card",
        answer=answer if count else "No setting was heard stable yet.",
        lead=(
            *(() if (retired := tell_retired(card)) is None else (retired,)),
            f"From {count_told} with a verdict and a depth, judged from recordings; "
            f"made {tell_day(card.made)}.",
        ),
        parts=(
            Part(heading="What to set", blocks=(_large(card), _table(card))),
            Part(heading="Before you cut", blocks=(Points(texts=card.cautions),), is_warning=True),
            Part(heading="How deep was heard", blocks=(_picture(card), _sure(card), _every_cut(cuts))),
            Part(heading="How loud", blocks=(_noise(card),)),
            Part(heading="The setup", blocks=(Facts(pairs=list_facts(card.facts)),)),
            Part(
                heading="Made from",
                blocks=(Facts(pairs=list_provenance(card.program, None)),),
            ),
        ),
        footer=tell_version(card.program),
    )


def _large(card: Card) -> Words | None:
    if not card.rows:
        return None
    first = card.rows[0]
    feed = "" if first.feed_mm_min is None else f", feed {first.feed_mm_min:,.0f} mm/min"
    text = f"Most metal: dial {first.set_rpm:,.0f} rpm, {first.depth_mm:g} mm deep{feed}."
    return Words(texts=(text,), large=True)


def _table(card: Card) -> Table | None:
    if not card.rows:
        return None
    return Table(
        caption="One setting for each speed; nothing deeper than what was heard stable",
        heads=("dial rpm", "mm deep", "mm wide", "feed mm/min"),
        rows=tuple(
            (
                f"{row.set_rpm:,.0f}",
                f"{row.depth_mm:g}",
                "–" if row.width_mm is None else f"{row.width_mm:g}",
                "–" if row.feed_mm_min is None else f"{row.feed_mm_min:,.0f}",
            )
            for row in card.rows
        ),
        numbers=(0, 1, 2, 3),
    )


def _noise(card: Card) -> Points | Words:
    if card.noises:
        return Points(texts=tuple(tell_noise(noise) for noise in card.noises))
    return Words(texts=("Not known yet: chatter noise FILE --setup NAME files it.",))


def _sure(card: Card) -> Table | None:
    if not card.rows:
        return None
    return Table(
        caption="How sure each is: stable cuts there, the highest chance that one chattered, and the depth "
        "from which that speed was not stable",
        heads=("dial rpm", "cuts", "chance of chatter", "not at"),
        rows=tuple(
            (
                f"{row.set_rpm:,.0f}",
                f"{row.cuts}",
                tell_odds(row.chatter_probability),
                "–" if row.chatter_depth_mm is None else f"{row.chatter_depth_mm:g} mm",
            )
            for row in card.rows
        ),
        numbers=(0, 1, 2, 3),
    )


def _picture(card: Card) -> Picture | None:
    if not card.rows:
        return None
    figure = new_figure(3.4)
    axes = add_axes(figure, left=LEFT, right=RIGHT, low_in=0.52, high_in=3.08)
    speeds = [row.set_rpm for row in card.rows]
    deepest = max(max(row.depth_mm, row.chatter_depth_mm or 0.0) for row in card.rows)
    room = 0.12 * (max(speeds) - min(speeds)) or 0.1 * max(speeds)
    axes.set_xlim(min(speeds) - room, max(speeds) + room)
    axes.set_ylim(0, 1.25 * deepest)
    for row in card.rows:
        _draw_row(axes, row, written=len(card.rows) <= MOST_WRITTEN)
    space_ticks(axes, most_x=5, most_y=5)
    axes.set_xlabel("speed to dial, rpm", fontsize=USUAL)
    name_height(axes, "mm deep")
    told = "; ".join(
        f"{row.set_rpm:,.0f} rpm {row.depth_mm:g} mm"
        + ("" if row.chatter_depth_mm is None else f", not at {row.chatter_depth_mm:g} mm")
        for row in card.rows
    )
    return Picture(
        heading="Depth over speed",
        svg=to_svg(
            figure,
            name="depths",
            title="How deep each speed was heard stable",
            description=f"Heard stable: {told}.",
        ),
        texts=(
            "A ring on a column of water: as deep as the ring stands, the speed was heard stable. A cross "
            "above it: the shallowest cut there that was not.",
        ),
    )


def _every_cut(cuts: SetupMap | None) -> Picture | None:
    if cuts is None or not cuts.cuts:
        return None
    known = cuts.stable_probability is not None
    chances = (
        "The fuller the colour, the likelier a cut there is stable, as far as the cuts and taps of this "
        "setup tell; lines stand at 50 and 90 chances of 100."
        if known
        else "No chances are drawn yet: no chatter and no tap names a frequency."
    )
    return Picture(
        heading="Every cut so far",
        svg=draw_setup_map(cuts),
        texts=(chances, *explain_map(cuts), "What is only likely is not on the card: cut it, and record it."),
    )


def _draw_row(axes: "Axes", row: CardRow, *, written: bool) -> None:
    """Draw one setting: a column of water up to its depth, and a cross where the speed was not stable."""
    axes.plot([row.set_rpm] * 2, [0, row.depth_mm], color=WATER, linewidth=9, solid_capstyle="butt", zorder=2)
    axes.plot(
        [row.set_rpm],
        [row.depth_mm],
        marker=VERDICT_SHAPES["stable"],
        markersize=11,
        color=PAPER,
        markeredgecolor=COAST,
        markeredgewidth=2.2,
        zorder=4,
    )
    if written:
        axes.annotate(
            f"{row.depth_mm:g}",
            (row.set_rpm, row.depth_mm),
            xytext=(9, 0),
            textcoords="offset points",
            va="center",
            fontsize=SMALL,
            color=INK,
        )
    if row.chatter_depth_mm is not None:
        axes.plot(
            [row.set_rpm],
            [row.chatter_depth_mm],
            marker=VERDICT_SHAPES["chatter"],
            markersize=11,
            color=INK,
            markeredgecolor=PAPER,
            zorder=4,
        )
