"""What a notebook keeps and what it refuses."""

import sqlite3

import pytest

from chatter.errors import BadValueError, NotebookError
from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook, _schema
from tests.unit.notebook.made import made_cut, made_noise, made_tap, sha256_of

MAGIC = b"SQLite format 3\x00"
FACTS = SetupFacts(flutes=2, machine="router", max_rpm=24_000.0, diameter_mm=6.0, width_mm=3.0)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "notebook.db"


@pytest.fixture
def notebook(path):
    with Notebook(path, write=True, make=True) as opened:
        opened.add_setup("6 mm long", facts=FACTS)
        yield opened


def test_setup_added_is_found_in_any_case_with_its_facts(notebook):
    found = notebook.find_setup("6 MM Long")
    assert (found.name, found.facts, found.cuts, found.retired) == ("6 mm long", FACTS, 0, None)


@pytest.mark.parametrize(
    ("name", "again"),
    [
        ("Fräser Ä", "fräser ä"),  # SQLite's own comparison knows the case of A to Z only
        ("Fra\u0308ser", "FRÄSER"),  # Unicode Standard Annex 15: a and two dots are one letter, or two marks
        ("Große", "GROSSE"),  # Unicode case folding
        ("6 mm  out", "6 mm out"),
    ],
)
def test_name_in_other_letters_is_the_same_setup(notebook, name, again):
    notebook.add_setup(name, facts=FACTS)
    assert notebook.find_setup(again).name == name
    assert notebook.fill_facts(again, facts={"holder": "ER11"}) == ("holder",)
    assert notebook.add_cut(again, document=made_cut()).filed == "new"
    assert [cut.setup for cut in notebook.list_cuts(again)] == [name]
    with pytest.raises(BadValueError, match="this is taken"):
        notebook.add_setup(again, facts=FACTS)


def test_two_setups_of_an_older_version_that_differ_in_case_are_each_found_by_their_own_name(path, notebook):
    old = sqlite3.connect(path, isolation_level=None)
    for name in ("Ä", "ä"):
        old.execute("INSERT INTO setups (name, facts, created) VALUES (?, '{\"flutes\": 3}', '')", (name,))
    old.close()
    assert [notebook.find_setup(name).name for name in ("Ä", "ä")] == ["Ä", "ä"]


def test_setup_name_taken_is_refused(notebook):
    with pytest.raises(BadValueError, match="nothing is overwritten, and this is taken"):
        notebook.add_setup("6 mm LONG", facts=FACTS)


@pytest.mark.parametrize("name", ["", "   ", "two\nlines", "x" * 81])
def test_setup_name_that_is_no_line_is_refused(notebook, name):
    with pytest.raises(BadValueError, match="in one line"):
        notebook.add_setup(name, facts=FACTS)


def test_unknown_setup_tells_names_like_it(notebook):
    with pytest.raises(BadValueError, match="there is 6 mm long"):
        notebook.find_setup("6mm long")


def test_setup_unlike_any_other_tells_the_newest_ones(notebook):
    with pytest.raises(BadValueError, match=r"; there is 6 mm long$"):
        notebook.find_setup("nope")
    for name in ("brass", "plywood", "steel plate"):
        notebook.add_setup(name, facts=FACTS)
    with pytest.raises(BadValueError, match=r"; there is steel plate, plywood, brass and 1 more$"):
        notebook.find_setup("xxxx")
    for name in ("brass", "plywood", "steel plate", "6 mm long"):
        notebook.retire_setup(name)
    with pytest.raises(BadValueError, match=r"; there is none in use$"):
        notebook.find_setup("xxxx")


def test_retired_setup_leaves_the_list_keeps_its_cuts_and_takes_no_more(notebook):
    notebook.add_cut("6 mm long", document=made_cut())
    notebook.retire_setup("6 mm long")
    assert notebook.list_setups() == ()
    assert [one.cuts for one in notebook.list_setups(retired=True)] == [1]
    with pytest.raises(
        BadValueError, match='retired; bring it back with chatter setup retire "6 mm long" --undo'
    ):
        notebook.add_cut("6 mm long", document=made_cut("two"))


def test_retired_setup_is_brought_back_with_its_cuts_and_takes_more(notebook):
    notebook.add_cut("6 mm long", document=made_cut())
    notebook.retire_setup("6 mm long")
    assert notebook.bring_back_setup("6 MM long").retired is None
    notebook.add_cut("6 mm long", document=made_cut("two"))
    assert [one.cuts for one in notebook.list_setups()] == [2]
    assert notebook.bring_back_setup("6 mm long").retired is None  # in use already: nothing changes


def test_facts_not_told_yet_are_filled_in_and_told_ones_are_never_changed(notebook):
    assert notebook.fill_facts("6 mm long", facts={"holder": "ER11", "flutes": 2}) == ("holder",)
    assert notebook.find_setup("6 mm long").facts.holder == "ER11"
    with pytest.raises(BadValueError, match="flutes is 3: give 2 as the setup"):
        notebook.fill_facts("6 mm long", facts={"flutes": 3, "material": "brass"})
    assert notebook.find_setup("6 mm long").facts.material is None


