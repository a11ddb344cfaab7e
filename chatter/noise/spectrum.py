"""The narrow-band spectrum of a sound of any length, from block to block in constant memory.

In: samples of one channel, full scale 1. Out: energies per line over everything, and mean spectra of spans of
about a minute.
Method: Hann windows of 0.9 to 1.8 s, one every third of a window: the squares of the windows then add up to
the same everywhere, so every sample counts alike and the lines add up to the whole energy. Only the first and
the last quarter of a second fade in and out: a sound cut off hard would smear its lines into quiet bands.
Source: P. D. Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70 to 73; ISO 1996-2:2007, C.2.2 (Hann window,
at least one minute, resolution below 5 % of a critical band).
Leaves out: bands (bands.py) and tones (tones.py).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.dsp.spectra import hann

Floats = NDArray[np.float64]
WIDEST_LINE_HZ = 1.1  # own choice: with a Hann window 1.6 Hz are resolved, 5 % of 100 Hz are 5
SPAN_S = 60.0  # ISO 1996-2:2007, C.2.2: one minute at least
LEAST_SPAN_S = 30.0  # own choice: a shorter rest at the end joins the span before it
FADE_S = 0.25  # own choice: a band at 100 Hz, 12 Hz away from its neighbour, sees 60 dB less of it
HELD_S = 1.0  # a sound shorter than this fades over a tenth of its length
AT_ONCE = 4  # windows that are transformed together
PART_WINDOWS = 4  # own choice: 2.7 s, in which a spindle hardly drifts and noise is still averaged a little


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Span:
    """The mean spectrum of a stretch of sound."""

    powers: NDArray[np.floating]  # shape (f,): mean square per line; together the mean square of the sound
    line_hz: float  # distance of two lines; line k lies at k * line_hz
    resolution_hz: float  # noise bandwidth of a line
    windows: int
    seconds: float
    parts: tuple["Span", ...] = ()  # the same stretch in short spans, of a few seconds each

    def energy(self, weight: Floats) -> float:
        """Give its energy, each line's power weighted. `weight` has the shape of the lines."""
        return float(np.einsum("i,i->", weight, self.powers)) * self.seconds


