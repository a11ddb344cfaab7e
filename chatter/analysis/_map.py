"""Modes and a cut in, a stability map out.

In: modes (told, or a tapped one), what cuts, a range of speeds. Out: a frozen `MapDocument`.
Leaves out: the stability itself (milling/), layouts and pictures (report/).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from chatter.analysis._cut import program_part
from chatter.analysis._files import hash_file
from chatter.analysis._peaks import find_best_speeds
from chatter.analysis._taps import read_tap
from chatter.analysis._values import MAX_LENGTH_MM, MAX_RPM, checked_setup
from chatter.analysis._values import _number as read_number
from chatter.errors import BadValueError
from chatter.model import Axis, Direction, MapCut, MapDocument, MapMethod, MapMode, TapMode

if TYPE_CHECKING:
    from chatter.analysis._limits import Limits

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
LEAST_RANGE = 1.001  # fastest over slowest speed
THIN_IMMERSION = 0.25  # below it the zero-order solution is off by factors: docs/map.md


@dataclass(frozen=True, slots=True, kw_only=True)
class _Force:
    """How hard the material pushes back; pressures in MPa, None where not known."""

    pressure_mpa: float | None
    low_mpa: float | None
    high_mpa: float | None
    radial_ratio: float
    ratio_is_known: bool


def map_stability(
    *,
    flutes: int,
    min_rpm: float,
    max_rpm: float,
    width_mm: float,
    diameter_mm: float,
    direction: Direction | None = None,
    modes: Sequence[str | MapMode] = (),
    tap: str | Path | None = None,
    stiffness_n_per_um: float | None = None,
    material: str | None = None,
    pressure_mpa: float | None = None,
    radial_ratio: float | None = None,
    max_depth_mm: float | None = None,
    exact: bool = False,
) -> MapDocument:
    """Say how deep a cut may be at which speed, from given modes or a tapped one.

    Parameters
    ----------
    flutes
        Cutting edges of the tool, evenly pitched.
    min_rpm, max_rpm
        Range of true speeds to map, rev/min.
    width_mm, diameter_mm
        Radial width of the cut and diameter of the tool, mm; equal for a slot.
    direction
        "up" (conventional) or "climb"; needed unless the cut is a slot.
    modes
        `MapMode`, or texts such as "both:900:0.03:5": axis (x along the feed, y across it, both), frequency
        in Hz, damping ratio, stiffness in N/µm.
    tap
        A `tap` document instead of modes: its strongest mode is taken, alike along and across the feed.
    stiffness_n_per_um
        Stiffness of that mode, N/µm. Without it depths are multiples of the lowest limit.
    material
        What is cut; gives pressure and radial ratio, the middle of their published ranges.
    pressure_mpa, radial_ratio
        Tangential cutting pressure, MPa (N/mm²), and radial over tangential force, instead of the material's.
        Without a pressure depths are multiples of the lowest limit; without a ratio 0.3 is taken, and said.
    max_depth_mm
        Largest axial depth to look at, mm.
    exact
        Semi-discretization in place of the zero-order solution: slower, and right at low immersion.

    Returns
    -------
    MapDocument
        The answer; `to_dict()` gives the `map` document.

    Raises
    ------
    InputError
        A value is missing or out of its range (BadValueError).
    FileProblemError
        The tap document can't be read.
    """
    setup = checked_setup(
        {
            "rpm": max_rpm,
            "flutes": flutes,
            "min_rpm": min_rpm,
            "max_rpm": max_rpm,
            "width_mm": read_number("width_mm", width_mm, MAX_LENGTH_MM),
            "diameter_mm": read_number("diameter_mm", diameter_mm, MAX_LENGTH_MM),
            "direction": direction,
            "max_depth_mm": max_depth_mm,
            "material": material,
        }
    )
    low, high = read_number("min_rpm", min_rpm, MAX_RPM), read_number("max_rpm", max_rpm, MAX_RPM)
    if high < low * LEAST_RANGE:
        raise BadValueError("min_rpm", min_rpm, f"a speed clearly below max_rpm ({high:g})")
    is_slot = width_mm == diameter_mm
    if direction is None and not is_slot:
        raise BadValueError("direction", direction, "up or climb, because the cut is narrower than the tool")
    tapped = None if tap is None else read_tap(Path(tap)).modes[0]
    used = _choose_modes(modes, tapped=tapped, stiffness_n_per_um=stiffness_n_per_um)
    force = _find_force(material, pressure_mpa=pressure_mpa, radial_ratio=radial_ratio)
    is_relative = force.pressure_mpa is None or any(mode.stiffness_n_per_um is None for mode in used)
    if is_relative and max_depth_mm is not None:
        raise BadValueError(
            "max_depth_mm",
            max_depth_mm,
            "the mode's stiffness and the cutting pressure too: without both, depths have no millimetres",
        )
    cut = MapCut(
        flutes=setup.flutes,
        width_mm=float(width_mm),
        diameter_mm=float(diameter_mm),
        direction=direction or "climb",
        material=material,
        pressure_mpa=force.pressure_mpa,
        pressure_low_mpa=force.low_mpa,
        pressure_high_mpa=force.high_mpa,
        radial_ratio=force.radial_ratio,
    )
    from chatter.analysis._limits import find_limits  # scipy and numba: after every check

    limits = find_limits(
        used, cut=cut, low_rpm=low, high_rpm=high, max_depth_mm=setup.max_depth_mm, exact=exact
    )
    settings = {
        "flutes": setup.flutes,
        "min_rpm": low,
        "max_rpm": high,
        "width_mm": cut.width_mm,
        "diameter_mm": cut.diameter_mm,
        "direction": direction,
        "modes": [mode.to_dict() for mode in used],
        "tap": None if tap is None else Path(tap).name,
        "tap_sha256": None if tap is None else hash_file(Path(tap)),
        "stiffness_n_per_um": stiffness_n_per_um,
        "material": material,
        "pressure_mpa": pressure_mpa,
        "radial_ratio": radial_ratio,
        "max_depth_mm": max_depth_mm,
        "exact": bool(exact),
    }
    return _document(
        limits,
        modes=used,
        cut=cut,
        settings=settings,
        tapped=tapped,
        is_relative=is_relative,
        ratio_is_known=force.ratio_is_known,
    )


def _document(
    limits: "Limits",
    *,
    modes: tuple[MapMode, ...],
    cut: MapCut,
    settings: dict[str, Any],
    tapped: TapMode | None,
    is_relative: bool,
    ratio_is_known: bool,
) -> MapDocument:
    """Put the limits in the map's unit, and add what follows from them."""
    finite = [depth for depth in limits.depth_mm if math.isfinite(depth)]
    lowest = min(finite, default=None)
    unit = lowest if is_relative and lowest is not None else 1.0
    depths = tuple(depth / unit for depth in limits.depth_mm)
    lowest_at = None if lowest is None else limits.depth_mm.index(lowest)
    method: MapMethod = "semi-discretization" if settings["exact"] else "zero order"
    top = None if limits.top_mm is None else limits.top_mm / unit
    return MapDocument(
        program=program_part(settings),
        method=method,
        modes=modes,
        cut=cut,
        is_relative=is_relative,
        max_depth=top,
        speeds_rpm=limits.speeds_rpm,
        limit_depth=tuple(depth if math.isfinite(depth) else None for depth in depths),
        chatter_hz=tuple(hz if math.isfinite(hz) else None for hz in limits.chatter_hz),
        lowest_rpm=None if lowest_at is None else limits.speeds_rpm[lowest_at],
        lowest_depth=None if lowest_at is None else depths[lowest_at],
        best=find_best_speeds(depths, speeds_rpm=limits.speeds_rpm, most_depth=top),
        cautions=_list_cautions(
            cut, method=method, tapped=tapped, is_relative=is_relative, ratio_is_known=ratio_is_known
        ),
    )


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


