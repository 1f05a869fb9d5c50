"""From what a person types to what a column holds, and back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy import delete, insert, inspect, select
from sqlalchemy.orm import Session

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
    text = str(given).strip()
    if text == "":
        return _empty(kind, item)
    match item.type:
        case "thing":
            return find_record(session, item.kind, text, where=where).id
        case "number" | "whole":
            return _number(item, text, where)
        case "choice":
            return _choice(item, text, where)
        case "day":
            return _day(text, where)
        case "box":
            return _box(text, where)
        case _:
            return text


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
    """Replace the link rows of a record by those given."""
    for name, others in links.items():
        link = _LINKS.get((kind.noun, name))
        if link is None:
            continue
        table, owner, other, amount = link
        session.execute(delete(table).where(owner == row.id))
        rows = [_link_row(row.id, entry, owner, other, amount) for entry in others]
        if rows:
            session.execute(insert(table), rows)


def _link_row(owner_id: int, entry: Any, owner: Any, other: Any, amount: Any) -> dict[str, Any]:
    if amount is None:
        return {owner.key: owner_id, other.key: entry}
    return {owner.key: owner_id, other.key: entry[0], amount.key: entry[1]}


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
        query = select(*columns).join(model, model.id == other).order_by(owner, model.id)
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
            names: dict[int, str] = dict(pairs.tuples().all())
            column = {key: names.get(value) for key, value in column.items()}
        values[item.name] = column
    return values
