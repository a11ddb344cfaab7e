"""Files to recordings: every format that a phone makes.

In: a path. Out: a Recording at its native rate and layout, times counted from the first presented sample.
Method: libsndfile where it can, PyAV (FFmpeg) for the rest; never a mixed-down channel.
Source: full-scale conventions of each decoder's manual; container time stamps after ISO/IEC 14496-12.
Leaves out: what the samples mean.
"""

import hashlib
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chatter.audio._packets import decode_packets
from chatter.audio.findings import describe
from chatter.errors import BadSamplesError, FileProblemError
from chatter.model import Finding, Recording

Samples = NDArray[np.float32]
# First bytes of the uncompressed and lossless files that libsndfile reads exactly.
LIBSNDFILE_STARTS = {b"RIFF", b"RF64", b"RIFX", b"FORM", b"fLaC", b"caff", b".snd"}
RECORD_AGAIN = "record again, or copy the file from the phone once more"


def read_recording(path: str | Path) -> Recording:
    """Decode a whole file.

    Parameters
    ----------
    path
        Any sound or video file.

    Returns
    -------
    Recording
        Samples of shape (channels, frames), full scale 1, with findings about them.

    Raises
    ------
    FileProblemError
        Missing, a directory, unreadable, empty, or without a sound track that decodes.
    BadSamplesError
        No samples, no sample rate, or samples that are not numbers.
    """
    place = Path(path)
    content = _read_bytes(place)
    samples, rate_hz, findings = _decode(place)
    if rate_hz <= 0:
        raise BadSamplesError(place.name, "its header gives no sample rate", RECORD_AGAIN)
    if samples.size == 0:
        raise BadSamplesError(place.name, "it holds no sound", RECORD_AGAIN)
    if not np.isfinite(samples).all():
        raise BadSamplesError(place.name, "some of its samples are not numbers", "export it again as 16-bit")
    bandwidth_hz, more = describe(samples, rate_hz=rate_hz)
    return Recording(
        file=place.name,
        sha256=content,
        samples=samples,
        rate_hz=rate_hz,
        bandwidth_hz=bandwidth_hz,
        findings=tuple(findings + more),
    )


def _read_bytes(place: Path) -> str:
    """Give the SHA-256 of a file, or say why it can't be read."""
    if place.is_dir():
        raise FileProblemError(place.name, "it is a folder", "name a sound file in it")
    try:
        with place.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
            size = stream.tell()
    except FileNotFoundError as error:
        raise FileProblemError(
            str(place), "there is no such file", "check the name and the folder"
        ) from error
    except (OSError, ValueError) as error:
        raise FileProblemError(str(place), "it can't be read", "check that you may open it") from error
    if size == 0:
        raise FileProblemError(place.name, "it is empty", RECORD_AGAIN)
    return digest


def _decode(place: Path) -> tuple[Samples, float, list[Finding]]:
    """Decode by content: libsndfile first, then PyAV."""
    import soundfile

    with place.open("rb") as stream:
        known = stream.read(4) in LIBSNDFILE_STARTS
    if known:
        try:
            with soundfile.SoundFile(place) as file:
                return file.read(dtype="float32", always_2d=True).T, float(file.samplerate), []
        except (soundfile.SoundFileError, OSError, TypeError, ValueError):
            pass  # a container that libsndfile knows with a codec that it doesn't
    return decode_packets(place)
