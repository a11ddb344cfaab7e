"""One recording in, one `noise` document out.

In: the path of a recording, what full scale stands for, where people are. Out: a `NoiseDocument`.
Leaves out: every formula (noise/) and every layout (report/); several recordings (_noise_compare.py).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chatter.analysis._calibrations import FULL_SCALES_DB, find_calibration
from chatter.analysis._cut_documents import ReadCut, as_read_cut, read_cuts
from chatter.analysis._files import hash_file
from chatter.analysis._noise_findings import doubt_faint, list_noise_findings
from chatter.analysis._noise_scene import LIMITS, Facade, Scene, read_scene, spread_noise
from chatter.analysis._parts import program_part
from chatter.analysis._values import MAX_FLUTES, MAX_RPM, as_list, read_number, read_whole_number
from chatter.errors import BadValueError, FileProblemError
from chatter.model.noise import Calibration, NoiseAnalysis, NoiseDocument, NoiseLevels

if TYPE_CHECKING:
    from chatter.analysis._notebook import History

Progress = Callable[[float, float | None], None]
BESIDE = ("path", "cut", "setup", "notebook", "progress")  # arguments that are no settings of an answer
NAMED_UP_TO_S = 120.0  # own choice: a longer recording is no single cut, and judging it as one takes long


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One recording as heard, re full scale, with its `recording` part."""

    recording: dict[str, Any]
    analysis: NoiseAnalysis


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What was asked about a recording, checked."""

    calibration: Calibration
    rpm: float | None
    flutes: int | None
    scene: Scene
    settings: dict[str, Any]


def measure_noise(
    path: str | Path,
    *,
    full_scale_db: float | None = None,
    calibration: str | None = None,
    rpm: float | None = None,
    flutes: int | None = None,
    mic_distance_m: float | None = None,
    neighbour_distance_m: float | None = None,
    screen_height_m: float | None = None,
    screen_distance_m: float | None = None,
    machine_height_m: float | None = None,
    neighbour_height_m: float | None = None,
    indoors: bool = False,
    opening: str | Sequence[str] = (),
    room_m3: float | None = None,
    facade: Facade = "none",
    ear_distance_m: float | None = None,
    limit_db: float | None = None,
    minutes: float | None = None,
    evening_h: float | None = None,
    cut: str | Path | Sequence[str | Path] = (),
    setup: str | None = None,
    notebook: str | Path | None = None,
    progress: Progress | None = None,
) -> NoiseDocument:
    """Measure the noise in a recording of any length, and say what it is for the neighbour and the operator.

    Parameters
    ----------
    path
        The recording, in any format a phone writes.
    full_scale_db
        Sound pressure level of a signal whose rms is digital full scale, dB re 20 µPa.
    calibration
        Name of a calibration that is kept, instead of `full_scale_db`. Without either a typical phone is
        taken.
    rpm, flutes
        Spindle speed as dialled and cutting edges: then tones are named. Both or none; for a setup that isn't
        there yet flutes alone will do.
    mic_distance_m
        Machine to phone, m.
    neighbour_distance_m
        Machine to neighbour, m; indoors from the openings. Then the level there is given.
    screen_height_m, screen_distance_m
        A solid fence between: its height, and its distance from the machine, indoors from the openings (half
        way where not told), m.
    machine_height_m, neighbour_height_m
        Over the ground, m; 1 and 1.5 where not told. Indoors the first is the height of the openings, 1.5.
        They count only with a screen.
    indoors
        Whether machine and phone stand in a room, with `opening` leading out of it.
    opening
        Walls, doors and windows towards the neighbour, each as name:area in m².
    room_m3
        Volume of the room, m³.
    facade
        Where at the neighbour: in the open ("none"), 0.5 to 2 m "in front" of the wall, or "on it".
    ear_distance_m
        Cut to the operator's ear, m: then the daily exposure is given.
    limit_db
        A limit for the rated level at the neighbour, dB.
    minutes
        Minutes of cutting, in the evening and in a day. Not told: the whole evening, and a day of 8 h.
    evening_h
        The time that the limit's mean is taken over, h; 4 where not told.
    cut
        The `cut` document of this recording (a JSON file): it gives speed and flutes, where not told.
    setup, notebook
        File the answer with this setup of the notebook. The setup's cut of the same recording gives speed and
        flutes, where not told.
    progress
        Called now and then with the seconds done, and all of them where the file says so.

    Returns
    -------
    NoiseDocument
        The answer; `to_dict()` gives the `noise` document.

    Raises
    ------
    BadValueError
        A value is out of its range, lacks another that it needs, or a `cut` document is of another file.
    FileProblemError, BadSamplesError
        The recording can't be read, or is too short to have a level.
    """
    options = {name: value for name, value in locals().items() if name not in BESIDE}
    wanted, history = begin_filing(options, setup=setup, notebook=notebook)
    cuts = read_cuts(as_list(cut), recordings=[Path(path)])
    measured = measure(Path(path), progress=progress)
    cuts += kept_cuts(history, measured)
    return filed(answer(measured, with_cut(wanted, measured, cuts), path=Path(path)), history)


def begin_filing(
    options: dict[str, Any], *, setup: str | None, notebook: str | Path | None
) -> "tuple[Wanted, History | None]":
    """Check the options, and look the setup up before the work, not after it; its flutes stand in.

    Raises
    ------
    BadValueError
        A value can't be used, or a new setup lacks its flutes.
    """
    if setup is None:
        return read_wanted(options), None
    if options["flutes"] is not None:
        options = {**options, "flutes": read_whole_number("flutes", options["flutes"], MAX_FLUTES)}
    from chatter.analysis._notebook import begin_history

    history = begin_history(setup, notebook=notebook, values={"flutes": options["flutes"]})
    if history.is_new and options["flutes"] is None:
        near = "".join(f" (there is {name!r})" for name in history.near_names[:1])
        raise BadValueError(
            "setup", history.setup, f"a setup that is there{near}, or flutes to make a new one"
        )
    if options["rpm"] is not None:
        options = {**options, "flutes": history.values["flutes"]}
    return read_wanted(options, flutes_alone=True), history  # they are the setup's, too


def kept_cuts(history: "History | None", measured: Measured) -> list[ReadCut]:
    """Give the setup's cut of the same recording, where there is one."""
    if history is None:
        return []
    from chatter.analysis._filing import find_kept_cut

    document = find_kept_cut(history, measured.recording["sha256"])
    return [] if document is None else [as_read_cut(document)]


