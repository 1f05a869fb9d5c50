"""Opening an archive, and the one place that sessions come from."""

from __future__ import annotations

import getpass
import sqlite3
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.exc import DatabaseError, IntegrityError
from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.history import Act, begin_act
from archive.catalogue.identity import new_uid, now
from archive.catalogue.models import Fact
from archive.catalogue.revision import REVISION, copy_before_upgrade, refuse_newer, stored_revision, upgrade
from archive.errors import ArchiveError, CatalogueError, ConflictError, InputError

SETTINGS_FILE = "archive.toml"
DATABASE_FILE = "archive.sqlite3"
PATIENCE_SECONDS = 10.0

_START_SETTINGS = """# This folder is an inkchest archive. Keep its parts together.
format = 1
# Several tables or workshops: name a PostgreSQL database; its password comes from the environment (PGPASSWORD).
# database = "postgresql+psycopg://host/name"
"""


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


def start_archive(folder: Path) -> Catalogue:
    """Make an empty archive in a new or empty folder and open it.

    Raises
    ------
    ConflictError
        The folder holds something already.
    CatalogueError
        The folder cannot be written.
    """
    if (folder / SETTINGS_FILE).exists():
        raise ConflictError("there is an archive already", where=str(folder), mend="Choose another folder")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ConflictError("the folder is not empty", where=str(folder), mend="Choose a new folder for the archive")
    try:
        (folder / "originals").mkdir(parents=True, exist_ok=True)
        (folder / SETTINGS_FILE).write_text(_START_SETTINGS, encoding="utf-8")
    except OSError as exc:
        raise CatalogueError(
            "cannot make the archive: {why}",
            why=exc.strerror or exc,
            where=str(folder),
            mend="Choose a folder that you may write in",
        ) from exc
    with translated(folder):
        engine = make_engine(f"sqlite:///{folder / DATABASE_FILE}")
        upgrade(engine)
    catalogue = Catalogue(folder, engine)
    with catalogue.write(Act("inkchest", "start the archive")) as session:
        session.add_all([Fact(key="archive_uid", value=new_uid()), Fact(key="started_at", value=now())])
    return catalogue


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
    with translated(folder):
        engine = make_engine(url or f"sqlite:///{database}")
        stored = stored_revision(engine)
        if stored is None:
            raise CatalogueError(
                "this database holds no archive", where=str(database), mend="Bring a backup back: `inkchest restore`"
            )
        if stored != REVISION:
            refuse_newer(stored, where=str(folder))
            if url is None:
                copy_before_upgrade(database, stored)
            upgrade(engine)
    return Catalogue(folder, engine)


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
        return create_engine(url)
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
        raise _database_error(exc.orig or exc, folder) from exc
    except sqlite3.DatabaseError as exc:  # what happens on connecting comes as it is
        raise _database_error(exc, folder) from exc


def _refused(exc: IntegrityError, folder: Path) -> ArchiveError:
    if getattr(exc.orig, "sqlite_errorcode", 0) == sqlite3.SQLITE_CONSTRAINT_CHECK:
        return InputError(
            "a value is none that the archive takes: {why}",
            why=str(exc.orig),
            where=str(folder),
            mend="Look at the command's `--help` for what it may be",
        )
    return ConflictError(
        "the record clashes with another one: {why}",
        why=str(exc.orig),
        where=str(folder),
        mend="See what is there with the command's `list`",
    )


def _database_error(exc: BaseException, folder: Path) -> CatalogueError:
    code = getattr(exc, "sqlite_errorcode", 0) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return CatalogueError(
            "another program is writing in the archive and did not finish in {seconds:.0f} s",
            seconds=PATIENCE_SECONDS,
            where=str(folder),
            mend="Wait for it, or close it, then do the same again",
        )
    if code == sqlite3.SQLITE_FULL:
        return CatalogueError(
            "the disk is full; nothing was changed", where=str(folder), mend="Make room, then do the same again"
        )
    if code in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
        return CatalogueError(
            "the database is damaged or is none", where=str(folder), mend="Bring a backup back: `inkchest restore`"
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR):
        return CatalogueError(
            "the database cannot be written", where=str(folder), mend="Check the disk and who may write there"
        )
    return CatalogueError("the database refused: {why}", why=str(exc), where=str(folder), mend="`inkchest check`")


def system_user() -> str:
    """Return the name of whoever is at the keyboard, for changes without `--by`."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no such account, or no name for it on this system
        return "somebody"
