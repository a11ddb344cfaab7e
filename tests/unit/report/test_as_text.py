"""The answer as text: order, width, and what stands in it."""

from dataclasses import replace

import pytest

from chatter.model import Rings
from chatter.report import to_text


def test_verdict_stands_first_then_settings_then_reasons_then_cautions(chattering):
    text = to_text(chattering)
    places = [text.index(part) for part in ("CHATTER", "Set next", "Why", "Noticed", "Cautions")]
    assert places == sorted(places)
    assert text.startswith("CHATTER")


def test_number_to_dial_and_feed_stand_before_the_true_speed(chattering):
    text = to_text(chattering)
    assert "Dial 13,640 rpm, feed 1,091 mm/min" in text
    assert text.index("13,640") < text.index("13,500")


def test_depth_is_given_in_millimetres_where_the_present_depth_is_known(chattering):
    # 0.6 of 2.0 mm
    assert "1.20 mm instead of 2 mm" in " ".join(to_text(chattering).split())


def test_frequency_onset_and_chance_are_told(chattering):
    text = " ".join(to_text(chattering).split())
    for part in ("913.4 Hz", "97 chances in 100", "from 1.6 s on", "11,874.2 ± 0.6 rpm", "1.05 % below"):
        assert part in text


@pytest.mark.parametrize(
    ("probability", "told"), [(1.0, "more than 99 chances"), (0.0, "less than 1 chance")]
)
def test_no_chance_is_told_as_certain(probability, told, make_document, make_cut):
    assert told in to_text(make_document((make_cut(probability=probability),)))


@pytest.mark.parametrize("which", ["chattering", "many_cuts", "no_cut"])
def test_no_line_is_longer_than_80_columns_or_coloured(which, request):
    text = to_text(request.getfixturevalue(which))
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text


def test_what_rings_is_told_among_the_reasons(chattering):
    ringing = replace(chattering, rings=Rings(part="tool", why="It lies near a tapped mode: the tool rings."))
    text = to_text(ringing)
    assert text.index("Why") < text.index("What rings: It lies near") < text.index("Cautions")
    assert "What rings" not in to_text(chattering)


def test_many_cuts_have_a_line_each_and_the_worst_is_named(many_cuts):
    text = to_text(many_cuts)
    table = text[text.index("Every cut") :].splitlines()[2:5]
    assert [row.split()[0] for row in table] == ["1", "2", "3"]
    assert [row.split()[3] for row in table] == ["stable", "chatter", "undecided"]
    assert text.startswith("CHATTER: 1 of 3 cuts chattered.")
    assert "worst cut, number 2" in text


@pytest.mark.parametrize(
    ("verdicts", "worst", "headline"),
    [
        (("stable", "stable"), 0, "STABLE: none of the 2 cuts chattered."),
        (("stable", "marginal"), 1, "MARGINAL: at the edge in 1 of 2 cuts; no cut clearly chattered."),
        (("undecided", "stable"), 0, "UNDECIDED: this recording can't tell whether 1 of 2 cuts chattered."),
    ],
)
def test_headline_counts_the_cuts(verdicts, worst, headline, make_document, make_cut):
    cuts = tuple(make_cut(verdict, None if verdict == "undecided" else 0.1) for verdict in verdicts)
    assert to_text(make_document(cuts, worst)).startswith(headline)


def test_table_tells_no_chance_as_certain(make_document, make_cut):
    text = to_text(make_document((make_cut("stable", 0.0), make_cut(probability=1.0)), 1))
    assert "< 1 %" in text
    assert "> 99 %" in text


def test_one_cut_needs_no_table(chattering):
    assert "Every cut" not in to_text(chattering)


def test_undecided_says_how_to_record_before_why(no_cut):
    text = to_text(no_cut)
    assert text.startswith("UNDECIDED")
    for part in ("uncompressed", "gain control", "behind the guard", "three seconds", "in air"):
        assert part in " ".join(text.split())
    assert text.index("How to record") < text.index("Why")
    assert "No cut was found: record a longer pass." in " ".join(text.split())


def test_cut_at_the_edge_of_the_file_is_told_without_a_made_up_time(make_document, make_cut):
    text = " ".join(to_text(make_document((make_cut(start_s=None, end_s=None),))).split())
    assert "before the recording begins" in text
    assert "None" not in text
