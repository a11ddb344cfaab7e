"""Pictures: that they are drawn, can be read on a phone and by colour-blind eyes, and refuse wrong names."""

import itertools
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from chatter.errors import BadValueError, OutputError
from chatter.model import Advice, BestSpeed, MapCut, MapDocument, MapMode, SpeedCurve
from chatter.report import plots
from chatter.report._map_marks import draw_cuts
from chatter.report.plots import CutPoint, MapPicture, draw_chances, draw_map, picture_chances, picture_map

SPEEDS = np.linspace(6_000, 24_000, 181)


def map_document(limit=None, **other):
    limit = 1.0 + 3.0 * np.abs(np.sin(SPEEDS / 3_000)) if limit is None else limit
    depths = tuple(None if depth is None or not np.isfinite(depth) else float(depth) for depth in limit)
    finite = [depth for depth in depths if depth is not None]
    values = {
        "program": {"name": "chatter", "version": "0.1.0", "settings": {}},
        "method": "zero order",
        "modes": (MapMode(axis="both", frequency_hz=700.0, damping_ratio=0.03, stiffness_n_per_um=4.0),),
        "cut": MapCut(
            flutes=2,
            width_mm=3.0,
            diameter_mm=6.0,
            direction="climb",
            material="brass",
            pressure_mpa=800.0,
            pressure_low_mpa=None,
            pressure_high_mpa=None,
            radial_ratio=0.3,
        ),
        "is_relative": False,
        "max_depth": None,
        "speeds_rpm": tuple(SPEEDS.tolist()),
        "limit_depth": depths,
        "chatter_hz": tuple(None if depth is None else 710.0 for depth in depths),
        "lowest_rpm": 9_400.0 if finite else None,
        "lowest_depth": min(finite, default=None),
        "best": (
            BestSpeed(rpm=23_900.0, limit_depth=4.0, low_rpm=22_000.0, high_rpm=24_000.0, window_depth=2.8),
            BestSpeed(rpm=14_100.0, limit_depth=None, low_rpm=13_000.0, high_rpm=15_000.0, window_depth=2.8),
        )
        if finite
        else (),
        "cautions": ("Mind the limits.",),
    }
    return MapDocument(**(values | other))


def drawn(path):
    return path.read_text(encoding="utf-8")


def test_png_is_a_picture_as_wide_as_a_sharp_phone(tmp_path):
    path = tmp_path / "map.png"
    draw_map(picture_map(map_document()), path=path)
    with Image.open(path) as image:
        assert image.format == "PNG"
        assert image.width == 1080  # three dots a point of a screen 360 points wide
        assert image.height > image.width


def test_svg_names_both_sides_of_the_coast_the_axes_with_units_and_the_best_speeds(tmp_path):
    path = tmp_path / "map.svg"
    draw_map(picture_map(map_document()), path=path)
    text = drawn(path)
    for word in ("stable", "chatters", "spindle speed, true, rpm", "axial depth, mm", "23,000 rpm", ">2<"):
        assert word in text


def test_same_map_gives_the_same_svg(tmp_path):
    for name in ("one.svg", "two.svg"):
        draw_map(picture_map(map_document()), path=tmp_path / name)
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


@pytest.mark.parametrize("kind", ["map", "chances"])
def test_smallest_word_is_readable_on_a_phone(kind, tmp_path, chattering):
    path = tmp_path / "picture.svg"
    if kind == "map":
        draw_map(picture_map(map_document()), path=path)
    else:
        draw_chances(picture_chances(chattering), path=path)
    text = drawn(path)
    width = float(re.search(r'viewBox="0 0 ([\d.]+)', text).group(1))
    sizes = [float(size) for size in re.findall(r"font(?:-size)?: [^;\"]*?([\d.]+)px", text)]
    assert len(sizes) > 5
    # 9 points: the least that phone makers' layout guides allow is about 11 for text, 9 for labels
    assert min(sizes) * 360 / width >= 9


