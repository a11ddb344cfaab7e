"""A notebook as lines of JSON or as a table, and lines of JSON back into a notebook.

In: an open notebook, a path. Out: a file; or what they hold added, all of it or none.
Schema of the lines: docs/notebook.md. The table (CSV, RFC 4180) is for spreadsheets and isn't read back.
Leaves out: checks of facts, which the public edge makes.
"""

import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from chatter.errors import ChatterError, NotebookError, OutputError
from chatter.model.notebook import FACT_NAMES, Filing, SetupFacts
from chatter.notebook.beside import made_new, write_text
from chatter.notebook.checks import is_same_fact
from chatter.notebook.documents import read_onset_mm
from chatter.notebook.store import Notebook, as_json, now

SCHEMA = 2  # 1: without noise measurements
CUT_CELLS = (
    "added",
    "file",
    "set_rpm",
    "measured_rpm",
    "depth_mm",
    "width_mm",
    "feed_mm_min",
    "verdict",
    "chatter_probability",
    "chatter_hz",
    "sha256",
)
LEAST, MOST, MOST_DB = 1e-6, 1e9, 1000.0  # own choice: no speed, length or level of a cut lies outside
VERDICTS = ("stable", "marginal", "chatter", "undecided")
FORMULA_SIGNS = tuple("=+-@＝＋－＠\t\r\n")  # OWASP, CSV Injection (from memory); wide ones too
REMEDY = "give a file that was exported by this program, unchanged"


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchanged:
    """What was exported or imported."""

    setups: int
    cuts: int
    taps: int
    noises: int = 0
    known: int = 0  # cuts, taps and noise measurements that were there already


def export_lines(notebook: Notebook, *, path: Path) -> Exchanged:
    """Write everything, earlier versions and retired setups too, one JSON object a line.

    Raises
    ------
    OutputError
        The file exists, or can't be written.
    """
    counts = {"setup": 0, "cut": 0, "tap": 0, "noise": 0}

    def lines() -> Iterator[str]:
        yield _line({"record": "notebook", "schema": SCHEMA, "exported": now()})
        for record in _records(notebook):
            counts[record["record"]] += 1
            yield _line(record)

    with notebook.as_it_is():
        _write_new(path, lines())
    return Exchanged(setups=counts["setup"], cuts=counts["cut"], taps=counts["tap"], noises=counts["noise"])


def export_table(notebook: Notebook, *, path: Path) -> Exchanged:
    """Write the current cuts as CSV, one a row, with the facts of their setup.

    Raises
    ------
    OutputError
        The file exists, or can't be written.
    """
    rows: list[list[Any]] = [["setup", *(f"setup_{name}" for name in FACT_NAMES), *CUT_CELLS]]
    with notebook.as_it_is():
        setups = notebook.list_setups(retired=True)
        for setup in setups:
            facts = setup.facts.to_dict()
            for cut in notebook.list_cuts(setup.name):
                cells = [setup.name, *(facts[name] for name in FACT_NAMES)]
                rows.append([_cell(value) for value in (*cells, *(getattr(cut, name) for name in CUT_CELLS))])
    text = io.StringIO()
    csv.writer(text).writerows(rows)  # ends its lines as RFC 4180 asks
    _write_new(path, iter([text.getvalue()]))
    return Exchanged(setups=len(setups), cuts=len(rows) - 1, taps=0)


def import_lines(
    notebook: Notebook,
    *,
    records: list[tuple[int, dict[str, Any]]],
    path: Path,
    check_facts: Callable[[dict[str, Any]], SetupFacts],
    check_tap: Callable[[dict[str, Any]], None],
) -> Exchanged:
    """Add the records of a file of lines, all of them or nothing.

    A setup of the same name must have the same facts. What is there already, in any version, is passed over.

    Parameters
    ----------
    notebook
        Open for writing.
    records, path
        From `read_lines`, and the file that they came from.
    check_facts
        Gives checked facts, or raises.
    check_tap
        Raises where a document's modes can't be used.

    Raises
    ------
    NotebookError
        A line can't be used; nothing was added.
    """
    counts = {"setup": 0, "cut": 0, "tap": 0, "noise": 0, "known": 0}
    retire: list[tuple[str, str]] = []
    with notebook.whole():
        for number, record in records:
            try:
                if record["record"] == "tap":
                    check_tap(record["document"])
                _take(notebook, record, counts=counts, retire=retire, check_facts=check_facts)
            except NotebookError:
                raise
            except (ChatterError, LookupError, TypeError, ValueError, AttributeError, OverflowError) as error:
                told = (
                    str(error) if isinstance(error, ChatterError) else "a field is missing or of a wrong kind"
                )
                raise NotebookError(str(path), f"line {number}: {told}; nothing was added", REMEDY) from error
        for name, when in retire:
            notebook.retire_setup(name, when=when)
    return Exchanged(
        setups=counts["setup"],
        cuts=counts["cut"],
        taps=counts["tap"],
        noises=counts["noise"],
        known=counts["known"],
    )


