"""The public functions: a file in, a document out.

In: the path of a recording, or of a table of recordings, and what the user knows about the cut.
Out: a frozen `CutDocument`, or a file with one document a line.
Leaves out: every analysis (the pipelines do it) and every layout (report/).
"""

import csv
import difflib
import hashlib
import json
import math
import os
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from dataclasses import asdict, dataclass, fields
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Literal, cast

from chatter import __version__
from chatter.errors import BadValueError, ChatterError, FileProblemError, InputError, OutputError
from chatter.model import CutAnalysis, CutDocument, CutSetup, Direction, Finding, Recording

MAX_RPM = 200_000.0  # above the fastest dental and jewellers' air spindles; common practice
MAX_FLUTES = 20
MAX_LENGTH_MM = 1000.0  # no cutter of a small machine is longer, wider or stuck out further; common practice
MAX_FEED_MM_MIN = 100_000.0
DIRECTIONS = ("up", "climb")
# Upper end of each optional number; every one must be finite and above zero.
_LIMITS = {
    "min_rpm": MAX_RPM,
    "max_rpm": MAX_RPM,
    "tool_max_rpm": MAX_RPM,
    "depth_mm": MAX_LENGTH_MM,
    "max_depth_mm": MAX_LENGTH_MM,
    "width_mm": MAX_LENGTH_MM,
    "diameter_mm": MAX_LENGTH_MM,
    "feed_mm_min": MAX_FEED_MM_MIN,
    "stick_out_mm": MAX_LENGTH_MM,
}
BATCH_COLUMNS = ("file", *(field.name for field in fields(CutSetup)), "idle")
_WAITING_PER_JOB = 2  # rows handed out ahead of the one that is written next

