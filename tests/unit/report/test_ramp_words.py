"""What the answer about a ramped pass says of its span: the verdict is that of the deep end."""

from dataclasses import replace
from html import unescape

import pytest

from chatter.model.cut import RampOnset, RampPass
from chatter.report import to_text
from chatter.report.cut_page import page_of_cut
from chatter.report.page import to_html

PASS = RampPass(cut_index=0, start_s=3.0, deep_from_s=9.5, end_s=13.1)
ONSET = RampOnset(depth_mm=1.3, depth_sd_mm=0.2, time_s=8.4, chatter_hz=913.4)


@pytest.fixture
def ramped(make_document, make_cut):
    """Give a pass from 3.0 to 13.1 s of which the loud part, from 9.4 s on, was found as the cut."""

    def give(ramp_pass=PASS, onset=ONSET, cuts=None, **other):
        cuts = (make_cut(start_s=9.4, end_s=13.1, onset_s=9.4),) if cuts is None else cuts
        plain = make_document(cuts, depth_mm=None, depth_from_mm=0.4, depth_to_mm=2.8, **other)
        return replace(plain, analysis=replace(plain.analysis, ramp=onset, ramp_pass=ramp_pass))

    return give


def shown(document):
    return " ".join(to_text(document).split()), " ".join(unescape(to_html(page_of_cut(document))).split())


def test_chatter_before_the_deep_end_is_told_within_the_whole_pass(ramped):
    text, page = shown(ramped())
    assert (
        "the pass from 3.0 s to 13.1 s; its deep end, from 9.5 s on, is judged: chatter with 97 chances in "
        "100, heard from 8.4 s on."
    ) in text
    assert "The pass goes from 3.0 s to 13.1 s; its deep end, from 9.5 s on, is judged." in page
    assert "Chatter is heard from 8.4 s on." in page
    for one in (text, page):
        assert "9.4 s" not in one  # the loud part's own start is nothing that was made


def test_pass_that_reaches_past_both_ends_is_told_so(ramped):
    text, _ = shown(ramped(replace(PASS, start_s=None, end_s=None)))
    assert "the pass from before the recording begins to past its end; its deep end, from 9.5 s on" in text


def test_pass_judged_as_a_whole_is_told_as_a_cut(ramped, make_cut):
    text, page = shown(ramped(replace(PASS, start_s=9.4)))
    assert "the cut from 9.4 s to 13.1 s, chatter with" in text
    assert "The cut goes from 9.4 s to 13.1 s." in page


def test_worst_of_several_cuts_is_told_with_its_deep_end_only_where_it_is_the_ramp(ramped, make_cut):
    cuts = (make_cut(start_s=9.4, end_s=13.1), make_cut("stable", 0.02, start_s=20.0, end_s=22.0))
    text, page = shown(ramped(cuts=cuts))
    assert "judged by the worst cut, number 1 (from 3.0 s to 13.1 s, its deep end from 9.5 s on)" in text
    assert "Cut 1 of 2 is the worst; it goes from 3.0 s to 13.1 s; its deep end" in page
    other, _ = shown(ramped(replace(PASS, cut_index=1), None, cuts=cuts))
    assert "number 1 (from 9.4 s to 13.1 s), chatter" in other


@pytest.mark.parametrize("verdict", ["stable", "chatter"])
def test_pass_that_does_not_grow_gives_no_depth(verdict, ramped, make_cut):
    cuts = (make_cut(verdict, 0.02 if verdict == "stable" else 0.97, start_s=3.0, end_s=13.1),)
    action = "keep" if verdict == "stable" else "change speed"
    level = ramped(replace(PASS, grows=False), None, cuts=cuts, action=action)
    for factor in (0.6, 1.06):
        level = replace(level, advice=replace(level.advice, depth_factor=factor))
        for one in shown(level):
            assert "can't be told from this pass: it doesn't sound like a ramp" in one
            assert "No chatter was heard down to" not in one
            assert " mm is stable" not in one
            assert f"{factor * 2.8:.2f} mm" not in one
            assert "deep end of the ramp" not in one
