"""The demo archive, built once for all workers of a test run and read by all of them, on either database."""

from __future__ import annotations

import fcntl
import hashlib
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from archive.catalogue.database import Catalogue, open_archive, write_settings
from archive.services.packing import pack, unpack
from demo_archive import house
from demo_archive.build import build
from tests.server import Databases, Server


@pytest.fixture(scope="session")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder that all workers of the run share."""
    base = tmp_path_factory.getbasetemp()
    return base.parent if "PYTEST_XDIST_WORKER" in os.environ else base


@contextmanager
def alone(shared: Path, name: str) -> Iterator[None]:
    """Have no other worker in here meanwhile."""
    with (shared / f"{name}-lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


@pytest.fixture(scope="session")
def demo_folder(shared: Path) -> Path:
    """Return the demo archive's folder, not to be written in."""
    folder, is_whole = shared / "demo", shared / "demo-is-whole"
    with alone(shared, "demo"):
        if not is_whole.exists():
            build(folder)
            is_whole.touch()
    return folder


def moved(server: Server, folder: Path, work: Path, name: str) -> None:
    """Fill a new database on the server with what an archive on SQLite holds, by way of a bag."""
    catalogue = open_archive(folder)
    pack(catalogue, work / "bag")
    catalogue.close()
    server.make(name)
    unpack(work / "bag", work / "unpacked", database=server.url(name))
    shutil.rmtree(work / "bag")
    shutil.rmtree(work / "unpacked")


@pytest.fixture(scope="session")
def demo_databases(
    demo_folder: Path, shared: Path, server: Server, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Databases]:
    """Give databases that hold the demo: copies of one that the first worker filled and the last one drops."""
    name = f"test_demo_{hashlib.sha256(str(shared).encode()).hexdigest()[:12]}"
    users = shared / "demo-users"
    with alone(shared, "demo"):
        count = int(users.read_text()) if users.exists() else 0
        if count == 0:
            moved(server, demo_folder, tmp_path_factory.mktemp("moved"), name)
        users.write_text(str(count + 1))
    found = Databases(server, name)
    yield found
    found.close()
    with alone(shared, "demo"):
        count = int(users.read_text()) - 1
        users.write_text(str(count))
        if count == 0:
            server.drop(name)


def on_server(folder: Path, originals: Path, url: str) -> Path:
    """Return a new folder whose archive has its database on the server and the originals of another."""
    shutil.copytree(originals, folder / "originals", copy_function=os.link)  # originals are never changed
    write_settings(folder, url)
    return folder


@pytest.fixture(scope="session")
def demo_on_server(
    demo_folder: Path, demo_databases: Databases, server: Server, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """Return the folder of the demo archive on PostgreSQL, not to be written in."""
    folder = tmp_path_factory.mktemp("demo") / "on-server"
    url = server.url(demo_databases.give())
    demo_databases.keep_given()
    return on_server(folder, demo_folder / "originals", url)


@pytest.fixture
def demo(database_kind: str, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[Catalogue]:
    """Give the demo archive, open for reading, on the day that it was made for."""
    monkeypatch.setenv("INKCHEST_TODAY", house.TODAY)
    name = "demo_folder" if database_kind == "sqlite" else "demo_on_server"
    catalogue = open_archive(request.getfixturevalue(name))
    yield catalogue
    catalogue.close()


@pytest.fixture
def demo_copy(
    demo_folder: Path,
    database_kind: str,
    tmp_path: Path,
    request: pytest.FixtureRequest,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Catalogue]:
    """Give a copy of the demo archive, to be written in, on the day that it was made for."""
    monkeypatch.setenv("INKCHEST_TODAY", house.TODAY)
    folder = tmp_path / "demo"
    databases: Databases | None = None
    if database_kind == "sqlite":
        shutil.copytree(demo_folder, folder)
    else:
        databases = request.getfixturevalue("demo_databases")
        server: Server = request.getfixturevalue("server")
        on_server(folder, demo_folder / "originals", server.url(databases.give()))
    catalogue = open_archive(folder)
    yield catalogue
    catalogue.close()
    if databases is not None:
        databases.take_back()


@pytest.fixture(scope="session")
def to_server(server: Server, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[Path], Path]]:
    """Give a function from an archive's folder to that of the same archive on PostgreSQL."""
    names = []

    def move(folder: Path) -> Path:
        work, name = tmp_path_factory.mktemp("moved"), server.new_name()
        moved(server, folder, work, name)
        names.append(name)
        return on_server(work / "archive", folder / "originals", server.url(name))

    yield move
    for name in names:
        server.drop(name)
