"""Files to recordings: every format that a phone makes.

In: a path. Out: a Recording at its native rate and layout, or its blocks one after another; times count from
the first presented sample.
Method: libsndfile for plain sample files, PyAV (FFmpeg) for the rest; never a mixed-down channel.
Source: full-scale conventions of each decoder's manual.
Leaves out: what the samples mean.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chatter.audio._packets import Track, packet_pieces
from chatter.audio.findings import describe
from chatter.errors import BadSamplesError, BadValueError, FileProblemError
from chatter.model import Finding, Recording

Samples = NDArray[np.float32]
RECORD_AGAIN = "record again, or copy the file from the phone once more"
# First bytes of what libsndfile reads without a codec. MP3 and Ogg go to PyAV: libsndfile's MP3 reader
# prints to stderr on damaged files.
SAMPLE_FILES = (b"RIFF", b"RIFX", b"RF64", b"riff", b"FORM", b"fLaC", b"caff", b".snd")
UNKNOWN_RIFF_SIZE = 0x7FFF_0000  # recorders that stream write a size at or above this, or 0
LONGEST_S = 20 * 60.0  # of a whole recording in memory
MOST_SAMPLES = 20 * 60 * 48_000 * 2  # half a gigabyte as floats: two channels at 48 kHz
TOO_LONG = "save the part with the cut, from a few seconds before it to a few seconds after, as its own file"
READ_S = 10.0  # libsndfile is asked for this much at a time


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """One stretch of a long recording."""

    start_s: float
    rate_hz: float
    samples: Samples  # shape (channels, frames), full scale is 1
    findings: tuple[Finding, ...] = ()  # about the decoding; only the last block can have any
    codec: str = ""  # FFmpeg's name of it; empty for plain samples


def read_recording(path: str | Path) -> Recording:
    """Decode a whole file.

    Parameters
    ----------
    path
        Any sound or video file of up to 20 minutes.

    Returns
    -------
    Recording
        Samples of shape (channels, frames), full scale 1, with findings about them.

    Raises
    ------
    FileProblemError
        Missing, a directory, unreadable, empty, too long, or without a sound track that decodes.
    BadSamplesError
        No samples, no sample rate, or samples that are not numbers.
    """
    place = Path(path)
    content = _sha256(place)
    track = Track()
    pieces: list[Samples] = []
    held = 0
    for piece in _pieces(place, track):
        held += piece.size
        if held > MOST_SAMPLES or held > LONGEST_S * track.rate_hz * len(piece):
            problem = f"it holds more sound than the {LONGEST_S / 60:.0f} minutes that are read at once"
            if held <= LONGEST_S * track.rate_hz * len(piece):
                problem = "it has too many channels at too high a rate for its length"
            elif track.jumped:
                problem += ", with the holes in its times filled with silence"
            raise FileProblemError(place.name, problem, TOO_LONG)
        pieces.append(piece)
    _check_any(place, held > 0)
    samples = np.concatenate(pieces, axis=1)
    pieces.clear()
    _check_numbers(place, samples)
    bandwidth_hz, more = describe(
        samples, rate_hz=track.rate_hz, codec=track.codec, holes=track.jumped or track.notes.damaged
    )
    return Recording(
        file=place.name,
        sha256=content,
        samples=samples,
        rate_hz=track.rate_hz,
        bandwidth_hz=bandwidth_hz,
        findings=tuple(track.findings() + more),
    )


def read_blocks(path: str | Path, *, block_s: float) -> Iterator[Block]:
    """Decode a file of any length in constant memory.

    Parameters
    ----------
    path
        Any sound or video file.
    block_s
        Length of a block, s, above 0. The last one may be shorter.

    Yields
    ------
    Block
        One after another, without a gap.

    Raises
    ------
    BadValueError
        `block_s` is not a length.
    FileProblemError, BadSamplesError
        As `read_recording`, as soon as the trouble is met.
    """
    if not 0 < block_s < float("inf"):
        raise BadValueError("block_s", block_s, "a length above 0 s")
    place = Path(path)
    check_readable(place)
    return _blocks(place, block_s)


def _blocks(place: Path, block_s: float) -> Iterator[Block]:
    track = Track()
    waiting: list[Samples] = []
    held = done = 0
    for piece in _pieces(place, track):
        _check_numbers(place, piece)
        waiting.append(piece)
        held += piece.shape[1]
        size = max(1, round(block_s * track.rate_hz))
        if held <= size:  # the last block waits for the findings
            continue
        joined = np.concatenate(waiting, axis=1)
        while joined.shape[1] > size:
            yield Block(
                start_s=done / track.rate_hz,
                rate_hz=track.rate_hz,
                samples=joined[:, :size].copy(),
                codec=track.codec,
            )
            done += size
            joined = joined[:, size:]
        waiting, held = [joined.copy()], joined.shape[1]
    _check_any(place, held > 0)
    yield Block(
        start_s=done / track.rate_hz,
        rate_hz=track.rate_hz,
        samples=np.concatenate(waiting, axis=1),
        findings=tuple(track.findings()),
        codec=track.codec,
    )


def _check_any(place: Path, found: bool) -> None:
    if not found:
        raise BadSamplesError(place.name, "it holds no sound", RECORD_AGAIN)


def _check_numbers(place: Path, samples: Samples) -> None:
    if not np.isfinite(samples).all():
        raise BadSamplesError(place.name, "some of its samples are not numbers", "export it again as 16-bit")


def check_readable(place: Path) -> None:
    """Say why a file can't be read, if it can't."""
    try:
        if place.is_dir():
            raise FileProblemError(place.name or str(place), "it is a folder", "name a sound file in it")
        with place.open("rb") as stream:
            empty = not stream.read(1)
    except FileNotFoundError as error:
        raise FileProblemError(
            str(place), "there is no such file", "check the name and the folder"
        ) from error
    except (OSError, ValueError) as error:
        raise FileProblemError(str(place), "it can't be read", "check that you may open it") from error
    if empty:
        raise FileProblemError(place.name, "it is empty", RECORD_AGAIN)


def _sha256(place: Path) -> str:
    """Give the SHA-256 of a file, read as a stream."""
    check_readable(place)
    try:
        with place.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise FileProblemError(str(place), "it can't be read", "check that you may open it") from error


def _pieces(place: Path, track: Track) -> Iterator[Samples]:
    """Decode by content: plain sample files by libsndfile, the rest by PyAV."""
    with place.open("rb") as stream:
        head = stream.read(64)
    if head[:4] == b"RIFF" and head[12:16] == b"fmt " and len(head) >= 28 and not any(head[24:28]):
        raise BadSamplesError(place.name, "its header gives a sample rate of zero", RECORD_AGAIN)
    if not head.startswith(SAMPLE_FILES):
        yield from packet_pieces(place, track=track)
        return
    import soundfile

    try:
        opened = soundfile.SoundFile(place)
    except (soundfile.SoundFileError, OSError, TypeError, ValueError):
        opened = None  # a codec in one of these containers that libsndfile lacks
    if opened is None:
        yield from packet_pieces(place, track=track)
        return
    with opened as file:
        track.rate_hz = float(file.samplerate)
        step = max(1, round(READ_S * track.rate_hz))
        done, frames = 0, file.frames
        try:
            while len(values := file.read(step, dtype="float32", always_2d=True)):
                yield values.T
                done += len(values)
        except (soundfile.SoundFileError, ValueError):
            rest = _rest(place, track, done)
            for piece in rest:
                yield piece
                done += piece.shape[1]
            track.notes.damaged = done >= frames
            track.broken = False  # `done` says it better than a decoder that was stopped in the middle
        if done < frames or _riff_is_short(head, place.stat().st_size):
            track.broken = True


def _rest(place: Path, track: Track, done: int) -> Iterator[Samples]:
    """Decode what libsndfile gave up on: it drops a whole request where a file breaks off, PyAV a packet."""
    for piece in packet_pieces(place, track=track):
        skip = min(done, piece.shape[1])
        done -= skip
        if skip < piece.shape[1]:
            yield piece[:, skip:]


def _riff_is_short(head: bytes, size: int) -> bool:
    """Say whether a WAV file holds fewer bytes than its header says."""
    stated = int.from_bytes(head[4:8], "little")
    return head[:4] == b"RIFF" and 0 < stated < UNKNOWN_RIFF_SIZE and stated + 8 > size + 1


def stated_length_s(path: str | Path) -> float | None:
    """Give the length that a file says it has, s; None where it doesn't say, or can't be read."""
    import soundfile

    place = Path(path)
    try:
        return float(soundfile.info(place).duration)
    except (soundfile.SoundFileError, OSError, TypeError, ValueError):
        pass
    import av

    try:
        with av.open(str(place)) as container:
            return float(container.duration / av.time_base) if container.duration else None
    except (av.FFmpegError, OSError, ValueError):
        return None
