"""From what a person types to what a column holds, and back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy import delete, insert, inspect, select
from sqlalchemy.orm import Session

from archive.catalogue.history import note_edit
from archive.catalogue.models import (
    DrumFit,
    Filling,
    Ink,
    Machine,
    MixPart,
    Person,
    RunFilling,
    WorkPerson,
)
from archive.errors import InputError
from archive.services.kinds import Field, Kind, kind_of
from archive.services.lookup import find_record

# field -> (link table, owner column, other column, amount column or None)
_LINKS: dict[tuple[str, str], tuple[Any, Any, Any, Any]] = {
    ("drum", "fits"): (DrumFit, DrumFit.drum_id, DrumFit.machine_id, None),
    ("filling", "mix"): (MixPart, MixPart.filling_id, MixPart.ink_id, MixPart.parts),
    ("run", "filling"): (RunFilling, RunFilling.run_id, RunFilling.filling_id, None),
    ("work", "maker"): (WorkPerson, WorkPerson.work_id, WorkPerson.person_id, WorkPerson.role),
}
_OTHER = {
    ("drum", "fits"): Machine,
    ("filling", "mix"): Ink,
    ("run", "filling"): Filling,
    ("work", "maker"): Person,
}


def parsed(session: Session, kind: Kind, item: Field, given: Any) -> Any:
    """Return what the column holds for what a person gave; empty text is unknown.

    Raises
    ------
    InputError, NotFoundError
        The value cannot be read, or names nothing.
    """
    where = f"{kind.noun}, {item.name}"
    if item.type == "things":
        return [find_record(session, item.kind, text, where=where).id for text in given]
    if item.type == "parts":
        return [_part(session, item, text, where) for text in given]
    if item.type == "flag":
        return bool(given)
    text = readable(str(given), where)
    if text == "":
        return _empty(kind, item)
    match item.type:
        case "thing":
            return find_record(session, item.kind, text, where=where).id
        case "number" | "whole":
            return _within(kind, item, _number(item, text, where), where)
        case "choice":
            return _choice(item, text, where)
        case "day":
            return _day(text, where)
        case "box":
            return _box(text, where)
        case _:
            return text


def readable(text: str, where: str) -> str:
    """Return the text without outer spaces, refusing what no database keeps.

    Raises
    ------
    InputError
        It holds a NUL, or bytes that are no text.
    """
    if "\x00" in text or any("\ud800" <= letter <= "\udfff" for letter in text):
        raise InputError("it holds bytes that are no text", where=where, mend="Type it again, in UTF-8")
    return text.strip()


def _empty(kind: Kind, item: Field) -> Any:
    if item.column.startswith("@"):
        return None
    column = inspect(kind.model).columns[item.stored_as]
    if column.nullable:
        return None
    return getattr(column.default, "arg", "")


def _number(item: Field, text: str, where: str) -> float | int:
    try:
        number = float(text.replace(",", "."))
        if number != number or abs(number) > 1e9:
            raise ValueError(text)
        if item.type == "number":
            return number
        if number != int(number):
            raise ValueError(text)
        return int(number)
    except ValueError as exc:
        kind = "whole number" if item.type == "whole" else "number"
        raise InputError("{text} is no {kind}", text=text, kind=kind, where=where, mend="Give digits") from exc


def _within(kind: Kind, item: Field, number: float, where: str) -> float:
    for rule in kind.model.__table__.constraints:  # type: ignore[attr-defined]
        column, low, high = rule.info.get("range", ("", 0, 0))
        if column == item.stored_as and not low <= number <= high:
            raise InputError(
                "{number:g} is out of range", number=number, where=where, mend=f"It goes from {low:g} to {high:g}"
            )
    return number


def _choice(item: Field, text: str, where: str) -> str:
    word = text.casefold()
    for choice in item.choices:
        if choice.casefold() == word:
            return choice
    raise InputError(
        "{text} is none of the words for it", text=text, where=where, mend="Use " + ", ".join(item.choices)
    )


def _day(text: str, where: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as exc:
        raise InputError("{text} is no day", text=text, where=where, mend="Write it as 2024-05-31") from exc


def _box(text: str, where: str) -> list[float]:
    try:
        numbers = [float(part) for part in text.split(",")]
        x, y, width, height = numbers
        if min(numbers) < 0 or not (0 < width <= 100 - x and 0 < height <= 100 - y):
            raise ValueError(text)
    except ValueError as exc:
        raise InputError(
            "{text} is no region",
            text=text,
            where=where,
            mend="Give left, top, width, height in percent of the sheet: 0,50,100,50 is its lower half",
        ) from exc
    return [number / 100 for number in numbers]


def _part(session: Session, item: Field, text: str, where: str) -> tuple[int, Any]:
    name, _, amount = text.partition("=")
    other = find_record(session, item.kind, name, where=where).id
    if item.kind == "person":
        return other, amount.strip() or "maker"
    return other, _number(Field(item.name, "number", ""), amount.strip() or "1", where)


def write_links(session: Session, kind: Kind, row: Any, links: dict[str, Any]) -> None:
    """Replace the link rows of a record by those given, leaving the trace of what was there."""
    for name, others in links.items():
        link = _LINKS.get((kind.noun, name))
        if link is None:
            continue
        table, owner, other, amount = link
        old = current_links(session, kind.noun, name, row.id)
        session.execute(delete(table).where(owner == row.id))
        rows = _link_rows(row.id, others, owner, other, amount)
        if rows:
            session.execute(insert(table), rows)
        note_edit(session, row, name, old, current_links(session, kind.noun, name, row.id))


def has_links(noun: str, name: str) -> bool:
    """Return whether a field is kept in link rows of its own."""
    return (noun, name) in _LINKS


def current_links(session: Session, noun: str, name: str, row_id: int) -> list[Any]:
    """Return what a record is linked to, as `write_links` takes it: ids, or pairs of an id and an amount."""
    _, owner, other, amount = _LINKS[noun, name]
    if amount is None:
        return list(session.scalars(select(other).where(owner == row_id).order_by(other)))
    return [
        list(pair) for pair in session.execute(select(other, amount).where(owner == row_id).order_by(other, amount))
    ]


def links_in_words(session: Session, noun: str, name: str, links: Sequence[Any] | None) -> str:
    """Return links, as `current_links` gives them, the way a person reads them: "Wren Tallow (artist)"."""
    model: Any = _OTHER[noun, name]
    label = kind_of(kind_of(noun).field(name).kind).label
    words = []
    for link in links or ():
        other_id, amount = link if isinstance(link, list) else (link, None)
        row = session.get(model, other_id)
        text = str(getattr(row, label)) if row is not None else f"{model.__tablename__} {other_id}"
        words.append(text if amount is None else f"{text} ({amount:g})" if name == "mix" else f"{text} ({amount})")
    return ", ".join(words)


def _link_rows(owner_id: int, entries: Sequence[Any], owner: Any, other: Any, amount: Any) -> list[dict[str, Any]]:
    """Return the rows to insert; the same link twice is one, and the later amount holds."""
    rows: dict[Any, dict[str, Any]] = {}
    for entry in entries:
        other_id, value = entry if amount is not None else (entry, None)
        # one person may have several parts in a work; an ink is in a mix once
        key = (other_id, value) if amount is WorkPerson.role else other_id
        rows[key] = {owner.key: owner_id, other.key: other_id} | ({amount.key: value} if amount is not None else {})
    return list(rows.values())


def linked_values(session: Session, kind: Kind, rows: Sequence[Any]) -> dict[str, dict[int, list[Any]]]:
    """Return, for each field of linked records, the names (and amounts) by row id."""
    found: dict[str, dict[int, list[Any]]] = {}
    ids = [row.id for row in rows]
    for (noun, name), (_, owner, other, amount) in _LINKS.items():
        if noun != kind.noun:
            continue
        model: Any = _OTHER[noun, name]
        label = getattr(model, kind_of(kind.field(name).kind).label)
        columns = [owner, label] if amount is None else [owner, label, amount]
        query = select(*columns).join(model, model.id == other).order_by(owner, model.id, *columns[2:])
        if len(ids) == 1:
            query = query.where(owner == ids[0])
        by_row: dict[int, list[Any]] = defaultdict(list)
        for owner_id, text, *rest in session.execute(query):
            key = "role" if name == "maker" else "parts"
            by_row[owner_id].append({"name": text, key: rest[0]} if rest else text)
        found[name] = by_row
    return found


def shown(session: Session, kind: Kind, rows: Sequence[Any]) -> dict[str, dict[int, Any]]:
    """Return, for each field, what is shown for each row id: names for other records, values else."""
    values: dict[str, dict[int, Any]] = {}
    for item in kind.fields:
        if item.type in ("things", "parts") or item.column.startswith("@"):
            continue
        column = {row.id: getattr(row, item.stored_as) for row in rows}
        if item.type == "thing":
            other = kind_of(item.kind)
            model: Any = other.model
            wanted = {value for value in column.values() if value is not None}
            pairs = session.execute(select(model.id, getattr(model, other.label)).where(model.id.in_(wanted)))
            names: dict[int, str] = dict(pairs.all())
            column = {key: names.get(value) for key, value in column.items()}
        values[item.name] = column
    return values
