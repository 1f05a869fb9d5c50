"""Forgetting a person: the name leaves the records, the claims and the history."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from archive.catalogue.base import Base
from archive.catalogue.history import current_change
from archive.catalogue.identity import fold
from archive.catalogue.models import Change, Edit, Person, User, Work, WorkPerson
from archive.services.lookup import find_record
from archive.services.rules import write_search_text

_FREE_TEXT = {"note", "words", "value", "edition", "lies_at", "search_text"}


def forget_person(session: Session, name: str) -> int:
    """Replace a person's name everywhere, history included, and return how many places held it.

    The person's part in works stays, as "forgotten person N". It cannot be undone. The session's act must be of
    the kind "forget", which leaves no old values behind.

    Raises
    ------
    NotFoundError
        Nobody is called that.
    """
    person: Person = find_record(session, "person", name)
    current_change(session)  # the act leaves its line in the history, without the name
    old = person.name
    new = f"forgotten person {person.id}"
    works = list(
        session.scalars(
            select(Work).join(WorkPerson, WorkPerson.work_id == Work.id).where(WorkPerson.person_id == person.id)
        )
    )
    person.name, person.name_key, person.note = new, fold(new), ""
    touched = 1 + _scrub_texts(session, old, new) + _scrub_edits(session, old, new)
    for user in session.scalars(select(User).where(User.name_key == fold(old))):
        user.name, user.name_key = new, fold(new)
        touched += 1
    session.flush()
    for work in works:
        write_search_text(session, work)
    session.flush()
    return touched


def _scrub_texts(session: Session, old: str, new: str) -> int:
    """Replace the name in every free text of the archive, whatever its case."""
    touched = 0
    for table in Base.metadata.tables.values():
        for column in table.columns:
            if column.name not in _FREE_TEXT:
                continue
            if column.table.name in ("setting", "fact", "person"):
                continue
            key = list(table.primary_key.columns)
            rows = session.execute(select(*key, column).where(func.length(column) >= len(old))).all()
            for *ids, text in rows:
                if not isinstance(text, str) or old.casefold() not in text.casefold():
                    continue
                match = [part == value for part, value in zip(key, ids, strict=True)]
                session.execute(update(table).where(*match).values({column.name: _replaced(text, old, new)}))
                touched += 1
    return touched


def _replaced(text: str, old: str, new: str) -> str:
    found = text.casefold().find(old.casefold())
    while found >= 0:
        text = text[:found] + new + text[found + len(old) :]
        found = text.casefold().find(old.casefold(), found + len(new))
    return text


def _scrub_edits(session: Session, old: str, new: str) -> int:
    touched = 0
    for edit in session.scalars(select(Edit)):
        changes: dict[str, Any] = {}
        for side in ("old", "new"):
            text = json.dumps(getattr(edit, side), ensure_ascii=False)
            if old.casefold() in text.casefold():
                changes[side] = json.loads(_replaced(text, old, new))
        for side, value in changes.items():
            setattr(edit, side, value)
            touched += 1
    for change in session.scalars(select(Change)):
        if old.casefold() in change.words.casefold():
            change.words = _replaced(change.words, old, new)
            touched += 1
    return touched
