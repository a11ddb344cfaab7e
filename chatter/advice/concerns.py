"""What the settings would strain: the present one, and those suggested.

In: what the user knows of the cut, settings to try. Out: concerns, each code once.
Leaves out: the figures that they rest on (milling/limits.py), and where each is told.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from chatter.milling.limits import Concern, check_setting, feed_at_mm_min
from chatter.model.cut import CutSetup


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A setting that is suggested; `feed_mm_min` None where none is given with it."""

    set_rpm: float
    feed_mm_min: float | None
    depth_mm: float | None


def find_concerns(
    setup: CutSetup, *, settings: Iterable[Setting], keeps_present: bool
) -> tuple[Concern, ...]:
    """Give what the settings would strain, and the present one where it is kept, each code once.

    Of a present one that isn't kept is told that high-speed steel burns there, and that its chip load may
    break the tool where that is why no feed is given.
    """
    present = check_setting(
        setup, set_rpm=setup.rpm, feed_mm_min=setup.feed_mm_min, depth_mm=setup.present_depth_mm
    )
    found = list(present) if keeps_present else []
    for one in settings:
        feed = feed_at_mm_min(setup, set_rpm=one.set_rpm) if one.feed_mm_min is None else one.feed_mm_min
        found += check_setting(setup, set_rpm=one.set_rpm, feed_mm_min=feed, depth_mm=one.depth_mm)
        if one.feed_mm_min is None:
            found += [concern for concern in present if concern.code == "chip-thick"]
    found += [concern for concern in present if concern.code == "speed-hss"]
    first = {concern.code: concern for concern in reversed(found)}  # of the best setting it is about
    return tuple(first[code] for code in dict.fromkeys(concern.code for concern in found))
