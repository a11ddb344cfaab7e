"""Pages: words from outside stay words, headings and pictures are in order, wrong names are refused."""

import base64
import io
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

from chatter.errors import BadValueError, FileProblemError, OutputError
from chatter.model import SpeedCurve
from chatter.model.notebook import Card, CardNoise, CardRow, SetupFacts
from chatter.report._svg import grey_png
from chatter.report.card_page import page_of_card
from chatter.report.cut_page import page_of_cut
from chatter.report.page import (
    MOST_SOUND_BYTES,
    Facts,
    Page,
    Part,
    Points,
    Table,
    Words,
    check_report_path,
    take_sound,
    to_html,
    write_page,
)

HOSTILE = (
    "</title></style><script>alert(1)</script><img src=//x.example onerror=alert(2)>\" onload='x' {{ 7*7 }}"
)
NAMES = ["深穴加工.m4a", "حفر ٣.m4a", "Fräsen & Bohren <1>.wav", "w" * 4000, "a\x1bb\x07.wav", "\ud800.wav"]


class Read(HTMLParser):
    """What a browser would make of a page: elements, headings, words."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.levels, self.attributes, self.words = [], [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag in ("h1", "h2", "h3", "h4"):
            self.levels.append(int(tag[1]))

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self):
        return "".join(self.words)


def page(word):
    """Give a page with one word in every field that can hold words from outside."""
    return Page(
        subject=word,
        kicker=word,
        sign="stable",
        answer=word,
        lead=(word,),
        parts=(
            Part(
                heading=word,
                blocks=(
                    Words(texts=(word,), large=True),
                    Points(texts=(word,)),
                    Table(caption=word, heads=(word,), rows=((word,),)),
                    Facts(pairs=((word, word),)),
                    None,
                ),
            ),
            Part(heading="left out", blocks=(None,)),
        ),
        footer=word,
    )


def test_hostile_words_in_every_field_make_no_element_and_no_attribute():
    # The words are in the page 13 times over; what a parser makes of it must be what it makes of plain words.
    plain, hostile = Read(to_html(page("plain"))), Read(to_html(page(HOSTILE)))
    assert hostile.tags == plain.tags
    assert hostile.attributes == plain.attributes
    assert hostile.text.count("onerror=alert(2)") == plain.text.count("plain")
    assert "49" not in hostile.text


@pytest.mark.parametrize("name", NAMES, ids=["chinese", "arabic", "marks", "long", "control", "half letter"])
def test_any_name_is_shown_and_the_page_is_valid_text(name, tmp_path):
    write_page(page(name), path=tmp_path / "page.html")
    text = (tmp_path / "page.html").read_bytes().decode("utf-8")
    shown = Read(text).text
    assert name.translate({0x1B: "�", 0x07: "�", 0xD800: "�"}) in shown
    # HTML Living Standard, 13.2.3.5: control characters other than whitespace are errors
    assert [one for one in text if ord(one) < 32 and one not in "\n\t"] == []


@pytest.mark.parametrize("mark", ["\N{RIGHT-TO-LEFT OVERRIDE}", "\N{LEFT-TO-RIGHT ISOLATE}"])
def test_marks_that_turn_a_name_around_are_shown_as_boxes(mark):
    assert mark not in to_html(page(f"cut{mark}gpj.exe"))
    assert "cut�gpj.exe" in to_html(page(f"cut{mark}gpj.exe"))


def test_page_forbids_scripts_and_holds_no_address():
    text = to_html(page("plain"))
    assert "default-src 'none'" in text
    assert "http://" not in text
    assert "https://" not in text


def test_part_without_blocks_is_left_out():
    assert "left out" not in to_html(page("plain"))


def test_cut_page_gives_verdict_then_setting_then_reasons(chattering):
    shown = " ".join(Read(to_html(page_of_cut(chattering))).text.split())
    places = [
        shown.index(part)
        for part in (
            "Chatter: this cut chattered.",
            "Chances that it chattered: 97 in 100.",
            "Dial 13,640 rpm and feed 1,091 mm/min.",
            "Stable with 86 chances in 100",
            "Begin with a shallow pass at the new speed.",
            "913.4",
            "The sound is clipped",
            "chatter 0.1.0",
        )
    ]
    assert places == sorted(places)


def test_window_is_told_in_speeds_to_dial(chattering):
    # 13,300 and 13,750 rpm true, times 13,640 / 13,500 dialled over true: 13,438 and 13,893
    shown = Read(to_html(page_of_cut(chattering))).text
    assert "Window on the dial: 13,438 to 13,893 rpm." in shown


@pytest.mark.parametrize("action", ["change speed", "reduce depth"])
def test_page_gives_further_speeds_with_their_feed_and_window(action, chattering):
    # Dialled over true, 23,744 / 23,500 and 14,145 / 14,000, times the ends of each window
    second = replace(
        chattering.advice.speeds[0],
        rpm=23_500.0,
        set_rpm=23_744.0,
        low_rpm=23_300.0,
        high_rpm=23_750.0,
        stable_probability=0.67,
        feed_mm_min=1899.0,
    )
    third = replace(second, rpm=14_000.0, set_rpm=14_145.0, low_rpm=13_900.0, high_rpm=14_100.0)
    third = replace(third, feed_mm_min=None)
    speeds = (*chattering.advice.speeds, second, third)
    advice = replace(chattering.advice, action=action, speeds=speeds, any_stable_probability=0.95)
    shown = " ".join(Read(to_html(page_of_cut(replace(chattering, advice=advice)))).text.split())
    assert "Dial 23,744 rpm, feed 1,899 mm/min: stable with 67 chances in 100." in shown
    assert "Window on the dial: 23,542 to 23,997 rpm." in shown
    assert (
        "Dial 14,145 rpm: stable with 67 chances in 100. Window on the dial: 14,044 to 14,246 rpm." in shown
    )
    assert shown.index("Dial 14,145 rpm") < shown.index("One of the three at least is stable")


@pytest.mark.parametrize("which", ["chattering", "many_cuts", "no_cut"])
def test_headings_of_a_cut_page_go_down_one_step_at_a_time(which, request):
    levels = Read(to_html(page_of_cut(request.getfixturevalue(which)))).levels
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_unlikely_speed_is_to_be_tried_and_not_just_dialled(chattering):
    unsure = replace(chattering.advice.speeds[0], stable_probability=0.45)
    advice = replace(chattering.advice, speeds=(unsure,))
    shown = Read(to_html(page_of_cut(replace(chattering, advice=advice)))).text
    assert "Try 13,640 rpm" in shown
    assert "Stable with 45 chances in 100" in shown


def test_recording_without_a_cut_says_how_to_record_and_suggests_nothing(no_cut):
    shown = Read(to_html(page_of_cut(no_cut))).text
    assert "Undecided" in shown
    assert "Record again before changing anything." in shown
    assert "Dial" not in shown


def test_every_cut_has_a_row_with_its_verdict(many_cuts):
    read = Read(to_html(page_of_cut(many_cuts)))
    words = [word.strip() for word in read.words if word.strip()]
    assert [w for w in words if w.startswith(("stable ", "chatter 97", "undecided -"))] == [
        "stable 2\N{NO-BREAK SPACE}%",
        "chatter 97\N{NO-BREAK SPACE}%",
        "undecided -",
    ]


def test_what_was_not_told_is_among_the_assumptions(chattering):
    shown = Read(to_html(page_of_cut(chattering))).text
    for part in (
        "radial width, tool diameter, direction",
        "No tap was given",
        "fastest speed of the spindle",
    ):
        assert part in shown


def test_page_says_that_a_speed_between_two_windows_may_be_likelier(chattering):
    curve = SpeedCurve(speeds_rpm=(9000.0, 12000.0, 15000.0), stable_probability=(0.2, 0.1, 0.9))
    speeds = chattering.advice.speeds * 2
    both = replace(chattering, advice=replace(chattering.advice, speeds=speeds, chances=curve))
    shown = " ".join(Read(to_html(page_of_cut(both))).text.split())
    assert "A box in the strip is the window of a speed suggested" in shown
    assert "Between the boxes the curve can be higher" in shown


def card(*rows, noises=()):
    return Card(
        program={"name": "chatter", "version": "0.1.0", "settings": {}},
        setup="6 mm long",
        facts=SetupFacts(flutes=2, machine="router"),
        made="2026-11-25T00:00:00Z",
        cuts=3,
        rows=rows,
        noises=noises,
        cautions=("Keep the guards closed.",),
    )


def test_card_page_shows_only_what_was_heard():
    row = CardRow(
        set_rpm=13640.0,
        feed_mm_min=1091.0,
        depth_mm=1.5,
        width_mm=3.0,
        removal_mm3_min=4910.0,
        cuts=2,
        chatter_probability=0.03,
        chatter_depth_mm=2.0,
    )
    text = to_html(page_of_card(card(row)))
    shown = " ".join(Read(text).text.split())
    assert "dial 13,640 rpm, 1.5 mm deep, feed 1,091 mm/min" in shown
    assert "not at 2 mm" in shown  # the picture's words for those who don't see it
    assert "No setting was heard stable yet." in Read(to_html(page_of_card(card()))).text
    assert "chatter noise FILE --setup NAME files it" in shown


def test_card_page_tells_no_chance_as_certain_and_names_what_it_is_of():
    row = CardRow(
        set_rpm=13640.0,
        feed_mm_min=None,
        depth_mm=1.5,
        width_mm=None,
        removal_mm3_min=None,
        cuts=2,
        chatter_probability=0.0,
        chatter_depth_mm=None,
    )
    shown = " ".join(Read(to_html(page_of_card(card(row)))).text.split())
    assert "chance of chatter" in shown
    assert "less than 1 in 100" in shown
    assert " 0 in 100" not in shown


def test_card_page_tells_how_loud_it_is_next_door():
    noise = CardNoise(
        file="a.wav",
        set_rpm=13640.0,
        depth_mm=1.5,
        verdict="stable",
        at_phone_db=82.1,
        uncertainty_db=10.0,
        neighbour_distance_m=15.0,
        at_neighbour_db=58.2,
        low_db=47.7,
        high_db=69.1,
        rating_db=64.2,
    )
    shown = " ".join(Read(to_html(page_of_card(card(noises=(noise,))))).text.split())
    assert (
        "13,640 rpm, 1.5 mm deep, stable: 82 dB(A) at the phone while it cuts (±10); next door, 15 m away, "
        "58 dB(A) (48 to 69), with its tones rated 64 (a.wav)."
    ) in shown


@pytest.mark.parametrize("name", ["page.pdf", "page", "page.html.m4a"])
def test_page_name_without_its_ending_is_refused(name, tmp_path):
    with pytest.raises(BadValueError, match=r"give a file name that ends in \.html"):
        check_report_path(tmp_path / name)


def test_page_in_a_missing_folder_or_in_place_of_one_is_refused(tmp_path):
    with pytest.raises(OutputError, match="folder doesn't exist"):
        check_report_path(tmp_path / "none" / "page.html")
    (tmp_path / "folder.html").mkdir()
    with pytest.raises(OutputError, match="it is a folder"):
        write_page(page("plain"), path=tmp_path / "folder.html")


def test_sound_is_embedded_byte_for_byte(tmp_path):
    path = tmp_path / "cut.m4a"
    path.write_bytes(bytes(range(256)))
    kind, _, held = take_sound(path).source.partition(";base64,")
    assert kind == "data:audio/mp4"  # RFC 4337
    assert base64.b64decode(held) == bytes(range(256))


def test_sound_that_is_missing_or_too_large_is_refused(tmp_path):
    with pytest.raises(FileProblemError, match="no such file"):
        take_sound(tmp_path / "none.wav")
    path = tmp_path / "long.wav"
    with path.open("wb") as file:
        file.truncate(MOST_SOUND_BYTES + 1)
    with pytest.raises(FileProblemError, match="at most 25 MB"):
        take_sound(path)


def test_grey_png_is_read_alike_by_another_library():
    # Pillow is the judge; 32 steps of grey, so within half a step of 255 / 31
    shade = np.linspace(0, 1, 60).reshape(4, 15)
    seen = np.asarray(Image.open(io.BytesIO(grey_png(shade))), dtype=float)
    assert seen.shape == (4, 15)
    assert np.abs(seen - 255 * shade).max() <= 255 / 31 / 2 + 0.5


def test_less_depth_is_told_in_millimetres_rounded_down(make_document):
    # 0.6171 is told as 0.61, which of 2 mm is 1.22: a depth rounded up might chatter, and the two have to fit
    shallow = make_document(action="reduce depth")
    shallow = replace(shallow, advice=replace(shallow.advice, depth_factor=0.6171))
    assert "Keep the speed and take 1.22 mm or less." in Read(to_html(page_of_cut(shallow))).text


def test_less_depth_is_no_more_than_the_spindle_drives(make_document):
    weak = make_document(action="reduce depth")
    weak = replace(weak, advice=replace(weak.advice, depth_factor=0.6171, power_depth_mm=0.379))
    shown = Read(to_html(page_of_cut(weak))).text
    assert "Keep the speed and take 0.37 mm or less." in shown
    assert "deeper needs more power than the spindle has" in shown


def test_marginal_cut_is_not_said_to_chatter(make_document, make_cut):
    edge = make_cut("marginal", 0.5, chatter_hz=913.4, onset_s=1.6)
    shown = Read(to_html(page_of_cut(make_document((edge,))))).text
    assert "What may be chatter is heard from 1.6 s on." in shown
    assert "What may be chatter: strongest at 913.4 Hz" in shown


@pytest.mark.parametrize(
    ("verdict", "action", "after"),
    [
        ("stable", "keep", "The sound itself asks for no other change."),
        ("stable", "change speed", "No other speed can be suggested from what was heard"),
        ("undecided", "record again", "Then record again before changing anything else."),
    ],
)
def test_page_tells_what_is_unsafe_before_the_action_and_once(
    verdict, action, after, make_document, make_cut
):
    told = make_document((make_cut(verdict, None if verdict == "undecided" else 0.03),), action=action)
    unsafe = "First lower the speed to 6,000 rpm or less."
    advice = replace(
        told.advice, speeds=(), depth_factor=None, urgent=(unsafe,), cautions=(unsafe, *told.advice.cautions)
    )
    shown = " ".join(Read(to_html(page_of_cut(replace(told, advice=advice)))).text.split())
    assert shown.count(unsafe) == 1
    assert shown.index(unsafe) < shown.index(after)
    assert "Keep these settings" not in shown
