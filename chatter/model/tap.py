"""What tapping a part and listening to it told.

In: nothing; these are containers. Out: frozen values that advice and maps use.
Leaves out: reading the `tap` document (analysis/), finding modes in sound.
"""

from dataclasses import dataclass
from typing import Any, Literal

TapPart = Literal["tool", "frame", "work"]
DampingBound = Literal["none", "upper"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TapMode:
    """One mode heard after a tap; a spread is None where only one tap was heard."""

    frequency_hz: float
    frequency_sd_hz: float | None
    damping_ratio: float
    damping_ratio_sd: float | None
    damping_bound: DampingBound  # "upper": the true ratio may be lower, because the room rings too
    decay_time_s: float | None  # for 60 dB
    level_db: float  # re the strongest mode of the tap

    def to_dict(self) -> dict[str, Any]:
        """Give the mode as it stands in a document."""
        return {
            "frequency_hz": self.frequency_hz,
            "frequency_sd_hz": self.frequency_sd_hz,
            "damping_ratio": self.damping_ratio,
            "damping_ratio_sd": self.damping_ratio_sd,
            "damping_bound": self.damping_bound,
            "decay_time_s": self.decay_time_s,
            "level_db": self.level_db,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Tap:
    """The modes of one tapped part, strongest first."""

    file: str  # the document's name without its folder
    of: TapPart
    modes: tuple[TapMode, ...]
