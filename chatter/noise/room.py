"""The room the machine stands in: what a phone hears of it, and what reaches its walls.

In: the room's volume in m³, distances in m. Out: level differences in dB.
Source: diffuse-field theory of any handbook: Lp = Lw + 10 lg(1/(4πr²) + 4/A).
Leaves out: long or flat rooms, sound that one wall reflects by itself, and standing waves below some 100 Hz.
"""

import math

from chatter.errors import BadValueError

USUAL_ROOM_M3 = 45.0  # own choice: a single garage, 6 x 3 x 2.5 m
UNKNOWN_ROOM_M3 = (20.0, 200.0)  # own choice: from a shed to a workshop
SURFACE_SHAPE = 6.6  # surface of a 6 x 3 x 2.5 m room, 81 m², over its volume to the power of 2/3
USUAL_ABSORPTION = 0.10  # own choice: mean share that bare walls with shelves and tools swallow
ABSORPTION_RANGE = (0.05, 0.25)  # own choice: bare concrete; lined, furnished or with the door open
REVERBERATION_DB = 2.0  # own choice: a small room is no diffuse field
PLACE_M = 0.1  # own choice: how far the sound's origin may lie from where the distance was measured
LEAST_M3, MOST_M3 = 2.0, 100_000.0


def absorption_area_m2(room_m3: float, *, absorption: float = USUAL_ABSORPTION) -> float:
    """Give the equivalent absorption area of a room, m².

    Parameters
    ----------
    room_m3
        Volume, 2 to 100,000 m³.
    absorption
        Mean share of sound that its surfaces swallow, above 0 and not above 1.

    Raises
    ------
    BadValueError
        The volume is outside its range.
    """
    if not math.isfinite(room_m3) or not LEAST_M3 <= room_m3 <= MOST_M3:
        needed = f"a volume from {LEAST_M3:g} to {MOST_M3:,.0f} m³"
        raise BadValueError("volume of the room", room_m3, needed)
    return absorption * SURFACE_SHAPE * math.pow(room_m3, 2 / 3)


def reverberant_less_heard_db(mic_distance_m: float, *, absorption_m2: float) -> float:
    """Give the level of the reverberant sound, as at the walls, less the level at the microphone, dB.

    The microphone hears the direct sound as well: 1/(4πr²) + 4/A against 4/A.
    """
    return -10 * math.log10(1 + absorption_m2 / (16 * math.pi * mic_distance_m**2))


def nearer_db(from_m: float, *, to_m: float, absorption_m2: float | None) -> float:
    """Give how much louder it is at one distance than at another, dB.

    Parameters
    ----------
    from_m, to_m
        Distances from the machine, m.
    absorption_m2
        The room's absorption area, m²; None in the open.
    """
    room = 0.0 if absorption_m2 is None else 4 / absorption_m2
    return 10 * math.log10((1 / (4 * math.pi * to_m**2) + room) / (1 / (4 * math.pi * from_m**2) + room))


def origin_range_m(distance_m: float) -> tuple[float, float]:
    """Give how near and how far the sound's origin may lie, m; never below a quarter of it (own choice).

    >>> origin_range_m(1.0)
    (0.9, 1.1)
    """
    return max(distance_m - PLACE_M, distance_m / 4), distance_m + PLACE_M
