"""The answer as text: order, width, and what stands in it."""

from dataclasses import replace

import pytest

from chatter.model import Finding, Rings
from chatter.report import to_text
from chatter.report.cut_words import find_depths_mm, round_down


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
    assert "1.2 mm instead of 2 mm" in " ".join(to_text(chattering).split())


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
    assert "from before the recording begins" in text
    assert "None" not in text


def test_less_depth_is_told_before_the_speeds_that_are_less_likely_to_help(chattering):
    less = replace(chattering, advice=replace(chattering.advice, action="reduce depth"))
    text = " ".join(to_text(less).split())
    # 0.6 of 2.0 mm is what is advised; the speeds come after it, under words that say so.
    assert text.index("Keep the speed and take less depth") < text.index("1.2 mm instead of 2 mm")
    assert text.index("1.2 mm instead of 2 mm") < text.index("less likely")
    assert text.index("less likely") < text.index("Dial 13,640")


@pytest.mark.parametrize(
    ("factor", "told", "untold"),
    [
        (
            1.4,
            "up to 1.4 times the present depth (2.8 mm instead of 2 mm) should stay stable",
            "about as deep",
        ),
        (1.03, "about as deep as can be advised from what was heard: up to 1.03 times", "should stay"),
        (1.001, "about as deep as can be advised from what was heard. To learn", "1.00 times"),
        # A depth that was heard quiet isn't forbidden where the estimate is less sure of it.
        (0.57, "This cut was quiet. How much room is left can't be told from that", "no more than"),
        (0.57, "90 chances in 100 only down to 0.57 times the present depth (1.14 mm).", "instead of"),
    ],
)
def test_depth_of_a_stable_cut_invites_no_deeper_than_its_factor(
    factor, told, untold, make_document, make_cut
):
    document = make_document((make_cut("stable", 0.03),), action="keep")
    text = " ".join(to_text(replace(document, advice=replace(document.advice, depth_factor=factor))).split())
    assert told in text
    assert untold not in text


def test_room_of_quiet_cuts_is_told_with_as_much_doubt_as_their_verdict(make_document, make_cut):
    document = make_document((make_cut("stable", 0.42), make_cut("stable", 0.03)), action="keep")
    text = " ".join(to_text(replace(document, advice=replace(document.advice, depth_factor=0.4))).split())
    assert text.startswith("STABLE: probably none of the 2 cuts chattered.")
    assert "These cuts were probably quiet." in text


@pytest.mark.parametrize("earlier", [0, 2])
def test_estimate_of_a_quiet_cut_names_the_earlier_cuts_that_it_rests_on(earlier, make_document, make_cut):
    document = make_document((make_cut("stable", 0.03),), action="keep")
    filed = replace(
        document,
        advice=replace(document.advice, depth_factor=0.4),
        notebook={"setup": "bench mill", "earlier_cuts_used": earlier},
    )
    assert ("and this setup's earlier cuts, promises" in " ".join(to_text(filed).split())) == bool(earlier)


@pytest.mark.parametrize(
    ("power_mm", "told", "untold"),
    [
        # 0.6 of 2 mm is stable.
        (
            0.379,
            "no more than 0.37 mm instead of 2 mm: deeper needs more power than the spindle has",
            "1.2 mm i",
        ),
        (0.0379, "no more than 0.037 mm instead of 2 mm", "0.04 mm"),
        (1.3, "no more than 0.6 times the present depth (1.2 mm instead of 2 mm)", "power"),
        (None, "no more than 0.6 times the present depth (1.2 mm instead of 2 mm)", "power"),
    ],
)
def test_lesser_depth_of_power_and_chatter_is_told_with_the_reason(power_mm, told, untold, chattering):
    short = "This cut needs about 80 W."
    urgent = (short,) if power_mm is not None and power_mm < 2 else ()
    advice = replace(chattering.advice, action="reduce depth", power_depth_mm=power_mm, urgent=urgent)
    text = " ".join(to_text(replace(chattering, advice=advice)).split())
    assert told in text
    assert untold not in text


