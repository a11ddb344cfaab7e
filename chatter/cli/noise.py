"""The `noise` and `calibrate` commands: what a recording is like for the neighbour and the operator.

In: the command line. Out: text or one JSON document on stdout; progress on stderr.
Leaves out: every analysis and every layout. Heavy imports stand inside the commands.
"""

import sys
import time
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from chatter.cli._reports import EmbedSound, ReportFile, prepare_report, tell_report
from chatter.cli.notebook import NotebookFile, tell_notes, tell_unfiled
from chatter.errors import BadValueError

if TYPE_CHECKING:
    from chatter.model.noise import NoiseComparison, NoiseDocument
    from chatter.report.page import Page, Sound

QUIET_S = 3.0  # own choice: quicker work shows no progress
EVERY_S = 0.5


class _Weighting(StrEnum):
    A = "A"
    C = "C"
    Z = "Z"


class _Facade(StrEnum):
    NONE = "none"
    IN_FRONT = "in front"
    ON_IT = "on it"


def noise_command(
    files: Annotated[
        list[Path], typer.Argument(metavar="FILE...", help="A recording; several are ranked, quietest first.")
    ],
    full_scale_db: Annotated[
        float | None,
        typer.Option(metavar="DB", help="Sound pressure level of a signal whose rms is digital full scale."),
    ] = None,
    calibration: Annotated[
        str | None, typer.Option(metavar="NAME", help="A calibration kept by `chatter calibrate`.")
    ] = None,
    rpm: Annotated[
        float | None, typer.Option(metavar="RPM", help="Spindle speed dialled in: names the tones.")
    ] = None,
    flutes: Annotated[
        int | None, typer.Option(help="Cutting edges of the tool, beside --rpm or for a new --setup.")
    ] = None,
    mic_distance_m: Annotated[
        float | None, typer.Option(metavar="M", help="From the machine to the phone.")
    ] = None,
    neighbour_distance_m: Annotated[
        float | None, typer.Option(metavar="M", help="From the machine (or the openings) to the neighbour.")
    ] = None,
    screen_height_m: Annotated[
        float | None, typer.Option(metavar="M", help="Height of a solid fence or wall in between.")
    ] = None,
    screen_distance_m: Annotated[
        float | None,
        typer.Option(
            metavar="M", help="From the machine (or the openings) to that fence; half way if not told."
        ),
    ] = None,
    machine_height_m: Annotated[
        float | None,
        typer.Option(
            metavar="M",
            help="Height over the ground, beside a screen: of the cut (1 m if not told), indoors of the "
            "openings (1.5 m).",
        ),
    ] = None,
    neighbour_height_m: Annotated[
        float | None, typer.Option(metavar="M", help="Height of the neighbour's ear; 1.5 m if not told.")
    ] = None,
    indoors: Annotated[bool, typer.Option("--indoors", help="Machine and phone stand in a room.")] = False,
    opening: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME:AREA_M2",
            help="A wall, door or window towards the neighbour, such as 'garage door:5'; may be given again.",
        ),
    ] = None,
    room_m3: Annotated[float | None, typer.Option(metavar="M3", help="Volume of the room.")] = None,
    facade: Annotated[
        _Facade,
        typer.Option(
            help="Where the level counts: in the open, 0.5 to 2 m in front of the neighbour's wall, on it.",
            case_sensitive=False,
        ),
    ] = _Facade.NONE,
    ear_distance_m: Annotated[
        float | None, typer.Option(metavar="M", help="From the cut to your ear: gives the daily exposure.")
    ] = None,
    limit_db: Annotated[
        float | None, typer.Option(metavar="DB", help="A limit for the rated level at the neighbour.")
    ] = None,
    minutes: Annotated[
        float | None, typer.Option(metavar="MIN", help="Minutes of cutting in the evening, and in a day.")
    ] = None,
    evening_h: Annotated[
        float | None, typer.Option(metavar="H", help="Hours that the limit is a mean over; 4 if not told.")
    ] = None,
    cut: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="CUT.json",
            help="The cut document of a recording: names the quietest stable speed; may be given again.",
        ),
    ] = None,
    setup: Annotated[
        str | None, typer.Option(metavar="NAME", help="File the levels with this setup of the notebook.")
    ] = None,
    notebook: NotebookFile = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the document as JSON.")] = False,
    report: ReportFile = None,
    embed_sound: EmbedSound = False,
) -> None:
    """Say how loud a recording is, for the neighbour and for you, and what helps."""
    if embed_sound and len(files) > 1:
        raise BadValueError("embed-sound", "given", "one recording only: a page plays one")
    sound = prepare_report(
        report, recording=files[0], embed_sound=embed_sound
    )  # before the work, not after it
    options: dict[str, Any] = {
        "full_scale_db": full_scale_db,
        "calibration": calibration,
        "rpm": rpm,
        "flutes": flutes,
        "mic_distance_m": mic_distance_m,
        "neighbour_distance_m": neighbour_distance_m,
        "screen_height_m": screen_height_m,
        "screen_distance_m": screen_distance_m,
        "machine_height_m": machine_height_m,
        "neighbour_height_m": neighbour_height_m,
        "indoors": indoors,
        "opening": opening or (),
        "room_m3": room_m3,
        "facade": facade.value,
        "ear_distance_m": ear_distance_m,
        "limit_db": limit_db,
        "minutes": minutes,
        "evening_h": evening_h,
        "setup": setup,
        "notebook": notebook,
    }
    from chatter.analysis import compare_noise, measure_noise
    from chatter.report import to_json
    from chatter.report.noise_comparison import comparison_to_text
    from chatter.report.noise_text import noise_to_text

    with _Progress() as progress:
        if len(files) > 1:
            comparison = compare_noise(files, cut=cut or (), progress=progress.show, **options)
            data, text = comparison.to_dict(), comparison_to_text(comparison)
            filed = [noise.notebook for noise in comparison.noises]
            page = None if report is None else _comparison_page(comparison)
        else:
            document = measure_noise(files[0], cut=cut or (), progress=progress.show, **options)
            data, text = document.to_dict(), noise_to_text(document)
            filed = [document.notebook]
            page = None if report is None else _noise_page(document, sound)
    if report is not None and page is not None:
        from chatter.report.page import write_page

        write_page(page, path=report)
    typer.echo(to_json(data) if as_json else text, nl=as_json)
    tell_report(report)
    for notes in filed:
        tell_notes(notes)
    tell_unfiled(notebook, setup=setup)


