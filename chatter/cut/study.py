"""A section of sound, studied: its speed, its spectra, its evidence; and parted where no comb is believed.

In: sections of one channel, the idle beside them, what the user knows. Out: the cuts with what they hold.
Method: a compressor or a vacuum that started with the cut may run on after it; then the section that was
loud holds two states of its own, and only one of them has teeth.
Source: our own; each stage names its own.
Leaves out: the verdict (chatter/cut/verdict.py).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from chatter.cut.air_pass import IdleSound
from chatter.cut.beside import add_beside
from chatter.cut.engagement import with_cuts
from chatter.cut.evidence import Evidence, weigh, weigh_lines
from chatter.cut.idle import LEAST_TURNS, LONGEST_S, loudest_part, nearest_spans
from chatter.cut.long_cut import find_new_part
from chatter.cut.sections import Section, Sections, find_sections, find_softer, turn_round
from chatter.cut.spectrum import CutSpectra, comb_rise, cut_spectra
from chatter.cut.spindle import BELIEVED, Speed, measure_speed
from chatter.cut.verdict import probability_of_chatter
from chatter.model import CutSetup, Recording

Floats = NDArray[np.float64]
TOP_HZ = 8000.0
EDGE_S = 0.12  # entry and exit, left out of the steady part
LEAST_SAMPLES = 2048
LEAST_COMB_RISE = 0.3  # own choice: nepers; beside voices that are louder than the cut, harmonics rise little
PARTED_S = 3.0  # own choice: in a shorter cut, chatter of a second is heard in the whole of it
SWELLING_HZ = 15.0  # own choice: side tones of a tool that comes and goes lie nearer to the comb
DEEP_SHARE, DEEP_LEAST_S = 0.25, 2.0  # of a ramped pass: chatter that began late must fill what is judged


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StudiedCut:
    """One cut with everything that the stages found."""

    section: Section
    speed: Speed
    spectra: CutSpectra
    evidence: Evidence
    steady_start_s: float
    steady_end_s: float
    is_short: bool = False  # a moment that chatters, of a cut that doesn't chatter as a whole
    unlike_s: tuple[float, float] | None = None  # a moment unlike the rest, not surely chatter

    @property
    def chance(self) -> float:
        """Chance of chatter, by the evidence alone."""
        return probability_of_chatter(self.evidence)


def study_section(
    samples: Floats,
    section: Section,
    *,
    idle: tuple[tuple[float, float], ...],
    recording: Recording,
    setup: CutSetup,
    idle_recording: IdleSound | None,
    idling_hz: float | None,
) -> StudiedCut | None:
    """Measure speed and evidence in one section.

    Of a long one the middle is studied, and of a ramped pass the deep end. Where another part holds lines
    that the middle lacks, or a part of a short one holds what the rest lacks, that is studied, too, and the
    likelier to chatter speaks for the cut.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    section
        What to study of it.
    idle
        Spans without cutting, s; the nearest are used.
    recording, setup
        What the channel is of, and what the user knows.
    idle_recording, idling_hz
        Another recording without cutting, and the rotation frequency without cutting; None if not known.

    Returns
    -------
    StudiedCut or None
        None when the section is too short, or no comb is there.
    """
    study = partial(
        study_part,
        samples,
        section=section,
        idle=idle,
        recording=recording,
        setup=setup,
        idle_recording=idle_recording,
        idling_hz=idling_hz,
    )
    edge_s = min(EDGE_S, 0.1 * (section.end_s - section.start_s))
    start_s, end_s = section.start_s + edge_s, section.end_s - edge_s
    if setup.is_ramp:  # the deep end decides
        deep_s = min(LONGEST_S, max(DEEP_LEAST_S, DEEP_SHARE * (end_s - start_s)))
        return study(max(start_s, end_s - deep_s), end_s)
    middle_s, half_s = (start_s + end_s) / 2, min(LONGEST_S, end_s - start_s) / 2
    studied = study(middle_s - half_s, middle_s + half_s)
    if studied is None or end_s - start_s < PARTED_S:
        return studied
    new = find_new_part(
        samples,
        (start_s, end_s),
        studied_s=(studied.steady_start_s, studied.steady_end_s),
        longest_s=LONGEST_S,
        rate_hz=recording.rate_hz,
        top_hz=float(studied.spectra.hz[-1]),
    )
    there = None if new is None else study(*new)
    return studied if there is None or there.chance <= studied.chance else there


def study_part(
    samples: Floats,
    start_s: float,
    end_s: float,
    *,
    section: Section,
    idle: tuple[tuple[float, float], ...],
    recording: Recording,
    setup: CutSetup,
    idle_recording: IdleSound | None,
    idling_hz: float | None,
) -> StudiedCut | None:
    """Study a part of a section, between two times.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    start_s, end_s
        The part.
    section, idle, recording, setup, idle_recording, idling_hz
        As for `study_section`.

    Returns
    -------
    StudiedCut or None
        None when the part is too short, or no comb is there.
    """
    rate_hz = recording.rate_hz
    if (end_s - start_s) * setup.rpm / 60 < LEAST_TURNS:
        return None
    part = samples[int(start_s * rate_hz) : int(end_s * rate_hz)]
    if len(part) < LEAST_SAMPLES or not np.any(part):
        return None
    near = nearest_spans(idle, section)
    idle_parts = tuple(samples[int(a * rate_hz) : int(b * rate_hz)] for a, b in near)
    speed = measure_speed(
        part,
        rate_hz=rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        programmed_rpm=setup.rpm,
        flutes=setup.flutes,
        idling_hz=idling_hz,
        idle=loudest_part(idle_parts, rate_hz=rate_hz),
    )
    if not speed.found:
        return None
    listen = partial(
        cut_spectra,
        part,
        rate_hz=rate_hz,
        top_hz=min(TOP_HZ, 0.45 * rate_hz, 0.95 * recording.bandwidth_hz),
        speed=speed,
        idle_parts=idle_parts,
        idle_recording=idle_recording,
    )
    beside = partial(
        add_beside,
        samples=samples,
        section=section,
        idle=idle,
        rate_hz=rate_hz,
        rotation_hz=speed.rotation_hz,
        flutes=setup.flutes,
    )
    spectra = beside(listen())
    evidence = weigh(spectra, rotation_hz=speed.rotation_hz, flutes=setup.flutes)
    if spectra.comes_and_goes:
        throughout = beside(listen(throughout=True))
        by_lines = weigh_lines(
            evidence, throughout, rotation_hz=speed.rotation_hz, flutes=setup.flutes, away_hz=SWELLING_HZ
        )
        if by_lines is evidence:
            all_of_it = weigh(throughout, rotation_hz=speed.rotation_hz, flutes=setup.flutes)
            if probability_of_chatter(all_of_it) < probability_of_chatter(evidence):
                by_lines = all_of_it  # what comes and goes only adds to what seems not to repeat
        if by_lines is not evidence:
            spectra, evidence = replace(throughout, comes_and_goes=True), by_lines
    return StudiedCut(
        section=section,
        speed=speed,
        spectra=spectra,
        evidence=evidence,
        steady_start_s=start_s,
        steady_end_s=end_s,
    )


def look_inside(
    samples: Floats,
    sections: Sections,
    *,
    recording: Recording,
    setup: CutSetup,
    study: Callable[..., StudiedCut | None],
) -> tuple[Sections, dict[Section, StudiedCut | None]]:
    """Study every section, and part those without a believed comb by the two states they may hold.

    Where none has one, what lies between them may be the cuts: speech or music beside them was louder.

    Parameters
    ----------
    samples
        Shape (n,), the channel.
    sections
        Where it is loud, and where it idles.
    recording, setup
        What the channel is of, and what the user knows.
    study
        Takes a section and idle spans, as study_section.

    Returns
    -------
    sections, known
        A section is parted where a part has a likelier comb; what its own quieter state holds is idle then.
        Each section that is left, and what was found in it.
    """
    cuts: list[Section] = []
    idle = list(sections.idle)
    known: dict[Section, StudiedCut | None] = {}
    for section in sections.cuts:
        cut = study(section, idle=sections.idle)
        chance = 0.0 if cut is None else cut.speed.chance
        if chance < BELIEVED:
            parts, quiet = _states_of(samples, section, recording=recording, setup=setup)
            inner = {part: study(part, idle=(*sections.idle, *quiet)) for part in parts}
            if _surest(inner) > chance:
                known |= inner
                cuts.extend(parts)
                idle.extend(quiet)
                continue
        known[section] = cut
        cuts.append(section)
    turned = turn_round(sections)
    if turned is not None and _surest(known) < BELIEVED:
        others = {part: study(part, idle=turned.idle) for part in turned.cuts}
        louder = {part: cut for part, cut in others.items() if cut is not None and _is_louder(cut)}
        if _surest(louder) >= BELIEVED:  # else the spindle idles between voices
            return turned, others
    sections = replace(sections, cuts=tuple(cuts), idle=tuple(sorted(idle)))
    if _surest(known) >= BELIEVED:
        return sections, known
    softer = find_softer(
        samples,
        sections,
        rate_hz=recording.rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        rotation_hz=setup.rpm / 60,
    )
    left = with_cuts(sections, softer.spells).idle
    beside = {one: study(one, idle=left) for one in softer.spells}
    found = {
        one: cut
        for one, cut in beside.items()
        if cut is not None and cut.speed.chance >= BELIEVED and _is_louder(cut)
    }
    if not found:
        return sections, known
    rest = tuple(one for one in softer.spells if one not in found)
    return replace(with_cuts(sections, tuple(found)), spells=rest), known | found


def _is_louder(cut: StudiedCut) -> bool:
    """Say whether the spindle's harmonics are louder than in its idle part, whatever else is loud there."""
    if cut.spectra.idle is None:  # nothing to tell it from a spindle that idles
        return False
    return comb_rise(cut.spectra, rotation_hz=cut.speed.rotation_hz) > LEAST_COMB_RISE


def _surest(studied: Mapping[Section, StudiedCut | None]) -> float:
    """Give the best chance that a section's comb is the spindle's."""
    return max((one.speed.chance for one in studied.values() if one is not None), default=0.0)


def _states_of(
    samples: Floats, section: Section, *, recording: Recording, setup: CutSetup
) -> tuple[tuple[Section, ...], tuple[tuple[float, float], ...]]:
    """Give the louder spells inside a section, and the quieter spans, s; none where it has one state only."""
    rate_hz, first_s = recording.rate_hz, section.start_s
    inside = find_sections(
        samples[int(first_s * rate_hz) : int(section.end_s * rate_hz)],
        rate_hz=rate_hz,
        bandwidth_hz=recording.bandwidth_hz,
        rotation_hz=setup.rpm / 60,
    )
    parts = tuple(
        Section(
            start_s=first_s + one.start_s,
            end_s=section.end_s if one.open_end else first_s + one.end_s,
            open_start=one.open_start and section.open_start,
            open_end=one.open_end and section.open_end,
        )
        for one in inside.cuts
    )
    return parts, tuple((first_s + start_s, first_s + end_s) for start_s, end_s in inside.idle)
