"""What a document was made from, as names and values: settings, recording, version.

In: the `program` and `recording` parts of a document, the facts of a setup. Out: pairs of words for a page.
Leaves out: settings that were not told.
"""

from datetime import datetime
from typing import Any

from chatter.model.notebook import SetupFacts

_NAMES = {
    "rpm": ("Speed dialled", "rpm"),
    "flutes": ("Flutes", ""),
    "machine": ("Machine", ""),
    "tool": ("Tool", ""),
    "holder": ("Holder", ""),
    "material": ("Material", ""),
    "of": ("What was tapped", ""),
    "depth_mm": ("Axial depth", "mm"),
    "depth_from_mm": ("Ramp from", "mm"),
    "depth_to_mm": ("Ramp to", "mm"),
    "max_depth_mm": ("Largest depth", "mm"),
    "width_mm": ("Radial width", "mm"),
    "diameter_mm": ("Tool diameter", "mm"),
    "stick_out_mm": ("Stick-out", "mm"),
    "direction": ("Direction", ""),
    "feed_mm_min": ("Feed", "mm/min"),
    "min_rpm": ("Slowest speed", "rpm"),
    "max_rpm": ("Fastest speed", "rpm"),
    "tool_max_rpm": ("Tool's speed limit", "rpm"),
    "spindle_power_w": ("Spindle power", "W"),
    "pressure_mpa": ("Cutting pressure", "MPa"),
    "radial_ratio": ("Radial over tangential force", ""),
    "stiffness_n_per_um": ("Stiffness", "N/µm"),
    "idle": ("Recording without cutting", ""),
    "compare": ("Compared with", ""),
    "tap": ("Taps", ""),
}


def tell_day(utc: str) -> str:
    """Give the day of a time in UTC as it is on the user's own clock; what is no time is given as it is."""
    try:
        return datetime.fromisoformat(utc).astimezone().date().isoformat()
    except ValueError:  # older versions imported any words
        return utc


def list_settings(settings: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    """Give the settings that were told, in words, the most telling first."""
    pairs: list[tuple[str, str]] = []
    for name, (word, unit) in _NAMES.items():
        value = settings.get(name)
        if value is None or value == []:
            continue
        if isinstance(value, list | tuple):
            value = ", ".join(str(one) for one in value)
        told = f"{value:,g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
        pairs.append((word, f"{told} {unit}".strip()))
    return tuple(pairs)


def list_facts(facts: SetupFacts) -> tuple[tuple[str, str], ...]:
    """Give the facts of a setup that are known."""
    return list_settings(facts.to_dict())


def list_provenance(program: dict[str, Any], recording: dict[str, Any] | None) -> tuple[tuple[str, str], ...]:
    """Give the version, and the recording with its content's hash."""
    pairs = [("Program", f"{program['name']} {program['version']}")]
    if recording is not None:
        pairs += [
            ("File", str(recording["file"])),
            ("Length", f"{recording['duration_s']:.1f} s"),
            (
                "Sound",
                f"{recording['sample_rate_hz']:,.0f} samples a second, up to "
                f"{recording['bandwidth_hz']:,.0f} Hz, channel {recording['channel'] + 1}",
            ),
            ("SHA-256", str(recording["sha256"])),
        ]
    return tuple(pairs)


HEARD = "Judged by ear from a recording: check every change with a short cut."
WORKED_OUT = "Worked out, not heard: check every change with a short cut."
NO_METER = "A phone is no sound level meter: this is no legal measurement."


def tell_version(program: dict[str, Any], *, doubt: str = HEARD) -> str:
    """Say what made the page, and how far to trust it."""
    made = f"Made by {program['name']} {program['version']} on your own computer; nothing was sent anywhere."
    return f"{made} {doubt}"
