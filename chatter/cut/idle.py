"""The idle parts beside a cut: which of them, how fast the spindle turns in them, and a cut without any.

In: spans without cutting, or another recording without it. Out: the spans and the speed that serve a cut.
Source: our own.
Leaves out: where a recording idles (chatter/cut/sections.py).
"""

import numpy as np
from numpy.typing import NDArray

from chatter.cut.sections import Section, Sections
from chatter.cut.spindle import Speed, measure_speed
from chatter.model import CutSetup, Recording

Floats = NDArray[np.float64]
LEAST_TURNS = 8
LONGEST_S = 6.0  # of one part that is analysed, from its middle; more only costs time
IDLE_S = 8.0  # of idle sound used beside one cut
LEAST_IDLE_S = 0.8  # of one idle part, for its own speed
SURE_Z = 7.0  # comb deviations for which the idling speed is believed
ON_DIAL = 0.001  # share of the dialled speed
LOUDER_DB = 6.0  # own choice: a recording so much louder than the idle one, from end to end, is all cut
LEVEL_S = 0.1  # of one level


def longest_span(spans: tuple[tuple[float, float], ...]) -> tuple[float, float]:
    """Give the longest span, an empty one when there is none."""
    return max(spans, key=lambda span: span[1] - span[0], default=(0.0, 0.0))


def nearest_spans(spans: tuple[tuple[float, float], ...], section: Section) -> list[tuple[float, float]]:
    """Give the idle spans nearest to a cut, some seconds in all: what was heard just before and after it."""
    by_distance = sorted(spans, key=lambda span: max(span[0] - section.end_s, section.start_s - span[1]))
    taken: list[tuple[float, float]] = []
    left_s = IDLE_S
    for start, end in by_distance:
        length = min(end - start, left_s / 2 if not taken else left_s)
        taken.append((start, start + length) if start >= section.end_s else (end - length, end))
        left_s -= length
        if left_s <= 0:
            break
    return taken


def loudest_part(parts: tuple[Floats, ...], *, rate_hz: float) -> Floats | None:
    """Give the loudest of some idle parts, each of shape (n,), where another machine may run.

    None where all are too short to tell by.
    """
    long = [part for part in parts if len(part) >= LEAST_IDLE_S * rate_hz and np.any(part)]
    return max(long, key=lambda part: float(np.mean(part**2)), default=None)


def measure_idling_hz(longest: Floats, *, recording: Recording, setup: CutSetup) -> float | None:
    """Give the rotation frequency of the longest idle part, or None.

    A comb exactly on the dialled speed may be the motor's electrical lines, so it says nothing.
    """
    seconds = len(longest) / recording.rate_hz
    if seconds * setup.rpm / 60 < 2 * LEAST_TURNS or seconds < LEAST_IDLE_S or not np.any(longest):
        return None
    speed = measure_idling(longest[: int(LONGEST_S * recording.rate_hz)], recording=recording, setup=setup)
    on_dial = abs(speed.rotation_hz * 60 / setup.rpm - 1) < ON_DIAL
    return speed.rotation_hz if idles_clearly(speed) and not on_dial else None


def measure_idling(sound: Floats, *, recording: Recording, setup: CutSetup) -> Speed:
    """Measure the speed in sound without cutting. Shape (n,)."""
    return measure_speed(
        sound,
        rate_hz=recording.rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        programmed_rpm=setup.rpm,
        flutes=1,
        cutting=False,
    )


def idles_clearly(speed: Speed) -> bool:
    """Say whether a speed that was measured without cutting is believed."""
    return speed.found and speed.z > SURE_Z


def cuts_throughout(samples: Floats, quiet: Floats, *, rate_hz: float) -> bool:
    """Say whether a recording is louder than another one without cutting, all the way through.

    Parameters
    ----------
    samples, quiet
        Shapes (n,) and (m,): the recording, and the same machine without cutting at the same gain.
    rate_hz
        Sample rate.
    """
    size = round(LEVEL_S * rate_hz)
    if min(len(samples), len(quiet)) < LEAST_IDLE_S * rate_hz or not np.any(quiet):
        return False
    cutting, idling = (
        10 * np.log10(np.mean(part[: len(part) // size * size].reshape(-1, size) ** 2, axis=1) + 1e-14)
        for part in (samples, quiet)
    )
    return bool(np.quantile(cutting, 0.1) > np.median(idling) + LOUDER_DB)


def cut_from_end_to_end(duration_s: float) -> Sections:
    """Give the sections of a recording that is all cut."""
    whole = Section(start_s=0.0, end_s=duration_s, open_start=True, open_end=True)
    return Sections(cuts=(whole,), idle=(), rise_db=0.0)
