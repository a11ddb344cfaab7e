"""The order of the stages: sections, spindle, spectrum, lines, evidence, verdict.

In: a recording and what the user knows of the cut. Out: the cuts, each judged.
Source: each stage names its own.
Leaves out: advice (chatter/advice) and files (chatter/audio).
"""

from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from chatter.cut.air_pass import IDLE_CUTS, IDLE_SHORT, IdleSound, has_teeth, idle_sound, say_unfit
from chatter.cut.burst import MOST_SHORT, hear_burst
from chatter.cut.channel import choose_channel, without_offset
from chatter.cut.engagement import add_combed, follow_comb, trim_to_comb
from chatter.cut.findings import Doubt, find_doubt
from chatter.cut.idle import (
    LEAST_IDLE_S,
    LEAST_TURNS,
    LONGEST_S,
    cut_from_end_to_end,
    cuts_throughout,
    longest_span,
    measure_idling_hz,
)
from chatter.cut.lines import name_lines
from chatter.cut.long_cut import QUARTER, find_begin_s, sounding_power
from chatter.cut.mix_up import find_mix_up, hear_idling, study_otherwise
from chatter.cut.no_cut import SHORT, say_moment, say_no_cut, say_unjudged, speed_of_whole
from chatter.cut.pictures import make_pictures
from chatter.cut.quiet_ends import reach_quiet_ends
from chatter.cut.ramp_pass import as_ramped, judge_ramp
from chatter.cut.sections import Sections, find_softer
from chatter.cut.spectrum import comb_rise
from chatter.cut.spindle import BELIEVED, Speed, of_one_spindle
from chatter.cut.spoilt import find_spoilt
from chatter.cut.standing import leave_idling
from chatter.cut.study import EDGE_S, StudiedCut, look_inside, study_section
from chatter.cut.surrounded import leave_surroundings
from chatter.cut.verdict import find_hum_hz, verdict_of
from chatter.errors import BadValueError
from chatter.model import CutAnalysis, CutSetup, Finding, JudgedCut, Recording, Spindle
from chatter.model.cut import CHATTER_KINDS, DOUBTFUL_RUN_OUT, HALVES_DOUBTFUL_DB, HALVES_UNTOLD_DB
from chatter.model.pictures import CutPictures

Floats = NDArray[np.float64]
MOST_DOUBTED = 0.9  # chance of chatter where the sound speaks against the speed told; own choice
# Own choices, where the tool comes and goes and little is heard at once: chances are no less than the first,
# and from the second on chatter is as likely as not.
LEAST_GOING, DOUBTFUL_GOING, EVEN = 0.15, 0.2, 0.5
DB_PER_NEPER = 4.343  # of power
# Nepers by which harmonics are louder in a cut than idling, where another cut's are clearly louder; and in
# any cut, as noise that ended before it may have drowned them in the idle part. Own choices.
RISEN, CLEARLY_RISEN, BURIED = 0.5, 1.4, -2.8
# Own choice: chance of the comb (idling's own lines don't count) from which a gain that the phone turned down
# may hide the rise.
SURE_COMB = 0.9
RANK = {"chatter": 0, "marginal": 1, "undecided": 2, "stable": 3}


