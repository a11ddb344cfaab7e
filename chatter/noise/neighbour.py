"""What reaches the neighbour: distance, air, a screen, a room with its walls, the neighbour's own wall.

In: band levels at the microphone in dB, distances in m. Out: a `Neighbour` with a range and its parts.
Source: ISO 9613-1 and 9613-2 (air, ground, screen), EN 12354-4 (sound out of a room), ISO 1996-2 (facade).
Leaves out: other sound in the street, houses that reflect, wind, sound by way of the ground.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from chatter.errors import BadValueError
from chatter.model.noise_effects import Neighbour, NeighbourPart, OpeningShare
from chatter.noise.air import USUAL_C, USUAL_PERCENT, air_absorption_db_m
from chatter.noise.room import (
    ABSORPTION_RANGE,
    REVERBERATION_DB,
    UNKNOWN_ROOM_M3,
    USUAL_ABSORPTION,
    USUAL_ROOM_M3,
    absorption_area_m2,
    origin_range_m,
    reverberant_less_heard_db,
)
from chatter.noise.screen import Screen, check_heights, ground_db, screen_db
from chatter.noise.walls import Opening
from chatter.noise.weighting import a_weighting_db

Facade = Literal["none", "in front", "on it"]
# ISO 1996-2:2007, 8.3 (from memory): incident sound 0 dB, 3 dB 0.5 to 2 m in front of a wall, 6 dB on it.
FACADE_DB: dict[Facade, float] = {"none": 0.0, "in front": 3.0, "on it": 6.0}
FACADE_WORDS: dict[Facade, str] = {
    "none": "in the open, without what the neighbour's own wall throws back (3 dB more right before it)",
    "in front": "0.5 to 2 m in front of the neighbour's wall, with what it throws back",
    "on it": "on the neighbour's wall itself",
}
OUT_OF_A_ROOM_DB = -6.0  # EN 12354-4:2000, annex B: diffusivity term of an ideal diffuse field
METHOD_DB = 3.0  # ISO 9613-2:1996, Table 5: accuracy below 5 m height and 1000 m, light wind towards
SCREENED_DB = 3.0  # own choice: a screen that takes less leaves the ground's part as open as without one
SCREEN_GAPS_DB = 3.0  # own choice: what gaps, short fences and ways around the end give back
MOST_M = 2000.0  # own choice: beyond 1000 m ISO 9613-2 gives no accuracy; twice that is no neighbour
LEAST_M = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bands:
    """Band levels at the microphone that are known."""

    exact_hz: NDArray[np.float64]
    levels_db: NDArray[np.float64]  # A-weighted

    def total_db(self, change_db: NDArray[np.float64] | float = 0.0) -> float:
        """Give the A-weighted level after a change in each band."""
        return float(10 * np.log10(np.sum(10 ** ((self.levels_db + change_db) / 10))))


def level_at_neighbour(
    octave_levels_db: Mapping[float, float | None],
    *,
    mic_distance_m: float,
    neighbour_distance_m: float,
    tonal_adjustment_db: float = 0.0,
    uncertainty_db: float = 0.0,
    laeq_db: float | None = None,
    screen: Screen | None = None,
    indoors: bool = False,
    openings: Sequence[Opening] = (),
    room_m3: float | None = None,
    facade: Facade = "none",
    temperature_c: float = USUAL_C,
    humidity_percent: float = USUAL_PERCENT,
) -> Neighbour:
    """Give the level at the neighbour while the machine cuts, as a range with its parts.

    Source: as in the module's docstring; docs/neighbour.md has every formula.

    Parameters
    ----------
    octave_levels_db
        Leq by midband in Hz, unweighted, dB re 20 µPa: octave or (better, for tones) one-third octave bands.
        None where the recording can't carry a band.
    mic_distance_m
        Machine to microphone, m.
    neighbour_distance_m
        Machine to neighbour, m; indoors from the walls or openings that face the neighbour.
    tonal_adjustment_db
        0 to 6 dB, added for the rating.
    uncertainty_db
        Of the calibration, dB.
    laeq_db
        The level at the microphone where it is measured more closely than by adding up bands, dB.
    screen
        A fence or wall between.
    indoors
        True: machine and microphone stand in a room, which `openings` lead out of.
    openings
        Walls, doors and windows towards the neighbour; indoors only, at least one.
    room_m3
        Volume of the room, m³; None: a single garage, with a wider range.
    facade
        Where at the neighbour: in the open ("none"), 0.5 to 2 m before the wall, or on it.
    temperature_c, humidity_percent
        Of the air, °C and %.

    Returns
    -------
    Neighbour
        Its low and high ends add the parts' ranges in squares; the level should seldom lie outside.

    Raises
    ------
    BadValueError
        A value is missing, not finite or out of range, or the values contradict each other.
    """
    bands = _read_bands(octave_levels_db)
    _check_numbers(mic_distance_m, neighbour_distance_m, tonal_adjustment_db, uncertainty_db)
    _check_scene(neighbour_distance_m, screen, indoors, openings, room_m3, facade)
    heard_db = bands.total_db() if laeq_db is None else float(laeq_db)
    if not math.isfinite(heard_db):
        raise BadValueError("level at the microphone", heard_db, "a finite level in dB")

    parts = [
        NeighbourPart(name="calibration", db=0.0, down_db=uncertainty_db, up_db=uncertainty_db),
    ]
    assumes: list[str] = []
    shares: tuple[OpeningShare, ...] = ()
    change_db = np.zeros_like(bands.levels_db)
    if indoors:
        room_part, said = _room_part(mic_distance_m, room_m3)
        change_db += room_part.db
        parts.append(room_part)
        assumes.append(said)
        wall_part, through_db, shares = _wall_part(bands, change_db, openings)
        change_db += through_db
        parts.append(wall_part)
        area_m2 = sum(opening.area_m2 for opening in openings)
        spread_m2 = max(
            2 * math.pi * neighbour_distance_m**2, area_m2
        )  # half a sphere, and not above the wall
        distance_db = -10 * math.log10(spread_m2)
        parts.append(NeighbourPart(name="distance", db=distance_db))
        air_m = neighbour_distance_m
        assumes.append("The walls and openings face the neighbour; those that face away give him less.")
    else:
        parts.append(_distance_part(mic_distance_m, neighbour_distance_m))
        distance_db = parts[-1].db
        air_m = neighbour_distance_m - mic_distance_m
        assumes.append("The machine sends as much sound towards the neighbour as towards the phone.")
    change_db += distance_db

    air_db = air_m * air_absorption_db_m(
        bands.exact_hz, temperature_c=temperature_c, humidity_percent=humidity_percent
    )
    parts.append(NeighbourPart(name="air", db=_gain_db(bands, change_db, -air_db)))
    change_db = change_db - air_db
    ground = _ground_part(bands, change_db, neighbour_distance_m)
    screened_db = 0.0
    if screen is not None:
        taken_db = screen_db(screen, neighbour_distance_m=neighbour_distance_m, frequencies_hz=bands.exact_hz)
        screened_db = max(0.0, -_gain_db(bands, change_db, -taken_db))
        gaps_db = min(SCREEN_GAPS_DB, screened_db)
        parts.append(NeighbourPart(name="screen", db=0.0 - screened_db, up_db=gaps_db))
        change_db = change_db - taken_db
        assumes.append(_say_screen(screen, neighbour_distance_m, indoors=indoors))
    if screened_db < SCREENED_DB:
        parts.append(ground)
        assumes.append(
            "Between hard ground, which adds up to 3 dB, and grass, which takes some: both lie in the range."
        )
    parts.append(NeighbourPart(name="weather and method", db=0.0, down_db=METHOD_DB, up_db=METHOD_DB))
    if facade != "none":
        parts.append(NeighbourPart(name="the neighbour's own wall", db=FACADE_DB[facade]))
    assumes.append(f"The level counts {FACADE_WORDS[facade]}.")
    assumes.append(f"Air of {temperature_c:g} °C and {humidity_percent:g} % humidity.")

    there_db = heard_db + sum(part.db for part in parts)
    return Neighbour(
        distance_m=float(neighbour_distance_m),
        LAeq_db=there_db,
        rating_db=there_db + tonal_adjustment_db,
        low_db=there_db - math.hypot(*(part.down_db for part in parts)),
        high_db=there_db + math.hypot(*(part.up_db for part in parts)),
        parts=tuple(parts),
        shares=shares,
        assumes=tuple(assumes),
    )


def _gain_db(bands: _Bands, before_db: NDArray[np.float64], step_db: NDArray[np.float64]) -> float:
    """Give what a step does to the A-weighted level, after the steps before it."""
    return bands.total_db(before_db + step_db) - bands.total_db(before_db)


def _distance_part(mic_m: float, neighbour_m: float) -> NeighbourPart:
    """Give what spherical spreading takes, and what it hangs on where the sound really starts."""
    nearest_m, farthest_m = origin_range_m(mic_m)
    return NeighbourPart(
        name="distance",
        db=-20 * math.log10(neighbour_m / mic_m),
        down_db=20 * math.log10(mic_m / nearest_m),
        up_db=20 * math.log10(farthest_m / mic_m),
    )


def _ground_part(bands: _Bands, before_db: NDArray[np.float64], distance_m: float) -> NeighbourPart:
    """Give the range that hard ground and grass span; none of it goes into the level itself."""
    hard_db, grass_db = (
        _gain_db(bands, before_db, -ground_db(distance_m, ground=ground, frequencies_hz=bands.exact_hz))
        for ground in (0.0, 1.0)
    )
    return NeighbourPart(name="ground", db=0.0, down_db=max(0.0, -grass_db), up_db=max(0.0, hard_db))


def _room_part(mic_m: float, room_m3: float | None) -> tuple[NeighbourPart, str]:
    """Give the level at the walls less the level at the microphone, over what the room may be like."""
    usual_m3 = USUAL_ROOM_M3 if room_m3 is None else room_m3
    smallest_m3, largest_m3 = UNKNOWN_ROOM_M3 if room_m3 is None else (room_m3, room_m3)
    bare, lined = ABSORPTION_RANGE
    most_db, usual_db, least_db = (
        reverberant_less_heard_db(mic_m, absorption_m2=absorption_area_m2(volume_m3, absorption=share))
        for volume_m3, share in ((smallest_m3, bare), (usual_m3, USUAL_ABSORPTION), (largest_m3, lined))
    )
    volume = f"{usual_m3:g} m³" + (" (a single garage, since no volume was given)" if room_m3 is None else "")
    part = NeighbourPart(
        name="room",
        db=usual_db,
        down_db=math.hypot(usual_db - least_db, REVERBERATION_DB),
        up_db=math.hypot(most_db - usual_db, REVERBERATION_DB),
    )
    return part, (
        f"A room of {volume} whose surfaces swallow {100 * USUAL_ABSORPTION:.0f} % of the sound "
        f"({100 * bare:.0f} % and {100 * lined:.0f} % lie in the range)."
    )


def _wall_part(
    bands: _Bands, before_db: NDArray[np.float64], openings: Sequence[Opening]
) -> tuple[NeighbourPart, NDArray[np.float64], tuple[OpeningShare, ...]]:
    """Give what leaves the room: Lw = Lp - 6 - R + 10 lg(S / 1 m²), summed over the elements (EN 12354-4)."""
    each_db = [
        OUT_OF_A_ROOM_DB
        - opening.construction.reduction_db(bands.exact_hz)
        + 10 * math.log10(opening.area_m2)
        for opening in openings
    ]
    energies = np.array([10 ** (bands.total_db(before_db + one) / 10) for one in each_db])
    down = 10 ** (-np.array([opening.construction.down_db for opening in openings]) / 10)
    up = 10 ** (np.array([opening.construction.up_db for opening in openings]) / 10)
    through_db = 10 * np.log10(np.sum([10 ** (one / 10) for one in each_db], axis=0))
    part = NeighbourPart(
        name="walls, doors and windows",
        db=_gain_db(bands, before_db, through_db),
        down_db=float(-10 * np.log10(np.sum(energies * down) / np.sum(energies))),
        up_db=float(10 * np.log10(np.sum(energies * up) / np.sum(energies))),
    )
    shares = tuple(
        OpeningShare(
            name=openings[i].name,
            area_m2=openings[i].area_m2,
            percent=float(100 * energies[i] / np.sum(energies)),
        )
        for i in np.argsort(-energies, kind="stable")
    )
    return part, through_db, shares


def _say_screen(screen: Screen, neighbour_m: float, *, indoors: bool) -> str:
    at_m = neighbour_m / 2 if screen.distance_m is None else screen.distance_m
    source = "openings" if indoors else "machine"
    where = f"{at_m:g} m from the {source}" + (" (half way)" if screen.distance_m is None else "")
    return (
        f"A solid screen {screen.height_m:g} m high and {where}, without gaps and too long to get around; "
        f"the {source} {screen.source_height_m:g} m and the neighbour's ear "
        f"{screen.neighbour_height_m:g} m over the ground. An upstairs window is about 4 m high."
    )


def _read_bands(levels_db: Mapping[float, float | None]) -> _Bands:
    """Keep the bands that are known, at their exact midbands, A-weighted."""
    known = {hz: level for hz, level in levels_db.items() if level is not None}
    for hz, level in known.items():
        if not (math.isfinite(hz) and 10 <= hz <= 40_000):
            raise BadValueError("midband", hz, "a frequency from 10 to 40,000 Hz")
        if not math.isfinite(level):
            raise BadValueError(f"level of the band at {hz:g} Hz", level, "a finite level in dB")
    if not known:
        raise BadValueError("band levels", None, "at least one band with a level")
    # Base-ten midbands (IEC 61260-1:2014, 5.4): nominal and exact names lead to the same one.
    exact_hz = np.array([10 ** (round(10 * math.log10(hz)) / 10) for hz in sorted(known)])
    levels = np.array([float(known[hz]) for hz in sorted(known)])
    return _Bands(exact_hz=exact_hz, levels_db=levels + a_weighting_db(exact_hz))


def _check_numbers(mic_m: float, neighbour_m: float, tonal_db: float, uncertainty_db: float) -> None:
    for name, distance_m in (
        ("distance of the microphone", mic_m),
        ("distance of the neighbour", neighbour_m),
    ):
        if not math.isfinite(distance_m) or not LEAST_M <= distance_m <= MOST_M:
            raise BadValueError(name, distance_m, f"a distance from {LEAST_M:g} to {MOST_M:,.0f} m")
    if not 0 <= tonal_db <= 6:
        raise BadValueError("tonal adjustment", tonal_db, "one from 0 to 6 dB")
    if not 0 <= uncertainty_db < 60:
        raise BadValueError("uncertainty", uncertainty_db, "one from 0 to below 60 dB")


def _check_scene(
    neighbour_m: float,
    screen: Screen | None,
    indoors: bool,
    openings: Sequence[Opening],
    room_m3: float | None,
    facade: str,
) -> None:
    if screen is not None:
        check_heights(screen, neighbour_distance_m=neighbour_m)
    if indoors and not openings:
        needed = (
            "the walls, doors and windows that face the neighbour, each with its area, such as garage door:5"
        )
        raise BadValueError("openings of the room", "none", needed)
    if not indoors and openings:
        named = ", ".join(opening.name for opening in openings)
        raise BadValueError(
            "openings of the room", named, "them only where the machine stands indoors, and say so"
        )
    if not indoors and room_m3 is not None:
        raise BadValueError(
            "volume of the room", room_m3, "it only where the machine stands indoors, and say so"
        )
    if facade not in FACADE_DB:
        raise BadValueError("place at the neighbour's wall", facade, " or ".join(FACADE_DB))
