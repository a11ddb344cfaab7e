"""The table of materials: names, units, errors, and the page that shows it."""

import re

import pytest

from chatter.errors import BadValueError
from chatter.milling.materials import find_material, list_materials, read_materials
from tests.unit.milling.materials_page import PAGE, page_with_fresh_tables, sourced_parts

SMALLEST = """
[sources]
hand = "worked by hand"
[[material]]
name = "cheese"
[material.carbide]
sfm = [100, 200]
source = ["hand"]
strength = "published"
"""


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("aluminium", "wrought aluminium"),
        ("Aluminum", "wrought aluminium"),
        ("6061", "wrought aluminium"),
        ("6061-T6", "wrought aluminium"),
        ("aluminum 6082-t651", "wrought aluminium"),
        ("7075 Aluminum", "aluminium 7075"),
        ("Al-Si", "cast aluminium"),
        ("BRASS", "brass"),
        ("steel", "mild steel"),
        ("low-carbon steel", "mild steel"),
        ("4140", "alloy steel"),
        ("304", "stainless steel"),
        ("gray cast iron", "grey cast iron"),
        ("EN-GJL-250", "grey cast iron"),
        ("Delrin", "acetal"),
        ("nylon", "acetal"),
        ("Plexiglas", "acrylic"),
        (" plywood ", "wood"),
        ("hardwood", "wood"),
        ("chipboard", "particleboard"),
    ],
)
def test_name_as_people_type_it_finds_its_material(typed, name):
    assert find_material(typed).name == name


def test_unknown_name_is_refused_with_the_nearest_and_all_others():
    with pytest.raises(BadValueError, match=r"'alluminium'.*aluminium \(the nearest name\)") as caught:
        find_material("alluminium")
    assert all(material.name in str(caught.value) for material in list_materials())
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("typed", "whole"), [("alu", "aluminium"), ("Stain", "stainless"), ("acr", "acrylic"), ("ply", "plywood")]
)
def test_beginning_of_a_word_is_answered_with_the_whole_word(typed, whole):
    with pytest.raises(BadValueError, match=rf"give {whole} \(the nearest name\), or one of "):
        find_material(typed)


@pytest.mark.parametrize(
    "typed", ["", "T6", "granite, polished", "unobtainium", "carbon", "titanium", "wool", None, 6061]
)
def test_name_like_no_other_is_refused_without_a_guess(typed):
    with pytest.raises(BadValueError, match="one of wrought aluminium") as caught:
        find_material(typed)
    assert "nearest" not in str(caught.value)


def test_every_material_has_a_radial_ratio_and_a_pressure_and_every_number_a_source():
    for material in list_materials():
        assert material.pressure is not None
        assert material.radial_ratio is not None
        assert all(source for part in sourced_parts(material) for source in part.sources)


def test_numbers_from_memory_are_all_marked_weak():
    parts = [part for material in list_materials() for part in sourced_parts(material)]
    remembered = [part for part in parts if "from memory" in part.sources]
    assert len(remembered) > 5
    assert [part for part in remembered if part.is_sure] == []


def test_pressure_that_is_weak_is_not_handed_out():
    assert find_material("plywood").pressure.n_mm2 == (40,)
    assert find_material("plywood").pressures_n_mm2(tooth_feed_mm=0.1, mean_chip_mm=0.06) is None


def test_pressure_falls_as_the_chip_grows_also_below_and_beyond_the_table():
    for material in list_materials():
        if material.kienzle is None:
            continue
        chips_mm = (0.002, 0.01, 0.05, 0.1, 0.15, 0.35, 0.6, 1.0)
        usual = [
            material.pressures_n_mm2(tooth_feed_mm=chip, mean_chip_mm=0.6 * chip)[0] for chip in chips_mm
        ]
        assert usual == sorted(usual, reverse=True)
        assert usual[0] > usual[-1]


def test_chip_load_of_a_thin_tool_shrinks_with_it_and_of_a_thick_one_stays():
    loads = find_material("acrylic").chip_loads
    # 0.001 in at 1/8 in and 0.006 in at 1/2 in (Harvey Tool); half the diameter, half the load.
    assert loads.at_mm(3.175) == pytest.approx((0.0254, 0.0254), rel=1e-12)
    assert loads.at_mm(3.175 / 2) == pytest.approx((0.0127, 0.0127), rel=1e-12)
    assert loads.at_mm(25.4) == pytest.approx((0.1524, 0.1524), rel=1e-12)


def test_smallest_table_is_read_and_what_it_lacks_is_none():
    (cheese,) = read_materials(SMALLEST)
    # 100 and 200 ft/min are 30.48 and 60.96 m/min.
    assert (cheese.carbide_m_min.low, cheese.carbide_m_min.high) == pytest.approx((30.48, 60.96), rel=1e-12)
    assert (cheese.hss_m_min, cheese.pressure, cheese.kienzle, cheese.chip_loads) == (None,) * 4


@pytest.mark.parametrize(
    ("right", "wrong", "complaint"),
    [
        ("[100, 200]", "[200, 100]", "cheese: carbide is .*lower number first"),
        ("[100, 200]", "[100]", "cheese: carbide sfm is .*2 numbers above 0"),
        ("[100, 200]", '"fast"', "cheese: carbide sfm"),
        ("[100, 200]", "[-1, 200]", "cheese: carbide sfm"),
        ('["hand"]', '["hearsay"]', "cheese: carbide source"),
        ('"published"', '"certain"', "cheese: carbide strength"),
        ('name = "cheese"', "", "name in the table of materials"),
        ("[sources]", "[sources", "valid TOML"),
        (
            "[material.carbide]",
            '[material.kienzle]\nmc = 0.2\nsource = ["hand"]\n[material.carbide]',
            "kienzle kc11_n_mm2",
        ),
        (
            "[material.carbide]",
            '[material.pressure]\nagainst = "wind"\n[material.carbide]',
            "cheese: pressure against",
        ),
        (
            "[material.carbide]",
            '[material.pressure]\nagainst = "mean chip"\nthickness_mm = [0.2, 0.1]\n[material.carbide]',
            "cheese: pressure is .*rising",
        ),
        (
            "[material.carbide]",
            "[material.chip_load]\ndiameter_in = [1]\nlow_in = [2]\nhigh_in = [1]\n[material.carbide]",
            "cheese: chip_load is .*not above",
        ),
        ("[material.carbide]", '[[material]]\nname = "Cheese"\n[material.carbide]', "cheese"),
    ],
)
def test_broken_table_is_refused_with_the_material_and_the_field(right, wrong, complaint):
    assert right in SMALLEST
    with pytest.raises(BadValueError, match=complaint):
        read_materials(SMALLEST.replace(right, wrong))


def test_page_shows_the_data_as_they_are():
    assert PAGE.read_text(encoding="utf-8") == page_with_fresh_tables()


def test_page_names_every_material_and_marks_the_weak_numbers():
    text = PAGE.read_text(encoding="utf-8")
    for material in list_materials():
        assert len(re.findall(rf"^\| {material.name} \|", text, re.MULTILINE)) == 4
        weak = sum(not part.is_sure for part in sourced_parts(material))
        rows = [line for line in text.splitlines() if line.startswith(f"| {material.name} |")]
        assert sum(row.count("weak [") for row in rows) == weak
