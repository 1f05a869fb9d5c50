"""Opening an archive, and the one place that sessions come from."""

from __future__ import annotations

import getpass
import json
import sqlite3
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, inspect
from sqlalchemy.exc import DatabaseError, IntegrityError
from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.history import Act, begin_act
from archive.catalogue.identity import new_uid, now
from archive.catalogue.models import Fact
from archive.catalogue.postgresql import checked_url, error_kind, make_postgresql_engine
from archive.catalogue.revision import REVISION, copy_before_upgrade, refuse_newer, stored_revision, upgrade
from archive.errors import ArchiveError, CatalogueError, ConflictError, InputError

SETTINGS_FILE = "archive.toml"
DATABASE_FILE = "archive.sqlite3"
PATIENCE_SECONDS = 10.0

_START_SETTINGS = """# This folder is an inkchest archive. Keep its parts together.
format = 1
# Several tables or workshops: name a PostgreSQL database; its password comes from the environment (PGPASSWORD).
"""
_DATABASE_EXAMPLE = '# database = "postgresql+psycopg://host/name"'


class Catalogue:
    """An open archive: its sessions and its files."""

    def __init__(self, folder: Path, engine: Engine) -> None:
        self.folder = folder
        self.engine = engine
        self.files = Files(folder)

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Give a session that keeps nothing."""
        with translated(self.folder), Session(self.engine, expire_on_commit=False, autoflush=False) as session:
            yield session
            session.rollback()

    @contextmanager
    def write(self, act: Act) -> Iterator[Session]:
        """Give a session that commits at the end as one change, or rolls back."""
        writer = self.engine.execution_options(inkchest_writes=True)
        with translated(self.folder), Session(writer, expire_on_commit=False) as session, session.begin():
            begin_act(session, act, REVISION)
            yield session
        if act.kind == "forget":
            self._wipe_old_pages()

    def _wipe_old_pages(self) -> None:
        """Rewrite the database, so that what was deleted is in none of its pages nor in its log.

        Raises
        ------
        CatalogueError
            The disk has no room for it, or somebody is reading all the while.
        """
        if self.engine.dialect.name != "sqlite":
            return  # PostgreSQL does it by itself, in its own time
        for copy in self.folder.glob(f"{Path(DATABASE_FILE).stem}-before-*.sqlite3"):
            copy.unlink()
        try:
            with self.engine.connect() as connection:
                raw: Any = connection.connection.driver_connection
                raw.execute("VACUUM")
                is_busy, *_ = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        except sqlite3.Error:
            is_busy = True
        if is_busy:
            raise CatalogueError(
                "it is forgotten, but the database's old pages could not be wiped",
                where=str(self.folder),
                mend="Close what else has the archive open, make room on the disk; the next `person forget` wipes them",
            )

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()


def start_archive(folder: Path, database: str | None = None) -> Catalogue:
    """Make an empty archive in a new or empty folder and open it.

    Parameters
    ----------
    folder : Path
        Gets the originals, the settings, and the database when that is a file.
    database : str, optional
        The address of an empty PostgreSQL database.

    Raises
    ------
    ConflictError
        The folder or the database holds something already.
    InputError
        The address is none, or holds a password.
    CatalogueError
        The folder cannot be written, or the database not be reached.
    """
    engine = start_empty(folder, database)
    write_settings(folder, database)
    catalogue = Catalogue(folder, engine)
    with catalogue.write(Act("inkchest", "start the archive")) as session:
        session.add_all([Fact(key="archive_uid", value=new_uid()), Fact(key="started_at", value=now())])
    return catalogue


def start_empty(folder: Path, database: str | None = None, revision: str = REVISION) -> Engine:
    """Make the folder and the tables of an archive, without its settings and its first rows.

    Raises
    ------
    ConflictError, InputError, CatalogueError
        As `start_archive`.
    """
    refuse_taken(folder)
    url = None if database is None else checked_url(database, where=str(folder))
    engine = make_engine(url or f"sqlite:///{folder / DATABASE_FILE}")
    try:
        with translated(folder):
            if url is not None:
                refuse_taken_database(engine, url)
            make_folder(folder)
            upgrade(engine, revision)
    except BaseException:
        engine.dispose()
        raise
    return engine


def refuse_taken(folder: Path) -> None:
    """Refuse a folder that holds something.

    Raises
    ------
    ConflictError
        It does.
    """
    if (folder / SETTINGS_FILE).exists():
        raise ConflictError("there is an archive already", where=str(folder), mend="Choose another folder")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ConflictError("the folder is not empty", where=str(folder), mend="Choose a new folder for the archive")


def refuse_taken_database(engine: Engine, url: str) -> None:
    """Refuse a database that holds tables.

    Raises
    ------
    ConflictError
        It holds an archive, or something else.
    """
    held = stored_revision(engine)
    if held is not None:
        raise ConflictError(
            "the database holds an archive already", where=url, mend="Make a new, empty database for it"
        )
    if set(inspect(engine).get_table_names()) - {"alembic_version"}:
        raise ConflictError("the database holds other things", where=url, mend="Make a new, empty database for it")


def make_folder(folder: Path) -> None:
    """Make an archive's folder.

    Raises
    ------
    CatalogueError
        It cannot be written.
    """
    with _said_of_folder(folder):
        (folder / "originals").mkdir(parents=True, exist_ok=True)


def settings_words(database: str | None) -> str:
    """Return the text of `archive.toml`."""
    line = _DATABASE_EXAMPLE if database is None else f"database = {json.dumps(database)}"
    return f"{_START_SETTINGS}{line}\n"


def write_settings(folder: Path, database: str | None) -> None:
    """Write `archive.toml`, which makes the folder an archive.

    Raises
    ------
    CatalogueError
        It cannot be written.
    """
    url = None if database is None else checked_url(database, where=str(folder))
    with _said_of_folder(folder):
        (folder / SETTINGS_FILE).write_text(settings_words(url), encoding="utf-8")


@contextmanager
def _said_of_folder(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as exc:
        raise CatalogueError(
            "cannot make the archive: {why}",
            why=exc.strerror or exc,
            where=str(folder),
            mend="Choose a folder that you may write in",
        ) from exc


def open_archive(folder: Path) -> Catalogue:
    """Open an archive, bringing an older one up to this version (its database is copied first).

    Raises
    ------
    CatalogueError
        No archive there, or it is broken, locked, or newer than this version.
    """
    settings = read_settings(folder)
    database = folder / DATABASE_FILE
    url = settings.get("database")
    if url is None and not database.is_file():
        raise CatalogueError(
            "the archive's database is missing", where=str(database), mend="Bring a backup back: `inkchest restore`"
        )
    if url is not None:
        url = checked_url(url, where=str(folder / SETTINGS_FILE))
    engine = make_engine(url or f"sqlite:///{database}")
    try:
        with translated(folder):
            _bring_up(engine, folder, None if url else database)
    except BaseException:
        engine.dispose()  # else its connection to a server stays open
        raise
    return Catalogue(folder, engine)


def _bring_up(engine: Engine, folder: Path, database: Path | None) -> None:
    """Bring an archive's database up to this version, after a copy of it where it is a file."""
    stored = stored_revision(engine)
    if stored is None:
        raise CatalogueError(
            "this database holds no archive",
            where=str(database or engine.url.render_as_string()),
            mend="Bring a backup back: `inkchest restore`, or a bag: `inkchest unpack`",
        )
    if stored != REVISION:
        refuse_newer(stored, where=str(folder))
        if database is not None:
            copy_before_upgrade(database, stored)
        upgrade(engine)


