"""The public functions: pipelines and advice put together, a file in and a document out."""

from chatter.analysis._batch import BatchSummary, analyse_batch
from chatter.analysis._calibrations import make_calibration
from chatter.analysis._cut import analyse_cut
from chatter.analysis._history import make_card, map_setup, suggest_next_cut
from chatter.analysis._map import map_stability
from chatter.analysis._noise import measure_noise
from chatter.analysis._noise_compare import compare_noise
from chatter.analysis._notebook import (
    add_setup,
    back_up_notebook,
    copy_setup,
    export_notebook,
    import_notebook,
    list_setups,
    retire_setup,
    show_setup,
)
from chatter.analysis._practice import make_practice_recording
from chatter.analysis._tap import analyse_tap

__all__ = [
    "BatchSummary",
    "add_setup",
    "analyse_batch",
    "analyse_cut",
    "analyse_tap",
    "back_up_notebook",
    "compare_noise",
    "copy_setup",
    "export_notebook",
    "import_notebook",
    "list_setups",
    "make_calibration",
    "make_card",
    "make_practice_recording",
    "map_setup",
    "map_stability",
    "measure_noise",
    "retire_setup",
    "show_setup",
    "suggest_next_cut",
]
