"""Screens and ground against cases worked from ISO 9613-2:1996, apart from the program."""

import math

import numpy as np
import pytest

from chatter.errors import BadValueError
from chatter.noise.screen import Screen, check_heights, ground_db, path_difference_m, screen_db

OCTAVES_HZ = np.array([63, 125, 250, 500, 1000, 2000, 4000, 8000], dtype=float)


@pytest.mark.parametrize(
    ("height_m", "worked_db"),
    [
        # Worked apart from the program, equations (14), (16), (18): source 1 m high, edge 5 m away,
        # receiver 15 m away and 1.5 m high.
        (2, (5.28, 5.72, 6.50, 7.74, 9.49, 11.70, 14.24, 17.00)),  # z = 0.1032 m
        (4, (8.54, 10.50, 12.89, 15.55, 18.38, 20, 20, 20)),  # z = 1.1304 m; 20 dB is the cap of 7.4
    ],
)
def test_screen_takes_what_the_worked_case_says(height_m, worked_db):
    screen = Screen(height_m=height_m, distance_m=5, source_height_m=1, neighbour_height_m=1.5)
    got_db = screen_db(screen, neighbour_distance_m=15, frequencies_hz=OCTAVES_HZ)
    assert got_db == pytest.approx(worked_db, abs=0.006)  # worked to hundredths


def test_screen_that_just_reaches_the_line_of_sight_takes_4_8_db():
    # z = 0: 10 lg 3 = 4.77 dB at every frequency.
    screen = Screen(height_m=1.2, source_height_m=1.2, neighbour_height_m=1.2)
    got_db = screen_db(screen, neighbour_distance_m=20, frequencies_hz=OCTAVES_HZ)
    assert got_db == pytest.approx([10 * math.log10(3)] * 8, abs=1e-6)


def test_screen_far_below_the_line_of_sight_takes_nothing():
    screen = Screen(height_m=0.5, distance_m=5, source_height_m=4, neighbour_height_m=4)
    detour_m, *_ = path_difference_m(screen, neighbour_distance_m=10)
    # 2 hypot(5, 3.5) - 10 m, by hand
    assert detour_m == pytest.approx(-2.2066, abs=1e-4)
    got_db = screen_db(screen, neighbour_distance_m=10, frequencies_hz=OCTAVES_HZ)
    assert got_db == pytest.approx([0] * 8, abs=1e-12)


@pytest.mark.parametrize(
    ("distance_m", "ground", "worked_db"),
    [
        # Worked from Table 3 and equation (9), source 1 m and receiver 1.5 m high.
        (50, 0, (-3, -3, -3, -3, -3, -3, -3, -3)),
        (50, 0.5, (-3, -1.11, 3.20, 2.87, -0.65, -1.5, -1.5, -1.5)),
        (50, 1, (-3, 0.78, 9.41, 8.73, 1.70, 0, 0, 0)),
        (200, 0, (-4.87,) * 8),
        (200, 0.5, (-4.87, -1.36, 4.87, 4.34, -1.12, -2.44, -2.44, -2.44)),
        (200, 1, (-4.87, 2.15, 14.61, 13.56, 2.64, 0, 0, 0)),
    ],
)
def test_ground_takes_what_the_worked_case_says(distance_m, ground, worked_db):
    got_db = ground_db(
        distance_m, ground=ground, frequencies_hz=OCTAVES_HZ, source_height_m=1, neighbour_height_m=1.5
    )
    assert got_db == pytest.approx(worked_db, abs=0.011)  # worked to hundredths, in two summands


@pytest.mark.parametrize(
    ("screen", "named"),
    [
        (Screen(height_m=0), "height of the screen is 0"),
        (Screen(height_m=float("nan")), "height of the screen is nan"),
        (Screen(height_m=2, source_height_m=-1), "height of the machine is -1"),
        (Screen(height_m=2, neighbour_height_m=500), "height of the neighbour is 500"),
        (Screen(height_m=2, distance_m=20), "distance of the screen is 20.*below the neighbour's distance"),
    ],
)
def test_screen_that_cannot_stand_there_is_refused(screen, named):
    with pytest.raises(BadValueError, match=named):
        check_heights(screen, neighbour_distance_m=20)
