"""`chatter map` and `map_stability`: limits worked elsewhere, bad input, document, text, picture."""

import json
import math
import re
from dataclasses import replace

import pytest
from PIL import Image

from chatter import map_stability
from chatter.errors import BadValueError, FileProblemError, InputError
from chatter.model import BestSpeed, MapMode
from chatter.report import map_to_text, to_json
from chatter.report.map_page import page_of_map
from chatter.report.page import to_html

# One mode of 600 Hz, damping 0.03, 2 N/µm, alike along and across the feed; 3 flutes, 700 MPa, radial ratio
# 0.3. Limits in mm and chatter in Hz: the zero-order formulas of Altintas and Budak (CIRP Annals 44/1, 1995)
# worked independently of this project, and exact limits by Chebyshev collocation; computed and converged, not
# published.
BENCH = {"flutes": 3, "diameter_mm": 6.0, "pressure_mpa": 700, "radial_ratio": 0.3}
SLOT = {4_000: 0.4726, 5_000: 0.1281, 6_000: 0.6811, 8_000: 0.1141, 9_000: 0.1613, 12_000: 1.273}
SLOT_HZ = {5_000: 609.6, 6_000: 657.9, 8_000: 604.7, 9_000: 615.6, 12_000: 565.7}
TAP = {
    "document": "tap",
    "version": 1,
    "of": "tool",
    "modes": [
        {
            "frequency_hz": hz,
            "frequency_sd_hz": 0.5,
            "damping_ratio": 0.03,
            "damping_ratio_sd": 0.001,
            "damping_bound": bound,
            "decay_time_s": 0.1,
            "level_db": level_db,
        }
        for hz, bound, level_db in ((2_000.0, "none", -10.0), (600.0, "upper", 0.0))
    ],
}


def bench(**other):
    values = {"min_rpm": 4_000, "max_rpm": 16_000, "width_mm": 6.0, "modes": ["both:600:0.03:2"], **BENCH}
    return map_stability(**(values | other))


def at(document, rpm):
    index = next(n for n, speed in enumerate(document.speeds_rpm) if abs(speed - rpm) < 0.5)
    return document.limit_depth[index], document.chatter_hz[index]


@pytest.fixture
def tap(tmp_path):
    path = tmp_path / "tool.json"
    path.write_text(json.dumps(TAP), encoding="utf-8")
    return path


def test_zero_order_slot_matches_limits_worked_elsewhere():
    document = bench()
    # 1 %: what the project asks of each method against its own column
    for rpm, limit_mm in SLOT.items():
        assert at(document, rpm)[0] == pytest.approx(limit_mm, rel=0.01)
    for rpm, hz in SLOT_HZ.items():
        assert at(document, rpm)[1] == pytest.approx(hz, rel=0.002)
    # The lowest limit in closed form: 0.112292 mm.
    assert document.lowest_depth == pytest.approx(0.112292, rel=0.002)


def test_best_speeds_are_those_of_the_speed_rule():
    # n = 60 f_n / (N k) = 12,000, 6,000, 4,000 rpm (Smith and Tlusty 1990); the peak lies within a hundredth.
    speeds = [best.rpm for best in bench(min_rpm=3_500).best]
    assert speeds == pytest.approx([12_000, 6_000, 4_000], rel=0.01)


def test_exact_map_matches_exact_limits_and_finds_period_doubling():
    # 200 speeds from 5,000 rpm on, every 10 rpm; a tenth of the diameter, climbing
    document = bench(min_rpm=5_000, max_rpm=6_990, width_mm=0.6, direction="climb", exact=True)
    assert document.method == "semi-discretization"
    limit_mm, hz = at(document, 5_000)
    assert limit_mm == pytest.approx(1.97, rel=0.01)  # zero order gives 2.56
    # Period doubling: half the tooth passing frequency of 250 Hz, and multiples of it beside that.
    assert hz % 250 == pytest.approx(125, abs=1)
    assert at(document, 6_000)[0] == pytest.approx(12.24, rel=0.01)


def test_mode_both_ways_is_a_mode_along_and_one_across():
    one = bench()
    two = bench(
        modes=["x:600:0.03:2", MapMode(axis="y", frequency_hz=600, damping_ratio=0.03, stiffness_n_per_um=2)]
    )
    assert one.limit_depth == two.limit_depth


