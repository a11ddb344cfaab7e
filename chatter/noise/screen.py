"""A fence or a wall between machine and neighbour, and the ground in between.

In: heights and distances in m, frequencies in Hz. Out: what screen or ground takes, in dB.
Source: ISO 9613-2:1996, 7.3 (ground, general method) and 7.4 (screening, single diffraction).
Leaves out: the way around the screen's ends, thick screens, houses behind that reflect.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.errors import BadValueError

SOUND_M_S = 340.0  # ISO 9613-2:1996, 7.4: wavelength 340 m/s over the frequency
GROUND_REFLECTION_C2 = 20.0  # same, equation (14): 20 includes ground reflections
MOST_SINGLE_DB = 20.0  # same: cap in any octave for single diffraction
SOURCE_M = 1.0  # own choice: spindle above a bench or a machine's table
NEIGHBOUR_M = 1.5  # own choice: someone in the garden or at a ground-floor window; upstairs is 4 m
MOST_HEIGHT_M = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """A solid fence, wall or hedge bank without gaps; hedges alone screen nothing."""

    height_m: float
    distance_m: float | None = None  # from the machine; None: half way to the neighbour
    source_height_m: float = SOURCE_M
    neighbour_height_m: float = NEIGHBOUR_M


def check_heights(screen: Screen, *, neighbour_distance_m: float) -> None:
    """Refuse a screen that can't stand there.

    Raises
    ------
    BadValueError
        A height is not above 0, or the screen doesn't stand between machine and neighbour.
    """
    for name, height_m in (
        ("height of the screen", screen.height_m),
        ("height of the machine", screen.source_height_m),
        ("height of the neighbour", screen.neighbour_height_m),
    ):
        if not math.isfinite(height_m) or not 0 < height_m <= MOST_HEIGHT_M:
            raise BadValueError(name, height_m, f"a height above 0 and not above {MOST_HEIGHT_M:.0f} m")
    distance_m = screen.distance_m
    if distance_m is not None and not 0 < distance_m < neighbour_distance_m:
        needed = f"one above 0 and below the neighbour's distance ({neighbour_distance_m:g} m)"
        raise BadValueError("distance of the screen", distance_m, needed)


def path_difference_m(screen: Screen, *, neighbour_distance_m: float) -> tuple[float, float, float, float]:
    """Give the detour over the screen's edge; negative where the neighbour sees the machine over it.

    Source: ISO 9613-2:1996, equation (16) and figure 6.

    Returns
    -------
    tuple
        Detour z, source to edge, edge to neighbour, and straight distance, m.
    """
    at_m = neighbour_distance_m / 2 if screen.distance_m is None else screen.distance_m
    first_m = math.hypot(at_m, screen.height_m - screen.source_height_m)
    last_m = math.hypot(neighbour_distance_m - at_m, screen.height_m - screen.neighbour_height_m)
    straight_m = math.hypot(neighbour_distance_m, screen.source_height_m - screen.neighbour_height_m)
    sight_m = screen.source_height_m + (at_m / neighbour_distance_m) * (
        screen.neighbour_height_m - screen.source_height_m
    )
    detour_m = first_m + last_m - straight_m
    return (detour_m if screen.height_m >= sight_m else -detour_m), first_m, last_m, straight_m


def screen_db(
    screen: Screen, *, neighbour_distance_m: float, frequencies_hz: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give what a screen takes, with the ground's part in it, by frequency.

    Source: ISO 9613-2:1996, equations (12), (14) and (18): Dz = 10 lg(3 + (C2/λ) C3 z Kmet), C2 = 20, C3 = 1;
    Abar = Dz - Agr, so that ground and screen together take Dz.

    Parameters
    ----------
    screen
        Heights and distance.
    neighbour_distance_m
        Machine to neighbour along the ground, m.
    frequencies_hz
        Shape (n,), Hz, above 0.

    Returns
    -------
    NDArray
        Shape (n,), dB, from 0 to 20.
    """
    detour_m, first_m, last_m, straight_m = path_difference_m(
        screen, neighbour_distance_m=neighbour_distance_m
    )
    weather = 1.0  # equation (18): Kmet
    if detour_m > 0:
        weather = math.exp(-math.sqrt(first_m * last_m * straight_m / (2 * detour_m)) / 2000)
    inside = 3 + GROUND_REFLECTION_C2 * frequencies_hz / SOUND_M_S * detour_m * weather
    return np.asarray(np.minimum(10 * np.log10(np.maximum(inside, 1.0)), MOST_SINGLE_DB), dtype=np.float64)


def ground_db(
    distance_m: float,
    *,
    ground: float,
    frequencies_hz: NDArray[np.float64],
    source_height_m: float = SOURCE_M,
    neighbour_height_m: float = NEIGHBOUR_M,
) -> NDArray[np.float64]:
    """Give what the ground takes, by frequency; negative where it throws sound back.

    Source: ISO 9613-2:1996, 7.3.1, equation (9) and Table 3.

    Parameters
    ----------
    distance_m
        Machine to neighbour along the ground, m.
    ground
        0 for hard (paving, water), 1 for porous (grass, beds), between for a mixture.
    frequencies_hz
        Shape (n,), Hz, above 0; each takes the row of the octave that it lies in.
    source_height_m, neighbour_height_m
        Heights over the ground, m.

    Returns
    -------
    NDArray
        Shape (n,), dB.
    """
    reach_m = 30 * (source_height_m + neighbour_height_m)
    middle = 0.0 if distance_m <= reach_m else 1 - reach_m / distance_m
    octave_hz = [_octave_hz(float(hz)) for hz in frequencies_hz]
    taken = [
        _region_db(hz, source_height_m, distance_m, ground)
        + _region_db(hz, neighbour_height_m, distance_m, ground)
        + (-3 * middle if hz <= 63 else -3 * middle * (1 - ground))
        for hz in octave_hz
    ]
    return np.asarray(taken, dtype=np.float64)


def _octave_hz(frequency_hz: float) -> float:
    """Give the nominal octave of the table that a frequency belongs to."""
    if frequency_hz < 88:
        return 63.0
    return min(125.0 * 2.0 ** round(math.log2(frequency_hz / 125.0)), 8000.0)


def _region_db(octave_hz: float, height_m: float, distance_m: float, ground: float) -> float:
    """Give the attenuation near the source or near the neighbour (Table 3)."""
    far = 1 - math.exp(-distance_m / 50)
    if octave_hz <= 63:
        return -1.5
    if octave_hz == 125:
        shape = 1.5 + 3.0 * math.exp(-0.12 * (height_m - 5) ** 2) * far
        shape += 5.7 * math.exp(-0.09 * height_m**2) * (1 - math.exp(-2.8e-6 * distance_m**2))
        return -1.5 + ground * shape
    slopes = {250: (8.6, 0.09), 500: (14.0, 0.46), 1000: (5.0, 0.9)}
    if octave_hz in slopes:
        most, bend = slopes[int(octave_hz)]
        return -1.5 + ground * (1.5 + most * math.exp(-bend * height_m**2) * far)
    return -1.5 * (1 - ground)
