"""What many tests share: an archive that was just started, and properties that try the same cases every time.

Where INKCHEST_TEST_POSTGRESQL names a server, tests that take an archive (`catalogue`, `archives`, `demo`) run on
SQLite and on PostgreSQL, apart from those that `only_sqlite.py` lists. Without it, all run on SQLite.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from archive.catalogue.database import Catalogue, start_archive
from tests.archives import Archives
from tests.only_sqlite import ALONE, ON_BOTH, is_only_sqlite
from tests.server import Databases, Server

# a fixture is made once for all examples of a property: the properties here keep nothing from one to the next
settings.register_profile(
    "same", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
settings.load_profile("same")

# without a server there is nothing to try them on
_OF_A_SERVER = ("catalogue/test_postgresql_server.py", "services/test_both_databases.py")
SERVER = os.environ.get("INKCHEST_TEST_POSTGRESQL", "")  # postgresql+psycopg://user@host:port/postgres

collect_ignore = [] if SERVER else list(_OF_A_SERVER)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run a test that takes an archive on each database; the name of the database stands in the test's name."""
    if SERVER and "database_kind" in metafunc.fixturenames:
        alone = is_only_sqlite(metafunc.module.__name__, metafunc.function.__name__)
        kinds = ["sqlite"] if alone else ["sqlite", "postgresql"]
        names = [ALONE] if alone else [ON_BOTH[kind] for kind in kinds]
        metafunc.parametrize("database_kind", kinds, ids=names, indirect=True)


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
def databases(server: Server, template: str) -> Iterator[Databases]:
    """Give the databases that hold an archive which was just started."""
    found = Databases(server, template)
    yield found
    found.close()


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
def archives(database_kind: str, started: Path, request: pytest.FixtureRequest) -> Iterator[Archives]:
    """Give what makes an empty archive, as many as a test asks for."""
    is_sqlite = database_kind == "sqlite"
    server = None if is_sqlite else request.getfixturevalue("server")
    found = Archives(started, server, None if is_sqlite else request.getfixturevalue("databases"))
    yield found
    found.close()


@pytest.fixture
def catalogue(archives: Archives, tmp_path: Path) -> Catalogue:
    """Return an empty archive at `tmp_path / "archive"`, open."""
    return archives.start(tmp_path / "archive")
