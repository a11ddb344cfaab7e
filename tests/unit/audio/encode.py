"""Write sounds with FFmpeg's encoders, for tests of the decoders."""

import av
import numpy as np

LAYOUTS = {1: "mono", 2: "stereo"}


def encode(path, samples, *, codec, rate_hz, bit_rate=None, container=None, skip=(), options=None):
    """Encode (channels, n) floats; frames of 1024 samples whose number is in `skip` are left out."""
    layout = LAYOUTS[samples.shape[0]]
    with av.open(str(path), "w", format=container) as out:
        stream = out.add_stream(codec, rate=rate_hz, layout=layout, options=options or {})
        if bit_rate:
            stream.bit_rate = bit_rate
        convert = av.AudioResampler(format=stream.codec_context.format.name, layout=layout, rate=rate_hz)
        frames = []
        for number, start in enumerate(range(0, samples.shape[1], 1024)):
            if number in skip:
                continue
            part = np.ascontiguousarray(samples[:, start : start + 1024], dtype=np.float32)
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout=layout)
            frame.sample_rate, frame.pts = rate_hz, start
            frames.extend(convert.resample(frame))
        for frame in [*frames, *convert.resample(None), None]:
            for packet in stream.encode(frame):
                out.mux(packet)
    return path


def write_film(path):
    """Write a second of picture without sound."""
    with av.open(str(path), "w") as out:
        video = out.add_stream("mpeg4", rate=10)
        video.width, video.height, video.pix_fmt = 64, 48, "yuv420p"
        for frame in [*(av.VideoFrame(64, 48, "yuv420p") for _ in range(10)), None]:
            for packet in video.encode(frame):
                out.mux(packet)
    return path
