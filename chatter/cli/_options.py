"""Choices that several commands offer.

In: nothing. Out: kinds of options.
Leaves out: what the commands do with them.
"""

from enum import StrEnum


class Direction(StrEnum):
    """Which way the teeth move against the feed."""

    UP = "up"
    CLIMB = "climb"
