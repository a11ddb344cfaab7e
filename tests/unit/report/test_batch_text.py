"""What a batch found, one line a row."""

import pytest

from chatter.report import batch_to_lines


def test_each_row_has_a_line_in_order_and_a_failed_one_says_why(make_document, make_cut):
    quiet = make_document((make_cut("stable", 0.03),), action="keep").to_dict()
    failed = {"document": "error", "file": "b.wav", "message": "b.wav: there is no such file: check the name"}
    chattering = make_document((make_cut(),)).to_dict()
    head, *rows = batch_to_lines([quiet, failed, chattering])
    assert head.split()[:3] == ["row", "verdict", "chatter"]
    assert rows[0].split() == ["1", "stable", "3", "%", "-", "keep", "cut.m4a"]
    assert rows[1] == "   2  failed: b.wav: there is no such file: check the name"
    assert rows[2].split() == ["3", "chatter", "97", "%", "913.4", "dial", "13,640", "cut.m4a"]
    assert max(map(len, rows)) <= 80


@pytest.mark.parametrize(("factor", "told"), [(0.6, "0.60 x the depth"), (None, "reduce depth")])
def test_row_to_be_cut_shallower_says_by_how_much(factor, told, make_document, make_cut):
    document = make_document((make_cut(),), action="keep").to_dict()
    document["advice"] |= {"action": "reduce depth", "depth_factor": factor}
    assert told in list(batch_to_lines([document]))[1]


def test_undecided_row_has_no_chance_and_asks_for_another_recording(make_document, make_cut):
    document = make_document((make_cut("undecided", None),), action="record again").to_dict()
    assert list(batch_to_lines([document]))[1].split()[1:6] == ["undecided", "-", "-", "record", "again"]


def test_table_without_rows_gives_no_line():
    assert list(batch_to_lines([])) == []


def test_row_whose_speed_is_in_doubt_asks_for_that_first(make_document, make_cut):
    doubt = {"code": "facts-do-not-fit", "severity": "warning", "message": "The lines stand at 227 Hz."}
    document = make_document((make_cut(),), findings=(doubt,)).to_dict()
    assert "check rpm/flutes" in list(batch_to_lines([document]))[1]


def test_row_with_something_unsafe_sends_to_its_cautions(make_document, make_cut):
    document = make_document((make_cut("stable", 0.03),), action="keep").to_dict()
    document["advice"]["urgent"] = ["First lower the speed to 6,000 rpm or less."]
    assert list(batch_to_lines([document]))[1].split()[-3:] == ["cautions", "first", "cut.m4a"]
    del document["advice"]["urgent"]  # an answer that an older version wrote
    assert "keep" in list(batch_to_lines([document]))[1]


@pytest.mark.parametrize("length", [20, 60, 200])
def test_rows_keep_to_80_columns_whatever_the_files_name(length, make_document, make_cut):
    document = make_document((make_cut("stable", 0.03),), action="keep").to_dict()
    document["recording"]["file"] = "x" * length
    _, *rows = batch_to_lines([document])
    assert max(map(len, rows)) <= 80
    assert "".join(row.strip() for row in rows).endswith("x" * length)
    assert (len(rows) == 1) == (length == 20)