def test_tap_without_stiffness_gives_depths_in_lowest_limits(tap):
    document = bench(modes=(), tap=tap)
    assert document.is_relative
    # The strongest tapped mode is the bench's: shares of the limits above must come out.
    for rpm, limit_mm in SLOT.items():
        assert at(document, rpm)[0] == pytest.approx(limit_mm / 0.112292, rel=0.012)
    assert document.lowest_depth == pytest.approx(1)
    # Millimetres go away from the best speeds, too: 12 times the lowest limit counts as the most.
    assert 1 < document.best[0].window_depth <= 12
    said = " ".join(document.cautions)
    assert "multiples of the lowest limit" in said
    assert "strongest tapped mode" in said
    assert "upper bound" in said
    told = document.to_dict()
    assert set(told["limit_depth_mm"]) == {None}
    assert None not in told["limit_depth_relative"]
    assert "mm" not in [key.rpartition("_")[2] for key in told["best"][0]]


def test_tap_with_stiffness_gives_millimetres(tap):
    document = bench(modes=(), tap=tap, stiffness_n_per_um=2)
    assert at(document, 8_000)[0] == pytest.approx(0.1141, rel=0.01)
    assert not document.is_relative


def test_mode_without_a_pressure_gives_relative_depths():
    assert bench(pressure_mpa=None).is_relative


def test_material_gives_the_middle_of_its_pressures_and_says_the_range():
    document = bench(pressure_mpa=None, radial_ratio=None, material="6061")
    cut = document.cut
    assert cut.pressure_low_mpa < cut.pressure_mpa < cut.pressure_high_mpa
    # A limit goes as one over the pressure: 700 MPa, radial ratio 0.3 against the material's.
    same = bench(pressure_mpa=cut.pressure_mpa, radial_ratio=cut.radial_ratio)
    assert document.limit_depth == pytest.approx(same.limit_depth)
    assert any("Sources put the cutting pressure of 6061 between" in caution for caution in document.cautions)


def test_material_without_a_sure_pressure_gives_relative_depths():
    # Nothing readable gives a cutting pressure of plywood.
    document = bench(pressure_mpa=None, material="plywood")
    assert document.is_relative
    assert document.cut.pressure_mpa is None


@pytest.mark.parametrize(
    ("other", "said"),
    [
        # docs/materials.md: 100 to 200 N/mm² for acetal, marked weak
        (
            {"material": "acetal"},
            "Of acetal only a cutting pressure from memory is known, 100 to 200 MPa: no depth rests on that. "
            "Give the cutting pressure to get millimetres.",
        ),
        ({}, "can't. Give the cutting pressure to get millimetres."),
    ],
)
def test_reason_for_depths_without_millimetres_is_said(other, said):
    document = bench(pressure_mpa=None, **other)
    assert any(caution.endswith(said) for caution in document.cautions)
    assert not any("stiffness" in caution for caution in document.cautions)


def test_stiffness_that_a_tap_lacks_is_asked_for(tap):
    said = "Give the mode's stiffness to get millimetres."
    assert any(caution.endswith(said) for caution in bench(modes=(), tap=tap).cautions)
    both = "Give the mode's stiffness and the cutting pressure to get millimetres."
    document = bench(modes=(), tap=tap, pressure_mpa=None)
    assert any(caution.endswith(both) for caution in document.cautions)


def test_help_names_materials_that_give_millimetres(chatter):
    told = " ".join(chatter("map", "--help").out.replace("│", " ").split())
    names = re.search(r"What is cut, such as ([^.]+)\.", told)[1]
    for name in re.split(r", | or ", names):
        assert not bench(pressure_mpa=None, material=name).is_relative


def test_radial_ratio_that_nobody_gave_is_said():
    assert any("0.3 of the tangential" in caution for caution in bench(radial_ratio=None).cautions)
    assert not any("0.3 of the tangential" in caution for caution in bench().cautions)


def test_narrow_cut_by_the_quick_method_is_cautioned():
    assert any("exact map" in caution for caution in bench(width_mm=0.6, direction="climb").cautions)


def test_speeds_too_far_apart_for_the_lobes_are_cautioned_and_name_no_peak():
    # 100 to 24,000 rpm in 1,200 steps of 19.9 rpm; lobes of 600 Hz with 3 teeth lie n² / 12,000 apart:
    # five steps at 1,093 rpm.
    document = bench(min_rpm=100, max_rpm=24_000)
    assert "Below 1,093 rpm" in document.cautions[0]
    assert min(best.low_rpm for best in document.best) >= 1_093
    assert not any("peaks may lie closer" in caution for caution in bench().cautions)


