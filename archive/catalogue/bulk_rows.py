"""Whole tables out and in by the driver itself: for a move of everything, where a row at a time would take too long.

Tables that this version writes are made in one go from the models; tests hold that these say what the migrations make.
Indices, and on PostgreSQL the references, come after the rows.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Column, Connection, Engine, ForeignKeyConstraint, Index, MetaData, Table, create_engine, event
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.schema import AddConstraint, CreateIndex, CreateTable, ExecutableDDLElement

from archive.catalogue.base import Base
from archive.catalogue.models import Work
from archive.catalogue.revision import REVISION

assert Work.__tablename__  # the models must be loaded for their tables to be known
Named = TypeVar("Named", Index, ForeignKeyConstraint)
Row = tuple[Any, ...]
BATCH = 2000  # rows that are in hand at a time
_VERSION = "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL CONSTRAINT alembic_version_pkc PRIMARY KEY)"


@dataclass(frozen=True, slots=True)
class Shape:
    """A table as its rows go out and in.

    Attributes
    ----------
    columns : tuple of str
        In the order of their names.
    kinds : tuple of type
        What each column holds: str, int, float or bool; a JSON value goes as the text that is kept.
    keys : tuple of str
        The primary key's columns: what the rows are ordered by.
    """

    name: str
    columns: tuple[str, ...]
    kinds: tuple[type, ...]
    keys: tuple[str, ...]


def filling_engine(file: Path) -> Engine:
    """Return the engine for a new SQLite file that is thrown away when anything goes wrong.

    It writes straight on, without a log and without waiting for the disk: whoever fills the file has it settled after.
    References are not looked at row by row: `finish_tables` and the migrations do it for all.
    """
    engine = create_engine(f"sqlite:///{file}")

    @event.listens_for(engine, "connect")
    def _connect(connection: sqlite3.Connection, _record: Any) -> None:
        connection.isolation_level = None  # as in `database.make_engine`
        connection.execute("PRAGMA journal_mode=MEMORY")
        connection.execute("PRAGMA synchronous=OFF")

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def shapes() -> list[Shape]:
    """Return the tables of this version, owners before what refers to them."""
    return _shapes(Base.metadata)


def stored_shapes(connection: Connection) -> list[Shape]:
    """Return the tables as the database has them, which an older version may have made."""
    metadata = MetaData()
    metadata.reflect(connection)
    return _shapes(metadata)


def _shapes(metadata: MetaData) -> list[Shape]:
    return [_shape(table) for table in metadata.sorted_tables if table.name != "alembic_version"]


def _shape(table: Table) -> Shape:
    columns = sorted(table.columns, key=lambda column: column.name)
    return Shape(
        table.name,
        tuple(column.name for column in columns),
        tuple(_kind(column) for column in columns),
        tuple(column.name for column in table.primary_key),
    )


def _kind(column: Column[Any]) -> type:
    kind = column.type.python_type
    return str if kind is object else kind  # a JSON value, which is kept as text


def read_rows(connection: Connection, shape: Shape) -> Iterator[list[Row]]:
    """Yield a table's rows in batches, ordered by their keys; a yes or no may come as 1 or 0."""
    named, keys = _named(shape.columns), _named(shape.keys)
    query = f'SELECT {named} FROM "{shape.name}" ORDER BY {keys}'
    raw: Any = connection.connection.driver_connection
    with _as_of_sqlalchemy(connection, query), closing(_cursor(raw)) as cursor:
        cursor.execute(query)
        while rows := cursor.fetchmany(BATCH):
            yield rows


def _cursor(raw: Any) -> Any:
    """Return a cursor that holds no more than a batch in memory."""
    return raw.cursor() if isinstance(raw, sqlite3.Connection) else raw.cursor(name="rows_out", binary=True)


def write_rows(connection: Connection, shape: Shape, batches: Iterable[Sequence[Row]]) -> int:
    """Add rows to a table and return how many; a row may refer to one of its own table that comes later.

    On SQLite the connection is one of `filling_engine`.
    """
    raw: Any = connection.connection.driver_connection
    write = _insert if isinstance(raw, sqlite3.Connection) else _copy_in
    with _as_of_sqlalchemy(connection, f"rows into {shape.name}"):
        return write(raw, shape, batches)


