"""The acts that tests write under."""

from __future__ import annotations

from typing import Any

from archive.catalogue.history import Act


def act(words: str = "a test", *, by: str = "Wren Tallow", **more: Any) -> Act:
    """Return an act: who writes, in what words; `kind` and the rest as in `Act`."""
    return Act(by, words, **more)
