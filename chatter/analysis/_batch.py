"""A table of recordings in, one document a line out, by several processes, and resumable.

In: the paths of a CSV table and of a results file. Out: the results file, and how the run ended.
Leaves out: reading the table (_table.py).
"""

import json
import os
import threading
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context, parent_process
from pathlib import Path

from chatter.analysis._cut import analyse_cut
from chatter.analysis._files import replace_text
from chatter.analysis._parts import program_part
from chatter.analysis._table import Row, earlier_answers, read_table, row_key
from chatter.errors import BadValueError, ChatterError, OutputError

_WAITING_PER_JOB = 2  # rows handed out ahead of the one that is written next

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchSummary:
    """How a batch ended."""

    rows: int
    answered: int
    failed: int
    resumed: int  # rows whose answer an earlier run had already written
    unused_columns: tuple[str, ...]


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
    rows, unused = read_table(table)
    try:
        is_table = out.exists() and out.samefile(table)
    except OSError as error:
        raise OutputError.told_by_system(out, error) from error
    if is_table:
        raise OutputError(str(out), "this is the table itself", "give the results a file of their own")
    known = earlier_answers(out)
    kept = {
        number: line for number, row in enumerate(rows) if (line := known.get(row_key(row) if known else ""))
    }
    waiting = [(number, row) for number, row in enumerate(rows) if number not in kept]
    lines = dict(kept)
    _refuse_foreign(out, known, rows)
    _write_in_order(out, lines)
    done = len(kept)
    if progress is not None:
        progress(done, len(rows))
    try:
        with out.open("a", encoding="utf-8", newline="\n") as results:
            for number, line in answer_rows(waiting, jobs):
                results.write(line + "\n")
                results.flush()
                os.fsync(results.fileno())
                lines[number] = line
                done += 1
                if progress is not None:
                    progress(done, len(rows))
    except OSError as error:
        raise OutputError.told_by_system(
            out, error, remedy="free some room or choose another place"
        ) from error
    if list(lines) != sorted(lines):  # rows answered again stand behind the kept ones until here
        _write_in_order(out, lines)
    failed = sum(1 for line in lines.values() if json.loads(line)["document"] == "error")
    return BatchSummary(
        rows=len(rows), answered=len(rows) - failed, failed=failed, resumed=len(kept), unused_columns=unused
    )


def _refuse_foreign(out: Path, known: dict[str, str], rows: list[Row]) -> None:
    """Keep the answers of recordings that the table doesn't name from being lost."""
    named = {row.path.name for row in rows}
    foreign = sum(json.loads(line)["recording"]["file"] not in named for line in known.values())
    if foreign:
        answers = "an answer" if foreign == 1 else f"{foreign} answers"
        problem = f"it holds {answers} to recordings that the table doesn't name"
        raise OutputError(str(out), problem, "give another name, or move it away")


def _write_in_order(out: Path, lines: dict[int, str]) -> None:
    replace_text(out, (lines[number] + "\n" for number in sorted(lines)))


def _answer(row: Row) -> str:
    """Judge one row; whatever goes wrong with it becomes its error document."""
    from chatter.report import to_json

    if row.problem is not None:
        return _error_line(row, row.problem)
    try:
        document = analyse_cut(row.path, idle=row.idle, tap=row.taps, **row.options)
        return to_json(document.to_dict(), indent=None)
    except ChatterError as error:
        return _error_line(row, " ".join(str(error).split()))
    except Exception as error:  # one row's bug must not take the other rows with it
        kind = type(error).__name__
        return _error_line(
            row, f"the program failed on this row ({kind}: {error}): please report it with the file"
        )


def _error_line(row: Row, message: str) -> str:
    program = program_part(row.options)
    error = {"document": "error", "version": 1, "program": program, "file": row.file, "message": message}
    return json.dumps(error, ensure_ascii=False, allow_nan=False)


def answer_rows(waiting: list[tuple[int, Row]], jobs: int) -> Iterator[tuple[int, str]]:
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


def _answers_from_pool(waiting: tuple[tuple[int, Row], ...], jobs: int) -> Iterator[tuple[int, str]]:
    """Hand rows to a pool a few ahead, so that a long table needs no more memory than a short one."""
    pool = ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_end_with_parent)
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


def _end_with_parent() -> None:
    """End this process when the one that started it is gone, even if that was killed."""
    parent = parent_process()
    if parent is not None:

        def wait() -> None:
            parent.join()
            os._exit(1)

        threading.Thread(target=wait, daemon=True).start()


def _answer_alone(row: Row) -> str:
    """Judge one row in a process of its own, so that its death costs no other row."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        try:
            return pool.submit(_answer, row).result()
        except BrokenExecutor:
            return _error_line(row, "reading this file killed the process: convert it to WAV and try again")