class SpectrumMeter:
    """Spectrum of one channel, with the state that carries on to the next block."""

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self.size = max(64, 2 ** int(np.ceil(np.log2(rate_hz / WIDEST_LINE_HZ))))
        self._hop = self.size // 3
        self._window = hann(self.size).astype(np.float32)
        self._waiting = np.zeros(self.size - self._hop, dtype=np.float32)  # silence before the beginning
        self._first = np.zeros(0, dtype=np.float32)  # what a short sound is judged by
        self._held_back = np.zeros(0, dtype=np.float32)  # the end, that fades out
        self._faded_in = False
        self._samples = 0
        self._done = 0  # windows taken
        self._total = np.zeros(self.size // 2 + 1)
        self._span = np.zeros_like(self._total)
        self._span_windows = 0
        self._part, self._part_windows = np.zeros_like(self._total), 0
        self._parts: list[Span] = []
        # A full span that a short rest may still join: powers, windows, parts.
        self._held: tuple[Floats, int, list[Span]] | None = None

    @property
    def line_hz(self) -> float:
        """Distance of two lines, Hz."""
        return float(self._rate_hz / self.size)

    def add(self, samples: NDArray[np.floating]) -> list[Span]:
        """Take the next block, shape (n,); give the spans that it completes."""
        if self._samples < 2 * self.size:
            self._first = np.concatenate([self._first, np.asarray(samples, dtype=np.float32)])[
                : 2 * self.size
            ]
        self._samples += len(samples)
        self._held_back = np.concatenate([self._held_back, np.asarray(samples, dtype=np.float32)])
        keep = round(HELD_S * self._rate_hz)
        if len(self._held_back) <= keep:
            return []
        if not self._faded_in:
            self._fade(self._held_back[: round(FADE_S * self._rate_hz)])
            self._faded_in = True
        values, self._held_back = self._held_back[:-keep], self._held_back[-keep:].copy()
        return self._take(values)

    def finish(self) -> tuple[Floats, list[Span]]:
        """Give the energy per line of everything that was added, shape (f,), and the last spans.

        The lines add up to the sum of the squared samples, but for the fades at both ends.
        """
        fade = round(FADE_S * self._rate_hz) if self._faded_in else len(self._held_back) // 10
        if not self._faded_in:
            self._fade(self._held_back[:fade])
        self._fade(self._held_back[::-1][:fade])
        spans = self._take(self._held_back)
        spans += self._take(np.zeros(self.size - 1, dtype=np.float32))
        counted = self._samples - 2 * fade * 5 / 8  # the square of a rising Hann flank has a mean of 3/8
        scale = 2 / self.size * self._hop / float(np.sum(self._window.astype(np.float64) ** 2))
        energy = self._total * (scale * self._samples / max(1.0, counted))
        if self._held is None and self._span_windows == 0:  # too short for a window that is full
            return energy, [self._short_span()] if self._samples else []
        if self._held is None:
            spans.append(self._as_span(self._span, self._span_windows, self._parts))
        elif self._span_windows * self._hop >= LEAST_SPAN_S * self._rate_hz:
            rest = self._as_span(self._span, self._span_windows, self._parts)
            spans += [self._as_span(*self._held), rest]
        else:
            powers, windows, parts = self._held
            joined = self._as_span(powers + self._span, windows + self._span_windows, parts + self._parts)
            spans.append(joined)
        return energy, spans

    @staticmethod
    def _fade(values: NDArray[np.float32]) -> None:
        values *= hann(2 * len(values))[: len(values)].astype(np.float32)

    def _take(self, samples: NDArray[np.float32]) -> list[Span]:
        from scipy.fft import rfft

        values = np.concatenate([self._waiting, samples])
        count = max(0, (len(values) - self.size) // self._hop + 1)
        self._waiting = values[count * self._hop :].copy()
        if not count:
            return []
        frames = np.lib.stride_tricks.sliding_window_view(values, self.size)[:: self._hop][:count]
        spans: list[Span] = []
        for start in range(0, count, AT_ONCE):
            lines = rfft(frames[start : start + AT_ONCE] * self._window, axis=1)
            powers = lines.real**2 + lines.imag**2
            for power in powers:
                self._total += power
                # A window that reaches over either end sees the sound cut off, which would smear its lines.
                begin = self._done * self._hop - (self.size - self._hop)
                if begin >= 0 and begin + self.size <= self._samples:
                    spans += self._add_to_span(power)
                self._done += 1
        return spans

    def _add_to_span(self, power: NDArray[np.floating]) -> list[Span]:
        self._span += power
        self._span_windows += 1
        self._part += power
        self._part_windows += 1
        if self._part_windows == PART_WINDOWS:
            self._parts.append(self._as_span(self._part.astype(np.float32), self._part_windows))
            self._part, self._part_windows = np.zeros_like(self._part), 0
        complete: list[Span] = []
        if self._span_windows * self._hop >= LEAST_SPAN_S * self._rate_hz and self._held is not None:
            complete.append(self._as_span(*self._held))
            self._held = None
        if self._span_windows * self._hop >= SPAN_S * self._rate_hz:
            self._held = (self._span, self._span_windows, self._parts)
            self._span, self._span_windows, self._parts = np.zeros_like(self._span), 0, []
        return complete

    def _as_span(self, powers: NDArray[np.floating], windows: int, parts: Sequence[Span] = ()) -> Span:
        square = float(np.sum(self._window.astype(np.float64) ** 2))
        return Span(
            powers=powers * (2 / (self.size * square * max(1, windows))),
            line_hz=self.line_hz,
            resolution_hz=1.5 * self.line_hz,  # F. J. Harris, Proc. IEEE 66 (1978), table 1: Hann
            windows=windows,
            seconds=windows * self._hop / self._rate_hz,
            parts=tuple(parts),
        )

    def _short_span(self) -> Span:
        """Give the spectrum of a sound that no whole window of the usual grid fits into."""
        samples = self._first[: self.size]
        window = hann(len(samples))
        lines = np.fft.rfft(samples * window, n=self.size)
        powers = (lines.real**2 + lines.imag**2) * (2 / (self.size * max(1e-9, float(np.sum(window**2)))))
        return Span(
            powers=powers,
            line_hz=self.line_hz,
            resolution_hz=1.5 * self._rate_hz / len(samples),
            windows=1,
            seconds=len(samples) / self._rate_hz,
        )
