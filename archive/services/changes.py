"""Who changed what, and taking it back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from archive.catalogue.identity import now
from archive.catalogue.models import Change, Drum, Edit, Measurement, Swatch, User
from archive.errors import ConflictError, NotFoundError
from archive.services.fields import current_links, has_links, links_in_words, write_links
from archive.services.kinds import kind_of_row
from archive.services.lookup import find_record
from archive.services.measuring import set_standing
from archive.services.records import refuse_taken
from archive.services.references import all_references, binned_targets, kept_models, living_users, name_of
from archive.services.rules import refresh

_SHARED = {"recipe", "person", "place"}  # what things that are entered bring along, and others then use
_SIDES = ("old", "new")


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
    shown = tuple(
        FieldEdit(_record_name(session, edit), edit.column_name, *(_shown(session, edit, side) for side in _SIDES))
        for edit in edits
    )
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
    row = session.get(kept_models()[edit.table_name], edit.row_id)
    return name_of(row) if row is not None else f"{edit.table_name} {edit.row_id}"


def _shown(session: Session, edit: Edit, side: str) -> Any:
    """Return an edit's old or new value as a person reads it: names instead of ids."""
    return _value_in_words(session, edit.table_name, edit.column_name, getattr(edit, side))


def _value_in_words(session: Session, table: str, column: str, value: Any) -> Any:
    model = kept_models()[table]
    kind = kind_of_row(model())
    if kind is not None and has_links(kind.noun, column):
        return links_in_words(session, kind.noun, column, value)
    for reference in all_references():
        if reference.column is model.__table__.columns.get(column) and value is not None:
            row = session.get(kept_models()[reference.target], value)
            return name_of(row).partition(" ")[2] or name_of(row) if row is not None else value
    return value


def _count_added(session: Session, change_id: int) -> int:
    return sum(
        session.scalar(select(func.count()).select_from(model).where(model.change_id == change_id)) or 0
        for model in kept_models().values()
    )


def _is_undone(session: Session, change_id: int) -> bool:
    """Return whether a change is taken back: by an undo that was not taken back itself."""
    undos = session.scalars(select(Change.id).where(Change.undoes_id == change_id)).all()
    return any(not _is_undone(session, each) for each in undos)


def change_to_undo(session: Session, given: str | None) -> tuple[int, str]:
    """Return the id and words of the change named by number or uid, or of the newest that can be undone.

    Raises
    ------
    NotFoundError
        There is no such change, or nothing is left to undo.
    ConflictError
        It was undone already.
    """
    change = _newest_to_undo(session) if given is None else _change_called(session, given)
    if change is None:
        raise NotFoundError(
            "no change {given} to undo", given=given or "left", mend="`inkchest history` lists the changes"
        )
    where = f"change {change.id}"
    if change.kind == "forget":
        raise ConflictError("what was forgotten cannot come back", where=where, mend="Enter it again")
    if _is_undone(session, change.id):
        raise ConflictError("it was undone already", where=where, mend="Undo that undo instead")
    if not _leaves_anything(session, change.id):
        raise ConflictError("nothing of it is left to undo", where=where, mend="The bin was emptied since")
    return change.id, change.words


def _newest_to_undo(session: Session) -> Change | None:
    query = select(Change).where(Change.kind.in_(("edit", "import"))).order_by(Change.id.desc())
    for change in session.scalars(query.execution_options(yield_per=50)):
        if not _is_undone(session, change.id) and _leaves_anything(session, change.id):
            return change
    return None


def _change_called(session: Session, given: str) -> Change | None:
    is_number = given.isascii() and given.isdigit() and len(given) < 18
    named = Change.id == int(given) if is_number else Change.uid == given
    return session.scalars(select(Change).where(named)).first()


def _leaves_anything(session: Session, change_id: int) -> bool:
    """Return whether a change has edits, or rows that it added and that are not in the bin."""
    if session.scalars(select(Edit.id).where(Edit.change_id == change_id).limit(1)).first() is not None:
        return True
    return any(
        session.scalars(
            select(model.id).where(model.change_id == change_id, model.binned_at.is_(None)).limit(1)
        ).first()
        is not None
        for model in kept_models().values()
    )


def undo(session: Session, change_id: int) -> int:
    """Take a change back whole, inside the session's own change; return how many rows and fields it touched.

    What it added goes to the bin, but for recipes, people and places that something entered later uses: they stay.

    Raises
    ------
    ConflictError
        A later change touched one of its fields, or uses what it added: both values are told.
    NotFoundError
        A row of it is gone for good.
    """
    edits = session.scalars(select(Edit).where(Edit.change_id == change_id).order_by(Edit.id.desc())).all()
    touched: dict[tuple[str, int], Any] = {}
    with session.no_autoflush:  # nothing is written before all of it is back
        for edit in edits:
            row = _take_back(session, edit)
            touched[edit.table_name, edit.row_id] = row
        for row in touched.values():
            refresh(session, row)
            _refuse_clash(session, row)
    _flush(session, change_id)
    going = _added_to_bin(session, change_id)
    _flush(session, change_id)
    for row in touched.values():
        _refuse_dangling(session, row, change_id)
    _stand_again(session, [*touched.values(), *going])
    session.flush()
    return len(edits) + len(going)


