"""Out of a notebook and back in."""

import csv
import json
import os
import sqlite3
from unittest import mock

import pytest

from chatter.analysis import (
    add_setup,
    back_up_notebook,
    export_notebook,
    import_notebook,
    list_setups,
)
from chatter.analysis._notebook import begin_history, checked_facts, kept_taps
from chatter.errors import NotebookError, OutputError
from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from tests.unit.notebook.made import made_cut, made_noise, made_tap

FACTS = SetupFacts(flutes=2, machine="=HYPERLINK()", max_rpm=24_000.0)


@pytest.fixture
def filled(tmp_path):
    """Give a notebook with two setups, a changed cut, a tap and a noise measurement."""
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("long", facts=FACTS)
        notebook.add_setup("old one", facts=SetupFacts(flutes=4))
        notebook.add_cut("long", document=made_cut("a", set_rpm=12_000.0))
        notebook.add_cut("long", document=made_cut("a", set_rpm=21_000.0))
        notebook.add_cut("long", document=made_cut("b\u2028c\udcff", verdict="chatter", chatter_hz=913.4))
        notebook.add_tap("long", document=made_tap())
        notebook.add_noise("long", document=made_noise("a", neighbour_db=58.0))
        notebook.add_cut("old one", document=made_cut("d", half_passing_db=-18.0))
        notebook.retire_setup("old one")
    return path


def everything(path):
    with Notebook(path) as notebook:
        setups = notebook.list_setups(retired=True)
        return [
            (
                setup,
                notebook.list_cuts(setup.name, earlier_versions=True),
                [
                    notebook.read_cut(cut.number)
                    for cut in notebook.list_cuts(setup.name, earlier_versions=True)
                ],
                notebook.list_taps(setup.name),
                notebook.list_noises(setup.name),
                [notebook.read_noise(noise.number) for noise in notebook.list_noises(setup.name)],
            )
            for setup in setups
        ]


def test_lines_imported_into_an_empty_notebook_give_the_same_notebook(filled, tmp_path):
    done = export_notebook(tmp_path / "out.jsonl", notebook=filled)
    assert (done.setups, done.cuts, done.taps, done.noises) == (2, 4, 1, 1)
    import_notebook(tmp_path / "out.jsonl", notebook=tmp_path / "new.db")
    assert everything(tmp_path / "new.db") == everything(filled)


def test_lines_imported_twice_add_nothing(filled, tmp_path):
    export_notebook(tmp_path / "out.jsonl", notebook=filled)
    before = everything(filled)
    done = import_notebook(tmp_path / "out.jsonl", notebook=filled)
    assert (done.setups, done.cuts, done.taps, done.noises, done.known) == (0, 0, 0, 0, 6)
    assert everything(filled) == before


def test_what_an_import_brings_is_as_old_as_when_it_was_added(tmp_path):
    def made(name, day, *, frequency_hz):
        path = tmp_path / f"{name}.db"
        added = f"2026-11-{day}T12:00:00+00:00"
        with Notebook(path, write=True, make=True) as notebook:
            notebook.add_setup("long", facts=FACTS)
            notebook.add_cut("long", document=made_cut(name), added=added)
            notebook.add_tap("long", document=made_tap(name, frequency_hz=frequency_hz), added=added)
            notebook.add_noise("long", document=made_noise(name), added=added)
        return path

    older, newer = made("old", "01", frequency_hz=600.0), made("new", "02", frequency_hz=930.0)
    export_notebook(tmp_path / "out.jsonl", notebook=older)
    import_notebook(tmp_path / "out.jsonl", notebook=newer)
    with Notebook(newer) as notebook:
        for listed, read in (
            (notebook.list_cuts("long"), notebook.read_cut),
            (notebook.list_taps("long"), notebook.read_tap),
            (notebook.list_noises("long"), notebook.read_noise),
        ):
            assert [(one.file, one.number) for one in listed] == [("old.wav", 2), ("new.wav", 1)]
            assert [read(one.number)["recording"]["file"] for one in listed] == ["old.wav", "new.wav"]
        (tap,) = kept_taps(notebook, "long")
    assert tap.modes[0].frequency_hz == 930.0


