"""The folder tree of an old drive: which files in it are pictures, and which are passed over and why."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from archive.errors import InputError

SUFFIXES = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"}
_HIDDEN = (".", "~", "@", "$", "__")  # what systems and disks put between people's files begins so
_THUMBNAILS = {"thumbnails", "thumbnail", "thumbs", "thumb", "previews"}


@dataclass(frozen=True, slots=True)
class FoundFile:
    """A picture file of a tree.

    Attributes
    ----------
    folders : tuple of str
        The folders it lies in, from the one that was named to the nearest.
    """

    path: Path
    folders: tuple[str, ...] = ()

    @property
    def came_from(self) -> str:
        """The folders as they were called, with `/` between them."""
        return "/".join(self.folders)

    @property
    def shown(self) -> str:
        """What the file is called in messages."""
        return "/".join((*self.folders, self.path.name))


@dataclass(frozen=True, slots=True)
class PassedOver:
    """Files that were not looked at, and the reason; a folder that was passed over whole counts once."""

    reason: str
    files: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Tree:
    """What a walk through files and folders found, in the order of their names."""

    files: tuple[FoundFile, ...]
    passed_over: tuple[PassedOver, ...] = ()


def walk(paths: Sequence[Path]) -> Tree:
    """Return the picture files named and those in the folders named; a file that is named itself is always taken.

    Hidden files, folders of thumbnails, links and files that are no pictures by their name are passed over.

    Raises
    ------
    InputError
        A path is not there, or nothing in it is a picture by its name.
    """
    files: list[FoundFile] = []
    others: dict[str, list[str]] = {}
    for path in paths:
        if path.is_dir():
            inside = list(_inside(path, (path.resolve().name,), others))
            if not inside:
                raise InputError(
                    "no pictures in the folder",
                    where=str(path),
                    mend="Name a folder with JPEG, PNG, TIFF, WebP or HEIC files",
                )
            files += inside
        elif path.exists():
            files.append(FoundFile(path))
        else:
            raise InputError("no such file", where=str(path), mend="Check its name")
    passed = tuple(PassedOver(reason, tuple(found)) for reason, found in sorted(others.items()))
    return Tree(tuple(files), passed)


def _inside(folder: Path, folders: tuple[str, ...], others: dict[str, list[str]]) -> Iterator[FoundFile]:
    try:
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except OSError as exc:
        others.setdefault(f"cannot be opened ({exc.strerror})", []).append("/".join(folders))
        return
    for entry in entries:
        reason = _reason(entry)
        if reason:
            others.setdefault(reason, []).append("/".join((*folders, entry.name)))
        elif entry.is_dir():
            yield from _inside(Path(entry.path), (*folders, entry.name), others)
        else:
            yield FoundFile(Path(entry.path), folders)


def _reason(entry: os.DirEntry[str]) -> str:
    """Return why an entry is passed over; empty when it is not."""
    if entry.name.startswith(_HIDDEN):
        return "hidden"
    if entry.is_symlink():
        return "a link"
    if entry.is_dir():
        return "a folder of thumbnails" if entry.name.casefold() in _THUMBNAILS else ""
    if not entry.is_file():
        return "no file"
    return "" if Path(entry.name).suffix.lower() in SUFFIXES else "no picture by its name"
