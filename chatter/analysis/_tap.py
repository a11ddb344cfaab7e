"""One recording of taps in, one `tap` document out.

In: the path of a recording, what was tapped, and another recording to compare with. Out: a `TapDocument`.
Leaves out: every analysis (chatter/tap does it) and every layout (report/).
"""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chatter.analysis._files import hash_file
from chatter.analysis._parts import program_part, recording_part
from chatter.analysis._taps import PARTS, read_tap
from chatter.analysis._values import MAX_FLUTES, MAX_RPM, read_number, read_whole_number
from chatter.errors import BadValueError, FileProblemError
from chatter.model.tap import SLOWEST_RPM, FavouredSpeed, TapDocument, TapMode, TapPart

if TYPE_CHECKING:
    from chatter.analysis._notebook import History

MOST_SPEEDS = 6


def analyse_tap(
    path: str | Path,
    *,
    of: TapPart = "tool",
    compare: str | Path | None = None,
    flutes: int | None = None,
    max_rpm: float | None = None,
    setup: str | None = None,
    notebook: str | Path | None = None,
) -> TapDocument:
    """Find natural frequencies and damping in a recording of taps.

    Parameters
    ----------
    path
        The recording, in any format a phone writes.
    of
        What was tapped: "tool", "frame" or "work".
    compare
        A recording, or a `tap` document (.json), from before a change.
    flutes
        Cutting edges of the tool: then the speeds that the strongest mode favours are given.
    max_rpm
        Fastest speed to name; not kept with a setup. The setup's own where not told, and never above that.
    setup
        Name of a setup of the notebook: the modes are filed there, and count in the advice from then on. One
        that is not there yet is made, and needs `flutes`. Speeds are named that its spindle and tool allow.
    notebook
        File of the notebook; the one in the user's data folder when not given.

    Returns
    -------
    TapDocument
        The answer; `to_dict()` gives the `tap` document.

    Raises
    ------
    BadValueError
        A value is out of its range.
    FileProblemError, BadSamplesError
        A recording or a document can't be read, or the document is of another part.
    NotebookError
        The notebook can't be used.
    """
    if of not in PARTS:
        raise BadValueError("of", of, "tool, frame or work")
    edges = None if flutes is None else read_whole_number("flutes", flutes, MAX_FLUTES)
    fastest = None if max_rpm is None else read_number("max_rpm", max_rpm, MAX_RPM)
    history = None
    if setup is not None:
        from chatter.analysis._filing import file_tap
        from chatter.analysis._notebook import begin_history

        # Without the fastest speed: how far to name speeds is a question, and no fact of the spindle.
        asked = {"flutes": edges, "min_rpm": None, "max_rpm": None, "tool_max_rpm": None}
        history = begin_history(setup, notebook=notebook, values=asked)
        edges = history.values["flutes"]
        if edges is None:
            raise BadValueError("flutes", None, "how many cutting edges the tool has, to make a setup")
        fastest = _fastest_rpm(fastest, of=history)
    before_path = None if compare is None else Path(compare)
    told = before_path is not None and before_path.suffix.lower() == ".json"
    before = _read_before(before_path, of=of) if before_path is not None and told else ()
    # Imported here: scipy takes longer to load than a wrong value or file takes to refuse.
    from chatter.audio import read_recording
    from chatter.audio.findings import QUIET, SHORT, reword
    from chatter.tap.compare import compare_taps
    from chatter.tap.findings import QUIET_HERE, SHORT_HERE, not_compared
    from chatter.tap.pipeline import judge_taps

    recording = read_recording(Path(path))
    comparison, before_sha256 = None, None
    if before_path is not None:
        if not told:
            other = read_recording(before_path)
            before_sha256 = other.sha256
            before = judge_taps(other).modes
            if not before:
                raise FileProblemError(
                    before_path.name,
                    "no tap that rings is heard in it, so there is nothing to compare with",
                    "record the taps again",
                )
        else:
            before_sha256 = hash_file(before_path)
    analysis = judge_taps(recording)
    heard = reword(recording.findings, like=QUIET, message=QUIET_HERE)
    findings = [*reword(heard, like=SHORT, message=SHORT_HERE), *analysis.findings]
    if before_path is not None and analysis.modes:
        comparison = compare_taps(analysis.modes, before=before, before_file=before_path.name)
    elif before_path is not None:
        findings.append(not_compared(before_path.name))
    settings = {
        "of": of,
        "compare": None if before_path is None else before_path.name,
        "compare_sha256": before_sha256,
        "flutes": edges,
        "max_rpm": fastest,
    }
    limits_rpm = _limits_rpm(fastest, kept={} if history is None else history.values)
    document = TapDocument(
        program=program_part(settings),
        recording=recording_part(recording, channel=analysis.channel, findings=tuple(findings)),
        of=of,
        analysis=analysis,
        flutes=edges,
        speeds=_favoured(analysis.modes, flutes=edges, limits_rpm=limits_rpm),
        speed_limits_rpm=limits_rpm,
        comparison=comparison,
    )
    if history is None:
        return document
    return replace(document, notebook=file_tap(history, document=document.to_dict(), facts={"flutes": edges}))