def _records(notebook: Notebook) -> Iterator[dict[str, Any]]:
    setups = notebook.list_setups(retired=True)
    for setup in setups:
        yield {
            "record": "setup",
            "name": setup.name,
            "facts": setup.facts.to_dict(),
            "created": setup.created,
            "retired": setup.retired,
        }
    for setup in setups:
        for cut in notebook.list_cuts(setup.name, earlier_versions=True):
            document = notebook.read_cut(cut.number)
            yield {"record": "cut", "setup": setup.name, "added": cut.added, "document": document}
        for tap in notebook.list_taps(setup.name, earlier_versions=True):
            document = notebook.read_tap(tap.number)
            yield {"record": "tap", "setup": setup.name, "added": tap.added, "document": document}
        for noise in notebook.list_noises(setup.name, earlier_versions=True):
            document = notebook.read_noise(noise.number)
            yield {"record": "noise", "setup": setup.name, "added": noise.added, "document": document}


def _take(
    notebook: Notebook,
    record: dict[str, Any],
    *,
    counts: dict[str, int],
    retire: list[tuple[str, str]],
    check_facts: Callable[[dict[str, Any]], SetupFacts],
) -> None:
    """Add one record."""
    kind = record["record"]
    if kind == "setup":
        facts = check_facts(record["facts"])
        name = str(record["name"])
        there = notebook.get_setup(name)
        if there is None:
            notebook.add_setup(name, facts=facts, created=_time(record["created"]))
            counts["setup"] += 1
            if record["retired"] is not None:
                retire.append((name, _time(record["retired"])))
        elif not _are_same(there.facts, facts):
            raise NotebookError(
                str(notebook.path),
                f"its setup {there.name!r} has other facts than the one to import; nothing was added",
                "import into a notebook of its own",
            )
        elif record["retired"] is None:  # in use there or here: then in use, whichever is imported first
            notebook.bring_back_setup(name)
        return
    kinds: dict[str, tuple[Callable[[dict[str, Any]], None], Callable[..., Filing]]] = {
        "cut": (_check_cut, notebook.add_cut),
        "tap": (_check_tap, notebook.add_tap),
        "noise": (_check_noise, notebook.add_noise),
    }
    check, add = kinds[kind]
    check(record["document"])
    filing = add(record["setup"], document=record["document"], added=_time(record["added"]), any_version=True)
    counts["known" if filing.filed == "again" else kind] += 1


def _are_same(one: SetupFacts, other: SetupFacts) -> bool:
    return all(is_same_fact(key, getattr(one, key), getattr(other, key)) for key in FACT_NAMES)


