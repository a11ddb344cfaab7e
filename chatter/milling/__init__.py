"""The trade's physics without sound: speeds, chip loads, stability."""

from chatter.milling.kinematics import (
    chip_load_mm,
    feed_keeping_chip_load_mm_min,
    lobe_speed_rpm,
    mean_chip_mm,
    rotation_hz_from_rpm,
    surface_speed_m_min,
    tooth_passing_hz,
)

__all__ = [
    "chip_load_mm",
    "feed_keeping_chip_load_mm_min",
    "lobe_speed_rpm",
    "mean_chip_mm",
    "rotation_hz_from_rpm",
    "surface_speed_m_min",
    "tooth_passing_hz",
]
