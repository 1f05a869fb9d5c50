"""Building the demo archive with the simulator that ships beside the package."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from archive.catalogue.shipped import shipped_folder


def build_demo(
    folder: Path, *, first_evening: bool = False, progress: Callable[[str], Callable[[int, int], None]] | None = None
) -> dict[str, int]:
    """Build the demo archive in a new folder and return how many records of each kind it holds.

    Raises
    ------
    ConflictError
        The folder is not empty.
    """
    parent = str(shipped_folder("demo_archive").parent)
    if parent not in sys.path:  # in a wheel the demo lies inside the package, beside nothing that can be imported
        sys.path.append(parent)
    build = importlib.import_module("demo_archive.build")
    counts: dict[str, Any] = build.build(folder, first_evening=first_evening, progress=progress)
    return counts
