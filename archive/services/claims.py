"""All that anyone said of a fact; the record's own column holds the standing one."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold, today
from archive.catalogue.models import Claim, Person
from archive.errors import InputError
from archive.services.lookup import find_record

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

    Raises
    ------
    InputError
        The basis is no word for it, or nothing is said.
    """
    row = find_record(session, noun, ref)
    claim = _write(session, row.__tablename__, row.id, saying, stands=stands)
    session.flush()
    return next(each for each in list_claims(session, noun, ref) if each.id == claim.id)


def note_claims(session: Session, table: str, row_id: int, sayings: list[Saying]) -> None:
    """Write claims on a row that is known, as the standing ones when none stands yet."""
    for saying in sayings:
        _write(session, table, row_id, saying, stands=False)


def _write(session: Session, table: str, row_id: int, saying: Saying, *, stands: bool) -> Claim:
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
        value=saying.value,
        basis=saying.basis,
        person_id=person_named(session, saying.by) if saying.by else None,
        said_on=saying.said_on or today().isoformat(),
        words=saying.words,
        is_standing=stands or not any(other.is_standing for other in same),
    )
    session.add(claim)
    return claim


def person_named(session: Session, name: str) -> int:
    """Return the id of the person of that name, added when new."""
    person = session.scalars(select(Person).where(Person.name_key == fold(name), Person.binned_at.is_(None))).first()
    if person is None:
        person = Person(name=" ".join(name.split()), name_key=fold(name))
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
