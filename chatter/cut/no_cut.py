"""What to say where no cut was judged, something loud was left out, or one moment is unlike the rest.

In: where the recording gets louder, what the user named. Out: findings that say how to record again, and the
speed of a recording without a cut.
Source: our own.
Leaves out: the other findings of a recording (chatter/audio/findings.py).
"""

import numpy as np

from chatter.cut.idle import LEAST_TURNS
from chatter.cut.sections import Sections
from chatter.cut.spindle import Speed, measure_speed, not_found
from chatter.cut.study import LEAST_SAMPLES, StudiedCut
from chatter.model import CutSetup, Finding, Recording, Verdict

MOST_SPANS = 3  # of one kind that are named
UNJUDGED_S = 1.0  # own choice: shorter spells are bumps, voices and other cuts' ends
WHOLE_S = 30.0  # of a recording without a cut, that is asked for its speed
SHORT = "short-chatter"  # code of the finding that a moment of a cut chatters
HOW_TO = (
    "record again with three seconds of idle before and after the cut, the recorder on uncompressed with "
    "gain control and noise suppression off, the phone behind the guard"
)

COMES_AND_GOES = Finding(
    code="comes-and-goes",
    severity="info",
    message="The tool comes and goes several times a second, as on looping paths: only the turns in which it "
    "cuts were judged. A straight pass at one width tells more.",
)


def say_no_cut(sections: Sections, setup: CutSetup) -> Finding:
    """Say why nothing was judged: nothing stands out, or what does has no spindle's lines."""
    if sections.cuts:
        return Finding(
            code="spindle-not-found",
            severity="error",
            message="Something gets louder, but without the lines of a spindle that holds "
            f"{setup.rpm:,.0f} rpm and whose teeth strike {setup.rpm / 60 * setup.flutes:,.0f} times a "
            f"second: check the speed and the flute count; if they are right, {HOW_TO}.",
        )
    return Finding(
        code="no-cut-found",
        severity="error",
        message=f"No part of the recording stands out as a cut: {HOW_TO}.",
    )


def say_unjudged(sections: Sections, studied: tuple[StudiedCut, ...]) -> tuple[Finding, ...]:
    """Tell what is loud but was taken for no cut of this spindle: it may be one at another speed.

    Whole spells, those that sound unlike the cuts among them, and what is left where a part was judged.
    """
    judged = sorted((cut.section.start_s, cut.section.end_s) for cut in studied)
    left: list[tuple[float, float]] = []
    others = (one for one in sections.loud_spells if not any(cut.meets(one) for cut in sections.cuts))
    for one in (*sections.cuts, *others):
        from_s = one.start_s
        for start_s, end_s in judged:
            if start_s < one.end_s and one.start_s < end_s:
                left.append((from_s, start_s))
                from_s = max(from_s, end_s)
        left.append((from_s, one.end_s))
    spans = [f"from {a:.1f} to {b:.1f} s" for a, b in sorted(left) if b - a >= UNJUDGED_S]
    if not spans:
        return ()
    more = len(spans) - MOST_SPANS
    if more > 0:
        spans = [*spans[:MOST_SPANS], f"{more} more times" if more > 1 else "once more"]
    where = " and ".join([", ".join(spans[:-1]), spans[-1]] if len(spans) > 1 else spans)
    return (
        Finding(
            code="not-judged",
            severity="warning",
            message=f"What is loud {where} lacks the teeth's lines at this speed: it wasn't judged, and may "
            "have chattered. Record a cut at another speed by itself.",
        ),
    )


def say_moment(cut: StudiedCut, *, verdict: Verdict) -> tuple[Finding, ...]:
    """Tell of the one moment of a cut that chatters, or that sounds unlike the rest of it."""
    if cut.is_short and verdict == "chatter":
        return (
            Finding(
                code=SHORT,
                severity="warning",
                message=f"Above all from {cut.steady_start_s:.1f} to {cut.steady_end_s:.1f} s this cut "
                "sounds like chatter: look at the work there, and at what differs: a corner, more material, "
                "the tool coming in or leaving.",
            ),
        )
    if cut.spectra.comes_and_goes:
        return (COMES_AND_GOES,)
    if cut.unlike_s is None:
        return ()
    start_s, end_s = cut.unlike_s
    return (
        Finding(
            code="unlike-rest",
            severity="warning",
            message=f"From {start_s:.1f} to {end_s:.1f} s something sounds that the rest of this cut lacks: "
            "chatter, a voice, a knock. The verdict is about the rest: listen to that moment, and look at "
            "the work there.",
        ),
    )


def speed_of_whole(recording: Recording, channel: int, setup: CutSetup) -> Speed:
    """Look for the comb in the middle of a recording in which nothing was judged: it may idle throughout."""
    samples = recording.samples[channel].astype(np.float64)
    most = int(WHOLE_S * recording.rate_hz)
    start = max(0, (len(samples) - most) // 2)
    samples = samples[start : start + most]
    turns = len(samples) / recording.rate_hz * setup.rpm / 60
    if len(samples) < LEAST_SAMPLES or turns < LEAST_TURNS or not np.any(samples):
        return not_found(setup.rpm / 60, times_s=np.zeros(1))
    return measure_speed(
        samples,
        rate_hz=recording.rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        programmed_rpm=setup.rpm,
        flutes=setup.flutes,
        cutting=False,
    )