@pytest.mark.parametrize("retired", [(), ("a",), ("b",), ("a", "b")])
def test_setup_in_use_in_either_notebook_is_in_use_whichever_is_imported(retired, tmp_path):
    for name in ("a", "b"):
        with Notebook(tmp_path / f"{name}.db", write=True, make=True) as notebook:
            notebook.add_setup("long", facts=FACTS)
            if name in retired:
                notebook.retire_setup("long")
        export_notebook(tmp_path / f"{name}.jsonl", notebook=tmp_path / f"{name}.db")
    for into, lines in (("a", "b"), ("b", "a")):
        import_notebook(tmp_path / f"{lines}.jsonl", notebook=tmp_path / f"{into}.db")
        with Notebook(tmp_path / f"{into}.db") as notebook:
            assert (notebook.get_setup("long").retired is None) == (len(retired) < 2)


def filed_at(path, *documents):
    """Make a notebook that holds versions of one recording, each as deep and added as told."""
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("long", facts=FACTS)
        for depth_mm, added in documents:
            notebook.add_cut("long", document=made_cut("a", depth_mm=depth_mm), added=added)
    return path


def versions(path):
    with Notebook(path) as notebook:
        kept = notebook.list_cuts("long", earlier_versions=True)
        told = [(cut.depth_mm, cut.version, cut.is_current) for cut in kept]
    return sorted(told, key=lambda one: one[1])


@pytest.mark.parametrize(
    ("added", "current_mm"),
    [
        ("2026-11-01T12:00:00+00:00", 2.0),
        ("2026-11-03T12:00:00+00:00", 3.0),
        ("2026-11-02T12:30:00+02:00", 2.0),  # 10:30 UTC
        ("2026-11-02T12:30:00", 3.0),
    ],
)
def test_of_versions_of_a_cut_from_two_notebooks_the_one_added_last_is_current(added, current_mm, tmp_path):
    mine = filed_at(
        tmp_path / "mine.db", (1.0, "2026-10-01T12:00:00+00:00"), (2.0, "2026-11-02T12:00:00+00:00")
    )
    other = filed_at(tmp_path / "other.db", (1.0, "2026-10-01T12:00:00+00:00"), (3.0, added))
    export_notebook(tmp_path / "other.jsonl", notebook=other)
    import_notebook(tmp_path / "other.jsonl", notebook=mine)
    got = [(1.0, 1, False), (2.0, 2, current_mm == 2.0), (3.0, 3, current_mm == 3.0)]
    assert versions(mine) == got
    import_notebook(tmp_path / "other.jsonl", notebook=mine)
    assert versions(mine) == got
    with Notebook(mine, write=True) as notebook:  # filed here again, the current one is known as that
        filing = notebook.add_cut("long", document=made_cut("a", depth_mm=current_mm))
    assert (filing.filed, filing.version) == ("again", int(current_mm))


def test_cut_that_was_put_back_as_it_was_is_current_in_another_notebook_too(tmp_path):
    days = [f"2026-11-0{day}T12:00:00+00:00" for day in (1, 2, 3)]
    path = filed_at(tmp_path / "n.db", (1.0, days[0]), (2.0, days[1]), (1.0, days[2]))
    export_notebook(tmp_path / "n.jsonl", notebook=path)
    for _ in range(2):
        import_notebook(tmp_path / "n.jsonl", notebook=tmp_path / "new.db")
        assert versions(tmp_path / "new.db") == [(1.0, 1, False), (2.0, 2, False), (1.0, 3, True)]


def test_which_version_is_current_does_not_hang_on_the_order_of_imports(tmp_path):
    days = [f"2026-11-0{day}T12:00:00+00:00" for day in (1, 2, 3)]
    for name, filed in (("again", (1.0, days[2])), ("between", (2.0, days[1]))):
        export_notebook(tmp_path / f"{name}.jsonl", notebook=filed_at(tmp_path / f"{name}.db", filed))
    for order in (("again", "between"), ("between", "again")):
        mine = filed_at(tmp_path / f"{order[0]} first.db", (1.0, days[0]))
        for name in order:
            import_notebook(tmp_path / f"{name}.jsonl", notebook=mine)
        assert [depth_mm for depth_mm, _, is_current in versions(mine) if is_current] == [1.0]


def test_cut_that_is_put_back_at_once_is_current_in_another_notebook_too(tmp_path):
    path = filed_at(tmp_path / "n.db", (1.0, None), (2.0, None), (1.0, None))
    export_notebook(tmp_path / "n.jsonl", notebook=path)
    import_notebook(tmp_path / "n.jsonl", notebook=tmp_path / "new.db")
    assert versions(tmp_path / "new.db") == [(1.0, 1, False), (2.0, 2, False), (1.0, 3, True)]


