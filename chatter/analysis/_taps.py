"""A `tap` document in, the modes of a tapped part out.

In: the path of a JSON file. Out: a frozen `Tap`, or one clear error.
Leaves out: finding modes in sound.
"""

import math
from pathlib import Path
from typing import Any, cast

from chatter.analysis._files import read_object
from chatter.errors import FileProblemError
from chatter.model.tap import DampingBound, Tap, TapMode, TapPart

VERSION = 1  # of the `tap` document
PARTS = ("tool", "frame", "work")
BOUNDS = ("none", "upper")
MAX_BYTES = 5_000_000  # own choice: a document of a few taps has some kilobytes
MAX_MODES = 100
MAX_HZ = 100_000.0  # no phone hears as high
REMEDY = "give the JSON document of a tap test, and make it again if it was changed by hand"


def read_tap(path: Path) -> Tap:
    """Read a `tap` document, version 1.

    Parameters
    ----------
    path
        A JSON file.

    Returns
    -------
    Tap
        Its modes, strongest first.

    Raises
    ------
    FileProblemError
        The file can't be read, is no `tap` document, is of another version, or a field is missing or no
        finite number in its range.
    """
    document = read_object(path, kind="tap", most_bytes=MAX_BYTES, remedy=REMEDY)
    return read_tap_document(document, name=path.name)


def read_tap_document(document: dict[str, Any], *, name: str) -> Tap:
    """Read a `tap` document that was loaded already; `name` stands in messages. Raises as `read_tap`."""
    kind, version = document.get("document"), document.get("version")
    if kind != "tap":
        found = "" if kind is None else f" but a {_shown(kind, '')} document"
        raise FileProblemError(name, f"it isn't a tap document{found}", REMEDY)
    if version != VERSION or isinstance(version, bool):
        raise FileProblemError(
            name,
            f"it is a tap document of version {_shown(version, 'none')}, and only version {VERSION} is known",
            "make it again with this version of the program",
        )
    of = document.get("of")
    if of not in PARTS:
        raise FileProblemError(
            name, f"what was tapped (of) is {_shown(of, 'missing')}", "it must be tool, frame or work"
        )
    modes = document.get("modes")
    if not isinstance(modes, list) or not modes:
        raise FileProblemError(name, "it holds no modes", "record clearer taps and make it again")
    if len(modes) > MAX_MODES:
        raise FileProblemError(name, f"it holds {len(modes)} modes", REMEDY)
    read = [_read_mode(mode, number, name) for number, mode in enumerate(modes, start=1)]
    return Tap(
        file=name,
        of=cast(TapPart, of),
        modes=tuple(sorted(read, key=lambda mode: -mode.level_db)),
    )


def _read_mode(mode: object, number: int, file: str) -> TapMode:
    """Read one mode, each field checked."""
    if not isinstance(mode, dict):
        raise FileProblemError(file, f"mode {number} isn't a group of fields", REMEDY)

    def need(name: str, low: float, high: float) -> float:
        value: Any = mode.get(name)
        given = isinstance(value, int | float) and not isinstance(value, bool)
        # an endless whole number would not fit a float
        if not given or not low <= value <= high or not math.isfinite(value):
            raise FileProblemError(
                file,
                f"{name} of mode {number} is {_shown(value, 'missing')}",
                f"it must be a number from {low:g} to {high:g}",
            )
        return float(value)

    def may(name: str, low: float, high: float) -> float | None:
        if name not in mode:
            raise FileProblemError(file, f"{name} of mode {number} is missing", REMEDY)
        return None if mode[name] is None else need(name, low, high)

    bound = mode.get("damping_bound")
    if bound not in BOUNDS:
        raise FileProblemError(
            file, f"damping_bound of mode {number} is {_shown(bound, 'missing')}", "it must be none or upper"
        )
    return TapMode(
        frequency_hz=need("frequency_hz", 1.0, MAX_HZ),
        frequency_sd_hz=may("frequency_sd_hz", 0.0, MAX_HZ),
        damping_ratio=need("damping_ratio", 1e-6, 0.99),  # above 1 nothing rings
        damping_ratio_sd=may("damping_ratio_sd", 0.0, 1.0),
        damping_bound=cast(DampingBound, bound),
        decay_time_s=may("decay_time_s", 0.0, 1000.0),
        level_db=need("level_db", -300.0, 300.0),
    )


def _shown(value: object, none: str) -> str:
    """Give a value short enough for one line."""
    if value is None:
        return none
    text = " ".join(str(value).split())
    return text if len(text) <= 40 else text[:37] + "..."
