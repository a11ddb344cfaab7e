"""The demonstration: two recordings that come with the program, judged and explained.

In: a function that prints a paragraph. Out: the story on it.
Leaves out: how the recordings are made (fixtures/make_recordings.py).
"""

import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from chatter.errors import FileProblemError

COLUMNS = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoCut:
    """One recording of the demonstration and what was set on the machine."""

    file: str
    story: str
    options: dict[str, Any]  # options of `analyse_cut`


_MACHINE: dict[str, Any] = {
    "flutes": 2,
    "min_rpm": 6000.0,
    "max_rpm": 24000.0,
    "diameter_mm": 6.0,
    "width_mm": 3.0,
    "direction": "climb",
}
DEMO_CUTS = (
    DemoCut(
        file="clock-plate-quiet.flac",
        story=(
            "A school workshop mills brass plates for mantel clocks on a benchtop machine. The tool is "
            "a 6 mm end mill with two flutes. The first pass is a light one; the pupil at the machine "
            "heard nothing odd."
        ),
        options={"rpm": 12000.0, "depth_mm": 0.5, "feed_mm_min": 480.0, **_MACHINE},
    ),
    DemoCut(
        file="clock-plate-singing.flac",
        story=(
            "The next pass takes more depth to save time. The machine sang, and the edge of the plate "
            "came out with a washboard pattern. Did it chatter, and which speed is worth a try?"
        ),
        options={"rpm": 12000.0, "depth_mm": 1.5, "feed_mm_min": 480.0, **_MACHINE},
    ),
)


def tell_demo(say: Callable[[str], None]) -> None:
    """Judge the two recordings and say what they show.

    Raises
    ------
    FileProblemError
        The recordings are not there.
    """
    from chatter.analysis import analyse_cut
    from chatter.report import to_text

    say(
        textwrap.fill(
            "Both recordings are simulated (a milling simulator and a simulated phone), because no real "
            "recording of real chatter has been available to this project yet.",
            COLUMNS,
        )
    )
    for number, demo_cut in enumerate(DEMO_CUTS, start=1):
        path = _folder() / demo_cut.file
        say(f"\n{'-' * COLUMNS}\n{textwrap.fill(f'Recording {number}. {demo_cut.story}', COLUMNS)}\n")
        say(f"$ {_command(demo_cut, path)}\n")
        say(to_text(analyse_cut(path, **demo_cut.options)).rstrip("\n"))
    say(f"\n{'-' * COLUMNS}")
    say(
        textwrap.fill(
            "Now one of your own: record a cut and run chatter cut with the speed you dialled and the flutes "
            "of your tool. How to record stands in README.md and docs/recording.md.",
            COLUMNS,
        )
    )


def _folder() -> Path:
    """Find the recordings: packed in an installed copy, in fixtures/ of a checkout."""
    package = Path(str(files("chatter")))
    for folder in (package.parent / "fixtures" / "recordings", package / "_recordings"):
        if all((folder / demo_cut.file).is_file() for demo_cut in DEMO_CUTS):
            return folder
    raise FileProblemError(DEMO_CUTS[0].file, "this copy of the program came without it", "install it again")


def _command(demo_cut: DemoCut, path: Path) -> str:
    """Give the command that the person would have typed."""
    words = ["chatter", "cut", path.name]
    for name, value in demo_cut.options.items():
        told = value if isinstance(value, str) else f"{value:g}"
        words.append(f"--{name.replace('_', '-')}\N{NO-BREAK SPACE}{told}")  # an option stays with its value
    lines = textwrap.wrap(" ".join(words), COLUMNS - 6, break_on_hyphens=False)
    return " \\\n    ".join(lines).replace("\N{NO-BREAK SPACE}", " ")