def test_setup_whose_material_has_another_name_there_is_the_same_setup(tmp_path):
    for name, material in (("mine", "Brass"), ("other", "brass"), ("third", "7075")):
        with Notebook(tmp_path / f"{name}.db", write=True, make=True) as notebook:
            notebook.add_setup("long", facts=SetupFacts(flutes=2, material=material))
            notebook.add_cut("long", document=made_cut(name))
        export_notebook(tmp_path / f"{name}.jsonl", notebook=tmp_path / f"{name}.db")
    assert import_notebook(tmp_path / "other.jsonl", notebook=tmp_path / "mine.db").cuts == 1
    with pytest.raises(NotebookError, match="has other facts"):
        import_notebook(tmp_path / "third.jsonl", notebook=tmp_path / "mine.db")
    with Notebook(tmp_path / "mine.db") as notebook:
        assert notebook.find_setup("long").facts.material == "Brass"


def test_every_line_is_strict_json_with_its_record(filled, tmp_path):
    export_notebook(tmp_path / "out.jsonl", notebook=filled)
    lines = (tmp_path / "out.jsonl").read_text(encoding="utf-8").split("\n")[:-1]
    records = [json.loads(line) for line in lines]
    assert [record["record"] for record in records] == [
        "notebook",
        "setup",
        "setup",
        "cut",
        "cut",
        "cut",
        "tap",
        "noise",
        "cut",
    ]


def test_lines_of_the_first_schema_are_read(filled, tmp_path):
    export_notebook(tmp_path / "out.jsonl", notebook=filled)
    lines = (tmp_path / "out.jsonl").read_text(encoding="utf-8").split("\n")
    old = [line.replace('"schema": 2', '"schema": 1') for line in lines if '"record": "noise"' not in line]
    (tmp_path / "old.jsonl").write_text("\n".join(old), encoding="utf-8")
    done = import_notebook(tmp_path / "old.jsonl", notebook=tmp_path / "new.db")
    assert (done.cuts, done.taps, done.noises) == (4, 1, 0)


def test_table_has_a_row_a_current_cut_and_no_formula(filled, tmp_path):
    export_notebook(tmp_path / "out.csv", notebook=filled)
    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["setup"], row["set_rpm"], row["verdict"]) for row in rows] == [
        ("long", "21000.0", "stable"),
        ("long", "12000.0", "chatter"),
        ("old one", "12000.0", "stable"),
    ]
    assert rows[0]["setup_machine"] == "'=HYPERLINK()"


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "＝", "\n="])
def test_name_that_begins_like_a_formula_is_words_in_the_table(tmp_path, sign):
    path, out = tmp_path / "n.db", tmp_path / "out.csv"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("a", facts=FACTS)
        notebook.add_cut("a", document=made_cut(f"{sign}1+1"))
    export_notebook(out, notebook=path)
    with out.open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["file"] == f"'{sign}1+1.wav"


def test_existing_file_is_not_overwritten(filled, tmp_path):
    out = tmp_path / "out.csv"
    out.write_text("mine")
    with pytest.raises(OutputError, match="nothing is overwritten"):
        export_notebook(out, notebook=filled)
    assert out.read_text() == "mine"


def test_setup_with_other_facts_is_refused_and_nothing_is_added(filled, tmp_path):
    export_notebook(tmp_path / "out.jsonl", notebook=filled)
    other = tmp_path / "other.db"
    with Notebook(other, write=True, make=True) as notebook:
        notebook.add_setup("OLD ONE", facts=SetupFacts(flutes=3))
    with pytest.raises(NotebookError, match="other facts"):
        import_notebook(tmp_path / "out.jsonl", notebook=other)
    with Notebook(other) as notebook:
        assert [one.name for one in notebook.list_setups()] == ["OLD ONE"]


def broken(lines, number, change):
    record = json.loads(lines[number])
    change(record)
    return [*lines[:number], json.dumps(record), *lines[number + 1 :]]


@pytest.mark.parametrize("loud_part", ["soup", {}, {"LAeq_db": "loud"}, {"LAeq_db": 1e9}])
def test_noise_with_a_broken_loud_part_is_refused(filled, tmp_path, loud_part):
    out = tmp_path / "out.jsonl"
    export_notebook(out, notebook=filled)
    lines = out.read_text(encoding="utf-8").split("\n")
    at = next(number for number, line in enumerate(lines) if '"record": "noise"' in line)
    for told, is_refused in ((loud_part, True), ({"LAeq_db": 84.5}, False), (None, False)):
        changed = broken(lines, at, lambda record, told=told: record["document"].update(loud_part=told))
        out.write_text("\n".join(changed), encoding="utf-8")
        other = tmp_path / f"{told is None}{is_refused}.db"
        if is_refused:
            with pytest.raises(NotebookError, match=f"line {at + 1}"):
                import_notebook(out, notebook=other)
        else:
            assert import_notebook(out, notebook=other).noises == 1


