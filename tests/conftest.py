"""What many tests share: an archive that was just started, and properties that try the same cases every time.

Where INKCHEST_TEST_POSTGRESQL names a server, tests that take `catalogue` run on SQLite and on PostgreSQL where
`only_sqlite.py` says so. Without it, all run on SQLite.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from hypothesis import HealthCheck, settings
from sqlalchemy import make_url

from archive.catalogue.database import Catalogue, open_archive, start_archive, write_settings
from tests.only_sqlite import is_only_sqlite

# a fixture is made once for all examples of a property: the properties here keep nothing from one to the next
settings.register_profile(
    "same", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
settings.load_profile("same")

SERVER = os.environ.get("INKCHEST_TEST_POSTGRESQL", "")  # postgresql+psycopg://user@host:port/postgres


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run a test that takes an archive on each database; the name of the database stands in the test's name."""
    if SERVER and "database_kind" in metafunc.fixturenames:
        alone = is_only_sqlite(metafunc.module.__name__)
        kinds = ["sqlite"] if alone else ["sqlite", "postgresql"]
        names = ["sqlite-alone"] if alone else [f"on-{kind}" for kind in kinds]
        metafunc.parametrize("database_kind", kinds, ids=names, indirect=True)


class Server:
    """A PostgreSQL server where tests make databases of their own."""

    def __init__(self, url: str) -> None:
        self._url = make_url(url)
        self._worker = os.environ.get("PYTEST_XDIST_WORKER", "gw")
        self._count = 0
        told = self._url.set(drivername="postgresql").render_as_string(hide_password=False)
        self._connection = psycopg.connect(told, autocommit=True)

    def url(self, name: str) -> str:
        """Return the address of a database there."""
        return self._url.set(database=name).render_as_string()

    @contextmanager
    def database(self, template: str = "template0") -> Iterator[str]:
        """Give the name of a new database, made like another one; it is dropped afterwards."""
        self._count += 1
        name = f"test_{os.getpid()}_{self._worker}_{self._count}"
        self.do(f'CREATE DATABASE "{name}" TEMPLATE "{template}"')
        try:
            yield name
        finally:
            self.do(f'DROP DATABASE "{name}" WITH (FORCE)')

    def do(self, words: str) -> None:
        """Run one statement."""
        self._connection.execute(words.encode())

    def close(self) -> None:
        """Let go of the server."""
        self._connection.close()


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """Give the server that INKCHEST_TEST_POSTGRESQL names."""
    found = Server(SERVER)
    yield found
    found.close()


@pytest.fixture(scope="session")
def template(server: Server, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Give the name of a database with an archive that was just started, to be copied."""
    with server.database() as name:
        start_archive(tmp_path_factory.mktemp("template") / "archive", server.url(name)).close()
        yield name


@pytest.fixture(scope="session")
def started(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an archive that was just started, to be copied and not to be written in."""
    folder = tmp_path_factory.mktemp("started") / "archive"
    start_archive(folder).close()
    return folder


@pytest.fixture
def database_kind(request: pytest.FixtureRequest) -> str:
    """Return which database the test runs on."""
    return str(getattr(request, "param", "sqlite"))


@pytest.fixture
def catalogue(database_kind: str, started: Path, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Catalogue]:
    """Give an empty archive at `tmp_path / "archive"`, open."""
    folder = tmp_path / "archive"
    if database_kind == "sqlite":
        shutil.copytree(started, folder)
        opened = open_archive(folder)
        yield opened
        opened.close()
        return
    server: Server = request.getfixturevalue("server")
    with server.database(request.getfixturevalue("template")) as name:
        (folder / "originals").mkdir(parents=True)
        write_settings(folder, server.url(name))
        opened = open_archive(folder)
        yield opened
        opened.close()