def study_recording(
    recording: Recording, *, setup: CutSetup, idle: Recording | None = None
) -> tuple[int, Sections, tuple[StudiedCut, ...]]:
    """Run every stage up to the evidence.

    Returns
    -------
    channel, sections, cuts
        The channel used; where it cuts; the sections in which a comb was found, studied.
    """
    channel, sections = choose_channel(recording, rotation_hz=setup.rpm / 60)
    samples = recording.samples[channel].astype(np.float64)
    rate_hz = recording.rate_hz
    air = None if idle is None else idle_sound(idle, channel)
    if air is None:
        longest = longest_span(sections.idle)
        at_rest: Floats = samples[int(longest[0] * rate_hz) : int(longest[1] * rate_hz)]
    else:
        at_rest = air.samples
        if not sections.cuts and cuts_throughout(samples, at_rest, rate_hz=rate_hz):
            sections = cut_from_end_to_end(recording.duration_s)
    idling_hz = measure_idling_hz(at_rest, recording=recording, setup=setup) if sections.cuts else None
    air = None if air is None else replace(air, turns_hz=idling_hz)
    study = partial(
        study_section, samples, recording=recording, setup=setup, idle_recording=air, idling_hz=idling_hz
    )
    sections, known = look_inside(samples, sections, recording=recording, setup=setup, study=study)
    studied = [cut for cut in known.values() if cut is not None]
    if not studied:
        return channel, sections, ()
    tooth_hz = (
        max(studied, key=lambda cut: (cut.speed.chance >= BELIEVED, cut.speed.score)).speed.rotation_hz
        * setup.flutes
    )
    bandwidth_hz = recording.bandwidth_hz
    softer = find_softer(
        samples, sections, rate_hz=rate_hz, bandwidth_hz=bandwidth_hz, rotation_hz=tooth_hz / setup.flutes
    )
    comb = follow_comb(samples, rate_hz=rate_hz, bandwidth_hz=bandwidth_hz, tooth_hz=tooth_hz)
    more = add_combed(softer, comb)
    if more is not softer:  # what was heard as idle held a cut: study all of them anew
        sections, known = more, {}
    bare = leave_surroundings(
        samples,
        sections,
        comb,
        rate_hz=rate_hz,
        bandwidth_hz=bandwidth_hz,
        rotation_hz=tooth_hz / setup.flutes,
    )
    if bare is not sections:
        sections, known = bare, {}
    trimmed = trim_to_comb(
        samples,
        comb,
        rate_hz=rate_hz,
        bandwidth_hz=bandwidth_hz,
        sections=sections,
        tooth_hz=tooth_hz,
        flutes=setup.flutes,
    )
    again = [known[one] if one in known else study(one, idle=sections.idle) for one in trimmed]
    found = _with_teeth(again)
    if not setup.is_ramp:  # there chatter that begins may look like the cut's begin
        sections, found = leave_idling(
            samples, sections, found, rate_hz=rate_hz, flutes=setup.flutes, study=study
        )
    heard = partial(
        hear_burst,
        samples,
        idle=sections.idle,
        recording=recording,
        setup=setup,
        idle_recording=air,
        idling_hz=idling_hz,
    )
    cuts: list[StudiedCut] = []
    for section in sections.cuts:
        cuts.extend(heard(section, cuts=tuple(cut for cut in found if section.holds(cut.section))))
    return channel, sections, tuple(cuts)


def _with_teeth(studied: list[StudiedCut | None]) -> tuple[StudiedCut, ...]:
    """Leave out what is loud without louder harmonics of the one spindle: a voice or a bump while idling."""
    cuts = [cut for cut in studied if cut is not None]
    alike = of_one_spindle([cut.speed for cut in cuts], without=len(cuts) < len(studied))
    cuts = [cut for cut, like in zip(cuts, alike, strict=True) if like]
    rises = [comb_rise(cut.spectra, rotation_hz=cut.speed.rotation_hz) for cut in cuts]
    least = RISEN if max(rises, default=0.0) > CLEARLY_RISEN else BURIED
    return tuple(
        cut
        for cut, rise in zip(cuts, rises, strict=True)
        if rise > least or (rise > BURIED and cut.speed.chance >= SURE_COMB)
    )


