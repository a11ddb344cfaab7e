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
    RampOnset,
    Rings,
    SpeedCurve,
    SpeedWindow,
    Spindle,
    Verdict,
)
from chatter.model.map import Axis, BestSpeed, MapCut, MapDocument, MapMethod, MapMode
from chatter.model.recording import Finding, Recording, Severity
from chatter.model.tap import Tap, TapMode, TapPart

__all__ = [
    "Action",
    "Advice",
    "Axis",
    "BestSpeed",
    "CutAnalysis",
    "CutDocument",
    "CutSetup",
    "Direction",
    "Finding",
    "JudgedCut",
    "Line",
    "LineKind",
    "MapCut",
    "MapDocument",
    "MapMethod",
    "MapMode",
    "RampOnset",
    "Recording",
    "Rings",
    "Severity",
    "SpeedCurve",
    "SpeedWindow",
    "Spindle",
    "Tap",
    "TapMode",
    "TapPart",
    "Verdict",
]
