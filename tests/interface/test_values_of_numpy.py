"""Numbers of numpy and single texts, as Python callers give them."""

import json

import numpy as np
import pytest

from chatter import add_setup, compare_noise, map_stability, measure_noise, show_setup, suggest_next_cut
from chatter.errors import BadValueError, FileProblemError, InputError
from chatter.report import to_json


def test_noise_takes_numbers_of_numpy_and_files_them(tone, tmp_path):
    notebook = tmp_path / "n.db"
    for _ in range(2):  # a setup made, and found there again
        document = measure_noise(
            tone,
            rpm=np.float32(12_000),
            flutes=np.int64(2),
            full_scale_db=np.float32(120),
            mic_distance_m=np.float64(0.5),
            neighbour_distance_m=np.int32(15),
            indoors=np.bool_(False),
            setup="a",
            notebook=notebook,
        )
    settings = json.loads(to_json(document.to_dict()))["program"]["settings"]
    told = ("rpm", "flutes", "full_scale_db", "mic_distance_m", "neighbour_distance_m", "indoors")
    assert [settings[name] for name in told] == [12_000, 2, 120, 0.5, 15, False]
    assert document.notebook["filed"] == "again"
    assert show_setup("a", notebook=notebook).setup.facts.flutes == 2


def test_settings_of_a_noise_are_the_checked_ones(tone):
    settings = measure_noise(tone, rpm="12000", flutes="2", mic_distance_m="0.5").program["settings"]
    assert (settings["rpm"], settings["flutes"], settings["mic_distance_m"]) == (12_000.0, 2, 0.5)


def test_new_setup_with_impossible_flutes_is_refused_before_the_file_is_read(tmp_path):
    with pytest.raises(BadValueError, match=r"^flutes is"):
        measure_noise("nowhere.wav", flutes=2.5, setup="a", notebook=tmp_path / "n.db")


def test_single_opening_and_single_cut_may_be_told_without_a_list(tone, tmp_path):
    indoors = {"mic_distance_m": 1, "neighbour_distance_m": 15, "indoors": True}
    one = measure_noise(tone, opening="garage door:5", **indoors)
    many = measure_noise(tone, opening=["garage door:5"], **indoors)
    assert one.program["settings"]["opening"] == ["garage door:5"]
    assert one.to_dict() == many.to_dict()
    (tmp_path / "cut.json").write_text("{}", encoding="utf-8")
    for told in (tmp_path / "cut.json", str(tmp_path / "cut.json")):
        with pytest.raises(FileProblemError, match=r"cut\.json"):
            measure_noise(tone, cut=told)
    with pytest.raises(BadValueError, match="two or more"):
        compare_noise(str(tone))


def test_map_takes_numbers_of_numpy():
    told = {"pressure_mpa": np.float32(800), "radial_ratio": np.float32(0.5), "max_depth_mm": np.int64(5)}
    document = map_stability(
        flutes=np.int64(2),
        min_rpm=np.int64(6_000),
        max_rpm=np.float32(7_000),
        width_mm=np.int64(6),
        diameter_mm=np.float64(6),
        modes=["both:900:0.03:5"],
        material=" 6061 ",
        **told,
    )
    settings = json.loads(to_json(document.to_dict()))["program"]["settings"]
    assert {name: settings[name] for name in told} == {
        "pressure_mpa": 800,
        "radial_ratio": 0.5,
        "max_depth_mm": 5,
    }
    assert settings["material"] == "6061"


@pytest.mark.parametrize("step", ["bold", None, True, 1, 0.5, 0, 10.1, float("nan")])
def test_boldest_step_that_is_none_is_named_with_its_range(step):
    with pytest.raises(BadValueError, match=r"^boldest_step is .* a number above 1 and not above 10"):
        suggest_next_cut("a", notebook="nowhere.db", boldest_step=step)


@pytest.mark.parametrize("step", ["2", np.float32(2), 10])
def test_boldest_step_is_read_as_other_numbers_are(step, tmp_path):
    add_setup("a", notebook=tmp_path / "n.db", flutes=2)
    with pytest.raises(
        InputError, match="no cut"
    ) as caught:  # the step passed: the setup's cuts are looked for
        suggest_next_cut("a", notebook=tmp_path / "n.db", boldest_step=step)
    assert not isinstance(caught.value, BadValueError)