def filed(document: NoiseDocument, history: "History | None") -> NoiseDocument:
    """File an answer with a setup; give it back with what became of it."""
    if history is None:
        return document
    from chatter.analysis._filing import file_noise

    return replace(document, notebook=file_noise(history, document=document.to_dict()))


def read_wanted(options: dict[str, Any], *, flutes_alone: bool = False) -> Wanted:
    """Check every option of `measure_noise` once, at the public edge.

    Parameters
    ----------
    options
        All of them.
    flutes_alone
        Whether flutes may be told without a speed, as a fact of the setup.
    """
    # Imported here: scipy takes longer to load than a wrong value takes to refuse.
    from chatter.noise.calibration import given, typical_phone

    options = {**options, "opening": as_list(options["opening"])}
    full_scale_db, name = options["full_scale_db"], options["calibration"]
    if full_scale_db is not None and name is not None:
        raise BadValueError("calibration", name, "either it or full_scale_db, not both")
    if full_scale_db is not None:
        full_scale_db = read_number("full_scale_db", full_scale_db, FULL_SCALES_DB[1], zero_allowed=True)
        calibration = given(full_scale_db)
    else:
        calibration = typical_phone() if name is None else find_calibration(name)
    rpm, flutes = options["rpm"], options["flutes"]
    if (rpm is None) != (flutes is None) and not (flutes_alone and rpm is None):
        missing, other = ("flutes", "rpm") if flutes is None else ("rpm", "flutes")
        raise BadValueError(missing, None, f"both rpm and flutes, to name the tones; only {other} is there")
    rpm = None if rpm is None else read_number("rpm", rpm, MAX_RPM)
    flutes = None if flutes is None else read_whole_number("flutes", flutes, MAX_FLUTES)
    scene = read_scene(options)
    numbers = {one: None if options[one] is None else float(options[one]) for one in LIMITS}  # checked now
    settings = {
        **options,
        **numbers,
        "full_scale_db": full_scale_db,
        "rpm": rpm,
        "flutes": flutes,
        "indoors": bool(options["indoors"]),
    }
    return Wanted(calibration=calibration, rpm=rpm, flutes=flutes, scene=scene, settings=settings)


def with_cut(wanted: Wanted, measured: "Measured", cuts: Sequence[ReadCut]) -> Wanted:
    """Take speed and flutes from the `cut` document of a recording, where they were not told."""
    mine = [one for one in cuts if one.sha256 == measured.recording["sha256"]]
    if not mine:
        return wanted
    if wanted.rpm is not None:
        if (wanted.rpm, wanted.flutes) != (mine[-1].rpm, mine[-1].flutes):
            told = (
                f"{mine[-1].rpm:g} with {mine[-1].flutes} flutes, as this recording's cut has it, or neither"
            )
            raise BadValueError("rpm", wanted.rpm, told)
        return wanted
    rpm, flutes = mine[-1].rpm, mine[-1].flutes
    if wanted.flutes is not None and wanted.flutes != flutes:
        raise BadValueError("flutes", wanted.flutes, f"{flutes}, as this recording's cut has it")
    return replace(wanted, rpm=rpm, flutes=flutes, settings={**wanted.settings, "rpm": rpm, "flutes": flutes})


