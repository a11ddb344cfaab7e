"""Files to recordings; the only folder that imports decoders."""

from chatter.audio.files import Block, read_blocks, read_recording
from chatter.audio.watch import Watch

__all__ = ["Block", "Watch", "read_blocks", "read_recording"]