@pytest.mark.parametrize(
    ("kept", "told"), [("Brass", "brass"), ("6061-T6", "aluminum 6061"), ("6061", "6061-T6")]
)
def test_material_by_another_of_its_names_is_the_same_fact_and_the_one_told_first_stays(kept, told, notebook):
    notebook.fill_facts("6 mm long", facts={"material": kept})
    assert notebook.fill_facts("6 mm long", facts={"material": told}) == ()
    assert notebook.find_setup("6 mm long").facts.material == kept
    for other in ("7075", "no such metal"):
        with pytest.raises(BadValueError, match=f"give '{kept}' as the setup"):
            notebook.fill_facts("6 mm long", facts={"material": other})


def test_cut_added_is_listed_and_its_document_comes_back_whole(notebook):
    document = made_cut("one", rpm=11_874.2, verdict="chatter", chatter_hz=913.4)
    filing = notebook.add_cut("6 mm long", document=document)
    (cut,) = notebook.list_cuts("6 mm long")
    assert (filing.filed, filing.version) == ("new", 1)
    assert (cut.sha256, cut.set_rpm, cut.measured_rpm, cut.depth_mm) == (
        sha256_of("one"),
        12_000.0,
        11_874.2,
        1.0,
    )
    assert (cut.verdict, cut.chatter_hz, cut.feed_mm_min) == ("chatter", 913.4, 960.0)
    assert notebook.read_cut(cut.number) == document


def test_same_recording_twice_is_recognised(notebook):
    first = notebook.add_cut("6 mm long", document=made_cut("one"))
    renamed = made_cut("one")
    renamed["recording"]["file"] = "other name.wav"
    second = notebook.add_cut("6 mm long", document=renamed)
    assert (second.filed, second.number) == ("again", first.number)
    assert len(notebook.list_cuts("6 mm long")) == 1


def test_same_recording_with_other_facts_is_a_new_version_and_the_earlier_one_stays(notebook):
    wrong = made_cut("one", set_rpm=12_000.0)
    notebook.add_cut("6 mm long", document=wrong)
    filing = notebook.add_cut("6 mm long", document=made_cut("one", set_rpm=21_000.0))
    assert (filing.filed, filing.version) == ("changed", 2)
    assert [cut.set_rpm for cut in notebook.list_cuts("6 mm long")] == [21_000.0]
    both = notebook.list_cuts("6 mm long", earlier_versions=True)
    assert [(cut.version, cut.is_current, cut.set_rpm) for cut in both] == [
        (1, False, 12_000.0),
        (2, True, 21_000.0),
    ]
    assert notebook.read_cut(both[0].number) == wrong
    assert notebook.find_setup("6 mm long").cuts == 1


def test_noise_is_kept_with_its_rating_and_a_new_neighbour_is_a_new_version(notebook):
    notebook.add_noise("6 mm long", document=made_noise())
    again = notebook.add_noise("6 mm long", document=made_noise())
    assert again.filed == "again"
    moved = made_noise(neighbour_db=58.0)
    moved["program"]["settings"]["neighbour_distance_m"] = 15.0
    assert notebook.add_noise("6 mm long", document=moved).version == 2
    (kept,) = notebook.list_noises("6 mm long")
    assert (kept.laeq_db, kept.rated_db, kept.version) == (82.0, 63.0, 2)  # 58 dB and 5 dB for its tones
    earlier = notebook.list_noises("6 mm long", earlier_versions=True)[0]
    assert (earlier.rated_db, earlier.is_current) == (87.0, False)  # at the phone: 82 dB and 5 dB
    assert notebook.read_noise(kept.number) == moved


def test_noise_without_a_level_is_kept_without_one(notebook):
    notebook.add_noise("6 mm long", document=made_noise(laeq_db=None))
    assert notebook.list_noises("6 mm long")[0].rated_db is None


def test_recording_whose_name_is_no_text_is_kept_and_listed(notebook):
    # Linux hands over a stray byte of a name as a lone surrogate (PEP 383), which no UTF-8 can hold.
    document = made_cut("bad\udcff")
    notebook.add_cut("6 mm long", document=document)
    (cut,) = notebook.list_cuts("6 mm long")
    assert cut.file == r"bad\udcff.wav"
    assert notebook.read_cut(cut.number) == document


@pytest.mark.parametrize("column", ["facts", "document"])
def test_damage_inside_a_row_is_told(path, notebook, column):
    notebook.add_cut("6 mm long", document=made_cut())
    other = sqlite3.connect(path, isolation_level=None)
    table = "setups" if column == "facts" else "cuts"
    other.execute(f"UPDATE {table} SET {column} = substr({column}, 1, 20)")
    other.close()
    with pytest.raises(NotebookError, match="damaged or cut short"):
        notebook.read_cut(notebook.list_cuts("6 mm long")[0].number)


