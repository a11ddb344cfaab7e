"""Decode by PyAV, packet by packet, keeping channels and time stamps."""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chatter.errors import FileProblemError
from chatter.model import Finding

Samples = NDArray[np.float32]
JUMP_S = 0.02  # longer holes between packets are filled with silence and reported
PRIMING = {"aac": 1024, "amr": 40}  # raw streams carry no edit list: codec delay in samples
NOT_SOUND = "record to m4a, mp4, wav, flac, ogg or mp3 and copy the whole file"
FULL_SCALE = {"s16": 2.0**15, "s32": 2.0**31, "u8": 2.0**7, "s64": 2.0**63}


def decode_packets(place: Path) -> tuple[Samples, float, list[Finding]]:
    """Decode the first sound track.

    Returns
    -------
    samples, rate_hz, findings
        Shape (channels, frames); holes filled with silence.

    Raises
    ------
    FileProblemError
        Nothing in the file decodes to sound.
    """
    import av

    av.logging.set_level(av.logging.PANIC)
    try:
        with av.open(str(place.resolve())) as container:
            if not container.streams.audio:
                raise FileProblemError(place.name, "it has no sound track", "record with sound on")
            stream = container.streams.audio[0]
            frames, broken = _frames(container, stream)
            rate_hz = float(stream.rate or 0)
            raw = PRIMING.get(container.format.name, 0)
            known = stream.duration
            base = stream.time_base
            length = None if known is None or base is None or raw else round(float(known * base) * rate_hz)
    except av.FFmpegError as error:
        raise FileProblemError(place.name, "it can't be decoded as sound", NOT_SOUND) from error
    if not frames or rate_hz <= 0:
        raise FileProblemError(place.name, "its sound track holds nothing that decodes", NOT_SOUND)
    samples, jumped = _assemble(frames, rate_hz)
    samples = samples[:, raw:]
    if length is not None and 0 < length < samples.shape[1] <= length + 4096:
        samples = samples[:, :length]  # the encoder's padding at the end
    findings = []
    if jumped:
        findings.append(
            Finding(
                code="timestamps-jump",
                severity="warning",
                message="The sound track has holes, filled with silence: record with other programs closed.",
            )
        )
    if broken:
        findings.append(
            Finding(
                code="truncated",
                severity="warning",
                message="The file breaks off; what is there was used: copy the whole file from the phone.",
            )
        )
    return samples, rate_hz, findings


def _frames(container: Any, stream: Any) -> tuple[list[tuple[float | None, Samples]], bool]:
    """Give each frame's time (s) and samples, and whether decoding broke off."""
    import av

    frames: list[tuple[float | None, Samples]] = []
    try:
        for frame in container.decode(stream):
            frames.append((frame.time, _as_float(frame)))
    except av.FFmpegError:
        if not frames:
            raise
        return frames, True
    return frames, False


def _as_float(frame: Any) -> Samples:
    """Give one frame as (channels, n) floats at full scale 1."""
    values = frame.to_ndarray()
    name = frame.format.name
    if not frame.format.is_planar:
        values = values.reshape(-1, len(frame.layout.channels)).T
    kind = name.rstrip("p")
    if kind in FULL_SCALE:
        values = values.astype(np.float32)
        values = (values - 128.0 if kind == "u8" else values) / np.float32(FULL_SCALE[kind])
    return np.asarray(values, dtype=np.float32)


def _assemble(frames: list[tuple[float | None, Samples]], rate_hz: float) -> tuple[Samples, bool]:
    """Join frames by their times: cut what lies before zero, fill holes with silence."""
    channels = frames[0][1].shape[0]
    pieces: list[Samples] = []
    at = 0
    jumped = False
    first = frames[0][0]
    origin = 0.0 if first is None or first < 0 else first
    for time_s, values in frames:
        if values.shape[0] != channels:
            values = np.repeat(values[:1], channels, axis=0)
        start = at if time_s is None else round((time_s - origin) * rate_hz)
        if start < 0:
            values = values[:, -start:]
            start = 0
        if start - at > JUMP_S * rate_hz:
            pieces.append(np.zeros((channels, start - at), dtype=np.float32))
            at, jumped = start, True
        pieces.append(values)
        at += values.shape[1]
    return np.concatenate(pieces, axis=1), jumped
