"""Whether a cut that seems to chatter would be stable at a speed that is easily mixed up with the one told.

In: the studied cuts, what was said of them. Out: a doubt, and the cuts as studied at that speed.
Why: told 18,000 rpm of a spindle that turns at 12,000, every line of the cut stands where chatter that locked
to every third turn would. So few tools chatter exactly there that a wrong speed is likelier. Told twice the
speed it is every second turn; an odd number of flutes that doubles its period chatters so, too, and now and
then another tool: then there is only a doubt.
Source: common practice, our own ratios and shares.
Leaves out: other wrong speeds and flute counts, which speak for themselves (chatter/cut/findings.py).
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chatter.cut.air_pass import IdleSound
from chatter.cut.burst import hear_burst
from chatter.cut.findings import Doubt
from chatter.cut.idle import (
    LEAST_IDLE_S,
    ON_DIAL,
    idles_clearly,
    longest_span,
    measure_idling,
    measure_idling_hz,
    nearest_spans,
)
from chatter.cut.spindle import BELIEVED, Speed
from chatter.cut.study import StudiedCut, study_section
from chatter.cut.verdict import verdict_of
from chatter.model import CutSetup, Finding, Recording

MIX_UPS = (2 / 3, 3 / 4, 4 / 5, 5 / 6, 6 / 5, 5 / 4, 4 / 3, 3 / 2)  # of the speed told
HALF = 1 / 2
MAINS_COMBS_HZ = (50.0, 60.0)
SURER = 2.0  # times less likely to be wrong than the comb at the speed told; own choice
BESIDE_S = 1.0  # idling farther from a cut may be another cut's, at another speed; own choice
ON_COMB = 0.02  # of a turn's frequency, by which a line may lie off the other comb; own choice


def find_mix_up(
    studied: tuple[StudiedCut, ...],
    *,
    setup: CutSetup,
    study: Callable[[CutSetup, tuple[StudiedCut, ...]], tuple[StudiedCut, ...]],
    idling: Callable[[CutSetup, StudiedCut], float],
) -> tuple[Doubt, tuple[StudiedCut, ...]] | None:
    """Ask at each such speed on whose comb the chatter lies whether the cut is stable there.

    Parameters
    ----------
    studied
        The cuts at the speed told.
    setup
        What the user told.
    study
        Studies the sections of cuts under another setup.
    idling
        Gives how clearly the spindle is heard to idle beside a cut as a setup tells.

    Returns
    -------
    tuple or None
        The doubt, and the cuts at that speed, none of them where it may as well double its period; None
        where no such speed has a believed comb, a surer one than the speed told, and is stable, or where the
        spindle idles more clearly at the speed told.
    """
    for asked in sorted(studied, key=lambda cut: -cut.chance):
        if verdict_of(asked.chance) != "chatter" or not asked.evidence.base:
            continue
        turn_hz, line_hz = asked.speed.rotation_hz, asked.evidence.base[0].frequency_hz
        for share in (*MIX_UPS, HALF):
            order = line_hz / (share * turn_hz)
            if abs(order - round(order)) > ON_COMB:
                continue
            doubles, other = share == HALF, replace(setup, rpm=60 * share * turn_hz)
            for cut in study(other, (asked,)):
                surer = doubles or SURER * (1 - cut.speed.chance) <= 1 - asked.speed.chance
                if not (surer and _is_quiet(cut)) or idling(setup, asked) > idling(other, asked):
                    continue
                return _doubt(cut, setup=setup, doubles=doubles), () if doubles else study(other, studied)
    return None


def study_otherwise(
    setup: CutSetup,
    cuts: tuple[StudiedCut, ...],
    *,
    samples: NDArray[np.float64],
    idle: tuple[tuple[float, float], ...],
    recording: Recording,
    air: IdleSound | None,
) -> tuple[StudiedCut, ...]:
    """Study the sections of cuts under another setup; those without a comb are left out.

    Parameters
    ----------
    setup
        What is tried.
    cuts
        Their sections are studied.
    samples, idle, recording
        As for `study_section`.
    air
        Another recording without cutting.

    Returns
    -------
    tuple of StudiedCut
    """
    rate_hz = recording.rate_hz
    start_s, end_s = longest_span(idle)
    at_rest = samples[int(start_s * rate_hz) : int(end_s * rate_hz)] if air is None else air.samples
    idling_hz = measure_idling_hz(at_rest, recording=recording, setup=setup)
    if air is not None:
        air = replace(air, turns_hz=idling_hz)
    there: list[StudiedCut] = []
    for section in (cut.section for cut in cuts):
        found = study_section(
            samples,
            section,
            idle=idle,
            recording=recording,
            setup=setup,
            idle_recording=air,
            idling_hz=idling_hz,
        )
        if found is None:
            continue
        there.extend(
            hear_burst(
                samples,
                section,
                cuts=(found,),
                idle=idle,
                recording=recording,
                setup=setup,
                idle_recording=air,
                idling_hz=idling_hz,
            )
        )
    return tuple(there)


def hear_idling(
    setup: CutSetup,
    cut: StudiedCut,
    *,
    samples: NDArray[np.float64],
    idle: tuple[tuple[float, float], ...],
    recording: Recording,
    dialled_rpm: float,
) -> float:
    """Give the score of a spindle that idles beside a cut near a speed, 0 where none is heard.

    A comb on a multiple of the mains frequency is hum, and one just on `dialled_rpm` may be the motor's
    electrical lines. Takes the others as `study_otherwise`.
    """
    rate_hz = recording.rate_hz
    spans = [
        (start_s, end_s)
        for start_s, end_s in nearest_spans(idle, cut.section)
        if end_s - start_s >= LEAST_IDLE_S
        and max(start_s - cut.section.end_s, cut.section.start_s - end_s) < BESIDE_S
    ]
    parts = [samples[int(start_s * rate_hz) : int(end_s * rate_hz)] for start_s, end_s in spans]
    speeds = [measure_idling(part, recording=recording, setup=setup) for part in parts if np.any(part)]
    clear = (speed for speed in speeds if idles_clearly(speed))
    return max(
        (one.score for one in clear if not _is_electric(one, dialled_hz=dialled_rpm / 60)), default=0.0
    )


def _is_electric(speed: Speed, *, dialled_hz: float) -> bool:
    """Say whether a comb lies where the mains or the motor's supply have theirs."""
    turn_hz = speed.rotation_hz
    bases_hz = (dialled_hz, *(max(1, round(turn_hz / mains_hz)) * mains_hz for mains_hz in MAINS_COMBS_HZ))
    return any(abs(turn_hz / base_hz - 1) < ON_DIAL for base_hz in bases_hz)


def _is_quiet(cut: StudiedCut) -> bool:
    """Say whether a cut has a spindle's comb and is stable."""
    return cut.speed.chance >= BELIEVED and verdict_of(cut.chance) == "stable"


def _doubt(cut: StudiedCut, *, setup: CutSetup, doubles: bool) -> Doubt:
    """Say which speed would explain the lines."""
    rpm = 60 * cut.speed.rotation_hz
    message = (
        f"The lines of the cut fit a spindle at {rpm:,.0f} rpm as well, and there it would be stable: check "
        f"the speed told ({setup.rpm:,g} rpm)."
    )
    if doubles:
        message += " If that is right, this is chatter that repeats at every second turn."
    finding = Finding(code="facts-do-not-fit", severity="warning", message=message)
    return Doubt(finding=finding, tooth_hz=cut.speed.rotation_hz * setup.flutes)
