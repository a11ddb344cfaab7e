"""Checks of what the user typed, done once, at the public edge.

In: values as they came from Python, the command line or a table. Out: a `CutSetup`, or a `BadValueError`.
Leaves out: anything about files.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, cast

from chatter.errors import BadValueError
from chatter.milling.materials import find_material
from chatter.model import CutSetup

MAX_RPM = 200_000.0  # above the fastest dental and jewellers' air spindles; common practice
MAX_FLUTES = 20
# Own choices: beyond these a length is likelier in other units than meant. They hold for every command.
MAX_DEPTH_MM = 100.0
MAX_WIDTH_MM = 200.0
LEAST_DIAMETER_MM, MAX_DIAMETER_MM = 0.05, 200.0
MAX_STICK_OUT_MM = 1000.0  # no cutter of a small machine is longer; common practice
MILLIMETRES = ", in millimetres: 0.3 for 0.3 mm"
MAX_FEED_MM_MIN = 100_000.0
MAX_POWER_W = 100_000.0  # above any machining centre's spindle; common practice
DIRECTIONS = ("up", "climb")
DIRECTION = "the milling direction, up or climb"
PLAIN_NUMBER = ", without unit or comma: 7000, not 7,000 rpm; 0.5, not 0,5 mm"
# Upper end of each optional number; every one must be finite and above zero.
_LIMITS = {
    "min_rpm": MAX_RPM,
    "max_rpm": MAX_RPM,
    "tool_max_rpm": MAX_RPM,
    "feed_mm_min": MAX_FEED_MM_MIN,
    "spindle_power_w": MAX_POWER_W,
}
# Both ends of each length; zero itself only where the depth of a ramp may begin there.
_LENGTHS_MM = {
    "depth_mm": (0.0, MAX_DEPTH_MM),
    "max_depth_mm": (0.0, MAX_DEPTH_MM),
    "depth_from_mm": (0.0, MAX_DEPTH_MM),
    "depth_to_mm": (0.0, MAX_DEPTH_MM),
    "width_mm": (0.0, MAX_WIDTH_MM),
    "diameter_mm": (LEAST_DIAMETER_MM, MAX_DIAMETER_MM),
    "stick_out_mm": (0.0, MAX_STICK_OUT_MM),
}
_OPTIONAL_LENGTHS = ("depth_mm", "max_depth_mm", "width_mm", "diameter_mm", "stick_out_mm")


def checked_setup(values: dict[str, Any]) -> CutSetup:
    """Check every value once, here at the public edge."""
    checked: dict[str, Any] = {
        "rpm": read_number("rpm", values["rpm"], MAX_RPM),
        "flutes": read_whole_number("flutes", values["flutes"], MAX_FLUTES),
    }
    for name, limit in _LIMITS.items():
        value = values.get(name)
        checked[name] = None if value is None else read_number(name, value, limit)
    for name in _OPTIONAL_LENGTHS:
        value = values.get(name)
        checked[name] = None if value is None else read_length(name, value)
    direction = values.get("direction")
    if direction is not None and direction not in DIRECTIONS:
        raise BadValueError("direction", direction, DIRECTION)
    checked["direction"] = direction
    low, high = checked["min_rpm"], checked["max_rpm"]
    if low is not None and high is not None and low > high:
        raise BadValueError("min_rpm", low, f"a speed that is not above max_rpm ({high:g})")
    width, diameter = checked["width_mm"], checked["diameter_mm"]
    if width is not None and diameter is not None and width > diameter:
        raise BadValueError("width_mm", width, f"a width that is not above diameter_mm ({diameter:g})")
    checked["material"] = _material(values.get("material"))
    checked["depth_from_mm"], checked["depth_to_mm"] = _ramp(
        values.get("depth_from_mm"), values.get("depth_to_mm")
    )
    if checked["depth_mm"] is not None and checked["depth_to_mm"] is not None:
        raise BadValueError(
            "depth_mm",
            checked["depth_mm"],
            "either one depth, or depth_from_mm and depth_to_mm of a ramped pass, not both",
        )
    check_reach(checked, names=("depth_mm", "depth_to_mm"))
    return CutSetup(**checked)


def check_reach(checked: Mapping[str, Any], *, names: Iterable[str]) -> None:
    """Refuse a depth that is greater than the tool sticks out of its holder."""
    reach = checked.get("stick_out_mm")
    for name in names:
        depth = checked.get(name)
        if reach is not None and depth is not None and depth > reach:
            raise BadValueError(
                name,
                depth,
                f"a depth that is not above stick_out_mm ({reach:g}): no tool cuts deeper than it sticks out",
            )


def _material(value: object) -> str | None:
    """Read the name of a material, as typed."""
    if value is None:
        return None
    if not isinstance(value, str) or not value.strip():
        raise BadValueError("material", value, "the name of a material")
    find_material(value)
    return value.strip()


def _ramp(first: object, last: object) -> tuple[float | None, float | None]:
    """Read both depths of a ramped pass, or none."""
    if first is None and last is None:
        return None, None
    if first is None:
        raise BadValueError("depth_from_mm", None, "the depth at which the ramp begins, beside depth_to_mm")
    if last is None:
        raise BadValueError("depth_to_mm", None, "the depth at which the ramp ends, beside depth_from_mm")
    start = read_length("depth_from_mm", first, zero_allowed=True)
    end = read_length("depth_to_mm", last, zero_allowed=True)
    if end <= start:
        raise BadValueError(
            "depth_to_mm", end, f"a depth above depth_from_mm ({start:g}): ramp from shallow to deep"
        )
    return start, end


def as_list(told: str | Path | Sequence[str | Path]) -> list[str | Path]:
    """Give what may be told once or many times as a list; a bare text or path is one."""
    return [told] if isinstance(told, (str, Path)) else list(told)


def read_length(name: str, value: object, *, zero_allowed: bool = False) -> float:
    """Read one length in mm that can be meant so."""
    least, most = _LENGTHS_MM[name]
    return read_number(name, value, most, zero_allowed=zero_allowed, least=least, unit=MILLIMETRES)


def read_number(
    name: str,
    value: object,
    limit: float,
    *,
    zero_allowed: bool = False,
    least: float = 0.0,
    above: float = 0.0,
    unit: str = "",
) -> float:
    """Read one finite number above zero, or at zero where allowed, from the least to the limit.

    Where `above` is told, the number must be above that.
    """
    lowest = f"a number of at least {least:g}" if zero_allowed or least > 0 else f"a number above {above:g}"
    needed = f"{lowest} and not above {limit:.0f}"
    if isinstance(value, bool):
        raise BadValueError(name, value, needed)
    try:
        number = float(cast(Any, value))
    except (TypeError, ValueError, OverflowError) as error:
        raise BadValueError(name, value, f"{needed}{PLAIN_NUMBER}") from error
    if not math.isfinite(number) or not least <= number <= limit or (number <= above and not zero_allowed):
        raise BadValueError(name, value, f"{needed}{unit}")
    return number


def read_whole_number(name: str, value: object, limit: int) -> int:
    """Read one whole number from 1 to the limit."""
    needed = f"a whole number from 1 to {limit}"
    try:
        number = read_number(name, value, float(limit))
    except BadValueError as error:
        plain = PLAIN_NUMBER if error.needed.endswith(PLAIN_NUMBER) else ""
        raise BadValueError(name, value, f"{needed}{plain}") from error
    if number != int(number) or number < 1:
        raise BadValueError(name, value, needed)
    return int(number)
