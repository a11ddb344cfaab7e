"""The `tap` command: natural frequency and damping from a recording of taps.

In: the command line. Out: text or one JSON document on stdout, a picture and a page where they are asked for.
Leaves out: every analysis and every layout. Heavy imports stand inside the command.
"""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from chatter.cli._reports import EmbedSound, ReportFile, prepare_report, tell_report
from chatter.cli.notebook import NotebookFile, tell_notes, tell_unfiled


class _Part(StrEnum):
    TOOL = "tool"
    FRAME = "frame"
    WORK = "work"


def tap_command(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="The recording of taps, as the phone wrote it.")
    ],
    of: Annotated[_Part, typer.Option(help="What was tapped.", case_sensitive=False)] = _Part.TOOL,
    compare: Annotated[
        Path | None,
        typer.Option(metavar="OTHER", help="A recording, or its tap document (.json), from before a change."),
    ] = None,
    flutes: Annotated[
        int | None, typer.Option(help="Cutting edges of the tool: names the speeds that the mode favours.")
    ] = None,
    max_rpm: Annotated[float | None, typer.Option(metavar="RPM", help="Fastest speed to name.")] = None,
    setup: Annotated[
        str | None, typer.Option(metavar="NAME", help="File the modes with this setup of the notebook.")
    ] = None,
    notebook: NotebookFile = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the document as JSON.")] = False,
    plot: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw the decay and the spectrum too, as .png or .svg."),
    ] = None,
    report: ReportFile = None,
    embed_sound: EmbedSound = False,
) -> None:
    """Say at which frequencies a tapped part rings, and how well it is damped."""
    sound = prepare_report(report, recording=file, embed_sound=embed_sound)  # before the work, not after it
    if plot is not None:
        from chatter.report.plots import check_plot_path

        check_plot_path(plot)  # before the work, not after it
    from chatter.analysis import analyse_tap

    document = analyse_tap(
        file,
        of=of.value,
        compare=compare,
        flutes=flutes,
        max_rpm=max_rpm,
        setup=setup,
        notebook=notebook,
    )
    tell_notes(document.notebook)
    tell_unfiled(notebook, setup=setup)
    if plot is not None and document.modes:
        from chatter.report.tap_plot import draw_tap

        draw_tap(document, path=plot)
    if report is not None:
        from chatter.report.page import write_page
        from chatter.report.tap_page import page_of_tap

        write_page(page_of_tap(document, sound=sound), path=report)
    from chatter.report import to_json
    from chatter.report.tap_text import tap_to_text

    typer.echo(to_json(document.to_dict()) if as_json else tap_to_text(document), nl=as_json)
    if plot is not None:
        drew = f"drew {plot}" if document.modes else "drew nothing, because nothing rang"
        typer.echo(f"chatter: {drew}", err=True)
    tell_report(report)
