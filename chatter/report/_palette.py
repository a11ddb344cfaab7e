"""The colours of pictures and pages, in light and in dark, and the shapes of the verdicts.

In: nothing. Out: hex colours that pictures are drawn with, and what a page puts in their place.
Look: paper and ink, water where a cut repeats, land where it chatters. Colours differ in lightness too, so
that they hold for colour-blind eyes and in grey; every colour has a word or a shape beside it.
Leaves out: where the colours are used.
"""

from chatter.model.cut import Verdict

PAPER, INK, FAINT = "#FBF9F4", "#16242E", "#5A666E"
WATER, LAND, DOTS = "#B9D8E8", "#EFD9A7", "#A9802F"
COAST, MARK, ON_MARK = "#123F5C", "#7A1F4B", "#FFFFFF"

# Name, light, dark. tests/unit/report/test_palette.py holds every word's contrast to 4.5 (WCAG 2.2, 1.4.3).
PAGE_COLOURS: tuple[tuple[str, str, str], ...] = (
    ("paper", PAPER, "#111B22"),
    ("ink", INK, "#E9EDEA"),
    ("faint", FAINT, "#A3B0B6"),
    ("water", WATER, "#1D4A61"),
    ("land", LAND, "#4D3F22"),
    ("dots", DOTS, "#A88B4C"),
    ("coast", COAST, "#9CCDE6"),
    ("mark", MARK, "#F2A9C6"),
    ("on-mark", ON_MARK, "#1A0A12"),
)
VERDICT_SHAPES: dict[Verdict, str] = {"stable": "o", "marginal": "D", "chatter": "X", "undecided": "s"}