def read_settings(folder: Path) -> dict[str, Any]:
    """Return what `archive.toml` says.

    Raises
    ------
    CatalogueError
        The folder is no archive, or the file cannot be read.
    """
    path = folder / SETTINGS_FILE
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (FileNotFoundError, NotADirectoryError) as exc:
        raise CatalogueError(
            "no archive here", where=str(folder), mend="Make one with `inkchest start DIR`, or name it: --archive DIR"
        ) from exc
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as exc:
        raise CatalogueError(
            "cannot read the archive's settings: {why}", why=str(exc), where=str(path), mend="Mend that line"
        ) from exc


def make_engine(url: str) -> Engine:
    """Return the engine for an archive's database, with its transactions made explicit."""
    if not url.startswith("sqlite"):
        return make_postgresql_engine(url, PATIENCE_SECONDS, system_user())
    engine = create_engine(url, connect_args={"timeout": PATIENCE_SECONDS, "check_same_thread": False})

    @event.listens_for(engine, "connect")
    def _connect(connection: sqlite3.Connection, _record: Any) -> None:
        connection.isolation_level = None  # else DDL survives a rollback and BEGIN is left to chance
        connection.execute("PRAGMA foreign_keys=ON")
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=NORMAL")

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        # a deferred BEGIN that reads and then writes beside another writer fails at once instead of waiting
        writes = connection.get_execution_options().get("inkchest_writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


@contextmanager
def translated(folder: Path) -> Iterator[None]:
    """Turn the database's errors into words for a person, by their kind."""
    try:
        yield
    except IntegrityError as exc:
        raise _refused(exc, folder) from exc
    except DatabaseError as exc:
        raise _database_error(exc.orig or exc, folder, was_connected=exc.connection_invalidated) from exc
    except sqlite3.DatabaseError as exc:  # what happens on connecting comes as it is
        raise _database_error(exc, folder) from exc


def _refused(exc: IntegrityError, folder: Path) -> ArchiveError:
    is_check = getattr(exc.orig, "sqlite_errorcode", 0) == sqlite3.SQLITE_CONSTRAINT_CHECK
    if is_check or error_kind(exc.orig) == "value":
        return _bad_value(exc.orig, folder)
    return ConflictError(
        "the record clashes with another one: {why}",
        why=str(exc.orig),
        where=str(folder),
        mend="See what is there with the command's `list`",
    )


def _bad_value(exc: BaseException | None, folder: Path) -> InputError:
    return InputError(
        "a value is none that the archive takes: {why}",
        why=str(exc),
        where=str(folder),
        mend="Look at the command's `--help` for what it may be",
    )


_SQLITE_KINDS = {
    sqlite3.SQLITE_BUSY: "busy",
    sqlite3.SQLITE_LOCKED: "busy",
    sqlite3.SQLITE_FULL: "full",
    sqlite3.SQLITE_NOTADB: "damaged",
    sqlite3.SQLITE_CORRUPT: "damaged",
    sqlite3.SQLITE_READONLY: "read_only",
    sqlite3.SQLITE_CANTOPEN: "read_only",
    sqlite3.SQLITE_IOERR: "read_only",
}
_ERROR_WORDS = {
    "busy": (
        "another program is writing in the archive and did not finish in {seconds:.0f} s",
        "Wait for it, or close it, then do the same again",
    ),
    "full": ("the disk is full; nothing was changed", "Make room, then do the same again"),
    "damaged": ("the database is damaged or is none", "Bring a backup back: `inkchest restore`"),
    "read_only": ("the database cannot be written", "Check the disk and who may write there"),
    "serialization": ("another program changed the same just now; nothing was changed", "Do the same again"),
    "gone": (
        "the database's server went away; what was not finished is not kept",
        "When it is back, see with `inkchest history` what was kept, and do the rest again",
    ),
    "unreachable": (
        "the database's server cannot be reached: {why}",
        "See that it runs, that the address in archive.toml is right, and the password in PGPASSWORD",
    ),
}


def _database_error(exc: BaseException, folder: Path, *, was_connected: bool = False) -> ArchiveError:
    code = getattr(exc, "sqlite_errorcode", 0) & 0xFF
    kind = "gone" if was_connected else _SQLITE_KINDS.get(code) or error_kind(exc)
    if kind == "value":
        return _bad_value(exc, folder)
    if kind not in _ERROR_WORDS:
        return CatalogueError("the database refused: {why}", why=str(exc), where=str(folder), mend="`inkchest check`")
    words, mend = _ERROR_WORDS[kind]
    return CatalogueError(words, seconds=PATIENCE_SECONDS, why=str(exc).strip(), where=str(folder), mend=mend)


def system_user() -> str:
    """Return the name of whoever is at the keyboard, for changes without `--by`."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no such account, or no name for it on this system
        return "somebody"
