"""What may be set: speeds that spindle and tool allow, power, surface speed, chip load, stick-out.

In: the cut's setup, as dialled, and a setting to try. Out: a range of set speeds in rpm; concerns in words.
Source: handbook arithmetic; the figures by material are in materials.toml, each with its source.
Leaves out: chatter, clamping, tool breakage, and what the frame and the feed drives can hold.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from chatter.errors import BadValueError
from chatter.milling.kinematics import (
    chip_load_mm,
    feed_keeping_chip_load_mm_min,
    mean_chip_mm,
    surface_speed_m_min,
)
from chatter.milling.materials import Material, find_material
from chatter.model.cut import CutSetup

SPINDLE_EFFICIENCY = 0.8  # as in the cutter maker's worked example that test_cutting_data.py repeats
MOST_STICK_OUT = 4.0  # stick-out over diameter; common practice
# Own choice: printed ranges of steady sources lie 2 to 3 times apart, and small machines take thin chips.
THIN_CHIP_SHARE = 1 / 3
THICK_CHIP_SHARE = 2.0
# Own choice: times the fastest usual surface speed, from where on an edge may burn rather than wear faster.
FAR_ABOVE_USUAL = 1.5
FAR_SHORT = 2.0  # own choice: a cut that was made can hardly have needed so many times the spindle's power
# Own choice: where the slowest speed isn't told, go no lower than half the dialled one, or half the fastest
# allowed where that is slower. What is assumed never shuts out what was told.
UNKNOWN_MIN_SHARE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedRange:
    """Set speeds that may be suggested; empty where `low_rpm` is above `high_rpm`."""

    low_rpm: float
    high_rpm: float
    max_is_known: bool  # False: nothing above the dialled speed is allowed until the spindle's range is told
    tool_ends_it: bool = False  # True: the tool may turn no faster, whatever the spindle can

    @property
    def is_empty(self) -> bool:
        """True where the limits leave no speed."""
        return self.low_rpm > self.high_rpm


def find_speed_range(setup: CutSetup) -> SpeedRange:
    """Give the set speeds that the spindle and the tool allow.

    >>> find_speed_range(CutSetup(rpm=12_000, flutes=2, max_rpm=24_000, tool_max_rpm=20_000))
    SpeedRange(low_rpm=6000.0, high_rpm=20000.0, max_is_known=True, tool_ends_it=True)
    """
    high = setup.rpm if setup.max_rpm is None else setup.max_rpm
    tool_ends_it = setup.tool_max_rpm is not None and setup.tool_max_rpm <= high
    if setup.tool_max_rpm is not None:
        high = min(high, setup.tool_max_rpm)
    low = min(setup.rpm, high) * UNKNOWN_MIN_SHARE if setup.min_rpm is None else setup.min_rpm
    return SpeedRange(
        low_rpm=float(low),
        high_rpm=float(high),
        max_is_known=setup.max_rpm is not None,
        tool_ends_it=tool_ends_it,
    )


def removal_rate_mm3_min(feed_mm_min: float, *, depth_mm: float, width_mm: float) -> float:
    """Give the volume of chips, in mm³/min.

    >>> removal_rate_mm3_min(280, depth_mm=2, width_mm=80)
    44800
    """
    return (
        _above_0("feed_mm_min", feed_mm_min) * _above_0("depth_mm", depth_mm) * _above_0("width_mm", width_mm)
    )


def spindle_power_w(
    removal_mm3_min: float, *, pressure_n_mm2: float, efficiency: float = SPINDLE_EFFICIENCY
) -> float:
    """Give the power that the spindle must have, in W.

    Parameters
    ----------
    removal_mm3_min
        Removal rate, mm³/min.
    pressure_n_mm2
        Specific cutting pressure, N/mm².
    efficiency
        Share of the spindle's power that reaches the edge, above 0 and not above 1.
    """
    if not 0 < efficiency <= 1:
        raise BadValueError("efficiency", efficiency, "a share above 0 and not above 1")
    removal = _above_0("removal_mm3_min", removal_mm3_min)
    # [mm³/min] * [N/mm²] = [N mm/min]; 60 s/min * 1000 mm/m
    return removal * _above_0("pressure_n_mm2", pressure_n_mm2) / 60_000 / efficiency


def torque_n_m(power_w: float, *, speed_rpm: float) -> float:
    """Give the torque that turns this power at this speed, in N m.

    >>> round(torque_n_m(1000, speed_rpm=9549), 3)
    1.0
    """
    return _above_0("power_w", power_w) * 60 / (2 * math.pi * _above_0("speed_rpm", speed_rpm))


def power_needed_w(
    setup: CutSetup, *, set_rpm: float, feed_mm_min: float | None, depth_mm: float | None
) -> float | None:
    """Give the spindle power that a setting needs, in W; None where too little is known.

    Parameters
    ----------
    setup
        What the user knows; its material, width, diameter and flutes are used. Without a diameter the cut is
        taken for a slot, whose chips are the thickest: a narrower one needs up to a third more.
    set_rpm, feed_mm_min, depth_mm
        The setting: speed in rpm, feed in mm/min, axial depth in mm.

    Returns
    -------
    float or None
        Power at the spindle, with its losses. None without material, width, feed or depth, and where no
        sure cutting pressure of the material is known.

    Raises
    ------
    BadValueError
        The material's name is not known, or a number is not above 0.
    """
    powers = _powers_w(setup, set_rpm=set_rpm, feed_mm_min=feed_mm_min, depth_mm=depth_mm)
    return None if powers is None else powers[0]


def _powers_w(
    setup: CutSetup, *, set_rpm: float, feed_mm_min: float | None, depth_mm: float | None
) -> tuple[float, float] | None:
    """Give the power by the usual pressure, and by the highest that a source gives."""
    width_mm = setup.width_mm
    if setup.material is None or width_mm is None or feed_mm_min is None or depth_mm is None:
        return None
    tooth_feed_mm = chip_load_mm(feed_mm_min, speed_rpm=set_rpm, flutes=setup.flutes)
    diameter_mm = width_mm if setup.diameter_mm is None else setup.diameter_mm
    chip_mm = mean_chip_mm(tooth_feed_mm, width_mm=width_mm, diameter_mm=diameter_mm)
    pressures = find_material(setup.material).pressures_n_mm2(
        tooth_feed_mm=tooth_feed_mm, mean_chip_mm=chip_mm
    )
    if pressures is None:
        return None
    removal = removal_rate_mm3_min(feed_mm_min, depth_mm=depth_mm, width_mm=width_mm)
    usual, high = (spindle_power_w(removal, pressure_n_mm2=pressure) for pressure in pressures)
    return usual, high


@dataclass(frozen=True, slots=True, kw_only=True)
class Concern:
    """One thing to mind about a setting."""

    code: str
    message: str  # a sentence that says what to do


def check_dialled(setup: CutSetup) -> tuple[Concern, ...]:
    """Say where the dialled speed lies outside what spindle and tool may turn, as they were told.

    Returns
    -------
    tuple of Concern
        Codes `over-tool`, `over-spindle`, `under-spindle`. The speed is a fact, so it is never refused.

    >>> [one.code for one in check_dialled(CutSetup(rpm=7_000, flutes=2, tool_max_rpm=6_000))]
    ['over-tool']
    """
    concerns = []
    tool, fastest, slowest = setup.tool_max_rpm, setup.max_rpm, setup.min_rpm
    if tool is not None and setup.rpm > tool:
        least = tool if fastest is None else min(tool, fastest)
        message = (
            f"First lower the speed to {_rpm(least)} or less: the {_rpm(setup.rpm)} dialled is more than the "
            f"tool may turn ({_rpm(tool)})."
        )
        if slowest is not None and slowest > least:
            message = (
                f"Use another tool: this one may turn {_rpm(tool)}, less than the {_rpm(setup.rpm)} dialled, "
                f"and the spindle's slowest speed was told as {_rpm(slowest)}."
            )
        concerns.append(Concern(code="over-tool", message=message))
    if fastest is not None and setup.rpm > fastest:
        message = (
            f"The {_rpm(setup.rpm)} dialled is more than the spindle's fastest speed as told "
            f"({_rpm(fastest)}): check both numbers; if they are right, first lower the speed."
        )
        concerns.append(Concern(code="over-spindle", message=message))
    if slowest is not None and setup.rpm < slowest:
        message = (
            f"The {_rpm(setup.rpm)} dialled is less than the spindle's slowest speed as told "
            f"({_rpm(slowest)}): check both numbers."
        )
        concerns.append(Concern(code="under-spindle", message=message))
    return tuple(concerns)


def check_depth(setup: CutSetup) -> tuple[Concern, ...]:
    """Say where the present depth is above the largest one that was told.

    Returns
    -------
    tuple of Concern
        Code `over-depth`, or nothing. The depth is a fact, so it is never refused.

    >>> [one.code for one in check_depth(CutSetup(rpm=7_000, flutes=2, depth_mm=1.5, max_depth_mm=1))]
    ['over-depth']
    """
    depth_mm, most_mm = setup.present_depth_mm, setup.max_depth_mm
    if depth_mm is None or most_mm is None or depth_mm <= most_mm:
        return ()
    which = "present depth" if setup.depth_to_mm is None else "ramp's deep end"
    message = (
        f"The {which}, {depth_mm:g} mm, is more than the largest depth that you told ({most_mm:g} mm): check "
        f"both numbers; if they are right, take no more than {most_mm:g} mm."
    )
    return (Concern(code="over-depth", message=message),)


def takes_thick_chips(setup: CutSetup) -> bool:
    """Say whether the present chip load is one that may break the tool; False where too little is known."""
    usual_mm = _thickest_usual_mm(setup)
    if usual_mm is None or setup.feed_mm_min is None:
        return False
    load_mm = chip_load_mm(setup.feed_mm_min, speed_rpm=setup.rpm, flutes=setup.flutes)
    return load_mm > THICK_CHIP_SHARE * usual_mm


def feed_at_mm_min(setup: CutSetup, *, set_rpm: float) -> float | None:
    """Give the feed to go with a speed; None where the present one isn't known.

    The chip load stays as it is. One that may break the tool gives way to the thickest that is usual.
    """
    if setup.feed_mm_min is None:
        return None
    usual_mm = _thickest_usual_mm(setup)
    if usual_mm is not None and takes_thick_chips(setup):
        return usual_mm * setup.flutes * set_rpm  # [mm/tooth] * [teeth/rev] * [rev/min]
    return feed_keeping_chip_load_mm_min(setup.feed_mm_min, from_rpm=setup.rpm, to_rpm=set_rpm)


def feed_to_suggest_mm_min(setup: CutSetup, *, set_rpm: float) -> float | None:
    """Give the feed that keeps the chip load; None where it isn't known, or may break the tool."""
    return None if takes_thick_chips(setup) else feed_at_mm_min(setup, set_rpm=set_rpm)


