"""Where the program keeps what the user tells it to keep.

In: the system and its settings. Out: paths; nothing is made.
Source: XDG Base Directory Specification 0.8 (Linux); the other systems' own custom.
"""

import os
import sys
from pathlib import Path

NAME = "chatter"


def data_folder() -> Path:
    """Give the folder for the user's data.

    `XDG_DATA_HOME` decides where it is set to an absolute path; else it is the system's own place.
    """
    told = os.environ.get("XDG_DATA_HOME", "")
    if told and Path(told).is_absolute():  # the specification: relative ones are ignored
        return Path(told) / NAME
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / NAME
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / NAME
    return Path.home() / ".local" / "share" / NAME


def default_notebook() -> Path:
    """Give the notebook that is used where none is named."""
    return data_folder() / "notebook.db"
