"""The commands: read the command line, call `chatter.analysis`, print the answer.

In: the command line. Out: text or one JSON document on stdout; progress and problems on stderr.
Leaves out: every analysis and every layout. Heavy imports stand inside the commands, so that help is quick.
"""

import json
import logging
import os
import sys
from contextlib import ExitStack
from enum import StrEnum
from io import UnsupportedOperation
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from chatter import __version__
from chatter.cli._misuse import tell_misuse
from chatter.cli._options import Direction
from chatter.cli._reports import EmbedSound, ReportFile, prepare_report, tell_report
from chatter.cli.map import map_command
from chatter.cli.noise import calibrate_command, noise_command
from chatter.cli.notebook import (
    NotebookFile,
    card_command,
    next_command,
    notebook_app,
    setup_app,
    tell_notes,
    tell_unfiled,
)
from chatter.cli.tap import tap_command
from chatter.errors import ChatterError, OutputError

app = typer.Typer(
    name="chatter",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Tell from a phone recording whether a milling cut chattered, and what to change.",
)
# The class moved between modules of typer's own dependencies; this name holds for all of them.
_CommandLineError: type[Exception] = typer.BadParameter.__mro__[1]


class _Answer(StrEnum):
    STABLE = "stable"
    CHATTER = "chatter"


_Rpm = Annotated[float, typer.Option(help="Spindle speed dialled in, rev/min.")]
_Flutes = Annotated[int, typer.Option(help="Cutting edges of the tool.")]


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"chatter {__version__}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def _start(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and stop."),
    ] = False,
) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command()
def cut(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The recording, as the phone wrote it.")],
    rpm: _Rpm,
    flutes: _Flutes,
    min_rpm: Annotated[float | None, typer.Option(metavar="RPM", help="Lowest speed of the spindle.")] = None,
    max_rpm: Annotated[
        float | None,
        typer.Option(
            metavar="RPM", help="Highest speed of the spindle; without it nothing faster is suggested."
        ),
    ] = None,
    tool_max_rpm: Annotated[
        float | None, typer.Option(metavar="RPM", help="Highest speed that the tool may turn.")
    ] = None,
    depth_mm: Annotated[float | None, typer.Option(metavar="MM", help="Axial depth of this cut.")] = None,
    max_depth_mm: Annotated[
        float | None, typer.Option(metavar="MM", help="Largest axial depth to suggest.")
    ] = None,
    width_mm: Annotated[float | None, typer.Option(metavar="MM", help="Radial width of this cut.")] = None,
    diameter_mm: Annotated[float | None, typer.Option(metavar="MM", help="Diameter of the tool.")] = None,
    direction: Annotated[
        Direction | None, typer.Option(help="Up (conventional) or climb milling.", case_sensitive=False)
    ] = None,
    feed_mm_min: Annotated[float | None, typer.Option(metavar="MM/MIN", help="Feed of this cut.")] = None,
    stick_out_mm: Annotated[
        float | None, typer.Option(metavar="MM", help="Length of tool outside the holder.")
    ] = None,
    spindle_power_w: Annotated[
        float | None, typer.Option(metavar="W", help="Power of the spindle, as its plate says.")
    ] = None,
    material: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="What is cut, such as 6061, brass, mild steel or plywood."),
    ] = None,
    depth_from_mm: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Axial depth at the start of a pass whose depth changes evenly."),
    ] = None,
    depth_to_mm: Annotated[
        float | None, typer.Option(metavar="MM", help="Axial depth at the end of such a pass.")
    ] = None,
    idle: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A recording without cutting, best the same program run in air."),
    ] = None,
    tap: Annotated[
        list[Path] | None,
        typer.Option(metavar="TAP.json", help="Tapped modes of tool, frame or work; may be given again."),
    ] = None,
    setup: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="File the cut with this setup of the notebook, and use its history."
        ),
    ] = None,
    notebook: NotebookFile = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the document as JSON.")] = False,
    plot: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw the chance of a stable cut over speed too, as .png or .svg."),
    ] = None,
    report: ReportFile = None,
    embed_sound: EmbedSound = False,
) -> None:
    """Say whether a cut chattered, and what to set next."""
    sound = prepare_report(report, recording=file, embed_sound=embed_sound)  # before the work, not after it
    if plot is not None:
        from chatter.report.plots import check_plot_path

        check_plot_path(plot)  # before the work, not after it
    from chatter.analysis import analyse_cut

    document = analyse_cut(
        file,
        rpm=rpm,
        flutes=flutes,
        min_rpm=min_rpm,
        max_rpm=max_rpm,
        tool_max_rpm=tool_max_rpm,
        depth_mm=depth_mm,
        max_depth_mm=max_depth_mm,
        width_mm=width_mm,
        diameter_mm=diameter_mm,
        direction=None if direction is None else direction.value,
        feed_mm_min=feed_mm_min,
        stick_out_mm=stick_out_mm,
        spindle_power_w=spindle_power_w,
        material=material,
        depth_from_mm=depth_from_mm,
        depth_to_mm=depth_to_mm,
        idle=idle,
        tap=tap or (),
        setup=setup,
        notebook=notebook,
        pictures=report is not None,
    )
    tell_notes(document.notebook, told=document.counts)
    tell_unfiled(notebook, setup=setup)
    if plot is not None:
        from chatter.report.plots import draw_chances, picture_chances

        draw_chances(picture_chances(document), path=plot)
    if report is not None:
        from chatter.report.cut_page import page_of_cut
        from chatter.report.page import write_page

        write_page(page_of_cut(document, sound=sound), path=report)
    from chatter.report import to_json, to_text

    typer.echo(to_json(document.to_dict()) if as_json else to_text(document), nl=as_json)
    if plot is not None:
        typer.echo(f"chatter: drew {plot}", err=True)
    tell_report(report)


