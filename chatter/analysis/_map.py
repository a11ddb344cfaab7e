"""Modes and a cut in, a stability map out.

In: modes (told, or a tapped one), what cuts, a range of speeds. Out: a frozen `MapDocument`.
Leaves out: the stability itself (milling/), layouts and pictures (report/).
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from chatter.analysis._files import hash_file
from chatter.analysis._map_inputs import Force, check_swings, choose_modes, find_force, tell_missing
from chatter.analysis._parts import program_part
from chatter.analysis._taps import read_tap
from chatter.analysis._values import DIRECTION, MAX_RPM, checked_setup, read_length, read_number
from chatter.errors import BadValueError
from chatter.model import Direction, MapCut, MapDocument, MapMethod, MapMode, TapMode

if TYPE_CHECKING:
    from chatter.analysis._limits import Limits

LEAST_RANGE = 1.001  # fastest over slowest speed
THIN_IMMERSION = 0.25  # below it the zero-order solution is off by factors: docs/map.md


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
            "width_mm": read_length("width_mm", width_mm),
            "diameter_mm": read_length("diameter_mm", diameter_mm),
            "direction": direction,
            "max_depth_mm": max_depth_mm,
            "material": material,
        }
    )
    low, high = read_number("min_rpm", min_rpm, MAX_RPM), read_number("max_rpm", max_rpm, MAX_RPM)
    if high < low * LEAST_RANGE:
        raise BadValueError("min_rpm", min_rpm, f"a speed clearly below max_rpm ({high:g})")
    width, diameter = cast(float, setup.width_mm), cast(float, setup.diameter_mm)  # both were read above
    is_slot = width == diameter
    if direction is None and not is_slot:
        raise BadValueError("direction", direction, f"{DIRECTION}, because the cut is narrower than the tool")
    tapped = None if tap is None else read_tap(Path(tap)).modes[0]
    used = choose_modes(modes, tapped=tapped, stiffness_n_per_um=stiffness_n_per_um)
    if exact:
        check_swings(used, flutes=setup.flutes, low_rpm=low)
    material = setup.material
    force = find_force(material, pressure_mpa=pressure_mpa, radial_ratio=radial_ratio)
    missing = tell_missing(used, force=force)
    if missing is not None and max_depth_mm is not None:
        why = "" if force.why_no_pressure is None else f". {force.why_no_pressure.rstrip('.')}"
        raise BadValueError(
            "max_depth_mm",
            max_depth_mm,
            f"{missing} too: without that, depths have no millimetres{why}",
        )
    cut = MapCut(
        flutes=setup.flutes,
        width_mm=width,
        diameter_mm=diameter,
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
        "stiffness_n_per_um": None if stiffness_n_per_um is None else float(stiffness_n_per_um),  # checked
        "material": material,
        "pressure_mpa": None if pressure_mpa is None else float(pressure_mpa),
        "radial_ratio": None if radial_ratio is None else float(radial_ratio),
        "max_depth_mm": setup.max_depth_mm,
        "exact": bool(exact),
    }
    return _document(
        limits,
        modes=used,
        cut=cut,
        settings=settings,
        tapped=tapped,
        missing=missing,
        force=force,
    )


def _document(
    limits: "Limits",
    *,
    modes: tuple[MapMode, ...],
    cut: MapCut,
    settings: dict[str, Any],
    tapped: TapMode | None,
    missing: str | None,
    force: Force,
) -> MapDocument:
    """Put the limits in the map's unit, and add what follows from them."""
    is_relative = missing is not None
    finite = [depth for depth in limits.depth_mm if math.isfinite(depth)]
    lowest = min(finite, default=None)
    unit = lowest if is_relative and lowest is not None else 1.0
    depths = tuple(depth / unit for depth in limits.depth_mm)
    lowest_at = None if lowest is None else limits.depth_mm.index(lowest)
    method: MapMethod = "semi-discretization" if settings["exact"] else "zero order"
    top = None if limits.top_mm is None else limits.top_mm / unit
    best = tuple(
        replace(
            speed,
            limit_depth=None if speed.limit_depth is None else speed.limit_depth / unit,
            window_depth=speed.window_depth / unit,
        )
        for speed in limits.best
    )
    cautions = _list_cautions(cut, method=method, tapped=tapped, missing=missing, force=force)
    if limits.coarse_below_rpm is not None:
        cautions = (
            f"Below {limits.coarse_below_rpm:,.0f} rpm peaks may lie closer together than the speeds looked "
            "at, so none is named there: map a narrower range to see them.",
            *cautions,
        )
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
        best=best,
        cautions=cautions,
    )


def _list_cautions(
    cut: MapCut, *, method: MapMethod, tapped: TapMode | None, missing: str | None, force: Force
) -> tuple[str, ...]:
    """Say what to mind, most pressing first."""
    cautions = [
        "Never go above the speed limit of the spindle, the holder or the tool: the map doesn't know them, "
        "nor the spindle's power, the chip load or the length of the flutes.",
        "A map is only as good as its modes: another stick-out, holder, clamping or work gives another map. "
        "Check the first pass with half the depth, and record it.",
    ]
    if missing is not None:
        why = "" if force.why_no_pressure is None else f"{force.why_no_pressure} "
        cautions.append(
            "Depths are multiples of the lowest limit: speeds can be read from this map, depths in "
            f"millimetres can't. {why}Give {missing} to get millimetres."
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
    if cut.pressure_low_mpa is not None and cut.pressure_high_mpa is not None and missing is None:
        drawn = cut.pressure_mpa or 1.0
        cautions.append(
            f"Sources put the cutting pressure of {cut.material} between {cut.pressure_low_mpa:,.0f} and "
            f"{cut.pressure_high_mpa:,.0f} MPa: true limits may be {drawn / cut.pressure_high_mpa:.2f} to "
            f"{drawn / cut.pressure_low_mpa:.2f} times those drawn."
        )
    if not force.ratio_is_known:
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