Progress = Callable[[int, int], None]
Answer = Literal["stable", "chatter"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchSummary:
    """How a batch ended."""

    rows: int
    answered: int
    failed: int
    resumed: int  # rows whose answer an earlier run had already written
    unused_columns: tuple[str, ...]


def analyse_cut(
    path: str | Path,
    *,
    rpm: float,
    flutes: int,
    min_rpm: float | None = None,
    max_rpm: float | None = None,
    tool_max_rpm: float | None = None,
    depth_mm: float | None = None,
    max_depth_mm: float | None = None,
    width_mm: float | None = None,
    diameter_mm: float | None = None,
    direction: Direction | None = None,
    feed_mm_min: float | None = None,
    stick_out_mm: float | None = None,
    idle: str | Path | None = None,
) -> CutDocument:
    """Say whether the cuts in one recording chattered, and what to set next.

    Parameters
    ----------
    path
        The recording, in any format a phone writes.
    rpm
        Spindle speed as dialled, rev/min.
    flutes
        Cutting edges of the tool.
    min_rpm, max_rpm, tool_max_rpm
        What the spindle can be set to and the tool may turn, rev/min.
    depth_mm, max_depth_mm, width_mm, diameter_mm
        Axial depth of the cut and the largest one to suggest, radial width, tool diameter, mm.
    direction
        "up" (conventional) or "climb".
    feed_mm_min
        Feed of this cut, mm/min.
    stick_out_mm
        Length of tool outside the holder, mm.
    idle
        A recording without cutting, best of the same program run in air.

    Returns
    -------
    CutDocument
        The answer; `to_dict()` gives the `cut` document.

    Raises
    ------
    BadValueError
        A value is out of its range.
    FileProblemError, BadSamplesError
        A recording can't be read.
    """
    setup = _checked_setup(
        {
            "rpm": rpm,
            "flutes": flutes,
            "min_rpm": min_rpm,
            "max_rpm": max_rpm,
            "tool_max_rpm": tool_max_rpm,
            "depth_mm": depth_mm,
            "max_depth_mm": max_depth_mm,
            "width_mm": width_mm,
            "diameter_mm": diameter_mm,
            "direction": direction,
            "feed_mm_min": feed_mm_min,
            "stick_out_mm": stick_out_mm,
        }
    )
    # Imported here: scipy and numba take longer to load than a wrong value takes to refuse.
    from chatter.advice import advise
    from chatter.audio import read_recording
    from chatter.cut.pipeline import judge_recording

    recording = read_recording(Path(path))
    idle_recording = None if idle is None else read_recording(Path(idle))
    analysis = judge_recording(recording, setup=setup, idle=idle_recording)
    return CutDocument(
        program=_program(_settings(setup, idle_recording)),
        recording=_recording_part(recording, analysis),
        analysis=analysis,
        advice=advise(analysis, setup=setup),
    )


def analyse_batch(
    table: str | Path, *, out: str | Path, jobs: int = 1, progress: Progress | None = None
) -> BatchSummary:
    """Judge every recording of a table and write one document a line, in the table's order.

    A stopped run is resumed by the same call: rows whose line holds a `cut` document for the same file
    content and options are kept, error rows are tried again, and a last partial line is dropped.

    Parameters
    ----------
    table
        CSV with a header: `file` (relative to the table), `rpm`, `flutes` and any option of `analyse_cut`.
    out
        File to write, one JSON document a line.
    jobs
        Recordings judged at the same time, each in a process of its own.
    progress
        Called with (rows done, rows in all) after every row.

    Raises
    ------
    InputError
        The table can't be used, or `jobs` is not a whole number of at least 1.
    OutputError
        `out` can't be written, or holds something that is not a batch result.
    """
    if isinstance(jobs, bool) or not isinstance(jobs, int) or not 1 <= jobs <= 256:
        raise BadValueError("jobs", jobs, "a whole number from 1 to 256")
    table, out = Path(table), Path(out)
    rows, unused = _read_table(table)
    if out.exists() and out.resolve() == table.resolve():
        raise OutputError(str(out), "this is the table itself", "give the results a file of their own")
    known = _earlier_answers(out)
    kept = {
        number: line for number, row in enumerate(rows) if (line := known.get(_row_key(row) if known else ""))
    }
    waiting = [(number, row) for number, row in enumerate(rows) if number not in kept]
    lines = dict(kept)
    _replace_lines(out, [lines[number] for number in sorted(lines)])
    done = len(kept)
    if progress is not None:
        progress(done, len(rows))
    try:
        with out.open("a", encoding="utf-8", newline="\n") as results:
            for number, line in _answers(waiting, jobs):
                results.write(line + "\n")
                results.flush()
                os.fsync(results.fileno())
                lines[number] = line
                done += 1
                if progress is not None:
                    progress(done, len(rows))
    except OSError as error:
        raise OutputError(
            str(out), error.strerror or "can't be written", "free some room or choose another place"
        ) from error
    if list(lines) != sorted(lines):  # rows answered again stand behind the kept ones until here
        _replace_lines(out, [lines[number] for number in sorted(lines)])
    failed = sum(1 for line in lines.values() if json.loads(line)["document"] == "error")
    return BatchSummary(
        rows=len(rows), answered=len(rows) - failed, failed=failed, resumed=len(kept), unused_columns=unused
    )


def make_practice_recording(
    path: str | Path, *, rpm: float, flutes: int, answer: Answer, seed: int = 0
) -> None:
    """Write a simulated recording of a cut whose answer is chosen, to train an ear and check the program.

    Parameters
    ----------
    path
        File to write; its ending chooses the format (.wav, .flac or .m4a).
    rpm
        Dialled spindle speed, rev/min.
    flutes
        Cutting edges of the tool.
    answer
        "stable" or "chatter".
    seed
        The same number gives the same recording.

    Raises
    ------
    BadValueError
        A value is out of its range.
    OutputError
        The file can't be written.
    """
    setup = _checked_setup({"rpm": rpm, "flutes": flutes})
    if answer not in ("stable", "chatter"):
        raise BadValueError("answer", answer, "stable or chatter")
    if isinstance(seed, bool) or not isinstance(seed, int) or not 0 <= seed < 2**32:
        raise BadValueError("seed", seed, "a whole number from 0 to 4294967295")
    from chatter.simulate import write_practice_recording

    write_practice_recording(Path(path), rpm=setup.rpm, flutes=setup.flutes, answer=answer, seed=seed)


def _checked_setup(values: dict[str, Any]) -> CutSetup:
    """Check every value once, here at the public edge."""
    checked: dict[str, Any] = {
        "rpm": _number("rpm", values["rpm"], MAX_RPM),
        "flutes": _whole_number("flutes", values["flutes"], MAX_FLUTES),
    }
    for name, limit in _LIMITS.items():
        value = values.get(name)
        checked[name] = None if value is None else _number(name, value, limit)
    direction = values.get("direction")
    if direction is not None and direction not in DIRECTIONS:
        raise BadValueError("direction", direction, "up or climb")
    checked["direction"] = direction
    low, high = checked["min_rpm"], checked["max_rpm"]
    if low is not None and high is not None and low > high:
        raise BadValueError("min_rpm", low, f"a speed that is not above max_rpm ({high:g})")
    width, diameter = checked["width_mm"], checked["diameter_mm"]
    if width is not None and diameter is not None and width > diameter:
        raise BadValueError("width_mm", width, f"a width that is not above diameter_mm ({diameter:g})")
    return CutSetup(**checked)


def _number(name: str, value: object, limit: float) -> float:
    """Read one finite number above zero and not above the limit."""
    needed = f"a number above 0 and not above {limit:.0f}"
    if isinstance(value, bool):
        raise BadValueError(name, value, needed)
    try:
        number = float(cast(Any, value))
    except (TypeError, ValueError, OverflowError) as error:
        raise BadValueError(name, value, needed) from error
    if not math.isfinite(number) or not 0 < number <= limit:
        raise BadValueError(name, value, needed)
    return number


def _whole_number(name: str, value: object, limit: int) -> int:
    """Read one whole number from 1 to the limit."""
    needed = f"a whole number from 1 to {limit}"
    try:
        number = _number(name, value, float(limit))
    except BadValueError as error:
        raise BadValueError(name, value, needed) from error
    if number != int(number) or number < 1:
        raise BadValueError(name, value, needed)
    return int(number)


def _settings(setup: CutSetup, idle: Recording | None) -> dict[str, Any]:
    """List everything that the answer depends on beside the recording."""
    return {
        **asdict(setup),
        "idle": None if idle is None else idle.file,
        "idle_sha256": None if idle is None else idle.sha256,
    }


def _program(settings: dict[str, Any]) -> dict[str, Any]:
    return {"name": "chatter", "version": __version__, "settings": settings}


def _recording_part(recording: Recording, analysis: CutAnalysis) -> dict[str, Any]:
    """Give the `recording` part of a document, with the findings of every stage, each once."""
    found: dict[Finding, None] = dict.fromkeys(analysis.findings)
    for cut in analysis.cuts:
        found.update(dict.fromkeys(cut.findings))
    return {
        "file": recording.file,
        "sha256": recording.sha256,
        "duration_s": recording.duration_s,
        "sample_rate_hz": recording.rate_hz,
        "bandwidth_hz": recording.bandwidth_hz,
        "channel": analysis.channel,
        "findings": [finding.to_dict() for finding in found],
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One line of a batch table; `problem` says why it can't be judged."""

    file: str  # as written in the table
    path: Path
    options: dict[str, Any]
    idle: Path | None
    problem: str | None = None


def _read_table(table: Path) -> tuple[list[_Row], tuple[str, ...]]:
    """Read the rows of a table and the names of columns that nothing uses."""
    try:
        text = table.read_text(encoding="utf-8-sig")  # spreadsheets write a byte-order mark
    except UnicodeDecodeError as error:
        raise FileProblemError(str(table), "not a text table in UTF-8", "save it as CSV UTF-8") from error
    except (OSError, ValueError) as error:
        problem = getattr(error, "strerror", None) or "can't be read"
        raise FileProblemError(
            str(table), problem, "give a CSV table with the columns file, rpm, flutes"
        ) from error
    head = text.partition("\n")[0]
    reader = csv.DictReader(text.splitlines(), delimiter=";" if ";" in head and "," not in head else ",")
    try:
        names = [name.strip() for name in reader.fieldnames or ()]
        reader.fieldnames = names
        records = list(reader)
    except csv.Error as error:
        raise FileProblemError(str(table), f"not a CSV table ({error})", "save it again as CSV") from error
    missing = [name for name in ("file", "rpm", "flutes") if name not in names]
    if missing:
        raise InputError(
            f"{table}: the table has no column {missing[0]}: its first line must name file, rpm, flutes"
        )
    unused = tuple(name for name in names if name not in BATCH_COLUMNS and name)
    for name in unused:
        if close := difflib.get_close_matches(name, BATCH_COLUMNS, n=1, cutoff=0.8):
            raise InputError(
                f"{table}: unknown column {name}: rename it to {close[0]}, or to something less alike"
            )
    return [_row(record, table.parent) for record in records], unused


def _row(record: dict[str, Any], folder: Path) -> _Row:
    """Turn one record of the table into a row, with its values still unchecked."""
    cells = {name: (record.get(name) or "").strip() for name in BATCH_COLUMNS}
    options: dict[str, Any] = {
        name: cells[name] or None for name in BATCH_COLUMNS if name not in ("file", "idle")
    }
    problem = None
    if None in record:
        problem = "this row has more cells than the header: put names that hold commas in quotes"
    elif not cells["file"]:
        problem = "this row names no file: fill in its file column"
    elif absent := [name for name in ("rpm", "flutes") if options[name] is None]:
        problem = f"this row gives no {absent[0]}: fill in its {absent[0]} column"
    idle = folder / cells["idle"] if cells["idle"] else None
    return _Row(file=cells["file"], path=folder / cells["file"], options=options, idle=idle, problem=problem)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _key(file: object, sha256: object, settings: object) -> str:
    return json.dumps([file, sha256, settings], sort_keys=True)


def _row_key(row: _Row) -> str:
    """Name a row by its file's content and its options; empty where it can't be answered."""
    try:
        settings = asdict(_checked_setup(row.options))
        settings["idle"] = None if row.idle is None else row.idle.name
        settings["idle_sha256"] = None if row.idle is None else _sha256(row.idle)
        return _key(row.path.name, _sha256(row.path), settings)
    except (ChatterError, OSError, ValueError):
        return ""


def _earlier_answers(out: Path) -> dict[str, str]:
    """Read the `cut` documents of an earlier run, by file content and options."""
    try:
        data = out.read_bytes()
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise OutputError(str(out), error.strerror or "can't be read", "choose another file") from error
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


def _replace_lines(out: Path, lines: list[str]) -> None:
    """Write the file anew in one step: a stop leaves the old file or the new one, never half of one."""
    beside = out.with_name(out.name + ".new")
    try:
        with beside.open("w", encoding="utf-8", newline="\n") as file:
            file.writelines(line + "\n" for line in lines)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(out)
    except OSError as error:
        raise OutputError(str(out), error.strerror or "can't be written", "choose another place") from error


def _answer(row: _Row) -> str:
    """Judge one row; whatever goes wrong with it becomes its error document."""
    from chatter.report import to_json

    if row.problem is not None:
        return _error_line(row, row.problem)
    try:
        document = analyse_cut(row.path, idle=row.idle, **row.options)
        return to_json(document.to_dict(), indent=None)
    except ChatterError as error:
        return _error_line(row, " ".join(str(error).split()))
    except Exception as error:  # one row's bug must not take the other rows with it
        kind = type(error).__name__
        return _error_line(
            row, f"the program failed on this row ({kind}: {error}): please report it with the file"
        )


def _error_line(row: _Row, message: str) -> str:
    program = _program(row.options)
    error = {"document": "error", "version": 1, "program": program, "file": row.file, "message": message}
    return json.dumps(error, ensure_ascii=False, allow_nan=False)


def _answers(waiting: list[tuple[int, _Row]], jobs: int) -> Iterator[tuple[int, str]]:
    """Give each row's line in order, judged by as many processes as asked for."""
    if jobs == 1 or len(waiting) <= 1:
        for number, row in waiting:
            yield number, _answer(row)
        return
    rest = deque(waiting)
    while rest:
        try:
            for number, line in _answers_from_pool(tuple(rest), jobs):
                rest.popleft()
                yield number, line
        except BrokenExecutor:  # the next row, or one near it, killed its process: judge the next one alone
            number, row = rest.popleft()
            yield number, _answer_alone(row)


def _answers_from_pool(waiting: tuple[tuple[int, _Row], ...], jobs: int) -> Iterator[tuple[int, str]]:
    """Hand rows to a pool a few ahead, so that a long table needs no more memory than a short one."""
    pool = ProcessPoolExecutor(jobs, mp_context=get_context("spawn"))
    ahead: deque[tuple[int, Future[str]]] = deque()
    try:
        for number, row in waiting:
            ahead.append((number, pool.submit(_answer, row)))
            if len(ahead) >= jobs * _WAITING_PER_JOB:
                first, future = ahead.popleft()
                yield first, future.result()
        while ahead:
            first, future = ahead.popleft()
            yield first, future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _answer_alone(row: _Row) -> str:
    """Judge one row in a process of its own, so that its death costs no other row."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        try:
            return pool.submit(_answer, row).result()
        except BrokenExecutor:
            return _error_line(row, "reading this file killed the process: convert it to WAV and try again")
