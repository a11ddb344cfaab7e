"""Frozen results that pass between stages: no maths, no files."""

from chatter.model.cut import (
    Action,
    Advice,
    CutAnalysis,
    CutDocument,
    CutSetup,
    Direction,
    JudgedCut,
    Line,
    LineKind,
    SpeedWindow,
    Spindle,
    Verdict,
)
from chatter.model.recording import Finding, Recording, Severity

__all__ = [
    "Action",
    "Advice",
    "CutAnalysis",
    "CutDocument",
    "CutSetup",
    "Direction",
    "Finding",
    "JudgedCut",
    "Line",
    "LineKind",
    "Recording",
    "Severity",
    "SpeedWindow",
    "Spindle",
    "Verdict",
]
