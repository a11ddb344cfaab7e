"""The `map` command: how deep a cut may be at which speed.

In: the command line. Out: text or one JSON document on stdout, and a picture where one is asked for.
Leaves out: every analysis and every layout. Heavy imports stand inside the command.
"""

from pathlib import Path
from typing import Annotated

import typer

from chatter.cli._options import Direction
from chatter.cli._reports import ReportFile, check_report, tell_report


def map_command(
    flutes: Annotated[int, typer.Option(help="Cutting edges of the tool.")],
    min_rpm: Annotated[float, typer.Option(metavar="RPM", help="Slowest speed of the map.")],
    max_rpm: Annotated[
        float,
        typer.Option(
            metavar="RPM", help="Fastest speed of the map: no faster than the spindle and the tool may turn."
        ),
    ],
    width_mm: Annotated[float, typer.Option(metavar="MM", help="Radial width of the cut.")],
    diameter_mm: Annotated[float, typer.Option(metavar="MM", help="Diameter of the tool.")],
    direction: Annotated[
        Direction | None,
        typer.Option(help="Up (conventional) or climb milling; not needed in a slot.", case_sensitive=False),
    ] = None,
    mode: Annotated[
        list[str] | None,
        typer.Option(
            metavar="AXIS:HZ:DAMPING:STIFFNESS",
            help="One mode: x (along the feed), y or both; Hz; damping ratio; N/µm; such as both:900:0.03:5. "
            "Give it again for each further mode.",
        ),
    ] = None,
    tap: Annotated[
        Path | None,
        typer.Option(metavar="TAP.json", help="Take the strongest mode of a tap instead, both ways alike."),
    ] = None,
    stiffness_n_per_um: Annotated[
        float | None,
        typer.Option(metavar="N/UM", help="Stiffness of the tapped mode; without it depths are relative."),
    ] = None,
    material: Annotated[
        str | None, typer.Option(metavar="NAME", help="What is cut, such as 6061, brass or mild steel.")
    ] = None,
    pressure_mpa: Annotated[
        float | None,
        typer.Option(metavar="MPA", help="Tangential cutting pressure instead of the material's."),
    ] = None,
    radial_ratio: Annotated[
        float | None,
        typer.Option(metavar="RATIO", help="Radial over tangential force instead of the material's."),
    ] = None,
    max_depth_mm: Annotated[
        float | None, typer.Option(metavar="MM", help="Largest axial depth to look at.")
    ] = None,
    exact: Annotated[
        bool, typer.Option("--exact", help="Slower, and right at narrow cuts (semi-discretization).")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the document as JSON.")] = False,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the map too, as .png or .svg.")
    ] = None,
    report: ReportFile = None,
) -> None:
    """Say how deep a cut may be at which speed, from the machine's modes."""
    from chatter.report.plots import check_plot_path, draw_map, picture_map

    if plot is not None:
        check_plot_path(plot)  # before the work, not after it
    check_report(report)
    from chatter.analysis import map_stability

    document = map_stability(
        flutes=flutes,
        min_rpm=min_rpm,
        max_rpm=max_rpm,
        width_mm=width_mm,
        diameter_mm=diameter_mm,
        direction=None if direction is None else direction.value,
        modes=mode or (),
        tap=tap,
        stiffness_n_per_um=stiffness_n_per_um,
        material=material,
        pressure_mpa=pressure_mpa,
        radial_ratio=radial_ratio,
        max_depth_mm=max_depth_mm,
        exact=exact,
    )
    if plot is not None:
        draw_map(picture_map(document), path=plot)
    if report is not None:
        from chatter.report.map_page import page_of_map
        from chatter.report.page import write_page

        write_page(page_of_map(document), path=report)
    from chatter.report import map_to_text, to_json

    typer.echo(to_json(document.to_dict()) if as_json else map_to_text(document), nl=as_json)
    if plot is not None:
        typer.echo(f"chatter: drew {plot}", err=True)
    tell_report(report)