@pytest.mark.parametrize("limit", [[np.inf] * 181, [1.0] * 90 + [np.inf] * 91, [2.0] * 181])
def test_map_without_limits_or_without_peaks_is_drawn(limit, tmp_path):
    draw_map(picture_map(map_document(limit)), path=tmp_path / "map.svg")
    assert "stable" in drawn(tmp_path / "map.svg")


def test_relative_map_says_so_on_its_axis(tmp_path):
    draw_map(picture_map(map_document(is_relative=True)), path=tmp_path / "map.svg")
    text = drawn(tmp_path / "map.svg")
    assert "depth, times the lowest limit" in text
    assert " x lowest<" in text
    assert " mm<" not in text


def test_cut_at_the_edge_is_drawn_whole_and_one_beyond_it_not_at_all(tmp_path):
    from matplotlib.figure import Figure

    axes = Figure().add_subplot()
    axes.set_xlim(3_000, 20_000)
    axes.set_ylim(0, 2)
    inside, beyond = (
        CutPoint(rpm=20_000.0, depth=1.0, verdict="stable"),
        CutPoint(rpm=20_001.0, depth=1.0, verdict="stable"),
    )
    draw_cuts(axes, (inside, beyond))
    (drawn_points,) = axes.get_lines()
    assert list(drawn_points.get_xdata()) == [20_000.0]
    assert not drawn_points.get_clip_on()


def test_line_of_a_title_or_caption_ends_with_no_number_whose_unit_stands_on_the_next(tmp_path):
    # Broken at 46 letters the first line would end in "2", at 58 the caption's in "13,800".
    words = "up to 24,000 rpm; 6 mm, 2 flutes, 28 mm out; 2 mm wide, climb"
    caption = "1   best heard stable, dialled by that very same hand: 13,800 rpm, 1 mm deep"
    picture = MapPicture(
        title="So far", subtitle=words, speeds_rpm=SPEEDS, top=5.0, depth_label="mm", caption=caption
    )
    draw_map(picture, path=tmp_path / "units.svg")
    text = drawn(tmp_path / "units.svg")
    for broken in (">2 mm wide, climb<", ">13,800 rpm, 1 mm deep<"):
        assert broken in text


@pytest.mark.parametrize("chance", [0.0, 1.0, None])
def test_chances_over_speed_and_depth_with_cuts_are_drawn(chance, tmp_path):
    depths = np.linspace(0.1, 5, 20)
    chances = 1 / (1 + np.exp(depths[:, None] - 2 - np.sin(SPEEDS / 2_000)[None, :]))
    picture = MapPicture(
        title="So far",
        subtitle="brass",
        speeds_rpm=SPEEDS,
        top=5.0,
        depth_label="axial depth, mm",
        depths=depths,
        stable_probability=chances if chance is None else np.full_like(chances, chance),
        cuts=(
            CutPoint(rpm=9_000.0, depth=1.0, verdict="stable"),
            CutPoint(rpm=9_500.0, depth=3.0, verdict="chatter"),
        ),
        windows=((12_000.0, 13_000.0),),
        present_rpm=9_500.0,
    )
    draw_map(picture, path=tmp_path / "so-far.svg")
    text = drawn(tmp_path / "so-far.svg")
    for word in ("cut: stable", "cut: chatter", "now 9,500", "chances of a stable cut, of 100"):
        assert word in text
    assert "cut: marginal" not in text


def test_chances_of_a_cut_show_the_speed_now_and_the_number_to_dial(tmp_path, chattering):
    draw_chances(picture_chances(chattering), path=tmp_path / "cut.svg")
    text = drawn(tmp_path / "cut.svg")
    # 11,874 rpm were measured where 12,000 were dialled: every speed on the axis is as a hand sets it.
    for word in ("now 12,000", "dial 13,640 rpm", "86 in 100", "at 2 mm depth", "speed to dial, rpm"):
        assert word in text
    assert "true, rpm" not in text