def _insert(raw: sqlite3.Connection, shape: Shape, batches: Iterable[Sequence[Row]]) -> int:
    marks = ", ".join("?" * len(shape.columns))
    words = f'INSERT INTO "{shape.name}" ({_named(shape.columns)}) VALUES ({marks})'
    return sum(raw.executemany(words, batch).rowcount for batch in batches)


def _copy_in(raw: Any, shape: Shape, batches: Iterable[Sequence[Row]]) -> int:
    count = 0
    words = f'COPY "{shape.name}" ({_named(shape.columns)}) FROM STDIN'
    with raw.cursor() as cursor, cursor.copy(words) as copy:  # references are looked at when all rows are there
        for batch in batches:
            for row in batch:
                copy.write_row(row)
            count += len(batch)
    return count


def make_tables(connection: Connection) -> None:
    """Make this version's tables in an empty database, without what `finish_tables` adds."""
    is_sqlite = connection.dialect.name == "sqlite"  # its references cannot be added to a table
    tables = Base.metadata.sorted_tables
    made = [CreateTable(table, include_foreign_key_constraints=None if is_sqlite else []) for table in tables]
    _run(connection, [_VERSION, f"INSERT INTO alembic_version VALUES ('{REVISION}')", *_words(connection, made)])


def finish_tables(connection: Connection) -> None:
    """Add the indices and references, once the rows are there.

    Raises
    ------
    IntegrityError
        A row clashes with another one, or refers to one that is not there.
    """
    tables = Base.metadata.sorted_tables
    parts: list[ExecutableDDLElement] = [CreateIndex(index) for table in tables for index in _by_name(table.indexes)]
    if connection.dialect.name != "sqlite":
        keys = [key for table in tables for key in _by_name(table.foreign_key_constraints)]
        # else tables that are made later in this process would lack their references
        parts += [AddConstraint(key, isolate_from_table=False) for key in keys]
    _run(connection, _words(connection, parts))
    if connection.dialect.name == "sqlite":
        check_references(connection)


def check_references(connection: Connection) -> None:
    """Look at all references of a SQLite file.

    Raises
    ------
    IntegrityError
        A row refers to one that is not there.
    """
    words = "PRAGMA foreign_key_check"
    found = connection.exec_driver_sql(words).first()
    if found is not None:
        told = f"row {found[1]} of {found[0]} refers to a row of {found[2]} that is not there"
        raise IntegrityError(words, None, sqlite3.IntegrityError(told))


def _by_name(parts: Iterable[Named]) -> list[Named]:
    return sorted(parts, key=lambda part: str(part.name))


def _words(connection: Connection, elements: Iterable[ExecutableDDLElement]) -> list[str]:
    return [str(element.compile(dialect=connection.dialect)) for element in elements]


def _run(connection: Connection, statements: Sequence[str]) -> None:
    raw: Any = connection.connection.driver_connection
    if isinstance(raw, sqlite3.Connection):
        steps: Sequence[str] = statements  # a script would end the transaction
    else:
        steps = [";".join(statements)]  # one way to the server and back
    with _as_of_sqlalchemy(connection, "making the tables"):
        for step in steps:
            raw.execute(step)


def _named(columns: Sequence[str]) -> str:
    return ", ".join(f'"{column}"' for column in columns)


@contextmanager
def _as_of_sqlalchemy(connection: Connection, words: str) -> Iterator[None]:
    """Have the driver's errors come as they do from other statements, so that `database.translated` tells them."""
    base = connection.dialect.loaded_dbapi.Error
    try:
        yield
    except base as exc:
        gone = connection.dialect.is_disconnect(exc, connection.connection.dbapi_connection, None)
        raise DBAPIError.instance(
            words, None, exc, base, connection_invalidated=gone, dialect=connection.dialect
        ) from exc
