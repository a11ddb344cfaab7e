"""What tapping a part and listening to it told.

In: nothing; these are containers. Out: frozen values that advice and maps use.
Leaves out: reading the `tap` document (analysis/), finding modes in sound.
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from chatter.model.recording import Finding

SLOWEST_RPM = 500.0  # own choice: below it lobes lie so close that none is worth a speed
LOWEST_HZ = 60.0  # of a mode: phones hear little below; own choice
TapPart = Literal["tool", "frame", "work"]
DampingBound = Literal["none", "upper"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TapMode:
    """One mode heard after a tap; a spread is None where only one tap was heard."""

    frequency_hz: float
    frequency_sd_hz: float | None
    damping_ratio: float
    damping_ratio_sd: float | None
    damping_bound: DampingBound  # "upper": the true ratio may be lower, by the room or by loose taps
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


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardTap:
    """One blow in a recording."""

    time_s: float
    used: bool

    def to_dict(self) -> dict[str, Any]:
        """Give the tap as it stands in a document."""
        return {"time_s": self.time_s, "used": self.used}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TapView:
    """What a picture of a tap shows."""

    times_s: NDArray[np.float64]  # shape (n,), 0 at the blow
    levels_db: NDArray[np.float64]  # shape (n,), re full scale
    frequencies_hz: NDArray[np.float64]  # shape (f,)
    spectrum_db: NDArray[np.float64]  # shape (f,), mean over taps, re its highest
    noise_db: NDArray[np.float64]  # shape (f,), on the same scale

    def __post_init__(self) -> None:
        """Keep read-only copies."""
        for name in ("times_s", "levels_db", "frequencies_hz", "spectrum_db", "noise_db"):
            kept = np.array(getattr(self, name), dtype=np.float64, copy=True)
            kept.setflags(write=False)
            object.__setattr__(self, name, kept)


@dataclass(frozen=True, slots=True, kw_only=True)
class TapAnalysis:
    """What one recording of taps told."""

    channel: int
    taps: tuple[HeardTap, ...]
    modes: tuple[TapMode, ...]  # strongest first
    findings: tuple[Finding, ...]
    room_decay_s: float | None  # for 60 dB; None where no room was heard or its decay can't be followed
    view: TapView | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ModeChange:
    """One mode before and after a change; a side is None where the mode is not there."""

    before: TapMode | None
    after: TapMode | None
    frequency_change_percent: float | None
    frequency_change_sd_percent: float | None
    damping_factor: float | None  # after over before; None where either is only a bound
    damping_factor_sd: float | None
    says: str  # one plain sentence

    def to_dict(self) -> dict[str, Any]:
        """Give the change as it stands in a document."""
        return {
            "before": None if self.before is None else self.before.to_dict(),
            "after": None if self.after is None else self.after.to_dict(),
            "frequency_change_percent": self.frequency_change_percent,
            "frequency_change_sd_percent": self.frequency_change_sd_percent,
            "damping_factor": self.damping_factor,
            "damping_factor_sd": self.damping_factor_sd,
            "says": self.says,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class TapComparison:
    """One tap test (after) held against another one (before)."""

    before_file: str
    changes: tuple[ModeChange, ...]
    says: str

    def to_dict(self) -> dict[str, Any]:
        """Give the comparison as it stands in a document."""
        return {
            "before_file": self.before_file,
            "says": self.says,
            "changes": [change.to_dict() for change in self.changes],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class FavouredSpeed:
    """A spindle speed at which the strongest mode swings a whole number of times from tooth to tooth."""

    rpm: float  # true speed
    rpm_sd: float
    lobe: int  # swings from tooth to tooth

    def to_dict(self) -> dict[str, Any]:
        """Give the speed as it stands in a document."""
        return {"rpm": self.rpm, "rpm_sd": self.rpm_sd, "lobe": self.lobe}


@dataclass(frozen=True, slots=True, kw_only=True)
class TapDocument:
    """The answer of `chatter tap`."""

    program: dict[str, Any]
    recording: dict[str, Any]
    of: TapPart
    analysis: TapAnalysis
    flutes: int | None = None
    speeds: tuple[FavouredSpeed, ...] = ()
    # Slowest and fastest speed that may be dialled or named, as told; None: not told.
    speed_limits_rpm: tuple[float | None, float | None] = (None, None)
    comparison: TapComparison | None = None
    notebook: dict[str, Any] | None = None  # what became of it there; None where no setup was named

    @property
    def modes(self) -> tuple[TapMode, ...]:
        """The modes, strongest first."""
        return self.analysis.modes

    def to_dict(self) -> dict[str, Any]:
        """Give the `tap` document."""
        return {
            "document": "tap",
            "version": 1,
            "program": self.program,
            "recording": self.recording,
            "of": self.of,
            "taps": [tap.to_dict() for tap in self.analysis.taps],
            "modes": [mode.to_dict() for mode in self.analysis.modes],
            "room_decay_s": self.analysis.room_decay_s,
            "speeds": [speed.to_dict() for speed in self.speeds],
            "comparison": None if self.comparison is None else self.comparison.to_dict(),
            **({} if self.notebook is None else {"notebook": self.notebook}),
        }
