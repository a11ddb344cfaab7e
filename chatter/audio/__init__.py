"""Files to recordings; the only folder that imports decoders."""

from chatter.audio.files import Block, read_blocks, read_recording

__all__ = ["Block", "read_blocks", "read_recording"]
