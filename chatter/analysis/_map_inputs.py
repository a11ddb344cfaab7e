"""What a map is drawn from, as typed: modes, and how hard the material pushes back.

In: texts, numbers, a tapped mode, a material's name. Out: checked modes and forces, or a `BadValueError`.
Leaves out: speeds and the cut itself (_map.py).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from chatter.analysis._values import read_number
from chatter.errors import BadValueError
from chatter.model import Axis, MapMode, TapMode

AXES = ("x", "y", "both")
MODE_FORM = (
    "axis, frequency in Hz, damping ratio and stiffness in N/µm with colons between, such as both:900:0.03:5"
)
MAX_MODES = 20
MAX_HZ = 100_000.0
MAX_STIFFNESS_N_PER_UM = 1e5  # a solid block is less
MAX_PRESSURE_MPA = 20_000.0  # hardened steel in thin chips is less
MAX_RADIAL_RATIO = 3.0
USUAL_RADIAL_RATIO = (
    0.3  # where none is known; 0.16 to 0.6 in published end-milling tables (docs/materials.md)
)
MOST_SWINGS = 100  # from tooth to tooth: an exact map takes up to a minute then, and grows as the square


@dataclass(frozen=True, slots=True, kw_only=True)
class Force:
    """How hard the material pushes back; pressures in MPa, None where not known."""

    pressure_mpa: float | None
    low_mpa: float | None
    high_mpa: float | None
    radial_ratio: float
    ratio_is_known: bool
    why_no_pressure: str | None = None  # a sentence, where the material's isn't sure enough


def read_mode(text: str) -> MapMode:
    """Read a mode as typed: axis, frequency, damping ratio, stiffness, with colons between.

    >>> read_mode("both:900:0.03:5")
    MapMode(axis='both', frequency_hz=900.0, damping_ratio=0.03, stiffness_n_per_um=5.0)
    """
    parts = str(text).split(":")
    if len(parts) != 4:
        raise BadValueError("mode", text, MODE_FORM)
    return _checked_mode(*parts)


def _checked_mode(axis: object, hz: object, damping: object, stiffness: object) -> MapMode:
    name = str(axis).strip().lower()
    if name not in AXES:
        raise BadValueError("axis of a mode", axis, "x (along the feed), y (across it) or both")
    ratio = read_number("damping ratio of a mode", damping, 1.0)
    if ratio > 0.5:  # own choice: 3 typed for 3 % would draw nonsense
        raise BadValueError("damping ratio of a mode", damping, "a share, such as 0.03 for 3 %, up to 0.5")
    return MapMode(
        axis=cast(Axis, name),
        frequency_hz=read_number("frequency of a mode", hz, MAX_HZ),
        damping_ratio=ratio,
        stiffness_n_per_um=read_number("stiffness of a mode", stiffness, MAX_STIFFNESS_N_PER_UM),
    )


def choose_modes(
    modes: Sequence[str | MapMode], *, tapped: TapMode | None, stiffness_n_per_um: float | None
) -> tuple[MapMode, ...]:
    """Take the modes told, or the strongest one tapped."""
    if isinstance(modes, (str, MapMode)):
        modes = [modes]
    if tapped is None:
        if not modes:
            raise BadValueError("mode", None, f"modes ({MODE_FORM}), or the document of a tap")
        if stiffness_n_per_um is not None:
            raise BadValueError(
                "stiffness_n_per_um", stiffness_n_per_um, "it only with the document of a tap"
            )
        if len(modes) > MAX_MODES:
            raise BadValueError("number of modes", len(modes), f"at most {MAX_MODES}")
        return tuple(
            _checked_mode(mode.axis, mode.frequency_hz, mode.damping_ratio, mode.stiffness_n_per_um)
            if isinstance(mode, MapMode)
            else read_mode(mode)
            for mode in modes
        )
    if modes:
        raise BadValueError("mode", str(modes[0]), "either modes or the document of a tap, not both")
    stiffness = None
    if stiffness_n_per_um is not None:
        stiffness = read_number("stiffness_n_per_um", stiffness_n_per_um, MAX_STIFFNESS_N_PER_UM)
    return (
        MapMode(
            axis="both",
            frequency_hz=tapped.frequency_hz,
            damping_ratio=tapped.damping_ratio,
            stiffness_n_per_um=stiffness,
        ),
    )


def check_swings(modes: tuple[MapMode, ...], *, flutes: int, low_rpm: float) -> None:
    """Refuse an exact map that would take longer than anyone waits."""
    fastest_hz = max(mode.frequency_hz for mode in modes)
    least_rpm = 60 * fastest_hz / (MOST_SWINGS * flutes)  # [s/min] * [1/s] / [teeth/rev]
    if low_rpm < least_rpm:
        raise BadValueError(
            "min_rpm",
            low_rpm,
            f"at least {math.ceil(least_rpm):,} for an exact map, because below it the mode at "
            f"{fastest_hz:,.0f} Hz swings over {MOST_SWINGS} times between teeth; or draw the quick map",
        )


def find_force(material: str | None, *, pressure_mpa: float | None, radial_ratio: float | None) -> Force:
    """Take what was told, and the material for the rest."""
    pressure, low, high, ratio, why = None, None, None, None, None
    if pressure_mpa is not None:
        pressure = read_number("pressure_mpa", pressure_mpa, MAX_PRESSURE_MPA)
    if radial_ratio is not None:
        ratio = read_number("radial_ratio", radial_ratio, MAX_RADIAL_RATIO)
    if material is not None:
        from chatter.milling.materials import find_material

        found = find_material(material)
        known = found.tangential_n_mm2
        if pressure is None and known is not None and known.is_sure:
            low, high = known.low, known.high
            pressure = math.sqrt(low * high)  # own choice: the middle of a range of ratios
        elif pressure is None and known is not None:
            why = (
                f"Of {found.name} only a cutting pressure from memory is known, {known.low:g} to "
                f"{known.high:g} MPa: no depth rests on that."
            )
        if ratio is None and found.radial_ratio is not None and found.radial_ratio.is_sure:
            ratio = (found.radial_ratio.low + found.radial_ratio.high) / 2
    return Force(
        pressure_mpa=pressure,
        low_mpa=low,
        high_mpa=high,
        radial_ratio=USUAL_RADIAL_RATIO if ratio is None else ratio,
        ratio_is_known=ratio is not None,
        why_no_pressure=why,
    )


def tell_missing(modes: tuple[MapMode, ...], *, force: Force) -> str | None:
    """Name what depths in millimetres need and nobody gave; None where nothing is missing."""
    missing = []
    if any(mode.stiffness_n_per_um is None for mode in modes):
        missing.append("the mode's stiffness")
    if force.pressure_mpa is None:
        missing.append("the cutting pressure")
    return " and ".join(missing) or None