def _thickest_usual_mm(setup: CutSetup) -> float | None:
    """Give the thickest usual chip load; None where none is known for sure."""
    if setup.material is None or setup.diameter_mm is None:
        return None
    loads = find_material(setup.material).chip_loads
    return loads.at_mm(setup.diameter_mm)[1] if loads is not None and loads.is_sure else None


def _rpm(speed_rpm: float) -> str:
    return f"{speed_rpm:,.7g} rpm"


def check_present(setup: CutSetup) -> tuple[Concern, ...]:
    """Say where the present setting strains the spindle, the edge or the tool, told as the present one.

    Returns
    -------
    tuple of Concern
        As of `check_setting`.

    Raises
    ------
    BadValueError
        The material's name is not known, or a number is not above 0.
    """
    return _check(
        setup,
        set_rpm=setup.rpm,
        feed_mm_min=setup.feed_mm_min,
        depth_mm=setup.present_depth_mm,
        is_present=True,
    )


def check_setting(
    setup: CutSetup, *, set_rpm: float, feed_mm_min: float | None, depth_mm: float | None
) -> tuple[Concern, ...]:
    """Say where a setting strains the spindle, the edge or the tool, most pressing first.

    Parameters
    ----------
    setup
        What the user knows of spindle, tool, material and cut.
    set_rpm, feed_mm_min, depth_mm
        The setting: speed in rpm, feed in mm/min, axial depth in mm; None where not known.

    Returns
    -------
    tuple of Concern
        Codes `power`, `power-maybe`, `power-at-speed`, `chip-thick`, `chip-thin`, `speed-far`, `speed-high`,
        `speed-low`, `speed-hss`, `stick-out`. Nothing rests on a number that is marked weak.

    Raises
    ------
    BadValueError
        The material's name is not known, or a number is not above 0.
    """
    return _check(setup, set_rpm=set_rpm, feed_mm_min=feed_mm_min, depth_mm=depth_mm, is_present=False)


