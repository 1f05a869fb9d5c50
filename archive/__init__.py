"""An archive of a print workshop's past colours."""

__version__ = "0.1.0"