def judge_recording(
    recording: Recording, *, setup: CutSetup, idle: Recording | None = None, pictures: bool = False
) -> CutAnalysis:
    """Find the cuts of a recording and judge each.

    Parameters
    ----------
    recording
        The sound.
    setup
        What the user knows of the cut.
    idle
        Sound of the same machine without cutting, at the same sample rate.
    pictures
        Whether to give what pictures of it show, too.

    Returns
    -------
    CutAnalysis
        No cuts, and a finding that says why, when nothing can be judged.

    Raises
    ------
    BadValueError
        The idle recording has another sample rate.
    """
    if idle is not None and idle.rate_hz != recording.rate_hz:
        raise BadValueError(
            "the idle recording's sample rate",
            idle.rate_hz,
            f"one recorded like the cut, at {recording.rate_hz:g} Hz",
        )
    as_written = recording
    recording = without_offset(recording)
    idle = None if idle is None else without_offset(idle)
    channel, sections, studied = study_recording(recording, setup=setup, idle=idle)
    compared: list[Finding] = []
    if idle is not None and (unusable := _find_unusable(studied, setup=setup)) is not None:
        idle, compared = None, [unusable]
        channel, sections, studied = study_recording(recording, setup=setup)
    judged = tuple(cut.section for cut in studied)
    doubt = _find_doubt(
        recording.samples[channel], recording, replace(sections, cuts=judged or sections.cuts), setup
    )
    spoilt = find_spoilt(as_written.samples[channel], studied, rate_hz=recording.rate_hz)
    cuts = tuple(_judge(cut, setup=setup, spoilt=spoilt is not None) for cut in studied)
    cuts = tuple(
        _with_onset(cut, study, recording=recording, channel=channel)
        for cut, study in zip(cuts, studied, strict=True)
    )
    if any(cut.verdict == "chatter" for cut in cuts):
        doubt, otherwise = _hear_otherwise(
            recording.samples[channel].astype(np.float64),
            sections.idle,
            studied,
            recording=recording,
            doubt=doubt,
            setup=setup,
            air=None if idle is None else idle_sound(idle, channel),
        )
        if doubt is not None:
            cuts = tuple(
                _doubted(cut, study=study, otherwise=otherwise)
                for cut, study in zip(cuts, studied, strict=True)
            )
    findings = [*recording.findings, *compared, *([] if doubt is None else [doubt.finding])]
    for cut in cuts:
        findings.extend(one for one in cut.findings if one not in findings)
    if not cuts:
        speed = speed_of_whole(recording, channel, setup)
        findings.append(say_no_cut(sections, setup))
        return CutAnalysis(
            spindle=_spindle(setup, speed),
            channel=channel,
            cuts=(),
            cut_index=None,
            findings=tuple(findings),
            pictures=_picture(recording, channel, setup) if pictures else None,
        )
    if spoilt is not None:
        findings.append(spoilt)
    findings.extend(say_unjudged(sections, studied))
    worst = min(
        range(len(cuts)), key=lambda i: (RANK[cuts[i].verdict], -(cuts[i].chatter_probability or 0.0))
    )
    tone_hz = cuts[worst].chatter_hz
    if tone_hz is not None and cuts[worst].tone == "unknown":
        unfit = say_unfit(studied[worst].spectra.air, tone_hz=tone_hz)
        findings.extend([] if unfit is None else [unfit])
    if not setup.is_ramp:  # its begin is found by itself
        comb = follow_comb(
            recording.samples[channel],
            rate_hz=recording.rate_hz,
            bandwidth_hz=recording.bandwidth_hz,
            tooth_hz=studied[worst].speed.rotation_hz * setup.flutes,
        )
        cuts = reach_quiet_ends(cuts, studied, comb, idle=sections.idle)
    ramp = judge_ramp(recording, channel, studied, judged=cuts, setup=setup)
    if ramp is not None:
        findings.extend(ramp.doubts)
        cuts = as_ramped(cuts, ramp)
    return CutAnalysis(
        spindle=_spindle(setup, studied[worst].speed),
        channel=channel,
        cuts=cuts,
        cut_index=worst,
        findings=tuple(findings),
        ramp=None if ramp is None else ramp.onset,
        ramp_pass=None if ramp is None else ramp.ramp_pass,
        pictures=_picture(recording, channel, setup, studied[worst], cuts[worst]) if pictures else None,
    )


def _find_unusable(studied: tuple[StudiedCut, ...], *, setup: CutSetup) -> Finding | None:
    """Say why an idle recording can't be used at all, or None: it is too short, or it cuts."""
    if any(cut.spectra.air is None for cut in studied):
        return IDLE_SHORT
    for cut in studied:
        tooth_hz = cut.speed.rotation_hz * setup.flutes
        air, spectra = cut.spectra.air, cut.spectra
        if air is not None and has_teeth(air, spectra.whole, hz=spectra.hz, tooth_hz=tooth_hz):
            return IDLE_CUTS
    return None


