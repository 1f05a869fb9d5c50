"""A PostgreSQL database as an archive's: its address, its writers' lock, its order, and its errors in words."""

from __future__ import annotations

import socket
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.dialects.postgresql.base import PGCompiler
from sqlalchemy.exc import ArgumentError, OperationalError
from sqlalchemy.sql.elements import ColumnElement, UnaryExpression

from archive.errors import CatalogueError, InputError

_DRIVER = "postgresql+psycopg"
_EXAMPLE = "Write it like postgresql+psycopg://host/name"
_WRITERS_LOCK = 0x696E6B63  # any number, the same in every version: one writer at a time in one database


def checked_url(url: Any, *, where: str) -> str:
    """Return the address of a PostgreSQL database in full.

    Raises
    ------
    InputError
        It is none, or carries a password, which a file that is copied about must not hold.
    """
    try:
        found = make_url(str(url))
    except ArgumentError as exc:
        raise InputError("the database's address cannot be read", where=where, mend=_EXAMPLE) from exc
    if found.drivername not in ("postgresql", _DRIVER) or not found.database:
        raise InputError("the address names no PostgreSQL database", where=where, mend=_EXAMPLE)
    if found.password is not None or "password" in found.query:
        raise InputError(
            "the database's address holds a password",
            where=where,
            mend="Take it out, and give it in the environment (PGPASSWORD) or in the file ~/.pgpass",
        )
    return found.set(drivername=_DRIVER).render_as_string()


class _LikeSqlite(PGCompiler):
    """Says statements so that they mean what they mean in SQLite."""

    def order_by_clause(self, select: Any, **kw: Any) -> str:
        """Return the ORDER BY with what is unknown before everything else, where a column may hold it."""
        keys = [_key(self.process(each, **kw), each) for each in select._order_by_clauses]
        return f" ORDER BY {', '.join(keys)}" if keys else ""

    def render_bind_cast(self, type_: Any, dbapi_type: Any, sqltext: str) -> str:
        """Return a value with its type in brackets: BETWEEN takes no bare COLLATE."""
        words = super().render_bind_cast(type_, dbapi_type, sqltext)  # type: ignore[no-untyped-call]
        return f"({words})"


def _key(words: str, key: ColumnElement[Any]) -> str:
    inner = key.element if isinstance(key, UnaryExpression) else key
    if getattr(inner, "nullable", True) is False or " NULLS " in words:
        return words
    return f"{words} NULLS {'LAST' if words.endswith(' DESC') else 'FIRST'}"


def make_postgresql_engine(url: str, patience: float, who: str) -> Engine:
    """Return the engine: one writer at a time, as in SQLite, and readers that see one moment.

    Parameters
    ----------
    url : str
        As `checked_url` returned it.
    patience : float
        Seconds that a writer waits for another one, and a connection for its server.
    who : str
        Whose program this is, for those who wait for it.

    Raises
    ------
    CatalogueError
        The driver is not installed.
    """
    try:
        name = f"inkchest of {who} on {socket.gethostname()}"
        told = {"connect_timeout": max(2, round(patience)), "application_name": name}
        engine = create_engine(url, pool_pre_ping=True, connect_args=told)
    except ModuleNotFoundError as exc:
        raise CatalogueError(
            "the archive's database is PostgreSQL, and its driver is not installed",
            mend="Install it: pip install 'inkchest[postgresql]'",
        ) from exc
    engine.dialect.statement_compiler = _LikeSqlite
    # a cursor at the server stays open when its rows are not read to the end; answers here are small enough to take
    engine.dialect.supports_server_side_cursors = False

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if connection.get_execution_options().get("inkchest_writes", False):
            _become_the_writer(connection, patience)
        else:
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")

    return engine


def _become_the_writer(connection: Connection, patience: float) -> None:
    """Take the writers' lock; read committed: after the wait, each statement sees what the writer before has left.

    Raises
    ------
    CatalogueError
        Another one holds it all the while: it says who.
    """
    try:
        connection.exec_driver_sql(
            f"SET LOCAL lock_timeout = {round(patience * 1000)}; SELECT pg_advisory_xact_lock({_WRITERS_LOCK})"
        )
    except OperationalError as exc:
        if error_kind(exc.orig) != "busy":
            raise
        raw: Any = connection.connection.driver_connection
        raw.rollback()
        names = [name for (name,) in raw.execute(_WHO_WRITES).fetchall() if name]
        raw.rollback()
        raise CatalogueError(
            "another program is writing in the archive and did not finish in {seconds:.0f} s: {who}",
            seconds=patience,
            who=", ".join(names) or "it does not say whose it is",
            where=connection.engine.url.render_as_string(),
            mend="Wait for it, or close it, then do the same again",
        ) from exc


_WHO_WRITES = f"""
SELECT held_by.application_name FROM pg_locks JOIN pg_stat_activity AS held_by USING (pid)
WHERE locktype = 'advisory' AND objid = {_WRITERS_LOCK} AND granted
AND pg_locks.database = (SELECT oid FROM pg_database WHERE datname = current_database())
ORDER BY held_by.application_name
"""


def error_kind(exc: BaseException | None) -> str:
    """Return what kind of error the server's or driver's is: a word for `database.translated`, or nothing.

    The kinds go by SQLSTATE, which is the same in every language of the server; without one no server answered.
    """
    if exc is None or not hasattr(exc, "sqlstate"):
        return ""
    state: str | None = exc.sqlstate
    if state is None:
        import psycopg  # it is installed, or there were no error of its kind

        return "unreachable" if isinstance(exc, psycopg.OperationalError) else "value"
    for start, kind in _KINDS.items():
        if state.startswith(start):
            return kind
    return ""


_KINDS = {
    "23514": "value",  # a check
    "22": "value",  # a number out of range, a character that text cannot hold
    "55P03": "busy",  # the lock did not come in time
    "40": "serialization",
    "531": "full",
    "57P": "gone",
    "08": "unreachable",
    "28": "unreachable",
    "3D": "unreachable",
    "42501": "read_only",
    "25006": "read_only",
    "XX001": "damaged",
    "XX002": "damaged",
}
