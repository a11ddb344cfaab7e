"""The cut pipeline: one file a stage, one public function a stage.

pipeline.py knows their order, study.py that inside a section.
"""

from chatter.cut.pipeline import judge_recording, study_recording

__all__ = ["judge_recording", "study_recording"]
