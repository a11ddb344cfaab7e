"""What one change would do for the neighbour: every case worked out anew with that one thing changed.

In: what `level_at_neighbour` takes, and other recorded speeds. Out: `Measure`s, the strongest first.
Source: neighbour.py; which changes are tried is our own choice.
Leaves out: what a change costs, and two changes at once.
"""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypedDict, Unpack

import numpy as np

from chatter.noise.neighbour import MOST_M, Facade, level_at_neighbour
from chatter.noise.room import USUAL_ROOM_M3, absorption_area_m2
from chatter.noise.screen import MOST_HEIGHT_M, SOURCE_M, Screen
from chatter.noise.walls import Opening, make_opening, shut

NEW_SCREEN_M = 2.0  # own choice: as high as fences are allowed to be in many places
NEW_SCREEN_DISTANCE_M = 2.0  # own choice: near the machine, where a screen takes most
HIGHER_M = 0.5  # own choice
OPENING_HEIGHT_M = 1.5  # own choice: middle of a window or upper half of a door
# Own choice: what a board from any timber merchant does; counted as if it hung there alone.
COVER, COVER_WORDS = "chipboard", "chipboard of 19 mm, sealed all around"
MIDDLE_HZ = np.array([1000.0])  # own choice: stands for the whole of a cut's sound
NO_TONES = "If every audible tone went (no chatter, another speed or flute count)"
NO_CHATTER = "If the chatter's tones went and all else stayed"
LEAST_GAIN_DB = 0.5  # own choice: nobody hears less