def test_recording_in_another_setup_is_told(notebook):
    notebook.add_cut("6 mm long", document=made_cut("one"))
    notebook.add_setup("short", facts=FACTS)
    assert notebook.add_cut("short", document=made_cut("one")).other_setups == ("6 mm long",)


def test_ramped_cut_is_listed_with_its_deep_end(notebook):
    document = made_cut("ramp", depth_mm=None, settings={"depth_from_mm": 0.5, "depth_to_mm": 2.5})
    notebook.add_cut("6 mm long", document=document)
    assert notebook.list_cuts("6 mm long")[0].depth_mm == 2.5


def test_ramp_that_does_not_grow_is_kept_without_a_depth(notebook):
    document = made_cut("ramp", depth_mm=None, settings={"depth_from_mm": 0.5, "depth_to_mm": 2.5})
    asked = {"code": "ramp-does-not-grow", "severity": "warning", "message": "Was this pass a ramp?"}
    document["recording"]["findings"] = [asked]
    notebook.add_cut("6 mm long", document=document)
    assert notebook.list_cuts("6 mm long")[0].depth_mm is None


def test_tap_added_twice_is_kept_once(notebook):
    assert notebook.add_tap("6 mm long", document=made_tap()).filed == "new"
    assert notebook.add_tap("6 mm long", document=made_tap()).filed == "again"
    (tap,) = notebook.list_taps("6 mm long")
    assert (tap.of, notebook.read_tap(tap.number)) == ("tool", made_tap())


def test_missing_notebook_is_told_and_not_made(path):
    with pytest.raises(NotebookError, match="there is no such notebook"):
        Notebook(path)
    assert not path.exists()


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"SQLite format 3\x00",
        b"my shopping list\n" * 40,
        bytes(5000),
        b"SQLite format 3\x00" + bytes(4080),
    ],
    ids=["empty", "only its first bytes", "text", "zeros", "another program's"],
)
@pytest.mark.parametrize("write", [False, True])
def test_foreign_file_is_refused_and_left_untouched(path, content, write):
    path.write_bytes(content)
    with pytest.raises(NotebookError, match="left as it is"):
        Notebook(path, write=write, make=write)
    assert path.read_bytes() == content
    assert list(path.parent.iterdir()) == [path]


def test_database_of_another_program_is_refused_and_left_untouched(path):
    with sqlite3.connect(path) as other:
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("CREATE TABLE setups (id INTEGER)")
    other.close()
    before = path.read_bytes()
    with pytest.raises(NotebookError, match="another program's database"):
        Notebook(path, write=True, make=True)
    assert path.read_bytes() == before


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
@pytest.mark.parametrize("write", [False, True])
def test_truncated_notebook_is_refused_and_left_untouched(path, share, write):
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("6 mm long", facts=FACTS)
        for number in range(30):
            notebook.add_cut("6 mm long", document=made_cut(str(number)))
    whole = path.read_bytes()
    path.write_bytes(whole[: int(share * len(whole))])
    before = path.read_bytes()
    with pytest.raises(NotebookError, match="cut short"):
        Notebook(path, write=write)
    assert path.read_bytes() == before


def test_newer_schema_is_refused_and_left_untouched(path):
    with Notebook(path, write=True, make=True):
        pass
    newer = sqlite3.connect(path)
    newer.execute(f"PRAGMA user_version = {_schema.VERSION + 1}")
    newer.close()
    before = path.read_bytes()
    for write in (False, True):
        with pytest.raises(NotebookError, match="newer version of the program"):
            Notebook(path, write=write)
    assert path.read_bytes() == before


def test_backup_of_a_notebook_that_another_program_holds_is_told(path, monkeypatch, tmp_path):
    with Notebook(path, write=True, make=True):
        pass
    monkeypatch.setattr(_schema, "BUSY_S", 0.1)
    with Notebook(path) as notebook:
        holder = sqlite3.connect(path, isolation_level=None)
        holder.execute("BEGIN EXCLUSIVE")
        with pytest.raises(NotebookError, match="another program has held it"):
            notebook.back_up(tmp_path / "copy.db")
        holder.close()
    assert [one.name for one in tmp_path.iterdir()] == ["notebook.db"]


def test_backup_into_a_folder_that_is_not_there_says_so(notebook, tmp_path):
    with pytest.raises(NotebookError, match="its folder doesn't exist"):
        notebook.back_up(tmp_path / "typo" / "copy.db")


def test_folder_in_place_of_a_notebook_is_told(tmp_path):
    with pytest.raises(NotebookError, match="it is a folder"):
        Notebook(tmp_path, write=True, make=True)


def test_backup_of_a_notebook_in_use_holds_its_cuts_and_replaces_nothing(notebook, tmp_path):
    notebook.add_cut("6 mm long", document=made_cut())
    copy = tmp_path / "copy.db"
    notebook.back_up(copy)
    with Notebook(copy) as opened:
        assert len(opened.list_cuts("6 mm long")) == 1
    with pytest.raises(NotebookError, match="exists already"):
        notebook.back_up(copy)
