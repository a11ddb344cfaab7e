"""What the cuts of a setup tell together: one chance for one setting, wherever it is shown."""

from unittest import mock

import numpy as np
import pytest

from chatter.advice import chances, next_cut
from chatter.analysis import make_card, map_setup, suggest_next_cut
from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from chatter.report.notebook_text import card_to_text, next_to_text, setup_map_to_text
from tests.unit.notebook.made import made_cut, made_noise

SLIP = 0.99


@pytest.fixture
def chances_of():
    """Give a function that tells which chances the map or the next cut went by, at the depths asked for."""

    def worked_out(of, path, depths_mm):
        grid_chances = mock.Mock(wraps=chances.grid_chances)
        with (
            mock.patch.object(chances, "grid_chances", grid_chances),
            mock.patch.object(next_cut, "grid_chances", grid_chances),
        ):
            of("one", notebook=path)
        asked = grid_chances.call_args_list[0]
        grid = chances.grid_chances(*asked.args, **asked.kwargs | {"depths_mm": depths_mm})
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


FACTS = SetupFacts(
    flutes=2, min_rpm=6000.0, max_rpm=24_000.0, diameter_mm=6.0, width_mm=3.0, max_depth_mm=2.0
)


@pytest.fixture
def filed(tmp_path):
    """Give a function that files cuts (dial, depth, verdict, chance of chatter), and gives the notebook."""
    path = tmp_path / "n.db"

    def file(*cuts):
        with Notebook(path, write=True, make=True) as notebook:
            notebook.add_setup("one", facts=FACTS)
            for number, (set_rpm, depth_mm, verdict, chance) in enumerate(cuts):
                document = made_cut(
                    str(number),
                    set_rpm=set_rpm,
                    rpm=SLIP * set_rpm,
                    depth_mm=depth_mm,
                    verdict=verdict,
                    chatter_hz=900.0 if verdict == "chatter" else None,
                )
                document["chatter_probability"] = document["cuts"][0]["chatter_probability"] = chance
                notebook.add_cut("one", document=document)
        return path

    return file


CHATTERED = (15_000.0, 1.5, "chatter", 0.98)
HISTORIES = [
    (CHATTERED, (12_000.0, 1.0, "chatter", 0.97), (12_000.0, 1.8, "stable", 0.01)),  # chattered above it
    (CHATTERED, (12_000.0, 2.5, "stable", 0.01), (13_000.0, 0.5, "stable", 0.1)),  # one too deep
    (CHATTERED, (24_000.0, 0.9, "stable", 0.24), (18_000.0, 0.4, "stable", 0.03)),  # one doubtful
    (CHATTERED, (24_000.0, 0.9, "stable", 0.24)),
    (
        CHATTERED,
        (9_000.0, 0.3, "stable", 0.1),
        (9_000.0, 0.4, "stable", 0.05),
        (9_050.0, 0.3, "chatter", 0.9),
    ),
]


@pytest.mark.parametrize("cuts", HISTORIES)
def test_card_map_and_next_cut_tell_the_same_best(filed, cuts):
    path = filed(*cuts)
    card, of_map, following = (of("one", notebook=path) for of in (make_card, map_setup, suggest_next_cut))
    assert of_map.best_so_far == following.best_so_far
    first = card.rows[0] if card.rows else None
    best = of_map.best_so_far
    assert (first is None) == (best is None)
    if first is not None and best is not None:
        assert (first.set_rpm, first.depth_mm) == (best.set_rpm, best.depth_mm)
    assert all(row.depth_mm <= 2.0 for row in card.rows)
    told = [] if best is None or best.passed_over is None else [best.passed_over.message]
    assert [text for text in card.cautions if "would remove more" in text] == told
    assert bool(told) == (cuts == HISTORIES[2])
    if told:
        assert "24,000 rpm at 0.9 mm" in told[0]
        assert "24 chances in 100" in told[0]
        for text in (next_to_text(following), setup_map_to_text(of_map), card_to_text(card)):
            assert told[0] in " ".join(text.split())


