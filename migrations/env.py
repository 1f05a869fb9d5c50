"""Run the migrations on the engine that the archive hands over."""

from __future__ import annotations

from typing import Any

from alembic import context
from sqlalchemy import Connection, Engine

from archive.catalogue.base import Base
from archive.catalogue.models import Work


def _is_ours(_thing: Any, name: str | None, _kind: str, _reflected: bool, _compare_to: Any) -> bool:
    return "_fts" not in (name or "")


def _migrate(connection: Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=True,
        include_object=_is_ours,
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()
        if connection.dialect.name == "sqlite":
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise RuntimeError(f"the migration would break {len(broken)} references")


def _run(engine: Engine) -> None:
    with engine.connect() as connection:
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
_run(context.config.attributes["engine"])
