"""One recording in, one `cut` document out.

In: the path of a recording and what the user knows about the cut. Out: a frozen `CutDocument`.
Leaves out: every analysis (the pipelines do it) and every layout (report/).
"""

from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path

from chatter.analysis._files import file_settings, hash_file
from chatter.analysis._parts import program_part, recording_part
from chatter.analysis._taps import read_tap
from chatter.analysis._values import checked_setup
from chatter.errors import FileProblemError
from chatter.model import CutDocument, Direction, Finding

SLOWEST_USUAL_RPM = 60.0  # own choice: no mill turns a cutter slower; 7.000 typed for 7,000 is read as 7


def analyse_cut(
    path: str | Path,
    *,
    rpm: float,
    flutes: int,
    min_rpm: float | None = None,
    max_rpm: float | None = None,
    tool_max_rpm: float | None = None,
    depth_mm: float | None = None,
    max_depth_mm: float | None = None,
    width_mm: float | None = None,
    diameter_mm: float | None = None,
    direction: Direction | None = None,
    feed_mm_min: float | None = None,
    stick_out_mm: float | None = None,
    spindle_power_w: float | None = None,
    material: str | None = None,
    depth_from_mm: float | None = None,
    depth_to_mm: float | None = None,
    idle: str | Path | None = None,
    tap: Sequence[str | Path] = (),
    setup: str | None = None,
    notebook: str | Path | None = None,
    pictures: bool = False,
) -> CutDocument:
    """Say whether the cuts in one recording chattered, and what to set next.

    Parameters
    ----------
    path
        The recording, in any format a phone writes.
    rpm
        Spindle speed as dialled, rev/min.
    flutes
        Cutting edges of the tool.
    min_rpm, max_rpm, tool_max_rpm
        What the spindle can be set to and the tool may turn, rev/min.
    depth_mm, max_depth_mm, width_mm, diameter_mm
        Axial depth of the cut and the largest one to suggest, radial width, tool diameter, mm.
    direction
        "up" (conventional) or "climb".
    feed_mm_min
        Feed of this cut, mm/min.
    stick_out_mm
        Length of tool outside the holder, mm.
    spindle_power_w
        Power of the spindle, W.
    material
        What is cut, by a name such as "6061", "brass" or "plywood".
    depth_from_mm, depth_to_mm
        Axial depths at the two ends of a pass whose depth changes evenly, mm; both or none.
    idle
        A recording without cutting, best of the same program run in air.
    tap
        Documents of tapped modes, as `chatter tap --json` writes them.
    setup
        Name of a setup of the notebook: the cut is filed there, its facts and history are used, and the
        document has a `notebook` part. One that is not there yet is made from the values given.
    notebook
        File of the notebook; the one in the user's data folder when not given.
    pictures
        Whether to give what the pictures of a report show, too: `analysis.pictures`, no part of `to_dict()`.

    Returns
    -------
    CutDocument
        The answer; `to_dict()` gives the `cut` document.

    Raises
    ------
    BadValueError
        A value is out of its range.
    FileProblemError, BadSamplesError
        A recording or a tap document can't be read, or the idle recording is the cut's own.
    NotebookError
        The notebook can't be used.
    """
    values = {
        "rpm": rpm,
        "flutes": flutes,
        "min_rpm": min_rpm,
        "max_rpm": max_rpm,
        "tool_max_rpm": tool_max_rpm,
        "depth_mm": depth_mm,
        "max_depth_mm": max_depth_mm,
        "width_mm": width_mm,
        "diameter_mm": diameter_mm,
        "direction": direction,
        "feed_mm_min": feed_mm_min,
        "stick_out_mm": stick_out_mm,
        "spindle_power_w": spindle_power_w,
        "material": material,
        "depth_from_mm": depth_from_mm,
        "depth_to_mm": depth_to_mm,
    }
    known = checked_setup(values)
    history = None
    if setup is not None:
        from chatter.analysis._filing import file_cut
        from chatter.analysis._notebook import begin_history

        history = begin_history(setup, notebook=notebook, values=asdict(known))
        known = checked_setup(history.values)
    tap_paths = tuple(Path(name) for name in ([tap] if isinstance(tap, (str, Path)) else tap))
    taps = tuple(read_tap(path) for path in tap_paths)
    if history is not None:
        told = {one.of for one in taps}  # a tap that is told takes the place of the kept one of its part
        history = replace(history, taps=tuple(one for one in history.taps if one.of not in told))
    # Imported here: scipy takes longer to load than a wrong value or file takes to refuse.
    from chatter.audio import read_recording

    recording = read_recording(Path(path))
    idle_path = None if idle is None else Path(idle)
    if idle_path is not None and hash_file(idle_path) == recording.sha256:
        raise FileProblemError(
            idle_path.name,
            "it is the recording of the cut itself, so it can't be the idle one",
            "give a recording without cutting, or none",
        )
    idle_recording = None if idle_path is None else read_recording(idle_path)
    idle_sha256 = None if idle_recording is None else idle_recording.sha256
    files = file_settings(idle=idle_path, idle_sha256=idle_sha256, taps=tap_paths)

    from chatter.advice import advise
    from chatter.advice.rings import name_ringing
    from chatter.cut.pipeline import judge_recording

    analysis = judge_recording(recording, setup=known, idle=idle_recording, pictures=pictures)
    analysis = replace(analysis, findings=(*_doubt_typing(known.rpm), *analysis.findings))
    earlier = () if history is None else history.without(recording.sha256)
    taps += () if history is None else history.taps
    advised = known
    if analysis.ramp_pass is not None and not analysis.ramp_pass.grows:  # then its depth isn't known
        advised = replace(known, depth_mm=None, depth_from_mm=None, depth_to_mm=None)
    document = CutDocument(
        program=program_part({**asdict(known), **files}),
        recording=recording_part(recording, channel=analysis.channel, findings=analysis.findings),
        analysis=analysis,
        advice=advise(analysis, setup=advised, taps=taps, earlier=earlier),
        rings=name_ringing(analysis, taps=taps),
    )
    if history is None:
        return document
    part, counts = file_cut(history, document=document.to_dict(), facts=asdict(known))
    return replace(document, notebook=part, counts=counts)


def _doubt_typing(rpm: float) -> tuple[Finding, ...]:
    """Ask whether thousands were meant, where the speed is far slower than any mill turns."""
    if rpm >= SLOWEST_USUAL_RPM:
        return ()
    message = (
        f"The speed was taken as {rpm:g} rpm, far slower than mills turn: if {1000 * rpm:,.0f} was meant, "
        f"type {1000 * rpm:.0f}, without a point or a comma."
    )
    return (Finding(code="speed-as-typed", severity="warning", message=message),)
