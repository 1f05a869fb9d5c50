"""The last id that each table gave, also to rows that are gone: an archive that moved must not give it again."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection, text


def last_ids(connection: Connection) -> dict[str, int]:
    """Return the last id of every table that ever gave one, by the table's name."""
    if connection.dialect.name == "sqlite":
        rows = connection.exec_driver_sql("SELECT name, seq FROM sqlite_sequence WHERE seq > 0").all()
        return {str(name): int(last) for name, last in rows}
    query = "SELECT sequencename, last_value FROM pg_sequences WHERE schemaname = current_schema()"
    found = connection.exec_driver_sql(query).all()
    return {str(name).removesuffix("_id_seq"): int(last) for name, last in found if last is not None}


def set_last_ids(connection: Connection, last: Mapping[str, int]) -> None:
    """Let the tables count on from these ids, or from the highest that is there."""
    for name in sorted(_counting(connection) & set(last)):
        highest = connection.exec_driver_sql(f'SELECT coalesce(max(id), 0) FROM "{name}"').scalar_one()
        value = max(int(highest), last[name])
        if connection.dialect.name == "sqlite":
            connection.execute(text("DELETE FROM sqlite_sequence WHERE name = :name"), {"name": name})
            query = "INSERT INTO sqlite_sequence (name, seq) VALUES (:name, :last)"
        else:
            query = "SELECT setval(CAST(:name || '_id_seq' AS regclass), :last)"
        connection.execute(text(query), {"name": name, "last": value})


def _counting(connection: Connection) -> set[str]:
    if connection.dialect.name == "sqlite":
        query = "SELECT name FROM sqlite_master WHERE type = 'table' AND sql LIKE '%AUTOINCREMENT%'"
        return set(connection.exec_driver_sql(query).scalars())
    query = "SELECT sequencename FROM pg_sequences WHERE schemaname = current_schema()"
    return {str(name).removesuffix("_id_seq") for name in connection.exec_driver_sql(query).scalars()}
