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
        copy_setup,
        export_notebook,
        import_notebook,
        list_setups,
        make_card,
        map_setup,
        map_stability,
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
    "copy_setup",
    "export_notebook",
    "import_notebook",
    "list_setups",
    "make_card",
    "map_setup",
    "map_stability",
    "retire_setup",
    "show_setup",
    "suggest_next_cut",
]

_HOMES = {
    "ChatterError": "chatter.errors",
    "add_setup": "chatter.analysis",
    "analyse_cut": "chatter.analysis",
    "analyse_tap": "chatter.analysis",
    "copy_setup": "chatter.analysis",
    "list_setups": "chatter.analysis",
    "map_stability": "chatter.analysis",
    "retire_setup": "chatter.analysis",
    "show_setup": "chatter.analysis",
    "make_card": "chatter.analysis",
    "map_setup": "chatter.analysis",
    "suggest_next_cut": "chatter.analysis",
    "back_up_notebook": "chatter.analysis",
    "export_notebook": "chatter.analysis",
    "import_notebook": "chatter.analysis",
}


def __getattr__(name: str) -> Any:  # a module attribute may be of any type
    """Load a public name from the module that defines it."""
    if name not in _HOMES:
        raise AttributeError(f"module 'chatter' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)
