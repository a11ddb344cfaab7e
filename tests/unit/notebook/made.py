"""Documents made by hand, as `chatter cut`, `chatter tap` and `chatter noise` write them."""

import hashlib


def made_cut(
    name="one",
    *,
    set_rpm=12_000.0,
    depth_mm=1.0,
    verdict="stable",
    chatter_hz=None,
    settings=None,
    rpm=None,
    half_passing_db=None,
    tone=None,
):
    """Give a `cut` document; `name` stands for the recording's content."""
    probability = {"stable": 0.02, "marginal": 0.5, "chatter": 0.98, "undecided": None}[verdict]
    lines = []
    if chatter_hz is not None:
        lines = [
            {
                "frequency_hz": chatter_hz,
                "width_hz": None,
                "level_db": -40.0,
                "kind": "chatter",
                "order": None,
            }
        ]
    told = {
        "rpm": set_rpm,
        "flutes": 2,
        "depth_mm": depth_mm,
        "width_mm": 3.0,
        "diameter_mm": 6.0,
        "direction": "climb",
        "feed_mm_min": 0.04 * 2 * set_rpm,
        "depth_from_mm": None,
        "depth_to_mm": None,
        **(settings or {}),
    }
    cut = {
        "start_s": 1.0,
        "end_s": 4.0,
        "measured_rpm": rpm,
        "measured_rpm_sd": None if rpm is None else 0.5,
        "verdict": verdict,
        "chatter_probability": probability,
        "chatter_hz": chatter_hz,
        "onset_s": None,
        "half_passing_db": half_passing_db,
        "tone": tone,
        "lines": lines,
    }
    turns = None if rpm is None else rpm / 60
    return {
        "document": "cut",
        "version": 1,
        "program": {"name": "chatter", "version": "0.1.0", "settings": told},
        "recording": {"file": f"{name}.wav", "sha256": sha256_of(name), "findings": [], "channel": 0},
        "spindle": {
            "programmed_rpm": set_rpm,
            "measured_rpm": rpm,
            "measured_rpm_sd": None if rpm is None else 0.5,
            "flutes": 2,
            "rotation_hz": turns,
            "tooth_passing_hz": None if turns is None else 2 * turns,
        },
        "cuts": [cut],
        "cut_index": 0,
        "verdict": verdict,
        "chatter_probability": probability,
        "chatter_hz": chatter_hz,
        "lines": lines,
        "rings": None,
        "advice": {"action": "keep", "speeds": [], "depth_factor": None, "cautions": []},
        "map": None,
    }


def made_tap(name="tap", *, of="tool", frequency_hz=930.0):
    """Give a `tap` document."""
    mode = {
        "frequency_hz": frequency_hz,
        "frequency_sd_hz": 1.0,
        "damping_ratio": 0.02,
        "damping_ratio_sd": 0.001,
        "damping_bound": "none",
        "decay_time_s": 0.06,
        "level_db": 0.0,
    }
    return {
        "document": "tap",
        "version": 1,
        "program": {"name": "chatter", "version": "0.1.0", "settings": {"of": of}},
        "recording": {"file": f"{name}.wav", "sha256": sha256_of(name), "findings": []},
        "of": of,
        "taps": [{"time_s": 0.8, "used": True}],
        "modes": [mode],
    }


def made_noise(name="one", *, laeq_db=82.0, neighbour_db=None):
    """Give a `noise` document, with what the notebook reads of it."""
    neighbour = None
    if neighbour_db is not None:
        neighbour = {
            "distance_m": 15.0,
            "LAeq_db": neighbour_db,
            "rating_db": neighbour_db + 5.0,
            "low_db": neighbour_db - 10.0,
            "high_db": neighbour_db + 10.0,
            "parts": [],
        }
    return {
        "document": "noise",
        "version": 1,
        "program": {"name": "chatter", "version": "0.1.0", "settings": {"limit_db": None}},
        "recording": {"file": f"{name}.wav", "sha256": sha256_of(name), "findings": []},
        "calibration": {"source": "typical phone", "full_scale_db": 121.0, "uncertainty_db": 10.0},
        "levels": {"LAeq_db": laeq_db},
        "tonal_adjustment_db": 5.0,
        "neighbour": neighbour,
    }


def sha256_of(name):
    return hashlib.sha256(name.encode("utf-8", "surrogateescape")).hexdigest()
