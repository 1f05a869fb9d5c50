"""Every act leaves its trace: a change, and for edited columns the value before and after.

The session does it by itself: a new row of a `Kept` table gets the session's change, an altered one
leaves `Edit` rows. An import keeps only its change on its rows. So no service can forget the history.
Columns that follow from others (`derived`) leave no edits. Rows that are part of a record and are replaced
together (its makers, its fillings) are noted by the service that writes them, with `note_edit`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import event, insert, inspect, select
from sqlalchemy.orm import Session

from archive.catalogue.base import Kept
from archive.catalogue.identity import fold, new_uid, now
from archive.catalogue.models import Change, Edit, User


@dataclass(frozen=True, slots=True)
class Act:
    """Who writes, in what words, and what kind of change it is.

    Long work commits item by item: its later sessions carry on the first one's change by `change_id`.
    """

    by: str
    words: str
    kind: str = "edit"
    undoes_id: int | None = None
    change_id: int | None = None


def begin_act(session: Session, act: Act, revision: str) -> None:
    """Attach an act to a session; its change is written with the first row it touches."""
    session.info["act"] = act
    session.info["revision"] = revision
    session.info["change_id"] = act.change_id
    event.listen(session, "before_flush", _keep_history)


def current_change(session: Session) -> int:
    """Return the id of the session's change, writing it when this is the first time."""
    known: int | None = session.info["change_id"]
    if known is not None:
        return known
    act: Act = session.info["act"]
    connection = session.connection()
    values = {
        "uid": new_uid(),
        "at": now(),
        "user_id": _user_id(session, act.by),
        "words": act.words,
        "kind": act.kind,
        "schema_revision": session.info["revision"],
        "undoes_id": act.undoes_id,
    }
    change_id: int = connection.execute(insert(Change).values(values).returning(Change.id)).scalar_one()
    session.info["change_id"] = change_id
    return change_id


def note_edit(session: Session, row: Kept, field: str, old: Any, new: Any) -> None:
    """Leave the trace of a field that is kept in rows of its own."""
    if old != new and _leaves_edits(session, row):
        edit = {"table_name": row.__tablename__, "row_id": row.id, "column_name": field, "old": old, "new": new}
        session.connection().execute(insert(Edit), [{"change_id": current_change(session), **edit}])


def _leaves_edits(session: Session, row: Kept) -> bool:
    """Return whether edits of the row are kept: what was forgotten leaves none.

    Nor does what the same change added: undoing the change takes the whole row back.
    """
    act: Act = session.info["act"]
    same_change: bool = row.change_id == session.info["change_id"]
    return act.kind != "forget" and not same_change


def _user_id(session: Session, name: str) -> int:
    connection = session.connection()
    found = connection.execute(select(User.id).where(User.name_key == fold(name))).scalar()
    if found is not None:
        return found
    values = {"uid": new_uid(), "name": name, "name_key": fold(name)}
    return connection.execute(insert(User).values(values).returning(User.id)).scalar_one()


def _keep_history(session: Session, _context: Any, _instances: Any) -> None:
    for row in session.new:
        if isinstance(row, Kept) and row.change_id is None:
            row.change_id = current_change(session)
    kept = [row for row in session.dirty if isinstance(row, Kept)]
    edits = [
        edit
        for row in sorted(kept, key=lambda each: (each.__tablename__, each.id))  # the session has them in any order
        if _leaves_edits(session, row) and session.is_modified(row, include_collections=False)
        for edit in _edits(row)
    ]
    if edits:
        change_id = current_change(session)
        session.connection().execute(insert(Edit), [{"change_id": change_id, **edit} for edit in edits])


def _edits(row: Kept) -> list[dict[str, Any]]:
    state = inspect(row)
    edits = []
    for column in state.mapper.column_attrs:
        history = state.attrs[column.key].history
        if not history.has_changes() or "derived" in column.columns[0].info:
            continue
        old = history.deleted[0] if history.deleted else None
        new = history.added[0] if history.added else None
        if old != new:
            edits.append(
                {
                    "table_name": row.__tablename__,
                    "row_id": row.id,
                    "column_name": column.key,
                    "old": old,
                    "new": new,
                }
            )
    return edits
