"""Stability lobes by the zero-order solution: the limit depth at each speed, in a fraction of a second.

In: modes of the tool along x (feed) and y, immersion, cutting coefficients, speeds. Out: limit depth and
chatter frequency at each speed.
Method: the edge of chatter is worked out at each of many trial frequencies, dense around every mode, both
branches followed by continuity; at each speed the shallowest point of the edge that fits the speed counts.
Source: Altintas and Budak, CIRP Annals 44/1, 1995, 357-362.
Leaves out: period doubling, and the force's steps within a tooth period: at little radial immersion, or
with modes along one axis only, the limit can be wrong by factors (then use semi_discretization.py); uneven
pitch; helix; run-out.
"""

import numpy as np
from numpy.typing import NDArray

from chatter.errors import BadValueError
from chatter.milling.semi_discretization import MillingSystem, check_grid, check_system
from chatter.milling.stability import (
    directional_factors,
    find_boundary,
    limit_at_speed,
    receptance_m_per_n,
)

Floats = NDArray[np.float64]
POINTS_PER_MODE = 6000  # own choice: 999 of 1,000 limits within 0.02 % of those on a four times finer grid
POINTS_BETWEEN = 6000  # from well below the lowest mode to well above the highest
# Where chatter is looked for, in shares of the lowest and the highest mode's frequency; own choice. The
# 152 limits in tests/reference/test_zero_order.py span 0.74 to 1.37; beyond 4 a mode is 15 times as stiff as
# at rest. Above all lobes chatter rises with the speed towards the teeth's frequency, and the search with it.
LOWEST_SHARE, HIGHEST_SHARE = 0.05, 4.0


def limit_depths_m(
    system: MillingSystem, *, speeds_rpm: Floats, refinement: float = 1.0
) -> tuple[Floats, Floats]:
    """Give the zero-order limit depth and chatter frequency at each speed.

    Parameters
    ----------
    system
        What cuts, and how; its own speed is not used. Any number of modes along x and y.
    speeds_rpm
        Shape (speeds,), above 0.
    refinement
        Factor on the number of trial frequencies, for tests of convergence.

    Returns
    -------
    tuple
        Limit depth, m (inf where nothing chatters between a twentieth of the lowest mode's frequency and four
        times the highest's), and chatter frequency, Hz (NaN there); both of shape (speeds,).

    Raises
    ------
    BadValueError
        A part of the system or a speed is out of its range, or the pitch is uneven.
    """
    check_system(system)
    speeds = check_grid("speeds_rpm", speeds_rpm)
    if system.pitch_rad is not None and np.ptp(system.pitch_rad) > 1e-6:
        raise BadValueError(
            "pitch_rad", system.pitch_rad, "even pitch, or use semi-discretization for uneven pitch"
        )
    teeth_hz = float(speeds.max(initial=0.0)) / 60 * system.flutes
    trial_hz = trial_frequencies_hz(system, teeth_hz=teeth_hz, refinement=refinement)
    receptances = []
    for chosen in (~system.along_y, system.along_y):
        modes = receptance_m_per_n(
            trial_hz[:, None],
            natural_hz=system.natural_hz[chosen],
            damping_ratio=system.damping_ratio[chosen],
            stiffness_n_per_m=system.stiffness_n_per_m[chosen],
        )
        receptances.append(modes.sum(axis=1))
    factors = directional_factors(
        np.array([system.entry_rad]), exit_rad=np.array([system.exit_rad]), radial_ratio=system.radial_ratio
    )
    edge = find_boundary(receptances[0], y_m_per_n=receptances[1], factors=factors, flutes=system.flutes)
    found = [
        limit_at_speed(edge, frequency_hz=trial_hz, speed_rpm=rpm, flutes=system.flutes)
        for rpm in speeds.tolist()
    ]
    limits = np.array([limit for limit, _ in found], dtype=np.float64).reshape(len(speeds))
    chatter_hz = np.array([hz for _, hz in found], dtype=np.float64).reshape(len(speeds))
    return limits / system.tangential_pa, chatter_hz


def trial_frequencies_hz(system: MillingSystem, *, teeth_hz: float = 0.0, refinement: float = 1.0) -> Floats:
    """Give the frequencies at which the edge of chatter is worked out, up to the teeth's at least.

    Around each mode they lie as close as a small share of its width, and spread out with the distance
    from it (hyperbolic sine); a geometric row fills the rest.
    """
    low = LOWEST_SHARE * system.natural_hz.min()
    high = max(HIGHEST_SHARE * system.natural_hz.max(), teeth_hz)
    rows = [np.geomspace(low, high, round(POINTS_BETWEEN * refinement))]
    for hz, zeta in zip(system.natural_hz.tolist(), system.damping_ratio.tolist(), strict=True):
        reach = np.arcsinh(max(high / hz, 1.0) / zeta)
        rows.append(
            hz * (1 + zeta * np.sinh(np.linspace(-reach, reach, round(POINTS_PER_MODE * refinement))))
        )
    every = np.unique(np.concatenate(rows))
    return np.asarray(every[(every >= low) & (every <= high)])
