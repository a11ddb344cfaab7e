"""A document as JSON that every reader accepts.

In: the dictionary that a result's `to_dict()` gives. Out: JSON text.
Leaves out: the document's layout (model/ fixes it).
"""

import json
import math
from functools import cache
from typing import Any

# Decimals kept, by the unit in the field's name: finer than any figure here is known.
_DECIMALS = {
    "rpm": 2,
    "rpm_sd": 4,
    "hz": 3,
    "frequency_hz": 5,  # of a tapped mode: in a quiet room its spread is below a thousandth of a hertz
    "sd_hz": 5,
    "s": 4,
    "db": 2,
    "min": 2,
    "mm": 4,
    "probability": 4,
    "factor": 3,
}
_OTHER_DECIMALS = 6


def to_json(document: dict[str, Any], *, indent: int | None = 2) -> str:
    """Give a document as JSON, without NaN or Infinity.

    Parameters
    ----------
    document
        What `to_dict()` gives. Numbers that are not finite become null.
    indent
        Spaces a level; None for one line.

    Returns
    -------
    str
        JSON text without a line end.
    """
    plain = _plain(document, "")
    if indent is None:
        return _encoder(", ").encode(plain)
    return _indented(plain, indent=indent, depth=0)


def _indented(value: Any, *, indent: int, depth: int) -> str:
    """Give what `json.dumps` gives with an indent, far faster: a row of plain values goes in one piece."""
    if not isinstance(value, dict | list | tuple) or not value:
        return _encoder(", ").encode(value)
    inside = "\n" + " " * indent * (depth + 1)
    names = list(value) if isinstance(value, dict) else None
    held = list(value.values()) if isinstance(value, dict) else list(value)
    if any(isinstance(one, dict | list | tuple) for one in held):
        parts = [_indented(one, indent=indent, depth=depth + 1) for one in held]
        if names is not None:
            parts = [
                f"{_encoder(', ').encode(name)}: {part}" for name, part in zip(names, parts, strict=True)
            ]
        body = f",{inside}".join(parts)
    else:
        body = _encoder("," + inside).encode(value)[1:-1]
    first, last = "[]" if names is None else "{}"
    return f"{first}{inside}{body}\n{' ' * indent * depth}{last}"


@cache
def _encoder(between: str) -> json.JSONEncoder:
    return json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(between, ": "))


def _plain(value: Any, name: str) -> Any:  # JSON values are of any kind
    """Turn a value into one that JSON can hold, with numbers rounded by their unit."""
    if type(value) is float:  # most are: long lists of cuts are written quickly so
        return round(value, _decimals(name)) if math.isfinite(value) else None
    if isinstance(value, dict):
        # Settings are an echo of the input: rounding them would make a batch look for other options.
        return {key: inner if key == "settings" else _plain(inner, key) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner, name) for inner in value]
    if value is None or isinstance(value, str):
        return value
    if hasattr(value, "item"):  # a numpy scalar
        value = value.item()
    if isinstance(value, float):
        return round(value, _decimals(name)) if math.isfinite(value) else None
    return value


@cache
def _decimals(name: str) -> int:
    for unit, decimals in sorted(_DECIMALS.items(), key=lambda pair: -len(pair[0])):
        if name == unit or name.endswith("_" + unit):
            return decimals
    return _OTHER_DECIMALS
