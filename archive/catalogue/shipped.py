"""Where the migrations and the demo lie: inside the wheel, or beside the package in a clone."""

from __future__ import annotations

from pathlib import Path

from archive.errors import CatalogueError

_PACKAGE = Path(__file__).resolve().parent.parent


def shipped_folder(name: str) -> Path:
    """Return the folder `migrations` or `demo_archive`.

    Raises
    ------
    CatalogueError
        It is in neither place: the installation is broken.
    """
    for folder in (_PACKAGE / "_shipped" / name, _PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise CatalogueError("the folder {name} is not installed", name=name, mend="Install inkchest again")
