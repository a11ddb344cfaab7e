"""`chatter next` after recordings that told nothing."""

import json

import pytest

from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from tests.interface.test_cli import is_one_clear_line
from tests.unit.notebook.made import made_cut

SETUP = "long reach"


@pytest.fixture
def kept(chatter, tmp_path):
    """Give the command line with a notebook, and a way to file a cut in it: rpm, depth and verdict."""
    path = tmp_path / "kept.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup(SETUP, facts=SetupFacts(flutes=3, min_rpm=8_000.0, max_rpm=14_000.0))

    def add(set_rpm, depth_mm, verdict):
        with Notebook(path, write=True) as notebook:
            name = f"{len(notebook.list_cuts(SETUP))}"
            cut = made_cut(name, set_rpm=set_rpm, depth_mm=depth_mm, verdict=verdict)
            notebook.add_cut(SETUP, document=cut)

    return (lambda *words: chatter(*words, "--notebook", path)), add


def test_cut_whose_recording_told_nothing_is_asked_for_again_in_as_many_words(kept):
    run, add = kept
    add(10_000.0, 1.0, "chatter")
    first = json.loads(run("next", SETUP, "--json").out)
    assert "carried no verdict" not in first["why"]
    add(first["set_rpm"], first["depth_mm"], "undecided")
    again = json.loads(run("next", SETUP, "--json").out)
    assert (again["set_rpm"], again["depth_mm"]) == (first["set_rpm"], first["depth_mm"])
    assert again["why"].startswith("This is the cut whose last recording carried no verdict")
    assert again["why"].endswith(first["why"])


def test_undecided_cut_of_another_setting_is_not_taken_for_the_one_asked_for(kept):
    run, add = kept
    add(10_000.0, 1.0, "chatter")
    add(9_000.0, 2.0, "undecided")
    assert "carried no verdict" not in json.loads(run("next", SETUP, "--json").out)["why"]


@pytest.mark.parametrize(("filed", "told"), [((), "make a short, shallow cut"), ((1.0,), "record anew")])
def test_setup_without_a_verdict_says_what_to_do_about_it(kept, filed, told):
    run, add = kept
    for depth_mm in filed:
        add(10_000.0, depth_mm, "undecided")
    gone = run("next", SETUP)
    assert is_one_clear_line(gone)
    assert told in gone.err