def _take_back(session: Session, edit: Edit) -> Any:
    row = session.get(kept_models()[edit.table_name], edit.row_id)
    if row is None:
        raise NotFoundError(
            "{record} is gone for good",
            record=f"{edit.table_name} {edit.row_id}",
            where=f"change {edit.change_id}",
            mend="The bin was emptied since",
        )
    kind = kind_of_row(row)
    is_linked = kind is not None and has_links(kind.noun, edit.column_name)
    if kind is not None and is_linked:
        current: Any = current_links(session, kind.noun, edit.column_name, row.id)
    else:
        current = getattr(row, edit.column_name)
    if current != edit.new:
        raise _changed_again(session, row, edit.column_name, edit.new, current)
    if kind is not None and is_linked:
        write_links(session, kind, row, {edit.column_name: edit.old})
    else:
        setattr(row, edit.column_name, edit.old)
    return row


def _changed_again(session: Session, row: Any, column: str, new: Any, current: Any) -> ConflictError:
    def words(value: Any) -> Any:
        return "empty" if value in (None, "", []) else _value_in_words(session, row.__tablename__, column, value)

    return ConflictError(
        "{field} was changed again: this change made it {new}, it is now {current}",
        field=column.removesuffix("_id"),
        new=words(new),
        current=words(current),
        where=name_of(row),
        mend="Undo the later change first (`inkchest history`), or edit the field",
    )


def _refuse_clash(session: Session, row: Any) -> None:
    kind = kind_of_row(row)
    if kind is not None and row.binned_at is None:
        refuse_taken(session, kind, row)
    if isinstance(row, Drum) and row.binned_at is None and row.machine_id is not None:
        query = select(Drum).where(Drum.machine_id == row.machine_id, Drum.position == row.position, Drum.id != row.id)
        for other in session.scalars(query.where(Drum.binned_at.is_(None))):
            if (other.machine_id, other.position) == (row.machine_id, row.position):  # as it stands in the session
                raise ConflictError(
                    "drum {other} sits in its place now",
                    other=other.number,
                    where=f"drum {row.number}",
                    mend="Take that one off first, or load the drum by hand",
                )


def _flush(session: Session, change_id: int) -> None:
    try:
        session.flush()
    except IntegrityError as exc:
        raise ConflictError(
            "what it would bring back is in the archive again",
            where=f"change {change_id}",
            mend="Remove or rename what was entered since (`inkchest history`)",
        ) from exc


def _refuse_dangling(session: Session, row: Any, change_id: int) -> None:
    """Refuse to bring back a row that refers to one in the bin."""
    if row.binned_at is not None:
        return
    for target in binned_targets(session, row):
        raise ConflictError(
            "{record} would need {target}, which lies in the bin",
            record=name_of(row),
            target=name_of(target),
            where=f"change {change_id}",
            mend="Undo its removal first (`inkchest history`)",
        )


def _stand_again(session: Session, rows: list[Any]) -> None:
    """Choose the standing measurements anew of the swatches that a measurement left or came back to."""
    ids = {row.id for row in rows if isinstance(row, Swatch)}
    ids |= {row.swatch_id for row in rows if isinstance(row, Measurement)}
    binned = {row.id for row in rows if isinstance(row, Swatch) and row.binned_at is not None}
    set_standing(session, sorted(ids - binned))


def _added_to_bin(session: Session, change_id: int) -> list[Any]:
    """Put what a change added in the bin and return it."""
    added = {
        (name, row.id): row
        for name, model in kept_models().items()
        for row in session.scalars(
            select(model).where(model.change_id == change_id, model.binned_at.is_(None)).order_by(model.id)
        )
    }
    _refuse_edited_since(session, change_id, added)
    stays = _used_since(session, change_id, added)
    at = now()
    going = [row for key, row in added.items() if key not in stays]
    for row in going:
        row.binned_at = at
    return going


def _refuse_edited_since(session: Session, change_id: int, added: dict[tuple[str, int], Any]) -> None:
    """Refuse when a later change set a field of an added row to something else."""
    first: dict[tuple[str, int, str], Edit] = {}
    query = select(Edit).where(Edit.change_id > change_id, Edit.table_name.in_({table for table, _ in added}))
    for edit in session.scalars(query.order_by(Edit.id)):
        if (edit.table_name, edit.row_id) in added:
            first.setdefault((edit.table_name, edit.row_id, edit.column_name), edit)
    for (table, row_id, column), edit in first.items():
        row = added[table, row_id]
        kind = kind_of_row(row)
        if kind is not None and has_links(kind.noun, column):
            current: Any = current_links(session, kind.noun, column, row_id)
        else:
            current = getattr(row, column)
        if current != edit.old:
            raise _changed_again(session, row, column, edit.old, current)


def _used_since(session: Session, change_id: int, added: dict[tuple[str, int], Any]) -> set[tuple[str, int]]:
    """Return what was added and must stay, since something else uses it.

    A recipe, a person or a place that came along with other things is shared: it stays. Anything else that is used
    makes the undoing impossible.
    """
    stays: set[tuple[str, int]] = set()
    for table in dict.fromkeys(table for table, _ in added):
        model = kept_models()[table]
        targets = select(model.id).where(model.change_id == change_id, model.binned_at.is_(None))
        for user, target_id in living_users(session, table, targets):
            if (user.__tablename__, user.id) in added:
                continue
            if table not in _SHARED or len(added) == 1:
                raise ConflictError(
                    "{user}, entered later, uses what it added",
                    user=name_of(user),
                    where=f"change {change_id}",
                    mend="Remove or change that first",
                )
            stays.add((table, target_id))
    waiting = [added[key] for key in stays]
    while waiting:  # what stays keeps what it needs
        row = waiting.pop()
        for reference in all_references():
            if isinstance(row, reference.model) and reference.part_of is None:
                key = (reference.target, getattr(row, reference.column.key))
                if key in added and key not in stays:
                    stays.add(key)
                    waiting.append(added[key])
    return stays
