"""Time stability maps of a tool with two modes along each axis, 3,000 to 24,000 rpm, by grid size.

    PYTHONPATH=. python tests/benchmarks/stability_maps.py           cost of 50, 100, 200 speeds and depths
    PYTHONPATH=. python tests/benchmarks/stability_maps.py accuracy  error and cost by steps, both forms

Wall times on all processors, the compiled functions warm; the first call is printed apart. Asked, on two
cores at 200 by 200: 2 s (zero-order) and 60 s (semi-discretization). The accuracy is that of the multiplier
against the exact one at four depths (tests/reference/test_semi_discretization.py) and of limit depths against
150 exact ones. Results stand in docs/stability.md.
"""

import math
import os
import sys
import time

import numpy as np
from numpy.typing import NDArray

from chatter.milling.lobes import limit_depths_m
from chatter.milling.semi_discretization import (
    MillingSystem,
    largest_multiplier,
    limit_depth_m,
    multiplier_map,
)
from chatter.milling.stability import immersion_angles_rad
from tests.reference.milling_limits import CASES, LIGHT, system
from tests.reference.test_semi_discretization import DEPTHS_MM, EXACT

SIZES = (50, 100, 200)
CUTS = (("half immersion, climb", 0.5, "climb", 3), ("slot", 1.0, "up", 2), ("tenth, climb", 0.1, "climb", 2))
ASKED_S = {"zero-order": 2.0, "semi-discretization": 60.0}


def two_modes_an_axis(width: float, direction: str, flutes: int) -> MillingSystem:
    """Give a made-up benchtop tool: 600 and 1,450 Hz along the feed, 680 and 1,700 Hz across."""
    entry, leave = immersion_angles_rad(np.array([width]), direction=direction)  # type: ignore[arg-type]
    return MillingSystem(
        natural_hz=np.array([600.0, 1450.0, 680.0, 1700.0]),
        damping_ratio=np.array([0.03, 0.02, 0.025, 0.03]),
        stiffness_n_per_m=np.array([2e6, 6e6, 2.5e6, 8e6]),
        along_y=np.array([False, False, True, True]),
        flutes=flutes,
        rpm=3_000.0,
        entry_rad=float(entry[0]),
        exit_rad=float(leave[0]),
        tangential_pa=700e6,
        radial_ratio=0.3,
    )


def show(line: str) -> None:
    """Print at once, so that a long run can be watched."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def time_maps() -> bool:
    """Print the table of costs; True if the largest maps keep to what was asked."""
    begin = time.perf_counter()
    multiplier_map(two_modes_an_axis(1.0, "up", 2), speeds_rpm=np.array([9e3]), depths_m=np.array([1e-3]))
    show(f"{os.cpu_count()} processors; first call: {time.perf_counter() - begin:.1f} s")
    kept = True
    for name, width, direction, flutes in CUTS:
        cut = two_modes_an_axis(width, direction, flutes)
        for size in SIZES:
            speeds = np.linspace(3_000, 24_000, size)
            depths = np.linspace(0, 2e-3 / width, size + 1)[1:]
            begin = time.perf_counter()
            limits, _ = limit_depths_m(cut, speeds_rpm=speeds)
            plain = depths[None] > limits[:, None]
            zero_s = time.perf_counter() - begin
            begin = time.perf_counter()
            full = np.abs(multiplier_map(cut, speeds_rpm=speeds, depths_m=depths)) > 1
            semi_s = time.perf_counter() - begin
            show(
                f"{name}, {flutes} flutes, {size} x {size}: zero-order {zero_s:.2f} s, semi-discretization "
                f"{semi_s:.1f} s ({semi_s / size**2 * 1e3:.2f} ms a point), "
                f"same answer at {np.mean(plain == full):.0%} of the points"
            )
            kept &= zero_s <= ASKED_S["zero-order"] and semi_s <= ASKED_S["semi-discretization"]
    show("as asked" if kept else "slower than asked")
    return kept


def limit_errors(steps: int | None) -> NDArray[np.float64]:
    """Give the error of each of the 150 limits, as a share."""
    errors = []
    for _, machine, axes, width, direction, rows in CASES:
        for rpm, exact_mm, _, _, _ in rows:
            if math.isfinite(exact_mm):
                cut = system(machine, axes=axes, width=width, direction=direction, rpm=rpm)
                errors.append(abs(limit_depth_m(cut, most_m=0.024, steps=steps) * 1e3 / exact_mm - 1))
    return np.array(errors)


def show_accuracy() -> None:
    """Print error and cost by the number of steps a tooth period."""
    slot = system(LIGHT, axes="x", width=1.0, direction="climb", rpm=5_000)
    depths_m = np.array(DEPTHS_MM) * 1e-3
    multiplier_map(slot, speeds_rpm=np.array([5e3]), depths_m=depths_m)  # compiled before the clock runs
    for steps in (40, 80, 160, 320, None):
        begin = time.perf_counter()
        fast = np.abs(multiplier_map(slot, speeds_rpm=np.array([5e3]), depths_m=depths_m, steps=steps)[0])
        middle = time.perf_counter()
        slow = np.abs([largest_multiplier(slot, depth_m=depth, steps=steps) for depth in depths_m.tolist()])
        end = time.perf_counter()
        errors = [f"{np.abs(got / np.array(EXACT) - 1).max():.3%}" for got in (fast, slow)]
        show(
            f"{steps or 'own'} steps: map {errors[0]}, {(middle - begin) * 250:.2f} ms a point; "
            f"published form {errors[1]}, {(end - middle) * 250:.1f} ms"
        )
    for steps in (80, 160, 320, None):
        found = limit_errors(steps)
        show(f"{steps or 'own'} steps: 150 limits, median {np.median(found):.3%}, worst {found.max():.2%}")


if __name__ == "__main__":
    if sys.argv[1:] == ["accuracy"]:
        show_accuracy()
    else:
        sys.exit(0 if time_maps() else 1)
