"""Documents and answers as text and JSON: no analysis."""

from chatter.report.as_json import to_json
from chatter.report.as_text import to_text
from chatter.report.batch_text import batch_to_lines
from chatter.report.map_text import map_to_text
from chatter.report.notebook_text import (
    card_to_text,
    next_to_text,
    setup_map_to_text,
    setup_to_text,
    setups_to_text,
)

__all__ = [
    "batch_to_lines",
    "card_to_text",
    "map_to_text",
    "next_to_text",
    "setup_map_to_text",
    "setup_to_text",
    "setups_to_text",
    "to_json",
    "to_text",
]