def test_stable_cut_is_invited_no_deeper_than_the_power_drives(make_document, make_cut):
    document = make_document((make_cut("stable", 0.03),), action="keep")
    advice = replace(document.advice, depth_factor=1.4, power_depth_mm=2.4)
    text = " ".join(to_text(replace(document, advice=advice)).split())
    assert "no more than 2.4 mm instead of 2 mm: deeper needs more power" in text
    assert "By the sound alone 2.8 mm would be stable" in text
    assert "Go deeper in small steps" in text


def test_one_flute_strikes_and_two_strike(make_document, make_cut):
    document = make_document((make_cut(),))
    one = replace(document.analysis.spindle, flutes=1)
    single = replace(document, analysis=replace(document.analysis, spindle=one))
    assert "1 flute strikes at" in " ".join(to_text(single).split())
    assert "2 flutes strike at" in " ".join(to_text(document).split())


def test_window_without_width_is_told_as_one_and_not_as_a_range(chattering):
    speed = replace(chattering.advice.speeds[0], low_rpm=13500.0, high_rpm=13500.0)
    narrow = replace(chattering, advice=replace(chattering.advice, speeds=(speed,)))
    text = " ".join(to_text(narrow).split())
    assert "Window on the dial: next to no room on either side. True speed: 13,500 rpm" in text
    assert "13,640 to 13,640" not in text


def test_window_is_told_as_it_is_dialled(chattering):
    text = " ".join(to_text(chattering).split())
    # 13,300 and 13,750 rpm true, times 13,640 / 13,500 dialled over true
    assert "Window on the dial: 13,438 to 13,893 rpm. True speed: 13,500 rpm (lobe 2)." in text
    assert "13,300" not in text


def test_speeds_in_the_table_of_cuts_have_their_thousands_comma(many_cuts):
    assert "11,874.2" in to_text(many_cuts)[to_text(many_cuts).index("Every cut") :]


def test_filed_cut_points_at_the_command_that_weighs_the_whole_setup(chattering):
    told = 'chatter next "bench mill"'
    assert told in " ".join(to_text(replace(chattering, notebook={"setup": "bench mill"})).split())
    assert "chatter next" not in to_text(chattering)


def test_doubted_speed_is_told_once_and_made_sure_of_before_anything_is_set(make_document, make_cut):
    doubt = {"code": "facts-do-not-fit", "severity": "warning", "message": "The lines stand at 227 Hz."}
    text = " ".join(to_text(make_document((make_cut(),), findings=(doubt,))).split())
    assert text.count("The lines stand at 227 Hz.") == 1
    assert "Noticed in the recording" not in text
    assert text.index("First make sure of the speed and the flutes") < text.index("Change the spindle speed")


def test_speed_that_is_hardly_ever_stable_is_no_numbered_suggestion(chattering):
    speed = replace(chattering.advice.speeds[0], stable_probability=0.06)
    advice = replace(chattering.advice, action="reduce depth", speeds=(speed,))
    text = " ".join(to_text(replace(chattering, advice=advice)).split())
    assert "No other speed is likely to be stable at the present depth" in text
    assert "the likeliest is 13,640 rpm, with 6 chances in 100." in text
    assert "1. Dial" not in text


URGENT = "First lower the speed to 6,000 rpm or less."


@pytest.mark.parametrize(
    ("verdict", "action", "after"),
    [
        ("stable", "keep", "The sound itself asks for no other change."),
        ("stable", "change speed", "No other speed can be suggested from what was heard"),
        ("chatter", "reduce depth", "Keep the speed and take less depth."),
        ("undecided", "record again", "Then record again before changing anything else."),
    ],
)
def test_what_is_unsafe_comes_before_the_action_and_once(verdict, action, after, make_document, make_cut):
    document = make_document((make_cut(verdict, None if verdict == "undecided" else 0.03),), action=action)
    advice = replace(
        document.advice,
        speeds=(),
        depth_factor=1.4 if verdict == "stable" else None,
        urgent=(URGENT,),
        cautions=(URGENT, *document.advice.cautions),
    )
    text = " ".join(to_text(replace(document, advice=advice)).split())
    assert f"Set next {URGENT} {after}" in text
    assert text.count(URGENT) == 1
    assert "Keep these settings" not in text
    assert "go deeper" not in text
    assert "Begin with a shallow pass" in text


def test_depth_at_a_speed_that_is_left_for_safety_is_not_told(chattering):
    text = " ".join(to_text(chattering).split())
    assert "At the present speed no more than 0.6 times" in text
    unsafe = replace(chattering, advice=replace(chattering.advice, urgent=(URGENT,)))
    assert "At the present speed" not in to_text(unsafe)


