"""What to do next, from one judged recording."""

from chatter.advice.advise import advise
from chatter.advice.machines import BaseFrequency, Machines, draw_machines
from chatter.advice.speeds import find_windows, score_speeds

__all__ = ["BaseFrequency", "Machines", "advise", "draw_machines", "find_windows", "score_speeds"]
