"""Every error that the library raises on purpose.

ChatterError
├── InputError            what the user typed can't be used
│   └── BadValueError     one value is out of its range
└── FileError             a file can't be read, kept or written
    ├── RecordingError    the file can't be used
    │   ├── FileProblemError  missing, a directory, unreadable, not sound, no sound track
    │   └── BadSamplesError   decoded, but the samples make no sense (NaN, none, no rate)
    ├── NotebookError     the notebook can't be opened, read or written
    └── OutputError       a result can't be written

Every message is one line: what was found, what was needed, what to do.
"""

import difflib
from collections.abc import Iterable, Mapping
from typing import ClassVar, Self

NEAR_NAME = 0.8  # of difflib's likeness; own choice: typing errors have more, "carbon" and "cast iron" 0.67
LEAST_BEGUN = 3  # letters of a word that name it; own choice


def nearest_name(name: str, names: Iterable[str]) -> str | None:
    """Give the name that was likely meant; None where none is really near."""
    near = difflib.get_close_matches(name, names, n=1, cutoff=NEAR_NAME)
    return near[0] if near else None


class ChatterError(Exception):
    """Base of every error raised on purpose."""

    def __reduce__(self) -> tuple[object, ...]:
        """Let it pass between processes: each kind is made from other values than its message."""
        return _remake, (type(self), str(self), dict(self.__dict__))


def _remake(kind: type[ChatterError], message: str, values: dict[str, object]) -> ChatterError:
    error = kind.__new__(kind, message)
    error.__dict__.update(values)
    return error


class InputError(ChatterError):
    """Something that the user typed can't be used."""


class BadValueError(InputError):
    """One value is out of its range."""

    def __init__(self, name: str, value: object, needed: str) -> None:
        found = "is missing" if value is None else f"is {value!r}"
        super().__init__(f"{name} {found}: give {needed}")
        self.name, self.value, self.needed = name, value, needed

    @classmethod
    def of_unknown_name(
        cls, kind: str, value: object, *, key: str, known: Mapping[str, str], listed: Iterable[str]
    ) -> Self:
        """Give the error for a name that is in no table; a word that it begins, or the nearest, is first.

        Parameters
        ----------
        kind, value
            What it should name; what the user typed.
        key
            The same as the table's keys are written.
        known
            Every name as people write it, by its key.
        listed
            The names to choose from.
        """
        begun = [one for one in known if len(key) >= LEAST_BEGUN and one.startswith(key) and " " not in one]
        near = min(begun, key=len) if begun else nearest_name(key, known)
        hint = f"{known[near]} (the nearest name), or " if near else ""
        return cls(kind, value, f"{hint}one of {', '.join(listed)}")


class FileError(ChatterError):
    """A file can't be read, kept or written."""

    OTHERWISE: ClassVar[str] = "it can't be read"  # where the system has no words: a null in the name
    REMEDY: ClassVar[str] = "check the name and the folder"

    def __init__(self, file: str, problem: str, remedy: str) -> None:
        super().__init__(f"{file}: {problem}: {remedy}")
        self.file, self.problem, self.remedy = file, problem, remedy

    @classmethod
    def told_by_system(cls, file: object, error: Exception, *, remedy: str | None = None) -> Self:
        """Give the error for what the system refused, in its own words."""
        problem = getattr(error, "strerror", None) or cls.OTHERWISE
        return cls(str(file), problem.lower(), remedy or cls.REMEDY)


class RecordingError(FileError):
    """The recording can't be used."""


class FileProblemError(RecordingError):
    """The file is missing, unreadable, or holds no sound that can be decoded."""


class BadSamplesError(RecordingError):
    """The file decodes, but its samples can't be a sound."""


class NotebookError(FileError):
    """The notebook can't be opened, read or written."""


class OutputError(FileError):
    """A result can't be written where it was asked for."""

    OTHERWISE: ClassVar[str] = "it can't be written"
    REMEDY: ClassVar[str] = "choose another place or name"
