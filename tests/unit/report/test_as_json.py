"""The document as JSON: strict, rounded by unit, with the settings untouched."""

import json

import numpy as np
import pytest

from chatter.report import to_json


def strict(text):
    def refuse(name):
        raise AssertionError(f"{name} is not JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf"), np.float32("nan")])
def test_numbers_that_are_not_finite_become_null(value):
    assert strict(to_json({"a_hz": value, "b": [value]})) == {"a_hz": None, "b": [None]}


@pytest.mark.parametrize(
    ("name", "value", "kept"),
    [
        ("chatter_hz", 913.41234, 913.412),
        ("measured_rpm", 11874.2468, 11874.25),
        ("measured_rpm_sd", 0.61237, 0.6124),
        ("frequency_sd_hz", 0.0004321, 0.00043),
    ],
)
def test_numbers_are_rounded_by_the_unit_in_their_name(name, value, kept):
    assert strict(to_json({name: value}))[name] == kept


def test_settings_keep_every_digit():
    settings = {"rpm": 11999.123456789, "depth_mm": 0.123456789}
    assert strict(to_json({"program": {"settings": settings}}))["program"]["settings"] == settings


def test_numpy_values_are_plain_numbers():
    assert strict(to_json({"order": np.int64(3), "on": np.bool_(True)})) == {"order": 3, "on": True}


def test_one_line_document_holds_no_line_end(chattering):
    assert "\n" not in to_json(chattering.to_dict(), indent=None)


def test_document_survives_the_way_through_json(chattering):
    back = strict(to_json(chattering.to_dict()))
    assert back["verdict"] == "chatter"
    assert back["chatter_hz"] == 913.4
    assert back["advice"]["speeds"][0]["set_rpm"] == 13640.0
    assert back["cut_index"] == 0


def test_indented_text_is_what_the_standard_library_writes():
    document = {
        "empty": [],
        "none": {},
        "settings": {"taps": ("a", "b"), "speeds": [1.23456789, [2, {}]]},
        "rows": [{"word": 'a "quoted"\nµ, ü', "number": 1.5, "gone": None}, {"flag": True, "list": [1, 2]}],
    }
    told = to_json(document)
    assert told == json.dumps(json.loads(told), indent=2, ensure_ascii=False)
