"""`cut` documents in, what other answers need of them out.

In: paths of JSON files, and of the recordings that they belong to. Out: a `ReadCut` each, or one clear error.
Leaves out: lines, advice and findings.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chatter.analysis._files import hash_file, read_object
from chatter.analysis._values import MAX_FLUTES, MAX_RPM
from chatter.errors import BadValueError, FileProblemError

REMEDY = "give the JSON document that `chatter cut` printed"
MAX_BYTES = 20_000_000  # own choice: a document of a cut has some kilobytes


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadCut:
    """Which recording was judged, and how."""

    sha256: str
    verdict: str
    rpm: float  # dialled
    flutes: int
    file: str | None  # name of that recording


def read_cuts(paths: Sequence[str | Path], *, recordings: Sequence[Path]) -> list[ReadCut]:
    """Read `cut` documents, each of which belongs to one of the recordings by its content.

    Raises
    ------
    BadValueError
        One was made from another file, and would go unused.
    FileProblemError
        A recording or a document can't be read.
    """
    cuts = [read_cut(Path(path)) for path in paths]
    known = {hash_file(recording) for recording in recordings} if cuts else set()
    for path, cut in zip(paths, cuts, strict=True):
        if cut.sha256 not in known:
            was = f"another file, {cut.file!r}" if cut.file is not None else "another file"
            raise BadValueError(
                "cut",
                Path(path).name,
                f"the cut document of a recording given here, as the file is now: this one is of {was}",
            )
    return cuts


def read_cut(path: Path) -> ReadCut:
    """Read what a comparison needs of a `cut` document."""
    held = read_object(path, kind="cut", most_bytes=MAX_BYTES, remedy=REMEDY)
    try:
        if held["document"] != "cut" or held["version"] != 1:
            raise KeyError("document")
        return as_read_cut(held)
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise FileProblemError(path.name, "it isn't a cut document of version 1", REMEDY) from error


def as_read_cut(document: dict[str, Any]) -> ReadCut:
    """Take what is needed out of a `cut` document.

    Raises KeyError, TypeError, ValueError or OverflowError where it is none.
    """
    rpm, flutes = float(document["spindle"]["programmed_rpm"]), document["spindle"]["flutes"]
    if not 0 < rpm <= MAX_RPM or flutes not in range(1, MAX_FLUTES + 1):
        raise ValueError("spindle")
    file = document["recording"].get("file")
    return ReadCut(
        sha256=str(document["recording"]["sha256"]),
        verdict=str(document["verdict"]),
        rpm=rpm,
        flutes=int(flutes),
        file=None if file is None else str(file),
    )
