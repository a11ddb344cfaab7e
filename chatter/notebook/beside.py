"""Files made whole under another name first, so that a stop leaves all of one or none.

In: the path that a file shall have. Out: a name beside it to write under; then the file under its own name.
Source: https://www.sqlite.org/atomiccommit.html, section 3 (why a new name has to reach the disk, too).
Leaves out: what is written, and words for what the system refuses.
"""

import os
import secrets
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from chatter.errors import FileError

SHOWN = 40  # own choice: characters of the name; with all of them a long one would be too long


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """Give a name in the same folder that nothing has; no file is left under it after the block."""
    # Drawn, not counted: machines that share a disk can have processes of the same number.
    other = path.with_name(f".{path.name[:SHOWN]}.{secrets.token_hex(4)}.new")
    try:
        yield other
    finally:
        with suppress(OSError):  # what went wrong in the block is told, not this
            other.unlink(missing_ok=True)


@contextmanager
def made_new(path: Path, *, taken: FileError) -> Iterator[Path]:
    """Give a name to write a file under, and after the block give the file its own: none is ever replaced.

    Parameters
    ----------
    path
        Where the file shall be.
    taken
        Raised where there is a file already, or another process made one meanwhile.
    """
    if path.is_symlink() or path.exists():
        raise taken
    with beside(path) as other:
        yield other
        if not give_name(other, path):
            raise taken


def give_name(other: Path, path: Path) -> bool:
    """Give a file its name, unless another process has taken that meanwhile; say whether it got it."""
    try:
        os.link(other, path)  # fails where the name is taken: nothing is ever replaced
    except FileExistsError:
        return False
    except OSError:  # a disk without links, such as a camera card's
        if path.exists():
            return False
        other.rename(path)
    sync_folder(path)
    return True


def write_text(path: Path, parts: Iterable[str]) -> None:
    """Write text as it is, and have it on the disk."""
    with path.open("w", encoding="utf-8", newline="") as file:
        file.writelines(parts)
        file.flush()
        os.fsync(file.fileno())


def sync_folder(path: Path) -> None:
    """Have a new name on the disk too, where the system lets a folder be opened."""
    with suppress(OSError):
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
