"""Forgetting a person: the name leaves the records, the claims and the history."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import CheckConstraint, Column, Table, delete, select, update
from sqlalchemy.orm import Session

from archive.catalogue.base import Base, JsonText
from archive.catalogue.history import current_change
from archive.catalogue.identity import fold
from archive.catalogue.models import Change, Edit, Person, User
from archive.services.lookup import find_record

# A word with the accents that some programs write as letters of their own.
_WORD = re.compile(r"[\w\u0300-\u036f]+")
# What no name stands in: identities, words of ours, and the house's own names for its things.
_NOT_WORDS = {
    *("uid", "sha256", "phash", "fingerprint", "key", "at", "binned_at", "schema_revision", "table_name"),
    *("column_name", "subject_table", "field", "media_type", "colour_path", "condition", "method"),
}
_HOUSE_WORDS = {"ink", "paper", "machine", "drum"}
_NAMES = {"person", "user_name"}  # somebody else's name may hold this one: only a whole name is replaced


def forget_person(session: Session, name: str) -> int:
    """Replace a person's name everywhere, history included, and return how many places held it.

    Also a name that the person had before. The person's part in works stays, as "forgotten person N". It cannot be
    undone. The session's act must be of the kind "forget", which leaves no old values behind. Names of inks, papers,
    machines and drums stay, and so do originals and backups.

    Raises
    ------
    NotFoundError
        Nobody is called that.
    """
    person: Person = find_record(session, "person", name)
    current_change(session)  # the act leaves its line in the history, without the name
    new = f"forgotten person {person.id}"
    names = [_words(each) for each in _names_of(session, person)]
    session.execute(delete(Edit).where(Edit.table_name == "person", Edit.row_id == person.id))
    person.note = ""
    session.flush()
    _one_user(session, names)
    touched = sum(
        _scrub(session, table, column, names, new)
        for table in Base.metadata.sorted_tables
        for column in _columns_with_words(table)
    )
    session.expire_all()
    return touched


def _names_of(session: Session, person: Person) -> list[str]:
    """Return the person's name and those it was changed from, the longest first."""
    edits = select(Edit.old, Edit.new).where(
        Edit.table_name == "person", Edit.row_id == person.id, Edit.column_name == "name"
    )
    names = {person.name, *(name for pair in session.execute(edits) for name in pair if name)}
    return sorted(names, key=lambda each: (-len(each), each))


def _one_user(session: Session, names: Sequence[list[str]]) -> None:
    """Make one user of those that the names belong to."""
    users = [user for user in session.scalars(select(User).order_by(User.id)) if _words(user.name) in names]
    for other in users[1:]:
        session.execute(update(Change).where(Change.user_id == other.id).values(user_id=users[0].id))
        session.delete(other)
    session.flush()


def _columns_with_words(table: Table) -> Iterator[Column[Any]]:
    enumerated = {
        rule.name.removesuffix("_word").rpartition(f"ck_{table.name}_")[2]
        for rule in table.constraints
        if isinstance(rule, CheckConstraint) and isinstance(rule.name, str) and rule.name.endswith("_word")
    }
    for column in table.columns:
        is_text = isinstance(column.type, JsonText) or column.type.python_type is str
        if is_text and table.name not in _HOUSE_WORDS and column.name not in _NOT_WORDS | enumerated:
            yield column


def _scrub(session: Session, table: Table, column: Column[Any], names: Sequence[list[str]], new: str) -> int:
    keys = list(table.primary_key.columns)
    is_name = table.name in _NAMES and column.name in ("name", "name_key")
    touched = 0
    for *ids, value in session.execute(select(*keys, column).where(column.is_not(None))).all():
        if is_name and _words(value) not in names:
            continue
        clean = _without(value, names, new)
        if clean != value:
            here = [key == part for key, part in zip(keys, ids, strict=True)]
            session.execute(update(table).where(*here).values({column: clean}))
            touched += 1
    return touched


def _without(value: Any, names: Sequence[list[str]], new: str) -> Any:
    """Return a value with the names replaced, in JSON at any depth."""
    if isinstance(value, str):
        for words in names:
            value = _replaced(value, words, new)
        return value
    if isinstance(value, list):
        return [_without(each, names, new) for each in value]
    if isinstance(value, dict):
        return {_without(key, names, new): _without(each, names, new) for key, each in value.items()}
    return value


def _words(text: str) -> list[str]:
    return [fold(found.group()) for found in _WORD.finditer(text)]


def _replaced(text: str, words: Sequence[str], new: str) -> str:
    """Return the text with the words, one after the other in any case and accents, replaced; "Art" is not "Artist"."""
    found = list(_WORD.finditer(text))
    folded = [fold(each.group()) for each in found]
    parts, end, place = [], 0, 0
    while words and place + len(words) <= len(found):
        if folded[place : place + len(words)] == list(words):
            parts += [text[end : found[place].start()], new]
            end = found[place + len(words) - 1].end()
            place += len(words)
        else:
            place += 1
    return "".join([*parts, text[end:]])
