"""What many tests share: an archive that was just started, and properties that try the same cases every time."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from archive.catalogue.database import Catalogue, open_archive, start_archive

# a fixture is made once for all examples of a property: the properties here keep nothing from one to the next
settings.register_profile(
    "same", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
settings.load_profile("same")


@pytest.fixture(scope="session")
def started(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an archive that was just started, to be copied and not to be written in."""
    folder = tmp_path_factory.mktemp("started") / "archive"
    start_archive(folder).close()
    return folder


@pytest.fixture
def catalogue(started: Path, tmp_path: Path) -> Iterator[Catalogue]:
    """Give an empty archive at `tmp_path / "archive"`, open."""
    folder = tmp_path / "archive"
    shutil.copytree(started, folder)
    opened = open_archive(folder)
    yield opened
    opened.close()
