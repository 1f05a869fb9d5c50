"""The bin: removed records lie there until it is emptied; what belongs to them goes and comes with them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Table, and_, delete, exists, func, select
from sqlalchemy.orm import Session

from archive.catalogue.base import Base, Kept
from archive.catalogue.files import Files
from archive.catalogue.identity import now
from archive.catalogue.models import Claim, Layer, Picture, Recipe, Variant
from archive.errors import ConflictError
from archive.services.kinds import KINDS, kind_of, kind_of_row
from archive.services.lookup import find_record

# what goes to the bin with its owner: (table, column that names the owner)
_OWNED = {
    ("variant", "work_id"),
    ("appearance", "variant_id"),
    ("appearance", "copy_id"),
    ("job_file", "variant_id"),
    ("run", "variant_id"),
    ("picture", "copy_id"),
    ("picture", "appearance_id"),
    ("swatch", "picture_id"),
    ("swatch", "run_id"),
    ("swatch", "copy_id"),
    ("swatch", "variant_id"),
    ("swatch", "set_id"),
    ("measurement", "swatch_id"),
}


@dataclass(frozen=True, slots=True)
class Binned:
    """A record in the bin, or just put there."""

    noun: str
    uid: str
    label: str
    binned_at: str


def remove_record(session: Session, noun: str, ref: str) -> list[Binned]:
    """Put a record and what belongs to it in the bin; return all that went.

    Raises
    ------
    ConflictError
        Something else still uses it.
    """
    kind = kind_of(noun)
    row = find_record(session, noun, ref)
    going = _put_in(session, row)
    at = row.binned_at
    named = [(kind_of_row(each), each) for each in going]
    return [Binned(found.noun, each.uid, str(getattr(each, found.label)), at) for found, each in named if found] or [
        Binned(kind.noun, row.uid, ref, at)
    ]


def remove_row(session: Session, row: Kept) -> int:
    """Put a row and what belongs to it in the bin; return how many rows went.

    Raises
    ------
    ConflictError
        Something else still uses it.
    """
    return len(_put_in(session, row))


def _put_in(session: Session, row: Any) -> list[Any]:
    going = _with_owned(session, row)
    _refuse_in_use(session, row, going)
    at = now()
    for each in going:
        each.binned_at = at
    session.flush()
    return going


def _with_owned(session: Session, row: Kept) -> list[Any]:
    going: dict[tuple[str, int], Any] = {}
    waiting: list[Any] = [row]
    while waiting:
        each = waiting.pop(0)
        key = (each.__tablename__, each.id)
        if key in going:
            continue
        going[key] = each
        waiting.extend(_owned(session, each, going))
    return list(going.values())


def _owned(session: Session, row: Any, going: dict[tuple[str, int], Any]) -> Iterator[Any]:
    for model, column in _referring(row):
        if (model.__tablename__, column.key) in _OWNED:
            yield from session.scalars(select(model).where(column == row.id, model.binned_at.is_(None)))
    if isinstance(row, Variant):
        yield from _copies_of_it_alone(session, row)
        if row.recipe_id is not None:
            recipe = session.get_one(Recipe, row.recipe_id)
            if recipe.is_told and recipe.binned_at is None:
                yield recipe


def _copies_of_it_alone(session: Session, variant: Variant) -> list[Any]:
    appearance: Any = KINDS["appearance"].model
    copy: Any = KINDS["copy"].model
    on_it = select(appearance.copy_id).where(appearance.variant_id == variant.id, appearance.binned_at.is_(None))
    on_others = select(appearance.copy_id).where(appearance.variant_id != variant.id, appearance.binned_at.is_(None))
    query = select(copy).where(copy.id.in_(on_it), copy.id.not_in(on_others), copy.binned_at.is_(None))
    return list(session.scalars(query))


def _referring(row: Kept) -> Iterator[tuple[Any, Any]]:
    """Yield every (model, column) of kept tables that can refer to the row's table."""
    target = row.__tablename__
    for mapper in Base.registry.mappers:
        model: Any = mapper.class_
        if not issubclass(model, Kept):
            continue
        for column in model.__table__.columns:
            if any(key.column.table.name == target for key in column.foreign_keys):
                yield model, getattr(model, column.key)


