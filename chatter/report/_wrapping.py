"""Paragraphs broken into lines that any terminal holds.

In: a paragraph. Out: lines.
Leaves out: what is said.
"""

import textwrap

COLUMNS = 80


def wrap(text: str, first: str = "", later: str | None = None) -> list[str]:
    """Break one paragraph into lines of at most 80 columns.

    Parameters
    ----------
    text
        Any run of blanks in it counts as one.
    first, later
        What the first line and the further ones begin with; `later` is as many blanks where it is not given.
    """
    return textwrap.wrap(
        " ".join(text.split()),
        width=COLUMNS,
        initial_indent=first,
        subsequent_indent=" " * len(first) if later is None else later,
        break_on_hyphens=False,
    )


def beside(figures: str, file: str, indent: str = "     ") -> list[str]:
    """Put a file's name behind figures, or below them where it doesn't fit."""
    line = f"{figures}  {file}"
    if len(line) <= COLUMNS:
        return [line]
    below = textwrap.wrap(
        file, width=COLUMNS, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )
    return [figures.rstrip(), *below]