def _picture(
    recording: Recording,
    channel: int,
    setup: CutSetup,
    studied: StudiedCut | None = None,
    judged: JudgedCut | None = None,
) -> CutPictures:
    """Give what the pictures show: the whole recording, and the cut that the verdict is about."""
    return make_pictures(
        recording.samples[channel],
        rate_hz=recording.rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        steady_s=None if studied is None else (studied.steady_start_s, studied.steady_end_s),
        speed=None if studied is None else studied.speed,
        spectra=None if studied is None else studied.spectra,
        flutes=setup.flutes,
        chatter_hz=None if judged is None else judged.chatter_hz,
    )


def _find_doubt(
    samples: NDArray[np.float32], recording: Recording, sections: Sections, setup: CutSetup
) -> Doubt | None:
    """Ask the longest cut whether it fits the named speed and flutes."""
    if not sections.cuts:
        return None
    rate_hz = recording.rate_hz
    longest = max(sections.cuts, key=lambda cut: cut.end_s - cut.start_s)
    start_s, end_s = longest.start_s + EDGE_S, longest.end_s - EDGE_S
    part = samples[int(start_s * rate_hz) : int(min(end_s, start_s + LONGEST_S) * rate_hz)]
    if len(part) / rate_hz * setup.rpm / 60 < 2 * LEAST_TURNS or not np.any(part):
        return None
    quiet = longest_span(sections.idle)
    idle = samples[int(quiet[0] * rate_hz) : int(quiet[1] * rate_hz)]
    return find_doubt(
        part.astype(np.float64),
        rate_hz=rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        programmed_rpm=setup.rpm,
        flutes=setup.flutes,
        idle=idle.astype(np.float64) if len(idle) >= rate_hz * LEAST_IDLE_S else None,
    )


def _spindle(setup: CutSetup, speed: Speed) -> Spindle:
    return Spindle(
        programmed_rpm=setup.rpm,
        flutes=setup.flutes,
        measured_rpm=speed.rotation_hz * 60 if speed.found else None,
        measured_rpm_sd=speed.sd_hz * 60 if speed.found else None,
    )


def _hear_otherwise(
    samples: Floats,
    idle: tuple[tuple[float, float], ...],
    studied: tuple[StudiedCut, ...],
    *,
    recording: Recording,
    doubt: Doubt | None,
    setup: CutSetup,
    air: IdleSound | None,
) -> tuple[Doubt | None, tuple[StudiedCut, ...]]:
    """Study chattering cuts at the speed that their sound favours, or that may have been mixed up."""
    study = partial(study_otherwise, samples=samples, idle=idle, recording=recording, air=air)
    if doubt is not None:
        return doubt, study(replace(setup, rpm=doubt.tooth_hz * 60 / setup.flutes), studied)
    idling = partial(hear_idling, samples=samples, idle=idle, recording=recording, dialled_rpm=setup.rpm)
    mixed = find_mix_up(studied, setup=setup, study=study, idling=idling)
    return (None, ()) if mixed is None else mixed


def _doubted(cut: JudgedCut, *, study: StudiedCut, otherwise: tuple[StudiedCut, ...]) -> JudgedCut:
    """Take the certainty from chatter where a wrong speed or flute count would explain its lines as well.

    At the speed that the sound favours the cut may be stable: then nothing is said of chatter.
    """
    if cut.verdict != "chatter" or cut.chatter_probability is None:
        return cut
    middle_s = (study.steady_start_s + study.steady_end_s) / 2
    there = [one for one in otherwise if one.section.start_s <= middle_s <= one.section.end_s]
    if any(verdict_of(one.chance) == "stable" for one in there):
        return replace(
            cut,
            verdict="undecided",
            chatter_probability=None,
            chatter_hz=None,
            onset_s=None,
            chatter_end_s=None,
            findings=tuple(one for one in cut.findings if one.code != SHORT),
            tone=None,
            lines=tuple(
                replace(line, kind="unexplained", order=None) if line.kind in CHATTER_KINDS else line
                for line in cut.lines
            ),
        )
    return replace(cut, chatter_probability=min(cut.chatter_probability, MOST_DOUBTED))


