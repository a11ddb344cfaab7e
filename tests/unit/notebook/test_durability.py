"""Kills, crowds, full disks and read-only files: nothing that was confirmed is lost."""

import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from chatter.analysis import export_notebook
from chatter.errors import NotebookError
from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from chatter.notebook.store import check_folder
from tests.unit.notebook.made import made_cut

ROOT = Path(__file__).parents[3]
FACTS = SetupFacts(flutes=2)
# Adds cuts until it is killed or done, and confirms each by a line, written after the call has returned.
WRITER = """
import sys
from pathlib import Path
from chatter.notebook import Notebook
from tests.unit.notebook.made import made_cut
path, name, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
for number in range(count):
    with Notebook(path, write=True) as notebook:
        notebook.add_cut("a", document=made_cut(f"{name} {number}"))
    print(f"{name} {number}.wav", flush=True)
"""


def start_writer(path, name, count):
    command = [sys.executable, "-c", WRITER, str(path), name, str(count)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)


@pytest.fixture
def path(tmp_path):
    made = tmp_path / "notebook.db"
    with Notebook(made, write=True, make=True) as notebook:
        notebook.add_setup("a", facts=FACTS)
    return made


# Stops in the middle of a change that has reached the file already: pages that don't fit into memory do so
# before the change is confirmed (https://www.sqlite.org/pragma.html#pragma_cache_spill).
STOPPED = """
import os, signal, sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("PRAGMA cache_size = 1")
connection.execute("BEGIN IMMEDIATE")
for number in range(200):
    connection.execute("INSERT INTO setups (name, facts, created) VALUES (?, ?, '')", (number, "{}" * 2000))
os.kill(os.getpid(), signal.SIGKILL)
"""


def files_in(path):
    with Notebook(path) as notebook:
        return [cut.file for cut in notebook.list_cuts("a")]


def test_notebook_killed_at_random_moments_during_200_writes_holds_every_confirmed_cut(path):
    moments = random.Random(6)
    confirmed, run = [], 0
    while len(confirmed) < 200:
        run += 1
        writer = start_writer(path, f"run {run}", 200)
        wanted = moments.randrange(1, 30)
        for line in writer.stdout:
            confirmed.append(line.strip())
            wanted -= 1
            if wanted == 0:
                break
        # Somewhere inside one of the writes that follow: one takes a few milliseconds.
        try:
            writer.wait(timeout=moments.random() * 0.02)
        except subprocess.TimeoutExpired:
            writer.send_signal(signal.SIGKILL)
        confirmed += [line.strip() for line in writer.stdout if line.endswith("\n")]
        writer.wait()
        writer.stdout.close()
        held = files_in(path)
        assert set(confirmed) <= set(held)
        assert len(held) == len(set(held))
        assert len(held) <= len(confirmed) + run  # at most one a kill was kept and not yet confirmed
    assert run > 3


def stop_in_the_middle(path):
    subprocess.run([sys.executable, "-c", STOPPED, str(path)], check=False)
    journal = path.with_name(f"{path.name}-journal")
    assert journal.stat().st_size > 0  # there is something to take back
    return journal


def test_reading_after_a_kill_in_the_middle_of_a_change_gives_what_was_confirmed(path):
    journal = stop_in_the_middle(path)
    with Notebook(path) as notebook:
        assert [one.name for one in notebook.list_setups()] == ["a"]
    assert not journal.exists()


def test_change_half_done_on_a_disk_that_cannot_be_written_is_told_as_what_it_is():
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "notebook.db"
        with Notebook(path, write=True, make=True) as notebook:
            notebook.add_setup("a", facts=FACTS)
        stop_in_the_middle(path)
        for one in path.parent.iterdir():
            one.chmod(0o444)
        path.parent.chmod(0o555)
        try:
            said = as_nobody(lambda: Notebook(path))
            assert "a stopped command left a change half done" in said
        finally:
            path.parent.chmod(0o755)


IMPORTER = """
import sys
from chatter.analysis import import_notebook
print("begins", flush=True)
import_notebook(sys.argv[1], notebook=sys.argv[2])
"""