@pytest.mark.parametrize(
    ("cuts", "headline"),
    [
        ((("stable", 0.25),), "STABLE: this cut probably did not chatter."),
        ((("stable", 0.1),), "STABLE: this cut did not chatter."),
        ((("chatter", 0.6),), "CHATTER: this cut probably chattered."),
        ((("chatter", 0.9),), "CHATTER: this cut chattered."),
        ((("stable", 0.25), ("stable", 0.03)), "STABLE: probably none of the 2 cuts chattered."),
        ((("chatter", 0.7), ("stable", 0.03)), "CHATTER: 1 of 2 cuts probably chattered."),
        ((("marginal", 0.5),), "MARGINAL: this cut is at the edge"),
    ],
)
def test_verdict_with_much_against_it_is_not_told_as_a_fact(cuts, headline, make_document, make_cut):
    assert to_text(make_document(tuple(make_cut(*cut) for cut in cuts))).startswith(headline)


def test_lone_tone_asks_for_an_air_pass_unless_one_told_whose_it_is(make_document, make_cut):
    cut = replace(make_cut("marginal", 0.5), chatter_hz=1371.0, lines=(), tone="unknown")
    text = " ".join(to_text(make_document((cut,))).split())
    asked = "Set next First raise the tool clear of the work, run the same program once more, record it, and"
    assert asked in text
    assert "the tone at 1,371 Hz is about as loud there, it is no chatter. If it isn't there: Change" in text
    assert "It has no side tones, and a motor" in text
    for tone, said in (("in air", "has a fainter tone there"), ("only cutting", "recording lacks it")):
        compared = " ".join(to_text(make_document((replace(cut, tone=tone),))).split())
        assert asked not in compared
        assert said in compared


def test_no_air_pass_is_asked_for_at_a_speed_that_is_unsafe_or_in_doubt(make_document, make_cut):
    cut = replace(make_cut("marginal", 0.5), chatter_hz=1371.0, lines=(), tone="unknown")
    document = make_document((cut,))
    unsafe = replace(document, advice=replace(document.advice, urgent=("First lower the speed.",)))
    assert "First lower the speed." in to_text(unsafe)
    assert "run the same program once more" not in to_text(unsafe)


def test_several_speeds_are_told_as_tries_of_one_plan(chattering):
    first = chattering.advice.speeds[0]
    advice = replace(chattering.advice, speeds=(first, first, first), any_stable_probability=0.72)
    text = " ".join(to_text(replace(chattering, advice=advice)).split())
    assert "One of the three at least is stable with 72 chances in 100" in text
    assert "One of the" not in to_text(replace(chattering, advice=replace(advice, speeds=(first,))))


@pytest.mark.parametrize(
    ("rpm", "sd_rpm", "told"),
    [
        (6000.2, 0.3, "6,000.2 ± 0.3 rpm measured, as dialled (6,000)."),
        (5999.8, 0.3, "5,999.8 ± 0.3 rpm measured, as dialled (6,000)."),
        (5999.4, 0.3, "5,999.4 ± 0.3 rpm measured, 0.01 % below the 6,000 dialled."),
        (5998.7, 0.02, "5,998.7 ± less than 0.1 rpm measured, 0.02 % below the 6,000 dialled."),
        (5998.7, 0.05, "5,998.7 ± 0.1 rpm measured, 0.02 % below the 6,000 dialled."),
    ],
)
def test_speed_is_never_told_as_no_percent_off_nor_as_sure_to_nothing(rpm, sd_rpm, told, chattering):
    spindle = replace(
        chattering.analysis.spindle, programmed_rpm=6000.0, measured_rpm=rpm, measured_rpm_sd=sd_rpm
    )
    text = to_text(replace(chattering, analysis=replace(chattering.analysis, spindle=spindle)))
    assert told in " ".join(text.split())


