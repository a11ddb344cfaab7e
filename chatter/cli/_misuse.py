"""A wrong command line in one line: what was typed wrong, and where the help for that command stands.

In: what the parser of the command line raises. Out: one sentence, without a stop.
Leaves out: problems with files and values, which are a `ChatterError`.
"""

from typing import Any

# The parser's own words tell neither what to type nor that a comma or a unit is in the way.
_PLAINER = {
    "Input should be a valid number, unable to parse string as a number": (
        "it is no number: leave out units and commas (7000, not 7,000 rpm; 0.5, not 0,5 mm)"
    ),
    "Input should be a valid integer, unable to parse string as an integer": (
        "it is no whole number: leave out units and commas"
    ),
    "Value error, ": "",
}


def tell_misuse(error: Exception) -> str:
    """Say in one sentence what is wrong with the command line, and which help tells more."""
    problem: str = getattr(error, "format_message", error.__str__)()
    for parsers, ours in _PLAINER.items():
        problem = problem.replace(parsers, ours)
    return f"{problem.rstrip('.')}: see {_name_command(getattr(error, 'ctx', None))} --help"


def _name_command(context: Any) -> str:  # typer gives the type of its context's parents no public name
    names: list[str] = []
    while context is not None and context.parent is not None:
        names.insert(0, context.info_name)
        context = context.parent
    return " ".join(["chatter", *names])
