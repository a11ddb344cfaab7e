"""Practice recordings: a cut with a chosen answer, as a sound file.

In: speed, flutes, the answer wanted, a seed. Out: a file.
Source: chatter/simulate/scene.py.
Leaves out: anything recorded in a real shop.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

from chatter.errors import BadValueError, OutputError
from chatter.simulate.scene import RenderedScene, random_scene, render_scene

FORMATS = {".wav": "PCM_16", ".flac": "PCM_16"}
DRAWS = 50  # one in ten is drawn anew at common speeds
MOST_RUNOUT = 0.2  # of the feed per tooth: more sounds like period doubling where teeth are even
LOWEST_RPM = 300.0  # slower cuts have hardly a turn in a short recording


def write_practice_recording(path: Path, *, rpm: float, flutes: int, answer: str, seed: int) -> RenderedScene:
    """Write one practice recording.

    Parameters
    ----------
    path
        A name that ends in .wav or .flac.
    rpm, flutes
        The dialled speed and the cutter.
    answer
        "stable" or "chatter".
    seed
        The same number gives the same recording.

    Returns
    -------
    RenderedScene
        The samples and the truth.

    Raises
    ------
    BadValueError
        The speed is too low, the name has another ending, or no machine drawn gives a clear answer.
    OutputError
        The file can't be written.
    """
    if rpm < LOWEST_RPM:
        raise BadValueError("rpm", rpm, f"{LOWEST_RPM:g} or more for a practice recording")
    subtype = FORMATS.get(path.suffix.lower())
    if subtype is None:
        raise BadValueError("the file's name", path.name, "a name that ends in .wav or .flac")
    rng = np.random.default_rng(seed)
    rendered = _clear_scene(rng, rpm=rpm, flutes=flutes, answer=answer)
    try:
        soundfile.write(path, rendered.samples.T, rendered.rate_hz, subtype=subtype)
    except (OSError, soundfile.SoundFileError) as error:
        raise OutputError(
            str(path), "it can't be written", "choose a folder that exists and is yours"
        ) from error
    return rendered


def _clear_scene(rng: np.random.Generator, *, rpm: float, flutes: int, answer: str) -> RenderedScene:
    """Draw machines until one gives the answer, and one that can be heard: see `render_scene`."""
    for _ in range(DRAWS):
        drawn = random_scene(rng, family="workshop", chattering=answer == "chatter")
        most = MOST_RUNOUT * drawn.conditions.feed_per_tooth_m
        runout = float(np.clip(drawn.tool.runout_m[0] if drawn.tool.runout_m else 0.0, -most, most))
        angles = 2 * np.pi * np.arange(flutes) / flutes
        tool = replace(drawn.tool, flutes=flutes, runout_m=tuple(float(runout * np.cos(a)) for a in angles))
        slip = float(rng.uniform(0.0, 0.03))
        conditions = replace(drawn.conditions, rpm=rpm * (1 - slip))
        try:
            rendered = render_scene(replace(drawn, tool=tool, conditions=conditions, programmed_rpm=rpm))
        except BadValueError:
            continue
        if rendered.kind != "flip" or flutes % 2:  # else it sounds like run-out
            return rendered
    raise BadValueError("rpm", rpm, "a speed at which some simulated machine gives a clear answer")