def _fastest_rpm(told_rpm: float | None, *, of: "History") -> float | None:
    """Give the fastest speed to name for a setup: the one told, and never above its spindle's own."""
    low_rpm, high_rpm = of.values["min_rpm"], of.values["max_rpm"]
    if told_rpm is not None and low_rpm is not None and told_rpm < low_rpm:
        needed = f"a speed that is not below min_rpm of the setup {of.setup!r} ({low_rpm:g})"
        raise BadValueError("max_rpm", told_rpm, needed)
    return min((rpm for rpm in (told_rpm, high_rpm) if rpm is not None), default=None)


def _read_before(path: Path, *, of: TapPart) -> tuple[TapMode, ...]:
    """Read the modes of a `tap` document to compare with; a document of another part can tell no change."""
    before = read_tap(path)
    if before.of != of:
        raise FileProblemError(
            path.name,
            f"it holds taps of the {before.of}, and these are said to be taps of the {of}",
            f"compare with taps of the {of}, or say that the {before.of} was tapped here too",
        )
    return before.modes


def _limits_rpm(fastest_rpm: float | None, *, kept: dict[str, Any]) -> tuple[float | None, float | None]:
    """Give the slowest and the fastest speed by what was told and the setup's facts; None where not told."""
    tops = [top for top in (fastest_rpm, kept.get("tool_max_rpm")) if top is not None]
    return kept.get("min_rpm"), min(tops, default=None)


def _favoured(
    modes: tuple[TapMode, ...], *, flutes: int | None, limits_rpm: tuple[float | None, float | None]
) -> tuple[FavouredSpeed, ...]:
    """Give the speeds at which the strongest mode swings a whole number of times from tooth to tooth.

    Source: Smith and Tlusty, J. Eng. Ind. 112/2, 1990: teeth pass at the natural frequency or a whole share.
    """
    if flutes is None or not modes:
        return ()
    mode = modes[0]
    slowest_rpm, fastest_rpm = max(SLOWEST_RPM, limits_rpm[0] or 0.0), limits_rpm[1] or MAX_RPM
    speeds: list[FavouredSpeed] = []
    for lobe in range(1, 60):
        rpm = 60 * mode.frequency_hz / (flutes * lobe)  # [s/min] * [1/s] / [teeth/rev]
        if rpm < slowest_rpm or len(speeds) == MOST_SPEEDS:
            break
        if rpm <= fastest_rpm:
            sd = rpm * (mode.frequency_sd_hz or 0.0) / mode.frequency_hz
            speeds.append(FavouredSpeed(rpm=rpm, rpm_sd=sd, lobe=lobe))
    return tuple(speeds)
