"""A milling simulator and a phone: recordings with a known answer, for practice and for tests."""

from chatter.simulate.limit import is_stable, limit_depth_m
from chatter.simulate.milling import Conditions, Mode, SimulatedCut, Tool, simulate_cut, steps_per_turn
from chatter.simulate.practice import write_practice_recording
from chatter.simulate.scene import RenderedScene, Scene, random_scene, render_scene

__all__ = [
    "Conditions",
    "Mode",
    "RenderedScene",
    "Scene",
    "SimulatedCut",
    "Tool",
    "is_stable",
    "limit_depth_m",
    "random_scene",
    "render_scene",
    "simulate_cut",
    "steps_per_turn",
    "write_practice_recording",
]
