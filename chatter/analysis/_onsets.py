"""How well is known where the ramped passes of a setup began to chatter.

In: a notebook, and the cuts of a setup as they count. Out: deviations and bounds, by the cut's number.
Leaves out: the onset itself, which stands with the cut (notebook/documents.py).
"""

from dataclasses import dataclass

from chatter.model.notebook import KeptCut
from chatter.notebook import Notebook
from chatter.notebook.documents import is_bound_only, surely_from_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Onset:
    """How well is known where a ramped pass began to chatter."""

    sure_mm: float | None  # from there on it chattered for sure
    sd_mm: float | None  # None where it chattered from the start


def onsets_of(opened: Notebook, setup: str, cuts: tuple[KeptCut, ...]) -> dict[int, Onset]:
    """Give how well the onsets of ramped passes are known, by the number of the cut as it was filed."""
    if all(cut.ramp_onset_mm is None for cut in cuts):
        return {}
    spreads = opened.read_onsets(setup)
    onsets: dict[int, Onset] = {}
    for cut in cuts:
        sd_mm, from_mm = spreads.get(cut.number, (None, None))
        if cut.verdict == "chatter" and sd_mm is not None:
            bound = is_bound_only(cut, from_mm=from_mm or 0.0)
            sure_mm = surely_from_mm(cut, onset_sd_mm=sd_mm)
            onsets[cut.number] = Onset(sure_mm=sure_mm, sd_mm=None if bound else sd_mm)
    return onsets
