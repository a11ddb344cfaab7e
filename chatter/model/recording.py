"""A decoded recording and what was noticed about it.

In: nothing; these are containers. Out: frozen values that every pipeline starts from.
Leaves out: decoding (chatter/audio).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Severity = Literal["info", "warning", "error"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something about a recording that the user should know."""

    code: str
    severity: Severity
    message: str  # one sentence that says what to do

    def to_dict(self) -> dict[str, str]:
        """Give the finding as it stands in a document."""
        return {"code": self.code, "severity": self.severity, "message": self.message}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recording:
    """One sound track at its native rate and channel layout."""

    file: str  # the file's name without its folder
    sha256: str
    samples: NDArray[np.float32]  # shape (channels, frames), full scale is 1; read-only copy
    rate_hz: float
    bandwidth_hz: float  # highest frequency that the sound really carries
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        """Keep a read-only copy of the samples."""
        kept = np.array(self.samples, dtype=np.float32, copy=True, order="C")
        kept.setflags(write=False)
        object.__setattr__(self, "samples", kept)

    @property
    def duration_s(self) -> float:
        """Length of the sound track, s."""
        return float(self.samples.shape[1] / self.rate_hz)

    @property
    def channels(self) -> int:
        """Number of channels."""
        return int(self.samples.shape[0])
