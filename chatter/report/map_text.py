"""A stability map as text for a person at a machine.

In: a `MapDocument`. Out: lines of at most 80 columns that read without colour: the best speeds first, the
depth that suits every speed second, a small chart third, what the map was drawn from fourth, cautions last.
Leaves out: any judgement; every number stands in the document.
"""

import math

import numpy as np
from numpy.typing import NDArray

from chatter.model.map import VIEW_OVER_LOWEST, BestSpeed, MapDocument, MapMode
from chatter.report._wrapping import wrap

Floats = NDArray[np.float64]

CHART_WIDE, CHART_HIGH = 64, 12
ORDER = "The order goes by the metal removed: the speed times the depth that its window carries."
MIDDLE = (
    "Each speed named is the middle of its window: peaks have a steep side, and no spindle holds its speed "
    "exactly."
)
_AXES = {"x": "along the feed", "y": "across the feed", "both": "alike along and across the feed"}


def map_to_text(document: MapDocument) -> str:
    """Lay out one map as plain text.

    Returns
    -------
    str
        Lines of at most 80 columns, the last one ended.
    """
    parts = [_title(document), _best(document), _lowest(document), _chart(document), _sources(document)]
    cautions = ["Cautions", *(line for text in document.cautions for line in wrap(text, "  - ", "    "))]
    return "\n\n".join("\n".join(part) for part in [*parts, cautions] if part) + "\n"


def _title(document: MapDocument) -> list[str]:
    cut = document.cut
    width = "in a slot" if cut.width_mm == cut.diameter_mm else f"{cut.width_mm:g} mm wide, {cut.direction}"
    flutes = f"{cut.flutes} flute{'s' if cut.flutes > 1 else ''}"
    what = f" in {cut.material}" if cut.material is not None else ""
    lines = wrap(f"MAP: how deep this cut may be at which speed{what}.")
    lines.append("=" * len(lines[0]))
    return lines + wrap(
        f"{flutes}, {cut.diameter_mm:g} mm tool, {width}; {document.speeds_rpm[0]:,.0f} to "
        f"{document.speeds_rpm[-1]:,.0f} rpm (true speeds)."
    )


def _best(document: MapDocument) -> list[str]:
    lines = ["Best speeds"]
    if not document.best:
        return [*lines, *wrap("No speed in this range is clearly better than the others.", "  ")]
    for number, speed in enumerate(document.best, start=1):
        lines += wrap(f"{number}. {tell_window(document, speed)}", "  ", "     ")
        lines += wrap(f"{tell_peak(document, speed)}", "     ")
    lines += wrap(MIDDLE, "  ")
    return lines if len(document.best) == 1 else [*lines, *wrap(ORDER, "  ")]


def tell_window(document: MapDocument, speed: BestSpeed) -> str:
    """Say which speed to set, and how deep a cut its window carries."""
    return (
        f"{speed.middle_rpm:,.0f} rpm: {tell_depth(document, speed.window_depth)} should stay quiet from "
        f"{speed.low_rpm:,.0f} to {speed.high_rpm:,.0f} rpm."
    )


def tell_peak(document: MapDocument, speed: BestSpeed) -> str:
    """Say where the limit is highest, and how high."""
    if speed.window_depth == document.max_depth:
        return "No deeper cut was looked at."
    if speed.limit_depth is not None:
        return (
            f"The peak is at {speed.rpm:,.0f} rpm: it chatters from {_depth(document, speed.limit_depth)} on."
        )
    top = "" if document.max_depth is None else f" down to {_depth(document, document.max_depth)}"
    return f"At {speed.rpm:,.0f} rpm nothing chatters{top}."


def _depth(document: MapDocument, depth: float) -> str:
    return (
        f"{told_depth(depth)} times the lowest limit" if document.is_relative else f"{told_depth(depth)} mm"
    )


def told_depth(depth: float) -> str:
    """Give a limit as it is told: rounded down, because a depth rounded up might chatter.

    Two digits: pressures by which limits are worked out are known to a fifth or worse (docs/materials.md).

    >>> told_depth(1.279), told_depth(0.1469), told_depth(12.9)
    ('1.2', '0.14', '12')
    """
    places = max(0, 1 - math.floor(math.log10(depth))) if depth > 0 else 0
    return f"{math.floor(depth * 10**places + 1e-9) / 10**places:.{places}f}"


def tell_depth(document: MapDocument, depth: float) -> str:
    """Say a depth in the map's unit, and how far sources that differ about the material move it."""
    if document.is_relative:
        return f"{told_depth(depth)} times the lowest limit"
    cut = document.cut
    told = f"{told_depth(depth)} mm"
    if cut.pressure_mpa is None or cut.pressure_low_mpa is None or cut.pressure_high_mpa is None:
        return told
    least, most = (
        depth * cut.pressure_mpa / cut.pressure_high_mpa,
        depth * cut.pressure_mpa / cut.pressure_low_mpa,
    )
    if document.max_depth is not None:  # deeper cuts were not looked at
        most = min(most, document.max_depth)
    return f"{told} ({told_depth(least)} to {told_depth(most)} as sources differ about the material)"


