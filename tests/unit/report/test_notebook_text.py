"""What a notebook holds, as text: depths between those looked at, and figures that are read at a glance."""

import time
from dataclasses import replace

import pytest

from chatter.model.notebook import Card, CardRow, KeptBest, KeptCut, SetupFacts, SetupMap
from chatter.report._facts import tell_day
from chatter.report.notebook_text import card_to_text, describe_facts, setup_map_to_text


def mapped(*chances):
    return SetupMap(
        program={},
        setup="bench mill",
        facts=SetupFacts(flutes=2),
        speeds_rpm=(12_000.0,),
        depths_mm=(0.5, 1.0, 1.5),
        stable_probability=tuple((chance,) for chance in chances),
        cuts=(),
        left_out=0,
        best_so_far=None,
        best_rpm=None,
    )


@pytest.mark.parametrize(
    ("chances", "sure", "even"),
    [
        # From 1 at 0.5 mm to 0.8 at 1 mm, 0.9 lies halfway; from 0.8 at 1 mm to 0.2 at 1.5 mm, 0.5 does.
        ((1.0, 0.8, 0.2), "0.75", "1.25"),
        # No depth is surely stable: from 1 at nothing to 0.7 at 0.5 mm, 0.9 lies a third of the way.
        ((0.7, 0.6, 0.5), "0.16", "1.50+"),
        # A chance that comes back below doubtful depths doesn't count: the way there leads through them.
        ((0.8, 1.0, 0.0), "0.25", "1.25"),
    ],
)
def test_deepest_stable_depth_is_read_between_the_depths_and_never_rounded_up(chances, sure, even):
    text = setup_map_to_text(mapped(*chances))
    rows = [line.split() for line in text.splitlines() if line.startswith("  12,000")]
    assert rows == [["12,000", sure, even]]
    assert ("+ means that or more: no greater depth was looked at." in text) == ("+" in sure + even)


@pytest.mark.parametrize(
    # With 0.8 at 1 mm and 1 at 0.5 mm, 90 chances in 100 reach 0.75 mm.
    ("deep_mm", "is_told"),
    [(0.7, False), (0.76, True)],
)
def test_map_tells_where_the_best_heard_stable_lies_beyond_the_sure_depth(deep_mm, is_told):
    best = KeptBest(set_rpm=12_100.0, depth_mm=deep_mm, feed_mm_min=None, removal_mm3_min=None)
    text = setup_map_to_text(replace(mapped(1.0, 0.8, 0.2), best_so_far=best, best_rpm=12_000.0))
    told = "less sure than 90 chances in 100, which at its speed reach 0.75 mm"
    assert (told in " ".join(text.split())) == is_told


def test_map_says_which_speeds_are_true_and_what_the_dial_says():
    cut = KeptCut(
        number=1,
        setup="bench mill",
        sha256="0" * 64,
        version=1,
        is_current=True,
        added="2026-11-26T08:00:00+00:00",
        file="a.wav",
        set_rpm=12_000.0,
        measured_rpm=11_850.0,
        depth_mm=0.5,
        width_mm=None,
        feed_mm_min=None,
        verdict="stable",
        chatter_probability=0.02,
        chatter_hz=None,
    )
    text = " ".join(setup_map_to_text(replace(mapped(1.0, 0.8, 0.2), cuts=(cut,))).split())
    assert "Speeds here are true ones, not those to dial." in text
    assert "In the newest cut 12,000 rpm on the dial were 11,850 true." in text


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="this system has no way to set the clock's zone")
@pytest.mark.parametrize(
    ("zone", "day"),
    [("EST5", "2026-11-26"), ("UTC0", "2026-11-27"), ("ABC-14", "2026-11-27")],  # POSIX: 5 h west, 14 h east
)
def test_day_is_the_one_on_the_users_clock(monkeypatch, zone, day):
    with monkeypatch.context() as there:
        there.setenv("TZ", zone)
        time.tzset()
        told = tell_day("2026-11-27T02:30:00+00:00")
    time.tzset()
    assert told == day


def carded(probability):
    row = CardRow(
        set_rpm=20_000.0,
        feed_mm_min=1_600.0,
        depth_mm=1.1,
        width_mm=3.0,
        removal_mm3_min=5_280.0,
        cuts=1,
        chatter_probability=probability,
        chatter_depth_mm=1.65,
    )
    return Card(
        program={},
        setup="bench mill",
        facts=SetupFacts(flutes=2),
        rows=(row,),
        cuts=3,
        made="2026-11-26T08:00:00+00:00",
        noises=(),
        cautions=(),
    )


def test_card_parts_thousands_and_stays_within_80_columns():
    text = card_to_text(carded(0.03))
    for told in ("20,000", "1,600", "5,280"):
        assert told in text
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(("probability", "told"), [(0.0, "< 1 %"), (0.004, "< 1 %"), (0.03, "3 %")])
def test_card_tells_no_chance_as_certain(probability, told):
    text = card_to_text(carded(probability))
    assert f"1x, chatter {told}; not at 1.65 mm" in text
    assert max(map(len, text.splitlines())) <= 80


def test_facts_of_a_setup_part_thousands():
    told = describe_facts(SetupFacts(flutes=2, max_rpm=24_000.0, spindle_power_w=1_500.0))
    assert told == "up to 24,000 rpm, 1,500 W; 2 flutes"
