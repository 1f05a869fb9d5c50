"""Having many new files on the disk for certain: together, which takes a tenth of the time it takes one by one."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

_AT_ONCE = 16  # the disk writes what waits together in one go; more brought nothing


def settle_tree(folder: Path) -> None:
    """Return when every file and folder under the folder, and it itself, is on the disk: a power cut loses none.

    Raises
    ------
    OSError
        The disk refused.
    """
    found: list[str] = []
    for under, _, names in os.walk(folder):
        if os.name == "posix":  # other systems open no folders
            found.append(under)
        found += [os.path.join(under, name) for name in names]  # noqa: PTH118 - thousands of them
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        for _ in pool.map(_settle, found):
            pass


def _settle(path: str) -> None:
    descriptor = os.open(path, os.O_RDONLY if os.name == "posix" else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
