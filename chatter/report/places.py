"""Where a page, a picture or a sound may be written.

In: a path that the user named. Out: one clear error, before any work is done; later the file.
Leaves out: what is written.
"""

from pathlib import Path

from chatter.errors import BadValueError, OutputError


def check_place(path: Path, *, option: str, endings: tuple[str, ...]) -> None:
    """Refuse a file name that no page or picture can have.

    Parameters
    ----------
    path
        The file to write.
    option
        Name of the option that it was given by.
    endings
        What the name may end in, such as ".png".

    Raises
    ------
    BadValueError
        The name has another ending.
    OutputError
        The folder doesn't exist or may not be looked into, the name is a folder, or no file can have it.
    """
    if path.suffix.lower() not in endings:
        raise BadValueError(option, path.name, f"a file name that ends in {' or '.join(endings)}")
    check_folder(path)


def check_folder(path: Path) -> None:
    """Refuse a file whose folder isn't there, before any work is done.

    Raises
    ------
    OutputError
        The folder doesn't exist or may not be looked into, the name is a folder, or no file can have it.
    """
    try:
        is_folder, has_folder = path.is_dir(), path.parent.is_dir()
    except OSError as error:
        raise OutputError.told_by_system(path, error) from error
    if is_folder:
        raise OutputError(str(path), "it is a folder", "give the name of a file in it")
    if not has_folder:
        raise OutputError(str(path), "its folder doesn't exist", "make the folder, or choose another one")


def write_place(path: Path, content: bytes) -> None:
    """Write a page or a picture that was made whole in memory.

    Raises
    ------
    OutputError
        The file can't be written.
    """
    try:
        path.write_bytes(content)
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        raise OutputError.told_by_system(path, error) from error
