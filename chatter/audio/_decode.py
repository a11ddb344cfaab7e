"""Decode the packets of one sound track, and put silence where some don't decode.

In: an opened container. Out: times, rates and samples of its frames, in order.
Source: full-scale conventions of FFmpeg's sample formats.
Leaves out: where the frames lie in time (chatter/audio/_packets.py).
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chatter.audio._containers import Gap, Spans, adts_gaps

Samples = NDArray[np.float32]
Frame = tuple[float | None, float, Samples]  # time (s), rate (Hz), samples of shape (channels, n)
COUNTED = {"aac", "amr", "mp3"}  # files without times: FFmpeg counts packets, so a lost one leaves no hole
OVERLONG = 1.5  # a packet that decodes to this many times its stated length is damaged
CAPTURE_RATE = "com.android.capture.fps"  # frames per second at which a phone took a film, from memory
SLOWED = 1.5  # film and player never agree exactly
SILENCE_S = 10.0  # own choice: of silence at a time, so that a hole of hours takes no more memory
FULL_SCALE = {"s16": 2.0**15, "s32": 2.0**31, "u8": 2.0**7, "s64": 2.0**63}


@dataclass(slots=True)
class Notes:
    """What was noticed on the way; complete after the last frame."""

    damaged: bool = False  # in the middle
    broken: bool = False  # at the end
    skipped_s: float = 0.0  # cut from the start by the container's edit list


@contextmanager
def opened(place: Path) -> Iterator[tuple[Any, list[Gap]]]:
    """Open a file; an ADTS file is freed of the stretches that its demuxer can't pass."""
    import av

    with av.open(str(place.resolve())) as container:
        spans, gaps = adts_gaps(place) if container.format.name == "aac" else ([], [])
        if not gaps:
            yield container, []
            return
    with Spans(place, spans) as clean, av.open(clean, format="aac") as container:
        yield container, gaps


def slowing(container: Any) -> float:
    """Give how many times slower a film plays than it was taken; 1 where it does not say."""
    video = container.streams.video
    try:
        taken = float(container.metadata.get(CAPTURE_RATE, "nan"))
        plays = float(video[0].average_rate) if video and video[0].average_rate else float("nan")
    except ValueError:
        return 1.0
    return taken / plays if SLOWED < taken / plays < float("inf") else 1.0


def decoded_frames(container: Any, *, notes: Notes, gaps: list[Gap]) -> Iterator[Frame]:
    """Decode the first sound track packet by packet.

    Parameters
    ----------
    container
        Opened by `opened`.
    notes
        Takes what was noticed.
    gaps
        Stretches without packets.

    Yields
    ------
    Frame
        A time of None follows what came before it.

    Raises
    ------
    av.FFmpegError
        Nothing decodes.
    """
    import av

    state = _State(notes=notes, counted=container.format.name in COUNTED, gaps=list(gaps))
    try:
        for packet in container.demux(container.streams.audio[0]):
            try:
                frames = packet.decode()
            except av.FFmpegError as error:
                state.lose(packet, error)
            else:
                yield from state.take(packet, frames)
    except av.FFmpegError as error:
        state.trouble, notes.broken = error, True
    if state.trouble is not None and not state.samples:
        raise state.trouble
    notes.broken |= bool(state.lost)  # nothing good came after them


@dataclass(slots=True)
class _State:
    """How much the good packets held, to tell how much the bad ones took away."""

    notes: Notes
    counted: bool  # the file has no times: bytes alone tell how much was lost
    gaps: list[Gap]
    lost: list[Any] = field(default_factory=list)  # packets since the last good one
    trouble: Exception | None = None
    samples: int = 0
    good_bytes: int = 0
    passed_bytes: int = 0  # good or bad
    frame: int = 1  # samples of the last frame

    def lose(self, packet: Any, error: Exception) -> None:
        self._begin(packet)
        self.trouble = error
        self.lost.append(packet)
        self.passed_bytes += packet.size

    def take(self, packet: Any, frames: list[Any]) -> Iterator[Frame]:
        """Give a packet's frames, after the silence in place of what was lost before it."""
        self._begin(packet)
        if self._overlong(packet, frames):
            self.lost.append(packet)
            return
        for frame in frames:
            values, rate_hz = as_float(frame), float(frame.sample_rate)
            yield from self._silence(channels=len(values), rate_hz=rate_hz)
            self.frame = max(1, values.shape[1])
            self.samples += values.shape[1]
            yield frame.time, rate_hz, values
        self.good_bytes += packet.size
        self.passed_bytes += packet.size

    def _begin(self, packet: Any) -> None:
        if not self.samples and not self.lost and packet.pts is not None:
            self.notes.skipped_s = max(0.0, -float(packet.pts * packet.time_base))

    def _overlong(self, packet: Any, frames: list[Any]) -> bool:
        """Say whether a packet gives far more than its container says: its bytes are not what was written."""
        if self.counted or not packet.duration or not frames or not self.samples:
            return False
        stated = max(self.frame, packet.duration * packet.time_base * frames[0].sample_rate)
        return bool(sum(frame.samples for frame in frames) > OVERLONG * stated)

    def _silence(self, *, channels: int, rate_hz: float) -> Iterator[Frame]:
        """Give as much silence as was lost: by the packets' times, or else by their bytes."""
        missing = sum(packet.size for packet in self.lost)
        while self.gaps and self.gaps[0].after_bytes <= self.passed_bytes:
            missing += self.gaps.pop(0).lost_bytes
        lost, self.lost = self.lost, []
        if not missing or (self.counted and not self.samples):
            return
        self.notes.damaged = True
        if self.counted:
            frames = round(missing * self.samples / self.good_bytes / self.frame)
            for part in silence(channels, frames * self.frame, rate_hz=rate_hz):
                yield None, rate_hz, part
            return
        length_s = sum(float((packet.duration or 0) * packet.time_base) for packet in lost)
        time_s = None if lost[0].pts is None else float(lost[0].pts * lost[0].time_base)
        for part in silence(channels, round(length_s * rate_hz), rate_hz=rate_hz):
            yield time_s, rate_hz, part
            time_s = None


def silence(channels: int, length: int, *, rate_hz: float) -> Iterator[Samples]:
    """Give silence of a length in samples, a little at a time; at least one piece, be it empty."""
    most = max(1, round(SILENCE_S * rate_hz))
    for start in range(0, max(1, length), most):
        yield np.zeros((channels, min(most, length - start)), dtype=np.float32)


def as_float(frame: Any) -> Samples:
    """Give one frame as (channels, n) floats at full scale 1."""
    values = frame.to_ndarray()
    if not frame.format.is_planar:
        values = values.reshape(-1, len(frame.layout.channels)).T
    kind = frame.format.name.rstrip("p")
    if kind in FULL_SCALE:
        values = values.astype(np.float32)
        values = (values - 128.0 if kind == "u8" else values) / np.float32(FULL_SCALE[kind])
    return np.asarray(values, dtype=np.float32)
