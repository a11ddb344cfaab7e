"""Zero-order stability of milling: how deep a cut may be at which speed.

In: modes of the tool in x (feed) and y, immersion, force ratio. Out: limit depths, and the phase and
frequency of the chatter at each limit. All may be arrays, so that many machines are worked at once.
Source: Altintas and Budak, CIRP Annals 44/1, 1995, 357-362.
Leaves out: period doubling and the steps of the cutting force within a tooth period, which change the
limit at immersions under a quarter; helix; run-out.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.errors import BadValueError
from chatter.model.cut import Direction

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
LEAST_GAIN = 1e-100  # m/N: under it a direction doesn't give at all; far above underflow, far below any tool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DirectionalFactors:
    """Mean of the cutting force's direction over the arc of cut, for unit tangential coefficient."""

    xx: Floats
    xy: Floats
    yx: Floats
    yy: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Boundary:
    """Where a system stands on the edge of chatter, at each trial frequency.

    The two branches (first axis) are followed by continuity along the last axis.
    """

    depth_times_kt: Floats  # limit depth times tangential coefficient, N/m; negative or NaN means none
    phase_turns: Floats  # swing between one tooth's wave and the next, 0 to 1 turn, less whole turns


def immersion_angles_rad(width_over_diameter: Floats, *, direction: Direction) -> tuple[Floats, Floats]:
    """Give the angles at which a tooth enters and leaves the work, from the y axis, in rad.

    Raises
    ------
    BadValueError
        A width is not above 0 and at most the diameter.
    """
    ratio = np.asarray(width_over_diameter, dtype=np.float64)
    if not np.all((ratio > 0) & (ratio <= 1)):
        raise BadValueError("width_over_diameter", width_over_diameter, "a share of the diameter in (0, 1]")
    if direction == "up":
        return np.zeros_like(ratio), np.arccos(1 - 2 * ratio)
    return np.arccos(2 * ratio - 1), np.full_like(ratio, math.pi)


