"""What people who can still be reached are to be asked; what they answer is kept as a claim, with their name."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import today
from archive.catalogue.models import Claim, Inquiry, Person
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.claims import Saying, add_claim, person_named
from archive.services.fields import readable
from archive.services.kinds import KINDS, kind_of
from archive.services.lookup import find_record

NOBODY_LEFT = "nobody left"


@dataclass(frozen=True, slots=True)
class InquirySummary:
    """One thing to ask: of which record, which fact, of whom, and what came of it."""

    id: int
    uid: str
    noun: str
    record: str
    field: str
    words: str
    person: str | None
    asked_on: str
    state: str
    answer: str | None


def add_inquiry(
    session: Session, noun: str, ref: str, field: str, words: str = "", person: str | None = None
) -> InquirySummary:
    """Note that somebody is to be asked for a fact of a record.

    Raises
    ------
    InputError
        No fact is named.
    ConflictError
        The same is being asked of the same person already.
    """
    row = find_record(session, noun, ref)
    fact = " ".join(readable(field, "inquiry, fact").split())
    if not fact:
        raise InputError("which fact is asked for?", mend="Name it: title, date, inks, paper, maker")
    person_id = person_named(session, person) if person else None
    query = select(Inquiry).where(
        Inquiry.subject_table == row.__tablename__,
        Inquiry.subject_id == row.id,
        Inquiry.field == fact,
        Inquiry.state == "open",
        Inquiry.binned_at.is_(None),
    )
    same = next((each for each in session.scalars(query) if each.person_id == person_id), None)
    if same is not None:
        raise ConflictError(
            "that is being asked already", where=f"inquiry {same.uid}", mend="See `inkchest inquiry list`"
        )
    inquiry = Inquiry(
        subject_table=row.__tablename__,
        subject_id=row.id,
        field=fact,
        words=readable(words, "inquiry, words").strip(),
        person_id=person_id,
        asked_on=today().isoformat(),
    )
    session.add(inquiry)
    session.flush()
    return _summary(session, inquiry)


def list_inquiries(session: Session, *, state: str | None = "open", person: str | None = None) -> list[InquirySummary]:
    """Return what is to be asked, by person and record; of one state, or of all."""
    query = select(Inquiry).where(Inquiry.binned_at.is_(None)).order_by(Inquiry.id)
    if state is not None:
        query = query.where(Inquiry.state == state)
    if person is not None:
        query = query.where(Inquiry.person_id == find_record(session, "person", person).id)
    found = [_summary(session, inquiry) for inquiry in session.scalars(query).all()]
    return sorted(found, key=lambda each: (each.person or "", each.noun, each.record, each.id))


def answer_inquiry(
    session: Session, uid: str, value: str, *, said_by: str | None = None, said_on: str | None = None, words: str = ""
) -> InquirySummary:
    """Keep an answer as a claim by the one who gave it; the record takes it where nothing else was known.

    Raises
    ------
    NotFoundError, ConflictError, InputError
        No such inquiry, it is answered already, or the field cannot hold what was said.
    """
    inquiry = _open(session, uid)
    by = said_by or _name(session, inquiry.person_id)
    return _settle(session, inquiry, Saying(inquiry.field, value, "stated", by, said_on, words), "answered")


def nobody_left(session: Session, uid: str, *, words: str = "") -> InquirySummary:
    """Keep that a fact is unknown and nobody is left to ask: it is not asked for again.

    Raises
    ------
    NotFoundError, ConflictError
        No such inquiry, or it is answered already.
    """
    inquiry = _open(session, uid)
    return _settle(
        session, inquiry, Saying(inquiry.field, "", "unknown", None, None, words or NOBODY_LEFT), NOBODY_LEFT
    )


def _settle(session: Session, inquiry: Inquiry, saying: Saying, state: str) -> InquirySummary:
    noun, row_uid, _ = _record(session, inquiry)
    claim = add_claim(session, noun, row_uid, saying)
    inquiry.claim_id, inquiry.state = claim.id, state
    session.flush()
    return _summary(session, inquiry)


def _open(session: Session, uid: str) -> Inquiry:
    inquiry = session.scalars(select(Inquiry).where(Inquiry.uid == uid.strip(), Inquiry.binned_at.is_(None))).first()
    if inquiry is None:
        raise NotFoundError("no inquiry {uid}", uid=uid, mend="See `inkchest inquiry list`")
    if inquiry.state != "open":
        raise ConflictError(
            "it is settled already: {state}",
            state=inquiry.state,
            where=f"inquiry {uid}",
            mend="Write what is said now with `inkchest claim add`",
        )
    return inquiry


def _record(session: Session, inquiry: Inquiry) -> tuple[str, str, str]:
    noun = next(kind.noun for kind in KINDS.values() if kind.model.__tablename__ == inquiry.subject_table)
    kind = kind_of(noun)
    row = session.get_one(kind.model, inquiry.subject_id)
    return noun, row.uid, str(getattr(row, kind.label))


def _name(session: Session, person_id: int | None) -> str | None:
    return session.get_one(Person, person_id).name if person_id is not None else None


def _summary(session: Session, inquiry: Inquiry) -> InquirySummary:
    noun, _, label = _record(session, inquiry)
    claim = session.get(Claim, inquiry.claim_id) if inquiry.claim_id else None
    return InquirySummary(
        inquiry.id,
        inquiry.uid,
        noun,
        label,
        inquiry.field,
        inquiry.words,
        _name(session, inquiry.person_id),
        inquiry.asked_on,
        inquiry.state,
        claim.value if claim is not None and claim.value else None,
    )
