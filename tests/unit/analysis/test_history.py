"""What the cuts of a setup tell together: one chance for one setting, wherever it is shown."""

from unittest import mock

import numpy as np
import pytest

from chatter.advice import next_cut
from chatter.analysis import map_setup, suggest_next_cut
from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from tests.unit.notebook.made import made_cut

SLIP = 0.99


@pytest.fixture
def chances_of():
    """Give a function that tells which chances the map or the next cut went by, at the depths asked for."""

    def worked_out(of, path, depths_mm):
        with mock.patch.object(next_cut, "grid_chances", wraps=next_cut.grid_chances) as grid_chances:
            of("one", notebook=path)
        (asked,) = grid_chances.call_args_list
        grid = next_cut.grid_chances(*asked.args, **asked.kwargs | {"depths_mm": depths_mm})
        return grid.speeds_rpm, grid.stable_probability

    return worked_out


@pytest.mark.parametrize(("min_rpm", "max_rpm"), [(6000.0, 24_000.0), (6000.0, None), (None, None)])
@pytest.mark.parametrize("cuts", [1, 14])
def test_map_and_next_cut_give_the_same_chance_to_the_same_setting(
    tmp_path, chances_of, cuts, min_rpm, max_rpm
):
    path = tmp_path / "n.db"
    facts = SetupFacts(flutes=2, min_rpm=min_rpm, max_rpm=max_rpm, diameter_mm=6.0, width_mm=3.0)
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=facts)
        for number in range(cuts):  # slower each time, so that the last one isn't the fastest
            set_rpm = round(15_000 * 1.02**-number, -1)
            document = made_cut(
                str(number),
                set_rpm=set_rpm,
                rpm=SLIP * set_rpm,
                depth_mm=2.0,
                verdict="chatter",
                chatter_hz=900.0,
            )
            notebook.add_cut("one", document=document)
    depths_mm = np.array([0.5, 1.0])
    of_next, of_map = (chances_of(of, path, depths_mm) for of in (suggest_next_cut, map_setup))
    assert of_next[0] == pytest.approx(of_map[0])  # speeds
    assert (of_next[1] == of_map[1]).all()


@pytest.mark.parametrize("tone", ["unknown", "in air", "only cutting", None])
def test_next_cut_asks_for_an_air_pass_only_where_nobody_can_tell_whose_the_lone_tone_is(tmp_path, tone):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0))
        document = made_cut("a", rpm=11_880.0, verdict="marginal", chatter_hz=1234.0, tone=tone)
        notebook.add_cut("one", document=document)
    asked = [caution for caution in suggest_next_cut("one", notebook=path).cautions if "1,234 Hz" in caution]
    assert len(asked) == (tone == "unknown")


def test_next_cut_asks_for_no_air_pass_of_an_earlier_cut(tmp_path):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0))
        in_doubt = made_cut("a", rpm=11_880.0, verdict="marginal", chatter_hz=1234.0, tone="unknown")
        notebook.add_cut("one", document=in_doubt)
        notebook.add_cut("one", document=made_cut("b", set_rpm=13_000.0, rpm=12_870.0))
    assert not any("1,234 Hz" in caution for caution in suggest_next_cut("one", notebook=path).cautions)
