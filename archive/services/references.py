"""Which records refer to which: asked before one goes to the bin, comes back, or is checked.

A reference is a column of a kept row, or of a row that is part of one (a layer of a recipe, a person's part in a
work); the row that is spoken of is then the one it is part of.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlalchemy import Column, Select, Table, select
from sqlalchemy.orm import Session

from archive.catalogue.base import Base, Kept
from archive.services.kinds import kind_of_row


@dataclass(frozen=True, slots=True)
class Reference:
    """A column by which rows of `model` refer to a row of the table `target`.

    `part_of` is the column that names the row of `model`, where the reference stands in a row that is part of it.
    """

    model: Any
    column: Column[Any]
    target: str
    part_of: Column[Any] | None = None

    def rows(self, targets: Select[Any]) -> Select[Any]:
        """Return the query of living rows, each with the id of the target (one of `targets`) that it refers to."""
        query = select(self.model, self.column).where(self.model.binned_at.is_(None), self.column.in_(targets))
        if self.part_of is not None:
            query = query.join(self.column.table, self.part_of == self.model.id)
        return query.order_by(self.model.id, self.column)


@cache
def kept_models() -> dict[str, Any]:
    """Return the model of every table whose rows have a history, by the table's name."""
    models = (mapper.class_ for mapper in Base.registry.mappers)
    return {model.__tablename__: model for model in models if issubclass(model, Kept)}


@cache
def all_references() -> tuple[Reference, ...]:
    """Return every reference from a kept row, or a part of one, to a kept row."""
    return tuple(found for table in Base.metadata.sorted_tables for found in _references_in(table))


def _references_in(table: Table) -> Iterator[Reference]:
    models = kept_models()
    owner = owner_column(table)
    for column in table.columns:
        for key in column.foreign_keys:
            target = key.column.table.name
            if target not in models:
                continue
            if table.name in models:
                yield Reference(models[table.name], column, target)
            elif owner is not None and column is not owner:
                (owned_by,) = owner.foreign_keys
                yield Reference(models[owned_by.column.table.name], column, target, owner)


def owner_column(table: Table) -> Column[Any] | None:
    """Return the column that names the row which rows of this table are part of, if they are part of one."""
    first: Column[Any] = next(iter(table.primary_key.columns))
    return first if table.name not in kept_models() and first.foreign_keys else None


def living_users(session: Session, table: str, targets: Select[Any]) -> Iterator[tuple[Any, int]]:
    """Yield each living row that refers to one of the targets (a query of ids of `table`), and that target's id."""
    for reference in all_references():
        if reference.target == table:
            yield from session.execute(reference.rows(targets)).all()


def binned_targets(session: Session, row: Any) -> Iterator[Any]:
    """Yield each row in the bin that a row, or a part of it, refers to."""
    for reference in all_references():
        if not isinstance(row, reference.model):
            continue
        target = kept_models()[reference.target]
        owner = reference.model.__table__.c.id if reference.part_of is None else reference.part_of
        named = select(reference.column).where(owner == row.id)
        binned = select(target).where(target.id.in_(named), target.binned_at.is_not(None))
        yield from session.scalars(binned.order_by(target.id))


def name_of(row: Any) -> str:
    """Return what a person calls a row: "ink Ferrywake"; its table's name where it has no name of its own."""
    kind = kind_of_row(row)
    return f"{kind.noun} {getattr(row, kind.label)}" if kind else str(row.__tablename__)
