"""A drawn figure as SVG that stands inside a page: its colours follow the page, its words stay words.

In: a matplotlib figure without words from outside, and rasters to lie under its axes. Out: one `svg` element.
Rasters are grey PNGs used as masks of one colour, so that they too follow light and dark.
Source: PNG, W3C Recommendation, second edition (2003); masks and titles of SVG 1.1, W3C (2011).
Leaves out: what is drawn.
"""

import base64
import html
import io
import re
import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from chatter.report._palette import PAGE_COLOURS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

POINTS_PER_IN = 72
GREYS = 32  # own choice: more steps can't be told apart in one colour, and cost bytes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Raster:
    """Shades that fill the axes, from 0 (paper) to 1 (full colour), the top row first."""

    axes: "Axes"
    shade: NDArray[np.float64]  # shape (rows, columns)
    colour: str = "coast"


def to_svg(
    figure: "Figure", *, name: str, title: str, description: str, rasters: tuple[Raster, ...] = ()
) -> str:
    """Give a figure as an `svg` element.

    Parameters
    ----------
    figure
        Drawn with the colours of _palette.py, its backgrounds left empty.
    name
        Starts every id, so that several pictures fit one page.
    title, description
        What a person hears who doesn't see it.
    rasters
        Shades under some of its axes.

    Returns
    -------
    str
        The element; it has no size, and fills the width it is given.
    """
    import matplotlib

    drawn = io.StringIO()
    # The page's own font is not known here, so words are laid out with room to spare.
    with matplotlib.rc_context(
        {"svg.fonttype": "none", "svg.hashsalt": name, "path.simplify_threshold": 0.3}
    ):
        figure.savefig(drawn, format="svg", dpi=POINTS_PER_IN, metadata={"Date": None}, transparent=True)
    wide, high = (POINTS_PER_IN * float(inches) for inches in figure.get_size_inches())
    text = drawn.getvalue()
    body = text[text.index(">", text.index("<svg")) + 1 : text.rindex("</svg>")]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r"<style[^>]*>.*?</style>", "", body, flags=re.DOTALL)  # would hold for the whole page
    body = re.sub(r"<!--.*?-->\s*", "", body, flags=re.DOTALL)
    body = re.sub(r"font-family: [^;\"]*;? ?", "", body)
    body = re.sub(r"font: ([^;\"]*?)([\d.]+px) [^;\"]*", _font, body)  # as older matplotlib writes it
    body = re.sub(r' transform="rotate\(-0 [^)]*\)"', "", body)
    body = re.sub(r'\bid="', f'id="{name}-', body)
    body = re.sub(r"url\(#", f"url(#{name}-", body)
    body = re.sub(r'href="#', f'href="#{name}-', body)
    body = body.replace("xlink:href", "href")
    body = re.sub(r"(\d\.\d\d)\d+", r"\1", body)  # a hundredth of a point can't be seen
    body = re.sub(r" \n", " ", body)
    for colour, light, _ in PAGE_COLOURS:
        body = re.sub(light, f"var(--{colour})", body, flags=re.IGNORECASE)
    under = "".join(
        _shaded(raster, f"{name}-shade{k}", wide=wide, high=high) for k, raster in enumerate(rasters)
    )
    return (
        f'<svg viewBox="0 0 {wide:g} {high:g}" role="img" aria-labelledby="{name}-title {name}-text">'
        f'<title id="{name}-title">{html.escape(title)}</title>'
        f'<desc id="{name}-text">{html.escape(description)}</desc>{under}{body.strip()}</svg>'
    )


def to_file_svg(drawn: str) -> str:
    """Give a page's picture as a file of its own, light or dark as its reader is."""
    light = " ".join(f"--{name}: {colour};" for name, colour, _ in PAGE_COLOURS)
    dark = " ".join(f"--{name}: {colour};" for name, _, colour in PAGE_COLOURS)
    style = (
        f"<style>:root {{ {light} }} @media (prefers-color-scheme: dark) {{ :root {{ {dark} }} }} "
        "text { font-family: 'DejaVu Sans', Verdana, sans-serif; } "
        "path, line { stroke-linejoin: round; }</style>"
    )
    head = '<svg xmlns="http://www.w3.org/2000/svg" '
    ground = '<rect width="100%" height="100%" fill="var(--paper)"/>'
    body = drawn.replace("<svg ", head, 1)
    return body.replace("</desc>", f"</desc>{style}{ground}", 1) + "\n"


def _font(found: re.Match[str]) -> str:
    """Keep size, weight and slant of a font, and leave its name to the page."""
    slant = "; font-style: italic" if "italic" in found[1] else ""
    weight = "; font-weight: 700" if "bold" in found[1] or "700" in found[1] else ""
    return f"font-size: {found[2]}{slant}{weight}"


def _shaded(raster: Raster, name: str, *, wide: float, high: float) -> str:
    """Give a rectangle of one colour behind a mask of shades."""
    box = raster.axes.get_position()
    x, width = box.x0 * wide, box.width * wide
    y, height = high - box.y1 * high, box.height * high
    place = f'x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}"'
    image = base64.b64encode(grey_png(raster.shade)).decode("ascii")
    return (
        f'<mask id="{name}" maskUnits="userSpaceOnUse" {place}><image {place} preserveAspectRatio="none" '
        f'href="data:image/png;base64,{image}"/></mask>'
        f'<rect {place} fill="var(--{raster.colour})" mask="url(#{name})"/>'
    )


def grey_png(shade: NDArray[np.float64]) -> bytes:
    """Give shades from 0 to 1, shape (rows, columns), as a grey PNG of 8 bits."""
    steps = np.round(np.clip(shade, 0.0, 1.0) * (GREYS - 1))
    grey = np.round(steps * 255 / (GREYS - 1)).astype(np.uint8)
    rows, columns = grey.shape
    lines = np.hstack([np.zeros((rows, 1), dtype=np.uint8), grey])  # each line's filter type: none

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", columns, rows, 8, 0, 0, 0, 0)  # grey of 8 bits, not interlaced
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(lines.tobytes(), 9))
        + chunk(b"IEND", b"")
    )
