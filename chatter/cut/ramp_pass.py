"""A pass that was told as a ramp, as a whole: where it lies, and where in it chatter began.

In: a recording, its studied cuts, the depths told. Out: a `RampPass` and a `RampOnset`.
Method: the longest cut is the ramp; its shallow end is followed back by the teeth's comb.
Source: each stage names its own (chatter/cut/ramp.py).
Leaves out: the verdict, which is the deep end's (chatter/cut/study.py).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chatter.cut.ramp import depth_rise_db, find_ramp_onset, find_ramp_start_s, tooth_rise_db
from chatter.cut.spindle import Speed, measure_speed
from chatter.cut.study import StudiedCut
from chatter.model import CutSetup, Finding, JudgedCut, Recording
from chatter.model.cut import NO_RAMP, RampOnset, RampPass

Floats = NDArray[np.float64]
# Of 98 simulated ramps (as in tests/benchmarks/ramps.py, seeds 5, 6 and 101) the least rose by 0.28 of what
# the depth would give, since of some only the deep end is found; of 48 level passes the most by 0.16.
LEAST_RISE_SHARE = 0.2
HEARD_DB = 0.5  # own choice: less is told as no louder
LEAST_EXPECTED_DB = 4.0  # own choice: a depth that grows by less can't be heard to grow


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedRamp:
    """What was found out about a ramp."""

    ramp_pass: RampPass
    onset: RampOnset | None  # None where it stayed quiet, or it can't be told
    doubts: tuple[Finding, ...]  # whether it grew at all


def judge_ramp(
    recording: Recording,
    channel: int,
    studied: tuple[StudiedCut, ...],
    *,
    judged: tuple[JudgedCut, ...],
    setup: CutSetup,
) -> JudgedRamp | None:
    """Find where a ramped pass lies, and at which depth it began to chatter.

    Parameters
    ----------
    recording, channel
        The sound.
    studied
        Its cuts, at least one; the longest is taken for the ramp.
    judged
        What was said of each: only a ramp that is called chatter has an onset.
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
    pass_part = whole[int(start_s * recording.rate_hz) : int(cut.section.end_s * recording.rate_hz)]
    rise_db = tooth_rise_db(
        pass_part,
        rate_hz=recording.rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        tooth_hz=cut.speed.rotation_hz * setup.flutes,
    )
    doubts = _doubt_growth(rise_db, first_mm=first_mm, last_mm=last_mm)
    ramp_pass = RampPass(
        cut_index=index,
        start_s=None if cut.section.open_start else start_s,
        deep_from_s=cut.steady_start_s,
        end_s=None if cut.section.open_end else cut.section.end_s,
        grows=not doubts,
    )
    if doubts or judged[index].verdict != "chatter" or not cut.evidence.family:
        return JudgedRamp(ramp_pass=ramp_pass, onset=None, doubts=doubts)
    onset = _find_onset(
        pass_part, recording, cut, setup=setup, start_s=start_s, first_mm=first_mm, last_mm=last_mm
    )
    return JudgedRamp(ramp_pass=ramp_pass, onset=onset, doubts=())


def as_ramped(cuts: tuple[JudgedCut, ...], ramp: JudgedRamp) -> tuple[JudgedCut, ...]:
    """Give the cuts with the ramp's own begin and onset, which are looked for more closely."""
    index = ramp.ramp_pass.cut_index
    onset_s = cuts[index].onset_s if ramp.onset is None else ramp.onset.time_s
    ramped = replace(cuts[index], start_s=ramp.ramp_pass.start_s, onset_s=onset_s)
    return (*cuts[:index], ramped, *cuts[index + 1 :])


def _doubt_growth(rise_db: float | None, *, first_mm: float, last_mm: float) -> tuple[Finding, ...]:
    """Ask whether the pass was a ramp, where its teeth get no louder as a growing depth makes them."""
    expected_db = depth_rise_db(first_mm, last_mm=last_mm)
    if rise_db is None or expected_db < LEAST_EXPECTED_DB or rise_db >= LEAST_RISE_SHARE * expected_db:
        return ()
    heard = "get no louder" if rise_db < HEARD_DB else f"get only {rise_db:.1f} dB louder"
    message = (
        f"Was this pass a ramp? From {first_mm:g} to {last_mm:g} mm the teeth would get about "
        f"{expected_db:.0f} dB louder from its first quarter to its last, but they {heard}. If it was all "
        "of one depth, give that one. If it was a ramp, the recorder may have levelled it: turn automatic "
        "gain off and record it again."
    )
    return (Finding(code=NO_RAMP, severity="warning", message=message),)


def _find_onset(
    samples: Floats,
    recording: Recording,
    cut: StudiedCut,
    *,
    setup: CutSetup,
    start_s: float,
    first_mm: float,
    last_mm: float,
) -> RampOnset | None:
    """Find where in the pass chatter began."""
    rate_hz = recording.rate_hz
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
        speed=speed if speed.found else _held_even(cut.speed),
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


def _held_even(speed: Speed) -> Speed:
    """Give a speed measured in another part of the pass, as its mean: when it wandered isn't known here."""
    return replace(speed, track_hz=np.full(len(speed.track_hz), speed.rotation_hz))
