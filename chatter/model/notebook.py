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
WORDS = ("machine", "tool", "holder")  # facts in the user's own words
SAME_SPEED = 0.01  # own choice: cuts whose speeds differ by no more are made at one speed
DOUBTFUL = 0.2  # a stable verdict with more chance of chatter counts only where there is no surer; own choice


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
    noises: int

    def to_dict(self) -> dict[str, Any]:
        """Give the setup as it stands in a document."""
        return {
            "name": self.name,
            "facts": self.facts.to_dict(),
            "created": self.created,
            "retired": self.retired,
            "cuts": self.cuts,
            "taps": self.taps,
            "noises": self.noises,
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
    half_passing_db: float | None = None  # see JudgedCut; None of what older programs filed
    ramp_onset_mm: float | None = None  # depth at which chatter began; None where no ramp told it

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
class KeptNoise:
    """One noise measurement of a setup, without its document."""

    number: int
    setup: str
    sha256: str
    version: int
    is_current: bool
    added: str
    file: str
    laeq_db: float | None  # at the phone, dB re 20 µPa
    rated_db: float | None  # with the adjustment for tones, at the neighbour where one was told

    def to_dict(self) -> dict[str, Any]:
        """Give the measurement as it stands in a document."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupContents:
    """A setup with what was filed with it."""

    setup: KeptSetup
    cuts: tuple[KeptCut, ...]
    taps: tuple[KeptTap, ...]
    noises: tuple[KeptNoise, ...]

    def to_dict(self) -> dict[str, Any]:
        """Give the document of one setup."""
        return {
            "document": "setup",
            "version": 1,
            **self.setup.to_dict(),
            "cuts": [cut.to_dict() for cut in self.cuts],
            "taps": [tap.to_dict() for tap in self.taps],
            "noises": [noise.to_dict() for noise in self.noises],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Filing:
    """What became of a document that was given to the notebook."""

    filed: Filed
    number: int  # of the cut, tap or noise measurement
    version: int
    other_setups: tuple[str, ...] = ()  # setups that hold the same recording too


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtfulSetting:
    """A setting that was heard stable, though with so much chance of chatter that a surer one goes first."""

    set_rpm: float
    depth_mm: float
    chatter_probability: float
    message: str  # a sentence that says so


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptBest:
    """The setting that removes most of those heard stable for sure; a doubtful one where there is none."""

    set_rpm: float
    depth_mm: float
    feed_mm_min: float | None
    removal_mm3_min: float | None  # None where feed or width isn't known
    may_double: bool = False  # teeth that cut in turns would sound alike, and no lighter cut there tells
    passed_over: DoubtfulSetting | None = None  # would remove more

    def to_dict(self) -> dict[str, Any]:
        """Give the setting as it stands in a document."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class NextDocument:
    """The whole answer of `chatter next`: contract version 1."""

    program: dict[str, Any]
    setup: str
    action: Literal["cut", "done"]
    rpm: float  # true
    set_rpm: float
    depth_mm: float
    width_mm: float | None
    feed_mm_min: float | None
    stable_probability: float | None  # None where nothing heard tells of the machine
    best_so_far: KeptBest | None
    why: str
    cuts: int  # that carry a verdict and a depth
    cautions: tuple[str, ...]
    urgent: tuple[str, ...] = ()  # the first of `cautions`: what is unsafe, told before the setting

    def to_dict(self) -> dict[str, Any]:
        """Give the document as the contract fixes it."""
        return {
            "document": "next",
            "version": 1,
            "program": self.program,
            "setup": self.setup,
            "action": self.action,
            "rpm": self.rpm,
            "set_rpm": self.set_rpm,
            "depth_mm": self.depth_mm,
            "width_mm": self.width_mm,
            "feed_mm_min": self.feed_mm_min,
            "stable_probability": self.stable_probability,
            "best_so_far": None if self.best_so_far is None else self.best_so_far.to_dict(),
            "why": self.why,
            "cuts": self.cuts,
            "urgent": list(self.urgent),
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupMap:
    """Every cut of a setup over speed and depth, and the chances of a stable cut behind them."""

    program: dict[str, Any]
    setup: str
    facts: SetupFacts
    speeds_rpm: tuple[float, ...]  # true
    depths_mm: tuple[float, ...]
    stable_probability: tuple[tuple[float, ...], ...] | None  # a row a depth; None where too little is known
    cuts: tuple[KeptCut, ...]  # with a verdict and a depth
    left_out: int  # cuts without a verdict or a depth
    best_so_far: KeptBest | None
    best_rpm: float | None  # true speed of the best
    retired: str | None = None  # UTC, ISO 8601; None where the setup is in use

    def to_dict(self) -> dict[str, Any]:
        """Give the document."""
        chances = self.stable_probability
        return {
            "document": "setup map",
            "version": 1,
            "program": self.program,
            "setup": self.setup,
            "speeds_rpm": list(self.speeds_rpm),
            "depths_mm": list(self.depths_mm),
            "stable_probability": None if chances is None else [list(row) for row in chances],
            "cuts": [
                {
                    "cut": cut.number,
                    "rpm": cut.true_rpm,
                    "set_rpm": cut.set_rpm,
                    "depth_mm": cut.depth_mm,
                    "verdict": cut.verdict,
                    "chatter_probability": cut.chatter_probability,
                }
                for cut in self.cuts
            ],
            "cuts_left_out": self.left_out,
            "best_so_far": None if self.best_so_far is None else self.best_so_far.to_dict(),
            "retired": self.retired,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRow:
    """One setting that was heard stable."""

    set_rpm: float
    feed_mm_min: float | None
    depth_mm: float
    width_mm: float | None
    removal_mm3_min: float | None
    cuts: int  # made at this speed, this deep or deeper, all stable
    chatter_probability: float  # the highest of the cuts of just this depth
    chatter_depth_mm: float | None  # shallowest, deeper than this, that was not stable; None where none
    may_double: bool = False  # see KeptBest

    def to_dict(self) -> dict[str, Any]:
        """Give the row as it stands in a document."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class CardNoise:
    """How loud one recording of the setup is; levels in dB(A)."""

    file: str
    set_rpm: float | None  # None where the recording is no cut of the setup
    depth_mm: float | None
    verdict: Verdict | None
    at_phone_db: float | None  # while it cuts, as at the neighbour
    uncertainty_db: float
    neighbour_distance_m: (
        float | None
    )  # None where no neighbour was told, as the four below; those with doubt too
    at_neighbour_db: float | None
    low_db: float | None
    high_db: float | None
    rating_db: float | None  # at the neighbour, with the adjustment for tones; None where too short for it
    level_in_doubt: bool = False  # full scale is hardly what it was taken for

    def to_dict(self) -> dict[str, Any]:
        """Give the levels as they stand in a document."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """Settings that work with a setup, for the wall beside the machine."""

    program: dict[str, Any]
    setup: str
    facts: SetupFacts
    made: str  # UTC, ISO 8601
    cuts: int
    rows: tuple[CardRow, ...]  # the sure ones, most metal first, then the doubtful
    noises: tuple[CardNoise, ...]  # newest first
    cautions: tuple[str, ...]
    retired: str | None = None  # see SetupMap

    def to_dict(self) -> dict[str, Any]:
        """Give the document."""
        return {
            "document": "card",
            "version": 1,
            "program": self.program,
            "setup": self.setup,
            "facts": self.facts.to_dict(),
            "made": self.made,
            "cuts": self.cuts,
            "settings": [row.to_dict() for row in self.rows],
            "noise": [noise.to_dict() for noise in self.noises],
            "cautions": list(self.cautions),
            "retired": self.retired,
        }
