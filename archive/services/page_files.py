"""Writing finished pages where a person wants them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from archive.errors import CatalogueError
from archive.output.typeset import Pages


@dataclass(frozen=True, slots=True)
class PageFile:
    """A PDF that was written: how many things stand in it, on how many pages, and what to know of it."""

    file: str
    count: int
    pages: int
    notices: tuple[str, ...]


def write_pages(path: Path, pages: Pages, count: int) -> PageFile:
    """Write pages to a file and return what was written.

    Raises
    ------
    CatalogueError
        The file cannot be written.
    """
    try:
        path.write_bytes(pages.pdf)
    except OSError as exc:
        raise CatalogueError(
            "cannot write the file: {why}", why=exc.strerror, where=str(path), mend="Choose another place"
        ) from exc
    return PageFile(str(path), count, pages.count, tuple(str(notice) for notice in pages.notices))
