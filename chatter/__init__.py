"""Tell from a phone recording whether a milling cut chattered, and what to change.

The public names load on first use, so that the command line starts quickly.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from chatter.analysis import (
        add_setup,
        analyse_cut,
        analyse_tap,
        back_up_notebook,
        compare_noise,
        copy_setup,
        export_notebook,
        import_notebook,
        list_setups,
        make_calibration,
        make_card,
        map_setup,
        map_stability,
        measure_noise,
        retire_setup,
        show_setup,
        suggest_next_cut,
    )
    from chatter.errors import ChatterError

__version__ = "0.1.0"
__all__ = [
    "ChatterError",
    "add_setup",
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
    "map_setup",
    "map_stability",
    "measure_noise",
    "retire_setup",
    "show_setup",
    "suggest_next_cut",
]


def __getattr__(name: str) -> Any:  # a module attribute may be of any type
    """Load a public name from the module that defines it."""
    if name not in __all__:
        raise AttributeError(f"module 'chatter' has no attribute {name!r}")
    from importlib import import_module

    home = "chatter.errors" if name == "ChatterError" else "chatter.analysis"
    return getattr(import_module(home), name)