@pytest.mark.parametrize(
    "change",
    [
        lambda record: record.pop("document"),
        lambda record: record.update(record="soup"),
        lambda record: record.update(setup="nobody's"),
        lambda record: record["document"].update(version=2),
        lambda record: record["document"].update(verdict="fine"),
        lambda record: record["document"]["cuts"][0].update(half_passing_db="loud"),
        lambda record: record["document"].update(ramp={"onset_depth_mm": "deep", "onset_depth_sd_mm": 1}),
        lambda record: record["document"].update(ramp=[]),
        lambda record: record["document"].update(cuts=None),
        lambda record: record["document"]["spindle"].update(programmed_rpm="fast"),
        lambda record: record["document"]["program"]["settings"].update(depth_mm=-1),
        lambda record: record["document"]["program"]["settings"].update(depth_mm=0),
        lambda record: record["document"]["program"]["settings"].update(width_mm=10**400),
        lambda record: record["document"]["spindle"].update(measured_rpm=0),
        lambda record: record["document"]["cuts"][0]["lines"][0].update(frequency_hz=[]),
        lambda record: record["document"].update(cut_index=5),
        lambda record: record["document"]["recording"].update(sha256="../x"),
        lambda record: record["document"]["recording"].update(file=3),
        lambda record: record.update(added="yesterday"),
        lambda record: record.update(added=None),
    ],
    ids=[
        "document",
        "record",
        "setup",
        "version",
        "verdict",
        "halves",
        "onset",
        "ramp",
        "cuts",
        "speed",
        "depth",
        "no depth",
        "huge",
        "no speed",
        "line",
        "cut index",
        "sha256",
        "file",
        "date",
        "no date",
    ],
)
def test_broken_line_is_named_and_nothing_is_added(filled, tmp_path, change):
    out = tmp_path / "out.jsonl"
    export_notebook(out, notebook=filled)
    lines = out.read_text(encoding="utf-8").split("\n")
    out.write_text("\n".join(broken(lines, 5, change)), encoding="utf-8")
    new = tmp_path / "new.db"
    with pytest.raises(NotebookError, match=r"line 6: .*nothing was added"):
        import_notebook(out, notebook=new)
    assert not new.exists()


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\xfe",
        b"eggs\n",
        b"[1]\n",
        b'{"record": "setup"}\n',
        b'{"record": "notebook", "schema": 9}\n',
    ],
)
def test_file_that_is_no_export_is_refused_and_makes_no_notebook(tmp_path, content):
    (tmp_path / "x.jsonl").write_bytes(content)
    with pytest.raises(NotebookError, match="nothing was added"):
        import_notebook(tmp_path / "x.jsonl", notebook=tmp_path / "new.db")
    assert not (tmp_path / "new.db").exists()


@pytest.mark.parametrize("wrong", ["cut without its document", "setup again with other facts"])
def test_failed_import_into_a_new_notebook_leaves_nothing_behind(filled, tmp_path, wrong):
    export_notebook(tmp_path / "out.jsonl", notebook=filled)
    lines = (tmp_path / "out.jsonl").read_text(encoding="utf-8").split("\n")[:-1]
    again = {
        "record": "setup",
        "name": "long",
        "created": "2026-01-01",
        "retired": None,
        "facts": {"flutes": 3},
    }
    lines.append('{"record": "cut", "setup": "long"}' if "document" in wrong else json.dumps(again))
    (tmp_path / "bad.jsonl").write_text("\n".join(lines), encoding="utf-8")
    before = sorted(tmp_path.iterdir())
    with pytest.raises(NotebookError, match="nothing was added") as told:
        import_notebook(tmp_path / "bad.jsonl", notebook=tmp_path / "new.db")
    assert ".new" not in str(told.value)  # no name that the user never gave
    assert sorted(tmp_path.iterdir()) == before


def test_import_into_a_notebook_that_another_process_made_meanwhile_leaves_that_one(filled, tmp_path):
    export_notebook(tmp_path / "out.jsonl", notebook=filled)
    theirs = tmp_path / "new.db"

    def make_theirs(facts):
        theirs.write_bytes(filled.read_bytes())
        return checked_facts(facts)

    with (
        mock.patch("chatter.analysis._notebook.checked_facts", make_theirs),
        pytest.raises(NotebookError, match="another program made it"),
    ):
        import_notebook(tmp_path / "out.jsonl", notebook=theirs)
    assert theirs.read_bytes() == filled.read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["n.db", "new.db", "out.jsonl"]