def _noise_page(document: "NoiseDocument", sound: "Sound | None") -> "Page":
    from chatter.report.noise_page import page_of_noise

    return page_of_noise(document, sound=sound)


def _comparison_page(comparison: "NoiseComparison") -> "Page":
    from chatter.report.noise_page import page_of_comparison

    return page_of_comparison(comparison)


def calibrate_command(
    name: Annotated[str, typer.Argument(metavar="NAME", help="To call the calibration by.")],
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A recording of a known level, made with this phone.")
    ],
    level_db: Annotated[
        float, typer.Option(metavar="DB", help="Level at the phone meanwhile, such as 94 for a calibrator.")
    ],
    weighting: Annotated[
        _Weighting, typer.Option(help="Of that level, as the meter showed it.", case_sensitive=False)
    ] = _Weighting.A,
    tone_hz: Annotated[
        float | None, typer.Option(metavar="HZ", help="It is a calibrator's tone of this frequency.")
    ] = None,
    uncertainty_db: Annotated[
        float | None, typer.Option(metavar="DB", help="Of the known level; 1 dB if not told.")
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace an earlier calibration of that name.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the document as JSON.")] = False,
) -> None:
    """Keep, by name, what digital full scale stands for on a phone."""
    from chatter.analysis import make_calibration
    from chatter.report import to_json

    document = make_calibration(
        name,
        file,
        level_db=level_db,
        weighting=weighting.value,
        tone_hz=tone_hz,
        uncertainty_db=uncertainty_db,
        replace=replace,
    )
    if as_json:
        typer.echo(to_json(document.to_dict()))
    else:
        typer.echo(
            f"Full scale is {document.full_scale_db:.1f} dB ±{document.uncertainty_db:.1f} dB.\n"
            "It holds for this phone, this program and these settings only. Do it again after an update."
        )
    typer.echo(f"chatter: kept the calibration {document.name!r}", err=True)


class _Progress:
    """One line on stderr for work that takes a while: a bar where it is a terminal."""

    def __init__(self) -> None:
        self._begin: float | None = None
        self._last = 0.0
        self._shown = False

    def __enter__(self) -> "_Progress":
        return self

    def __exit__(self, *_: object) -> None:
        if self._shown and sys.stderr.isatty():
            typer.echo("", err=True)

    def show(self, done_s: float, length_s: float | None) -> None:
        """Tell how far it is, from time to time."""
        now = time.monotonic()
        if self._begin is None:
            self._begin = now
        if now - self._begin < QUIET_S or now - self._last < EVERY_S:
            return
        terminal = sys.stderr.isatty()
        if self._shown and not terminal and now - self._last < 20 * EVERY_S:
            return
        self._last, self._shown = now, True
        told = f"{done_s / 60:.1f} minutes measured"
        if length_s:
            share = min(1.0, done_s / length_s)
            bar = "#" * round(20 * share)
            told = f"[{bar:<20}] {share:4.0%} of {length_s / 60:.1f} minutes measured"
        typer.echo(f"\rchatter: {told}" if terminal else f"chatter: {told}", err=True, nl=not terminal)
