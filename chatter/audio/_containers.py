"""What the bytes of a file say about it, where decoders keep silent.

In: a path. Out: yes or no.
Source: ISO/IEC 14496-12 (MPEG-4 boxes), ISO/IEC 13818-7 (ADTS frames), RFC 3533 (Ogg pages), the Xing and
VBRI headers of MP3 encoders.
Leaves out: decoding.
"""

import io
import mmap
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

OGG_HEADER = 27  # bytes before a page's segment table (RFC 3533, 6)
OGG_LAST = 0x04  # header type flag of a stream's last page
OGG_PAGE = 65_307  # bytes of the largest page
ADTS_HEADER = 7  # bytes (ISO/IEC 13818-7, 6.2)
ADTS_CHAIN = 3  # headers that must follow one another before a sync word is believed


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A stretch of an ADTS file that holds no frames."""

    after_bytes: int  # of good frames before it
    lost_bytes: int


def lacks_index(place: Path) -> bool:
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


def counts_frames(place: Path) -> bool:
    """Say whether an MP3 file begins with a count of its frames; without one its length is guessed."""
    with place.open("rb") as stream:
        start = stream.read(65_536)
    return any(mark in start for mark in (b"Xing", b"Info", b"VBRI"))


def ogg_breaks_off(place: Path) -> bool:
    """Say whether an Ogg file stops inside a page, or after one that is not marked as the last."""
    size = place.stat().st_size
    with place.open("rb") as stream:
        stream.seek(max(0, size - 2 * OGG_PAGE))
        end = stream.read()
    at = end.rfind(b"OggS")
    if at < 0 or at + OGG_HEADER > len(end):
        return True
    table = end[at + OGG_HEADER :][: end[at + OGG_HEADER - 1]]
    whole = len(table) == end[at + OGG_HEADER - 1] and at + OGG_HEADER + len(table) + sum(table) <= len(end)
    return not (whole and end[at + 5] & OGG_LAST)


def adts_gaps(place: Path) -> tuple[list[tuple[int, int]], list[Gap]]:
    """Find the stretches of an ADTS file whose frames follow one another, and what is lost between them.

    Returns
    -------
    spans, gaps
        Start and end of each good stretch, in bytes; what lies between two of them.
    """
    spans: list[tuple[int, int]] = []
    with place.open("rb") as stream, mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as content:
        size = len(content)
        start = _next_chain(content, 0)
        while start is not None:
            at, begin = start, start
            kind = _kind(content, at)
            while _kind(content, at) == kind:
                length = _length(content, at)
                follows = at + length
                if length < ADTS_HEADER or not (follows >= size or _kind(content, follows) == kind):
                    break
                at = min(follows, size)
            spans.append((begin, at))
            start = _next_chain(content, at + 1) if at < size else None
        if spans:
            spans[-1] = (
                spans[-1][0],
                size,
            )  # whatever follows the last good frame is for the decoder to judge
    gaps, good = [], 0
    for (begin, end), (then, _) in pairwise(spans):
        good += end - begin
        gaps.append(Gap(after_bytes=good, lost_bytes=then - end))
    return spans, gaps


def _kind(content: mmap.mmap, at: int) -> bytes | None:
    """Give what every header of one stream repeats; None where there is no header."""
    head = content[at : at + ADTS_HEADER]
    if len(head) < ADTS_HEADER or head[0] != 0xFF or head[1] & 0xF6 != 0xF0:
        return None
    return bytes((head[1], head[2], head[3] & 0xC0))


def _length(content: mmap.mmap, at: int) -> int:
    head = content[at + 3 : at + 6]
    return (head[0] & 3) << 11 | head[1] << 3 | head[2] >> 5


def _next_chain(content: mmap.mmap, at: int) -> int | None:
    """Give the next place where headers follow one another."""
    while (at := content.find(b"\xff", at)) >= 0:
        kind, place, seen = _kind(content, at), at, 0
        while kind is not None and seen < ADTS_CHAIN and _kind(content, place) == kind:
            length = _length(content, place)
            if length < ADTS_HEADER:
                break
            place, seen = place + length, seen + 1
        if seen == ADTS_CHAIN:
            return at
        at += 1
    return None


class Spans(io.RawIOBase):
    """The good stretches of a file, one after another, as a file."""

    def __init__(self, place: Path, spans: list[tuple[int, int]]) -> None:
        self.name = str(place)
        self._file = place.open("rb")
        self._spans = spans
        self._at = 0

    def readable(self) -> bool:
        """Say that it can be read."""
        return True

    def read(self, size: int = -1) -> bytes:
        """Give the next bytes; none at the end."""
        passed = 0
        for begin, end in self._spans:
            inside = self._at - passed
            if inside < end - begin:
                self._file.seek(begin + inside)
                part = self._file.read(end - begin - inside if size < 0 else min(size, end - begin - inside))
                self._at += len(part)
                return part
            passed += end - begin
        return b""

    def close(self) -> None:
        """Close the file beneath."""
        self._file.close()
        super().close()
