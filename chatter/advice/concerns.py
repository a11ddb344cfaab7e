"""What the settings would strain: the present one, those suggested, and those that a card lists.

In: what the user knows of the cut, settings to try. Out: concerns, each code once.
Leaves out: the figures that they rest on (milling/limits.py), and where each is told.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from chatter.milling.limits import Concern, check_burning, check_present, check_setting, feed_at_mm_min
from chatter.model.cut import CutSetup

CHIPS = frozenset({"chip-thick", "chip-thin"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A setting that is suggested or was heard; `feed_mm_min` None where none is given with it."""

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
    present = check_present(setup)
    found = list(present) if keeps_present else []
    speeds_rpm = []
    for one in settings:
        feed = feed_at_mm_min(setup, set_rpm=one.set_rpm) if one.feed_mm_min is None else one.feed_mm_min
        found += check_setting(setup, set_rpm=one.set_rpm, feed_mm_min=feed, depth_mm=one.depth_mm)
        if one.feed_mm_min is None:
            found += [concern for concern in present if concern.code == "chip-thick"]
        speeds_rpm.append(one.set_rpm)
    burning = check_burning(setup, speeds_rpm=[*speeds_rpm, setup.rpm], present_rpm=setup.rpm)
    return _each_once([*found, *burning], burning)


def find_heard_concerns(setup: CutSetup, *, settings: Iterable[Setting]) -> tuple[Concern, ...]:
    """Give what settings strain that were cut as they are here, best first, none of them the present one.

    Each code is told once, of the first setting that it is about; chips that may break the tool are told of
    every one. A feed that isn't known stays so.
    """
    thick: list[Concern] = []
    found: list[Concern] = []
    speeds_rpm: list[float] = []
    for one in settings:
        for concern in check_setting(
            setup, set_rpm=one.set_rpm, feed_mm_min=one.feed_mm_min, depth_mm=one.depth_mm
        ):
            if concern.code in CHIPS:  # their words name no speed
                concern = Concern(code=concern.code, message=f"{one.set_rpm:,.0f} rpm: {concern.message}")
            (thick if concern.code == "chip-thick" else found).append(concern)
        speeds_rpm.append(one.set_rpm)
    burning = check_burning(setup, speeds_rpm=speeds_rpm)
    once = _each_once([*found, *burning], burning)
    return (*thick, *sorted(once, key=lambda concern: concern.code == "speed-low"))  # that one is safe


def _each_once(found: list[Concern], burning: tuple[Concern, ...]) -> tuple[Concern, ...]:
    """Give each code once, of the best setting it is about; of burning the one that names every speed."""
    first = {concern.code: concern for concern in (*reversed(found), *burning)}
    return tuple(first[code] for code in dict.fromkeys(concern.code for concern in found))
