"""Decode by PyAV, packet by packet, keeping channels and time stamps.

In: a path. Out: pieces of shape (channels, n) in order, holes filled, codec delay removed.
Source: full-scale conventions of FFmpeg's sample formats; time stamps after ISO/IEC 14496-12.
Leaves out: whether the samples make a good recording.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chatter.errors import FileProblemError
from chatter.model import Finding

Samples = NDArray[np.float32]
JUMP_S = 0.02  # longer holes between packets are filled with silence and reported
SHORT_BY_S = 0.25  # a track this much shorter than its header says is broken off
# Streams without an edit list hide the codec's delay: one AAC frame, 5 ms of AMR at 8 kHz (both measured
# against sounds of known time, in tests/reference/test_decoders.py).
PRIMING = {("aac", "aac"): 1024, ("mpegts", "aac"): 1024, ("amr", "amrnb"): 40}
PADDING = 4096  # samples; two of the longest AAC frames
GUESSED_LENGTH = {"aac", "amr", "mpegts"}  # FFmpeg guesses these lengths from the bit rate
NOT_SOUND = "record to m4a, mp4, wav, flac, ogg or mp3 and copy the whole file"
FULL_SCALE = {"s16": 2.0**15, "s32": 2.0**31, "u8": 2.0**7, "s64": 2.0**63}


@dataclass(slots=True)
class Track:
    """What was noticed while a sound track was decoded; filled in as its pieces are taken."""

    rate_hz: float = 0.0
    jumped: bool = False
    broken: bool = False
    stated: int | None = None  # samples that the container says there are

    def findings(self) -> list[Finding]:
        """Give the findings; complete after the last piece."""
        found = []
        if self.jumped:
            found.append(
                Finding(
                    code="timestamps-jump",
                    severity="warning",
                    message="The sound has holes, filled with silence: record with other programs closed.",
                )
            )
        if self.broken:
            found.append(truncated())
        return found


def truncated() -> Finding:
    """Give the finding of a file whose end is missing."""
    return Finding(
        code="truncated",
        severity="warning",
        message="The file breaks off; what is there was used: copy the whole file from the phone.",
    )


def packet_pieces(place: Path, *, track: Track) -> Iterator[Samples]:
    """Decode the first sound track, piece by piece.

    Parameters
    ----------
    place
        The file.
    track
        Takes the rate (before the first piece) and what was noticed.

    Yields
    ------
    NDArray
        Shape (channels, n); holes filled with silence.

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
            yield from _without_padding(_place_in_time(container, container.streams.audio[0], track), track)
    except av.FFmpegError as error:
        problem = "it can't be decoded as sound"
        if _lacks_index(place):
            problem = "it breaks off before its index, so it can't be decoded"
        raise FileProblemError(place.name, problem, NOT_SOUND) from error
    if track.rate_hz <= 0:
        raise FileProblemError(place.name, "its sound track holds nothing that decodes", NOT_SOUND)


def _place_in_time(container: Any, stream: Any, track: Track) -> Iterator[Samples]:
    """Order a stream's frames by their times: cut what lies before zero, fill holes with silence."""
    kind = container.format.name
    priming = PRIMING.get((kind, stream.codec_context.name.removeprefix("libopencore_")), 0)
    stated_s = _stated_length_s(container, stream) if kind not in GUESSED_LENGTH else None
    at = channels = 0
    origin_s = 0.0
    for time_s, rate_hz, frame in _frames(container, stream, track):
        if not channels:
            track.rate_hz, channels = rate_hz, frame.shape[0]
            origin_s = max(time_s or 0.0, 0.0) + priming / rate_hz
            track.stated = None if stated_s is None else round(stated_s * rate_hz)
        values = frame if frame.shape[0] == channels else np.repeat(frame[:1], channels, axis=0)
        start = at if time_s is None else round((time_s - origin_s) * rate_hz)
        if start < 0:
            values, start = values[:, -start:], 0
        if start - at > JUMP_S * rate_hz:
            yield np.zeros((channels, start - at), dtype=np.float32)
            at, track.jumped = start, True
        if values.shape[1]:
            yield values
            at += values.shape[1]
    if track.stated is not None and at < track.stated - SHORT_BY_S * track.rate_hz:
        track.broken = True


def _without_padding(pieces: Iterator[Samples], track: Track) -> Iterator[Samples]:
    """Cut the encoder's padding at the end; a track that goes on far beyond its stated length keeps all."""
    at = spare_frames = 0
    spare: list[Samples] = []
    for piece in pieces:
        if track.stated is None:
            yield piece
            continue
        keep = max(0, track.stated - at)
        at += piece.shape[1]
        if keep:
            yield piece[:, :keep]
        if piece.shape[1] > keep:
            spare.append(piece[:, keep:])
            spare_frames += piece.shape[1] - keep
        if spare_frames > PADDING:
            track.stated = None
            yield from spare
            spare = []


def _stated_length_s(container: Any, stream: Any) -> float | None:
    """Give the length that the container states; None where it states none."""
    if stream.duration is None or stream.time_base is None:
        return None
    if container.format.name == "mp3" and not _counts_frames(Path(container.name)):
        return None
    length_s = float(stream.duration * stream.time_base)
    return length_s if length_s > 0 else None


def _counts_frames(place: Path) -> bool:
    """Say whether an MP3 file begins with a count of its frames; without one its length is guessed."""
    with place.open("rb") as stream:
        start = stream.read(65_536)
    return any(mark in start for mark in (b"Xing", b"Info", b"VBRI"))


def _frames(container: Any, stream: Any, track: Track) -> Iterator[tuple[float | None, float, Samples]]:
    """Give each frame's time (s), rate (Hz) and samples; a broken end is noted, not raised."""
    import av

    seen = False
    try:
        for frame in container.decode(stream):
            yield frame.time, float(frame.sample_rate), _as_float(frame)
            seen = True
    except av.FFmpegError:
        if not seen:
            raise
        track.broken = True


def _as_float(frame: Any) -> Samples:
    """Give one frame as (channels, n) floats at full scale 1."""
    values = frame.to_ndarray()
    if not frame.format.is_planar:
        values = values.reshape(-1, len(frame.layout.channels)).T
    kind = frame.format.name.rstrip("p")
    if kind in FULL_SCALE:
        values = values.astype(np.float32)
        values = (values - 128.0 if kind == "u8" else values) / np.float32(FULL_SCALE[kind])
    return np.asarray(values, dtype=np.float32)


def _lacks_index(place: Path) -> bool:
    """Say whether an MPEG-4 file has no movie box: phones write it last (ISO/IEC 14496-12, 4.2)."""
    size = place.stat().st_size
    at = 0
    with place.open("rb") as stream:
        while at + 8 <= size:
            stream.seek(at)
            head = stream.read(16)
            length, name = int.from_bytes(head[:4], "big"), head[4:8]
            if at == 0 and name != b"ftyp":
                return False
            if name == b"moov":
                return at + length > size
            if length == 1:
                length = int.from_bytes(head[8:16], "big")
            if length < 8:
                break
            at += length
    return size >= 8
