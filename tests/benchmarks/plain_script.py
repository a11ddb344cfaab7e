"""What a plain script makes of the suite's scenes, to tell how hard they are.

    PYTHONPATH=. python tests/benchmarks/plain_script.py other 160
    PYTHONPATH=. python tests/benchmarks/plain_script.py school 160 --seed 301

The script takes one spectrum and the share of its power that lies off the spindle's comb. Told nothing, it
takes the whole file and the dialled speed; told all, the true speed and the times of the cuts, and it takes
away the sound beside them. Its line is the strongest off the comb. Its threshold is the best one for the very
scenes it is scored on.
"""

import sys
from dataclasses import dataclass

import numpy as np
from scipy import signal

from chatter.simulate import RenderedScene, Scene
from chatter.simulate.school import SchoolScene
from tests.benchmarks.suite import (
    area_under_curve,
    asked,
    from_scenes,
    line_matches,
    read_back,
    render,
    share,
)

LOW_HZ, HIGH_HZ = 80.0, 8000.0
WINDOW_S = 0.7
EDGE_S = 0.2  # left out beside each start and end of a cut
HALF_WIDTH = 0.0015  # of a frequency, on each side of the comb; 1.6 bins at least
BACKGROUND = 1.5  # times the sound beside the cut is taken away


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """One scene as the script hears it."""

    chattering: bool
    scored: bool
    untold: float  # share of power off the dialled comb, whole file
    told: float  # off the true comb, in the cuts, without the background
    line_right: bool  # of the told spectrum


def density(samples: np.ndarray, rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Give frequencies and power density."""
    size = min(2 ** round(np.log2(WINDOW_S * rate_hz)), 2 ** int(np.log2(samples.size)))
    hz, power = signal.welch(samples, rate_hz, nperseg=size)
    return hz, power


def off_comb(hz: np.ndarray, power: np.ndarray, *, rotation_hz: float) -> tuple[float, float]:
    """Give the share of power off the comb, and its strongest line."""
    heard = (hz > LOW_HZ) & (hz < min(HIGH_HZ, 0.95 * hz[-1]))
    away_hz = np.abs(hz - rotation_hz * np.round(hz / rotation_hz))
    off = np.where(heard & (away_hz > np.maximum(1.6 * hz[1], HALF_WIDTH * hz)), power, 0.0)
    return float(off.sum() / power[heard].sum()) if power[heard].any() else 0.5, float(hz[np.argmax(off)])


def hear(rendered: RenderedScene, samples: np.ndarray, rate_hz: float) -> Plain:
    """Score one scene both ways."""
    hz, power = density(samples, rate_hz)
    untold, _ = off_comb(hz, power, rotation_hz=rendered.programmed_rpm / 60)
    at_s = np.arange(samples.size) / rate_hz
    inside, beside = np.zeros(samples.size, dtype=bool), np.ones(samples.size, dtype=bool)
    for start_s, end_s in rendered.cut_times_s:
        inside |= (at_s > start_s + EDGE_S) & (at_s < end_s - EDGE_S)
        beside &= (at_s < start_s - EDGE_S) | (at_s > end_s + EDGE_S)
    hz, power = density(samples[inside], rate_hz)
    if beside.sum() > WINDOW_S * rate_hz:
        power = np.maximum(power - BACKGROUND * np.interp(hz, *density(samples[beside], rate_hz)), 0.0)
    rotation_hz = rendered.true_rpm / 60
    told, line_hz = off_comb(hz, power, rotation_hz=rotation_hz)
    return Plain(
        chattering=rendered.chattering,
        scored=not (rendered.kind == "flip" and rendered.flutes % 2 == 0),
        untold=untold,
        told=told,
        line_right=any(line_matches(line_hz, true_hz, rotation_hz) for true_hz in rendered.chatter_lines_hz),
    )


def work(scene: Scene | SchoolScene) -> Plain | None:
    """Render, write, read and score one scene; None where it can't be used."""
    made = render(scene)
    if made is None:
        return None
    recording = read_back(made[0], codec=made[1])
    return hear(made[0], np.atleast_2d(recording.samples)[0], recording.rate_hz)


def main() -> None:
    """Run from the command line."""
    families, count, _ = asked(__doc__)
    for family, seed in families:
        rows = [row for row in from_scenes(work, family, count, seed) if row.scored]
        bad, good = ([row for row in rows if row.chattering is is_bad] for is_bad in (True, False))
        untold = area_under_curve(*(np.array([row.untold for row in rows_of]) for rows_of in (bad, good)))
        told_bad, told_good = (np.array([row.told for row in rows_of]) for rows_of in (bad, good))
        best = max(
            (share(told_bad > edge) + share(told_good <= edge)) / 2
            for edge in np.concatenate([told_bad, told_good])
        )
        told = area_under_curve(told_bad, told_good)
        line = share(np.array([row.line_right for row in bad]))
        sys.stdout.write(
            f"{family}: told nothing AUC {untold:.3f}; told all AUC {told:.3f}, right verdicts at its best "
            f"{best:.3f}, line {line:.3f}\n"
        )


if __name__ == "__main__":
    main()
