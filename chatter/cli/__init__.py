"""The command line: takes input, calls `chatter.analysis`, shows reports."""

from chatter.cli.app import main

__all__ = ["main"]
