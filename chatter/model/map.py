"""How deep a cut may be at which speed.

In: nothing; these are containers. Out: the `map` document.
Leaves out: any analysis.
"""

from dataclasses import dataclass
from typing import Any, Literal

from chatter.model.cut import Direction

Axis = Literal["x", "y", "both"]
MapMethod = Literal["zero order", "semi-discretization"]

# Own choice: depths above twelve times the lowest limit are not looked at; few machines cut so deep.
VIEW_OVER_LOWEST = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MapMode:
    """One mode that a map is drawn from."""

    axis: Axis  # x: along the feed; y: across it, in the plane of the table
    frequency_hz: float
    damping_ratio: float
    stiffness_n_per_um: float | None  # None where not known: then depths are relative

    def to_dict(self) -> dict[str, Any]:
        """Give the mode as it stands in a document."""
        return {
            "axis": self.axis,
            "frequency_hz": self.frequency_hz,
            "damping_ratio": self.damping_ratio,
            "stiffness_n_per_um": self.stiffness_n_per_um,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class MapCut:
    """What cuts, as far as a map needs it."""

    flutes: int
    width_mm: float
    diameter_mm: float
    direction: Direction  # without meaning in a slot
    material: str | None
    pressure_mpa: float | None  # tangential cutting pressure drawn; None where not known
    pressure_low_mpa: float | None  # what it may be for this material; None where it was given
    pressure_high_mpa: float | None
    radial_ratio: float  # radial over tangential

    def to_dict(self) -> dict[str, Any]:
        """Give the cut as it stands in a document."""
        return {
            "flutes": self.flutes,
            "width_mm": self.width_mm,
            "diameter_mm": self.diameter_mm,
            "direction": self.direction,
            "material": self.material,
            "pressure_mpa": self.pressure_mpa,
            "pressure_low_mpa": self.pressure_low_mpa,
            "pressure_high_mpa": self.pressure_high_mpa,
            "radial_ratio": self.radial_ratio,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class BestSpeed:
    """A peak of the limit, with the speeds around it that carry most of its depth."""

    rpm: float  # of the peak, which may lie at the end of the window, with a cliff beside it
    limit_depth: float | None  # at the peak, in the map's unit; None where nothing chatters there
    low_rpm: float
    high_rpm: float
    window_depth: float  # below the limit at every speed of the window

    @property
    def middle_rpm(self) -> float:
        """The speed to set: both ends of the window are as far as can be."""
        return (self.low_rpm + self.high_rpm) / 2

    def to_dict(self, *, is_relative: bool) -> dict[str, Any]:
        """Give the speed as it stands in a document."""
        unit = "relative" if is_relative else "mm"
        return {
            "rpm": self.rpm,
            f"limit_depth_{unit}": self.limit_depth,
            "low_rpm": self.low_rpm,
            "high_rpm": self.high_rpm,
            "middle_rpm": self.middle_rpm,
            f"window_depth_{unit}": self.window_depth,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class MapDocument:
    """The whole answer of `chatter map`, version 1."""

    program: dict[str, Any]  # name, version, settings
    method: MapMethod
    modes: tuple[MapMode, ...]
    cut: MapCut
    is_relative: bool  # True: depths are multiples of the lowest limit
    max_depth: float | None  # largest depth looked at, in the map's unit; None: no end
    speeds_rpm: tuple[float, ...]  # true speeds
    limit_depth: tuple[float | None, ...]  # in the map's unit; None where nothing chatters at any depth
    chatter_hz: tuple[float | None, ...]
    lowest_rpm: float | None  # where the limit is lowest; None where nothing chatters anywhere
    lowest_depth: float | None
    best: tuple[BestSpeed, ...]  # most metal first
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Give the document."""
        relative = self.is_relative
        limits = list(self.limit_depth)
        return {
            "document": "map",
            "version": 1,
            "program": self.program,
            "method": self.method,
            "modes": [mode.to_dict() for mode in self.modes],
            "cut": self.cut.to_dict(),
            "depth_unit": "lowest limit" if relative else "mm",
            "max_depth_mm": None if relative else self.max_depth,
            "speeds_rpm": list(self.speeds_rpm),
            "limit_depth_mm": [None] * len(limits) if relative else limits,
            "limit_depth_relative": limits if relative else [None] * len(limits),
            "chatter_hz": list(self.chatter_hz),
            "lowest": {"rpm": self.lowest_rpm, "limit_depth_mm": None if relative else self.lowest_depth},
            "best": [speed.to_dict(is_relative=relative) for speed in self.best],
            "cautions": list(self.cautions),
        }
