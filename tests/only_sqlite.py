"""Which tests that take an archive run on both databases; the others run on SQLite alone."""

from __future__ import annotations

_ON_BOTH = ("services.test_packing", "catalogue.test_history")


def is_only_sqlite(module: str) -> bool:
    """Return whether a module's tests run on SQLite alone."""
    return not module.endswith(_ON_BOTH)