class Surroundings(TypedDict, total=False):
    """The keywords of `level_at_neighbour`."""

    mic_distance_m: float
    neighbour_distance_m: float
    tonal_adjustment_db: float
    uncertainty_db: float
    laeq_db: float | None
    screen: Screen | None
    indoors: bool
    openings: Sequence[Opening]
    room_m3: float | None
    facade: Facade
    temperature_c: float
    humidity_percent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherSpeed:
    """The same cut recorded at another speed, with the microphone where it was."""

    rpm: float
    octave_levels_db: Mapping[float, float | None]  # as for `level_at_neighbour`
    tonal_adjustment_db: float
    laeq_db: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One change, and the rating that the neighbour would then get."""

    words: str  # an order, without a full stop
    rating_db: float
    gain_db: float  # how much lower than now


def try_measures(
    octave_levels_db: Mapping[float, float | None],
    *,
    other_speeds: Sequence[OtherSpeed] = (),
    calm_adjustment_db: float | None = None,
    **surroundings: Unpack[Surroundings],
) -> tuple[Measure, ...]:
    """Work out what each single change would do for the neighbour.

    Parameters
    ----------
    octave_levels_db
        As for `level_at_neighbour`.
    other_speeds
        Recordings of the same cut at other speeds.
    calm_adjustment_db
        The tonal adjustment that is left once the chatter's tones are gone; None where there are none, or it
        can't be told.
    **surroundings
        The keywords that `level_at_neighbour` was given; they stay as they are but for one.

    Returns
    -------
    tuple of Measure
        Those that make it at least 0.5 dB quieter, the strongest first.

    Raises
    ------
    BadValueError
        As `level_at_neighbour`.
    """
    now_db = level_at_neighbour(octave_levels_db, **surroundings).rating_db
    tried = [
        (
            words,
            level_at_neighbour(octave_levels_db, **changed).rating_db
            + _louder_room_db(surroundings, changed),
        )
        for words, changed in _changes(surroundings)
    ]
    if calm_adjustment_db is not None:
        changed = surroundings.copy()
        changed["tonal_adjustment_db"] = calm_adjustment_db
        rating_db = level_at_neighbour(octave_levels_db, **changed).rating_db
        if calm_adjustment_db == 0:  # the same, said more closely
            tried = [one for one in tried if one[0] != NO_TONES]
        tried.append((NO_CHATTER, rating_db))
    for speed in other_speeds:
        changed = surroundings.copy()
        changed["tonal_adjustment_db"] = speed.tonal_adjustment_db
        changed["laeq_db"] = speed.laeq_db
        rating_db = level_at_neighbour(speed.octave_levels_db, **changed).rating_db
        tried.append((f"Cut at {speed.rpm:,.0f} rpm, as in the other recording", rating_db))
    measures = [
        Measure(words=words, rating_db=rating_db, gain_db=now_db - rating_db) for words, rating_db in tried
    ]
    return tuple(
        sorted(
            (measure for measure in measures if measure.gain_db >= LEAST_GAIN_DB),
            key=lambda measure: measure.rating_db,
        )
    )


def _changes(now: Surroundings) -> list[tuple[str, Surroundings]]:
    """Give each single change with the surroundings that it makes."""
    changes: list[tuple[str, Surroundings]] = []
    openings = now.get("openings", ())
    closable = [i for i, opening in enumerate(openings) if shut(opening) is not None]
    groups = _by_name(openings, closable)
    for chosen in [*groups.values(), *([closable] if len(groups) > 1 else [])]:
        changed = now.copy()
        changed["openings"] = [shut(one) or one if i in chosen else one for i, one in enumerate(openings)]
        changes.append((f"Shut {_name_all(_by_name(openings, chosen))}", changed))
    for chosen in _by_name(openings, [i for i in range(len(openings)) if i not in closable]).values():
        changed = now.copy()
        changed["openings"] = [
            make_opening(COVER, area_m2=one.area_m2) if i in chosen else one for i, one in enumerate(openings)
        ]
        changes.append((f"Cover {_name_all(_by_name(openings, chosen))} with {COVER_WORDS}", changed))
    if now.get("tonal_adjustment_db", 0.0) > 0:
        changed = now.copy()
        changed["tonal_adjustment_db"] = 0.0
        changes.append((NO_TONES, changed))
    distance_m = now["neighbour_distance_m"]
    # Indoors the distance counts from the openings, which don't move with the machine.
    if 2 * distance_m <= MOST_M and not now.get("indoors", False):
        changed = now.copy()
        changed["neighbour_distance_m"] = 2 * distance_m
        changes.append((f"Move the machine twice as far away ({2 * distance_m:g} m)", changed))
    screen = now.get("screen")
    changed = now.copy()
    if screen is not None and screen.height_m + HIGHER_M <= MOST_HEIGHT_M:
        changed["screen"] = dataclasses.replace(screen, height_m=screen.height_m + HIGHER_M)
        changes.append((f"Raise the screen to {screen.height_m + HIGHER_M:g} m", changed))
    elif screen is None and distance_m > 2 * NEW_SCREEN_DISTANCE_M:
        indoors = now.get("indoors", False)
        from_m = OPENING_HEIGHT_M if indoors else SOURCE_M
        changed["screen"] = Screen(
            height_m=NEW_SCREEN_M, distance_m=NEW_SCREEN_DISTANCE_M, source_height_m=from_m
        )
        from_what = "openings" if indoors else "machine"
        words = (
            f"Put up a solid screen {NEW_SCREEN_M:g} m high, {NEW_SCREEN_DISTANCE_M:g} m from the {from_what}"
        )
        changes.append((words, changed))
    return changes


def _louder_room_db(before: Surroundings, after: Surroundings) -> float:
    """Give how much louder the room gets, since what went out by an opening stays in it, dB.

    An element swallows what it lets through: its area times its transmission, here at 1 kHz.
    """
    if not before.get("indoors", False):
        return 0.0
    room_m3 = before.get("room_m3")
    room_m2 = absorption_area_m2(USUAL_ROOM_M3 if room_m3 is None else room_m3)
    before_m2, after_m2 = (
        room_m2
        + sum(
            one.area_m2 * float(10 ** (-one.construction.reduction_db(MIDDLE_HZ)[0] / 10))
            for one in now.get("openings", ())
        )
        for now in (before, after)
    )
    return 10 * math.log10(before_m2 / after_m2)


def _by_name(openings: Sequence[Opening], chosen: Sequence[int]) -> dict[str, list[int]]:
    """Gather openings that have one name, without the word that they are open."""
    groups: dict[str, list[int]] = {}
    for i in chosen:
        groups.setdefault(openings[i].name.removeprefix("open ").removeprefix("tilted "), []).append(i)
    return groups


def _name_all(groups: Mapping[str, Sequence[int]]) -> str:
    """Name openings in words: "the door, both windows and all 3 gates"."""
    named = []
    for name, held in groups.items():
        several = "both" if len(held) == 2 else f"all {len(held)}"
        plural = name if name.endswith("glazing") else f"{name}s"
        named.append(f"the {name}" if len(held) == 1 else f"{several} {plural}")
    return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
