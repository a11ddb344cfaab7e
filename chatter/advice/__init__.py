"""What to do next, from one judged recording."""

from chatter.advice.advise import EarlierCut, advise
from chatter.advice.machines import ChatterLine, HeardCut, Machines, draw_machines
from chatter.advice.speeds import find_stable, find_windows

__all__ = [
    "ChatterLine",
    "EarlierCut",
    "HeardCut",
    "Machines",
    "advise",
    "draw_machines",
    "find_stable",
    "find_windows",
]
