"""Answers built by hand, so that the reports are tested without any analysis."""

from dataclasses import replace

import pytest

from chatter.advice import advise
from chatter.model import (
    Advice,
    CutAnalysis,
    CutDocument,
    CutSetup,
    JudgedCut,
    Line,
    SpeedWindow,
    Spindle,
)

WARNING = {"code": "clipped", "severity": "warning", "message": "The sound is clipped: move the phone away."}


def judged(verdict="chatter", probability=0.97, **other):
    values = {
        "start_s": 1.32,
        "end_s": 5.01,
        "measured_rpm": 11874.2,
        "measured_rpm_sd": 0.6,
        "verdict": verdict,
        "chatter_probability": probability,
        "chatter_hz": 913.4 if verdict == "chatter" else None,
        "onset_s": 1.6 if verdict == "chatter" else None,
        "lines": (
            Line(frequency_hz=395.8, width_hz=None, level_db=-40.0, kind="tooth passing", order=1),
            Line(frequency_hz=913.4, width_hz=None, level_db=-41.3, kind="chatter", order=None),
            Line(frequency_hz=1680.0, width_hz=42.0, level_db=-60.0, kind="resonance", order=None),
        ),
    }
    return JudgedCut(**(values | other))


def document(cuts=None, cut_index=0, action="change speed", findings=(WARNING,), **settings):
    cuts = (judged(),) if cuts is None else cuts
    change = action == "change speed"
    speed = SpeedWindow(
        rpm=13500.0,
        set_rpm=13640.0,
        low_rpm=13300.0,
        high_rpm=13750.0,
        lobe=2,
        stable_probability=0.86,
        feed_mm_min=1091.0,
        why="the tool's natural frequency lies near 900 Hz",
    )
    return CutDocument(
        program={"name": "chatter", "version": "0.1.0", "settings": {"depth_mm": 2.0, **settings}},
        recording={
            "file": "cut.m4a",
            "sha256": "0" * 64,
            "duration_s": 6.1,
            "sample_rate_hz": 48000.0,
            "bandwidth_hz": 15800.0,
            "channel": 0,
            "findings": list(findings),
        },
        analysis=CutAnalysis(
            spindle=Spindle(programmed_rpm=12000.0, flutes=2, measured_rpm=11874.2, measured_rpm_sd=0.6),
            channel=0,
            cuts=cuts,
            cut_index=cut_index,
            findings=(),
        ),
        advice=Advice(
            action=action,
            speeds=(speed,) if change else (),
            depth_factor=0.6 if change else None,
            cautions=("Begin with a shallow pass at the new speed.",),
        ),
    )


@pytest.fixture
def make_document():
    return document


@pytest.fixture
def make_cut():
    return judged


@pytest.fixture
def chattering():
    return document()


@pytest.fixture
def many_cuts():
    cuts = (judged("stable", 0.02), judged(), judged("undecided", None))
    return document(cuts, cut_index=1)


@pytest.fixture
def no_cut():
    missing = {"code": "no-cut", "severity": "error", "message": "No cut was found: record a longer pass."}
    silent = document((), None, "record again", (missing,))
    setup = CutSetup(rpm=12000.0, flutes=2)
    return replace(silent, advice=advise(silent.analysis, setup=setup))
