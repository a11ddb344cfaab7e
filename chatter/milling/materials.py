"""Materials: how hard they push back, how fast they are cut, how thick a chip each tooth takes.

In: a name as a user types it. Out: a `Material` whose every number carries its source and how sure it is.
Source: materials.toml beside this file, read with tomllib; docs/materials.md shows it as a table.
Leaves out: coatings, coolant, hardness after heat treatment, and any limit (limits.py).
"""

import itertools
import math
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, cast, get_args

from chatter.errors import BadValueError

MM_PER_INCH = 25.4  # exact
M_MIN_PER_SFM = 0.3048  # ft/min to m/min, exact
Strength = Literal["published", "common practice", "weak"]
Thickness = Literal["tooth feed", "mean chip"]  # what a pressure was tabled against


@dataclass(frozen=True, slots=True, kw_only=True)
class Sourced:
    """Where numbers come from, and whether a limit may rest on them."""

    sources: tuple[str, ...]
    strength: Strength

    @property
    def is_sure(self) -> bool:
        """False for numbers from memory or doubtful in their source: for show only."""
        return self.strength != "weak"


@dataclass(frozen=True, slots=True, kw_only=True)
class Range(Sourced):
    """A usual range; its unit stands in the name of the field that holds it."""

    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressure(Sourced):
    """Specific cutting pressure over chip thickness, as tabled."""

    against: Thickness
    thickness_mm: tuple[float, ...]  # rising
    n_mm2: tuple[float, ...]
    thin_exponent: float  # below the table the pressure grows as thickness to minus this

    def at_n_mm2(self, thickness_mm: float) -> float:
        """Give the pressure at a thickness: a power law between table points, the last value beyond them."""
        first_mm, last_mm = self.thickness_mm[0], self.thickness_mm[-1]
        if thickness_mm <= first_mm:
            return self.n_mm2[0] * math.pow(thickness_mm / first_mm, -self.thin_exponent)
        if thickness_mm >= last_mm:
            return self.n_mm2[-1]
        logs = [math.log(value) for value in self.thickness_mm], [math.log(value) for value in self.n_mm2]
        return math.exp(_interpolate(math.log(thickness_mm), *logs))


