"""What can befall an archive on a server: it goes away, somebody else writes, the database is not ours."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import make_url, select, text
from sqlalchemy.orm import Session

from archive.catalogue import database
from archive.catalogue.database import Catalogue, open_archive, start_archive, write_settings
from archive.catalogue.models import Change, Ink
from archive.errors import CatalogueError, ConflictError
from tests.acts import act
from tests.archives import Archives
from tests.cli.shop import Shop
from tests.server import Databases, Server

WRITERS_LOCK = 0x696E6B63  # as every version of the archive takes it


def ink(name: str) -> Ink:
    return Ink(name=name, name_key=name.casefold())


def ink_names(catalogue: Catalogue) -> list[str]:
    with catalogue.read() as session:
        return list(session.scalars(select(Ink.name).order_by(Ink.id)))


@pytest.fixture
def house(started: Path, server: Server, databases: Databases, tmp_path: Path) -> Iterator[Catalogue]:
    """Give an empty archive on the server."""
    archives = Archives(started, server, databases)
    yield archives.start(tmp_path / "archive")
    archives.close()


# --- it goes away


def cut(session: Session, server: Server) -> None:
    """End the session's connection at the server, as a restart or a pulled cable would."""
    pid = session.connection().exec_driver_sql("SELECT pg_backend_pid()").scalar_one()
    server.do(f"SELECT pg_terminate_backend({pid})")


def before_the_first(session: Session, cut_now: Callable[[], None]) -> None:
    cut_now()
    session.add(ink("Ferrywake"))


def between_two(session: Session, cut_now: Callable[[], None]) -> None:
    session.add(ink("Ferrywake"))
    session.flush()
    cut_now()
    session.add(ink("Dockrope"))


def before_the_commit(session: Session, cut_now: Callable[[], None]) -> None:
    session.add_all([ink("Ferrywake"), ink("Dockrope")])
    session.flush()
    cut_now()


@pytest.mark.parametrize("write", [before_the_first, between_two, before_the_commit])
def test_a_server_that_goes_away_is_told_and_nothing_is_half_written(
    house: Catalogue, server: Server, write: Callable[[Session, Callable[[], None]], None]
) -> None:
    with pytest.raises(CatalogueError, match=r"server went away.*inkchest history"), house.write(act()) as session:
        write(session, lambda: cut(session, server))
    assert ink_names(house) == []
    with house.write(act("once more")) as session:
        session.add_all([ink("Ferrywake"), ink("Dockrope")])
    assert ink_names(house) == ["Ferrywake", "Dockrope"]
    with house.read() as session:
        assert list(session.scalars(select(Change.words).order_by(Change.id))) == ["once more"]


def test_a_server_that_goes_away_under_a_reader_is_told(house: Catalogue, server: Server) -> None:
    def read() -> None:
        with house.read() as session:
            cut(session, server)
            session.scalars(select(Ink.name)).all()

    with pytest.raises(CatalogueError, match="server went away"):
        read()
    assert ink_names(house) == []


def test_a_connection_that_was_lost_while_nobody_asked_is_made_anew(house: Catalogue, server: Server) -> None:
    assert ink_names(house) == []
    server.do(
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name LIKE 'inkchest of%' "
        f"AND datname = '{house.engine.url.database}'"
    )
    assert ink_names(house) == []


# --- somebody else writes


def test_a_writer_that_waits_too_long_is_told_who_writes(
    house: Catalogue, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "PATIENCE_SECONDS", 0.3)
    waiting = open_archive(house.folder)
    other = server.connect(str(house.engine.url.database))
    other.execute("SET application_name = 'inkchest of Pip on the attic laptop'")
    other.execute(f"SELECT pg_advisory_lock({WRITERS_LOCK})".encode())
    with (
        pytest.raises(CatalogueError, match=r"another program is writing.*of Pip on the attic laptop.*Wait for it"),
        waiting.write(act()) as session,
    ):
        session.add(ink("Ferrywake"))
    assert ink_names(waiting) == []  # readers wait for nobody
    other.execute(f"SELECT pg_advisory_unlock({WRITERS_LOCK})".encode())
    with waiting.write(act()) as session:
        session.add(ink("Dockrope"))
    assert ink_names(waiting) == ["Dockrope"]
    other.close()
    waiting.close()


def test_a_writer_says_whose_it_is(house: Catalogue, server: Server) -> None:
    with house.write(act()) as session:
        session.add(ink("Ferrywake"))
        name = session.execute(text("SELECT current_setting('application_name')")).scalar_one()
    assert str(name).startswith(f"inkchest of {database.system_user()} on ")


# --- it is not ours


def test_a_database_that_holds_an_archive_or_other_things_is_not_started_in(server: Server, tmp_path: Path) -> None:
    with server.database() as name:
        start_archive(tmp_path / "first", server.url(name)).close()
        with pytest.raises(ConflictError, match=r"holds an archive already.*new, empty database"):
            start_archive(tmp_path / "second", server.url(name))
    with server.database() as name:
        other = server.connect(name)
        other.execute("CREATE TABLE recipes (cake text)")
        said = Shop(tmp_path / "second").run("start", str(tmp_path / "second"), "--database", server.url(name))
        assert said.exit_code == 1
        assert "the database holds other things" in said.stderr
        assert other.execute("SELECT relname FROM pg_class WHERE relname = 'ink'").fetchall() == []
        other.close()
    assert not (tmp_path / "second").exists()


def test_another_programs_database_is_told(server: Server, tmp_path: Path) -> None:
    with server.database() as name:
        write_settings(tmp_path, server.url(name))
        with pytest.raises(CatalogueError, match=r"holds no archive.*inkchest unpack"):
            open_archive(tmp_path)


def test_a_database_that_is_not_there_is_told(server: Server, tmp_path: Path) -> None:
    with pytest.raises(CatalogueError, match=r"(?s)cannot be reached.*no_such_chest.*archive\.toml"):
        start_archive(tmp_path / "chest", server.url("no_such_chest"))
    assert not (tmp_path / "chest").exists()


def test_a_wrong_password_is_told_and_stands_nowhere(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with server.database() as name:
        server.do("DROP ROLE IF EXISTS locked")
        server.do("CREATE ROLE locked LOGIN PASSWORD 'oatleaf'")
        monkeypatch.setenv("PGPASSWORD", "chalkroad")
        url = make_url(server.url(name)).set(username="locked").render_as_string()
        with pytest.raises(CatalogueError, match=r"(?s)cannot be reached.*PGPASSWORD") as found:
            start_archive(tmp_path / "chest", url)
        assert "chalkroad" not in str(found.value)
        assert not (tmp_path / "chest").exists()
        monkeypatch.delenv("PGPASSWORD")
        server.do("DROP ROLE locked")