def directional_factors(
    start_rad: Floats, *, exit_rad: Floats, radial_ratio: Floats | float
) -> DirectionalFactors:
    """Give the zero-order directional factors of an arc of cut.

    Source: Altintas and Budak 1995; `radial_ratio` is radial over tangential coefficient.
    """
    kr = np.asarray(radial_ratio, dtype=np.float64)

    def antiderivatives(phi: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        cos2, sin2 = np.cos(2 * phi), np.sin(2 * phi)
        return (
            0.5 * (cos2 - 2 * kr * phi + kr * sin2),
            0.5 * (-sin2 - 2 * phi + kr * cos2),
            0.5 * (-sin2 + 2 * phi + kr * cos2),
            0.5 * (-cos2 - 2 * kr * phi - kr * sin2),
        )

    pairs = zip(antiderivatives(exit_rad), antiderivatives(start_rad), strict=True)
    xx, xy, yx, yy = (at_exit - at_start for at_exit, at_start in pairs)
    return DirectionalFactors(xx=xx, xy=xy, yx=yx, yy=yy)


def receptance_m_per_n(
    frequency_hz: Floats | Complexes,
    *,
    natural_hz: Floats | float,
    damping_ratio: Floats | float,
    stiffness_n_per_m: Floats | float,
) -> Complexes:
    """Give the displacement per force of one mode, in m/N (textbook: one mass on a damped spring).

    A swing that grows by a factor exp(2 pi g) a cycle has the complex frequency f (1 - 1j g).
    """
    ratio = frequency_hz / natural_hz
    return np.asarray(
        1 / (stiffness_n_per_m * (1 - ratio**2 + 2j * damping_ratio * ratio)), dtype=np.complex128
    )


def find_eigenvalues(x_m_per_n: Complexes, *, y_m_per_n: Complexes, factors: DirectionalFactors) -> Complexes:
    """Give the two eigenvalues of the oriented receptance at each trial frequency, in N/m.

    Parameters
    ----------
    x_m_per_n, y_m_per_n
        Receptances along the feed and across it; the last axis is frequency, close enough spaced that
        the two branches can be followed.
    factors
        Directional factors; shapes that broadcast against the receptances.

    Returns
    -------
    NDArray
        Two branches (first axis), followed by continuity along the last axis.
    """
    a0 = x_m_per_n * y_m_per_n * (factors.xx * factors.yy - factors.xy * factors.yx)
    a1 = factors.xx * x_m_per_n + factors.yy * y_m_per_n
    root = np.sqrt(a1 * a1 - 4 * a0)
    # 1/eigenvalue form of the quadratic: finite even where one direction doesn't give (a0 is 0). The smaller
    # root comes from the product of both: a difference of near equals would leave rounding in its place.
    large = -(a1 + np.where((np.conj(a1) * root).real < 0, -root, root)) / 2
    gives = np.abs(large) > LEAST_GAIN
    gains = np.stack([large, np.divide(a0, large, out=np.zeros_like(large), where=gives)])
    crossed = np.abs(gains[0, ..., 1:] - gains[1, ..., :-1]) + np.abs(gains[1, ..., 1:] - gains[0, ..., :-1])
    straight = np.abs(gains[..., 1:] - gains[..., :-1]).sum(axis=0)
    odd = np.cumsum(crossed < straight, axis=-1) % 2 == 1
    odd = np.concatenate([np.zeros_like(odd[..., :1]), odd], axis=-1)
    gains = np.where(odd, gains[::-1], gains)
    none = np.full_like(gains, np.nan)
    return np.asarray(np.divide(1, gains, out=none, where=np.abs(gains) > LEAST_GAIN), dtype=np.complex128)


def find_boundary(
    x_m_per_n: Complexes, *, y_m_per_n: Complexes, factors: DirectionalFactors, flutes: int
) -> Boundary:
    """Give depth and phase on the edge of chatter at each trial frequency.

    Takes what `find_eigenvalues` takes, and the number of evenly pitched teeth.
    """
    return boundary_of(find_eigenvalues(x_m_per_n, y_m_per_n=y_m_per_n, factors=factors), flutes=flutes)


def boundary_of(eigenvalue: Complexes, *, flutes: int) -> Boundary:
    """Give depth and phase on the edge of chatter from what `find_eigenvalues` gives."""
    kappa = eigenvalue.imag / eigenvalue.real
    return Boundary(
        depth_times_kt=-2 * math.pi * eigenvalue.real / flutes * (1 + kappa**2),
        phase_turns=0.5 - np.arctan(kappa) / math.pi,  # (pi - 2 arctan kappa) / (2 pi)
    )


def limit_at_speed(
    boundary: Boundary, *, frequency_hz: Floats, speed_rpm: float, flutes: int
) -> tuple[Floats, Floats]:
    """Give the smallest depth times tangential coefficient that chatters at one speed, and its frequency.

    Returns
    -------
    tuple
        Limit in N/m (inf where nothing chatters) and chatter frequency in Hz (NaN there); the boundary's
        shape without its first and last axes.
    """
    teeth_hz = speed_rpm * flutes / 60
    turns = frequency_hz / teeth_hz - boundary.phase_turns
    depth = boundary.depth_times_kt
    # Between neighbours the turns may pass a whole number: there lies a chatter frequency. The phase itself
    # jumps by a turn where the depth goes through infinity; depths below 0 on either side rule that out.
    floor = np.floor(turns)
    here = np.nonzero(floor[..., :-1] != floor[..., 1:])  # few of them, so only these are worked out
    after = (*here[:-1], here[-1] + 1)
    whole = np.maximum(floor[here], floor[after])
    counts = (depth[here] > 0) & (depth[after] > 0) & (whole >= 0)
    whole = whole[counts]
    here, after = (tuple(axis[counts] for axis in one) for one in (here, after))
    hz = np.broadcast_to(frequency_hz, turns.shape)
    share = np.clip((whole - turns[here]) / (turns[after] - turns[here]), 0, 1)
    limits = depth[here] + share * (depth[after] - depth[here])
    shape = turns.shape[1:-1]
    limit, chatter_hz = np.full(math.prod(shape), np.inf), np.full(math.prod(shape), np.nan)
    deepest_first = np.argsort(limits, kind="stable")[::-1]  # so that the smallest is what stays in its place
    place = np.broadcast_to(np.arange(limit.size).reshape(shape)[here[1:-1]], limits.shape)[deepest_first]
    limit[place] = limits[deepest_first]
    chatter_hz[place] = (hz[here] + share * (hz[after] - hz[here]))[deepest_first]
    return limit.reshape(shape), chatter_hz.reshape(shape)
