"""What a recording itself says about its quality.

In: decoded samples. Out: the bandwidth that the sound carries, and findings with what to do.
Source: common practice in recording; thresholds are our own, each on its line.
Leaves out: anything that needs to know where the cut is.
"""

import numpy as np
from numpy.typing import NDArray

from chatter.model import Finding

Samples = NDArray[np.float32]
FULL = 0.999  # of full scale
CLIPPED_SHARE = 1e-4  # of the samples of a channel
QUIET_PEAK = 0.003  # -50 dB: 16-bit steps become a hundredth of the peak
SHORT_S = 1.0
VOICE_RATES_HZ = (8000.0, 16_000.0)
NARROW_HZ = 4200.0
CLIFF_DB = 20.0  # fall over three bands of 128 that marks a codec's edge
STEEP = 3  # bands
FAINT_DB = 75.0  # below the loudest band, an edge is not looked for
BLOCK = 4096


def describe(samples: Samples, *, rate_hz: float) -> tuple[float, list[Finding]]:
    """Judge a recording's quality.

    Parameters
    ----------
    samples
        Shape (channels, n), full scale 1.
    rate_hz
        Sample rate.

    Returns
    -------
    bandwidth_hz, findings
        Highest frequency carried, half the rate when no edge shows.
    """
    findings: list[Finding] = []
    peak = float(np.abs(samples).max())
    if samples.shape[1] / rate_hz < SHORT_S:
        findings.append(
            _finding("too-short", "Under a second of sound: record the whole pass with idle around it.")
        )
    if float((np.abs(samples) >= FULL).mean(axis=1).max()) > CLIPPED_SHARE:
        findings.append(
            _finding(
                "clipped",
                "The loudest parts are cut off at full scale: move the phone away or lower the gain.",
            )
        )
    if peak < QUIET_PEAK:
        findings.append(
            _finding("quiet", "The recording is very quiet: put the phone nearer, behind the guard.")
        )
    bandwidth_hz = carried_bandwidth_hz(samples, rate_hz=rate_hz)
    if rate_hz in VOICE_RATES_HZ:
        findings.append(
            _finding(
                "headset-codec", "This is a voice recording rate: use the phone's own microphone, no headset."
            )
        )
    elif bandwidth_hz < NARROW_HZ:
        findings.append(
            _finding(
                "narrow-band",
                f"Nothing above {bandwidth_hz:.0f} Hz is in it: choose an uncompressed recorder.",
            )
        )
    return bandwidth_hz, findings


def _finding(code: str, message: str) -> Finding:
    return Finding(code=code, severity="warning", message=message)


def carried_bandwidth_hz(samples: Samples, *, rate_hz: float) -> float:
    """Find a codec's edge in the long-term spectrum.

    Returns
    -------
    float
        The cliff's foot, Hz; half the rate when there is none.
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
    top = level.max()
    for index in range(len(level) - STEEP - 2, STEEP, -1):
        below, above = level[max(0, index - 2 * STEEP) : index].min(), level[index + STEEP :].max()
        # A codec's edge falls within a few bands and nothing rises above it; a roll-off is slower.
        if below - above > CLIFF_DB and below > top - FAINT_DB:
            return float((index + 1) / len(level) * nyquist)
    return nyquist
