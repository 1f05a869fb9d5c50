"""An archive of a print workshop's past colours: how each was made, and whether it can be made again.

The names in `__all__` are the public ones. They are loaded when they are first asked for, so that importing
the package does no work.

Example
-------
>>> from pathlib import Path
>>> import archive
>>> chest = archive.open_archive(Path("chest"))  # doctest: +SKIP
>>> with chest.read() as session:  # doctest: +SKIP
...     answer = archive.match_colour(session, "#c8553d", archive.MatchOptions(in_house=True))
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_PUBLIC = {
    # opening an archive
    "Catalogue": "archive.catalogue.database",
    "open_archive": "archive.catalogue.database",
    "start_archive": "archive.catalogue.database",
    "Act": "archive.catalogue.history",
    # asking
    "MatchOptions": "archive.services.matching",
    "match_colour": "archive.services.answers",
    "match_picture": "archive.services.picture_match",
    "FindOptions": "archive.services.finding",
    "find_works": "archive.services.finding",
    # bringing things in and out
    "ImportOptions": "archive.services.readings",
    "import_readings": "archive.services.readings",
    "export_readings": "archive.services.readings_out",
    "add_pictures": "archive.services.pictures",
    "NewWork": "archive.services.works",
    "add_work": "archive.services.works",
    # keeping it whole
    "backup": "archive.services.backup",
    "restore": "archive.services.backup",
    "check_archive": "archive.services.check",
    # what goes wrong
    "ArchiveError": "archive.errors",
    "CatalogueError": "archive.errors",
    "ColourError": "archive.errors",
    "ConflictError": "archive.errors",
    "InputError": "archive.errors",
    "ManyErrors": "archive.errors",
    "NotFoundError": "archive.errors",
    "Notice": "archive.errors",
}

__all__ = [
    "Catalogue",
    "open_archive",
    "start_archive",
    "Act",
    "MatchOptions",
    "match_colour",
    "match_picture",
    "FindOptions",
    "find_works",
    "ImportOptions",
    "import_readings",
    "export_readings",
    "add_pictures",
    "NewWork",
    "add_work",
    "backup",
    "restore",
    "check_archive",
    "ArchiveError",
    "CatalogueError",
    "ColourError",
    "ConflictError",
    "InputError",
    "ManyErrors",
    "NotFoundError",
    "Notice",
]


def __getattr__(name: str) -> Any:
    """Return a public name, loading its module the first time."""
    if name not in _PUBLIC:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_PUBLIC[name]), name)
