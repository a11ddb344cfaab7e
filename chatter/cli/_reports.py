"""The options that make a page, alike in every command.

In: the command line. Out: a player for the recording, one line on stderr.
Leaves out: what a page says (chatter/report). Heavy imports stand inside the functions.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chatter.errors import BadValueError

if TYPE_CHECKING:
    from chatter.report.page import Sound

ReportFile = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE.html", help="Write a page with pictures too, in one file that needs no network."
    ),
]
EmbedSound = Annotated[
    bool, typer.Option("--embed-sound", help="Put the recording into the page, to be played there.")
]


def check_report(report: Path | None) -> None:
    """Refuse a file name that no page can have, before any work is done."""
    if report is not None:
        from chatter.report.page import check_report_path

        check_report_path(report)


def prepare_report(report: Path | None, *, recording: Path, embed_sound: bool) -> "Sound | None":
    """Check where the page shall go, and take the sound that it shall hold, before any work is done."""
    if embed_sound and report is None:
        raise BadValueError("report", None, "the file of the page that the sound shall go into")
    check_report(report)
    if not embed_sound:
        return None
    from chatter.report.page import take_sound

    return take_sound(recording)


def tell_report(report: Path | None) -> None:
    """Say on stderr that a page was written."""
    if report is not None:
        typer.echo(f"chatter: wrote {report}", err=True)