def _check(
    setup: CutSetup,
    *,
    set_rpm: float,
    feed_mm_min: float | None,
    depth_mm: float | None,
    is_present: bool,
) -> tuple[Concern, ...]:
    """Say where a setting strains something, in words for the present one or for one to try."""
    concerns = _power_concerns(
        setup, set_rpm=set_rpm, feed_mm_min=feed_mm_min, depth_mm=depth_mm, is_present=is_present
    )
    if setup.material is not None and setup.diameter_mm is not None:
        material = find_material(setup.material)
        if feed_mm_min is not None:
            load_mm = chip_load_mm(feed_mm_min, speed_rpm=set_rpm, flutes=setup.flutes)
            concerns += _chip_concerns(material, load_mm=load_mm, diameter_mm=setup.diameter_mm)
        concerns += _speed_concerns(
            material, set_rpm=set_rpm, diameter_mm=setup.diameter_mm, is_present=is_present
        )
    concerns += check_burning(setup, speeds_rpm=(set_rpm,), present_rpm=set_rpm if is_present else None)
    return (*concerns, *_stick_out_concerns(setup))


def check_burning(
    setup: CutSetup, *, speeds_rpm: Iterable[float], present_rpm: float | None = None
) -> tuple[Concern, ...]:
    """Say in one concern at which of some speeds a tool of high-speed steel burns.

    Parameters
    ----------
    setup
        What the user knows of tool and material.
    speeds_rpm
        Speeds as dialled; each is told once.
    present_rpm
        The one of them that is the present one, and told so.

    Returns
    -------
    tuple of Concern
        Code `speed-hss`, or nothing.
    """
    if setup.material is None or setup.diameter_mm is None:
        return ()
    material = find_material(setup.material)
    hss = material.hss_m_min
    if hss is None or not hss.is_sure:
        return ()
    told = []
    for rpm in dict.fromkeys(speeds_rpm):
        speed = surface_speed_m_min(rpm, diameter_mm=setup.diameter_mm)
        if speed > hss.high:
            which = "the present " if rpm == present_rpm else ""
            told.append(f"{which}{rpm:,.0f} rpm ({speed:,.0f} m/min)")
    if not told:
        return ()
    most_rpm = hss.high / surface_speed_m_min(1.0, diameter_mm=setup.diameter_mm)
    *before, last = told
    where = f"{', '.join(before)} and {last}" if before else last
    message = (
        f"If the tool is high-speed steel, stay below {hss.high:,.0f} m/min in {material.name} "
        f"({most_rpm:,.0f} rpm): at {where} it burns."
    )
    return (Concern(code="speed-hss", message=message),)