def test_link_that_leads_to_no_file_is_told_as_what_it_is(filled, tmp_path):
    export_notebook(tmp_path / "out.jsonl", notebook=filled)
    link = tmp_path / "link.db"
    link.symlink_to(tmp_path / "unplugged" / "n.db")
    with pytest.raises(NotebookError, match="a link that leads to no file"):
        import_notebook(tmp_path / "out.jsonl", notebook=link)
    assert link.is_symlink()
    link.rename(tmp_path / "link.csv")
    with pytest.raises(OutputError, match="exists already"):
        export_notebook(tmp_path / "link.csv", notebook=filled)


@pytest.mark.parametrize("name", ["copy.db", "out.jsonl", "cuts.csv"])
def test_file_that_another_process_made_meanwhile_is_not_replaced(filled, tmp_path, name):
    theirs, link = tmp_path / name, os.link

    def make_theirs(beside, path):
        theirs.write_text("theirs")
        link(beside, path)

    work = back_up_notebook if name == "copy.db" else export_notebook
    with (
        mock.patch("os.link", make_theirs),
        pytest.raises((NotebookError, OutputError), match="exists already"),
    ):
        work(theirs, notebook=filled)
    assert theirs.read_text() == "theirs"
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(["n.db", name])


LONG = "n" * 300  # more than the 255 bytes that a name may have on any usual disk


@pytest.mark.parametrize(
    "work",
    [
        lambda notebook, folder: import_notebook(folder / "out.jsonl", notebook=folder / LONG),
        lambda notebook, folder: import_notebook(folder / LONG, notebook=folder / "new.db"),
        lambda notebook, folder: back_up_notebook(folder / LONG, notebook=notebook),
        lambda notebook, folder: export_notebook(folder / f"{LONG}.csv", notebook=notebook),
        lambda notebook, folder: add_setup("a", notebook=folder / LONG, flutes=2),
        lambda notebook, folder: begin_history("a", notebook=folder / LONG, values={}),
        lambda notebook, folder: list_setups(notebook=folder / LONG),
    ],
    ids=["import into", "import from", "backup", "export", "add", "file", "list"],
)
def test_name_that_no_file_can_have_is_refused(filled, tmp_path, work):
    export_notebook(tmp_path / "out.jsonl", notebook=filled)
    with pytest.raises((NotebookError, OutputError), match="file name too long"):
        work(filled, tmp_path)


# 250 bytes: a name that any usual disk takes, though not with more letters to it.
ALMOST_LONG = "n" * 244


@pytest.mark.parametrize("ending", [".jsonl", ".csv", ".db"])
def test_name_just_short_enough_is_taken(filled, tmp_path, ending):
    place = tmp_path / f"{ALMOST_LONG}{ending}"
    work = back_up_notebook if ending == ".db" else export_notebook
    work(place, notebook=filled)
    assert sorted(one.name for one in tmp_path.iterdir()) == sorted(["n.db", place.name])


def test_export_holds_one_state_while_another_process_adds_to_the_notebook(filled, tmp_path):
    out, read = tmp_path / "out.jsonl", Notebook.read_cut
    waits = []

    def add_meanwhile(self, number):
        if not waits:
            writer = sqlite3.connect(filled, timeout=0.1, isolation_level=None)
            try:
                writer.execute("UPDATE setups SET retired = '2026-01-01' WHERE name = 'long'")
            except sqlite3.OperationalError as error:
                waits.append(str(error))
            writer.close()
        return read(self, number)

    with mock.patch.object(Notebook, "read_cut", add_meanwhile):
        export_notebook(out, notebook=filled)
    assert waits == ["database is locked"]


def test_disk_without_links_takes_notebooks_and_copies_and_replaces_none(filled, tmp_path):
    # A memory card's FAT has no second name for a file: the system refuses os.link there.
    with mock.patch("os.link", side_effect=PermissionError(1, "Operation not permitted")):
        export_notebook(tmp_path / "out.jsonl", notebook=filled)
        import_notebook(tmp_path / "out.jsonl", notebook=tmp_path / "new.db")
        back_up_notebook(tmp_path / "copy.db", notebook=filled)
        with pytest.raises(OutputError, match="exists already"):
            export_notebook(tmp_path / "out.jsonl", notebook=filled)
    assert everything(tmp_path / "new.db") == everything(tmp_path / "copy.db") == everything(filled)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["copy.db", "n.db", "new.db", "out.jsonl"]
