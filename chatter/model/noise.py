"""What a recording told about noise: levels, bands, tones, and what they do elsewhere.

In: nothing; these are containers. Out: frozen values whose `to_dict()` is the `noise` document.
Leaves out: every formula (noise/).
"""

from dataclasses import dataclass
from typing import Any, Literal

from chatter.model.noise_effects import Evening, Exposure, Neighbour
from chatter.model.recording import Finding

FULL_SCALE_IN_DOUBT = "full-scale-unlikely"  # code of the finding that every level may be far off
CalibrationSource = Literal["given", "saved", "typical phone"]
ToneSource = Literal["tooth passing", "spindle", "chatter", "other"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What digital full scale stands for."""

    source: CalibrationSource
    full_scale_db: float  # sound pressure level of a signal whose rms is digital full scale, dB re 20 µPa
    uncertainty_db: float  # the truth lies within it in about 19 of 20 cases
    name: str | None = None  # of a saved one
    because: tuple[str, ...] = ()  # what widened the uncertainty, one plain sentence each

    def to_dict(self) -> dict[str, Any]:
        """Give the calibration as it stands in a document."""
        return {
            "source": self.source,
            "full_scale_db": self.full_scale_db,
            "uncertainty_db": self.uncertainty_db,
            "name": self.name,
            "because": list(self.because),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseLevels:
    """Levels, dB; None where the recording can't carry one."""

    LAeq_db: float | None
    LCeq_db: float | None
    LZeq_db: float | None
    LAFmax_db: float | None
    LASmax_db: float | None
    LCpeak_db: float | None
    LAF10_db: float | None
    LAF50_db: float | None
    LAF90_db: float | None
    LAE_db: float | None

    def to_dict(self) -> dict[str, Any]:
        """Give the levels as they stand in a document."""
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(frozen=True, slots=True, kw_only=True)
class LoudPart:
    """The loud part of a recording, without idle time before, after and between: where the machine works."""

    LAeq_db: float  # mean over this part, never below that of the whole
    start_s: float  # of its first stretch
    end_s: float  # of its last
    seconds: float  # all stretches together, their short pauses included
    stretches: int
    louder_by_db: float  # by how much the mean rises where only its loudest stretches count

    def to_dict(self) -> dict[str, Any]:
        """Give the part as it stands in a document."""
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(frozen=True, slots=True, kw_only=True)
class BandLevel:
    """Level of one third-octave band."""

    midband_hz: float  # exact, base ten
    Leq_db: float | None

    def to_dict(self) -> dict[str, Any]:
        """Give the band as it stands in a document."""
        return {"midband_hz": self.midband_hz, "Leq_db": self.Leq_db}


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseTone:
    """One tone that can be heard."""

    frequency_hz: float
    level_db: float
    audibility_db: float
    source: ToneSource | None  # None where neither speed nor flutes were told

    def to_dict(self) -> dict[str, Any]:
        """Give the tone as it stands in a document."""
        return {
            "frequency_hz": self.frequency_hz,
            "level_db": self.level_db,
            "audibility_db": self.audibility_db,
            "source": self.source,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseAnalysis:
    """What the sound itself told; every level is re digital full-scale rms."""

    rate_hz: float
    duration_s: float
    bandwidth_hz: float
    channel: int
    levels: NoiseLevels
    bands: tuple[BandLevel, ...]
    tones: tuple[NoiseTone, ...]
    tonal_adjustment_db: float | None  # None where the sound is too short to tell
    findings: tuple[Finding, ...]
    loud_part: LoudPart | None = None  # None where there is no sound


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseDocument:
    """The answer of `chatter noise` for one recording."""

    program: dict[str, Any]
    recording: dict[str, Any]
    calibration: Calibration
    levels: NoiseLevels
    bands: tuple[BandLevel, ...]
    tones: tuple[NoiseTone, ...]
    tonal_adjustment_db: float | None
    measured_rpm: float | None = None  # heard in the recording, where speed and flutes were told
    loud_part: LoudPart | None = None  # what counts at the neighbour, over the evening and at the ear
    neighbour: Neighbour | None = None
    evening: Evening | None = None
    exposure: Exposure | None = None
    notebook: dict[str, Any] | None = None  # what became of it there; None where no setup was named

    @property
    def level_in_doubt(self) -> bool:
        """Say whether full scale is hardly what it is taken for: then no level may call anything harmless."""
        return any(one["code"] == FULL_SCALE_IN_DOUBT for one in self.recording["findings"])

    @property
    def cutting_db(self) -> float | None:
        """Mean A-weighted level at the phone while it is loud."""
        return self.levels.LAeq_db if self.loud_part is None else self.loud_part.LAeq_db

    @property
    def idle_gain_db(self) -> float:
        """By how much it is louder in its loud part than over the whole recording."""
        return (self.cutting_db or 0.0) - (self.levels.LAeq_db or 0.0)

    @property
    def rated_db(self) -> float | None:
        """Level while it is loud, tones counted, at the neighbour where one was told, else at the phone."""
        if self.neighbour is not None:
            return self.neighbour.rating_db
        if self.cutting_db is None:
            return None
        return self.cutting_db + (self.tonal_adjustment_db or 0.0)

    @property
    def is_ranked(self) -> bool:
        """Say whether it has a level that may be held against another's."""
        return self.rated_db is not None and not self.level_in_doubt

    def to_dict(self) -> dict[str, Any]:
        """Give the `noise` document."""
        return {
            "document": "noise",
            "version": 1,
            "program": self.program,
            "recording": self.recording,
            "calibration": self.calibration.to_dict(),
            "levels": self.levels.to_dict(),
            "bands": [band.to_dict() for band in self.bands],
            "tones": [tone.to_dict() for tone in self.tones],
            "tonal_adjustment_db": self.tonal_adjustment_db,
            "measured_rpm": self.measured_rpm,
            "loud_part": None if self.loud_part is None else self.loud_part.to_dict(),
            "neighbour": None if self.neighbour is None else self.neighbour.to_dict(),
            "evening": None if self.evening is None else self.evening.to_dict(),
            "exposure": None if self.exposure is None else self.exposure.to_dict(),
            **({} if self.notebook is None else {"notebook": self.notebook}),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class StableCut:
    """A recording whose `cut` document called it stable."""

    file: str
    sha256: str
    programmed_rpm: float
    rated_db: float | None

    def to_dict(self) -> dict[str, Any]:
        """Give the cut as it stands in a document."""
        return {
            "file": self.file,
            "sha256": self.sha256,
            "programmed_rpm": self.programmed_rpm,
            "rated_db": self.rated_db,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseComparison:
    """The answer of `chatter noise` for several recordings, quietest for the neighbour first."""

    program: dict[str, Any]
    noises: tuple[NoiseDocument, ...]  # quietest first, then those with a level in doubt, then silent ones
    quietest_stable: StableCut | None  # None where no stable cut with a level to rely on is among them
    says: tuple[str, ...]  # one plain sentence each

    @property
    def quietest(self) -> NoiseDocument | None:
        """Give the quietest of those whose level isn't in doubt; None where that can't be told."""
        ranked = [noise for noise in self.noises if noise.is_ranked]
        doubted = any(noise.rated_db is not None for noise in self.noises if not noise.is_ranked)
        return None if not ranked or (doubted and len(ranked) == 1) else ranked[0]

    def to_dict(self) -> dict[str, Any]:
        """Give the `noise comparison` document."""
        return {
            "document": "noise comparison",
            "version": 1,
            "program": self.program,
            "quietest": None if self.quietest is None else self.quietest.recording["file"],
            "ranking": [
                {
                    "file": noise.recording["file"],
                    "sha256": noise.recording["sha256"],
                    "rated_db": noise.rated_db,
                    "uncertainty_db": noise.calibration.uncertainty_db,
                    "level_in_doubt": noise.level_in_doubt,
                }
                for noise in self.noises
            ],
            "quietest_stable": None if self.quietest_stable is None else self.quietest_stable.to_dict(),
            "says": list(self.says),
            "noises": [noise.to_dict() for noise in self.noises],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationDocument:
    """The answer of `chatter calibrate`."""

    program: dict[str, Any]
    recording: dict[str, Any]
    name: str
    full_scale_db: float
    uncertainty_db: float
    level_db: float  # that was told
    heard_db: float  # the same in the recording, re full scale
    replaced: bool  # an earlier one of that name

    def to_dict(self) -> dict[str, Any]:
        """Give the `calibration` document."""
        return {
            "document": "calibration",
            "version": 1,
            "program": self.program,
            "recording": self.recording,
            "name": self.name,
            "full_scale_db": self.full_scale_db,
            "uncertainty_db": self.uncertainty_db,
            "level_db": self.level_db,
            "heard_db": self.heard_db,
            "replaced": self.replaced,
        }
