"""What all tables share: identity, the change that made a row, the bin, and checked text."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import CheckConstraint, Float, ForeignKey, Index, MetaData, Text, TypeDecorator, text
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column
from sqlalchemy.types import TypeEngine

from archive.catalogue.identity import new_uid

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

# sorts by its bytes in UTF-8 everywhere; PostgreSQL's own order would follow the server's language
PLAIN_TEXT = Text().with_variant(Text(collation="C"), "postgresql")


class Number(TypeDecorator[float]):
    """A double; minus nought is kept as nought, as SQLite does by itself."""

    impl = Float
    cache_ok = True

    def process_bind_param(self, value: float | None, dialect: Dialect) -> float | None:
        """Return the number without the sign of nought."""
        return None if value is None else value + 0.0


class JsonText(TypeDecorator[Any]):
    """A JSON value kept as text with sorted keys, the same in every database."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Return the text type of the database."""
        return Text(collation="C") if dialect.name == "postgresql" else Text()

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        """Return the value as canonical JSON."""
        return None if value is None else json.dumps(value, ensure_ascii=False, sort_keys=True)

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        """Return the value that the text holds."""
        return None if value is None else json.loads(value)


class Base(DeclarativeBase):
    """The one registry of tables."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map = {str: PLAIN_TEXT, float: Number()}  # noqa: RUF012 - SQLAlchemy reads it once, at class creation


class Row(Base):
    """A row with an id that is never reused and a uid that travels."""

    __abstract__ = True

    id: Mapped[int] = mapped_column(primary_key=True, sort_order=-3)
    uid: Mapped[str] = mapped_column(default=new_uid, unique=True, sort_order=-2)


class Kept(Row):
    """A row with history: the change that made it, and the time it went to the bin."""

    __abstract__ = True

    change_id: Mapped[int] = mapped_column(ForeignKey("change.id"), index=True, sort_order=90)
    binned_at: Mapped[str | None] = mapped_column(default=None, sort_order=91)


def derived(*parts: Any, **options: Any) -> Any:
    """Return a column that follows from others: it keeps no history, and undo works it out again."""
    return mapped_column(*parts, info={"derived": True}, **options)


def table_args(*rules: Any) -> tuple[Any, ...]:
    """Return `__table_args__` with the rules given; SQLite must never reuse the id of a deleted row."""
    return (*rules, {"sqlite_autoincrement": True})


def one_of(column: str, *words: str) -> CheckConstraint:
    """Return the check that a text column holds one of the words (or nothing)."""
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_word")


def within(column: str, low: float, high: float) -> CheckConstraint:
    """Return the check that a number lies in a range (or is unknown)."""
    check = CheckConstraint(f"{column} BETWEEN {low} AND {high}", name=f"{column}_range")
    check.info["range"] = (column, low, high)  # for the words that come before the database refuses
    return check


def unique_among_living(table: str, *columns: str) -> Index:
    """Return the index that makes columns unique, counting no row in the bin."""
    living = text("binned_at IS NULL")
    name = f"uq_{table}_living_{'_'.join(columns)}"
    return Index(name, *columns, unique=True, sqlite_where=living, postgresql_where=living)
