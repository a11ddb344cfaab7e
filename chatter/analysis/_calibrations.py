"""Calibrations that the user keeps by name, and how one is made.

In: a recording of a known level, a name. Out: a `CalibrationDocument`; a line in the user's data folder.
Method: the level told, less the level heard. Of a calibrator's tone the middle level counts (LAF50), so that
setting it on and taking it off do no harm; of any other sound the equivalent level, as a meter beside it
shows.
Source: IEC 60942 (what a calibrator is); IEC 61672-1:2013, Annex E (A and C weighting of its tone).
Leaves out: the microphone's response over frequency.
"""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Literal

from chatter.analysis._files import replace_text
from chatter.analysis._folders import data_folder
from chatter.analysis._parts import program_part
from chatter.errors import BadValueError, FileProblemError, OutputError
from chatter.model.noise import Calibration, CalibrationDocument
from chatter.notebook.checks import check_name, name_key

Weighting = Literal["A", "C", "Z"]
WEIGHTINGS = ("A", "C", "Z")
LEVELS_DB = (30.0, 140.0)  # own choice: a phone's own noise is about as loud, and none takes more
SHORTEST_S = 3.0  # own choice: a meter's Slow reading needs that long to settle
FULL_SCALES_DB = (0.0, 250.0)  # own choice: any microphone there is
MOST_UNCERTAINTY_DB = 60.0  # own choice: any kept entry lies below
TONES_HZ = (100.0, 4000.0)  # own choice: calibrators give 250 Hz or 1 kHz
TONE_SHARE = 0.9  # own choice: of the A-weighted energy that must be the tone's; 0.5 dB
STEADY_DB = 1.0  # own choice: a calibrator's level stays within a tenth of that
MOST_NAME = 60
BUSY_S = 30.0  # own choice: a change takes milliseconds
REMEDY = "make room there, or allow writing"
UNCERTAINTIES_DB = (0.0, 20.0)


def calibrations_file() -> Path:
    """Give the file that calibrations are kept in."""
    return data_folder() / "calibrations.json"


def make_calibration(
    name: str,
    path: str | Path,
    *,
    level_db: float,
    weighting: Weighting = "A",
    tone_hz: float | None = None,
    uncertainty_db: float | None = None,
    replace: bool = False,
) -> CalibrationDocument:
    """Make a calibration from a recording of a known level, and keep it by name.

    Parameters
    ----------
    name
        To call it by later.
    path
        The recording, made with the same phone, program and settings as later ones.
    level_db
        Level at the phone meanwhile, dB re 20 µPa: what a meter beside it showed, or what the calibrator's
        plate says.
    weighting
        Of that level: "A", "C" or "Z". A calibrator's own level is always Z.
    tone_hz
        Frequency of a calibrator's tone, Hz; None for any other sound.
    uncertainty_db
        Of the known level, dB; 1 dB where it is not told.
    replace
        Whether an earlier one of that name may be replaced.

    Returns
    -------
    CalibrationDocument
        What was made; `to_dict()` gives the `calibration` document.

    Raises
    ------
    BadValueError
        A value is out of its range, the name is taken, or the recording doesn't hold what it should.
    FileProblemError, BadSamplesError
        The recording can't be read.
    OutputError
        The calibration can't be kept.
    """
    kept = check_name(name, what="name", most=MOST_NAME)
    level = _number("level_db", level_db, LEVELS_DB)
    if weighting not in WEIGHTINGS:
        raise BadValueError("weighting", weighting, "A, C or Z")
    told_db = None if uncertainty_db is None else _number("uncertainty_db", uncertainty_db, UNCERTAINTIES_DB)
    hz = None if tone_hz is None else _number("tone_hz", tone_hz, TONES_HZ)
    _find_replaced(kept, _read_all(), replace=replace)  # before the work, not after it
    from chatter.analysis._noise import measure
    from chatter.noise.calibration import TOLD_UNCERTAINTY_DB, made_uncertainty_db

    heard = measure(Path(path))
    file = str(heard.recording["file"])
    _check_recording(heard.analysis, file)
    levels = heard.analysis.levels
    if hz is None:
        heard_db = {"A": levels.LAeq_db, "C": levels.LCeq_db, "Z": levels.LZeq_db}[weighting]
    else:
        heard_db = _tone_db(heard.analysis, hz, file)
    if heard_db is None:
        raise BadValueError("recording", file, "one that holds more than digital silence")
    full_scale_db = level - heard_db
    uncertainty = made_uncertainty_db(TOLD_UNCERTAINTY_DB if told_db is None else told_db)
    if not _makes_sense({"full_scale_db": full_scale_db, "uncertainty_db": uncertainty}):
        raise BadValueError("level_db", level, _say_unlikely(full_scale_db, heard_db=heard_db))
    with _alone():
        known = _read_all()  # again: another process may have kept one meanwhile
        earlier = _find_replaced(kept, known, replace=replace)
        if earlier is not None:
            del known[earlier]  # its name may be written otherwise
        known[kept] = {
            "full_scale_db": full_scale_db,
            "uncertainty_db": uncertainty,
            "level_db": level,
            "weighting": weighting if hz is None else "Z",
            "tone_hz": hz,
            "recording": file,
            "sha256": heard.recording["sha256"],
        }
        _write_all(known)
    return CalibrationDocument(
        program=program_part(
            {"level_db": level, "weighting": weighting, "tone_hz": hz, "uncertainty_db": told_db}
        ),
        recording=heard.recording,
        name=kept,
        full_scale_db=full_scale_db,
        uncertainty_db=uncertainty,
        level_db=level,
        heard_db=heard_db,
        replaced=earlier is not None,
    )


