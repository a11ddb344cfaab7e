"""Setups, cuts, taps and noise measurements in one file: add, list, read.

In: facts and documents. Out: what is kept, and what became of a document that was given. A document is kept
whole, as JSON; a recording is known by its SHA-256. Nothing is ever overwritten: a changed cut is a new
version, and the earlier one stays.
Leaves out: the file itself (_schema.py), exchange with other programs (exchange.py), any judgement.
"""

import difflib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from chatter.errors import BadValueError, NotebookError
from chatter.model.notebook import (
    FACT_NAMES,
    Filed,
    Filing,
    KeptCut,
    KeptNoise,
    KeptSetup,
    KeptTap,
    SetupFacts,
)
from chatter.notebook._schema import (
    check_folder,
    is_there,
    make_empty,
    make_notebook,
    open_notebook,
    telling,
)
from chatter.notebook.beside import made_new
from chatter.notebook.checks import check_in_use, check_name, check_same_facts, name_key
from chatter.notebook.documents import cut_values, noise_values, told_alike

__all__ = [
    "Notebook",
    "as_json",
    "check_folder",
    "is_there",
    "now",
    "open_or_make",
]

CUT_COLUMNS = (
    "sha256, version, is_current, added, file, set_rpm, measured_rpm, depth_mm, width_mm, feed_mm_min, "
    "verdict, chatter_probability, chatter_hz, half_passing_db, ramp_onset_mm"
)
NEAR_NAMES = 3


