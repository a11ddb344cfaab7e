"""A `cut` document in, what other answers need of it out.

In: the path of a JSON file. Out: a `ReadCut`, or one clear error.
Leaves out: lines, advice and findings.
"""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chatter.errors import FileProblemError

REMEDY = "give the JSON document that `chatter cut` printed"
MAX_BYTES = 20_000_000  # own choice: a document of a cut has some kilobytes


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadCut:
    """Which recording was judged, and how."""

    sha256: str
    verdict: str
    rpm: float  # dialled
    flutes: int


def read_cut(path: Path) -> ReadCut:
    """Read what a comparison needs of a `cut` document."""
    try:
        with path.open("rb") as stream:
            text = stream.read(MAX_BYTES + 1)
        held: Any = json.loads(text) if len(text) <= MAX_BYTES else None
    except OSError as error:
        problem = error.strerror or "can't be read"
        raise FileProblemError(str(path), problem, "check the name and the folder") from error
    except ValueError as error:
        raise FileProblemError(path.name, "it isn't JSON", REMEDY) from error
    try:
        if held["document"] != "cut" or held["version"] != 1:
            raise KeyError("document")
        return as_read_cut(held)
    except (KeyError, TypeError, ValueError) as error:
        raise FileProblemError(path.name, "it isn't a cut document of version 1", REMEDY) from error


def as_read_cut(document: dict[str, Any]) -> ReadCut:
    """Take what is needed out of a `cut` document.

    Raises KeyError, TypeError or ValueError where it is none.
    """
    return ReadCut(
        sha256=str(document["recording"]["sha256"]),
        verdict=str(document["verdict"]),
        rpm=float(document["spindle"]["programmed_rpm"]),
        flutes=int(document["spindle"]["flutes"]),
    )
