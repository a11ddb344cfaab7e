"""What a recording of any length says about its quality, while it streams by.

In: blocks one after another. Out: the bandwidth, and findings as of a whole recording.
Method: what has to be looked at in one piece (automatic gain, gates, made-up bands) is looked at in the first
minute, or a later one that is much louder; clipping everywhere; the bandwidth in samples of the whole.
Source: as in findings.py.
Leaves out: the samples' meaning.
"""

import numpy as np
from numpy.typing import NDArray

from chatter.audio.files import Block
from chatter.audio.findings import (
    BLOCK,
    CLIPPED,
    LOSSLESS,
    QUIET,
    QUIET_PEAK,
    carried_bandwidth_hz,
    describe,
    is_clipped,
)
from chatter.model import Finding

Samples = NDArray[np.float32]
EXCERPT_S = 60.0  # own choice: what automatic gain and gates are looked for in
LOUDER = 4.0  # own choice: a later excerpt takes the first one's place when it is 6 dB louder
MOST_PIECES = 200  # of the spectrum that the bandwidth is read from; then every other one is dropped
MADE_UP = "synthetic-upper-band"
ABOUT_ALL = ("clipped", "quiet", "too-short")  # what is said about the whole, not about the excerpt


class Watch:
    """The quality of a recording, with the state that carries on to the next block."""

    def __init__(self) -> None:
        self._rate_hz = 0.0
        self._codec = ""
        self._frames = 0
        self._peak = 0.0
        self._clipped = False
        self._pieces: list[Samples] = []
        self._every, self._seen = 1, 0
        self._filling: list[Samples] = []
        self._filled = 0
        self._best: Samples | None = None
        self._best_power = 0.0
        self._found: list[Finding] = []

    def add(self, block: Block) -> None:
        """Take the next block."""
        samples = block.samples
        self._rate_hz, self._codec = block.rate_hz, block.codec
        self._found.extend(block.findings)
        self._frames += samples.shape[1]
        if samples.shape[1] == 0:
            return
        self._peak = max(self._peak, float(samples.max()), -float(samples.min()))
        if not self._clipped:
            self._clipped = is_clipped(samples, lossy=self._lossy)
        self._keep_pieces(samples)
        self._filling.append(samples)
        self._filled += samples.shape[1]
        if self._filled >= EXCERPT_S * self._rate_hz:
            self._close_excerpt()

    @property
    def _lossy(self) -> bool:
        return bool(self._codec) and not self._codec.startswith(LOSSLESS)

    def bandwidth_hz(self) -> float:
        """Give the highest frequency that the sound so far carries."""
        if not self._pieces:
            return self._rate_hz / 2
        return carried_bandwidth_hz(np.concatenate(self._pieces, axis=1), rate_hz=self._rate_hz)

    def finish(self) -> tuple[float, tuple[Finding, ...]]:
        """Give the bandwidth, Hz, and the findings about everything that was added."""
        self._close_excerpt()
        if self._best is None:
            return self._rate_hz / 2, tuple(self._found)
        holes = any(finding.code in ("timestamps-jump", "damaged") for finding in self._found)
        excerpt_hz, said = describe(self._best, rate_hz=self._rate_hz, codec=self._codec, holes=holes)
        bandwidth_hz = self.bandwidth_hz()
        if any(finding.code == MADE_UP for finding in said):
            if self._lossy:
                bandwidth_hz = min(excerpt_hz, bandwidth_hz)
            else:  # pure tones leave nothing else that flutters
                said = [finding for finding in said if finding.code != MADE_UP]
        whole = self._best.shape[1] == self._frames
        if not whole:
            said = [finding for finding in said if finding.code not in ABOUT_ALL]
            said += [finding for finding in self._about_all() if finding not in said]
        elif self._clipped and not any(finding.code == "clipped" for finding in said):
            said = [*said, CLIPPED]
        return bandwidth_hz, tuple(dict.fromkeys([*self._found, *said]))

    def _about_all(self) -> list[Finding]:
        return [*([CLIPPED] if self._clipped else []), *([QUIET] if self._peak < QUIET_PEAK else [])]

    def _keep_pieces(self, samples: Samples) -> None:
        for start in range(0, samples.shape[1] - BLOCK + 1, BLOCK):
            if self._seen % self._every == 0:
                self._pieces.append(samples[:, start : start + BLOCK].copy())
            self._seen += 1
        while len(self._pieces) > MOST_PIECES:
            self._pieces, self._every = self._pieces[::2], 2 * self._every

    def _close_excerpt(self) -> None:
        if not self._filling:
            return
        power = sum(float(np.einsum("ij,ij->", part, part)) for part in self._filling) / self._filled
        short = self._filled < EXCERPT_S / 6 * self._rate_hz  # a rest of a few seconds tells little
        if self._best is None or (power > LOUDER * self._best_power and not short):
            self._best, self._best_power = np.concatenate(self._filling, axis=1), power
        self._filling, self._filled = [], 0
