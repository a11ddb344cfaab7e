"""The notebook: setups, cuts and taps that add up."""

from chatter.notebook.store import Notebook

__all__ = ["Notebook"]
