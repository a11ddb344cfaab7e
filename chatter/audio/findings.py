"""What a recording itself says about its quality.

In: decoded samples. Out: the bandwidth that the sound carries, and findings with what to do.
Source: common practice in recording; thresholds are our own, each on its line.
Leaves out: anything that needs to know where the cut is.
"""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chatter.audio._clipping import flat_share, overshoot_share, piled_share
from chatter.audio._copies import made_up_from_hz
from chatter.audio._processing import has_automatic_gain, has_gate
from chatter.model import Finding

Samples = NDArray[np.float32]
CLIPPED_SHARE = 1e-4  # of the samples of a channel
QUIET_PEAK = 0.003  # -50 dB: 16-bit steps become a hundredth of the peak
SHORT_S = 1.0
VOICE_RATES_HZ = (8000.0, 16_000.0)
VOICE_CODECS = {"amrnb", "amrwb", "amr_nb", "amr_wb", "gsm", "gsm_ms", "pcm_mulaw", "pcm_alaw"}
VOICE_BANDS_HZ = (6000.0, 8000.0)  # medium and wide band of Opus, RFC 6716, table 1
VOICE_EDGE_HZ = (100.0, 300.0)  # below and above: an edge reads up to a band of the spectrum high
LOSSLESS = ("pcm_", "alac", "flac", "wavpack", "tta", "ape")
NARROW_HZ = 4800.0  # a file of 8 kHz that was resampled reads up to some 4,700 Hz
LEAST_MADE_UP = 1e-6  # own choice: of the energy; codecs fill bands with far more, resamplers leak far less
CLIFF_DB = 25.0  # fall within EDGE_WIDTH_HZ that marks a codec's edge: 150 dB an octave at 5 kHz
EDGE_WIDTH_HZ = 600.0  # a telephone band ends between 3.4 and 4 kHz
EDGE_FROM_HZ = 2500.0  # no codec that phones record with stops lower
BELOW, ABOVE = 6, 4  # bands that an edge must have on either side
BLOCK = 4096
CLIPPED = Finding(
    code="clipped",
    severity="warning",
    message="The loudest parts are cut off at full scale: move the phone away or lower the gain.",
)
QUIET = Finding(
    code="quiet",
    severity="warning",
    message="The recording is very quiet: put the phone nearer, behind the guard.",
)


SHORT = Finding(
    code="too-short",
    severity="warning",
    message="Under a second of sound: record the whole pass with idle around it.",
)


def reword(findings: Iterable[Finding], *, like: Finding, message: str) -> tuple[Finding, ...]:
    """Give findings with other words for one of them: what to do about it hangs on what is recorded."""
    return tuple(replace(one, message=message) if one.code == like.code else one for one in findings)


def describe(
    samples: Samples, *, rate_hz: float, codec: str = "", holes: bool = False
) -> tuple[float, list[Finding]]:
    """Judge a recording's quality.

    Parameters
    ----------
    samples
        Shape (channels, n), full scale 1.
    rate_hz
        Sample rate.
    codec
        FFmpeg's name of it; empty for plain samples.
    holes
        Whether silence was put where sound is missing: it looks like a gate's.

    Returns
    -------
    bandwidth_hz, findings
        Highest frequency that carries evidence, half the rate when no edge shows.
    """
    findings: list[Finding] = []
    if samples.shape[1] / rate_hz < SHORT_S:
        findings.append(SHORT)
    if is_clipped(samples, lossy=bool(codec) and not codec.startswith(LOSSLESS)):
        findings.append(CLIPPED)
    if float(np.abs(samples).max()) < QUIET_PEAK:
        findings.append(QUIET)
    bandwidth_hz = carried_bandwidth_hz(samples, rate_hz=rate_hz)
    loudest = max(samples, key=lambda channel: float(np.mean(np.square(channel))))
    core_hz = made_up_from_hz(loudest, rate_hz=rate_hz, bandwidth_hz=bandwidth_hz)
    if core_hz is not None and _share_above(loudest, core_hz, rate_hz=rate_hz) > LEAST_MADE_UP:
        bandwidth_hz = core_hz
        findings.append(
            _finding(
                "synthetic-upper-band",
                f"The codec made up what lies above {core_hz:,.0f} Hz, so it was left out: "
                "choose an uncompressed recorder.",
            )
        )
    else:
        findings.extend(_band_findings(bandwidth_hz, rate_hz=rate_hz, codec=codec))
    findings.extend(_processing_findings(samples, rate_hz=rate_hz, holes=holes))
    return bandwidth_hz, findings