def _time(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(value)
    datetime.fromisoformat(value)  # raises ValueError
    return value


def _check_cut(document: dict[str, Any]) -> None:
    """Raise ValueError, KeyError or TypeError where a document is no `cut` document of version 1."""
    _check_common(document, "cut")
    settings, spindle = document["program"]["settings"], document["spindle"]
    _number(spindle["programmed_rpm"], least=LEAST)
    _number(spindle["measured_rpm"], least=LEAST, optional=True)
    _number(settings.get("depth_from_mm"), optional=True)
    for name in ("depth_mm", "width_mm", "feed_mm_min", "depth_to_mm"):
        _number(settings.get(name), least=LEAST, optional=True)
    _check_judged(document)
    for depth_mm in read_onset_mm(document):
        _number(depth_mm, optional=True)
    for cut in document["cuts"]:
        _check_judged(cut)
        _number(cut["measured_rpm"], least=LEAST, optional=True)
        _number(cut.get("half_passing_db"), least=-MOST_DB, most=MOST_DB, optional=True)
        for line in cut["lines"]:
            _number(line["frequency_hz"])
            _number(line["width_hz"], optional=True)
            _number(line["level_db"], least=-MOST_DB, most=MOST_DB)


def _check_judged(held: dict[str, Any]) -> None:
    """Check what a document says at its top and of each cut alike."""
    if held["verdict"] not in VERDICTS:
        raise ValueError(held["verdict"])
    _number(held["chatter_probability"], most=1.0, optional=True)
    _number(held["chatter_hz"], least=LEAST, optional=True)


def _check_tap(document: dict[str, Any]) -> None:
    _check_common(document, "tap")
    if document["of"] not in ("tool", "frame", "work"):
        raise ValueError(document["of"])


def _check_noise(document: dict[str, Any]) -> None:
    _check_common(document, "noise")
    _number(document["calibration"]["uncertainty_db"])
    levels_db = [document["levels"]["LAeq_db"], document["tonal_adjustment_db"]]
    if document.get("loud_part") is not None:
        levels_db.append(document["loud_part"]["LAeq_db"])
    neighbour = document["neighbour"]
    if neighbour is not None:
        _number(neighbour["distance_m"])
        levels_db += [neighbour[name] for name in ("LAeq_db", "low_db", "high_db", "rating_db")]
    for value in levels_db:
        _number(value, least=-MOST_DB, most=MOST_DB, optional=True)


def _check_common(document: dict[str, Any], kind: str) -> None:
    if document["document"] != kind or document["version"] != 1:
        raise ValueError(kind)
    if not isinstance(document["program"]["settings"], dict):
        raise TypeError(kind)
    if not isinstance(document["recording"]["file"], str):
        raise TypeError(kind)
    if not re.fullmatch(r"[0-9a-f]{64}", document["recording"]["sha256"]):
        raise ValueError(kind)


def _number(value: object, *, least: float = 0.0, most: float = MOST, optional: bool = False) -> None:
    if value is None and optional:
        return
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(value)
    if not least <= value <= most:  # whole numbers of any length, and NaN, compare too
        raise ValueError(value)


def read_lines(path: Path) -> list[tuple[int, dict[str, Any]]]:
    """Read the records of a file of lines, with their line numbers.

    Raises
    ------
    NotebookError
        The file can't be read, or is no export of a known schema.
    """
    try:
        lines = path.read_text(encoding="utf-8").split("\n")
    except UnicodeDecodeError as error:
        raise NotebookError(str(path), "it isn't text; nothing was added", REMEDY) from error
    except FileNotFoundError as error:
        raise NotebookError(str(path), "there is no such file", "check the name and the folder") from error
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        raise NotebookError.told_by_system(path, error) from error
    records: list[tuple[int, dict[str, Any]]] = []
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            record = json.loads(line, parse_constant=_refuse)
        except (ValueError, RecursionError) as error:
            raise NotebookError(str(path), f"line {number} isn't JSON; nothing was added", REMEDY) from error
        if not isinstance(record, dict):
            raise NotebookError(str(path), f"line {number} is no record; nothing was added", REMEDY)
        records.append((number, record))
    head = records[0][1] if records else {}
    if head.get("record") != "notebook":
        raise NotebookError(str(path), "it isn't an exported notebook; nothing was added", REMEDY)
    schema = head.get("schema")
    if schema not in range(1, SCHEMA + 1):
        raise NotebookError(
            str(path),
            f"it is an export of schema {schema!r}, and only 1 to {SCHEMA} are known; nothing was added",
            "import it with the version of the program that made it",
        )
    return records[1:]


def _refuse(name: str) -> float:
    raise ValueError(name)


def _line(record: dict[str, Any]) -> str:
    return as_json(record) + "\n"


def _cell(value: Any) -> Any:  # cells are of any kind
    """Keep a spreadsheet from taking words for a formula."""
    if isinstance(value, str) and value.startswith(FORMULA_SIGNS):
        return "'" + value
    return value


def _write_new(path: Path, parts: Iterator[str]) -> None:
    """Write a file that is not there yet."""
    taken = OutputError(str(path), "it exists already", "give a new name: nothing is overwritten")
    try:
        with made_new(path, taken=taken) as other:
            write_text(other, parts)
    except (OSError, ValueError) as error:
        remedy = "choose another place, or free some room"
        raise OutputError.told_by_system(path, error, remedy=remedy) from error
