"""A pass that was told as a ramp, as a whole: where it lies, and where in it chatter began.

In: a recording, its studied cuts, the depths told. Out: a `RampPass` and a `RampOnset`.
Method: the longest cut is the ramp; its shallow end is followed back by the teeth's comb.
Source: each stage names its own (chatter/cut/ramp.py).
Leaves out: the verdict, which is the deep end's (chatter/cut/study.py).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.cut.ramp import find_ramp_onset, find_ramp_start_s
from chatter.cut.spindle import measure_speed
from chatter.cut.study import StudiedCut
from chatter.cut.verdict import probability_of_chatter, verdict_of
from chatter.model import CutSetup, Recording
from chatter.model.cut import RampOnset, RampPass

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedRamp:
    """What was found out about a ramp."""

    ramp_pass: RampPass
    onset: RampOnset | None  # None where it stayed quiet, or it can't be told


def judge_ramp(
    recording: Recording, channel: int, studied: tuple[StudiedCut, ...], *, setup: CutSetup
) -> JudgedRamp | None:
    """Find where a ramped pass lies, and at which depth it began to chatter.

    Parameters
    ----------
    recording, channel
        The sound.
    studied
        Its cuts, at least one; the longest is taken for the ramp.
    setup
        What the user knows of the cut.

    Returns
    -------
    JudgedRamp or None
        None where no ramp was told.
    """
    first_mm, last_mm = setup.depth_from_mm, setup.depth_to_mm
    if first_mm is None or last_mm is None:
        return None
    index = max(range(len(studied)), key=lambda i: studied[i].section.end_s - studied[i].section.start_s)
    cut = studied[index]
    whole = recording.samples[channel].astype(np.float64)
    start_s = find_ramp_start_s(
        whole,
        rate_hz=recording.rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        tooth_hz=cut.speed.rotation_hz * setup.flutes,
        section=cut.section,
    )
    ramp_pass = RampPass(
        cut_index=index,
        start_s=None if cut.section.open_start else start_s,
        deep_from_s=cut.steady_start_s,
        end_s=None if cut.section.open_end else cut.section.end_s,
    )
    onset = _find_onset(
        whole, recording, cut, setup=setup, start_s=start_s, first_mm=first_mm, last_mm=last_mm
    )
    return JudgedRamp(ramp_pass=ramp_pass, onset=onset)


def _find_onset(
    whole: Floats,
    recording: Recording,
    cut: StudiedCut,
    *,
    setup: CutSetup,
    start_s: float,
    first_mm: float,
    last_mm: float,
) -> RampOnset | None:
    """Find where in the pass chatter began, if it chatters in its deep end."""
    if not cut.evidence.family or verdict_of(probability_of_chatter(cut.evidence)) != "chatter":
        return None
    rate_hz = recording.rate_hz
    samples = whole[int(start_s * rate_hz) : int(cut.section.end_s * rate_hz)]
    speed = measure_speed(
        samples,
        rate_hz=rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        programmed_rpm=setup.rpm,
        flutes=setup.flutes,
        idling_hz=cut.speed.rotation_hz,
    )
    onset = find_ramp_onset(
        samples,
        rate_hz=rate_hz,
        speed=speed if speed.found else cut.speed,
        family_hz=tuple(peak.frequency_hz for peak in cut.evidence.base),
        depth_ratio=first_mm / last_mm,
    )
    if onset is None:
        return None
    return RampOnset(
        depth_mm=first_mm + (last_mm - first_mm) * onset.share,
        depth_sd_mm=(last_mm - first_mm) * onset.share_sd,
        time_s=start_s + onset.time_s,
        chatter_hz=cut.evidence.base[0].frequency_hz,
    )