@dataclass(frozen=True, slots=True, kw_only=True)
class Kienzle(Sourced):
    """Specific cutting pressure as kc1.1 · h^−mc over the mean chip thickness h in mm (Kienzle 1952)."""

    kc11_n_mm2: float
    mc: float

    def at_n_mm2(self, mean_chip_mm: float) -> float:
        """Give the pressure at a mean chip thickness."""
        return self.kc11_n_mm2 * math.pow(mean_chip_mm, -self.mc)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipLoads(Sourced):
    """Usual feed per tooth by tool diameter."""

    diameter_mm: tuple[float, ...]  # rising
    low_mm: tuple[float, ...]
    high_mm: tuple[float, ...]

    def at_mm(self, diameter_mm: float) -> tuple[float, float]:
        """Give the usual range: straight between tabled diameters, in proportion below, kept above."""
        first_mm, last_mm = self.diameter_mm[0], self.diameter_mm[-1]
        share = min(1.0, diameter_mm / first_mm)
        inside = min(max(diameter_mm, first_mm), last_mm)
        low = _interpolate(inside, self.diameter_mm, self.low_mm)
        return share * low, share * _interpolate(inside, self.diameter_mm, self.high_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """What is known of cutting one material; None where nothing is."""

    name: str
    names: tuple[str, ...]  # others that it answers to
    note: str
    pressure: Pressure | None
    kienzle: Kienzle | None
    tangential_n_mm2: Range | None  # tangential cutting coefficient
    radial_ratio: Range | None  # radial over tangential coefficient
    carbide_m_min: Range | None  # surface speed
    hss_m_min: Range | None
    chip_loads: ChipLoads | None

    def pressures_n_mm2(self, *, tooth_feed_mm: float, mean_chip_mm: float) -> tuple[float, float] | None:
        """Give the specific cutting pressure to reckon with, and the highest that a source gives.

        Parameters
        ----------
        tooth_feed_mm, mean_chip_mm
            Feed per tooth, and mean thickness of its chip, mm.

        Returns
        -------
        tuple or None
            Two pressures in N/mm², the second not below the first; None where no sure figure is known.
        """
        if self.pressure is None or not self.pressure.is_sure:
            return None
        thickness_mm = tooth_feed_mm if self.pressure.against == "tooth feed" else mean_chip_mm
        usual = self.pressure.at_n_mm2(thickness_mm)
        if self.kienzle is None:
            return usual, usual
        return usual, max(usual, self.kienzle.at_n_mm2(mean_chip_mm))


def list_materials() -> tuple[Material, ...]:
    """Give every material, metals first."""
    return _materials()[0]


def find_material(name: str) -> Material:
    """Find a material by any of its names; case, word order, hyphens and tempers don't matter.

    >>> find_material("6061-T6").name
    'wrought aluminium'

    Parameters
    ----------
    name
        As a user types it: "Aluminum", "7075", "mild steel", "plywood".

    Raises
    ------
    BadValueError
        No material of that name is known; the message lists the names, and one that is really near.
    """
    known = _materials()[1]
    key = _key(name) if isinstance(name, str) else ""
    if key in known:
        return known[key][1]
    names = {one: written for one, (written, _) in known.items()}
    listed = (one.name for one in list_materials())
    raise BadValueError.of_unknown_name("material", name, key=key, known=names, listed=listed)


def read_materials(text: str) -> tuple[Material, ...]:
    """Read a table of materials.

    Parameters
    ----------
    text
        TOML as in materials.toml: a table of sources and an array of materials.

    Raises
    ------
    BadValueError
        The text is no TOML, or a material lacks something, holds numbers out of order, or shares a name.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadValueError("table of materials", str(error), "valid TOML") from error
    sources = data.get("sources", {})
    materials = tuple(_Entry(entry, sources).read() for entry in data.get("material", []))
    taken: dict[str, str] = {}
    for material in materials:
        for key in {_key(name) for name in (material.name, *material.names)}:
            if key in taken:
                raise BadValueError(f"name in {material.name}", key, f"one that {taken[key]} doesn't have")
            taken[key] = material.name
    return materials


@cache
def _materials() -> tuple[tuple[Material, ...], dict[str, tuple[str, Material]]]:
    """Read the packed table once: in order, and by the form in which names are compared."""
    text = files("chatter.milling").joinpath("materials.toml").read_text(encoding="utf-8")
    materials = read_materials(text)
    return materials, {
        _key(name): (name, entry) for entry in materials for name in (entry.name, *entry.names)
    }


def _key(name: str) -> str:
    """Bring a name to the form in which names are compared."""
    words = re.sub(r"[\s_/,;:()-]+", " ", name.casefold()).replace("aluminum", "aluminium").split()
    return " ".join(sorted(word for word in words if not re.fullmatch(r"t\d+", word)))  # T6, T651: tempers


def _interpolate(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """Give y on the straight line between the points around x, which lies inside them."""
    for (x0, y0), (x1, y1) in itertools.pairwise(zip(xs, ys, strict=True)):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return ys[-1]


class _Entry:
    """One material of the table, as read; every complaint names it and the field."""

    def __init__(self, entry: dict[str, Any], sources: dict[str, str]) -> None:
        self._entry, self._sources = entry, sources
        self._name = entry.get("name", "a material without a name")

    def read(self) -> Material:
        if not isinstance(self._entry.get("name"), str):
            raise BadValueError("name in the table of materials", self._entry.get("name"), "a text")
        return Material(
            name=self._name,
            names=tuple(self._entry.get("names", ())),
            note=self._entry.get("note", ""),
            pressure=self._pressure(),
            kienzle=self._kienzle(),
            tangential_n_mm2=self._range("tangential", "n_mm2"),
            radial_ratio=self._range("radial", "ratio"),
            carbide_m_min=self._range("carbide", "sfm", M_MIN_PER_SFM),
            hss_m_min=self._range("hss", "sfm", M_MIN_PER_SFM),
            chip_loads=self._chip_loads(),
        )

    def _pressure(self) -> Pressure | None:
        part = self._entry.get("pressure")
        if part is None:
            return None
        if part.get("against") not in get_args(Thickness):
            self._complain("pressure against", part.get("against"), " or ".join(get_args(Thickness)))
        thickness_mm = self._numbers("pressure", "thickness_mm")
        self._check_rising("pressure", thickness_mm)
        return Pressure(
            against=cast(Thickness, part["against"]),
            thickness_mm=thickness_mm,
            n_mm2=self._numbers("pressure", "n_mm2", len(thickness_mm)),
            thin_exponent=self._entry.get("kienzle", {}).get("mc", 0.0),
            **self._origin("pressure"),
        )

    def _kienzle(self) -> Kienzle | None:
        if "kienzle" not in self._entry:
            return None
        part = {**self._entry["kienzle"]}
        for key in ("kc11_n_mm2", "mc"):
            if not _is_number(part.get(key)):
                self._complain(f"kienzle {key}", part.get(key), "a number above 0")
        return Kienzle(kc11_n_mm2=part["kc11_n_mm2"], mc=part["mc"], **self._origin("kienzle"))

    def _chip_loads(self) -> ChipLoads | None:
        if "chip_load" not in self._entry:
            return None
        inches = self._numbers("chip_load", "diameter_in")
        self._check_rising("chip_load", inches)
        low = self._numbers("chip_load", "low_in", len(inches))
        high = self._numbers("chip_load", "high_in", len(inches))
        if any(one > other for one, other in zip(low, high, strict=True)):
            self._complain("chip_load", low, "low ends that are not above the high ends")
        return ChipLoads(
            diameter_mm=tuple(value * MM_PER_INCH for value in inches),
            low_mm=tuple(value * MM_PER_INCH for value in low),
            high_mm=tuple(value * MM_PER_INCH for value in high),
            **self._origin("chip_load"),
        )

    def _range(self, part: str, key: str, factor: float = 1.0) -> Range | None:
        if part not in self._entry:
            return None
        low, high = self._numbers(part, key, 2)
        if low > high:
            self._complain(part, [low, high], "the lower number first")
        return Range(low=low * factor, high=high * factor, **self._origin(part))

    def _numbers(self, part: str, key: str, count: int | None = None) -> tuple[float, ...]:
        values = self._entry[part].get(key)
        right = isinstance(values, list) and values and all(_is_number(value) for value in values)
        if not right or (count is not None and len(values) != count):
            self._complain(f"{part} {key}", values, f"{count or 'one or more'} numbers above 0")
        return tuple(float(value) for value in values)

    def _check_rising(self, part: str, values: tuple[float, ...]) -> None:
        if any(one >= other for one, other in itertools.pairwise(values)):
            self._complain(part, values, "thicknesses or diameters in rising order")

    def _origin(self, part: str) -> dict[str, Any]:
        keys, strength = self._entry[part].get("source"), self._entry[part].get("strength")
        if not isinstance(keys, list) or not keys or any(key not in self._sources for key in keys):
            self._complain(f"{part} source", keys, "a list of keys from the table of sources")
        if strength not in get_args(Strength):
            self._complain(f"{part} strength", strength, " or ".join(get_args(Strength)))
        return {"sources": tuple(self._sources[key] for key in keys), "strength": strength}

    def _complain(self, field: str, value: object, needed: str) -> None:
        raise BadValueError(f"{self._name}: {field}", value, needed)


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0 < value < math.inf