def _choose_modes(
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


def _find_force(material: str | None, *, pressure_mpa: float | None, radial_ratio: float | None) -> _Force:
    """Take what was told, and the material for the rest."""
    pressure, low, high, ratio = None, None, None, None
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
        if ratio is None and found.radial_ratio is not None and found.radial_ratio.is_sure:
            ratio = (found.radial_ratio.low + found.radial_ratio.high) / 2
    return _Force(
        pressure_mpa=pressure,
        low_mpa=low,
        high_mpa=high,
        radial_ratio=USUAL_RADIAL_RATIO if ratio is None else ratio,
        ratio_is_known=ratio is not None,
    )


def _list_cautions(
    cut: MapCut, *, method: MapMethod, tapped: TapMode | None, is_relative: bool, ratio_is_known: bool
) -> tuple[str, ...]:
    """Say what to mind, most pressing first."""
    cautions = [
        "Never go above the speed limit of the spindle, the holder or the tool: the map doesn't know them, "
        "nor the spindle's power, the chip load or the length of the flutes.",
        "A map is only as good as its modes: another stick-out, holder, clamping or work gives another map. "
        "Check the first pass with half the depth, and record it.",
    ]
    if is_relative:
        cautions.append(
            "Depths are multiples of the lowest limit, because the stiffness or the cutting pressure isn't "
            "known: speeds can be read from this map, depths in millimetres can't."
        )
    if tapped is not None:
        cautions.append(
            "Only the strongest tapped mode is in the map, taken alike along and across the feed; a part "
            "that rings otherwise can chatter where this map shows none."
        )
        if tapped.damping_bound == "upper":
            cautions.append(
                "The tap gives only an upper bound of the damping: limits may be lower, and peaks narrower."
            )
    if cut.pressure_low_mpa is not None and cut.pressure_high_mpa is not None and not is_relative:
        drawn = cut.pressure_mpa or 1.0
        cautions.append(
            f"Sources put the cutting pressure of {cut.material} between {cut.pressure_low_mpa:,.0f} and "
            f"{cut.pressure_high_mpa:,.0f} MPa: true limits may be {drawn / cut.pressure_high_mpa:.2f} to "
            f"{drawn / cut.pressure_low_mpa:.2f} times those drawn."
        )
    if not ratio_is_known:
        cautions.append(
            f"How hard the material pushes the tool away isn't known: {cut.radial_ratio:g} of the tangential "
            "force was taken. It shifts the limits, and the best speeds a little."
        )
    if method == "zero order" and cut.width_mm < THIN_IMMERSION * cut.diameter_mm:
        cautions.append(
            "At so narrow a cut this method can be off by a factor and misses one kind of chatter: draw the "
            "exact map too."
        )
    cautions += [
        "Speeds are true speeds: under load a spindle may turn some percent slower than dialled.",
        "Keep the guards closed, and wear glasses and hearing protection.",
    ]
    return tuple(cautions)