class Notebook:
    """One notebook, open; use it in a `with` block."""

    def __init__(self, path: Path, *, write: bool = False, make: bool = False) -> None:
        """Open a notebook, for reading or for reading and writing.

        Parameters
        ----------
        path
            Its file.
        write
            Whether something will be added.
        make
            Whether to make an empty one where there is no file.

        Raises
        ------
        NotebookError
            The file is missing, foreign, damaged, of a newer schema, or can't be read or written.
        """
        self.path = path
        if make and not is_there(path):
            make_notebook(path)
        self._connection = open_notebook(path, write=write)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._connection.close()

    # setups

    def add_setup(self, name: str, *, facts: SetupFacts, created: str | None = None) -> KeptSetup:
        """Add a setup under a name that is not taken.

        Raises
        ------
        BadValueError
            The name is empty, too long, has a line end, or is taken.
        NotebookError
            The file can't be written.
        """
        name = check_name(name)
        with self._writing() as write:
            if self.get_setup(name) is not None:
                raise BadValueError("setup", name, "another name: nothing is overwritten, and this is taken")
            write.execute(
                "INSERT INTO setups (name, facts, created) VALUES (?, ?, ?)",
                (name, as_json(facts.to_dict()), created or now()),
            )
        return self.find_setup(name)

    def fill_facts(self, name: str, *, facts: dict[str, Any]) -> tuple[str, ...]:
        """Fill in facts that a setup does not have yet; give the names of those that were filled in.

        Raises
        ------
        BadValueError
            A fact differs from what the setup says: that is another setup.
        """
        with self._writing() as write:
            setup = self.find_setup(name)
            row = write.execute("SELECT facts FROM setups WHERE id = ?", (setup.number,)).fetchone()
            known = json.loads(row["facts"])
            check_same_facts(setup.name, known=known, given=facts)
            fresh = {
                key: value for key, value in facts.items() if value is not None and known.get(key) is None
            }
            if fresh:
                write.execute(
                    "UPDATE setups SET facts = ? WHERE id = ?", (as_json({**known, **fresh}), setup.number)
                )
        return tuple(sorted(fresh))

    def list_setups(self, *, retired: bool = False) -> tuple[KeptSetup, ...]:
        """Give the setups in use, and the retired ones where asked for, oldest first."""
        where = "" if retired else "WHERE retired IS NULL"
        with telling(self.path):
            return tuple(_setup(row) for row in self._connection.execute(f"{_SETUPS} {where} ORDER BY s.id"))

    def find_setup(self, name: str) -> KeptSetup:
        """Give a setup by its name, as `get_setup` does.

        Raises
        ------
        BadValueError
            There is none; names like it are told, or else the newest ones.
        """
        setup = self.get_setup(name)
        if setup is None:
            known = self.near_names(name)
            more = 0
            if not known:
                names = [one.name for one in self.list_setups()]
                known, more = tuple(names[: -NEAR_NAMES - 1 : -1]), max(0, len(names) - NEAR_NAMES)
            hint = f"there is {', '.join(known)}" if known else "there is none in use"
            hint += f" and {more} more" if more else ""
            raise BadValueError("setup", name, f"the name of a setup in {self.path.name}; {hint}")
        return setup

    def get_setup(self, name: str) -> KeptSetup | None:
        """Give a setup by its name, in whatever case it is written; None where there is none."""
        with telling(self.path):
            names = self._connection.execute("SELECT id, name FROM setups ORDER BY id").fetchall()
            alike = [row for row in names if name_key(row["name"]) == name_key(name)]
            # The very name first: older versions took two that differ in the case of letters like Ä.
            alike.sort(key=lambda row: row["name"] != name.strip())
            if not alike:
                return None
            return _setup(self._connection.execute(f"{_SETUPS} WHERE s.id = ?", (alike[0]["id"],)).fetchone())

    def near_names(self, name: str) -> tuple[str, ...]:
        """Give names of setups that are written much like this one, the likest first."""
        names = {name_key(one.name): one.name for one in self.list_setups(retired=True)}
        names.pop(name_key(name), None)
        near = difflib.get_close_matches(name_key(name), names, n=NEAR_NAMES)
        return tuple(names[one] for one in near)

    def retire_setup(self, name: str, *, when: str | None = None) -> KeptSetup:
        """Take a setup out of the list; its cuts stay."""
        setup = self.find_setup(name)
        return setup if setup.retired is not None else self._set_retired(setup, when or now())

    def bring_back_setup(self, name: str) -> KeptSetup:
        """Take a retired setup into use again, with its cuts; one in use stays as it is."""
        return self._set_retired(self.find_setup(name), None)

    def _set_retired(self, setup: KeptSetup, when: str | None) -> KeptSetup:
        with self._writing() as write:
            write.execute("UPDATE setups SET retired = ? WHERE id = ?", (when, setup.number))
        return self.find_setup(setup.name)

    # cuts, taps and noise measurements

    def add_cut(
        self, setup: str, *, document: dict[str, Any], added: str | None = None, any_version: bool = False
    ) -> Filing:
        """Add a `cut` document to a setup.

        The same recording with the same facts, judged by the same program, is not added again; with other
        facts, or measured with another calibration, it becomes a new version, and the earlier one stays.

        Parameters
        ----------
        setup
            Name of a setup in use.
        document
            The `cut` document.
        added
            When, UTC; now when not given.
        any_version
            For what was kept elsewhere: a document that is an earlier version already is passed over, too,
            unless it was added after the current one; the version that was added last is the current one;
            and the setup may be retired.
        """
        values = cut_values(document)
        return self._file(
            "cuts", setup, document=document, values=values, added=added, any_version=any_version
        )

    def add_tap(
        self, setup: str, *, document: dict[str, Any], added: str | None = None, any_version: bool = False
    ) -> Filing:
        """Add a `tap` document to a setup, as `add_cut` does a cut."""
        values = {"part": document["of"]}
        return self._file(
            "taps", setup, document=document, values=values, added=added, any_version=any_version
        )

    def add_noise(
        self, setup: str, *, document: dict[str, Any], added: str | None = None, any_version: bool = False
    ) -> Filing:
        """Add a `noise` document to a setup, as `add_cut` does a cut."""
        values = noise_values(document)
        return self._file(
            "noises", setup, document=document, values=values, added=added, any_version=any_version
        )

    def list_cuts(self, setup: str, *, earlier_versions: bool = False) -> tuple[KeptCut, ...]:
        """Give the cuts of a setup, oldest first."""
        kept = self.find_setup(setup)
        rows = self._rows("cuts", kept, columns=f"id, {CUT_COLUMNS}", earlier_versions=earlier_versions)
        return tuple(_cut(row, kept.name) for row in rows)

    def read_onsets(self, setup: str) -> dict[int, tuple[float | None, float | None]]:
        """Give the deviation of each ramp's onset, and the depth at the ramp's start, by the cut's number."""
        query = (
            "SELECT id, json_extract(document, '$.ramp.onset_depth_sd_mm') AS sd_mm, "
            "json_extract(document, '$.program.settings.depth_from_mm') AS from_mm FROM cuts "
            "WHERE setup_id = ? AND is_current = 1 AND ramp_onset_mm IS NOT NULL AND json_valid(document)"
        )
        with telling(self.path):
            rows = self._connection.execute(query, (self.find_setup(setup).number,)).fetchall()
        return {row["id"]: (row["sd_mm"], row["from_mm"]) for row in rows}

    def list_taps(self, setup: str, *, earlier_versions: bool = False) -> tuple[KeptTap, ...]:
        """Give the taps of a setup, oldest first."""
        kept = self.find_setup(setup)
        return tuple(
            KeptTap(**_common(row, kept.name), of=row["part"])
            for row in self._rows("taps", kept, earlier_versions=earlier_versions)
        )

    def list_noises(self, setup: str, *, earlier_versions: bool = False) -> tuple[KeptNoise, ...]:
        """Give the noise measurements of a setup, oldest first."""
        kept = self.find_setup(setup)
        return tuple(
            KeptNoise(**_common(row, kept.name), laeq_db=row["laeq_db"], rated_db=row["rated_db"])
            for row in self._rows("noises", kept, earlier_versions=earlier_versions)
        )

    def read_cut(self, number: int) -> dict[str, Any]:
        """Give the whole document of a cut."""
        return self._read("cuts", number)

    def read_tap(self, number: int) -> dict[str, Any]:
        """Give the whole document of a tap."""
        return self._read("taps", number)

    def read_noise(self, number: int) -> dict[str, Any]:
        """Give the whole document of a noise measurement."""
        return self._read("noises", number)

    def back_up(self, path: Path) -> None:
        """Copy the notebook to a new file while it may be in use.

        Raises
        ------
        NotebookError
            The file exists already, or can't be written.
        """
        check_folder(path)
        taken = NotebookError(str(path), "it exists already", "give a new name: nothing is overwritten")
        with (
            telling(path),
            made_new(path, taken=taken) as other,
            self.as_it_is(),  # else a copy waits without end for a program that holds the notebook
            closing(sqlite3.connect(other)) as copy,
        ):
            self._connection.backup(copy)

    def _rows(
        self, table: str, setup: KeptSetup, *, columns: str = "*", earlier_versions: bool
    ) -> list[sqlite3.Row]:
        """Give the rows of a setup, oldest first: an import may bring older ones than are there."""
        current = "" if earlier_versions else "AND is_current = 1"
        query = f"SELECT {columns} FROM {table} WHERE setup_id = ? {current}"
        with telling(self.path):
            rows = self._connection.execute(query, (setup.number,)).fetchall()
            return sorted(rows, key=lambda row: (_moment(row["added"]), row["id"]))

    def _read(self, table: str, number: int) -> dict[str, Any]:
        with telling(self.path):
            row = self._connection.execute(f"SELECT document FROM {table} WHERE id = ?", (number,)).fetchone()
            document: dict[str, Any] = json.loads(row["document"])
        return document

    def _file(
        self,
        table: str,
        name: str,
        *,
        document: dict[str, Any],
        values: dict[str, Any],
        added: str | None,
        any_version: bool,
    ) -> Filing:
        """Add a document as a new row or a new version, unless the same is there."""
        setup = self.find_setup(name)
        if not any_version:
            check_in_use(setup)
        sha256 = document["recording"]["sha256"]
        with self._writing() as write:
            others = write.execute(
                f"SELECT DISTINCT s.name FROM {table} t JOIN setups s ON s.id = t.setup_id "
                "WHERE t.sha256 = ? AND t.setup_id <> ? ORDER BY s.id",
                (sha256, setup.number),
            )
            other_setups = tuple(row["name"] for row in others)
            had = write.execute(
                f"SELECT id, version, is_current, added, document FROM {table} "
                "WHERE setup_id = ? AND sha256 = ? ORDER BY is_current DESC, version DESC",
                (setup.number, sha256),
            ).fetchall()
            added = added or now()
            alike = [row for row in had if told_alike(json.loads(row["document"]), document)]
            stands = not had or not any_version or _moment(added) >= _moment(had[0]["added"])
            # What was put right and then put back is as the earlier version again, and yet the latest.
            put_back = stands and had[:1] != alike[:1] and (not any_version or added != had[0]["added"])
            if alike and not put_back:
                if any_version and stands and alike[0]["is_current"]:
                    write.execute(f"UPDATE {table} SET added = ? WHERE id = ?", (added, alike[0]["id"]))
                return Filing(
                    filed="again",
                    number=alike[0]["id"],
                    version=alike[0]["version"],
                    other_setups=other_setups,
                )
            if stands:
                write.execute(
                    f"UPDATE {table} SET is_current = 0 WHERE setup_id = ? AND sha256 = ?",
                    (setup.number, sha256),
                )
            version = 1 + max((row["version"] for row in had), default=0)
            cells = {
                "setup_id": setup.number,
                "sha256": sha256,
                "version": version,
                "is_current": int(stands),
                "added": added,
                "file": _as_text(document["recording"]["file"]),
                **values,
                "document": as_json(document),
            }
            marks = ", ".join("?" * len(cells))
            done = write.execute(
                f"INSERT INTO {table} ({', '.join(cells)}) VALUES ({marks})", tuple(cells.values())
            )
            number = int(done.lastrowid or 0)
        filed: Filed = "changed" if had else "new"
        return Filing(filed=filed, number=number, version=version, other_setups=other_setups)

    @contextmanager
    def as_it_is(self) -> Iterator[None]:
        """Read one state of the notebook all through the block; other processes change it before or after."""
        with telling(self.path):
            self._connection.execute("BEGIN")
            try:
                self._connection.execute("SELECT count(*) FROM setups").fetchone()  # takes hold of it
                yield
            finally:
                self._connection.execute("ROLLBACK")

    @contextmanager
    def whole(self) -> Iterator[None]:
        """Hold the notebook for several changes: all of them are kept, or none."""
        with self._writing():
            yield

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Hold the notebook for one change: all of it is kept, or none."""
        if self._connection.in_transaction:  # one change among several
            yield self._connection
            return
        with telling(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise


@contextmanager
def open_or_make(path: Path) -> Iterator[Notebook]:
    """Open a notebook for several changes; one that is not there yet is made only when the block ends well.

    Raises
    ------
    NotebookError
        As for `Notebook`; or another process made it meanwhile, which is left as it is.
    """
    if is_there(path):
        with Notebook(path, write=True) as opened:
            yield opened
        return
    check_folder(path)
    taken = NotebookError(str(path), "another program made it meanwhile; nothing was added", "try again")
    with telling(path), made_new(path, taken=taken) as other:
        make_empty(other)
        with Notebook(other, write=True) as opened:
            opened.path = path  # errors tell the name that it will have
            yield opened


_SETUPS = """SELECT s.*,
    (SELECT count(*) FROM cuts c WHERE c.setup_id = s.id AND c.is_current = 1) AS cut_count,
    (SELECT count(*) FROM taps t WHERE t.setup_id = s.id AND t.is_current = 1) AS tap_count,
    (SELECT count(*) FROM noises n WHERE n.setup_id = s.id AND n.is_current = 1) AS noise_count
    FROM setups s"""


def now() -> str:
    """Give the present time, UTC, as ISO 8601, fine enough to tell what was added last."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def _moment(added: str) -> datetime:
    """Give the time at which something was added; UTC where it tells no zone."""
    told = datetime.fromisoformat(added)
    return told if told.tzinfo is not None else told.replace(tzinfo=UTC)


def as_json(value: dict[str, Any]) -> str:
    """Give JSON in one line; in a file name what is no text in any letters is written with a backslash."""
    return _as_text(json.dumps(value, ensure_ascii=False, allow_nan=False))


def _as_text(name: str) -> str:
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


def _setup(row: sqlite3.Row) -> KeptSetup:
    facts = json.loads(row["facts"])
    return KeptSetup(
        number=row["id"],
        name=row["name"],
        facts=SetupFacts(**{name: facts.get(name) for name in FACT_NAMES}),
        created=row["created"],
        retired=row["retired"],
        cuts=row["cut_count"],
        taps=row["tap_count"],
        noises=row["noise_count"],
    )


def _common(row: sqlite3.Row, setup: str) -> dict[str, Any]:
    """Give what a row of taps and one of noise measurements both have, as fields of what is kept."""
    return {
        "number": row["id"],
        "setup": setup,
        "sha256": row["sha256"],
        "version": row["version"],
        "is_current": bool(row["is_current"]),
        "added": row["added"],
        "file": row["file"],
    }


def _cut(row: sqlite3.Row, setup: str) -> KeptCut:
    values = dict(row)
    return KeptCut(number=values.pop("id"), setup=setup, is_current=bool(values.pop("is_current")), **values)