def _power_concerns(
    setup: CutSetup,
    *,
    set_rpm: float,
    feed_mm_min: float | None,
    depth_mm: float | None,
    is_present: bool,
) -> list[Concern]:
    powers = _powers_w(setup, set_rpm=set_rpm, feed_mm_min=feed_mm_min, depth_mm=depth_mm)
    has_w = setup.spindle_power_w
    if powers is None or has_w is None or feed_mm_min is None:
        return []
    usual_w, high_w = powers
    torque = torque_n_m(usual_w, speed_rpm=set_rpm)
    at = f"{set_rpm:,.0f} rpm and {feed_mm_min:,.0f} mm/min"
    needs = f"At {at} this cut needs about {usual_w:,.0f} W"
    if is_present:
        needs = f"The present cut, at {at}, needs about {usual_w:,.0f} W"
    if usual_w > has_w:
        check = "check the numbers you told, and " if usual_w > FAR_SHORT * has_w else ""
        message = (
            f"{needs} ({torque:.2g} N m), more than the spindle's {has_w:,.0f} W: {check}take less depth, "
            "width or feed."
        )
        return [Concern(code="power", message=message)]
    if high_w > has_w:
        steps = "" if is_present else "go there in steps and "
        message = (
            f"{needs}, by some tables {high_w:,.0f} W; the spindle has {has_w:,.0f} W: {steps}listen for the "
            "speed dropping."
        )
        return [Concern(code="power-maybe", message=message)]
    if setup.max_rpm is not None and usual_w > has_w * set_rpm / setup.max_rpm:
        # Inverter-driven spindles hold their torque, not their power, below the top speed: common practice.
        message = (
            f"{needs}, and many small spindles give only {has_w * set_rpm / setup.max_rpm:,.0f} of their "
            f"{has_w:,.0f} W at that speed: take less depth, width or feed if it slows down."
        )
        return [Concern(code="power-at-speed", message=message)]
    return []


