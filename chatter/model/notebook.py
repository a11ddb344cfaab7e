"""What a notebook keeps: setups, and the cuts and taps made with each.

In: nothing; these are containers. Out: frozen values that the notebook, the advice and the reports share.
Leaves out: the file they are kept in (notebook/).
"""

from dataclasses import asdict, dataclass, fields
from typing import Any, Literal

from chatter.model.cut import Direction, Verdict
from chatter.model.tap import TapPart

Filed = Literal["new", "again", "changed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupFacts:
    """What stays the same from cut to cut; None where not told."""

    flutes: int
    machine: str | None = None
    min_rpm: float | None = None
    max_rpm: float | None = None
    spindle_power_w: float | None = None
    tool: str | None = None  # what it is and what it is made of
    diameter_mm: float | None = None
    stick_out_mm: float | None = None
    tool_max_rpm: float | None = None
    holder: str | None = None
    material: str | None = None
    width_mm: float | None = None
    direction: Direction | None = None
    max_depth_mm: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """Give the facts as they stand in a document."""
        return asdict(self)


FACT_NAMES = tuple(field.name for field in fields(SetupFacts))


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptSetup:
    """One setup of a notebook."""

    number: int
    name: str
    facts: SetupFacts
    created: str  # UTC, ISO 8601
    retired: str | None  # when; None while it is in use
    cuts: int
    taps: int

    def to_dict(self) -> dict[str, Any]:
        """Give the setup as it stands in a document."""
        return {
            "name": self.name,
            "facts": self.facts.to_dict(),
            "created": self.created,
            "retired": self.retired,
            "cuts": self.cuts,
            "taps": self.taps,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptCut:
    """One cut of a setup, without its document."""

    number: int
    setup: str
    sha256: str
    version: int  # 1, and one more for each change of its facts
    is_current: bool  # False: a later version stands for this recording
    added: str  # UTC, ISO 8601
    file: str
    set_rpm: float
    measured_rpm: float | None
    depth_mm: float | None
    width_mm: float | None
    feed_mm_min: float | None
    verdict: Verdict
    chatter_probability: float | None
    chatter_hz: float | None

    @property
    def true_rpm(self) -> float:
        """Measured speed, or the dialled one where none was measured."""
        return self.set_rpm if self.measured_rpm is None else self.measured_rpm

    def to_dict(self) -> dict[str, Any]:
        """Give the cut as it stands in a document."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptTap:
    """One tap of a setup, without its document."""

    number: int
    setup: str
    sha256: str
    of: TapPart
    version: int
    is_current: bool
    added: str
    file: str

    def to_dict(self) -> dict[str, Any]:
        """Give the tap as it stands in a document."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupContents:
    """A setup with what was filed with it."""

    setup: KeptSetup
    cuts: tuple[KeptCut, ...]
    taps: tuple[KeptTap, ...]

    def to_dict(self) -> dict[str, Any]:
        """Give the document of one setup."""
        return {
            "document": "setup",
            "version": 1,
            **self.setup.to_dict(),
            "cuts": [cut.to_dict() for cut in self.cuts],
            "taps": [tap.to_dict() for tap in self.taps],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Filing:
    """What became of a document that was given to the notebook."""

    filed: Filed
    number: int  # of the cut or tap
    version: int
    other_setups: tuple[str, ...] = ()  # setups that hold the same recording too
