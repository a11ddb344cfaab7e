"""The commands about the notebook: setups, the next cut, cards, exchange.

In: the command line. Out: text or one JSON document on stdout; what was changed on stderr.
Leaves out: every analysis and every layout. Heavy imports stand inside the commands.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from chatter.cli._options import Direction
from chatter.cli._reports import ReportFile, check_report, tell_report

if TYPE_CHECKING:
    from chatter.notebook.exchange import Exchanged

NotebookFile = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Notebook to use; without it the one in your data folder."),
]
_Name = Annotated[str, typer.Argument(metavar="NAME", help="Name of the setup.")]
_AsJson = Annotated[bool, typer.Option("--json", help="Print the document as JSON.")]
_Machine = Annotated[str | None, typer.Option(metavar="WORDS", help="The machine.")]
_MinRpm = Annotated[float | None, typer.Option(metavar="RPM", help="Lowest speed of the spindle.")]
_MaxRpm = Annotated[float | None, typer.Option(metavar="RPM", help="Highest speed of the spindle.")]
_Power = Annotated[float | None, typer.Option(metavar="W", help="Power of the spindle.")]
_Tool = Annotated[str | None, typer.Option(metavar="WORDS", help="The tool, such as carbide end mill.")]
_Diameter = Annotated[float | None, typer.Option(metavar="MM", help="Diameter of the tool.")]
_StickOut = Annotated[float | None, typer.Option(metavar="MM", help="Length of tool outside the holder.")]
_ToolMax = Annotated[float | None, typer.Option(metavar="RPM", help="Highest speed that the tool may turn.")]
_Holder = Annotated[str | None, typer.Option(metavar="WORDS", help="What holds the tool.")]
_Material = Annotated[str | None, typer.Option(metavar="NAME", help="What is cut, such as 6061 or brass.")]
_Width = Annotated[float | None, typer.Option(metavar="MM", help="Radial width of the cut.")]
_Way = Annotated[
    Direction | None, typer.Option(help="Up (conventional) or climb milling.", case_sensitive=False)
]
_MaxDepth = Annotated[float | None, typer.Option(metavar="MM", help="Largest axial depth to suggest.")]


def show_help(context: typer.Context) -> None:
    """Lay out the help of a group of commands that was called without one."""
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


setup_app = typer.Typer(
    name="setup",
    help="Keep setups: a machine, a tool as it is clamped, and what is cut.",
    invoke_without_command=True,
    rich_markup_mode=None,
)
setup_app.callback()(show_help)


@setup_app.command(name="add")
def add(
    name: _Name,
    flutes: Annotated[int, typer.Option(help="Cutting edges of the tool.")],
    notebook: NotebookFile = None,
    machine: _Machine = None,
    min_rpm: _MinRpm = None,
    max_rpm: _MaxRpm = None,
    spindle_power_w: _Power = None,
    tool: _Tool = None,
    diameter_mm: _Diameter = None,
    stick_out_mm: _StickOut = None,
    tool_max_rpm: _ToolMax = None,
    holder: _Holder = None,
    material: _Material = None,
    width_mm: _Width = None,
    direction: _Way = None,
    max_depth_mm: _MaxDepth = None,
) -> None:
    """Add a setup under a new name."""
    from chatter.analysis import add_setup

    facts = _facts(locals())
    kept = add_setup(name, notebook=notebook, **facts)
    typer.echo(f"chatter: added the setup {kept.name!r}", err=True)


@setup_app.command(name="copy")
def copy(
    name: _Name,
    new_name: Annotated[str, typer.Argument(metavar="NEW_NAME", help="Name of the new setup.")],
    notebook: NotebookFile = None,
    flutes: Annotated[int | None, typer.Option(help="Cutting edges of the tool.")] = None,
    machine: _Machine = None,
    min_rpm: _MinRpm = None,
    max_rpm: _MaxRpm = None,
    spindle_power_w: _Power = None,
    tool: _Tool = None,
    diameter_mm: _Diameter = None,
    stick_out_mm: _StickOut = None,
    tool_max_rpm: _ToolMax = None,
    holder: _Holder = None,
    material: _Material = None,
    width_mm: _Width = None,
    direction: _Way = None,
    max_depth_mm: _MaxDepth = None,
) -> None:
    """Add a setup that is like another but for what you name, such as a new stick-out; no cuts go along."""
    from chatter.analysis import copy_setup

    facts = _facts(locals())
    kept = copy_setup(name, new_name, notebook=notebook, **facts)
    typer.echo(f"chatter: added the setup {kept.name!r}", err=True)


@setup_app.command(name="list")
def list_them(
    notebook: NotebookFile = None,
    retired: Annotated[bool, typer.Option("--retired", help="List retired setups too.")] = False,
    as_json: _AsJson = False,
) -> None:
    """List the setups in use."""
    from chatter.analysis import list_setups
    from chatter.report import setups_to_text, to_json

    setups = list_setups(notebook=notebook, retired=retired)
    if as_json:
        document = {"document": "setups", "version": 1, "setups": [one.to_dict() for one in setups]}
        typer.echo(to_json(document))
    else:
        typer.echo(setups_to_text(setups), nl=False)


@setup_app.command(name="show")
def show(
    name: _Name,
    notebook: NotebookFile = None,
    versions: Annotated[
        bool, typer.Option("--versions", help="Show earlier versions of changed cuts too.")
    ] = False,
    as_json: _AsJson = False,
) -> None:
    """Show a setup with its cuts, taps and noise measurements."""
    from chatter.analysis import show_setup
    from chatter.report import setup_to_text, to_json

    contents = show_setup(name, notebook=notebook, earlier_versions=versions)
    typer.echo(to_json(contents.to_dict()) if as_json else setup_to_text(contents), nl=as_json)


@setup_app.command(name="retire")
def retire(
    name: _Name,
    notebook: NotebookFile = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take a retired setup back into use.")] = False,
) -> None:
    """Take a setup out of the list, or back into it; its cuts are kept."""
    from chatter.analysis import retire_setup

    kept = retire_setup(name, notebook=notebook, undo=undo)
    if undo:
        typer.echo(f"chatter: the setup {kept.name!r} is in use, with its cuts", err=True)
    else:
        typer.echo(
            f"chatter: retired the setup {kept.name!r}; its cuts are kept, and --undo brings it back",
            err=True,
        )


def _facts(options: dict[str, Any]) -> dict[str, Any]:
    """Take a setup's facts from a command's options."""
    from chatter.model.notebook import FACT_NAMES

    told = {name: options[name] for name in FACT_NAMES}
    told["direction"] = None if told["direction"] is None else told["direction"].value
    return told


def tell_notes(document: dict[str, Any] | None, *, told: tuple[str, ...] = ()) -> None:
    """Say on stderr what became of a recording in the notebook, but not what the answer has told already."""
    for note in [] if document is None else document["notes"]:
        if note not in told:
            typer.echo(f"chatter: {note}", err=True)


def tell_unfiled(notebook: Path | None, *, setup: str | None) -> None:
    """Say on stderr that nothing was filed where a notebook was named and no setup."""
    if notebook is not None and setup is None:
        typer.echo("chatter: nothing was filed: --notebook needs --setup NAME beside it.", err=True)


@setup_app.command(name="map")
def map_it(
    name: _Name,
    notebook: NotebookFile = None,
    as_json: _AsJson = False,
    plot: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw the map, as .png or .svg.")] = None,
) -> None:
    """Show every cut of a setup over speed and depth, on the chances of a stable cut."""
    from chatter.report import setup_map_to_text, to_json

    if plot is not None:
        from chatter.report.plots import check_plot_path

        check_plot_path(plot)  # before the work, not after it
    from chatter.analysis import map_setup

    document = map_setup(name, notebook=notebook)
    if plot is not None:
        from chatter.report.notebook_picture import picture_setup_map
        from chatter.report.plots import draw_map

        draw_map(picture_setup_map(document), path=plot)
    typer.echo(to_json(document.to_dict()) if as_json else setup_map_to_text(document), nl=as_json)
    if plot is not None:
        typer.echo(f"chatter: drew {plot}", err=True)


def next_command(
    setup: Annotated[str, typer.Argument(metavar="SETUP", help="Name of the setup.")],
    notebook: NotebookFile = None,
    boldest_step: Annotated[
        float,
        typer.Option(metavar="TIMES", help="Most that depth may grow over the deepest stable cut so far."),
    ] = 1.5,
    as_json: _AsJson = False,
) -> None:
    """Say which cut to make next with a setup, or that nothing is left to gain."""
    from chatter.analysis import suggest_next_cut
    from chatter.report import next_to_text, to_json

    document = suggest_next_cut(setup, notebook=notebook, boldest_step=boldest_step)
    typer.echo(to_json(document.to_dict()) if as_json else next_to_text(document), nl=as_json)


def card_command(
    setup: Annotated[str, typer.Argument(metavar="SETUP", help="Name of the setup.")],
    notebook: NotebookFile = None,
    as_json: _AsJson = False,
    report: ReportFile = None,
) -> None:
    """Show the settings of a setup that were heard stable, one page for the wall."""
    check_report(report)  # before the work, not after it
    from chatter.analysis import make_card, map_setup
    from chatter.report import card_to_text, to_json

    card = make_card(setup, notebook=notebook)
    if report is not None:
        from chatter.report.card_page import page_of_card
        from chatter.report.page import write_page

        cuts = map_setup(setup, notebook=notebook) if card.cuts else None
        write_page(page_of_card(card, cuts=cuts), path=report)
    typer.echo(to_json(card.to_dict()) if as_json else card_to_text(card), nl=as_json)
    tell_report(report)


notebook_app = typer.Typer(
    name="notebook",
    help="Copy a notebook: to other programs, into another notebook, or to a safe place.",
    invoke_without_command=True,
    rich_markup_mode=None,
)
notebook_app.callback()(show_help)


@notebook_app.command(name="export")
def export(
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="New file: .jsonl for everything, .csv for a table of cuts."),
    ],
    notebook: NotebookFile = None,
) -> None:
    """Write a notebook as JSON lines, or its cuts as a table for spreadsheets."""
    from chatter.analysis import export_notebook

    done = export_notebook(file, notebook=notebook)
    typer.echo(
        f"chatter: wrote {_held(done)}: {file}",
        err=True,
    )


@notebook_app.command(name="import")
def import_it(
    file: Annotated[Path, typer.Argument(metavar="FILE.jsonl", help="JSON lines that were exported.")],
    notebook: NotebookFile = None,
) -> None:
    """Add exported JSON lines to a notebook; what it holds already is passed over."""
    from chatter.analysis import import_notebook

    done = import_notebook(file, notebook=notebook)
    typer.echo(
        f"chatter: added {_held(done)}; {done.known} were there already",
        err=True,
    )


@notebook_app.command(name="backup")
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="New file to copy the notebook to.")],
    notebook: NotebookFile = None,
) -> None:
    """Copy a notebook to a new file, also while it is in use."""
    from chatter.analysis import back_up_notebook

    back_up_notebook(file, notebook=notebook)
    typer.echo(f"chatter: copied the notebook to {file}", err=True)


def _held(done: "Exchanged") -> str:
    """Count what went out or came in."""
    counts = {
        "setup": done.setups,
        "cut": done.cuts,
        "tap": done.taps,
        "noise measurement": done.noises,
    }
    return ", ".join(f"{count} {what}{'' if count == 1 else 's'}" for what, count in counts.items())
