"""What a measured noise does elsewhere: at the neighbour's, over an evening, at the operator's ear.

In: nothing; these are containers. Out: frozen values whose `to_dict()` stands in the `noise` document.
Leaves out: the levels at the microphone, and every formula (noise/).
"""

from dataclasses import dataclass
from typing import Any, Literal

HearingProtection = Literal["not due", "must be at hand", "must be worn"]


@dataclass(frozen=True, slots=True, kw_only=True)
class NeighbourPart:
    """One thing between the microphone and the neighbour; negative where it makes the sound quieter."""

    name: str
    db: float  # change of the A-weighted level
    down_db: float = 0.0  # the truth may lie this much below
    up_db: float = 0.0  # or this much above

    def to_dict(self) -> dict[str, Any]:
        """Give the part as it stands in a document."""
        return {"name": self.name, "db": self.db, "down_db": self.down_db, "up_db": self.up_db}


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningShare:
    """How much of what leaves a room leaves it here."""

    name: str
    area_m2: float
    percent: float  # of the A-weighted sound energy

    def to_dict(self) -> dict[str, Any]:
        """Give the share as it stands in a document."""
        return {"name": self.name, "area_m2": self.area_m2, "percent": self.percent}


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """The level that reaches the neighbour while the machine cuts."""

    distance_m: float
    LAeq_db: float
    rating_db: float  # LAeq_db with the tonal adjustment
    low_db: float  # range of LAeq_db; the parts' own ranges add in squares
    high_db: float
    parts: tuple[NeighbourPart, ...]  # their db add up to LAeq_db less the level at the microphone
    shares: tuple[OpeningShare, ...] = ()  # indoors only, loudest first
    assumes: tuple[str, ...] = ()  # one plain sentence each

    def to_dict(self) -> dict[str, Any]:
        """Give the object `neighbour` of the `noise` document."""
        return {
            "distance_m": self.distance_m,
            "LAeq_db": self.LAeq_db,
            "rating_db": self.rating_db,
            "low_db": self.low_db,
            "high_db": self.high_db,
            "parts": [part.to_dict() for part in self.parts],
            "shares": [share.to_dict() for share in self.shares],
            "assumes": list(self.assumes),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Evening:
    """How much cutting fits under a limit that the user states."""

    limit_db: float
    reference_h: float
    minutes: (
        float | None
    )  # of cutting that fit the reference time; None, as the others, with a level in doubt
    minutes_low: float | None  # the same where the neighbour's level lies at its high end
    minutes_high: float | None  # and at its low end
    minutes_per_hour: float | None  # where the limit counts for each hour by itself
    asked_minutes: float | None
    rated_db: float  # over the reference time, with the asked minutes, or cutting throughout
    quieter_by_db: (
        float | None
    )  # how much quieter it must get for those; 0 where they fit, None as the minutes
    helps: tuple[str, ...]  # best first, one plain sentence each
    guidance: tuple[str, ...] = ()  # published values with their sources; no law

    def to_dict(self) -> dict[str, Any]:
        """Give the object `evening` of the `noise` document."""
        return {
            "limit_db": self.limit_db,
            "reference_h": self.reference_h,
            "minutes": self.minutes,
            "minutes_low": self.minutes_low,
            "minutes_high": self.minutes_high,
            "minutes_per_hour": self.minutes_per_hour,
            "asked_minutes": self.asked_minutes,
            "rated_db": self.rated_db,
            "quieter_by_db": self.quieter_by_db,
            "helps": list(self.helps),
            "guidance": list(self.guidance),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """What one day of this noise is for the operator's hearing."""

    ear_distance_m: float
    LEX8h_db: float
    niosh_percent: float | None  # None, as the other doses, where the level is in doubt
    osha_percent: float | None  # hearing conservation: sound from 80 dBA counts
    osha_pel_percent: float | None  # permissible exposure limit: sound from 90 dBA counts
    minutes: float
    ear_db: float  # LAeq at the ear
    low_db: float  # range of LEX8h_db
    high_db: float
    minutes_to_wear: float | None  # until LEX,8h is 85 dB; None where 24 h don't get there, or with doubt
    protection: HearingProtection  # "must be at hand" where only peaks that are not known could ask for it
    peaks_known: bool  # whether the peaks at the ear are in it
    says: tuple[str, ...]  # one plain sentence each

    def to_dict(self) -> dict[str, Any]:
        """Give the object `exposure` of the `noise` document."""
        return {
            "ear_distance_m": self.ear_distance_m,
            "LEX8h_db": self.LEX8h_db,
            "niosh_percent": self.niosh_percent,
            "osha_percent": self.osha_percent,
            "osha_pel_percent": self.osha_pel_percent,
            "minutes": self.minutes,
            "ear_db": self.ear_db,
            "low_db": self.low_db,
            "high_db": self.high_db,
            "minutes_to_wear": self.minutes_to_wear,
            "protection": self.protection,
            "peaks_known": self.peaks_known,
            "says": list(self.says),
        }
