"""The archive that the commands build, once for all tests, and a copy of it for each."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.cli.shop import Shop, fill


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with `chest`, an archive to be copied, and the files on the desk that it was made from."""
    desk = tmp_path_factory.mktemp("desk")
    fill(Shop(desk / "chest"), desk)
    return desk


@pytest.fixture(scope="session")
def uids(filled: Path) -> dict[str, str]:
    """Return the uid of the first of some things; a copy of the archive has the same."""
    shop = Shop(filled / "chest")
    found = {noun: shop.json(noun, "list")[0]["uid"] for noun in ("swatch", "appearance", "file", "inquiry", "sitting")}
    return {**found, "proposal": shop.json("swatch", "proposals")[0]["uid"]}


@pytest.fixture
def desk(filled: Path, tmp_path: Path) -> Path:
    """Return a folder to work in: the archive `chest`, `tides.jpg`, `loose.jpg`, `strip.csv`."""
    folder = tmp_path / "desk"
    shutil.copytree(filled, folder)
    return folder


@pytest.fixture
def shop(desk: Path) -> Shop:
    """Return the small archive and its command line."""
    return Shop(desk / "chest")
