"""Kinematics of milling: how spindle speed, flutes, feed and diameter hang together.

In: plain numbers in shop units. Out: plain numbers, units in the names.
Source: handbook arithmetic, as in any machinist's tables; lobe speeds from Smith and Tlusty,
"Update on High-Speed Milling Dynamics", J. Eng. Ind. 112(2), 1990.
Leaves out: tilted tools and ball ends, whose working diameter changes with depth.
"""

import math

from chatter.errors import BadValueError

SECONDS_PER_MINUTE = 60.0
MM_PER_M = 1000.0


def _checked(name: str, value: float) -> float:
    """Give the value back if it is finite and above 0."""
    if not (math.isfinite(value) and value > 0):
        raise BadValueError(name, value, "a finite number above 0")
    return value


def _checked_count(name: str, value: int) -> int:
    """Give the count back if it is a whole number of at least 1."""
    if not math.isfinite(value) or value < 1 or value != int(value):
        raise BadValueError(name, value, "a whole number of at least 1")
    return int(value)


def rotation_hz_from_rpm(speed_rpm: float) -> float:
    """Give the turns per second of a spindle.

    >>> rotation_hz_from_rpm(24_000)
    400.0
    """
    return _checked("speed_rpm", speed_rpm) / SECONDS_PER_MINUTE  # [rev/min] / [s/min]


def tooth_passing_hz(speed_rpm: float, *, flutes: int) -> float:
    """Give how often a tooth strikes the work, in Hz.

    >>> tooth_passing_hz(24_000, flutes=2)
    800.0
    """
    # [rev/s] * [teeth/rev] = [teeth/s]
    return rotation_hz_from_rpm(speed_rpm) * _checked_count("flutes", flutes)


def surface_speed_m_min(speed_rpm: float, *, diameter_mm: float) -> float:
    """Give the speed of the cutting edge, in m/min.

    >>> round(surface_speed_m_min(24_000, diameter_mm=6))
    452
    """
    speed_rpm, diameter_mm = _checked("speed_rpm", speed_rpm), _checked("diameter_mm", diameter_mm)
    return math.pi * diameter_mm * speed_rpm / MM_PER_M  # [mm/rev] * [rev/min] / [mm/m]


def chip_load_mm(feed_mm_min: float, *, speed_rpm: float, flutes: int) -> float:
    """Give the feed per tooth, in mm.

    >>> chip_load_mm(960, speed_rpm=24_000, flutes=2)
    0.02
    """
    teeth_per_min = _checked("speed_rpm", speed_rpm) * _checked_count("flutes", flutes)
    return _checked("feed_mm_min", feed_mm_min) / teeth_per_min


def mean_chip_mm(tooth_feed_mm: float, *, width_mm: float, diameter_mm: float) -> float:
    """Give the mean thickness of the chip over a tooth's arc, in mm.

    Source: handbook mean of the circular approximation, area of the bite over length of its arc.

    >>> round(mean_chip_mm(0.1, width_mm=6, diameter_mm=6), 4)
    0.0637

    Parameters
    ----------
    tooth_feed_mm
        Feed per tooth, mm.
    width_mm, diameter_mm
        Radial width of the cut, and diameter of the tool, mm; the width not above the diameter.
    """
    width_mm, diameter_mm = _checked("width_mm", width_mm), _checked("diameter_mm", diameter_mm)
    if width_mm > diameter_mm:
        raise BadValueError("width_mm", width_mm, f"a width that is not above the diameter ({diameter_mm:g})")
    arc_mm = diameter_mm / 2 * math.acos(1 - 2 * width_mm / diameter_mm)
    return _checked("tooth_feed_mm", tooth_feed_mm) * width_mm / arc_mm


def feed_keeping_chip_load_mm_min(feed_mm_min: float, *, from_rpm: float, to_rpm: float) -> float:
    """Give the feed that keeps the chip load when the speed changes, in mm/min.

    >>> feed_keeping_chip_load_mm_min(960, from_rpm=24_000, to_rpm=18_000)
    720.0
    """
    ratio = _checked("to_rpm", to_rpm) / _checked("from_rpm", from_rpm)
    return _checked("feed_mm_min", feed_mm_min) * ratio


def lobe_speed_rpm(frequency_hz: float, *, flutes: int, lobe: int) -> float:
    """Give the speed at which the mode swings `lobe` whole times between two teeth, in rpm.

    >>> [lobe_speed_rpm(600, flutes=3, lobe=k) for k in (1, 2, 3, 4)]
    [12000.0, 6000.0, 4000.0, 3000.0]
    """
    swings_per_turn = _checked_count("flutes", flutes) * _checked_count("lobe", lobe)
    return SECONDS_PER_MINUTE * _checked("frequency_hz", frequency_hz) / swings_per_turn