def _chip_concerns(material: Material, *, load_mm: float, diameter_mm: float) -> list[Concern]:
    if material.chip_loads is None or not material.chip_loads.is_sure:
        return []
    low_mm, high_mm = material.chip_loads.at_mm(diameter_mm)
    usual = f"{low_mm:.2g} to {high_mm:.2g}" if f"{low_mm:.2g}" != f"{high_mm:.2g}" else f"{low_mm:.2g}"
    what = f"Each tooth would take {load_mm:.2g} mm; in {material.name} {usual} mm is usual for this diameter"
    if load_mm > high_mm * THICK_CHIP_SHARE:
        return [Concern(code="chip-thick", message=f"{what}: the tool may break; feed slower.")]
    if load_mm < low_mm * THIN_CHIP_SHARE:
        return [Concern(code="chip-thin", message=f"{what}: the edge may rub and wear; feed faster.")]
    return []


def _speed_concerns(
    material: Material, *, set_rpm: float, diameter_mm: float, is_present: bool
) -> list[Concern]:
    speed = surface_speed_m_min(set_rpm, diameter_mm=diameter_mm)
    carbide = material.carbide_m_min
    if carbide is None or not carbide.is_sure:
        return []
    at = "At the present" if is_present else "At"
    what = (
        f"{at} {set_rpm:,.0f} rpm the edge moves at {speed:,.0f} m/min; carbide usually cuts {material.name} "
        f"at {carbide.low:,.0f} to {carbide.high:,.0f} m/min"
    )
    if speed > FAR_ABOVE_USUAL * carbide.high:
        do = "go slower" if is_present else "look up what yours stands before you go there"
        return [Concern(code="speed-far", message=f"{what}: so far above it an edge may soon burn; {do}.")]
    if speed > carbide.high:
        return [Concern(code="speed-high", message=f"{what}: it wears and heats faster.")]
    if speed < carbide.low:
        return [Concern(code="speed-low", message=f"{what}: slower is safe, but chips may stick.")]
    return []


def _stick_out_concerns(setup: CutSetup) -> list[Concern]:
    if setup.stick_out_mm is None or setup.diameter_mm is None:
        return []
    ratio = setup.stick_out_mm / setup.diameter_mm
    if ratio <= MOST_STICK_OUT:
        return []
    message = (
        f"The tool sticks out {ratio:.1f} times its diameter; above {MOST_STICK_OUT:.0f} it bends easily: "
        "clamp it shorter if the work allows."
    )
    return [Concern(code="stick-out", message=message)]


def _above_0(name: str, value: float) -> float:
    """Give the value back if it is finite and above 0."""
    if not (math.isfinite(value) and value > 0):
        raise BadValueError(name, value, "a finite number above 0")
    return value
