"""Who changed what, and taking it back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.base import Base, Kept
from archive.catalogue.identity import now
from archive.catalogue.models import Change, Edit, User
from archive.errors import ConflictError, NotFoundError
from archive.services.kinds import kind_of_row
from archive.services.lookup import find_record


@dataclass(frozen=True, slots=True)
class FieldEdit:
    """One field's value before and after."""

    record: str
    field: str
    old: Any
    new: Any


@dataclass(frozen=True, slots=True)
class ChangeSummary:
    """One person's act."""

    id: int
    uid: str
    at: str
    by: str
    words: str
    kind: str
    added: int
    edits: tuple[FieldEdit, ...]
    undone: bool


def list_changes(
    session: Session, *, limit: int = 20, noun: str | None = None, ref: str | None = None
) -> list[ChangeSummary]:
    """Return the newest changes, of the whole archive or of one record."""
    query = select(Change, User.name).join(User, User.id == Change.user_id).order_by(Change.id.desc()).limit(limit)
    if noun is not None and ref is not None:
        row = find_record(session, noun, ref)
        touched = select(Edit.change_id).where(Edit.table_name == row.__tablename__, Edit.row_id == row.id)
        query = query.where(Change.id.in_(touched) | (Change.id == row.change_id))
    return [_summary(session, change, by) for change, by in session.execute(query)]


def _summary(session: Session, change: Change, by: str) -> ChangeSummary:
    edits = session.scalars(select(Edit).where(Edit.change_id == change.id).order_by(Edit.id)).all()
    shown = tuple(FieldEdit(_record_name(session, edit), edit.column_name, edit.old, edit.new) for edit in edits)
    return ChangeSummary(
        change.id,
        change.uid,
        change.at,
        by,
        change.words,
        change.kind,
        _count_added(session, change.id),
        shown,
        _is_undone(session, change.id),
    )


def _record_name(session: Session, edit: Edit) -> str:
    row = session.get(_models()[edit.table_name], edit.row_id)
    kind = kind_of_row(row)
    if kind is None or row is None:
        return f"{edit.table_name} {edit.row_id}"
    return f"{kind.noun} {getattr(row, kind.label)}"


def _models() -> dict[str, Any]:
    return {mapper.class_.__tablename__: mapper.class_ for mapper in Base.registry.mappers}


def _kept_models() -> list[Any]:
    return [model for model in _models().values() if issubclass(model, Kept)]


def _count_added(session: Session, change_id: int) -> int:
    return sum(
        session.scalar(select(func.count()).select_from(model).where(model.change_id == change_id)) or 0
        for model in _kept_models()
    )


def _is_undone(session: Session, change_id: int) -> bool:
    return session.scalars(select(Change.id).where(Change.undoes_id == change_id)).first() is not None


def change_to_undo(session: Session, given: str | None) -> tuple[int, str]:
    """Return the id and words of the change named by number or uid, or of the newest that can be undone.

    Raises
    ------
    NotFoundError
        There is no such change, or nothing is left to undo.
    ConflictError
        It was undone already.
    """
    if given is None:
        undone = select(Change.undoes_id).where(Change.undoes_id.is_not(None))
        query = select(Change).where(Change.id.not_in(undone), Change.kind.in_(("edit", "import")))
        change = session.scalars(query.order_by(Change.id.desc()).limit(1)).first()
    else:
        by_number = Change.id == int(given) if given.isdigit() else Change.uid == given
        change = session.scalars(select(Change).where(by_number)).first()
    if change is None:
        raise NotFoundError(
            "no change {given} to undo", given=given or "left", mend="`inkchest history` lists the changes"
        )
    if change.kind == "forget":
        raise ConflictError("what was forgotten cannot come back", where=f"change {change.id}", mend="Enter it again")
    if _is_undone(session, change.id):
        raise ConflictError("it was undone already", where=f"change {change.id}", mend="Undo that undo instead")
    return change.id, change.words


def undo(session: Session, change_id: int) -> int:
    """Take a change back whole, inside the session's own change; return how many rows and fields it touched.

    Raises
    ------
    ConflictError
        A later change touched one of its fields, or uses what it added: both values are told.
    """
    edits = session.scalars(select(Edit).where(Edit.change_id == change_id).order_by(Edit.id.desc())).all()
    for edit in edits:
        row = session.get(_models()[edit.table_name], edit.row_id)
        if row is None:
            raise NotFoundError(
                "{record} is gone for good",
                record=f"{edit.table_name} {edit.row_id}",
                where=f"change {change_id}",
                mend="The bin was emptied since",
            )
        current = getattr(row, edit.column_name)
        if current != edit.new:
            raise ConflictError(
                "{field} was changed again: this change made it {new}, it is now {current}",
                field=edit.column_name,
                new=edit.new,
                current=current,
                where=_record_name(session, edit),
                mend="Undo the later change first (`inkchest history`), or edit the field",
            )
        setattr(row, edit.column_name, edit.old)
    added = _bin_added(session, change_id)
    session.flush()
    return len(edits) + added


def _bin_added(session: Session, change_id: int) -> int:
    rows = [
        row
        for model in _kept_models()
        for row in session.scalars(select(model).where(model.change_id == change_id, model.binned_at.is_(None)))
    ]
    gone = {(row.__tablename__, row.id) for row in rows}
    _refuse_used_since(session, change_id, gone)
    at = now()
    for row in rows:
        row.binned_at = at
    return len(rows)


def _refuse_used_since(session: Session, change_id: int, gone: set[tuple[str, int]]) -> None:
    """Refuse when a living row of another change refers to one that would go."""
    ids: dict[str, set[int]] = {}
    for table, row_id in gone:
        ids.setdefault(table, set()).add(row_id)
    for model in _kept_models():
        for column in model.__table__.columns:
            for key in column.foreign_keys:
                table = key.column.table.name
                if table not in ids or column.key in ("change_id",):
                    continue
                attribute = getattr(model, column.key)
                users = session.scalars(
                    select(model).where(
                        attribute.in_(ids[table]), model.binned_at.is_(None), model.change_id != change_id
                    )
                )
                for user in users:
                    if (user.__tablename__, user.id) not in gone:
                        kind = kind_of_row(user)
                        name = f"{kind.noun} {getattr(user, kind.label)}" if kind else user.__tablename__
                        raise ConflictError(
                            "{user}, entered later, uses what it added",
                            user=name,
                            where=f"change {change_id}",
                            mend="Remove or change that first",
                        )