@app.command()
def batch(
    table: Annotated[
        Path, typer.Argument(metavar="TABLE.csv", help="Columns file, rpm, flutes and any option of `cut`.")
    ],
    out: Annotated[Path, typer.Option(metavar="RESULTS.jsonl", help="Where to write, one document a line.")],
    jobs: Annotated[int, typer.Option(help="Recordings judged at the same time.")] = 1,
) -> None:
    """Judge every recording of a table; the same command resumes a stopped run."""
    from chatter.analysis import analyse_batch

    with ExitStack() as at_end:
        bars: list[Any] = []  # typer gives the type of its bar no public name

        def show(done: int, total: int) -> None:
            if not bars:  # drawn when the work begins: what can't be used is told in one line alone
                bar = typer.progressbar(
                    length=max(total, 1), label="recordings", file=sys.stderr, show_pos=True
                )
                bars.append(at_end.enter_context(bar))
            bars[0].update(done - bars[0].pos)

        try:
            summary = analyse_batch(table, out=out, jobs=jobs, progress=show)
        except KeyboardInterrupt:
            at_end.close()  # the bar's line ends before the next one
            typer.echo("chatter: stopped: the same command goes on where it was", err=True)
            raise
    from chatter.report import batch_to_lines

    with out.open(encoding="utf-8") as results:
        for line in batch_to_lines(map(json.loads, results)):
            typer.echo(line, err=True)  # stdout stays empty: the answer is the file
    if summary.unused_columns:
        typer.echo(f"chatter: columns that nothing uses: {', '.join(summary.unused_columns)}", err=True)
    typer.echo(
        f"chatter: {summary.answered} of {summary.rows} rows answered ({summary.resumed} by an earlier run), "
        f"{summary.failed} failed: {out}",
        err=True,
    )
    if summary.failed:
        raise typer.Exit(1)


app.command(name="map")(map_command)
app.command(name="tap")(tap_command)
app.command(name="noise")(noise_command)
app.command(name="calibrate")(calibrate_command)
app.add_typer(setup_app)
app.command(name="next")(next_command)
app.command(name="card")(card_command)
app.add_typer(notebook_app)


@app.command()
def demo() -> None:
    """Judge two recordings that come with the program, and explain what they show."""
    from chatter.cli.demo import tell_demo

    tell_demo(typer.echo)


@app.command()
def synth(
    out: Annotated[Path, typer.Option(metavar="FILE", help="File to write, .wav or .flac.")],
    rpm: _Rpm,
    flutes: _Flutes,
    answer: Annotated[_Answer, typer.Option(help="What the recording shall hold.")],
    seed: Annotated[int, typer.Option(help="The same number makes the same recording.")] = 0,
) -> None:
    """Make a practice recording whose answer is chosen, to train an ear and check the program."""
    from chatter.analysis import make_practice_recording
    from chatter.report.places import check_folder

    check_folder(out)
    if out.exists():  # it may be a recording of a real cut
        raise OutputError(str(out), "it exists already", "give a new name: nothing is overwritten")
    make_practice_recording(out, rpm=rpm, flutes=flutes, answer=answer.value, seed=seed)
    teeth = "1 flute" if flutes == 1 else f"{flutes} flutes"
    typer.echo(f"chatter: wrote {out}: simulated, {answer.value}, {rpm:,g} rpm dialled, {teeth}", err=True)


def main() -> None:
    """Run the command line: a problem becomes one line on stderr and an exit code."""
    _open_closed_streams()
    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # a font cache made anew is no one's concern here
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a file name need not be text that the terminal can show
            stream.reconfigure(errors="backslashreplace")
    try:
        code = app(standalone_mode=False)
        sys.stdout.flush()
    except OSError as error:  # every file that the program reads or writes has its own error
        # What is left in the buffer would fail again at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if isinstance(error, BrokenPipeError):  # whoever read the answer has seen enough
            sys.exit(1)
        is_closed = isinstance(error, UnsupportedOperation)
        why = "standard output is closed" if is_closed else error.strerror or error
        _stop(f"the answer can't be written: {why}: free some room or write elsewhere", 1)
    except ChatterError as error:
        _stop(str(error), 1)
    except typer.Abort:
        _stop("stopped", 1)
    except _CommandLineError as error:
        _stop(tell_misuse(error), 2)
    sys.exit(code if isinstance(code, int) else 0)


def _open_closed_streams() -> None:
    """Put something in the place of standard streams that were closed before the start (`chatter ... >&-`).

    Else Python has None there, and the next file opened gets the closed one's number. An answer that nobody
    can read is an error as one on a full disk is; what would have gone to stderr is let go.
    """
    for name, mode in (("stdin", "r"), ("stdout", "r"), ("stderr", "w")):
        if getattr(sys, name) is None:
            # Open for reading, stdout refuses what is written to it.
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115, PTH123


def _stop(message: str, code: int) -> NoReturn:
    sys.stderr.write(f"chatter: {' '.join(message.split())}\n")
    sys.exit(code)
