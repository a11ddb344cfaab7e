"""Pictures inside a page: ids that don't meet, colours that follow the page, words that stay words."""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest

from chatter.model import SpeedCurve
from chatter.model.pictures import CutPictures, Spectrogram, SteadySpectrum, TurnByTurn
from chatter.report._figures import add_axes, new_figure
from chatter.report._palette import COAST, PAGE_COLOURS
from chatter.report._svg import Raster, _font, to_file_svg, to_svg
from chatter.report.cut_page import page_of_cut
from chatter.report.page import to_html
from chatter.report.speed_strip import draw_speeds

SVG = "{http://www.w3.org/2000/svg}"


def drawn(name="one", title="Title", description="What it shows."):
    figure = new_figure(2.0)
    axes = add_axes(figure, left=0.1, right=0.9, low_in=0.5, high_in=1.8)
    axes.plot([0, 1], [0, 1], color=COAST)
    axes.text(0.5, 0.5, "words < & >", fontweight="bold", fontstyle="italic")
    raster = Raster(axes=axes, shade=np.eye(4))
    return to_svg(figure, name=name, title=title, description=description, rasters=(raster,))


def words(svg):
    """Give the words of a picture, as an XML reader sees them."""
    tree = ElementTree.fromstring(to_file_svg(svg))
    return [text.text for text in tree.iter(f"{SVG}text")]


@pytest.fixture
def pictured(chattering):
    """Give a chattering cut with pictures whose content doesn't matter here."""
    rng = np.random.default_rng(1)
    pictures = CutPictures(
        spectrogram=Spectrogram(levels_db=rng.normal(-60, 9, (30, 40)), top_hz=4000.0, duration_s=6.1),
        spectrum=SteadySpectrum(
            start_s=1.5,
            end_s=4.9,
            frequency_hz=np.linspace(0, 4000, 400),
            level_db=rng.normal(-80, 5, 400),
            idle_db=None,
        ),
        turns=TurnByTurn(pressure=rng.normal(size=(20, 60)), watched_angle=7, repeating_share=0.4),
    )
    return replace(chattering, analysis=replace(chattering.analysis, pictures=pictures))


def test_picture_is_readable_xml_with_its_title_and_description():
    tree = ElementTree.fromstring(to_file_svg(drawn(title='A "title" <b>', description="5 < 6 & more")))
    assert tree.get("role") == "img"
    assert [tree.find(f"{SVG}{tag}").text for tag in ("title", "desc")] == ['A "title" <b>', "5 < 6 & more"]
    assert "words < & >" in words(drawn())


def test_colours_are_the_page_s_and_fonts_too():
    svg = drawn()
    assert "var(--coast)" in svg
    for _, light, _ in PAGE_COLOURS:
        assert light.lower() not in svg.lower()
    assert "font-family" not in svg
    assert re.search(r"font-weight: (700|bold)", svg)
    assert "font-style: italic" in svg


def test_shades_lie_exactly_under_the_axes():
    # Axes from 0.1 to 0.9 of 4.9 in, and from 0.5 to 1.8 in of 2 in; 72 points an inch, y downward.
    shade = re.search(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', drawn())
    assert [float(one) for one in shade.groups()] == pytest.approx(
        [0.1 * 4.9 * 72, (2 - 1.8) * 72, 0.8 * 4.9 * 72, 1.3 * 72], abs=0.01
    )


def test_font_as_older_drawing_libraries_write_it_keeps_size_weight_and_slant():
    found = re.search(
        r"font: ([^;\"]*?)([\d.]+px) [^;\"]*", "font: italic 700 11.5px 'DejaVu Sans', sans-serif"
    )
    assert _font(found) == "font-size: 11.5px; font-style: italic; font-weight: 700"


def test_ids_of_all_pictures_of_a_page_differ(pictured):
    ids = re.findall(r'\bid="([^"]+)"', to_html(page_of_cut(pictured)))
    assert len(ids) > 30
    assert len(ids) == len(set(ids))


def test_every_reference_inside_a_page_leads_somewhere(pictured):
    text = to_html(page_of_cut(pictured))
    ids = set(re.findall(r'\bid="([^"]+)"', text))
    named = re.findall(r"url\(#([^)]+)\)", text) + re.findall(r'href="#([^"]+)"', text)
    named += [one for group in re.findall(r'aria-labelledby="([^"]+)"', text) for one in group.split()]
    assert len(named) > 30
    assert [one for one in named if one not in ids] == []


def test_lines_are_named_in_the_picture_and_for_those_who_do_not_see_it(pictured):
    text = to_html(page_of_cut(pictured))
    assert "chatter 913 Hz" in text
    assert "teeth 396 Hz" in text
    assert "913 Hz chatter; 396 Hz tooth passing, multiple 1" in text


def test_strip_names_the_speed_to_dial_and_the_present_one(chattering):
    told = words(draw_speeds(chattering))
    assert "13,640" in told
    assert "now" in told
    # 13,300 and 13,750 rpm true, times 13,640 / 13,500 dialled over true
    assert "13,640 rpm, from 13,438 to 13,893" in draw_speeds(chattering)


def test_strip_marks_windows_and_calls_what_lies_between_them_nothing(chattering):
    # A likelier speed between two windows must not look worse than they do: no dotted land.
    strip = draw_speeds(chattering)
    assert "var(--water)" in strip
    assert "var(--land)" not in strip
    assert "var(--dots)" not in strip


def test_speed_whose_number_has_no_room_beside_better_ones_goes_without(chattering):
    first = chattering.advice.speeds[0]
    # Over 5,000 rpm dialled a number takes some 900: three within 500 have two rows, and the last one none.
    speeds = tuple(
        replace(first, rpm=true, set_rpm=true, low_rpm=true - 20, high_rpm=true + 20)
        for true in (7_000.0, 7_250.0, 7_500.0)
    )
    crowded = replace(chattering, advice=replace(chattering.advice, speeds=speeds))
    shown = [word for word in words(draw_speeds(crowded)) if word in ("7,000", "7,250", "7,500")]
    assert sorted(shown) == ["7,000", "7,250"]


def test_curve_is_drawn_over_speeds_to_dial_where_there_is_one(chattering):
    curve = SpeedCurve(speeds_rpm=(9000.0, 12000.0, 15000.0), stable_probability=(0.2, 0.1, 0.9))
    advised = replace(chattering, advice=replace(chattering.advice, chances=curve))
    assert "chances of 100 that the cut is stable" in words(draw_speeds(advised))
    assert "chances of 100 that the cut is stable" not in words(draw_speeds(chattering))


def test_advice_without_speeds_has_no_strip(no_cut):
    assert draw_speeds(no_cut) is None
