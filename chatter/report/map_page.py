"""A stability map as a page: which speeds carry most, the coast as a picture, what it was drawn from.

In: a `MapDocument`. Out: a `Page`.
Leaves out: any judgement; every number stands in the document.
"""

from chatter.model.map import MapDocument
from chatter.report._facts import WORKED_OUT, list_provenance, list_settings, tell_version
from chatter.report._figures import USUAL, add_axes, hide_ticks, name_height, new_figure, space_ticks
from chatter.report._map_marks import draw_coast
from chatter.report._svg import to_svg
from chatter.report.map_text import (
    MIDDLE,
    ORDER,
    tell_depth,
    tell_mode,
    tell_nothing,
    tell_peak,
    tell_window,
    told_depth,
)
from chatter.report.page import Block, Facts, Page, Part, Picture, Points, Words
from chatter.report.plots import picture_map
from chatter.report.speed_strip import LEFT, RIGHT, draw_strip

METHODS = {
    "zero order": "Zero-order solution, quick: a limit at each speed from the mean cutting force.",
    "semi-discretization": "Semi-discretization, exact in its model: it follows the teeth through a turn.",
}


def page_of_map(document: MapDocument) -> Page:
    """Give the page of one map."""
    cut = document.cut
    width = "in a slot" if cut.width_mm == cut.diameter_mm else f"{cut.width_mm:g} mm wide, {cut.direction}"
    flutes = f"{cut.flutes} flute{'s' if cut.flutes > 1 else ''}"
    lead = (
        f"{flutes}, {cut.diameter_mm:g} mm tool, {width}; {document.speeds_rpm[0]:,.0f} to "
        f"{document.speeds_rpm[-1]:,.0f} rpm, true speeds."
    )
    sources = [tell_mode(mode) for mode in document.modes]
    pressure = "" if cut.pressure_mpa is None else f"cutting pressure {cut.pressure_mpa:,.0f} MPa, "
    sources.append(f"{pressure}radial force {cut.radial_ratio:.2f} times the tangential one")
    settings = {
        name: value for name, value in document.program["settings"].items() if name not in ("modes", "exact")
    }
    return Page(
        subject=cut.material or "Stability map",
        kicker="How deep at which speed",
        sign="map",
        answer=_answer(document),
        lead=(lead,),
        parts=(
            Part(heading="Best speeds", blocks=_best(document)),
            Part(heading="Before you cut", blocks=(Points(texts=document.cautions),), is_warning=True),
            Part(
                heading="Drawn from",
                blocks=(
                    Points(texts=tuple(f"{text[:1].upper()}{text[1:]}." for text in sources)),
                    Words(texts=(METHODS[document.method],)),
                ),
            ),
            Part(heading="What you told", blocks=(Facts(pairs=list_settings(settings)),)),
            Part(
                heading="Made from",
                blocks=(Facts(pairs=list_provenance(document.program, None)),),
            ),
        ),
        footer=tell_version(document.program, doubt=WORKED_OUT),
    )


def _answer(document: MapDocument) -> str:
    if document.best:
        return f"Most metal near {document.best[0].middle_rpm:,.0f} rpm."
    if document.lowest_depth is None:
        return tell_nothing(document)
    return "No speed here is clearly better than the others."


def _depth(document: MapDocument, depth: float) -> str:
    unit = "times the lowest limit" if document.is_relative else "mm"
    return f"{told_depth(depth)} {unit}"


def _best(document: MapDocument) -> tuple[Block | None, ...]:
    """Say how deep the best window carries, then the others and the lowest limit, then draw the coast."""
    large, more = None, []
    if document.best:
        first = document.best[0]
        large = Words(texts=(f"At {tell_window(document, first)}",), large=True)
        more.append(tell_peak(document, first))
        others = [
            f"{_depth(document, one.window_depth)} at {one.middle_rpm:,.0f} rpm ({one.low_rpm:,.0f} to "
            f"{one.high_rpm:,.0f})"
            for one in document.best[1:]
        ]
        if others:
            more += [f"Further windows carry {', '.join(others)}.", ORDER]
        more.append(MIDDLE)
    if document.lowest_depth is not None and document.lowest_rpm is not None:
        if document.is_relative:
            more.append(f"The lowest limit, 1 in this map, lies at {document.lowest_rpm:,.0f} rpm.")
        else:
            more.append(
                f"Below {tell_depth(document, document.lowest_depth)} no speed of this range should chatter; "
                f"that lowest limit lies at {document.lowest_rpm:,.0f} rpm."
            )
    return (large, Words(texts=tuple(more)) if more else None, _picture(document))


def _picture(document: MapDocument) -> Picture:
    drawn = picture_map(document)
    figure = new_figure(5.1)
    strip = add_axes(figure, left=LEFT, right=RIGHT, low_in=0.52, high_in=1.62)
    coast = add_axes(figure, left=LEFT, right=RIGHT, low_in=1.5, high_in=4.78)
    for axes in (strip, coast):
        axes.set_xlim(float(drawn.speeds_rpm[0]), float(drawn.speeds_rpm[-1]))
    coast.set_ylim(0, drawn.top)
    if drawn.limit is not None:
        draw_coast(coast, drawn.speeds_rpm, drawn.limit, drawn.top, fill=True)
    hide_ticks(coast, x=True)
    space_ticks(coast, most_y=6)
    name_height(coast, "× lowest" if document.is_relative else "mm deep")
    draw_strip(strip, [(one.low_rpm, one.middle_rpm, one.high_rpm) for one in document.best])
    strip.set_xlabel("true speed, rpm", fontsize=USUAL)
    windows = "; ".join(
        f"{one.low_rpm:,.0f} to {one.high_rpm:,.0f} rpm, {_depth(document, one.window_depth)}"
        for one in document.best
    )
    return Picture(
        heading="The coast",
        svg=to_svg(
            figure,
            name="coast",
            title="How deep at which speed",
            description=f"The limit depth over speed. Windows: {windows or 'none stands out'}.",
        ),
        texts=(
            "The line is the deepest cut that stays quiet at each speed. In the water below it every turn "
            "of the cut repeats the last one; on the dotted land above it the cut chatters.",
            "Water in the strip marks the windows, each with the speed in its middle.",
        ),
    )