def _find_replaced(name: str, known: dict[str, dict[str, Any]], *, replace: bool) -> str | None:
    """Give the name of the calibration that a new one takes the place of, or refuse to take it."""
    earlier = _find(name, known)
    if earlier is not None and not replace:
        raise BadValueError(
            "name", earlier, "another name, or say that the calibration kept by it is to be replaced"
        )
    return earlier


def _say_unlikely(full_scale_db: float, *, heard_db: float) -> str:
    """Say what is wrong with a full scale that no microphone has."""
    low_db, high_db = FULL_SCALES_DB
    return (
        f"a level that fits the recording, which is {heard_db:.0f} dB re full scale: full scale would be "
        f"{full_scale_db:.0f} dB, and no microphone's is outside {low_db:.0f} to {high_db:.0f} dB; check "
        "the level, and whether the microphone was on"
    )


def _check_recording(analysis: Any, file: str) -> None:
    """Refuse a recording that no calibration can be made from."""
    if analysis.duration_s < SHORTEST_S:
        told = f"{file} ({analysis.duration_s:.1f} s)"
        raise BadValueError("recording", told, f"one of at least {SHORTEST_S:g} s, better half a minute")
    codes = {finding.code for finding in analysis.findings}
    if "clipped" in codes:
        raise BadValueError("recording", file, "one that isn't cut off at full scale: set the gain lower")
    if "automatic-gain" in codes:
        needed = "one made with automatic gain turned off: the recorder changed its gain, so no level holds"
        raise BadValueError("recording", file, needed)


def find_calibration(name: str) -> Calibration:
    """Give a calibration that is kept by name; upper and lower case don't matter.

    Raises
    ------
    BadValueError
        There is none of that name.
    FileProblemError
        The file of calibrations can't be read.
    """
    known = _read_all()
    kept = _find(name, known)
    if kept is None:
        there = ", ".join(sorted(known)) or "none yet: make one from a recording of a known level"
        raise BadValueError("calibration", name, f"the name of one that is kept ({there})")
    entry = known[kept]
    return Calibration(
        source="saved",
        full_scale_db=float(entry["full_scale_db"]),
        uncertainty_db=float(entry["uncertainty_db"]),
        name=kept,
    )


def _find(name: str, known: dict[str, dict[str, Any]]) -> str | None:
    """Give the name under which a calibration is kept; upper and lower case don't matter, nor do blanks."""
    if name in known:
        return name
    return next((one for one in known if name_key(one) == name_key(name)), None)


def _tone_db(analysis: Any, hz: float, file: str) -> float | None:
    """Give the level of a calibrator's tone re full scale, unweighted."""
    import numpy as np

    from chatter.noise.weighting import a_weighting_db

    levels = analysis.levels
    if levels.LAF50_db is None or levels.LAeq_db is None:
        return None
    weight_db = float(a_weighting_db(np.array([hz]))[0])
    near = [band for band in analysis.bands if abs(np.log10(band.midband_hz / hz)) <= 0.1]
    power = sum(10 ** (band.Leq_db / 10) for band in near if band.Leq_db is not None)
    whole = 10 ** ((levels.LAeq_db - weight_db) / 10)
    if power < TONE_SHARE * whole:
        raise BadValueError(
            "recording", file, f"one in which the tone at {hz:g} Hz is louder than all the rest"
        )
    if levels.LAF10_db is not None and levels.LAF10_db - levels.LAF50_db > STEADY_DB:
        raise BadValueError(
            "recording", file, "one in which the tone is steady for more than half of the time"
        )
    return float(levels.LAF50_db - weight_db)


def _number(name: str, value: object, limits: tuple[float, float]) -> float:
    low, high = limits
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise BadValueError(name, value, f"a number from {low:g} to {high:g}")
    return float(value)


def _read_all() -> dict[str, dict[str, Any]]:
    place = calibrations_file()
    try:
        held = json.loads(place.read_text(encoding="utf-8"))
        known = held["calibrations"]
        wrong = next((name for name, entry in known.items() if not _makes_sense(entry)), None)
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise FileProblemError(
            str(place), "the calibrations in it can't be read", "mend it, or move it away and calibrate again"
        ) from error
    if wrong is not None:
        raise FileProblemError(
            str(place),
            f"the entry {wrong!r} has a full scale or an uncertainty that makes no sense",
            "mend its numbers, or take the entry out and calibrate again",
        )
    return dict(known)


def _makes_sense(entry: dict[str, Any]) -> bool:
    """Say whether an entry holds two finite numbers of the size that a calibration has."""
    full_scale_db, uncertainty_db = float(entry["full_scale_db"]), float(entry["uncertainty_db"])
    low_db, high_db = FULL_SCALES_DB
    return low_db <= full_scale_db <= high_db and 0 <= uncertainty_db < MOST_UNCERTAINTY_DB  # False for NaN


@contextmanager
def _alone() -> Iterator[None]:
    """Hold the calibrations for one change: another process waits, and then reads what was kept.

    The lock is SQLite's, on an empty file beside them: every system has it, and it ends with its process.
    """
    place = calibrations_file()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError.told_by_system(place, error, remedy=REMEDY) from error
    try:
        lock = sqlite3.connect(place.with_suffix(".lock"), timeout=BUSY_S, isolation_level=None)
        with closing(lock):
            lock.execute("BEGIN EXCLUSIVE")
            yield
    except sqlite3.Error as error:
        held = "locked" in str(error)
        problem = f"another program has held it for {BUSY_S:.0f} s" if held else "it can't be written"
        raise OutputError(str(place), problem, "try again" if held else REMEDY) from error


def _write_all(known: dict[str, dict[str, Any]]) -> None:
    whole = {"document": "calibrations", "version": 1, "calibrations": known}
    text = json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False)
    replace_text(calibrations_file(), [text], remedy=REMEDY)
