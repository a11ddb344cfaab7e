"""Decode by PyAV, packet by packet, keeping channels and time stamps.

In: a path. Out: pieces of shape (channels, n) in order, holes filled, codec delay removed.
Source: full-scale conventions of FFmpeg's sample formats; time stamps after ISO/IEC 14496-12.
Leaves out: whether the samples make a good recording.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chatter.audio._containers import counts_frames, lacks_index, ogg_breaks_off
from chatter.audio._decode import Frame, Notes, decoded_frames, opened, silence, slowing
from chatter.errors import FileProblemError
from chatter.model import Finding

Samples = NDArray[np.float32]
JUMP_S = 0.02  # longer holes between packets are filled with silence and reported
LONGEST_HOLES_S = 12 * 3600.0  # own choice, of a file together: a night; damaged times leave days
SHORT_BY_S = 0.25  # a track this much shorter than its header says is broken off
SHORT_FILM_S = 1.0  # where the header's length may be the picture's
# Streams without an edit list hide the codec's delay: one AAC frame, 5 ms of AMR at 8 kHz (both measured
# against sounds of known time, in tests/reference/test_decoders.py). What an edit list already cut counts
# towards it: FFmpeg's writes 50 samples for the 40 of AMR.
MATROSKA = "matroska,webm"  # FFmpeg's names
MPEG_4 = "mov,mp4,m4a,3gp,3g2,mj2"
PRIMING = {("aac", "aac"): 1024, ("mpegts", "aac"): 1024, ("amr", "amrnb"): 40, (MPEG_4, "amrnb"): 40}
PADDING = 4096  # samples; two of the longest AAC frames
GUESSED_LENGTH = {"aac", "amr", "mpegts"}  # FFmpeg guesses these lengths from the bit rate
COPY_AGAIN = "copy it from the phone again, or save the part with the sound as its own file"
NOT_SOUND = "record to m4a, mp4, wav, flac, ogg or mp3 and copy the whole file"


@dataclass(slots=True)
class Track:
    """What was noticed while a sound track was decoded; filled in as its pieces are taken."""

    rate_hz: float = 0.0
    codec: str = ""  # FFmpeg's name; empty for what libsndfile reads
    slowed: float = 1.0  # how many times slower the film plays than it was taken
    jumped: bool = False
    broken: bool = False
    notes: Notes = field(default_factory=Notes)
    stated: int | None = None  # samples that the container says there are

    def findings(self) -> list[Finding]:
        """Give the findings; complete after the last piece."""
        found = []
        if self.jumped:
            found.append(
                Finding(
                    code="timestamps-jump",
                    severity="warning",
                    message="The sound has holes, filled with silence: copy the file again, and record with "
                    "other programs closed.",
                )
            )
        if self.notes.damaged:
            found.append(
                Finding(
                    code="damaged",
                    severity="warning",
                    message="Parts of the file are damaged and were replaced by silence: copy it from the "
                    "phone again.",
                )
            )
        if self.slowed > 1:
            found.append(
                Finding(
                    code="slowed-video",
                    severity="warning",
                    message=f"The film was taken at {self.slowed:.3g} times the speed that it plays at, and "
                    "its sound may be slowed with it: film at the usual speed or record sound only.",
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
        Nothing in the file decodes to sound, or its times leave holes that no recording has.
    """
    import av

    av.logging.set_level(av.logging.PANIC)
    try:
        with opened(place) as (container, gaps):
            if not container.streams.audio:
                raise FileProblemError(place.name, "it has no sound track", "record with sound on")
            track.codec = container.streams.audio[0].codec_context.name
            track.slowed = slowing(container)
            frames = decoded_frames(container, notes=track.notes, gaps=gaps)
            yield from _without_padding(_place_in_time(container, frames, place=place, track=track), track)
    except av.FFmpegError as error:
        problem = "it can't be decoded as sound"
        if lacks_index(place):
            problem = "it breaks off before its index, so it can't be decoded"
        raise FileProblemError(place.name, problem, NOT_SOUND) from error
    if track.rate_hz <= 0:
        raise FileProblemError(place.name, "its sound track holds nothing that decodes", NOT_SOUND)


def _place_in_time(
    container: Any, frames: Iterator[Frame], *, place: Path, track: Track
) -> Iterator[Samples]:
    """Order a stream's frames by their times: cut what lies before zero, fill holes with silence."""
    kind, stream = container.format.name, container.streams.audio[0]
    priming = PRIMING.get((kind, stream.codec_context.name.removeprefix("libopencore_")), 0)
    stated_s = _stated_length_s(container, place) if kind not in GUESSED_LENGTH else None
    at = channels = filled = 0
    origin_s = 0.0
    for time_s, rate_hz, frame in frames:
        if not channels:
            track.rate_hz, channels = rate_hz, frame.shape[0]
            origin_s = (
                max(time_s or 0.0, 0.0) + priming / rate_hz - (track.notes.skipped_s if priming else 0.0)
            )
            track.stated = None if stated_s is None else round(stated_s * rate_hz)
        values = frame if frame.shape[0] == channels else np.repeat(frame[:1], channels, axis=0)
        start = at if time_s is None else round((time_s - origin_s) * rate_hz)
        if start < 0:
            values, start = values[:, -start:], 0
        if start - at > JUMP_S * rate_hz or (start > 0 and at == 0):
            track.jumped |= start - at > JUMP_S * rate_hz
            filled += start - at
            if filled > LONGEST_HOLES_S * track.rate_hz:
                problem = f"the times in it leave holes of more than {LONGEST_HOLES_S / 3600:.0f} hours"
                raise FileProblemError(place.name, problem, COPY_AGAIN)
            yield from silence(channels, start - at, rate_hz=rate_hz)
            at = start
        if values.shape[1]:
            yield values
            at += values.shape[1]
    short = track.stated is not None and at < track.stated - SHORT_BY_S * track.rate_hz
    if kind == MATROSKA and container.duration:  # it states one length for sound and picture
        short = at < (container.duration * 1e-6 - SHORT_FILM_S) * track.rate_hz
    track.broken |= short or track.notes.broken or (kind == "ogg" and ogg_breaks_off(place))


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


def _stated_length_s(container: Any, place: Path) -> float | None:
    """Give the length that the container states; None where it states none."""
    stream = container.streams.audio[0]
    if stream.duration is None or stream.time_base is None:
        return None
    if container.format.name == "mp3" and not counts_frames(place):
        return None
    length_s = float(stream.duration * stream.time_base)
    return length_s if length_s > 0 else None
