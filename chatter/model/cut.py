"""What one recording says about its cuts, and what to do next.

In: nothing; these are containers. Out: the `cut` document.
Leaves out: any analysis.
"""

import math
from dataclasses import dataclass
from typing import Any, Literal

from chatter.model.pictures import CutPictures
from chatter.model.recording import Finding
from chatter.model.tap import TapPart

Verdict = Literal["stable", "marginal", "chatter", "undecided"]
LoneTone = Literal["unknown", "in air", "only cutting"]  # by an idle recording
LineKind = Literal[
    "tooth passing",
    "spindle harmonic",
    "chatter",
    "chatter sideband",
    "background",
    "resonance",
    "unexplained",
]
CHATTER_KINDS: tuple[LineKind, ...] = ("chatter", "chatter sideband")
# Odd halves of the tooth-passing frequency over the other multiples of the speed: above the first a stable
# verdict is doubtful, above the second there is none. Own choices: of 14 fitted cuts above 6 dB that weren't
# heard to chatter otherwise 4 chattered, none by doubling; seven of the ten stable ones lay below 13 dB.
HALVES_DOUBTFUL_DB, HALVES_UNTOLD_DB = 6.0, 13.0
# Least chance of chatter of a cut whose run-out may be period doubling. Own choice: above DOUBTFUL of
# advice/next_cut.py, so that a surer stable cut goes first, and below a half, as it counts as stable.
DOUBTFUL_RUN_OUT = 0.3
Action = Literal["keep", "change speed", "reduce depth", "record again"]
Direction = Literal["up", "climb"]


NO_RAMP = "ramp-does-not-grow"  # code of the finding that a pass hardly is the ramp that it was told to be


def present_depth_mm(depth_mm: float | None, *, depth_to_mm: float | None) -> float | None:
    """Give the depth that advice is about: the cut's, or the deep end of a ramped pass."""
    return depth_mm if depth_to_mm is None else depth_to_mm


def most_depth_mm(max_depth_mm: float | None, *, stick_out_mm: float | None) -> float | None:
    """Give the largest depth to suggest: as told, or as far as the tool sticks out; None where neither is."""
    return min((end for end in (max_depth_mm, stick_out_mm) if end is not None), default=None)