def test_document_is_json_without_nan_and_as_long_in_every_list():
    document = bench(min_rpm=3_000, max_depth_mm=0.5)
    told = json.loads(to_json(document.to_dict()), parse_constant=lambda name: pytest.fail(name))
    assert (told["document"], told["version"], told["method"]) == ("map", 1, "zero order")
    assert told["modes"] == [
        {"axis": "both", "frequency_hz": 600, "damping_ratio": 0.03, "stiffness_n_per_um": 2}
    ]
    lengths = {
        len(told[key]) for key in ("speeds_rpm", "limit_depth_mm", "limit_depth_relative", "chatter_hz")
    }
    assert len(lengths) == 1
    assert told["program"]["settings"]["max_depth_mm"] == 0.5
    assert told["max_depth_mm"] == 0.5
    assert told["best"][0]["window_depth_mm"] <= 0.5


@pytest.mark.parametrize("other", [{}, {"pressure_mpa": None, "material": "plywood"}, {"pressure_mpa": None}])
def test_text_keeps_to_80_columns_without_colour_and_says_best_speeds_first(other):
    text = map_to_text(bench(width_mm=1.0, direction="up", **other))
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text
    places = [text.index(part) for part in ("MAP", "Best speeds", "At any speed", "Drawn from", "Cautions")]
    assert places == sorted(places)
    for word in ("speed limit of the spindle", "guards closed", "hearing"):
        assert word in " ".join(text.split())


def test_depths_are_told_as_sharp_as_they_are_known():
    # The lowest limit is 0.112292 mm at 700 MPa (closed form), so one in proportion at another pressure.
    sure = " ".join(map_to_text(bench()).split())
    assert "Below 0.11 mm no speed of this range should chatter" in sure
    document = bench(pressure_mpa=None, radial_ratio=0.3, material="6061")
    cut = document.cut
    low, high = (0.112292 * 700 / pressure for pressure in (cut.pressure_high_mpa, cut.pressure_low_mpa))
    text = " ".join(map_to_text(document).split())
    told = re.search(r"Below 0\.11 mm \(([\d.]+) to ([\d.]+) as sources differ about the material\)", text)
    # Told in two digits, rounded down.
    assert low * 0.9 < float(told[1]) <= low * 1.001
    assert high * 0.9 < float(told[2]) <= high * 1.001


def test_page_and_text_say_that_the_order_is_by_metal_and_not_by_depth():
    # Ranked by depth times speed (docs/map.md): 1.0 mm at 12,000 rpm is more metal than 1.5 mm at 6,000.
    document = bench()
    first, second = (
        BestSpeed(rpm=rpm, limit_depth=1.3 * mm, low_rpm=0.98 * rpm, high_rpm=1.02 * rpm, window_depth=mm)
        for rpm, mm in ((12_000.0, 1.0), (6_000.0, 1.5))
    )
    document = replace(document, best=(first, second))
    page = page_of_map(document)
    assert page.answer == "Most metal near 12,000 rpm."
    order = "The order goes by the metal removed: the speed times the depth that its window carries."
    assert order in to_html(page)
    assert order in " ".join(map_to_text(document).split())
    assert "The order goes by" not in map_to_text(replace(document, best=(first,)))


def test_chart_of_characters_shows_the_peak_at_its_place():
    text = map_to_text(bench())
    rows = [line.split("|", 1)[1] for line in text.splitlines() if " |" in line]
    assert len(rows) == 12
    second = rows[1].ljust(64)
    # 12,000 rpm of 4,000 to 16,000 is two thirds of 64 columns.
    assert abs(second.index(" ") - 42) <= 2
    assert rows[-1].count("#") == 0 or rows[-1].count("#") < 64


def test_chart_of_characters_is_true_to_speed_where_speeds_do_not_share_out_evenly():
    # 200 speeds in 64 columns, 3.1 in each: a window from 10,965 to 11,563 rpm of 500 to 60,000 lies in
    # columns 11.3 to 11.9. Columns of whole numbers of speeds put it into the ninth, at 9,000 rpm.
    speeds = tuple(500 + 59_500 * number / 199 for number in range(200))
    crowded = tuple(sorted({*speeds, *(20_000.0 + step for step in range(100))}))  # nor where they crowd
    for at in (speeds, crowded):
        depths = tuple(6.0 if 10_600 < rpm < 12_000 else 1.0 for rpm in at)
        document = replace(bench(), speeds_rpm=at, limit_depth=depths, lowest_depth=1.0, best=())
        rows = [line.split("|", 1)[1] for line in map_to_text(document).splitlines() if " |" in line]
        assert rows[2].ljust(64).index(" ") == 11
        assert rows[2].count("#") == 63


