"""One self-contained HTML page from blocks of words, tables and pictures.

In: a `Page` of parts, each a heading with blocks; any word may come from a stranger. Out: HTML, or a file.
The page needs no network and no script, and a policy in its head forbids both. Words are escaped by the
template; only what `to_svg` made is put in as it is. A new kind of page is a function that gives a `Page`.
Source: Content Security Policy level 3, W3C; sizes of A4 and Letter are left to the printer.
Leaves out: what each page says (cut_page.py and its siblings).
"""

import base64
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chatter.errors import FileProblemError
from chatter.report._palette import PAGE_COLOURS
from chatter.report.places import check_place, write_place

ENDINGS = (".html", ".htm")
MOST_SOUND_BYTES = 25_000_000  # own choice: larger pages stutter on phones and mail refuses them
SOUND_TYPES = {  # IANA media types
    ".m4a": "audio/mp4",
    ".mp4": "audio/mp4",
    ".mov": "audio/mp4",
    ".3gp": "audio/3gpp",
    ".aac": "audio/aac",
    ".mp3": "audio/mpeg",
    ".ogg": "audio/ogg",
    ".opus": "audio/ogg",
    ".webm": "audio/webm",
    ".flac": "audio/flac",
    ".wav": "audio/wav",
    ".caf": "audio/x-caf",
}
TEMPLATES = Path(__file__).parent / "templates"


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Paragraphs; large ones say what to do."""

    texts: tuple[str, ...]
    large: bool = False
    kind: str = "words"


@dataclass(frozen=True, slots=True, kw_only=True)
class Points:
    """A list of sentences."""

    texts: tuple[str, ...]
    kind: str = "points"


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture with what it shows in words beside it."""

    heading: str
    svg: str  # from `to_svg` only: it goes in as it is
    texts: tuple[str, ...]
    kind: str = "picture"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows under heads; the first cell of a row names it. Numbers stand on the right."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...] = ()  # columns of numbers
    kind: str = "table"


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Names with their values."""

    pairs: tuple[tuple[str, str], ...]
    kind: str = "facts"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """A player for the recording."""

    source: str  # a data: URL from `take_sound`
    kind: str = "sound"


Block = Words | Points | Picture | Table | Facts | Sound


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One headed part of a page; a part without blocks is left out."""

    heading: str
    blocks: tuple[Block | None, ...]
    is_warning: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A whole page: its answer first, then its parts."""

    subject: str  # what it is about: a file's or a setup's name
    kicker: str  # what kind of page it is
    sign: str  # a shape of templates/signs.html
    answer: str
    lead: tuple[str, ...]
    parts: tuple[Part, ...]
    footer: str


def check_report_path(path: Path) -> None:
    """Refuse a file name that no page can have, before any work is done.

    Raises
    ------
    BadValueError
        The ending is neither .html nor .htm.
    OutputError
        The folder doesn't exist, or the name is a folder.
    """
    check_place(path, option="report", endings=ENDINGS)


def take_sound(path: Path) -> Sound:
    """Give a player that holds a recording's file as it is.

    Raises
    ------
    FileProblemError
        The file can't be read, or is too large for a page.
    """
    try:
        size = path.stat().st_size
        if size > MOST_SOUND_BYTES:
            raise FileProblemError(
                str(path),
                f"it holds {size / 1e6:.0f} MB, and a page plays at most {MOST_SOUND_BYTES / 1e6:.0f} MB",
                "make the page without the sound, or cut the recording shorter",
            )
        held = base64.b64encode(path.read_bytes()).decode("ascii")
    except (OSError, ValueError) as error:  # ValueError: a null byte in the name
        raise FileProblemError.told_by_system(path, error) from error
    return Sound(source=f"data:{SOUND_TYPES.get(path.suffix.lower(), 'audio/mpeg')};base64,{held}")


def to_html(page: Page) -> str:
    """Lay out a page as HTML text, without any address that a reader would fetch."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES, encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_printable,
    )
    parts = [part for part in page.parts if any(block is not None for block in part.blocks)]
    return environment.get_template("page.html").render(
        page=page,
        parts=parts,
        light={name: light for name, light, _ in PAGE_COLOURS},
        dark={name: dark for name, _, dark in PAGE_COLOURS},
    )


def _printable(value: Any) -> Any:  # templates print values of any kind
    """Show a box for what a page may not hold, and for marks that turn the reading direction of a name."""
    if type(value) is not str:  # Markup was made here
        return value
    return "".join("\N{REPLACEMENT CHARACTER}" if _misleads(one) else one for one in value)


def _misleads(one: str) -> bool:
    # Unicode Standard Annex 9: embeddings, overrides and isolates can make a name read backwards.
    turns = unicodedata.bidirectional(one) in {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
    return turns or (unicodedata.category(one) in {"Cc", "Cs"} and one not in "\n\t")


def write_page(page: Page, *, path: Path) -> None:
    """Write a page to a file: made whole in memory first.

    Raises
    ------
    BadValueError, OutputError
        The file name can't be a page's, or the file can't be written.
    """
    check_report_path(path)
    write_place(path, to_html(page).encode("utf-8"))