def test_flags_windows_and_curve_of_a_cut_stand_at_speeds_to_dial(chattering):
    curve = SpeedCurve(speeds_rpm=(9_000.0, 12_000.0, 15_000.0), stable_probability=(0.2, 0.1, 0.8))
    picture = picture_chances(replace(chattering, advice=replace(chattering.advice, chances=curve)))
    (window,) = picture.windows
    dial = 12_000 / 11_874.2  # dialled over measured
    assert (picture.present_rpm, window.rpm) == (12_000, 13_640)
    # To a part in a thousand: the speed to dial was rounded to tens.
    assert window.low_rpm == pytest.approx(dial * 13_300, rel=1e-3)
    assert window.high_rpm == pytest.approx(dial * 13_750, rel=1e-3)
    assert picture.speeds_rpm == pytest.approx(dial * np.array(curve.speeds_rpm))


def test_picture_of_a_cut_tells_no_chance_as_certain(tmp_path, chattering):
    speeds = (replace(chattering.advice.speeds[0], stable_probability=1.0),)
    sure = replace(chattering, advice=replace(chattering.advice, speeds=speeds))
    draw_chances(picture_chances(sure), path=tmp_path / "sure.svg")
    assert "more than 99 in 100" in drawn(tmp_path / "sure.svg")


def test_fuller_curve_of_chances_is_drawn_where_the_document_has_one(tmp_path, chattering):
    curve = SpeedCurve(speeds_rpm=(9_000.0, 12_000.0, 15_000.0), stable_probability=(0.2, 0.1, 0.8))
    draw_chances(picture_chances(chattering), path=tmp_path / "few.svg")
    draw_chances(
        picture_chances(replace(chattering, advice=replace(chattering.advice, chances=curve))),
        path=tmp_path / "full.svg",
    )
    # Windows and present speed lie between 11,874 and 13,750 rpm; only the curve reaches down to 9,000.
    assert ">10,000<" not in drawn(tmp_path / "few.svg")
    assert ">10,000<" in drawn(tmp_path / "full.svg")


@pytest.fixture
def sheet(monkeypatch):
    """Give a function that draws a picture and returns its axes, laid out."""

    def draw(function, picture):
        kept = []
        monkeypatch.setattr(plots, "save_sheet", lambda figure, path: kept.append(figure))
        function(picture, path=Path("sheet.png"))
        kept[0].draw_without_rendering()
        return kept[0].axes[0]

    return draw


def boxes(axes):
    """Give the number and the box on the sheet of each flag."""
    flags = [text for text in axes.texts if text.get_text().isdigit()]
    return {text.get_text(): text.get_bbox_patch().get_window_extent() for text in flags}


def test_flags_of_near_speeds_hide_neither_each_other_nor_the_coast(sheet):
    middles = (11_300.0, 24_600.0, 21_700.0, 23_200.0, 53_000.0)
    best = tuple(
        BestSpeed(rpm=rpm, limit_depth=3.0, low_rpm=rpm - 400, high_rpm=rpm + 400, window_depth=2.0)
        for rpm in middles
    )
    speeds = np.linspace(500, 60_000, 200)
    limit = 1 + 7.6 * np.exp(-(((speeds - 11_300) / 500) ** 2))
    document = map_document(limit, best=best, max_depth=16.0, speeds_rpm=tuple(speeds.tolist()))
    axes = sheet(draw_map, picture_map(document))
    flags = boxes(axes)
    assert sorted(flags) == ["1", "2", "3", "4", "5"]
    assert not any(one.overlaps(other) for one, other in itertools.combinations(flags.values(), 2))
    coast = max(axes.lines, key=lambda line: line.get_xdata().size).get_window_extent()
    assert all(box.y0 > coast.y1 for box in flags.values())
    # Nothing was found deeper than 8.6 mm: the axis ends there, with room for three rows of flags.
    assert 8.6 < axes.get_ylim()[1] < 13


def test_bars_of_neighbouring_windows_stand_at_two_heights(sheet):
    windows = ((20_700.0, 22_600.0), (22_800.0, 23_600.0), (24_200.0, 25_000.0), (46_000.0, 60_000.0))
    picture = MapPicture(
        title="So far",
        subtitle="brass",
        speeds_rpm=np.array([500.0, 60_000.0]),
        top=5.0,
        depth_label="mm",
        windows=windows,
    )
    heights = [line.get_window_extent().y0 for line in sheet(draw_map, picture).lines]
    assert heights[0] == heights[2] == heights[3] < heights[1]


