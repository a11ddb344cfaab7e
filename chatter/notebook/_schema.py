"""The file of a notebook: how it is told from other files, made, opened and brought up to date.

In: a path. Out: a connection to a file that is surely a notebook of a schema known here.
Method: SQLite with a rollback journal and `synchronous=EXTRA`: a commit returns when the change and the
journal's end are on the disk, so a kill or a power cut loses nothing that was confirmed. Not a write-ahead
log: a notebook stays one file, that may be copied, and may lie on a read-only disk.
Source: https://www.sqlite.org/fileformat.html (header), https://www.sqlite.org/pragma.html.
Leaves out: what stands in the tables (store.py).
"""

import json
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from chatter.errors import NotebookError
from chatter.notebook.beside import beside, give_name

MAGIC = b"SQLite format 3\x00"  # the first 16 bytes, fileformat.html section 1.3.1
APPLICATION_ID = 0x43684E42  # own choice: "ChNB"
BUSY_S = 30.0  # own choice: one writer at a time, and a write takes milliseconds
HEADER_BYTES = 100

# One step a schema version; a notebook of version n has had the first n. Never change a step: add one.
STEPS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE setups (
            id INTEGER PRIMARY KEY,
            name TEXT NOT NULL UNIQUE COLLATE NOCASE,
            facts TEXT NOT NULL,
            created TEXT NOT NULL,
            retired TEXT
        )""",
        """CREATE TABLE cuts (
            id INTEGER PRIMARY KEY,
            setup_id INTEGER NOT NULL REFERENCES setups (id),
            sha256 TEXT NOT NULL,
            version INTEGER NOT NULL,
            is_current INTEGER NOT NULL,
            added TEXT NOT NULL,
            file TEXT NOT NULL,
            set_rpm REAL NOT NULL,
            measured_rpm REAL,
            depth_mm REAL,
            width_mm REAL,
            feed_mm_min REAL,
            verdict TEXT NOT NULL,
            chatter_probability REAL,
            chatter_hz REAL,
            document TEXT NOT NULL,
            UNIQUE (setup_id, sha256, version)
        )""",
        "CREATE INDEX cuts_by_recording ON cuts (sha256)",
    ),
    (
        """CREATE TABLE taps (
            id INTEGER PRIMARY KEY,
            setup_id INTEGER NOT NULL REFERENCES setups (id),
            sha256 TEXT NOT NULL,
            part TEXT NOT NULL,
            version INTEGER NOT NULL,
            is_current INTEGER NOT NULL,
            added TEXT NOT NULL,
            file TEXT NOT NULL,
            document TEXT NOT NULL,
            UNIQUE (setup_id, sha256, version)
        )""",
        # Listing reads rows from the index alone: the documents, some kilobytes each, are passed over.
        """CREATE INDEX cuts_to_list ON cuts (
            setup_id, is_current, id, sha256, version, added, file, set_rpm, measured_rpm, depth_mm,
            width_mm, feed_mm_min, verdict, chatter_probability, chatter_hz
        )""",
    ),
    (
        """CREATE TABLE noises (
            id INTEGER PRIMARY KEY,
            setup_id INTEGER NOT NULL REFERENCES setups (id),
            sha256 TEXT NOT NULL,
            version INTEGER NOT NULL,
            is_current INTEGER NOT NULL,
            added TEXT NOT NULL,
            file TEXT NOT NULL,
            laeq_db REAL,
            rated_db REAL,
            document TEXT NOT NULL,
            UNIQUE (setup_id, sha256, version)
        )""",
    ),
    (
        "ALTER TABLE cuts ADD COLUMN half_passing_db REAL",  # unknown for what was filed before
        "DROP INDEX cuts_to_list",
        """CREATE INDEX cuts_to_list ON cuts (
            setup_id, is_current, id, sha256, version, added, file, set_rpm, measured_rpm, depth_mm,
            width_mm, feed_mm_min, verdict, chatter_probability, chatter_hz, half_passing_db
        )""",
    ),
    (
        # Where chatter began in a ramped pass; of what was filed before it stands in the document.
        "ALTER TABLE cuts ADD COLUMN ramp_onset_mm REAL",
        """UPDATE cuts SET ramp_onset_mm = CASE
            WHEN NOT json_valid(document) THEN NULL
            WHEN json_type(document, '$.ramp.onset_depth_mm') IN ('integer', 'real')
            THEN json_extract(document, '$.ramp.onset_depth_mm')
        END""",
        "DROP INDEX cuts_to_list",
        """CREATE INDEX cuts_to_list ON cuts (
            setup_id, is_current, id, sha256, version, added, file, set_rpm, measured_rpm, depth_mm,
            width_mm, feed_mm_min, verdict, chatter_probability, chatter_hz, half_passing_db, ramp_onset_mm
        )""",
    ),
)
VERSION = len(STEPS)


def open_notebook(path: Path, *, write: bool) -> sqlite3.Connection:
    """Open a notebook; a file that is no notebook is refused and left untouched.

    Raises
    ------
    NotebookError
        The file is missing, foreign, damaged, of a newer schema, or can't be read or written.
    """
    with telling(path):
        _check_header(path)
        try:
            return _opened(path, write=write)
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname != "SQLITE_READONLY_ROLLBACK":
                raise
        _undo_stopped_write(path)
        return _opened(path, write=write)


def _opened(path: Path, *, write: bool) -> sqlite3.Connection:
    connection = _connect(path, mode="rw" if write else "ro")
    try:
        connection.execute("SELECT count(*) FROM setups").fetchone()
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        if version < VERSION and not write:
            raise NotebookError(
                str(path),
                f"it was written by an older version of the program (schema {version}, now {VERSION})",
                "add or change something in it once, which brings it up to date",
            )
        if version < VERSION:
            _bring_up_to_date(connection)
        elif write:  # a file that can't be written is told before the work, not after it
            connection.execute("BEGIN IMMEDIATE")
            connection.execute(
                f"PRAGMA user_version = {version}"
            )  # makes a journal, in a folder that lets it
            connection.execute("ROLLBACK")
    except BaseException:
        connection.close()
        raise
    return connection


def _undo_stopped_write(path: Path) -> None:
    """Take back what a killed process had half written; a connection that only reads may not."""
    try:
        with closing(_connect(path, mode="rw")) as connection:
            connection.execute("SELECT count(*) FROM setups").fetchone()
    except sqlite3.OperationalError as error:
        raise NotebookError(
            str(path),
            "a stopped command left a change half done in it, and it can't be written to take that back",
            f"copy it and {path.name}-journal beside it to a place that you may write to, and use it there",
        ) from error


def make_notebook(path: Path) -> None:
    """Make an empty notebook where there is no file; another process may do so at the same time."""
    check_folder(path)
    with telling(path), beside(path) as fresh:
        make_empty(fresh)
        give_name(fresh, path)


def make_empty(path: Path) -> None:
    """Make an empty notebook under a name that nothing has."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        _bring_up_to_date(connection)


