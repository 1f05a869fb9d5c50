"""The files of a bag, read once: hashed and copied on the way, two at a time."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from archive.errors import CatalogueError

_CHUNK = 2**20
_AT_ONCE = 2  # files; a disk seldom gives more


def chunks(file: BinaryIO) -> Iterator[bytes]:
    """Yield the file's bytes, a mebibyte at a time."""
    while chunk := file.read(_CHUNK):
        yield chunk


@contextmanager
def workers() -> Iterator[ThreadPoolExecutor]:
    """Give threads that hash and copy: both leave Python's lock alone, so that two files go at a time.

    After an error nothing more is begun, and what was begun has ended.
    """
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        try:
            yield pool
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise


@contextmanager
def _writing(path: Path | None) -> Iterator[Callable[[bytes], object]]:
    """Give what writes the pieces of a copy: to a new file, or nowhere. Trouble with it is not the bag's fault."""
    if path is None:
        yield lambda _: None
        return
    with _said_of(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        out = path.open("xb")

    def write(piece: bytes) -> None:
        with _said_of(path):
            out.write(piece)

    try:
        yield write
    finally:
        with _said_of(path):
            out.close()


@contextmanager
def _said_of(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as exc:
        mend = "See that there is room and that the folder can be written"
        raise CatalogueError(
            "the copy cannot be written: {why}", where=str(path), mend=mend, why=exc.strerror or exc
        ) from exc


def digests_of(file: Path, algorithms: set[str], copy: Path | None) -> dict[str, str]:
    """Return {algorithm: hex checksum} of the file, read once and copied on the way."""
    digests = {name: hashlib.new(name, usedforsecurity=False) for name in algorithms}
    with file.open("rb") as stream, _writing(copy) as write:
        for chunk in chunks(stream):
            write(chunk)
            for digest in digests.values():
                digest.update(chunk)
    return {name: digest.hexdigest() for name, digest in digests.items()}
