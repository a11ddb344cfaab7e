"""The table of a batch, and the answers that an earlier run of it left.

In: the paths of a CSV table and of a results file. Out: rows, and earlier answers by content and options.
Leaves out: judging the rows.
"""

import csv
import io
import json
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from chatter.analysis._files import file_settings, hash_file
from chatter.analysis._values import checked_setup
from chatter.errors import ChatterError, FileProblemError, InputError, OutputError, nearest_name
from chatter.model import CutSetup

FILE_COLUMNS = ("file", "idle", "tap")  # paths, relative to the table
BATCH_COLUMNS = ("file", *(field.name for field in fields(CutSetup)), "idle", "tap")
FILING_COLUMNS = ("setup", "notebook")  # of a cut alone: advice from a history depends on what is filed first
SEPARATORS = ",;\t"  # the first that the header holds counts: spreadsheets of some countries write the others
TAP_SEPARATOR = ";"  # between the paths in one `tap` cell


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of a batch table; `problem` says why it can't be judged."""

    file: str  # as written in the table
    path: Path
    options: dict[str, Any]
    idle: Path | None
    taps: tuple[Path, ...] = ()
    problem: str | None = None


def read_table(table: Path) -> tuple[list[Row], tuple[str, ...]]:
    """Read the rows of a table and the names of columns that nothing uses."""
    try:
        text = table.read_text(encoding="utf-8-sig")  # spreadsheets write a byte-order mark
    except UnicodeDecodeError as error:
        raise FileProblemError(str(table), "not a text table in UTF-8", "save it as CSV UTF-8") from error
    except (OSError, ValueError) as error:
        needed = "give a CSV table with the columns file, rpm, flutes"
        raise FileProblemError.told_by_system(table, error, remedy=needed) from error
    head = text.partition("\n")[0]
    mark = next((one for one in SEPARATORS if one in head), ",")
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=mark)
    try:
        names = [_column(name) for name in reader.fieldnames or ()]
        reader.fieldnames = names
        records = list(reader)
    except csv.Error as error:
        raise FileProblemError(str(table), f"not a CSV table ({error})", "save it again as CSV") from error
    missing = [name for name in ("file", "rpm", "flutes") if name not in names]
    if missing:
        raise InputError(
            f"{table}: the table has no column {missing[0]}: its first line must name file, rpm, flutes"
        )
    if twice := [name for name in BATCH_COLUMNS if names.count(name) > 1]:
        raise InputError(f"{table}: the column {twice[0]} is there twice: keep one, and rename the other")
    for name in names:
        if name.lower() in FILING_COLUMNS and any((record.get(name) or "").strip() for record in records):
            raise InputError(
                f"{table}: a batch files nothing in a notebook, but the column {name} is there: take it out, "
                "or rename it if it means something else; to file cuts, run chatter cut on each, with its "
                "setup"
            )
    unused = tuple(name for name in names if name not in BATCH_COLUMNS and name)
    for name in unused:
        if close := nearest_name(name.lower(), BATCH_COLUMNS):
            raise InputError(
                f"{table}: unknown column {name}: rename it to {close}, or to something less alike"
            )
    return [_row(record, table.parent) for record in records], unused


def _column(name: str) -> str:
    """Give the name of a column; that of an option counts in upper case too."""
    name = name.strip()
    return name.lower() if name.lower() in BATCH_COLUMNS else name


def _row(record: dict[str, Any], folder: Path) -> Row:
    """Turn one record of the table into a row, with its values still unchecked."""
    cells = {name: (record.get(name) or "").strip() for name in BATCH_COLUMNS}
    options: dict[str, Any] = {
        name: cells[name] or None for name in BATCH_COLUMNS if name not in FILE_COLUMNS
    }
    problem = None
    if None in record:
        problem = "this row has more cells than the header: put names that hold commas in quotes"
    elif not cells["file"]:
        problem = "this row names no file: fill in its file column"
    elif absent := [name for name in ("rpm", "flutes") if options[name] is None]:
        problem = f"this row gives no {absent[0]}: fill in its {absent[0]} column"
    idle = folder / cells["idle"] if cells["idle"] else None
    return Row(
        file=cells["file"],
        path=folder / cells["file"],
        options=options,
        idle=idle,
        taps=tuple(folder / name.strip() for name in cells["tap"].split(TAP_SEPARATOR) if name.strip()),
        problem=problem,
    )


def _key(file: object, sha256: object, settings: object) -> str:
    return json.dumps([file, sha256, settings], sort_keys=True)


def row_key(row: Row) -> str:
    """Name a row by its file's content and its options; empty where it can't be answered."""
    try:
        settings = {**asdict(checked_setup(row.options)), **file_settings(idle=row.idle, taps=row.taps)}
        return _key(row.path.name, hash_file(row.path), settings)
    except (ChatterError, OSError, ValueError):
        return ""


def earlier_answers(out: Path) -> dict[str, str]:
    """Read the `cut` documents of an earlier run, by file content and options."""
    try:
        data = out.read_bytes()
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise OutputError.told_by_system(out, error) from error
    complete = data[: data.rfind(b"\n") + 1]
    answers: dict[str, str] = {}
    for raw in complete.splitlines():
        try:
            line = raw.decode("utf-8")
            document = json.loads(line)
            kind = document["document"]
            if kind == "cut":
                recording = document["recording"]
                settings = document["program"]["settings"]
                answers[_key(recording["file"], recording["sha256"], settings)] = line
        except (ValueError, TypeError, KeyError) as error:
            problem = "it exists and holds something else than the results of a batch"
            raise OutputError(str(out), problem, "give another name, or move it away") from error
    if data and not complete and not data.startswith(b"{"):
        problem = "it exists and holds something else than the results of a batch"
        raise OutputError(str(out), problem, "give another name, or move it away")
    return answers
