"""The parts that every document carries.

In: settings, a recording, what the stages found. Out: dictionaries as they stand in a document.
Leaves out: what only one kind of document holds.
"""

from collections.abc import Iterable
from typing import Any

from chatter import __version__
from chatter.model import Finding, Recording


def program_part(settings: dict[str, Any]) -> dict[str, Any]:
    """Give the `program` part of a document."""
    return {"name": "chatter", "version": __version__, "settings": settings}


def recording_part(
    recording: Recording, *, channel: int | None, findings: Iterable[Finding]
) -> dict[str, Any]:
    """Give the `recording` part of a document, with each finding once."""
    return {
        "file": recording.file,
        "sha256": recording.sha256,
        "duration_s": recording.duration_s,
        "sample_rate_hz": recording.rate_hz,
        "bandwidth_hz": recording.bandwidth_hz,
        "channel": channel,
        "findings": [finding.to_dict() for finding in dict.fromkeys(findings)],
    }
