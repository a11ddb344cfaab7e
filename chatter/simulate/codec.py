"""Sound files as phones write them: a scene's samples through a codec into a file.

In: samples and a choice of codec. Out: a file that `chatter.audio` can read.
Method: FFmpeg's encoders (AAC and MP3 with their delay, Opus at its own 48 kHz), libsndfile for the rest.
Source: kinds and bit rates of phone recorders and messaging programs are common practice.
Leaves out: variable frame loss, video around the sound.
"""

from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import signal

from chatter.errors import BadValueError

OPUS_HZ = 48_000  # RFC 7845, section 5.1: Opus always plays at 48 kHz
FRAME = 1024  # samples handed to an encoder at a time
ENCODERS = {"aac": "aac", "opus": "libopus", "mp3": "libmp3lame"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Codec:
    """One way to store a recording."""

    name: str  # "aac", "opus", "mp3", "flac" or "wav"
    suffix: str
    bit_rate: int | None = None  # bit/s; None for the lossless ones


def random_codec(rng: np.random.Generator) -> Codec:
    """Draw a codec: each name is as likely as any other."""
    name = str(rng.choice(["aac", "opus", "mp3", "flac", "wav"]))
    if name == "aac":
        return Codec(name=name, suffix=".m4a", bit_rate=1000 * int(rng.choice([96, 128, 160, 192])))
    if name == "mp3":
        return Codec(name=name, suffix=".mp3", bit_rate=1000 * int(rng.choice([96, 128, 160, 192])))
    if name == "opus":
        suffix = str(rng.choice([".ogg", ".webm"]))
        return Codec(name=name, suffix=suffix, bit_rate=1000 * int(rng.choice([24, 32, 48, 64, 96])))
    return Codec(name=name, suffix=f".{name}")


def write_as(codec: Codec, *, path: Path, samples: NDArray[np.float32], rate_hz: int) -> None:
    """Write one channel of sound.

    Parameters
    ----------
    codec
        How to store it.
    path
        Where to; its name ends in the codec's suffix.
    samples
        Shape (1, n), full scale 1.
    rate_hz
        Of the samples; Opus is brought to 48 kHz.

    Raises
    ------
    BadValueError
        More than one channel.
    """
    if samples.shape[0] != 1:
        raise BadValueError("the number of channels", samples.shape[0], "one channel")
    if codec.bit_rate is None:
        soundfile.write(path, samples[0], rate_hz, subtype="PCM_16")
        return
    sound = samples
    if codec.name == "opus" and rate_hz != OPUS_HZ:
        sound = signal.resample_poly(samples, OPUS_HZ, rate_hz, axis=1).astype(np.float32)
        rate_hz = OPUS_HZ
    with av.open(str(path), "w") as out:
        stream = out.add_stream(ENCODERS[codec.name], rate=rate_hz, layout="mono")
        if not isinstance(stream, av.AudioStream):
            raise BadValueError("the codec", codec.name, "one for sound")
        stream.bit_rate = codec.bit_rate
        convert = av.AudioResampler(format=stream.format.name, layout="mono", rate=rate_hz)
        frames = []
        for start in range(0, sound.shape[1], FRAME):
            part = np.ascontiguousarray(sound[:, start : start + FRAME])
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="mono")
            frame.sample_rate, frame.pts = rate_hz, start
            frames += convert.resample(frame)
        for frame in [*frames, *convert.resample(None)]:
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
