"""All that anyone said of a fact; the record's own column holds the standing one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold, today
from archive.catalogue.models import Claim, Person
from archive.errors import InputError
from archive.services.fields import readable
from archive.services.kinds import kind_of
from archive.services.lookup import find_record
from archive.services.records import edit_record, in_words, show_record

BASES = ("stated", "observed", "inferred", "unknown")


@dataclass(frozen=True, slots=True)
class ClaimSummary:
    """What somebody said of a fact."""

    id: int
    uid: str
    field: str
    value: str
    basis: str
    by: str | None
    said_on: str | None
    words: str
    is_standing: bool
    contradicted: bool


@dataclass(frozen=True, slots=True)
class Saying:
    """A claim to be written: the fact, how it is known, by whom, when, in what words."""

    field: str
    value: str
    basis: str = "stated"
    by: str | None = None
    said_on: str | None = None
    words: str = ""


def add_claim(session: Session, noun: str, ref: str, saying: Saying, *, stands: bool = False) -> ClaimSummary:
    """Write a claim beside what was said before; both are kept.

    Where the fact is a field of the record, the field holds the claim that stands. A claim stands when it is told to,
    or when nothing else is known of the fact.

    Raises
    ------
    InputError
        The basis is no word for it, nothing is said, or the field cannot hold what is said.
    """
    row = find_record(session, noun, ref)
    field = _field_of(noun, saying.field)
    if field is not None:
        held = _held(session, noun, row.uid, field)
        stands = stands or held == ""
        if stands and saying.basis != "unknown":
            edit_record(session, noun, row.uid, {field: saying.value})
    claim = _write(session, row.__tablename__, row.id, saying, stands=stands)
    if field is not None and not stands:
        claim.is_standing = _held(session, noun, row.uid, field) == in_words(saying.value)
    session.flush()
    return next(each for each in list_claims(session, noun, ref) if each.id == claim.id)


def _field_of(noun: str, name: str) -> str | None:
    """Return the record's own field that a claim speaks of, if it is one of a single value."""
    for field in kind_of(noun).fields:
        if field.name == name and field.type not in ("things", "parts", "flag") and not field.column.startswith("@"):
            return field.name
    return None


def _held(session: Session, noun: str, ref: str, field: str) -> str:
    return in_words(show_record(session, noun, ref).facts[field])


def note_claims(session: Session, table: str, row_id: int, sayings: list[Saying]) -> None:
    """Write claims on a row that now holds what they say, so that they stand."""
    for saying in sayings:
        _write(session, table, row_id, saying, stands=True)


def _write(session: Session, table: str, row_id: int, saying: Saying, *, stands: bool) -> Claim:
    where = f"claim on {saying.field or 'a fact'}"
    if saying.basis not in BASES:
        raise InputError("{basis} is no basis", basis=saying.basis, mend="Use " + ", ".join(BASES))
    if not saying.field.strip() or not (saying.value.strip() or saying.basis == "unknown"):
        raise InputError(
            "a claim names a fact and its value", mend='For example --field order --value "Dockrope first"'
        )
    same = session.scalars(
        select(Claim).where(
            Claim.subject_table == table,
            Claim.subject_id == row_id,
            Claim.field == saying.field,
            Claim.binned_at.is_(None),
        )
    ).all()
    if stands:
        for other in same:
            other.is_standing = False
    claim = Claim(
        subject_table=table,
        subject_id=row_id,
        field=saying.field,
        value=readable(saying.value, where),
        basis=saying.basis,
        person_id=person_named(session, saying.by) if saying.by else None,
        said_on=_day(saying.said_on, where),
        words=readable(saying.words, where),
        is_standing=stands or not any(other.is_standing for other in same),
    )
    session.add(claim)
    return claim


def _day(text: str | None, where: str) -> str:
    if not text:
        return today().isoformat()
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as exc:
        raise InputError("{text} is no day", text=text, where=where, mend="Write it as 2024-05-31") from exc


def person_named(session: Session, name: str) -> int:
    """Return the id of the person of that name, added when new."""
    person = session.scalars(select(Person).where(Person.name_key == fold(name), Person.binned_at.is_(None))).first()
    if person is None:
        clean = " ".join(readable(name, "person, name").split())
        person = Person(name=clean, name_key=fold(clean))
        session.add(person)
        session.flush()
    return person.id


def list_claims(session: Session, noun: str, ref: str) -> list[ClaimSummary]:
    """Return all that was said of a record, by fact, the standing one first."""
    row = find_record(session, noun, ref)
    query = (
        select(Claim, Person.name)
        .outerjoin(Person, Person.id == Claim.person_id)
        .where(Claim.subject_table == row.__tablename__, Claim.subject_id == row.id, Claim.binned_at.is_(None))
        .order_by(Claim.field, Claim.is_standing.desc(), Claim.id)
    )
    found = session.execute(query).all()
    values: dict[str, set[str]] = {}
    for claim, _ in found:
        values.setdefault(claim.field, set()).add(fold(claim.value))
    return [
        ClaimSummary(
            claim.id,
            claim.uid,
            claim.field,
            claim.value,
            claim.basis,
            by,
            claim.said_on,
            claim.words,
            claim.is_standing,
            len(values[claim.field]) > 1,
        )
        for claim, by in found
    ]
