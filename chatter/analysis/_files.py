"""The files beside the recording, as a document's settings name them.

In: paths. Out: names and SHA-256 of contents, so that an answer says what it was made from.
Leaves out: what the files hold.
"""

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from chatter.errors import FileProblemError


def hash_file(path: Path) -> str:
    """Give the SHA-256 of a file's content."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError) as error:  # ValueError: a null byte in the name
        problem = getattr(error, "strerror", None) or "can't be read"
        raise FileProblemError(str(path), problem, "check the name and the folder") from error


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