def end_factor(most_mm: float, *, depth_mm: float) -> float:
    """Give the largest depth over the present one in thousandths; rounded up it would go past the end.

    >>> end_factor(2.0, depth_mm=3.0), end_factor(0.3, depth_mm=1.0)
    (0.666, 0.3)
    """
    return math.floor(1000 * most_mm / depth_mm + 1e-9) / 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSetup:
    """What the user knows about the cut; None where not said."""

    rpm: float  # dialled
    flutes: int
    min_rpm: float | None = None
    max_rpm: float | None = None
    tool_max_rpm: float | None = None
    depth_mm: float | None = None
    max_depth_mm: float | None = None
    width_mm: float | None = None
    diameter_mm: float | None = None
    direction: Direction | None = None
    feed_mm_min: float | None = None
    stick_out_mm: float | None = None
    spindle_power_w: float | None = None
    material: str | None = None
    depth_from_mm: float | None = None  # a pass that grows evenly deeper from here
    depth_to_mm: float | None = None  # to here

    @property
    def present_depth_mm(self) -> float | None:
        """Give the depth that advice is about."""
        return present_depth_mm(self.depth_mm, depth_to_mm=self.depth_to_mm)

    @property
    def most_depth_mm(self) -> float | None:
        """Give the largest depth to suggest: as told, or as far as the tool sticks out."""
        return most_depth_mm(self.max_depth_mm, stick_out_mm=self.stick_out_mm)

    @property
    def is_ramp(self) -> bool:
        """Say whether the pass grows evenly deeper."""
        return self.depth_from_mm is not None and self.depth_to_mm is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line or hump of the steady cut's spectrum, with its name."""

    frequency_hz: float
    width_hz: float | None  # half-power width of a hump; None for a line
    level_db: float  # re digital full-scale rms
    kind: LineKind
    order: int | None  # multiple of that kind's own frequency

    def to_dict(self) -> dict[str, Any]:
        """Give the line as it stands in a document."""
        return {
            "frequency_hz": self.frequency_hz,
            "width_hz": self.width_hz,
            "level_db": self.level_db,
            "kind": self.kind,
            "order": self.order,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Spindle:
    """Programmed and measured spindle speed."""

    programmed_rpm: float
    flutes: int
    measured_rpm: float | None
    measured_rpm_sd: float | None

    @property
    def best_rpm(self) -> float:
        """Measured speed, or the programmed one where none was measured."""
        return self.programmed_rpm if self.measured_rpm is None else self.measured_rpm

    def to_dict(self) -> dict[str, Any]:
        """Give the spindle as it stands in a document."""
        measured = self.measured_rpm
        return {
            "programmed_rpm": self.programmed_rpm,
            "measured_rpm": measured,
            "measured_rpm_sd": self.measured_rpm_sd,
            "flutes": self.flutes,
            "rotation_hz": None if measured is None else measured / 60,
            "tooth_passing_hz": None if measured is None else measured * self.flutes / 60,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedCut:
    """One cut of a recording and its verdict."""

    start_s: float | None  # None where the cut touches the file's edge
    end_s: float | None
    measured_rpm: float | None
    measured_rpm_sd: float | None
    verdict: Verdict
    chatter_probability: float | None
    chatter_hz: float | None
    onset_s: float | None
    lines: tuple[Line, ...]
    findings: tuple[Finding, ...] = ()  # about this cut; the document lists them with the recording's
    half_passing_db: float | None = None  # halves of tooth passing over the other orders; even flutes
    tone: LoneTone | None = None  # whose the lone line named as chatter is; None without one
    chatter_end_s: float | None = None  # where only a moment of the cut chatters

    @property
    def family(self) -> tuple[Line, ...]:
        """The lines whole turns from the chatter: any may be its base, none at a multiple of it."""
        return tuple(line for line in self.lines if line.kind in CHATTER_KINDS and line.order is None)

    def to_dict(self) -> dict[str, Any]:
        """Give the cut as it stands in a document."""
        return {
            "start_s": self.start_s,
            "end_s": self.end_s,
            "measured_rpm": self.measured_rpm,
            "measured_rpm_sd": self.measured_rpm_sd,
            "verdict": self.verdict,
            "chatter_probability": self.chatter_probability,
            "chatter_hz": self.chatter_hz,
            "onset_s": self.onset_s,
            "chatter_end_s": self.chatter_end_s,
            "half_passing_db": self.half_passing_db,
            "tone": self.tone,
            "lines": [line.to_dict() for line in self.lines],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class RampOnset:
    """The depth at which chatter began in a ramped pass."""

    depth_mm: float
    depth_sd_mm: float
    time_s: float  # when it was heard
    chatter_hz: float

    def to_dict(self) -> dict[str, Any]:
        """Give the onset as it stands in a document."""
        return {
            "onset_depth_mm": self.depth_mm,
            "onset_depth_sd_mm": self.depth_sd_mm,
            "onset_s": self.time_s,
            "chatter_hz": self.chatter_hz,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class RampPass:
    """Where in the recording a ramped pass lies, and which part of it the verdict is about."""

    cut_index: int
    start_s: float | None  # None where the recording begins inside it
    deep_from_s: float  # from here to its end it was judged
    end_s: float | None  # None where the recording ends inside it
    grows: bool = True  # False: the teeth get no louder, so it is hardly a ramp


@dataclass(frozen=True, slots=True, kw_only=True)
class CutAnalysis:
    """What the cut pipeline found: speed, cuts, and which of them is the worst."""

    spindle: Spindle
    channel: int
    cuts: tuple[JudgedCut, ...]
    cut_index: int | None  # the worst cut; None when there is none
    findings: tuple[Finding, ...]  # the recording's and the pipeline's
    ramp: RampOnset | None = None  # None without a ramp, or where it stayed quiet
    ramp_pass: RampPass | None = None  # None without a ramp
    pictures: CutPictures | None = None  # None where none were asked for

    @property
    def worst(self) -> JudgedCut | None:
        """The cut that the top level of the document repeats."""
        return None if self.cut_index is None else self.cuts[self.cut_index]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedWindow:
    """One spindle speed to try, with the window it lies in."""

    rpm: float  # true
    set_rpm: float  # to dial
    low_rpm: float
    high_rpm: float
    lobe: int
    stable_probability: float
    feed_mm_min: float | None
    why: str

    def to_dict(self) -> dict[str, Any]:
        """Give the window as it stands in a document."""
        return {
            "rpm": self.rpm,
            "set_rpm": self.set_rpm,
            "low_rpm": self.low_rpm,
            "high_rpm": self.high_rpm,
            "lobe": self.lobe,
            "stable_probability": self.stable_probability,
            "feed_mm_min": self.feed_mm_min,
            "why": self.why,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedCurve:
    """The chance that the present depth is stable, over speed: the small map of a cut's advice."""

    speeds_rpm: tuple[float, ...]  # true speeds, rising
    stable_probability: tuple[float, ...]

    def to_dict(self) -> dict[str, Any]:
        """Give the curve as it stands in a document."""
        return {
            "speeds_rpm": list(self.speeds_rpm),
            "stable_probability": list(self.stable_probability),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to do next."""

    action: Action
    speeds: tuple[SpeedWindow, ...]  # best first
    depth_factor: float | None
    cautions: tuple[str, ...]
    chances: SpeedCurve | None = None  # the document's `map`; None where too little is known
    any_stable_probability: float | None = None  # that one at least of `speeds` is stable
    power_depth_mm: float | None = None  # what the spindle's power drives at the present speed, feed, width
    urgent: tuple[str, ...] = ()  # the first of `cautions`: what is unsafe now, told before the action

    @property
    def further_cautions(self) -> tuple[str, ...]:
        """The cautions that come after the action."""
        return tuple(caution for caution in self.cautions if caution not in self.urgent)

    def to_dict(self) -> dict[str, Any]:
        """Give the advice as it stands in a document."""
        return {
            "action": self.action,
            "speeds": [speed.to_dict() for speed in self.speeds],
            "depth_factor": self.depth_factor,
            "power_depth_mm": self.power_depth_mm,
            "any_stable_probability": self.any_stable_probability,
            "urgent": list(self.urgent),
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Rings:
    """Which tapped part most likely rings in the chatter; `part` None where none can be named."""

    part: TapPart | None
    why: str

    def to_dict(self) -> dict[str, Any]:
        """Give the part as it stands in a document."""
        return {"part": self.part, "why": self.why}


@dataclass(frozen=True, slots=True, kw_only=True)
class CutDocument:
    """The whole answer of `chatter cut`: contract version 1."""

    program: dict[str, Any]  # name, version, settings
    recording: dict[str, Any]
    analysis: CutAnalysis
    advice: Advice
    rings: Rings | None = None  # None without taps or without chatter
    notebook: dict[str, Any] | None = None  # what became of it there; None where no setup was named
    counts: tuple[str, ...] = ()  # those of its notes that tell which cuts count otherwise than heard

    @property
    def map(self) -> SpeedCurve | None:
        """The small map of the advice, or None where too little is known."""
        return self.advice.chances

    def to_dict(self) -> dict[str, Any]:
        """Give the document as the contract fixes it."""
        worst = self.analysis.worst
        return {
            "document": "cut",
            "version": 1,
            "program": self.program,
            "recording": self.recording,
            "spindle": self.analysis.spindle.to_dict(),
            "cuts": [cut.to_dict() for cut in self.analysis.cuts],
            "cut_index": self.analysis.cut_index,
            "verdict": "undecided" if worst is None else worst.verdict,
            "chatter_probability": None if worst is None else worst.chatter_probability,
            "chatter_hz": None if worst is None else worst.chatter_hz,
            "lines": [] if worst is None else [line.to_dict() for line in worst.lines],
            "rings": None if self.rings is None else self.rings.to_dict(),
            "advice": self.advice.to_dict(),
            "map": None if self.map is None else self.map.to_dict(),
            "ramp": None if self.analysis.ramp is None else self.analysis.ramp.to_dict(),
            **({} if self.notebook is None else {"notebook": self.notebook}),
        }
