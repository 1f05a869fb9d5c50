"""Add, list, show, edit and remove records of any kind, from what a person typed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.base import Kept
from archive.catalogue.identity import sort_key
from archive.errors import ArchiveError, ConflictError, InputError
from archive.services import rules
from archive.services.fields import linked_values, parsed, shown, write_links
from archive.services.kinds import Field, Kind, kind_of, with_article
from archive.services.lookup import find_record


@dataclass(frozen=True, slots=True)
class Record:
    """One record as plain values; `facts` has a value for each of its kind's fields."""

    noun: str
    id: int
    uid: str
    label_name: str
    label: str
    facts: dict[str, Any] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Return the record as one flat JSON object."""
        facts = {name.replace("-", "_"): value for name, value in self.facts.items()}
        if self.label_name == "path":  # a place keeps its own name beside its whole path
            return {"id": self.id, "uid": self.uid, "ref": self.label, **facts}
        head = {"id": self.id, "uid": self.uid}
        if self.label_name != "uid":
            head[self.label_name] = self.label
        return {**head, **facts}


def add_record(session: Session, noun: str, label: str | None, values: Mapping[str, Any]) -> Record:
    """Add a record and return it; what is not given stays unknown or takes its start value.

    Raises
    ------
    InputError, NotFoundError, ConflictError
        A value cannot be read, names nothing, or the label is taken.
    """
    kind = kind_of(noun)
    row = kind.model()
    _apply_defaults(row)
    links = _set_fields(session, kind, row, values)
    with session.no_autoflush:  # a row is written when it is complete, not half-way through its rules
        rules.prepare(session, kind, row, label, links)
        refuse_taken(session, kind, row)
    session.add(row)
    session.flush()
    write_links(session, kind, row, links)
    rules.after_add(session, kind, row, links)
    session.flush()
    return as_record(session, kind, row)


def edit_record(
    session: Session,
    noun: str,
    ref: str,
    values: Mapping[str, Any],
    *,
    seen: Mapping[str, str] | None = None,
    new_label: str | None = None,
) -> Record:
    """Change the fields given and return the record.

    Parameters
    ----------
    seen : mapping of field to text, optional
        What the person saw in a field before editing it.

    Raises
    ------
    ConflictError
        Somebody changed a seen field meanwhile; both values are told.
    """
    kind = kind_of(noun)
    row = find_record(session, noun, ref)
    _refuse_stale(session, kind, row, values, seen or {})
    links = _set_fields(session, kind, row, values)
    with session.no_autoflush:
        rules.prepare(session, kind, row, new_label, links)
        refuse_taken(session, kind, row)
    session.flush()
    write_links(session, kind, row, links)
    rules.after_edit(session, kind, row)
    session.flush()
    return as_record(session, kind, row)


def show_record(session: Session, noun: str, ref: str) -> Record:
    """Return one record."""
    return as_record(session, kind_of(noun), find_record(session, noun, ref))


def list_records(session: Session, noun: str) -> list[Record]:
    """Return every living record of a kind, in the order of their names."""
    kind = kind_of(noun)
    model: Any = kind.model
    rows = session.scalars(select(model).where(model.binned_at.is_(None)).order_by(model.id)).all()
    return as_records(session, kind, sorted(rows, key=lambda row: sort_key(str(getattr(row, kind.label)))))


def as_record(session: Session, kind: Kind, row: Kept) -> Record:
    """Return a live row as plain values."""
    return as_records(session, kind, [row])[0]


def as_records(session: Session, kind: Kind, rows: Sequence[Any]) -> list[Record]:
    """Return live rows as plain values, looking names up once for all."""
    links = linked_values(session, kind, rows)
    names = shown(session, kind, rows)
    return [
        Record(
            kind.noun,
            row.id,
            row.uid,
            kind.label,
            str(getattr(row, kind.label)),
            {
                item.name: links[item.name].get(row.id, []) if item.name in links else names[item.name].get(row.id)
                for item in kind.fields
                if not item.column.startswith("@")
            },
        )
        for row in rows
    ]


def _apply_defaults(row: Kept) -> None:
    for column in type(row).__table__.columns:
        default = column.default
        if default is not None and default.is_scalar and getattr(row, column.key) is None:
            setattr(row, column.key, default.arg)


def _set_fields(session: Session, kind: Kind, row: Kept, values: Mapping[str, Any]) -> dict[str, Any]:
    """Set the row's columns and return what belongs in rows of its own; all is read before anything is set."""
    fields = [(kind.field(name), given) for name, given in values.items()]
    read = [(item, parsed(session, kind, item, given)) for item, given in fields]
    links: dict[str, Any] = {}
    for item, value in read:
        if item.type in ("things", "parts") or item.column.startswith("@"):
            links[item.name] = value
        else:
            setattr(row, item.stored_as, value)
    return links


def _refuse_stale(session: Session, kind: Kind, row: Any, values: Mapping[str, Any], seen: Mapping[str, str]) -> None:
    """Refuse to write over what somebody else wrote since; the later writer gets both values."""
    if not seen:
        return
    record = as_record(session, kind, row)
    for name, old in seen.items():
        item = kind.field(name)
        current = record.facts.get(item.name)
        if _is_as_seen(session, kind, item, row, current, old):
            continue
        raise ConflictError(
            "{field} was changed meanwhile: it was {old}, is now {current}, and you wanted {new}",
            field=name,
            old=old or "empty",
            current=in_words(current) or "empty",
            new=in_words(values[name]) if name in values else "no change",
            where=f"{kind.noun} {record.label}",
            mend="Look at both, then edit again",
        )


def _is_as_seen(session: Session, kind: Kind, item: Field, row: Any, current: Any, seen: str) -> bool:
    if seen.strip() == in_words(current):
        return True
    if item.type in ("things", "parts") or item.column.startswith("@"):
        return False
    if item.type == "flag":
        return (seen.strip().casefold() in ("yes", "true", "1")) == bool(current)
    try:
        return bool(parsed(session, kind, item, seen) == getattr(row, item.stored_as))
    except ArchiveError:  # what was seen is no value any more: it was changed, or the record it named is gone
        return False


def in_words(value: Any) -> str:
    """Return a fact as a person reads it; the unknown is empty."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float():
            return f"{value:g}"
        case list() | tuple():
            return ", ".join(in_words(each) for each in value)
        case dict():
            name, *rest = value.values()
            return f"{name} ({', '.join(in_words(each) for each in rest)})"
        case _:
            return str(value)


def refuse_taken(session: Session, kind: Kind, row: Any) -> None:
    """Refuse a name that another living record of the kind has.

    Raises
    ------
    InputError, ConflictError
        It has no name, or the name is taken.
    """
    if kind.key is None:
        return
    model: Any = kind.model
    key = getattr(row, kind.key)
    if not key:
        raise InputError("{noun} needs a {label}", noun=with_article(kind.noun), label=kind.label, mend="Give it one")
    with session.no_autoflush:
        taken = session.scalars(
            select(model).where(getattr(model, kind.key) == key, model.binned_at.is_(None), model.id != (row.id or 0))
        ).first()
    if taken is not None:
        raise ConflictError(
            "there is {noun} called {name} already",
            noun=with_article(kind.noun),
            name=getattr(taken, kind.label),
            where=f"{kind.noun} {taken.uid}",
            mend="Choose another name, or edit that one",
        )