def test_chance_of_done_is_the_one_of_the_map_and_what_was_heard(filed):
    quiet = [(18_000.0 + 300 * number, 0.5, "stable", 0.03) for number in range(3)]
    path = filed(CHATTERED, (12_000.0, 1.0, "stable", 0.009), *quiet)
    following, of_map = suggest_next_cut("one", notebook=path), map_setup("one", notebook=path)
    assert (following.action, following.set_rpm, following.depth_mm) == ("done", 12_000, 1.0)
    row = of_map.depths_mm.index(1.0)
    column = np.argmin(np.abs(np.array(of_map.speeds_rpm) - following.rpm))
    assert of_map.stable_probability[row][column] == pytest.approx(following.stable_probability, abs=0.0006)
    assert following.stable_probability >= 0.991


@pytest.mark.parametrize("told", [True, False])
def test_cautions_of_a_setting_whose_feed_was_not_told_go_by_no_other_cuts_feed(tmp_path, told):
    path = tmp_path / "n.db"
    facts = SetupFacts(flutes=2, max_rpm=24_000.0, diameter_mm=6.0, material="6061", width_mm=3.0)
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=facts)
        # 2 flutes at 12,000 rpm: 60 mm/min are 0.0025 mm a tooth, far thinner than is usual.
        for number, feed in enumerate((60.0 if told else None, *4 * (10.0,))):
            depth_mm, rpm = (1.0, 12_000.0) if number == 0 else (0.1, 2_000.0)
            settings = {"feed_mm_min": feed}
            document = made_cut(str(number), set_rpm=rpm, depth_mm=depth_mm, settings=settings)
            notebook.add_cut("one", document=document)
    following = suggest_next_cut("one", notebook=path)
    assert (following.action, following.set_rpm) == ("done", 12_000)
    assert following.feed_mm_min == (60.0 if told else None)
    for words in ("Each tooth would take", "times the present feed"):
        assert any(words in text for text in following.cautions) == told
    assert any("the feed goes up with the speed" in text for text in following.cautions) is False
    assert ("Its feed wasn't told" in following.why) == (not told)


def ramped(name, *, onset_mm, from_mm=0.3, to_mm=3.0, chatter_hz=900.0):
    """Give the document of a pass that chattered in its deep end."""
    told = {"depth_mm": None, "depth_from_mm": from_mm, "depth_to_mm": to_mm}
    document = made_cut(name, rpm=11_880.0, verdict="chatter", chatter_hz=chatter_hz, settings=told)
    if onset_mm is not None:
        document["ramp"] = {
            "onset_depth_mm": onset_mm,
            "onset_depth_sd_mm": 0.12 * onset_mm,
            "onset_s": 4.0,
            "chatter_hz": 900.0,
        }
    return document


@pytest.mark.parametrize(("onset_mm", "counts_mm"), [(1.6432, 1.64), (0.0, 0.06), (None, 3.0)])
def test_ramped_pass_counts_as_chatter_from_its_onset_on(tmp_path, onset_mm, counts_mm):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0))
        notebook.add_cut("one", document=ramped("r", onset_mm=onset_mm))
        assert [cut.depth_mm for cut in notebook.list_cuts("one")] == [3.0]  # as it was told
    assert suggest_next_cut("one", notebook=path).depth_mm <= counts_mm
    with Notebook(path, write=True) as notebook:
        shallow = made_cut("s", rpm=11_880.0, depth_mm=0.05)
        notebook.add_cut("one", document=shallow)
    (row,) = make_card("one", notebook=path).rows
    assert (row.depth_mm, row.chatter_depth_mm) == (0.05, counts_mm)
    of_map = map_setup("one", notebook=path)
    assert of_map.cuts[0].depth_mm == counts_mm
    column = np.argmin(np.abs(np.array(of_map.speeds_rpm) - 11_880))
    deep = [
        chances[column]
        for depth_mm, chances in zip(of_map.depths_mm, of_map.stable_probability, strict=True)
        if depth_mm >= counts_mm
    ]
    assert deep
    assert max(deep) <= 0.02 + 1e-9


def test_limit_that_a_ramp_told_places_the_machines(tmp_path):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0, width_mm=3.0))
        notebook.add_cut("one", document=ramped("r", onset_mm=1.6))
    of_map = map_setup("one", notebook=path)
    column = np.argmin(np.abs(np.array(of_map.speeds_rpm) - 11_880))
    chances = [row[column] for row in of_map.stable_probability]
    # A normal spread of 12 % and one of 25 % about the onset: 2 deviations below it, 98 of 100 are stable.
    assert np.interp(0.8, of_map.depths_mm, chances) > 0.9


