"""The command line: parse input, call one service, show the result."""

from archive.cli.root import main

__all__ = ["main"]
