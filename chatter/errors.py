"""Every error that the library raises on purpose.

ChatterError
├── InputError            what the user typed can't be used
│   └── BadValueError     one value is out of its range
├── RecordingError        the file can't be used
│   ├── FileProblemError  missing, a directory, unreadable, not sound, no sound track
│   └── BadSamplesError   decoded, but the samples make no sense (NaN, none, no rate)
├── NotebookError         the notebook can't be opened, read or written
└── OutputError           a result can't be written

Every message is one line: what was found, what was needed, what to do.
"""


class ChatterError(Exception):
    """Base of every error raised on purpose."""


class InputError(ChatterError):
    """Something that the user typed can't be used."""


class BadValueError(InputError):
    """One value is out of its range."""

    def __init__(self, name: str, value: object, needed: str) -> None:
        found = "is missing" if value is None else f"is {value!r}"
        super().__init__(f"{name} {found}: give {needed}")
        self.name, self.value, self.needed = name, value, needed


class RecordingError(ChatterError):
    """The recording can't be used."""


class FileProblemError(RecordingError):
    """The file is missing, unreadable, or holds no sound that can be decoded."""

    def __init__(self, file: str, problem: str, remedy: str) -> None:
        super().__init__(f"{file}: {problem}: {remedy}")
        self.file, self.problem, self.remedy = file, problem, remedy


class BadSamplesError(RecordingError):
    """The file decodes, but its samples can't be a sound."""

    def __init__(self, file: str, problem: str, remedy: str) -> None:
        super().__init__(f"{file}: {problem}: {remedy}")
        self.file, self.problem, self.remedy = file, problem, remedy


class NotebookError(ChatterError):
    """The notebook can't be opened, read or written."""

    def __init__(self, file: str, problem: str, remedy: str) -> None:
        super().__init__(f"{file}: {problem}: {remedy}")
        self.file, self.problem, self.remedy = file, problem, remedy


class OutputError(ChatterError):
    """A result can't be written where it was asked for."""

    def __init__(self, file: str, problem: str, remedy: str) -> None:
        super().__init__(f"{file}: {problem}: {remedy}")
        self.file, self.problem, self.remedy = file, problem, remedy