def test_flag_of_a_suggested_speed_hides_nothing_of_the_curve(sheet, chattering):
    speeds = tuple(
        replace(chattering.advice.speeds[0], set_rpm=rpm, rpm=rpm, low_rpm=rpm - 200, high_rpm=rpm + 200)
        for rpm in (13_000.0, 13_500.0, 20_000.0)
    )
    curve = SpeedCurve(speeds_rpm=(9_000.0, 13_100.0, 24_000.0), stable_probability=(0.2, 0.99, 0.1))
    advice = replace(chattering.advice, speeds=speeds, chances=curve)
    axes = sheet(draw_chances, picture_chances(replace(chattering, advice=advice)))
    flags = boxes(axes)
    assert not any(one.overlaps(other) for one, other in itertools.combinations(flags.values(), 2))
    top = axes.transData.transform((13_100, 99))[1]
    (now,) = [text for text in axes.texts if text.get_text().startswith("now")]
    assert all(box.y0 > top and not box.overlaps(now.get_window_extent()) for box in flags.values())


@pytest.mark.parametrize("depth", [1.0, 4.9])
def test_setup_map_hides_neither_its_best_cut_under_the_flag_nor_its_cuts_under_their_legend(depth, sheet):
    picture = MapPicture(
        title="So far",
        subtitle="brass",
        speeds_rpm=SPEEDS,
        top=5.0,
        depth_label="mm",
        best=(9_000.0, depth),
        cuts=tuple(
            CutPoint(rpm=9_000.0, depth=depth, verdict=verdict)
            for verdict in ("stable", "marginal", "chatter", "undecided")
        ),
    )
    axes = sheet(draw_map, picture)
    at = axes.transData.transform((9_000, depth))
    flag, legend = boxes(axes)["1"], axes.get_legend().get_window_extent()
    half_px = 13 / 2 / 72 * axes.figure.dpi  # the shape of a cut is some 13 points high
    assert flag.y0 > at[1] + half_px or flag.y1 < at[1] - half_px
    assert not legend.overlaps(axes.get_window_extent())
    assert not legend.overlaps(flag)
    assert not legend.overlaps(axes._left_title.get_window_extent())


@pytest.mark.parametrize(
    ("depth", "told"),
    [
        ({"depth_mm": 2.0}, "at 2 mm depth"),
        (
            {"depth_mm": None, "depth_from_mm": 0.4, "depth_to_mm": 2.8},
            "at 2.8 mm depth, the ramp's deep end",
        ),
        ({"depth_mm": None}, "at the present depth"),
    ],
)
def test_chances_name_the_depth_that_they_are_for(depth, told, make_document, make_cut):
    assert picture_chances(make_document((make_cut(),), **depth)).subtitle == told


def test_cut_without_a_speed_to_suggest_says_so(tmp_path, chattering):
    nothing = Advice(action="reduce depth", speeds=(), depth_factor=None, cautions=())
    draw_chances(picture_chances(replace(chattering, advice=nothing)), path=tmp_path / "cut.svg")
    assert "no other speed to suggest" in drawn(tmp_path / "cut.svg")


@pytest.mark.parametrize("name", ["map.pdf", "map", "map.jpg", "png"])
def test_other_endings_are_refused(name, tmp_path):
    with pytest.raises(BadValueError, match=r"ends in \.png or \.svg"):
        draw_map(picture_map(map_document()), path=tmp_path / name)


def test_folder_that_does_not_exist_or_is_the_name_itself_is_refused(tmp_path):
    with pytest.raises(OutputError, match="its folder doesn't exist"):
        draw_map(picture_map(map_document()), path=tmp_path / "none" / "map.png")
    (tmp_path / "map.png").mkdir()
    with pytest.raises(OutputError, match="it is a folder"):
        draw_map(picture_map(map_document()), path=tmp_path / "map.png")


def test_drawing_library_loads_only_to_draw():
    code = "import sys, chatter.report.plots, chatter.report; print('matplotlib' in sys.modules)"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert shown.strip() == "False"