@pytest.mark.parametrize(
    ("numbers", "told"),
    [
        ({"max_depth_mm": 1.0}, "no more than 1 mm instead of 2 mm: there the largest depth that you told"),
        ({"max_depth_mm": 3.0, "stick_out_mm": 20.0}, "than 3 mm: there the largest depth that you told"),
        ({"stick_out_mm": 3.0}, "than 3 mm: there the stick-out that you told"),
        ({"max_depth_mm": 5.0, "stick_out_mm": 3.0}, "than 3 mm: there the stick-out that you told"),
    ],
)
def test_depth_that_ends_at_the_users_own_number_is_told_as_that(numbers, told, make_document, make_cut):
    document = make_document((make_cut("stable", 0.03),), action="keep")
    settings = {**document.program["settings"], **numbers, "depth_mm": 2.0}
    most_mm = min(numbers.values())
    document = replace(
        document,
        program={**document.program, "settings": settings},
        advice=replace(document.advice, depth_factor=most_mm / 2),
    )
    text = " ".join(to_text(document).split())
    assert told in text
    assert "that you told ends it" in text
    assert "promises" not in text


@pytest.mark.parametrize(
    ("factor", "depth_mm", "told"),
    [
        (0.348, 1.5, "no more than 0.34 times the present depth (0.51 mm instead of 1.5 mm)"),  # not 0.52
        (0.345, 1.5, "no more than 0.34 times the present depth (0.51 mm instead of 1.5 mm)"),
        (0.0379, 2.0, "no more than 0.037 times the present depth (0.074 mm instead of 2 mm)"),
    ],
)
def test_depth_and_factor_are_rounded_down_and_fit_each_other(factor, depth_mm, told, chattering):
    settings = {**chattering.program["settings"], "depth_mm": depth_mm}
    for action in ("change speed", "reduce depth"):
        advice = replace(chattering.advice, depth_factor=factor, action=action)
        document = replace(chattering, program={**chattering.program, "settings": settings}, advice=advice)
        assert told in " ".join(to_text(document).split())
        depths = find_depths_mm(document)  # of which the page tells the second
        assert f"({round_down(depths[1])} mm" in told


def test_deeper_end_of_a_stable_cut_is_rounded_down_too(make_document, make_cut):
    document = make_document((make_cut("stable", 0.03),), action="keep", depth_mm=1.5)
    advice = replace(document.advice, depth_factor=1.088)
    text = " ".join(to_text(replace(document, advice=advice)).split())
    assert "up to 1.08 times the present depth (1.62 mm instead of 1.5 mm)" in text  # not 1.63


@pytest.mark.parametrize(("chance", "told"), [(0.07, True), (0.18, True), (0.2, False), (0.24, False)])
def test_speed_that_will_more_likely_chatter_is_told_as_one(chance, told, chattering):
    first = chattering.advice.speeds[0]
    third = replace(first, set_rpm=9_000.0, rpm=8_907.6, stable_probability=chance)
    advice = replace(chattering.advice, speeds=(first, third), any_stable_probability=0.88)
    text = " ".join(to_text(replace(chattering, advice=advice)).split())
    said = f"stable with {100 * chance:.0f} chances in 100, so it will more likely chatter."
    assert (said in text) == told
    assert text.count("more likely chatter") == told
    assert "2. Dial 9,000 rpm" in text


def test_teeth_and_turns_a_second_have_their_thousands_comma(chattering):
    spindle = replace(chattering.analysis.spindle, measured_rpm=63_510.0, flutes=4)
    text = " ".join(
        to_text(replace(chattering, analysis=replace(chattering.analysis, spindle=spindle))).split()
    )
    assert "It turns 1,058.5 times a second; 4 flutes strike at 4,234.0 Hz." in text


def test_stable_verdict_of_a_part_says_that_not_all_was_judged(make_document, make_cut):
    document = make_document((make_cut("stable", 0.03),), action="keep")
    left = Finding(code="not-judged", severity="warning", message="What is loud from 7.0 to 11.0 s ...")
    part = replace(document, analysis=replace(document.analysis, findings=(left,)))
    head = to_text(part).splitlines()[0]
    assert head == "STABLE: what was judged did not chatter; not all that is loud was."


def test_hum_sends_to_the_work_before_anything_is_set(make_document, make_cut):
    hum = Finding(code="mains-hum", severity="warning", message="...")
    cut = replace(make_cut("marginal", 0.55), chatter_hz=120.0, findings=(hum,))
    text = to_text(make_document((cut,), action="change speed"))
    assert "First look at the work: what was heard may be the motor's hum." in " ".join(text.split())
