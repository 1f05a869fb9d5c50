"""The demo archive, built once for all workers of a test run and read by all of them."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from archive.catalogue.database import Catalogue, open_archive
from demo_archive import house
from demo_archive.build import build


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo archive's folder, not to be written in."""
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    folder, is_whole = shared / "demo", shared / "demo-is-whole"
    with (shared / "demo-lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not is_whole.exists():
            build(folder)
            is_whole.touch()
    return folder


@pytest.fixture
def demo(demo_folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Catalogue]:
    """Give the demo archive, open for reading, on the day that it was made for."""
    monkeypatch.setenv("INKCHEST_TODAY", house.TODAY)
    catalogue = open_archive(demo_folder)
    yield catalogue
    catalogue.close()
