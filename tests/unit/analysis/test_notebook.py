"""What a setup knows before a recording is judged."""

import pytest

from chatter.advice.advise import advise
from chatter.analysis._notebook import begin_history
from chatter.model.cut import CutSetup
from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from chatter.notebook.documents import read_analysis
from tests.unit.analysis.test_history import ramped
from tests.unit.notebook.made import made_cut


def history_of(path, *documents):
    with Notebook(path, write=True, make=True) as notebook:
        notebook.add_setup("one", facts=SetupFacts(flutes=2, max_rpm=24_000.0, width_mm=3.0))
        for document in documents:
            notebook.add_cut("one", document=document)
    return begin_history("one", notebook=path, values={"flutes": 2})


def test_onset_of_an_earlier_ramp_is_known_with_its_deviation_and_a_bound_without(tmp_path):
    level = made_cut("level", depth_mm=0.2)
    for onset_mm, sd_mm in ((1.33, 0.12 * 1.33), (0.3, None), (None, None)):  # the ramp begins at 0.3 mm
        history = history_of(tmp_path / f"{onset_mm}.db", ramped("r", onset_mm=onset_mm), level)
        told = {one.depth_mm: one.onset_sd_mm for _, one in history.earlier}
        assert told == {onset_mm or 3.0: pytest.approx(sd_mm), 0.2: None}


def test_earlier_ramp_that_proved_room_takes_none_away(tmp_path):
    # It was stable down to 1.33 mm at this speed, give or take 0.16: 1.2 deviations below that, 9 of 10 are.
    setup = CutSetup(rpm=12_000, flutes=2, max_rpm=24_000, width_mm=3.0, depth_mm=0.5)
    analysis = read_analysis(made_cut("now", rpm=11_880.0, depth_mm=0.5))
    earlier = history_of(tmp_path / "n.db", ramped("r", onset_mm=1.33)).without("now")
    alone, after = (advise(analysis, setup=setup, earlier=cuts).depth_factor for cuts in ((), earlier))
    assert after > alone
    assert 0.5 * after == pytest.approx(1.33, rel=0.45)
    assert 0.5 * after < 1.33
