"""Values that Python callers give: checked before any file is opened."""

import pytest

from chatter import add_setup, analyse_cut, copy_setup, list_setups, map_stability
from chatter.errors import BadValueError, FileProblemError
from chatter.model.notebook import FACT_NAMES, SetupFacts
from chatter.notebook import Notebook

NOWHERE = "there-is-no-such-file.wav"


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ({"rpm": 0}, "rpm"),
        ({"rpm": float("nan")}, "rpm"),
        ({"rpm": 1e12}, "rpm"),
        ({"rpm": "quick"}, "rpm"),
        ({"rpm": True}, "rpm"),
        ({"rpm": None}, "rpm"),
        ({"flutes": 2.5}, "flutes"),
        ({"flutes": 0}, "flutes"),
        ({"flutes": 21}, "flutes"),
        ({"flutes": 10**400}, "flutes"),
        ({"min_rpm": -1}, "min_rpm"),
        ({"depth_mm": float("inf")}, "depth_mm"),
        ({"direction": "down"}, "direction"),
        ({"min_rpm": 9000, "max_rpm": 8000}, "min_rpm"),
        ({"width_mm": 7, "diameter_mm": 6}, "width_mm"),
        ({"spindle_power_w": 0}, "spindle_power_w"),
        ({"spindle_power_w": "strong"}, "spindle_power_w"),
        ({"material": " "}, "material"),
        ({"material": "unobtainium"}, "material"),
        ({"depth_from_mm": 1}, "depth_to_mm"),
        ({"depth_to_mm": 1}, "depth_from_mm"),
        ({"depth_from_mm": -0.1, "depth_to_mm": 1}, "depth_from_mm"),
        ({"depth_from_mm": 2, "depth_to_mm": 2}, "depth_to_mm"),
        ({"depth_from_mm": 3, "depth_to_mm": 1}, "depth_to_mm"),
        ({"depth_mm": 5.01, "stick_out_mm": 5}, "depth_mm"),
        ({"depth_from_mm": 1, "depth_to_mm": 6, "stick_out_mm": 5}, "depth_to_mm"),
        ({"depth_mm": 1, "depth_from_mm": 0, "depth_to_mm": 3}, "depth_mm"),
    ],
)
def test_bad_value_is_named_before_the_file_is_looked_for(values, named):
    with pytest.raises(BadValueError, match=f"^{named} is") as caught:
        analyse_cut(NOWHERE, **({"rpm": 12_000, "flutes": 2} | values))
    assert caught.value.name == named
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"depth_mm": "0,5"}, "depth_mm is '0,5': give a number above 0"),
        ({"depth_mm": "1 mm"}, "depth_mm is '1 mm': give a number above 0"),
        ({"flutes": "2 flutes"}, "flutes is '2 flutes': give a whole number from 1 to 20"),
    ],
)
def test_number_with_a_unit_or_a_comma_is_told_with_what_to_type(values, said):
    with pytest.raises(BadValueError) as caught:
        analyse_cut(NOWHERE, **({"rpm": 12_000, "flutes": 2} | values))
    assert str(caught.value).startswith(said)
    assert "7000, not 7,000 rpm; 0.5, not 0,5 mm" in str(caught.value)


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ({"depth_mm": 300}, "depth_mm"),  # micrometres
        ({"max_depth_mm": 101}, "max_depth_mm"),
        ({"depth_from_mm": 0, "depth_to_mm": 160}, "depth_to_mm"),
        ({"width_mm": 201}, "width_mm"),
        ({"diameter_mm": 6000}, "diameter_mm"),
        ({"diameter_mm": 0.006}, "diameter_mm"),  # metres
    ],
)
def test_length_that_is_likely_in_other_units_is_refused_by_every_command_alike(values, named, tmp_path):
    with pytest.raises(BadValueError, match=f"^{named} is .*in millimetres: 0.3 for 0.3 mm$"):
        analyse_cut(NOWHERE, rpm=12_000, flutes=2, **values)
    if named in FACT_NAMES:
        with pytest.raises(BadValueError, match=f"^{named} is .*in millimetres: 0.3 for 0.3 mm$"):
            add_setup("a", notebook=tmp_path / "n.db", flutes=2, **values)
        sound = {"width_mm": 6, "diameter_mm": 6} | values
        with pytest.raises(BadValueError, match=f"^{named} is .*in millimetres: 0.3 for 0.3 mm$"):
            map_stability(flutes=2, min_rpm=6_000, max_rpm=24_000, modes=["both:900:0.03:5"], **sound)


DEEPER = r"^max_depth_mm is 12.0: give a depth that is not above stick_out_mm \(10\): no tool cuts deeper"


def test_largest_depth_above_the_stick_out_is_refused_wherever_it_would_become_a_setups(tmp_path):
    path = tmp_path / "n.db"
    both = {"stick_out_mm": 10, "max_depth_mm": 12}
    with pytest.raises(BadValueError, match=DEEPER):
        add_setup("a", notebook=path, flutes=2, **both)
    with pytest.raises(BadValueError, match=DEEPER):  # no notebook there yet
        analyse_cut(NOWHERE, rpm=12_000, flutes=2, setup="a", notebook=path, **both)
    add_setup("a", notebook=path, flutes=2, max_depth_mm=12)
    with pytest.raises(BadValueError, match=DEEPER):
        copy_setup("a", "b", notebook=path, stick_out_mm=10)
    told = r"^stick_out_mm is 10.0: give one that is not below the largest depth of the setup 'a' \(12 mm\)"
    with pytest.raises(BadValueError, match=told):  # the setup would learn its stick-out
        analyse_cut(NOWHERE, rpm=12_000, flutes=2, setup="a", notebook=path, stick_out_mm=10)
    with pytest.raises(BadValueError, match=DEEPER):
        analyse_cut(NOWHERE, rpm=12_000, flutes=2, setup="b", notebook=path, **both)
    assert [one.name for one in list_setups(notebook=path)] == ["a"]


def test_setup_that_was_kept_with_a_largest_depth_above_its_stick_out_still_takes_cuts(tmp_path):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        facts = SetupFacts(flutes=2, stick_out_mm=10.0, max_depth_mm=12.0)
        notebook.add_setup("old", facts=facts)
    with pytest.raises(FileProblemError):  # the values passed: the file is looked for
        analyse_cut(NOWHERE, rpm=12_000, flutes=2, depth_mm=1, setup="old", notebook=path)


def test_deepest_widest_and_thinnest_that_can_be_meant_are_taken():
    ends = {"depth_mm": 100, "stick_out_mm": 100, "width_mm": 0.05, "diameter_mm": 0.05}
    with pytest.raises(FileProblemError):  # the values passed: the file is looked for
        analyse_cut(NOWHERE, rpm=12_000, flutes=2, **ends)


def test_number_out_of_its_range_is_not_told_how_to_type_it():
    with pytest.raises(BadValueError) as caught:
        analyse_cut(NOWHERE, rpm=12_000, flutes=2, depth_mm="5000")
    assert "not 0,5 mm" not in str(caught.value)
