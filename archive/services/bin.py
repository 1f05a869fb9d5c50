"""The bin: removed records lie there until it is emptied; what belongs to them goes and comes with them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Table, delete, exists, select
from sqlalchemy.orm import Session

from archive.catalogue.base import Base, Kept
from archive.catalogue.files import Files
from archive.catalogue.history import current_change
from archive.catalogue.identity import now
from archive.catalogue.models import (
    Appearance,
    Claim,
    Copy,
    Ink,
    Layer,
    Paper,
    Recipe,
    Run,
    Swatch,
    Variant,
)
from archive.errors import ConflictError
from archive.services.kinds import KINDS, kind_of, kind_of_row
from archive.services.lookup import find_record
from archive.services.originals import named_originals
from archive.services.references import all_references, kept_models, living_users, name_of, owner_column

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
    ("sitting_shot", "sitting_id"),
    ("frame", "sitting_id"),
    ("frame", "picture_id"),
    ("joined", "copy_id"),
    ("proposal", "picture_id"),
    ("proposal", "swatch_id"),
    ("slip", "run_id"),
    ("slip", "picture_id"),
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
    going += _recipes_left_alone(session, going)
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
        if key not in going:
            going[key] = each
            waiting.extend(_owned(session, each))
    return list(going.values())


def _owned(session: Session, row: Any) -> Iterator[Any]:
    for reference in all_references():
        if reference.target == row.__tablename__ and (reference.column.table.name, reference.column.key) in _OWNED:
            model = reference.model
            owned = select(model).where(reference.column == row.id, model.binned_at.is_(None))
            yield from session.scalars(owned.order_by(model.id))
    if isinstance(row, Variant):
        yield from _copies_of_it_alone(session, row)


def _copies_of_it_alone(session: Session, variant: Variant) -> list[Any]:
    on_it = select(Appearance.copy_id).where(Appearance.variant_id == variant.id, Appearance.binned_at.is_(None))
    on_others = select(Appearance.copy_id).where(Appearance.variant_id != variant.id, Appearance.binned_at.is_(None))
    query = select(Copy).where(Copy.id.in_(on_it), Copy.id.not_in(on_others), Copy.binned_at.is_(None))
    return list(session.scalars(query.order_by(Copy.id)))


def _recipes_left_alone(session: Session, going: list[Any]) -> list[Recipe]:
    """Return the recipes that nothing living will use: told ones of what goes, any with an ink or paper that goes."""
    gone = {(each.__tablename__, each.id) for each in going}
    ids = {each.recipe_id for each in going if isinstance(each, Variant | Run | Swatch)}
    inks = [each.id for each in going if isinstance(each, Ink)]
    papers = [each.id for each in going if isinstance(each, Paper)]
    laid = select(Layer.recipe_id).where(Layer.ink_id.in_(inks))
    query = select(Recipe).where(
        Recipe.binned_at.is_(None),
        (Recipe.is_told & Recipe.id.in_(ids - {None})) | Recipe.id.in_(laid) | Recipe.paper_id.in_(papers),
    )
    return [
        recipe
        for recipe in session.scalars(query.order_by(Recipe.id))
        if not list(_users_outside(session, recipe, gone))
    ]


def _users_outside(session: Session, row: Any, gone: set[tuple[str, int]]) -> Iterator[Any]:
    targets = select(type(row).id).where(type(row).id == row.id)
    for user, _ in living_users(session, row.__tablename__, targets):
        if (user.__tablename__, user.id) not in gone:
            yield user


def _refuse_in_use(session: Session, row: Any, going: list[Any]) -> None:
    gone = {(each.__tablename__, each.id) for each in going}
    users = [name_of(user) for each in going for user in _users_outside(session, each, gone)]
    if not users:
        return
    kind = kind_of_row(row)
    noun, label = (kind.noun, getattr(row, kind.label)) if kind else (row.__tablename__, row.uid)
    names = list(dict.fromkeys(users))
    more = f" and {len(names) - 4} more" if len(names) > 4 else ""
    retire = f"Retire it instead: `inkchest {noun} edit '{label}' --no-in-house`"
    raise ConflictError(
        "it is still used by {users}",
        users=", ".join(names[:4]) + more,
        where=f"{noun} {label}",
        mend=retire if noun in ("ink", "machine") else "Change those first",
    )


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

    The caller removes those files once the session is committed. The history keeps a line of it.
    """
    candidates = set(named_originals(session, in_bin=True))
    gone = 0
    for _ in range(len(Base.metadata.tables)):  # rings of references take more than one turn
        turn = sum(_delete_binned(session, table) for table in reversed(Base.metadata.sorted_tables))
        gone += turn
        if turn == 0:
            break
    if gone:
        current_change(session)
    left = candidates - set(named_originals(session))
    return gone, sorted(sha256 for sha256 in left if files.exists(sha256))


def _delete_binned(session: Session, table: Table) -> int:
    """Delete the rows of a table that lie in the bin and that no other row refers to; return how many."""
    if table.name not in kept_models():
        return 0
    condition: ColumnElement[bool] = table.c.binned_at.is_not(None)
    for other in Base.metadata.tables.values():
        for column in other.columns:
            if column is owner_column(other) or not any(key.column.table is table for key in column.foreign_keys):
                continue  # rows that are part of this one go with it
            alias = other.alias()
            condition &= ~exists().where(alias.c[column.name] == table.c.id)
    ids = select(table.c.id).where(condition)
    if session.scalars(ids.limit(1)).first() is None:
        return 0
    for other in Base.metadata.tables.values():
        owner = owner_column(other)
        if owner is not None and any(key.column.table is table for key in owner.foreign_keys):
            session.execute(delete(other).where(owner.in_(ids)))
    session.execute(delete(Claim).where(Claim.subject_table == table.name, Claim.subject_id.in_(ids)))
    deleted: Any = session.execute(delete(table).where(condition))
    return int(deleted.rowcount)
