"""One sound of any length to levels, bands and tones, in one pass.

In: blocks of a recording. Out: a `NoiseAnalysis`, levels re digital full-scale rms.
Method: every channel goes through its own meters, and the loudest by A-weighted level is given: a covered or
dead microphone reads low, and a mean of channels can cancel.
Source: see each stage. A long sound's tones are judged minute by minute; the adjustment is the one that gives
the same energy as each minute with its own (ISO 1996-1:2016, rating level).
Leaves out: calibration, and everything away from the microphone.
"""

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

from chatter.audio import Block, Watch
from chatter.audio.findings import QUIET, reword
from chatter.errors import BadSamplesError
from chatter.model import Finding
from chatter.model.noise import BandLevel, NoiseAnalysis, NoiseLevels, NoiseTone
from chatter.noise.bands import band_levels_db, midbands_hz
from chatter.noise.levels import LevelMeter
from chatter.noise.quality import high_pass_finding
from chatter.noise.spectrum import Span, SpectrumMeter
from chatter.noise.tones import FoundTone, find_wandering_tones
from chatter.noise.weighting import WeightingFilters, a_weighting_db

BLOCK_S = 5.0
LISTED = 20  # own choice: tones that a document lists
QUIET_HERE = (
    "The recording is very quiet: record with the gain that the recorder was calibrated with, or usually "
    "has. If you put the phone nearer, tell the new distance."
)
SHORTEST_S = 0.1  # own choice: below it no level means anything


class _Channel:
    """All meters of one channel."""

    def __init__(self, rate_hz: float) -> None:
        self.filters = WeightingFilters(rate_hz)
        self.levels = LevelMeter(rate_hz)
        self.spectrum = SpectrumMeter(rate_hz)
        self.loudest_db = -np.inf
        self.tones: tuple[FoundTone, ...] = ()
        self._weight: NDArray[np.float64] | None = None
        self._energy = self._rated = 0.0
        self.judged = False

    def add(self, samples: NDArray[np.floating], *, top_hz: Callable[[], float]) -> None:
        weighted = self.filters.weigh(samples)
        self.levels.add(weighted)
        for span in self.spectrum.add(weighted.z):
            self.judge(span, top_hz=top_hz())

    def judge(self, span: Span, *, top_hz: float) -> None:
        """Find the tones of a minute and weigh its adjustment by its A-weighted energy."""
        if self._weight is None:
            lines_hz = np.arange(1, len(span.powers), dtype=np.float64) * np.float64(span.line_hz)
            self._weight = np.concatenate([[0.0], 10 ** (a_weighting_db(lines_hz) / 10)])
        found = find_wandering_tones(span, weight=self._weight, top_hz=top_hz)
        energy = span.energy(self._weight)
        if found.adjustment_db is None or energy <= 0:
            return
        self.judged = True
        self._energy += energy
        self._rated += energy * 10 ** (found.adjustment_db / 10)
        rated_db = 10 * np.log10(energy) + found.adjustment_db
        if rated_db > self.loudest_db:
            self.loudest_db, self.tones = rated_db, found.tones

    @property
    def adjustment_db(self) -> float | None:
        """Adjustment for tones of everything that was judged; None where nothing could be."""
        return float(10 * np.log10(self._rated / self._energy)) if self.judged else None


def analyse_blocks(
    blocks: Iterable[Block], *, name: str, progress: Callable[[float], None] | None = None
) -> NoiseAnalysis:
    """Measure a sound of any length.

    Parameters
    ----------
    blocks
        One after another.
    name
        Of the file, for messages.
    progress
        Called with the seconds that are done.

    Returns
    -------
    NoiseAnalysis
        Levels re full-scale rms.

    Raises
    ------
    BadSamplesError
        The sound is too short to have a level, or its number of channels changes.
    """
    watch = Watch()
    channels: list[_Channel] = []
    frames, rate_hz = 0, 0.0
    for block in blocks:
        if not channels:
            rate_hz = block.rate_hz
            channels = [_Channel(rate_hz) for _ in block.samples]
        watch.add(block)
        for channel, samples in zip(channels, block.samples, strict=True):
            channel.add(samples, top_hz=watch.bandwidth_hz)
        frames += block.samples.shape[1]
        if progress is not None:
            progress(frames / rate_hz)
    if frames < SHORTEST_S * rate_hz or not channels:
        raise BadSamplesError(
            name,
            f"it holds less than the {SHORTEST_S:g} s that a level needs",
            "record for at least ten seconds",
        )
    bandwidth_hz, findings = watch.finish()
    findings = reword(findings, like=QUIET, message=QUIET_HERE)
    return _gather(channels, rate_hz=rate_hz, frames=frames, bandwidth_hz=bandwidth_hz, findings=findings)


def _gather(
    channels: list[_Channel],
    *,
    rate_hz: float,
    frames: int,
    bandwidth_hz: float,
    findings: tuple[Finding, ...],
) -> NoiseAnalysis:
    measured = [channel.levels.finish() for channel in channels]
    loudness = [-np.inf if levels.aeq_db is None else levels.aeq_db for levels in measured]
    best = int(np.argmax(loudness))
    levels, channel = measured[best], channels[best]
    energy, spans = channel.spectrum.finish()
    for span in spans:
        channel.judge(span, top_hz=bandwidth_hz)
    clipped = any(finding.code == "clipped" for finding in findings)
    silent = levels.aeq_db is None  # also a sound that stands still at some value, whose spectrum leaks
    if silent:
        findings = (*(one for one in findings if one.code != "quiet"), SILENT)
    elif channel.adjustment_db is None:
        findings = (*findings, TOO_SHORT_FOR_TONES)
    in_bands = band_levels_db(energy, line_hz=channel.spectrum.line_hz, samples=frames, top_hz=bandwidth_hz)
    bands = tuple(
        BandLevel(midband_hz=float(hz), Leq_db=None if silent else level)
        for hz, level in zip(midbands_hz(), in_bands, strict=True)
    )
    filtered = high_pass_finding(bands)
    if filtered is not None:
        findings = (*findings, filtered)
    return NoiseAnalysis(
        rate_hz=rate_hz,
        duration_s=frames / rate_hz,
        bandwidth_hz=bandwidth_hz,
        channel=best,
        levels=NoiseLevels(
            LAeq_db=levels.aeq_db,
            LCeq_db=levels.ceq_db,
            LZeq_db=levels.zeq_db,
            LAFmax_db=levels.af_max_db,
            LASmax_db=levels.as_max_db,
            LCpeak_db=None if clipped else levels.c_peak_db,
            LAF10_db=levels.af10_db,
            LAF50_db=levels.af50_db,
            LAF90_db=levels.af90_db,
            LAE_db=levels.ae_db,
        ),
        bands=bands,
        tones=tuple(
            NoiseTone(
                frequency_hz=tone.frequency_hz,
                level_db=tone.level_db,
                audibility_db=tone.audibility_db,
                source=None,
            )
            for tone in (() if silent else channel.tones[:LISTED])
        ),
        tonal_adjustment_db=None if silent else channel.adjustment_db,
        findings=findings,
        loud_part=channel.levels.history.finish(aeq_db=levels.aeq_db),
    )


SILENT = Finding(
    code="silent",
    severity="error",
    message="The recording holds nothing but digital silence, so it has no level: check the microphone and "
    "record again.",
)
TOO_SHORT_FOR_TONES = Finding(
    code="too-short-for-tones",
    severity="warning",
    message="The recording is too short to tell tones from noise: record at least ten seconds.",
)
