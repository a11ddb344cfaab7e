"""What the pictures of a cut show, reduced to the size of a picture.

In: nothing; these are containers. Out: read-only arrays that the report draws.
Leaves out: how they are made (chatter/cut/pictures.py) and how they look (chatter/report).
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def _freeze(holder: object) -> None:
    """Put a read-only copy in the place of every array of a frozen dataclass."""
    for field in fields(holder):  # type: ignore[arg-type]  # every caller is a dataclass
        value = getattr(holder, field.name)
        if isinstance(value, np.ndarray):
            kept = np.array(value, copy=True)
            kept.setflags(write=False)
            object.__setattr__(holder, field.name, kept)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectrogram:
    """How loud each pitch was at each moment of the whole recording."""

    levels_db: Floats  # shape (rows, columns), lowest pitch first, re digital full-scale rms
    top_hz: float  # upper edge of the last row; the first row begins at 0
    duration_s: float  # right edge of the last column; the first column begins at 0

    def __post_init__(self) -> None:
        """Keep read-only copies."""
        _freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SteadySpectrum:
    """The spectrum of the steady part of one cut; of neighbouring bins the loudest is kept."""

    start_s: float  # of the steady part
    end_s: float
    frequency_hz: Floats  # shape (f,)
    level_db: Floats  # shape (f,), re digital full-scale rms
    idle_db: Floats | None  # shape (f,), without cutting; None where there is no idle part

    def __post_init__(self) -> None:
        """Keep read-only copies."""
        _freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TurnByTurn:
    """The sound of some successive turns of the spindle, each laid under the one before."""

    pressure: Floats  # shape (turns, angles), in full scales
    watched_angle: int  # column at which the teeth are heard best
    repeating_share: float  # of the steady part's power that comes again every turn, 0 to 1

    def __post_init__(self) -> None:
        """Keep read-only copies."""
        _freeze(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutPictures:
    """What the pictures of one recording show; the last two are None where no cut was judged."""

    spectrogram: Spectrogram
    spectrum: SteadySpectrum | None
    turns: TurnByTurn | None