def _share_above(channel: Samples, hz: float, *, rate_hz: float) -> float:
    """Give the share of a channel's energy above a frequency; 0 of one too short to say."""
    count = len(channel) // BLOCK
    if count == 0:
        return 0.0
    blocks = channel[: count * BLOCK].reshape(count, BLOCK)[:: max(1, count // 100)]
    power = np.square(np.abs(np.fft.rfft(blocks * np.hanning(BLOCK), axis=1))).mean(axis=0)
    return float(power[int(hz * BLOCK / rate_hz) :].sum() / max(power.sum(), 1e-30))


def is_clipped(samples: Samples, *, lossy: bool) -> bool:
    """Say whether any channel is cut off at full scale; a lossy codec bends flat tops beyond it."""
    if any(max(flat_share(channel), piled_share(channel)) > CLIPPED_SHARE for channel in samples):
        return True
    return lossy and any(overshoot_share(channel) > CLIPPED_SHARE for channel in samples)


def _processing_findings(samples: Samples, *, rate_hz: float, holes: bool) -> list[Finding]:
    found = []
    if any(has_automatic_gain(channel, rate_hz=rate_hz) for channel in samples):
        found.append(
            _finding(
                "automatic-gain",
                "The background comes up again after a loud part, so the recorder changes its gain: turn "
                "automatic gain off.",
            )
        )
    if not holes and any(has_gate(channel, rate_hz=rate_hz) for channel in samples):
        found.append(
            _finding(
                "noise-suppression",
                "Pauses are emptier than any room, so noise suppression is likely: turn it and voice "
                "enhancement off.",
            )
        )
    return found


def _band_findings(bandwidth_hz: float, *, rate_hz: float, codec: str) -> list[Finding]:
    """Say what the rate, the codec and the edge of the band tell about the recorder."""
    if rate_hz in VOICE_RATES_HZ or codec.removeprefix("libopencore_") in VOICE_CODECS:
        return [
            _finding(
                "headset-codec", "This is a voice recording rate: use the phone's own microphone, no headset."
            )
        ]
    if bandwidth_hz < NARROW_HZ:
        return [
            _finding(
                "narrow-band",
                f"Nothing above {bandwidth_hz:.0f} Hz is in it: choose an uncompressed recorder.",
            )
        ]
    if any(-VOICE_EDGE_HZ[0] < bandwidth_hz - edge_hz < VOICE_EDGE_HZ[1] for edge_hz in VOICE_BANDS_HZ):
        return [
            _finding(
                "voice-message",
                f"The sound stops at {bandwidth_hz:.0f} Hz, as voice messages do: send the recording as a "
                "file, not as a message.",
            )
        ]
    return []


def _finding(code: str, message: str) -> Finding:
    return Finding(code=code, severity="warning", message=message)


def carried_bandwidth_hz(samples: Samples, *, rate_hz: float) -> float:
    """Find a codec's edge in the long-term spectrum.

    An edge is a fall of `CLIFF_DB` within `EDGE_WIDTH_HZ` from a broad band, with nothing louder above it. A
    spectrum that falls naturally, or the skirt of a tone, is none.

    Returns
    -------
    float
        The edge, Hz; half the rate when there is none.
    """
    nyquist = rate_hz / 2
    count = samples.shape[1] // BLOCK
    if count == 0:
        return nyquist
    step = max(1, count // 200)
    blocks = samples[:, : count * BLOCK].reshape(samples.shape[0], count, BLOCK)[:, ::step]
    window = np.hanning(BLOCK).astype(np.float32)
    power = (np.abs(np.fft.rfft(blocks * window, axis=2)) ** 2).mean(axis=(0, 1))
    if not power.any():
        return nyquist
    level = 10 * np.log10(power[1:].reshape(-1, 16).mean(axis=1) + 1e-12)  # 128 bands
    band_hz = nyquist / len(level)
    gap = max(2, round(EDGE_WIDTH_HZ / band_hz))
    lowest = max(BELOW, round(EDGE_FROM_HZ / band_hz))
    for index in range(len(level) - gap - ABOVE, lowest - 1, -1):
        above = float(level[index + gap :].max())
        below = float(
            np.sort(level[index - BELOW + 1 : index + 1])[BELOW // 2 - 1]
        )  # most of them are louder
        if below - above > CLIFF_DB and below > level.max() - 75:
            edge = np.flatnonzero(level[: index + gap] > below - CLIFF_DB / 2)[-1]
            return float((edge + 1) * band_hz)
    return nyquist