def _lowest(document: MapDocument) -> list[str]:
    lines = ["At any speed"]
    if document.lowest_depth is None or document.lowest_rpm is None:
        return [*lines, *wrap(tell_nothing(document), "  ")]
    if document.is_relative:
        text = f"The lowest limit, 1 in this map, lies at {document.lowest_rpm:,.0f} rpm."
    else:
        text = (
            f"Below {tell_depth(document, document.lowest_depth)} no speed of this range should chatter; "
            f"that lowest limit lies at {document.lowest_rpm:,.0f} rpm."
        )
    return lines + wrap(text, "  ")


def tell_nothing(document: MapDocument) -> str:
    """Say that no speed chatters, and down to which depth."""
    if document.max_depth is None:
        return "Nothing chatters at any of these speeds and depths."
    return f"Nothing chatters at any of these speeds down to {_depth(document, document.max_depth)}."


def _chart(document: MapDocument) -> list[str]:
    """Draw the map with characters: # chatters, a blank is stable."""
    if document.lowest_depth is None:
        return []
    limit = np.array([np.inf if depth is None else depth for depth in document.limit_depth])
    finite = limit[np.isfinite(limit)]
    top = min(float(finite.max()), VIEW_OVER_LOWEST * document.lowest_depth)
    if document.max_depth is not None:
        top = min(top, document.max_depth)
    speeds = np.array(document.speeds_rpm)
    columns = _columns(speeds, np.minimum(limit, top))
    flags = [" "] * CHART_WIDE
    for number, speed in reversed(list(enumerate(document.best, start=1))):  # where two meet, the better one
        share = (speed.middle_rpm - speeds[0]) / (speeds[-1] - speeds[0])
        at = min(int(CHART_WIDE * share), CHART_WIDE - 1)
        flags[at], columns[at] = f"{number}", speed.window_depth  # a window may be narrower than a column
    unit = "x lowest" if document.is_relative else "mm"
    lines = [f"  depth, {unit}; # chatters, blank is stable"]
    for row in range(CHART_HIGH, 0, -1):
        depth = top * (row - 0.5) / CHART_HIGH
        label = f"{depth:>7.2f}" if row % 3 == 0 or row == 1 else " " * 7
        lines.append(f"  {label} |{''.join('#' if depth > column else ' ' for column in columns)}".rstrip())
    lines.append(f"  {'':>7} +{'-' * CHART_WIDE}")
    if document.best:
        lines.append(f"  {'':>7}  {''.join(flags)}".rstrip())
    low, high = f"{document.speeds_rpm[0]:,.0f}", f"{document.speeds_rpm[-1]:,.0f} rpm"
    lines.append(f"  {'':>7}  {low}{high:>{CHART_WIDE - len(low)}}")
    return lines


def _columns(speeds: Floats, limit: Floats) -> list[float]:
    """Give the least limit between the edges of each column: a narrow dip must not be lost there.

    Columns are equally wide in speed, however many of the speeds looked at lie in each.
    """
    edges = np.linspace(speeds[0], speeds[-1], CHART_WIDE + 1)
    at_edges = np.interp(edges, speeds, limit)
    inside = np.searchsorted(speeds, edges)
    return [
        float(min(at_edges[at], at_edges[at + 1], *limit[inside[at] : inside[at + 1]]))
        for at in range(CHART_WIDE)
    ]


def _sources(document: MapDocument) -> list[str]:
    cut = document.cut
    lines = ["Drawn from"]
    for mode in document.modes:
        lines += wrap(tell_mode(mode), "  - ", "    ")
    pressure = "" if cut.pressure_mpa is None else f"cutting pressure {cut.pressure_mpa:,.0f} MPa, "
    lines += wrap(f"{pressure}radial force {cut.radial_ratio:.2f} times the tangential one", "  - ", "    ")
    names = {
        "zero order": "zero-order solution (quick)",
        "semi-discretization": "semi-discretization (exact)",
    }
    return lines + wrap(f"method: {names[document.method]}", "  - ", "    ")


def tell_mode(mode: MapMode) -> str:
    """Say what one mode is."""
    text = f"mode at {mode.frequency_hz:,.1f} Hz, damping {100 * mode.damping_ratio:.2g} %, "
    if mode.stiffness_n_per_um is not None:
        text += f"{mode.stiffness_n_per_um:g} N/µm, "
    return text + _AXES[mode.axis]