def _judge(cut: StudiedCut, *, setup: CutSetup, spoilt: bool) -> JudgedCut:
    """Turn one studied cut into its part of the document; nothing is told of a spoilt one."""
    chance = min(cut.chance, MOST_SHORT) if cut.is_short else cut.chance
    if cut.spectra.comes_and_goes:
        chance = max(chance, LEAST_GOING if chance < DOUBTFUL_GOING else EVEN)
    verdict = verdict_of(chance)
    half_db = DB_PER_NEPER * cut.evidence.halved
    loud_halves = verdict != "chatter" and half_db > HALVES_DOUBTFUL_DB
    untold = spoilt or (loud_halves and half_db > HALVES_UNTOLD_DB)
    if loud_halves:
        chance = max(chance, DOUBTFUL_RUN_OUT)
    if untold:
        verdict = "undecided"
    chattering = verdict == "chatter" or (verdict == "marginal" and bool(cut.evidence.family))
    section = cut.section
    findings: list[Finding] = []
    if section.open_start or section.open_end:
        ends = (("begins", section.open_start), ("ends", section.open_end))
        where = " and ".join(word for word, is_open in ends if is_open)
        findings.append(
            Finding(
                code="cut-at-edge",
                severity="info",
                message=f"The recording {where} inside a cut: leave three seconds of idle "
                "before and after it.",
            )
        )
    if loud_halves:
        findings.append(
            Finding(
                code="period-doubling-or-run-out",
                severity="warning",
                message="Half the tooth-passing frequency is louder than tooth passing itself, from "
                "run-out or from teeth that cut in turns: record a cut at less than half the depth at this "
                "speed; filed with --setup NAME, chatter next NAME compares them.",
            )
        )
    hum_hz = find_hum_hz(cut.evidence)
    if hum_hz is not None and verdict == "marginal":
        findings.append(
            Finding(
                code="mains-hum",
                severity="warning",
                message=f"The strongest line off the spindle's own lies at {hum_hz:.1f} Hz, where motors fed "
                "from the mains hum: it may be the spindle's motor under load, and no chatter. Look at the "
                "work.",
            )
        )
    findings.extend(say_moment(cut, verdict=verdict))
    lines = name_lines(
        cut.spectra,
        cut.evidence,
        rotation_hz=cut.speed.rotation_hz,
        flutes=setup.flutes,
        chattering=chattering,
    )
    return JudgedCut(
        start_s=None if section.open_start else section.start_s,
        end_s=None if section.open_end else section.end_s,
        measured_rpm=cut.speed.rotation_hz * 60,
        measured_rpm_sd=cut.speed.sd_hz * 60,
        verdict=verdict,
        chatter_probability=None if untold else chance,
        chatter_hz=cut.evidence.base[0].frequency_hz if chattering and cut.evidence.base else None,
        onset_s=None,
        lines=lines,
        findings=tuple(findings),
        half_passing_db=half_db if setup.flutes % 2 == 0 else None,
        tone=cut.evidence.tone if chattering else None,
    )


def _with_onset(cut: JudgedCut, study: StudiedCut, *, recording: Recording, channel: int) -> JudgedCut:
    """Add when its chatter line first reached a quarter of its power."""
    if cut.chatter_hz is None:
        return cut
    if study.is_short:
        return replace(cut, onset_s=study.steady_start_s, chatter_end_s=study.steady_end_s)
    index = round(cut.chatter_hz / study.spectra.bin_hz)
    power = study.spectra.rest_frames[:, max(0, index - 2) : index + 3].sum(axis=1)
    first = int(np.flatnonzero(power >= QUARTER * sounding_power(power))[0])
    start_s = study.section.start_s
    onset_s: float | None = study.steady_start_s + float(study.spectra.frame_times_s[first])
    if first == 0:  # from the start on: not known where the recording begins inside the cut
        onset_s = None if study.section.open_start else start_s
    if study.steady_start_s - start_s < 2 * EDGE_S:
        return replace(cut, onset_s=onset_s)
    earlier_s = find_begin_s(  # in what wasn't studied of a long cut
        recording.samples[channel],
        start_s=start_s,
        lines_hz=tuple(peak.frequency_hz for peak in study.evidence.family),
        steady_s=(study.steady_start_s, study.steady_end_s),
        rate_hz=recording.rate_hz,
    )
    return replace(cut, onset_s=onset_s if earlier_s is None else earlier_s)