def _refuse_in_use(session: Session, row: Any, going: list[Any]) -> None:
    gone = {(each.__tablename__, each.id) for each in going}
    users: list[str] = []
    for model, column in _referring(row):
        for other in session.scalars(select(model).where(column == row.id, model.binned_at.is_(None))):
            if (other.__tablename__, other.id) not in gone:
                kind = kind_of_row(other)
                users.append(f"{kind.noun} {getattr(other, kind.label)}" if kind else other.__tablename__)
    if row.__tablename__ == "ink":
        users.extend(["a recipe"] * _recipes_with(session, row.id))
    if users:
        kind = kind_of_row(row)
        noun, label = (kind.noun, getattr(row, kind.label)) if kind else (row.__tablename__, row.uid)
        shown = ", ".join(dict.fromkeys(users[:4])) + (f" and {len(users) - 4} more" if len(users) > 4 else "")
        retire = noun in ("ink", "machine")
        raise ConflictError(
            "{users} still use it",
            users=shown,
            where=f"{noun} {label}",
            mend=f"Retire it instead: `inkchest {noun} edit '{label}' --no-in-house`"
            if retire
            else "Change those first",
        )


def _recipes_with(session: Session, ink_id: int) -> int:
    query = (
        select(func.count())
        .select_from(Layer)
        .join(Recipe, Recipe.id == Layer.recipe_id)
        .where(Layer.ink_id == ink_id, Recipe.binned_at.is_(None))
    )
    return session.scalar(query) or 0


def list_bin(session: Session) -> list[Binned]:
    """Return what lies in the bin, newest first."""
    found: list[Binned] = []
    for kind in KINDS.values():
        model: Any = kind.model
        rows = session.scalars(select(model).where(model.binned_at.is_not(None)))
        found.extend(Binned(kind.noun, row.uid, str(getattr(row, kind.label)), row.binned_at) for row in rows)
    return sorted(found, key=lambda each: (each.binned_at, each.uid), reverse=True)


def empty_bin(session: Session, files: Files) -> tuple[int, list[str]]:
    """Delete what is in the bin for good; return how many rows, and the originals no row names any more.

    The caller removes those files once the session is committed.
    """
    candidates = set(session.scalars(select(Picture.sha256).where(Picture.binned_at.is_not(None))))
    gone = 0
    for _ in range(len(Base.metadata.tables)):  # rings of references take more than one turn
        turn = sum(_delete_binned(session, table) for table in reversed(Base.metadata.sorted_tables))
        gone += turn
        if turn == 0:
            break
    named = set(session.scalars(select(Picture.sha256).where(Picture.sha256.in_(candidates))))
    return gone, sorted(sha256 for sha256 in candidates - named if files.exists(sha256))


def _delete_binned(session: Session, table: Table) -> int:
    if "binned_at" not in table.columns:
        return 0
    condition: ColumnElement[bool] = table.c.binned_at.is_not(None)
    for other in Base.metadata.tables.values():
        for column in other.columns:
            for key in column.foreign_keys:
                if key.column.table is not table:
                    continue
                owner = next(iter(other.primary_key.columns))
                if column is owner and "binned_at" not in other.columns:
                    continue  # rows that are part of this one go with it
                alias = other.alias()
                condition = and_(condition, ~exists().where(alias.c[column.name] == table.c.id))
    ids = list(session.scalars(select(table.c.id).where(condition)))
    if not ids:
        return 0
    for other in Base.metadata.tables.values():
        owner = next(iter(other.primary_key.columns))
        if "binned_at" not in other.columns and any(key.column.table is table for key in owner.foreign_keys):
            session.execute(delete(other).where(owner.in_(ids)))
    session.execute(delete(Claim).where(Claim.subject_table == table.name, Claim.subject_id.in_(ids)))
    session.execute(delete(table).where(table.c.id.in_(ids)))
    return len(ids)