@pytest.mark.parametrize(("onset_mm", "stable_mm", "not_at_mm"), [(1.32, 1.4, 1.64), (2.9, 2.95, 3.0)])
def test_ramp_whose_onset_is_uncertain_leaves_a_stable_cut_beside_it(
    tmp_path, onset_mm, stable_mm, not_at_mm
):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0, width_mm=3.0))
        notebook.add_cut("one", document=ramped("r", onset_mm=onset_mm))
        notebook.add_cut("one", document=made_cut("s", rpm=11_880.0, depth_mm=stable_mm))
    card, of_map, following = (of("one", notebook=path) for of in (make_card, map_setup, suggest_next_cut))
    # Two deviations of 12 % above the onset, and never deeper than the deep end, where it did chatter.
    assert [(row.depth_mm, row.chatter_depth_mm) for row in card.rows] == [(stable_mm, not_at_mm)]
    assert of_map.best_so_far == following.best_so_far
    assert of_map.best_so_far.depth_mm == stable_mm
    column = np.argmin(np.abs(np.array(of_map.speeds_rpm) - 11_880))
    assert of_map.stable_probability[of_map.depths_mm.index(stable_mm)][column] >= 0.98


def test_ramp_that_chattered_from_its_start_on_tells_a_bound_and_no_limit(tmp_path):
    made = {}
    for onset_mm in (0.3, 0.5):  # from 0.3 mm
        path = tmp_path / f"{onset_mm}.db"
        with Notebook(path, write=True, make=True) as notebook:
            notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0, width_mm=3.0))
            notebook.add_cut("one", document=ramped("r", onset_mm=onset_mm))
        with mock.patch.object(chances, "draw_history", wraps=chances.draw_history) as draw:
            map_setup("one", notebook=path)
        ((made[onset_mm],),) = [call.args[0] for call in draw.call_args_list]
    assert made[0.3].depth_sd_mm is None
    assert made[0.5].depth_sd_mm == pytest.approx(0.06)
    assert made[0.3].surely_from_mm == pytest.approx(0.37)


@pytest.mark.parametrize("chatter_hz", [900.0, None])
@pytest.mark.parametrize("to_mm", [3.0, 0.6, 0.2])
def test_after_a_ramp_from_no_depth_no_cut_is_asked_for_that_nobody_can_set(tmp_path, to_mm, chatter_hz):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0, width_mm=3.0))
        for number in range(3):
            document = ramped(str(number), onset_mm=0.0, from_mm=0.0, to_mm=to_mm, chatter_hz=chatter_hz)
            notebook.add_cut("one", document=document)
            following = suggest_next_cut("one", notebook=path)
            assert 0.01 <= following.depth_mm <= max(0.02 * to_mm, 0.01)
            assert following.depth_mm >= 0.02 or "Better change something else first" in following.why
            assert "deeper" not in following.why
    assert following.depth_mm < 0.02 or to_mm == 3.0  # else the case shows nothing


def test_noise_of_a_ramped_pass_stands_with_the_depth_that_it_went_to(tmp_path):
    path = tmp_path / "n.db"
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0))
        notebook.add_cut("one", document=ramped("r", onset_mm=1.32))
        notebook.add_noise("one", document=made_noise("r"))
    (noise,) = make_card("one", notebook=path).noises
    assert (noise.set_rpm, noise.depth_mm, noise.verdict) == (12_000, 3.0, "chatter")


def test_map_has_one_row_for_the_depth_of_the_best(filed):
    # The deepest cut makes the grid: 1.3 times 1.8 mm is 2.34, rounded otherwise.
    path = filed(CHATTERED, (12_000.0, 1.8, "chatter", 0.97), (12_000.0, 0.234 * 3, "stable", 0.01))
    of_map = map_setup("one", notebook=path)
    assert of_map.best_so_far.depth_mm in of_map.depths_mm
    assert (np.diff(of_map.depths_mm) > 1e-3).all()
    assert len(of_map.depths_mm) == 10