@pytest.mark.parametrize("is_there", [True, False])
def test_import_killed_at_random_moments_adds_all_or_nothing(path, tmp_path, is_there):
    lines, full, moments = tmp_path / "out.jsonl", 150, random.Random(8)
    source = tmp_path / "source.db"
    source.write_bytes(path.read_bytes())
    with Notebook(source, write=True) as notebook, notebook.whole():
        for number in range(full):
            notebook.add_cut("a", document=made_cut(f"cut {number}"))
    export_notebook(lines, notebook=source)
    ends = []
    for run in range(8):
        target = tmp_path / f"target {run}.db"
        if is_there:
            target.write_bytes(path.read_bytes())
        importer = subprocess.Popen(
            [sys.executable, "-c", IMPORTER, str(lines), str(target)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        importer.stdout.readline()
        try:
            importer.wait(timeout=moments.random() * 0.2)  # it takes about as long
        except subprocess.TimeoutExpired:
            importer.send_signal(signal.SIGKILL)
        importer.communicate()
        ends.append(len(files_in(target)) if is_there or target.exists() else 0)
    assert set(ends) <= {0, full}


def test_two_processes_writing_at_once_lose_nothing(path):
    writers = [start_writer(path, name, 60) for name in ("left", "right")]
    said = [set(writer.communicate(timeout=120)[0].splitlines()) for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0]
    assert set(files_in(path)) == said[0] | said[1]
    assert len(files_in(path)) == 120


def test_two_processes_making_the_same_notebook_end_with_one(tmp_path):
    path = tmp_path / "new.db"
    code = (
        "import sys; from pathlib import Path; from chatter.notebook import Notebook; "
        "from chatter.model.notebook import SetupFacts\n"
        "with Notebook(Path(sys.argv[1]), write=True, make=True) as notebook: "
        "notebook.add_setup(sys.argv[2], facts=SetupFacts(flutes=2))"
    )
    makers = [
        subprocess.Popen([sys.executable, "-c", code, str(path), f"setup {n}"], cwd=ROOT) for n in range(4)
    ]
    assert [maker.wait(timeout=60) for maker in makers] == [0, 0, 0, 0]
    with Notebook(path) as notebook:
        assert len(notebook.list_setups()) == 4
    assert list(tmp_path.iterdir()) == [path]


def test_full_disk_gives_one_line_and_keeps_what_was_there(path):
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    with Notebook(path, write=True) as notebook:
        notebook.add_cut("a", document=made_cut("kept"))
        large = made_cut("large")
        large["cuts"] = large["cuts"] * 2000
        # A file may not grow beyond this: the system refuses the write, as it does on a full disk.
        resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + 8192, before[1]))
        try:
            with pytest.raises(NotebookError, match=r"full or can't be written; nothing was added"):
                notebook.add_cut("a", document=large)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
        notebook.add_cut("a", document=made_cut("later"))
    assert files_in(path) == ["kept.wav", "later.wav"]


def test_no_room_to_make_a_notebook_leaves_no_file(tmp_path):
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, before[1]))
    try:
        with pytest.raises(NotebookError, match="full or can't be written"):
            Notebook(tmp_path / "new.db", write=True, make=True)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert list(tmp_path.iterdir()) == []


def as_nobody(work):
    """Run in a child process that may not override permissions; give what it says."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        said = "nothing went wrong"
        try:
            if os.geteuid() == 0:
                os.setgid(65_534)
                os.setuid(65_534)  # nobody
            work()
        except BaseException as error:
            said = f"{type(error).__name__}: {error}"
        os.write(write, said.encode())
        os._exit(0)
    os.close(write)
    with os.fdopen(read, "rb") as answer:
        said = answer.read().decode()
    os.waitpid(child, 0)
    return said


def test_read_only_file_in_a_read_only_folder_is_read_and_refuses_writing_in_one_line():
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "notebook.db"
        with Notebook(path, write=True, make=True) as notebook:
            notebook.add_setup("a", facts=FACTS)
            notebook.add_cut("a", document=made_cut())
        path.chmod(0o444)
        path.parent.chmod(0o555)
        before = path.read_bytes()

        def write():
            with Notebook(path, write=True) as notebook:
                notebook.add_cut("a", document=made_cut("two"))

        def read():
            with Notebook(path) as notebook:
                assert len(notebook.list_cuts("a")) == 1

        try:
            said = as_nobody(write)
            assert said.startswith("NotebookError")
            assert "can't be written; nothing was added" in said
            assert as_nobody(read) == "nothing went wrong"
            assert path.read_bytes() == before
        finally:
            path.parent.chmod(0o755)


def test_folder_that_takes_no_journal_is_told_before_the_work():
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "notebook.db"
        with Notebook(path, write=True, make=True):
            pass
        path.chmod(0o666)
        path.parent.chmod(0o555)  # the file may be written, but no journal made beside it
        try:
            said = as_nobody(lambda: Notebook(path, write=True))
        finally:
            path.parent.chmod(0o755)
    assert "check the permissions of the file and its folder" in said


def test_folder_that_takes_no_new_notebook_is_told_before_the_work():
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o555)
        path = Path(name) / "new.db"
        try:
            said = as_nobody(lambda: check_folder(path))
        finally:
            Path(name).chmod(0o755)
    assert "permission denied: check its name and permissions" in said


def test_folder_that_may_not_be_looked_into_gives_one_line():
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        closed = Path(name) / "closed"
        closed.mkdir(mode=0o000)
        said = as_nobody(lambda: Notebook(closed / "x.db", write=True, make=True))
        assert said.startswith("NotebookError: ")
        assert "permission denied: check its name and permissions" in said