def test_chart_of_characters_numbers_the_best_speeds_and_denies_none():
    document = bench(min_rpm=1_000, max_rpm=40_000)
    lines = map_to_text(document).splitlines()
    rows = [line.split("|", 1)[1].ljust(64) for line in lines if " |" in line]
    axis = next(index for index, line in enumerate(lines) if "+---" in line)
    numbers = lines[axis + 1][11:].ljust(64)
    top = min(max(document.limit_depth), 12 * document.lowest_depth)
    for number, speed in enumerate(document.best, start=1):
        column = int(64 * (speed.middle_rpm - 1_000) / 39_000)
        assert numbers[column] == f"{number}"
        carried = [row for row in range(12) if top * (11.5 - row) / 12 <= speed.window_depth]
        assert carried
        assert all(rows[row][column] == " " for row in carried)


def test_window_between_coarse_speeds_carries_what_a_finer_map_says():
    # One peak with a cliff at its fast side; 200 speeds 299 rpm apart, then the same range 15 times finer.
    cut = {"flutes": 4, "width_mm": 0.6, "direction": "climb", "exact": True, "pressure_mpa": 1_864}
    modes = ["x:700:0.03:4", "y:2300:0.02:20"]
    wide = bench(min_rpm=500, max_rpm=60_000, modes=modes, **cut).best[0]
    fine = bench(min_rpm=10_000, max_rpm=13_980, modes=modes, **cut)  # every 20 rpm
    inside = [
        depth
        for rpm, depth in zip(fine.speeds_rpm, fine.limit_depth, strict=True)
        if wide.low_rpm <= rpm <= wide.high_rpm
    ]
    # Between two speeds of the finer map the limit can dip by a step of its depths, 6 % (80 from 1 to 120).
    assert wide.window_depth == pytest.approx(min(inside), rel=0.03)
    # The speed to set is as far from the cliff as from the slow end, the peak is not.
    assert wide.middle_rpm == pytest.approx((wide.low_rpm + wide.high_rpm) / 2)
    assert wide.high_rpm - wide.rpm < 0.2 * (wide.high_rpm - wide.low_rpm)
    at_middle = min(fine.speeds_rpm, key=lambda rpm: abs(rpm - wide.middle_rpm))
    assert fine.limit_depth[fine.speeds_rpm.index(at_middle)] > wide.window_depth


@pytest.mark.parametrize("exact", [False, True])
def test_largest_depth_that_was_told_is_carried_whole_and_none_below_it_told(exact):
    # The peak at 12,000 rpm reaches 1.27 mm (zero order), the lowest limit 0.11 mm.
    document = bench(max_depth_mm=0.5, exact=exact)
    assert all(depth is None or depth <= 0.5 for depth in document.limit_depth)
    first = document.best[0]
    assert first.window_depth == 0.5
    assert first.limit_depth is None
    inside = [
        depth
        for rpm, depth in zip(document.speeds_rpm, document.limit_depth, strict=True)
        if first.low_rpm <= rpm <= first.high_rpm
    ]
    assert inside.count(None) == len(inside) > 10
    text = " ".join(map_to_text(document).split())
    assert f"{first.middle_rpm:,.0f} rpm: 0.50 mm should stay quiet from {first.low_rpm:,.0f} to" in text
    assert f"{first.high_rpm:,.0f} rpm. No deeper cut was looked at." in text


