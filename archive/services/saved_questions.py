"""Questions that are kept under a name, to be asked again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold, new_uid, now, sort_key
from archive.catalogue.models import Setting
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.fields import readable
from archive.services.finding import FindOptions

_PREFIX = "question:"  # followed by a uid: a name may hold a person's, and keys are not searched when one is forgotten
_START = FindOptions()


@dataclass(frozen=True, slots=True)
class KeptQuestion:
    """A question by its name; `asks` holds the conditions that it sets."""

    id: int
    uid: str
    name: str
    asks: dict[str, Any]


def keep_question(session: Session, name: str, options: FindOptions) -> KeptQuestion:
    """Keep a question under a name.

    Raises
    ------
    InputError
        The name is empty, or nothing is asked.
    ConflictError
        A question of that name is kept already.
    """
    clean = " ".join(readable(name, "the question's name").split())
    asks = conditions(options)
    if not clean or not asks:
        raise InputError("a kept question has a name and asks something", mend="Write: find --ink INK --keep NAME")
    if _called(session, clean) is not None:
        mend = f"Choose another name, or remove it first: inkchest question remove {clean!r}"
        raise ConflictError("a question called {name} is kept already", name=clean, mend=mend)
    row = Setting(key=f"{_PREFIX}{new_uid()}", value={"name": clean, "asks": asks})
    session.add(row)
    session.flush()
    return _as_question(row)


def conditions(options: FindOptions) -> dict[str, Any]:
    """Return what a question asks, without what it leaves open; how many are shown is no condition."""
    return {
        name: value for name, value in asdict(options).items() if name != "limit" and value != getattr(_START, name)
    }


def kept_question(session: Session, name: str, more: Mapping[str, Any] | None = None) -> FindOptions:
    """Return the question kept under a name; conditions given besides take the place of its own.

    Raises
    ------
    NotFoundError
        None is called that.
    """
    known = {each.name for each in fields(FindOptions)}
    asks = {name: value for name, value in _named(session, name).value["asks"].items() if name in known}
    return FindOptions(**{**asks, **(more or {})})


def list_questions(session: Session) -> list[KeptQuestion]:
    """Return the kept questions, by name."""
    return sorted((_as_question(row) for row in _rows(session)), key=lambda each: sort_key(each.name))


def remove_question(session: Session, name: str) -> KeptQuestion:
    """Put a kept question in the bin and return it.

    Raises
    ------
    NotFoundError
        None is called that.
    """
    row = _named(session, name)
    row.binned_at = now()
    session.flush()
    return _as_question(row)


def _named(session: Session, name: str) -> Setting:
    row = _called(session, name)
    if row is None:
        names = ", ".join(each.name for each in list_questions(session))
        mend = f"These are kept: {names}" if names else "None is kept yet: inkchest find --ink INK --keep NAME"
        raise NotFoundError("no question called {name}", name=name, mend=mend)
    return row


def _called(session: Session, name: str) -> Setting | None:
    return next((row for row in _rows(session) if fold(row.value["name"]) == fold(name)), None)


def _rows(session: Session) -> list[Setting]:
    query = select(Setting).where(Setting.key.startswith(_PREFIX), Setting.binned_at.is_(None))
    return list(session.scalars(query.order_by(Setting.id)))


def _as_question(row: Setting) -> KeptQuestion:
    return KeptQuestion(row.id, row.uid, row.value["name"], row.value["asks"])
