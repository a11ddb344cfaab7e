"""What a setup may be called, when two names are one, and what may not be changed or added to.

In: names, facts, setups. Out: nothing or a name, or a `BadValueError`.
Source: https://unicode.org/reports/tr15/ (one letter may be written as one mark or as two).
Leaves out: the range of each fact, which the public edge checks.
"""

import unicodedata
from typing import Any

from chatter.errors import BadValueError
from chatter.milling.materials import find_material
from chatter.model.notebook import KeptSetup

MAX_NAME = 80  # own choice: one line of a terminal


def name_key(name: str) -> str:
    """Bring a name to the form in which names are compared: upper and lower case and blanks don't matter."""
    return " ".join(unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold()).split())


def check_name(name: object, *, what: str = "setup", most: int = MAX_NAME) -> str:
    """Give the name of something kept without blanks around it, or refuse it."""
    shown = name.strip() if isinstance(name, str) else ""
    if not shown or len(shown) > most or not shown.isprintable():
        raise BadValueError(what, name, f"a name of 1 to {most} letters in one line")
    return shown


def check_same_facts(name: str, *, known: dict[str, Any], given: dict[str, Any]) -> None:
    """Refuse facts that differ from a setup's own; a material may be called by another of its names."""
    for key, value in given.items():
        if value is not None and known.get(key) is not None and not is_same_fact(key, value, known[key]):
            raise BadValueError(
                key,
                value,
                f"{known[key]!r} as the setup {name!r} says, or copy that setup with this change",
            )


def is_same_fact(key: str, one: object, other: object) -> bool:
    """Say whether two values of a fact are the same, or two names of one material."""
    if one == other or key != "material" or not isinstance(one, str) or not isinstance(other, str):
        return one == other
    try:
        return find_material(one) is find_material(other)
    except BadValueError:  # another version of the program knew it
        return False


def check_in_use(setup: KeptSetup) -> None:
    """Refuse a setup that is retired.

    Raises
    ------
    BadValueError
        It is.
    """
    if setup.retired is not None:
        raise BadValueError(
            "setup",
            setup.name,
            f'a setup in use: this one is retired; bring it back with chatter setup retire "{setup.name}" '
            "--undo, or copy it",
        )
