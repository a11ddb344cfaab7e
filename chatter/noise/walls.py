"""What lets sound out of a room: walls, doors and windows, with how much each holds back.

In: a name and an area as a user types them. Out: an `Opening` with its reduction index by frequency.
Source: walls.toml beside this file, each figure with its source; docs/neighbour.md shows it as a table.
Leaves out: joints between elements, sound by way of the structure, and ducts.
"""

import math
import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chatter.errors import BadValueError

MASS_LAW_DB = 6.0  # an octave lower, half as heavy to the sound: the mass law of any handbook
MOST_M2 = 10_000.0  # above any workshop's wall; common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class Construction:
    """One kind of wall, door or window."""

    name: str
    names: tuple[str, ...]  # others that it answers to
    octaves_hz: tuple[int, ...]  # rising; only those that the source prints
    printed_db: tuple[float, ...]  # reduction index there, without leaks
    leak: float  # open gaps as a share of the area
    shut_as: str | None  # name of what it is once shut; None where it can't be shut
    down_db: float  # what gets through may lie this much below
    up_db: float  # or this much above
    note: str
    sources: tuple[str, ...]
    strength: str

    def reduction_db(self, frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the sound reduction index with leaks, by frequency.

        Straight over log frequency between octaves; below the lowest printed octave it falls by the mass law
        (never under 0), above the highest it stays: both are our own choice, on the cautious side.

        Parameters
        ----------
        frequencies_hz
            Shape (n,), Hz, above 0.

        Returns
        -------
        NDArray
            Shape (n,), dB.
        """
        octaves = np.log2(np.asarray(self.octaves_hz, dtype=np.float64))
        wanted = np.log2(frequencies_hz)
        leaf_db = np.interp(wanted, octaves, np.asarray(self.printed_db, dtype=np.float64))
        leaf_db = np.maximum(leaf_db - MASS_LAW_DB * np.maximum(octaves[0] - wanted, 0.0), 0.0)
        leaf_db = np.minimum(leaf_db, np.interp(wanted, octaves, np.asarray(self.printed_db, dtype=float)))
        through = np.minimum(10 ** (-leaf_db / 10) + self.leak, 1.0)
        return np.asarray(10 * np.log10(1 / through), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A wall, door or window of a given area, towards the neighbour."""

    construction: Construction
    area_m2: float

    @property
    def name(self) -> str:
        """The construction's name."""
        return self.construction.name


def list_constructions() -> tuple[Construction, ...]:
    """Give every construction of the table."""
    return _constructions()[0]


def find_construction(name: str) -> Construction:
    """Find a construction by any of its names; case, hyphens and word order don't matter.

    >>> find_construction("Garage-door").name
    'steel garage door'

    Raises
    ------
    BadValueError
        No construction of that name is known; the message lists the names, and one that is really near.
    """
    known = _constructions()[1]
    key = _key(name) if isinstance(name, str) else ""
    if key in known:
        return known[key][1]
    names = {one: written for one, (written, _) in known.items()}
    listed = (one.name for one in list_constructions())
    raise BadValueError.of_unknown_name("wall, door or window", name, key=key, known=names, listed=listed)


def find_opening(text: str) -> Opening:
    """Read a wall, door or window with its area, as in "garage door:5".

    >>> find_opening("open window : 0.8").area_m2
    0.8

    Parameters
    ----------
    text
        A name of the table, a colon, and the area in m²; a comma may stand for the decimal point.

    Raises
    ------
    BadValueError
        The name is not known, or the area is missing, no number, or out of range.
    """
    needed = "a name, a colon and an area in m², such as garage door:5"
    if not isinstance(text, str) or ":" not in text:
        raise BadValueError("opening", text, needed)
    name, _, area = text.rpartition(":")
    number = re.fullmatch(r"\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*(?:m2|m²)?\s*", area)
    if number is None:
        raise BadValueError("opening", text, needed)
    area_m2 = float(number[1].replace(",", "."))
    return make_opening(name, area_m2=area_m2)


def make_opening(name: str, *, area_m2: float) -> Opening:
    """Give a construction of the table with an area.

    Raises
    ------
    BadValueError
        The name is not known, or the area is not above 0 and at most 10,000 m².
    """
    construction = find_construction(name)
    if not math.isfinite(area_m2) or not 0 < area_m2 <= MOST_M2:
        needed = f"an area above 0 and not above {MOST_M2:,.0f} m²"
        raise BadValueError(f"area of {construction.name}", area_m2, needed)
    return Opening(construction=construction, area_m2=float(area_m2))


def shut(opening: Opening) -> Opening | None:
    """Give what an opening is once it is shut; None where it is shut already.

    >>> shut(find_opening("open window:1")).name
    'double glazing'
    """
    shut_as = opening.construction.shut_as
    return None if shut_as is None else make_opening(shut_as, area_m2=opening.area_m2)


def read_constructions(text: str) -> tuple[Construction, ...]:
    """Read a table of constructions.

    Parameters
    ----------
    text
        TOML as in walls.toml.

    Raises
    ------
    BadValueError
        The text is no TOML, or a construction lacks something, or shares a name.
    """
    try:
        data = tomllib.loads(text)
        sources = data["sources"]
        return tuple(_read(entry, data["octaves_hz"], sources) for entry in data["construction"])
    except tomllib.TOMLDecodeError as error:
        raise BadValueError("table of walls", str(error), "valid TOML") from error
    except (KeyError, TypeError, ValueError) as error:
        raise BadValueError("table of walls", str(error), "every field that walls.toml explains") from error


def _read(entry: dict[str, Any], octaves_hz: list[int], sources: dict[str, str]) -> Construction:
    pairs = [
        (hz, float(db)) for hz, db in zip(octaves_hz, entry["reduction_db"], strict=True) if db != "none"
    ]
    return Construction(
        name=entry["name"],
        names=tuple(entry["names"]),
        octaves_hz=tuple(hz for hz, _ in pairs),
        printed_db=tuple(db for _, db in pairs),
        leak=float(entry.get("leak", 0.0)),
        shut_as=entry.get("shut_as"),
        down_db=float(entry["down_db"]),
        up_db=float(entry["up_db"]),
        note=entry.get("note", ""),
        sources=tuple(sources[key] for key in entry["source"]),
        strength=entry["strength"],
    )


@cache
def _constructions() -> tuple[tuple[Construction, ...], dict[str, tuple[str, Construction]]]:
    """Read the packed table once: in order, and by the form in which names are compared."""
    text = files("chatter.noise").joinpath("walls.toml").read_text(encoding="utf-8")
    constructions = read_constructions(text)
    known: dict[str, tuple[str, Construction]] = {}
    for entry in constructions:
        for name in (entry.name, *entry.names):
            key = _key(name)
            if key in known:
                raise BadValueError(f"name in {entry.name}", name, f"one that {known[key][0]} doesn't have")
            known[key] = (name, entry)
    return constructions, known


def _key(name: str) -> str:
    """Bring a name to the form in which names are compared."""
    return " ".join(sorted(re.sub(r"[\s_/,;()&-]+", " ", name.casefold()).split()))
