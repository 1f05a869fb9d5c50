"""Run the migrations on the engine that the archive hands over."""

from __future__ import annotations

from typing import Any

from alembic import context
from sqlalchemy import Connection, Engine, Table, event, inspect

from archive.catalogue.base import Base
from archive.catalogue.models import Work
from archive.errors import CatalogueError


def _is_ours(_thing: Any, name: str | None, _kind: str, _reflected: bool, _compare_to: Any) -> bool:
    return "_fts" not in (name or "")


def _never_reuse_ids(table: Table, connection: Connection, **_: Any) -> None:
    """Make a table keep its ids: a rebuilt one is read from the database, which does not tell of AUTOINCREMENT."""
    if connection.dialect.name == "sqlite" and [column.name for column in table.primary_key] == ["id"]:
        table.dialect_options["sqlite"]["autoincrement"] = True


def _last_ids(connection: Connection) -> dict[str, int]:
    if connection.dialect.name != "sqlite" or not inspect(connection).has_table("sqlite_sequence"):
        return {}
    return dict(connection.exec_driver_sql("SELECT name, seq FROM sqlite_sequence").all())


def _carry_on_from(connection: Connection, last_ids: dict[str, int]) -> None:
    """Have rebuilt tables count on from the ids they had given, also those of rows that were deleted."""
    there = set(inspect(connection).get_table_names())
    for name, last in last_ids.items():
        if name in there and _last_ids(connection).get(name, 0) < last:
            connection.exec_driver_sql("DELETE FROM sqlite_sequence WHERE name = ?", (name,))
            connection.exec_driver_sql("INSERT INTO sqlite_sequence (name, seq) VALUES (?, ?)", (name, last))


def _migrate(connection: Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=True,
        include_object=_is_ours,
        transactional_ddl=True,
    )
    with context.begin_transaction():
        last_ids = _last_ids(connection)
        context.run_migrations()
        _carry_on_from(connection, last_ids)
        if connection.dialect.name == "sqlite":
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise CatalogueError(
                    "bringing the archive up to date would break {count} references; it was left as it was",
                    count=len(broken),
                    mend="Run `inkchest check` with the version that wrote it, and report this",
                )


def _run(engine: Engine) -> None:
    # takes the writers' lock at once: a second program that opens the archive meanwhile waits, then finds it done
    with engine.execution_options(inkchest_writes=True).connect() as connection:
        if connection.dialect.name == "sqlite":
            # rebuilding a table with the keys on would empty every table that refers to it; the switch works
            # only outside a transaction, which autocommit gives
            raw = connection.connection.driver_connection
            assert raw is not None
            raw.execute("PRAGMA foreign_keys=OFF")
            try:
                _migrate(connection)
            finally:
                if connection.in_transaction():
                    connection.rollback()
                raw.execute("PRAGMA foreign_keys=ON")
        else:
            _migrate(connection)


assert Work.__tablename__  # the models must be loaded for the drift check
event.listen(Table, "before_create", _never_reuse_ids)
try:
    _run(context.config.attributes["engine"])
finally:
    event.remove(Table, "before_create", _never_reuse_ids)
