"""Files as a document's settings name them, documents read back, and files that are written in one step.

In: paths. Out: names and SHA-256 of contents, so that an answer says what it was made from; objects; files.
Leaves out: what the files hold.
"""

import hashlib
import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from chatter.errors import FileProblemError, OutputError
from chatter.notebook.beside import beside, sync_folder, write_text


def hash_file(path: Path) -> str:
    """Give the SHA-256 of a file's content."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError) as error:  # ValueError: a null byte in the name
        raise FileProblemError.told_by_system(path, error) from error


def file_settings(
    *, idle: Path | None, taps: Sequence[Path], idle_sha256: str | None = None
) -> dict[str, Any]:
    """Give the settings that name the files an answer was made from, beside its recording.

    `idle_sha256` spares a second reading where the content was hashed already.
    """
    if idle is not None and idle_sha256 is None:
        idle_sha256 = hash_file(idle)
    return {
        "idle": None if idle is None else idle.name,
        "idle_sha256": idle_sha256,
        "tap": [path.name for path in taps],
        "tap_sha256": [hash_file(path) for path in taps],
    }


def read_object(path: Path, *, kind: str, most_bytes: int, remedy: str) -> dict[str, Any]:
    """Read a JSON file that holds one object; its kind ("tap") and the remedy stand in messages.

    Raises
    ------
    FileProblemError
        It can't be read, or holds something else.
    """
    try:
        if path.is_dir():
            raise FileProblemError(path.name or str(path), "it is a folder", "give the file itself")
        with path.open("rb") as file:
            held = file.read(most_bytes + 1)
        text = held.decode("utf-8-sig")
    except FileNotFoundError as error:
        raise FileProblemError(path.name, "there is no such file", "check the name and the folder") from error
    except UnicodeDecodeError as error:
        raise FileProblemError(path.name, "it isn't text", remedy) from error
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        raise FileProblemError.told_by_system(path.name, error) from error
    if len(held) > most_bytes:
        raise FileProblemError(path.name, f"it is too large for a {kind} document", remedy)
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise FileProblemError(path.name, "it isn't JSON", remedy) from error
    if not isinstance(document, dict):
        raise FileProblemError(path.name, f"it isn't a {kind} document", remedy)
    return document


def replace_text(path: Path, parts: Iterable[str], *, remedy: str | None = None) -> None:
    """Write a file anew in one step: a stop leaves the old one or the new one, never half of one.

    Raises
    ------
    OutputError
        It can't be written; the old one stays.
    """
    try:
        with beside(path) as other:
            write_text(other, parts)
            other.replace(path)
        sync_folder(path)
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        raise OutputError.told_by_system(path, error, remedy=remedy) from error
