"""Files to recordings; the only folder that imports decoders."""

from chatter.audio.files import read_recording

__all__ = ["read_recording"]
