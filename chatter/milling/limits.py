"""Speeds that may be dialled: what the spindle, the tool and caution allow.

In: the cut's setup. Out: a range of set speeds, in rpm.
Leaves out: power, and surface speed for the material.
"""

from dataclasses import dataclass

from chatter.model.cut import CutSetup

UNKNOWN_MIN_SHARE = 0.5  # own choice: where the slowest speed isn't told, go no lower than half the dialled


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedRange:
    """Set speeds that may be suggested; empty where `low_rpm` is above `high_rpm`."""

    low_rpm: float
    high_rpm: float
    max_is_known: bool  # False: nothing above the dialled speed is allowed until the spindle's range is told

    @property
    def is_empty(self) -> bool:
        """True where the limits leave no speed."""
        return self.low_rpm > self.high_rpm


def find_speed_range(setup: CutSetup) -> SpeedRange:
    """Give the set speeds that the spindle and the tool allow.

    >>> find_speed_range(CutSetup(rpm=12_000, flutes=2, max_rpm=24_000, tool_max_rpm=20_000))
    SpeedRange(low_rpm=6000.0, high_rpm=20000.0, max_is_known=True)
    """
    low = setup.rpm * UNKNOWN_MIN_SHARE if setup.min_rpm is None else setup.min_rpm
    high = setup.rpm if setup.max_rpm is None else setup.max_rpm
    if setup.tool_max_rpm is not None:
        high = min(high, setup.tool_max_rpm)
    return SpeedRange(low_rpm=float(low), high_rpm=float(high), max_is_known=setup.max_rpm is not None)
