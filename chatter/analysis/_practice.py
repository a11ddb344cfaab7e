"""A practice recording whose answer is chosen.

In: speed, flutes, the answer. Out: a sound file.
Leaves out: the simulation (simulate/).
"""

from pathlib import Path
from typing import Literal

from chatter.analysis._values import checked_setup
from chatter.errors import BadValueError

Answer = Literal["stable", "chatter"]


def make_practice_recording(
    path: str | Path, *, rpm: float, flutes: int, answer: Answer, seed: int = 0
) -> None:
    """Write a simulated recording of a cut whose answer is chosen, to train an ear and check the program.

    Parameters
    ----------
    path
        File to write; its ending chooses the format (.wav or .flac).
    rpm
        Dialled spindle speed, rev/min.
    flutes
        Cutting edges of the tool.
    answer
        "stable" or "chatter".
    seed
        The same number gives the same recording.

    Raises
    ------
    BadValueError
        A value is out of its range.
    OutputError
        The file can't be written.
    """
    setup = checked_setup({"rpm": rpm, "flutes": flutes})
    if answer not in ("stable", "chatter"):
        raise BadValueError("answer", answer, "stable or chatter")
    if isinstance(seed, bool) or not isinstance(seed, int) or not 0 <= seed < 2**32:
        raise BadValueError("seed", seed, "a whole number from 0 to 4294967295")
    from chatter.report.places import check_folder

    check_folder(Path(path))  # said before the simulation takes its seconds
    from chatter.simulate import write_practice_recording

    write_practice_recording(Path(path), rpm=setup.rpm, flutes=setup.flutes, answer=answer, seed=seed)
