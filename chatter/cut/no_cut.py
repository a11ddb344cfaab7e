"""What to say where no cut was judged.

In: where the recording gets louder, what the user named. Out: a finding that says how to record again.
Source: our own.
Leaves out: the other findings of a recording (chatter/audio/findings.py).
"""

from chatter.cut.sections import Sections
from chatter.model import CutSetup, Finding

HOW_TO = (
    "record again with three seconds of idle before and after the cut, the recorder on uncompressed with "
    "gain control and noise suppression off, the phone behind the guard"
)


def say_no_cut(sections: Sections, setup: CutSetup) -> Finding:
    """Say why nothing was judged: nothing stands out, or what does has no spindle's lines."""
    if sections.cuts:
        return Finding(
            code="spindle-not-found",
            severity="error",
            message=f"Something gets louder, but without the lines of a spindle at {setup.rpm:,.0f} rpm "
            f"whose teeth strike {setup.rpm / 60 * setup.flutes:,.0f} times a second: check the speed and "
            f"the flute count; if they are right, {HOW_TO}.",
        )
    return Finding(
        code="no-cut-found",
        severity="error",
        message=f"No part of the recording stands out as a cut: {HOW_TO}.",
    )