def measure(path: Path, *, progress: Progress | None = None) -> Measured:
    """Measure a recording re full scale, in one pass and constant memory."""
    from chatter.audio import read_blocks
    from chatter.audio.files import stated_length_s
    from chatter.noise.pipeline import BLOCK_S, analyse_blocks

    blocks = read_blocks(path, block_s=BLOCK_S)
    sha256 = hash_file(path)
    length_s = stated_length_s(path) if progress is not None else None

    def show(done_s: float) -> None:
        if progress is not None:
            progress(done_s, length_s)

    analysis = analyse_blocks(blocks, name=path.name, progress=show)
    recording = {
        "file": path.name,
        "sha256": sha256,
        "duration_s": analysis.duration_s,
        "sample_rate_hz": analysis.rate_hz,
        "bandwidth_hz": analysis.bandwidth_hz,
        "channel": analysis.channel,
        "findings": [finding.to_dict() for finding in analysis.findings],
    }
    return Measured(recording=recording, analysis=analysis)


def answer(measured: Measured, wanted: Wanted, *, path: Path) -> NoiseDocument:
    """Calibrate what was heard, name its tones, and say what it does elsewhere."""
    from chatter.noise.calibration import widen

    analysis = measured.analysis
    faint = doubt_faint(
        analysis.levels.LCpeak_db,
        calibration=wanted.calibration,
        mic_distance_m=wanted.scene.mic_distance_m,
    )
    calibration = widen(wanted.calibration, findings=[*analysis.findings, *faint])
    scale_db = calibration.full_scale_db
    measured_rpm, tones, doubts = _named_tones(analysis, wanted, path)
    mean_db, loud_part = _shift(analysis.levels.LAeq_db, scale_db), analysis.loud_part
    if loud_part is not None:
        loud_part = replace(loud_part, LAeq_db=loud_part.LAeq_db + scale_db)
    findings = [
        *measured.recording["findings"],
        *(finding.to_dict() for finding in faint),
        *doubts,
        *list_noise_findings(wanted.scene, full_scale_db=scale_db, loud_part=loud_part, mean_db=mean_db),
    ]
    document = NoiseDocument(
        program=program_part(wanted.settings),
        recording={**measured.recording, "findings": findings},
        calibration=calibration,
        levels=NoiseLevels(
            **{name: _shift(level, scale_db) for name, level in analysis.levels.to_dict().items()}
        ),
        bands=tuple(replace(band, Leq_db=_shift(band.Leq_db, scale_db)) for band in analysis.bands),
        tones=tuple(replace(tone, level_db=tone.level_db + scale_db) for tone in tones),
        tonal_adjustment_db=analysis.tonal_adjustment_db,
        measured_rpm=measured_rpm,
        loud_part=loud_part,
    )
    return spread_noise(document, scene=wanted.scene)


def _shift(level_db: float | None, scale_db: float) -> float | None:
    return None if level_db is None else level_db + scale_db


def _named_tones(
    analysis: NoiseAnalysis, wanted: Wanted, path: Path
) -> tuple[float | None, Any, list[dict[str, Any]]]:
    """Name tones by the cut pipeline's lines and the spindle's comb; give doubts of what was told, too."""
    if wanted.rpm is None or wanted.flutes is None or not analysis.tones:
        return None, analysis.tones, []
    from chatter.noise.naming import name_tone

    measured_rpm, lines = None, []
    if analysis.duration_s <= NAMED_UP_TO_S:
        from chatter.audio import read_recording
        from chatter.cut.pipeline import judge_recording
        from chatter.model import CutSetup

        try:
            recording = read_recording(path)
        except FileProblemError:  # too many channels to hold at once: the comb of the dialled speed is left
            recording = None
        if recording is not None:
            cut = judge_recording(recording, setup=CutSetup(rpm=wanted.rpm, flutes=wanted.flutes))
            doubts = [one.to_dict() for one in cut.findings if one.code == "facts-do-not-fit"]
            if doubts:  # names by a wrong speed would send people after the wrong thing
                return None, analysis.tones, doubts
            measured_rpm = cut.spindle.measured_rpm
            lines = [line for judged in cut.cuts for line in judged.lines]
    rpm = wanted.rpm if measured_rpm is None else measured_rpm
    tones = tuple(
        replace(
            tone,
            source=name_tone(
                tone.frequency_hz,
                rotation_hz=rpm / 60,  # [rev/min] / [s/min] = [rev/s]
                measured=measured_rpm is not None,
                flutes=wanted.flutes,
                lines=lines,
            ),
        )
        for tone in analysis.tones
    )
    return measured_rpm, tones, []
