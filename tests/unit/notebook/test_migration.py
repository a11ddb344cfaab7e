"""Notebooks of earlier versions of the program, with their tables written out as those versions made them."""

import sqlite3

import pytest

from chatter.errors import NotebookError
from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook, _schema
from tests.unit.notebook.made import made_cut, made_noise, made_tap

# The statements of each version so far. A version that was given out never changes: add one, never edit.
FIRST = """
CREATE TABLE setups (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE COLLATE NOCASE, facts TEXT NOT NULL,
    created TEXT NOT NULL, retired TEXT
);
CREATE TABLE cuts (
    id INTEGER PRIMARY KEY, setup_id INTEGER NOT NULL REFERENCES setups (id), sha256 TEXT NOT NULL,
    version INTEGER NOT NULL, is_current INTEGER NOT NULL, added TEXT NOT NULL, file TEXT NOT NULL,
    set_rpm REAL NOT NULL, measured_rpm REAL, depth_mm REAL, width_mm REAL, feed_mm_min REAL,
    verdict TEXT NOT NULL, chatter_probability REAL, chatter_hz REAL, document TEXT NOT NULL,
    UNIQUE (setup_id, sha256, version)
);
CREATE INDEX cuts_by_recording ON cuts (sha256);
"""
SECOND = """
CREATE TABLE taps (
    id INTEGER PRIMARY KEY, setup_id INTEGER NOT NULL REFERENCES setups (id), sha256 TEXT NOT NULL,
    part TEXT NOT NULL, version INTEGER NOT NULL, is_current INTEGER NOT NULL, added TEXT NOT NULL,
    file TEXT NOT NULL, document TEXT NOT NULL,
    UNIQUE (setup_id, sha256, version)
);
CREATE INDEX cuts_to_list ON cuts (
    setup_id, is_current, id, sha256, version, added, file, set_rpm, measured_rpm, depth_mm, width_mm,
    feed_mm_min, verdict, chatter_probability, chatter_hz
);
"""
THIRD = """
CREATE TABLE noises (
    id INTEGER PRIMARY KEY, setup_id INTEGER NOT NULL REFERENCES setups (id), sha256 TEXT NOT NULL,
    version INTEGER NOT NULL, is_current INTEGER NOT NULL, added TEXT NOT NULL, file TEXT NOT NULL,
    laeq_db REAL, rated_db REAL, document TEXT NOT NULL,
    UNIQUE (setup_id, sha256, version)
);
"""
VERSIONS = (FIRST, SECOND, THIRD)


@pytest.fixture(params=[1, 2, 3])
def old(request, tmp_path):
    """Give a notebook of an earlier version, with a setup and a cut."""
    path = tmp_path / "old.db"
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute(f"PRAGMA application_id = {0x43684E42}")  # "ChNB"
    for statements in VERSIONS[: request.param]:
        connection.executescript(statements)
    connection.execute(f"PRAGMA user_version = {request.param}")
    connection.execute(
        "INSERT INTO setups (name, facts, created) VALUES ('old', '{\"flutes\": 3}', '2026-01-01')"
    )
    connection.execute(
        "INSERT INTO cuts (setup_id, sha256, version, is_current, added, file, set_rpm, verdict, document) "
        "VALUES (1, 'aa', 1, 1, '2026-01-01', 'a.wav', 9000, 'stable', '{}')"
    )
    for sha256, document in (("ab", '{"ramp": {"onset_depth_mm": 1.5}}'), ("ac", '{"ramp": nul')):
        connection.execute(
            "INSERT INTO cuts (setup_id, sha256, version, is_current, added, file, set_rpm, verdict, "
            "document) VALUES (1, ?, 1, 1, '2026-01-01', 'b.wav', 9000, 'chatter', ?)",
            (sha256, document),
        )
    connection.close()
    return path


def layout(path):
    """Give every table's columns and every index's, as SQLite tells them."""
    connection = sqlite3.connect(path)
    names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master ORDER BY name")]
    told = {}
    for name in names:
        columns = connection.execute(f"PRAGMA table_info({name})").fetchall()
        told[name] = [column[1:] for column in columns] or connection.execute(
            f"PRAGMA index_info({name})"
        ).fetchall()
    version = connection.execute("PRAGMA user_version").fetchone()
    connection.close()
    return told, version


def test_earlier_notebook_is_only_told_about_by_a_command_that_reads(old):
    before = old.read_bytes()
    with pytest.raises(NotebookError, match="older version of the program"):
        Notebook(old)
    assert old.read_bytes() == before


def test_earlier_notebook_is_brought_up_to_date_with_its_cuts(old, tmp_path):
    with Notebook(old, write=True) as notebook:
        assert [cut.set_rpm for cut in notebook.list_cuts("old")] == [9000.0] * 3
        assert notebook.find_setup("old").facts == SetupFacts(flutes=3)
        assert notebook.add_cut("old", document=made_cut(half_passing_db=-9.0)).filed == "new"
        assert notebook.add_tap("old", document=made_tap()).filed == "new"
        assert notebook.add_noise("old", document=made_noise()).filed == "new"
    with Notebook(old) as notebook:
        assert [cut.half_passing_db for cut in notebook.list_cuts("old")] == [None, None, None, -9.0]
        assert [cut.ramp_onset_mm for cut in notebook.list_cuts("old")] == [None, 1.5, None, None]
        assert (len(notebook.list_taps("old")), len(notebook.list_noises("old"))) == (1, 1)
    fresh = tmp_path / "fresh.db"
    _schema.make_notebook(fresh)
    assert layout(old) == layout(fresh)


def test_update_that_cannot_be_finished_leaves_the_earlier_notebook(old, monkeypatch):
    before = layout(old)
    steps = (*_schema.STEPS[:-1], (*_schema.STEPS[-1], "CREATE TABLE setups (id)"))  # there is one already
    monkeypatch.setattr(_schema, "STEPS", steps)
    with pytest.raises(NotebookError):
        Notebook(old, write=True)
    assert layout(old) == before
