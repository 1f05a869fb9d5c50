"""The archive's folder: the only module that touches it, so that an object store can take its place."""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from archive.errors import CatalogueError, NotFoundError

_CHUNK = 1 << 20
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


class Files:
    """Originals by their SHA-256, never changed, and derived files that can be made again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.originals = folder / "originals"
        self.derived = folder / "derived"

    def put(self, stream: BinaryIO) -> str:
        """Copy the stream into the originals and return its SHA-256 in hex.

        The file appears whole or not at all; the same bytes twice are one file.

        Raises
        ------
        CatalogueError
            The disk is full or cannot be written.
        """
        digest = hashlib.sha256()
        incoming = self.folder / "incoming"
        temporary = incoming / secrets.token_hex(8)
        try:
            incoming.mkdir(parents=True, exist_ok=True)
            with temporary.open("xb") as out:
                while block := stream.read(_CHUNK):
                    digest.update(block)
                    out.write(block)
                out.flush()
                os.fsync(out.fileno())
            target = self.path(digest.hexdigest())
            target.parent.mkdir(parents=True, exist_ok=True)
            os.replace(temporary, target)  # noqa: PTH105 - one call that tests can stop the process at
            _settle(target.parent)
        except OSError as exc:
            raise _translated(exc, self.folder) from exc
        finally:
            temporary.unlink(missing_ok=True)
        return digest.hexdigest()

    def put_derived(self, name: str, content: bytes) -> None:
        """Keep a derived file under a name, replacing an older one."""
        target = self.derived / name
        temporary = target.with_name(f".{secrets.token_hex(8)}")
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            temporary.write_bytes(content)
            temporary.replace(target)
        except OSError as exc:
            raise _translated(exc, self.folder) from exc
        finally:
            temporary.unlink(missing_ok=True)

    def path(self, sha256: str) -> Path:
        """Return where an original lies or would lie."""
        return self.originals / sha256[:2] / sha256

    def derived_path(self, name: str) -> Path:
        """Return where a derived file lies or would lie."""
        return self.derived / name

    def exists(self, sha256: str) -> bool:
        """Return whether the original is there."""
        return self.path(sha256).is_file()

    def open(self, sha256: str) -> BinaryIO:
        """Return the original, opened for reading.

        Raises
        ------
        NotFoundError
            No such original, or it is gone from the disk.
        """
        try:
            return self.path(sha256).open("rb")
        except FileNotFoundError as exc:
            raise NotFoundError(
                "the original {sha256} is gone from the disk",
                sha256=sha256[:12],
                where=str(self.path(sha256)),
                mend="`inkchest check` lists what is missing; `inkchest restore` brings a backup back",
            ) from exc

    def all_originals(self) -> Iterator[str]:
        """Yield the SHA-256 of every file in the originals, in order."""
        for path in sorted(self.originals.glob("??/*")):
            yield path.name

    def leftovers(self) -> list[Path]:
        """Return half-written files that a killed process left behind."""
        return sorted((self.folder / "incoming").glob("*"))

    def remove(self, sha256: str) -> None:
        """Remove an original that no row names, and what was derived from it."""
        self.path(sha256).unlink(missing_ok=True)
        for path in self.derived.glob(f"*/{sha256[:2]}/{sha256}*"):
            path.unlink(missing_ok=True)

    @staticmethod
    def digest(path: Path) -> str:
        """Return the SHA-256 of a file in hex."""
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()


def _settle(folder: Path) -> None:
    """Have the folder's own entries on the disk, so that a power cut after the row's commit loses no file."""
    if os.name != "posix":
        return  # other systems open no folders
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _translated(exc: OSError, folder: Path) -> CatalogueError:
    if exc.errno in _FULL:
        return CatalogueError(
            "the disk is full; nothing was added", where=str(folder), mend="Make room, then do the same again"
        )
    return CatalogueError(
        "cannot write in the archive's folder: {why}",
        why=exc.strerror or exc,
        where=str(folder),
        mend="Check that the disk is there and may be written",
    )