def test_depth_at_which_nothing_chatters_is_told_where_no_deeper_cut_is_wanted():
    document = bench(max_depth_mm=0.1)  # the lowest limit is 0.112292 mm
    assert document.lowest_depth is None
    told = "Nothing chatters at any of these speeds down to 0.10 mm."
    assert told in " ".join(map_to_text(document).split())
    assert page_of_map(document).answer == told


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"modes": ()}, "mode is missing: give modes"),
        ({"modes": ["both:600:0.03"]}, "such as both:900:0.03:5"),
        ({"modes": ["z:600:0.03:2"]}, "x (along the feed), y (across it) or both"),
        ({"modes": ["x:nan:0.03:2"]}, "frequency of a mode is 'nan'"),
        ({"modes": ["x:600:3:2"]}, "damping ratio of a mode"),
        ({"modes": ["x:600:0.7:2"]}, "such as 0.03 for 3 %"),
        ({"modes": ["x:600:0.03:-2"]}, "stiffness of a mode"),
        ({"modes": ["x:600:0.03:inf"]}, "stiffness of a mode"),
        ({"modes": ["x:600:0.03:2"] * 21}, "at most 20"),
        ({"stiffness_n_per_um": 2}, "only with the document of a tap"),
        ({"flutes": 0}, "flutes is 0"),
        ({"min_rpm": 119, "exact": True}, "at least 120 for an exact map"),  # 60 * 600 / (100 * 3)
        ({"min_rpm": 16_000}, "clearly below max_rpm"),
        ({"min_rpm": 20_000}, "min_rpm"),
        ({"width_mm": 7}, "not above diameter_mm"),
        ({"width_mm": None}, "width_mm is missing"),
        ({"width_mm": 3}, "the milling direction, up or climb, because the cut is narrower than the tool"),
        ({"direction": "down"}, "give the milling direction, up or climb"),
        ({"pressure_mpa": -1}, "pressure_mpa is -1"),
        ({"radial_ratio": float("nan")}, "radial_ratio is nan"),
        ({"max_depth_mm": 0}, "max_depth_mm is 0"),
        ({"pressure_mpa": None, "max_depth_mm": 3}, "depths have no millimetres"),
        (
            {"pressure_mpa": None, "material": "acetal", "max_depth_mm": 3},
            "Of acetal only a cutting pressure",
        ),
        ({"material": "unobtainium"}, "material is 'unobtainium'"),
    ],
)
def test_value_that_cannot_be_used_is_one_clear_line(other, said):
    with pytest.raises(InputError) as caught:
        bench(**other)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_modes_and_a_tap_together_are_refused(tap):
    with pytest.raises(BadValueError, match="not both"):
        bench(tap=tap)


def test_tap_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(FileProblemError, match="no such file"):
        bench(modes=(), tap=tmp_path / "none.json")


def test_limits_grow_with_stiffness_as_theory_says():
    soft, stiff = bench(), bench(modes=["both:600:0.03:6"])
    ratios = [b / a for a, b in zip(soft.limit_depth, stiff.limit_depth, strict=True)]
    assert all(math.isclose(ratio, 3.0, rel_tol=1e-6) for ratio in ratios)


WORDS = ("--flutes", 3, "--min-rpm", 4000, "--max-rpm", 16000, "--width-mm", 6, "--diameter-mm", 6)


def test_command_prints_the_map_and_draws_the_picture(chatter, tmp_path):
    picture = tmp_path / "map.png"
    ran = chatter(
        "map",
        *WORDS,
        "--mode",
        "both:600:0.03:2",
        "--pressure-mpa",
        700,
        "--radial-ratio",
        0.3,
        "--plot",
        picture,
    )
    assert ran.code == 0, ran.err
    assert ran.out.startswith("MAP: how deep this cut may be")
    first = re.search(r"The peak is at ([\d,]+) rpm: it chatters from 1\.\d mm on", ran.out)
    assert int(first.group(1).replace(",", "")) == pytest.approx(12_000, rel=0.01)
    with Image.open(picture) as image:
        assert image.format == "PNG"


def test_command_prints_json_and_nothing_else(chatter, tmp_path, tap):
    ran = chatter("map", *WORDS, "--tap", tap, "--json", "--plot", tmp_path / "map.svg")
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    assert told["program"]["settings"]["tap"] == "tool.json"
    assert len(told["program"]["settings"]["tap_sha256"]) == 64
    assert told["depth_unit"] == "lowest limit"
    assert (tmp_path / "map.svg").read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--mode", "both:600:0.03:2", "--plot", "map.pdf"), "ends in .png or .svg"),
        (("--mode", "both:600:0.03:2", "--plot", "none/map.png"), "its folder doesn't exist"),
        (("--mode", "600"), "such as both:900:0.03:5"),
        (("--tap", "none.json"), "no such file"),
        ((), "give modes"),
    ],
)
def test_command_tells_bad_input_in_one_line(words, said, chatter):
    ran = chatter("map", *WORDS, *words)
    assert (ran.code, ran.out) == (1, "")
    assert said in ran.err
    assert ran.err.count("\n") == 1