def check_folder(path: Path) -> None:
    """Refuse a place for a new notebook whose folder isn't there, or takes no file."""
    with telling(path):
        if not path.parent.is_dir():
            raise NotebookError(
                str(path), "its folder doesn't exist", "make the folder, or choose another one"
            )
        with beside(path) as fresh:
            fresh.touch()


def is_there(path: Path) -> bool:
    """Say whether a name is taken, be it by a link that leads nowhere.

    Raises
    ------
    NotebookError
        The folder may not be looked into, or no file can have this name.
    """
    with telling(path):
        return path.is_symlink() or path.exists()


@contextmanager
def telling(path: Path) -> Iterator[None]:
    """Turn what SQLite and the system say into one clear line."""
    try:
        yield
    except sqlite3.Error as error:
        problem, remedy = _explain(str(error))
        raise NotebookError(str(path), problem, remedy) from error
    except json.JSONDecodeError as error:  # facts or a document, which SQLite keeps as any text
        problem, remedy = _explain("malformed")
        raise NotebookError(str(path), problem, remedy) from error
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        remedy = "check its name and permissions, and that the disk has room"
        raise NotebookError.told_by_system(path, error, remedy=remedy) from error


def _explain(told: str) -> tuple[str, str]:
    """Give problem and remedy for SQLite's words, which https://www.sqlite.org/rescode.html lists."""
    if "full" in told or "I/O" in told:
        return "the disk is full or can't be written; nothing was added", "free some room and try again"
    if "readonly" in told or "unable to open" in told:
        return "it can't be written; nothing was added", "check the permissions of the file and its folder"
    if "locked" in told:
        return f"another program has held it for {BUSY_S:.0f} s; nothing was added", "close it and try again"
    if "malformed" in told or "not a database" in told or "no such table" in told:
        return "it is damaged or cut short; it was left as it is", "restore a backup of it"
    return f"it can't be used ({told})", "restore a backup of it, or give another file"


def _check_header(path: Path) -> None:
    """Refuse what is no notebook known here, by its first bytes, before SQLite may touch the file."""
    if path.is_dir():
        raise NotebookError(str(path), "it is a folder", "give the name of a file in it")
    if not path.exists():
        if path.is_symlink():
            raise NotebookError(
                str(path), "it is a link that leads to no file", "mend the link, or give another name"
            )
        raise NotebookError(str(path), "there is no such notebook", "check the name, or add a setup first")
    # Read once, before this process holds a connection: closing a file drops the process's locks on it.
    with path.open("rb") as file:
        head = file.read(HEADER_BYTES)
    if len(head) < HEADER_BYTES or not head.startswith(MAGIC):
        raise NotebookError(
            str(path), "it isn't a notebook, or is cut short; it was left as it is", "give another file"
        )
    version, application = struct.unpack(">I", head[60:64])[0], struct.unpack(">I", head[68:72])[0]
    if application != APPLICATION_ID:
        raise NotebookError(
            str(path), "it is another program's database; it was left as it is", "give another file"
        )
    if version > VERSION:
        raise NotebookError(
            str(path),
            f"it was written by a newer version of the program (schema {version}, known up to {VERSION}); "
            "it was left as it is",
            "use that version, or a file of your own",
        )


def _connect(path: Path, *, mode: str) -> sqlite3.Connection:
    address = f"{path.resolve().as_uri()}?mode={mode}"
    connection = sqlite3.connect(address, uri=True, timeout=BUSY_S, isolation_level=None)
    connection.row_factory = sqlite3.Row
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        if mode == "rw":
            connection.execute("PRAGMA synchronous = EXTRA")
    except BaseException:
        connection.close()
        raise
    return connection


def _bring_up_to_date(connection: sqlite3.Connection) -> None:
    """Take the steps that the file has not had, all or none of them."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        had = connection.execute("PRAGMA user_version").fetchone()[0]  # another process may have been first
        for step in STEPS[had:]:
            for statement in step:
                connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {max(had, VERSION)}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
