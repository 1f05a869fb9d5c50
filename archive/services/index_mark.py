"""What the search index was made of, and which swatches have changed since.

Ids only grow, whoever writes does so one at a time, and every altered column leaves an edit. So the newest ids say
what is newer; nothing is counted, for counting a million rows takes longer than the answer. The uids of the newest
rows tell whether it is still the same history: a database brought back from a backup goes on with the same ids, but
with other uids. Where an edited row is gone for good, or a person was forgotten, it cannot be told what changed.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.models import Change, Edit, Ink, Measurement, Paper, Run, Swatch
from archive.services.evidence import batched
from archive.services.profile import read_profile

Mark = dict[str, Any]
_TABLES: dict[str, Any] = {"change": Change, "measurement": Measurement, "swatch": Swatch}
_UNSEEN = {("recipe", "binned_at")}  # columns of recipes that no swatch's answer depends on


def read_mark(session: Session) -> Mark:
    """Return the newest row of each table that swatches depend on: id and uid, and of edits the id."""
    mark: Mark = {"edit": session.scalar(select(func.max(Edit.id))) or 0}
    for name, table in _TABLES.items():
        newest = session.execute(select(table.id, table.uid).order_by(table.id.desc()).limit(1)).first()
        mark[name] = list(newest or (0, ""))
    return mark


def changed_swatches(session: Session, mark: Mark) -> set[int] | None:
    """Return the ids of the swatches that are newer than the mark or altered since; None when it cannot be told."""
    for name, table in _TABLES.items():
        newest, uid = mark[name]
        if newest and session.scalar(select(table.uid).where(table.id == newest)) != uid:
            return None
    forgotten = select(Change.id).where(Change.id > mark["change"][0], Change.kind == "forget")
    if session.scalar(forgotten.limit(1)) is not None:  # leaves no edits
        return None
    columns = select(Edit.table_name, Edit.row_id, Edit.column_name).where(Edit.id > mark["edit"])
    edited: dict[str, set[int]] = {}
    for table_name, row_id, column in session.execute(columns):
        if (table_name, column) not in _UNSEEN:
            edited.setdefault(table_name, set()).add(row_id)
    if "recipe" in edited:
        return None
    found = edited.get("swatch", set()) | set(session.scalars(select(Swatch.id).where(Swatch.id > mark["swatch"][0])))
    found.update(session.scalars(select(Measurement.swatch_id).where(Measurement.id > mark["measurement"][0])))
    for table_name, query in _OWNERS.items():
        own = _swatches_of(session, *query, edited.get(table_name, set()))
        if own is None:
            return None
        found |= own
    return found


_OWNERS: dict[str, tuple[Any, Any]] = {
    "measurement": (Measurement.id, select(Measurement.id, Measurement.swatch_id)),
    "run": (Run.id, select(Run.id, Swatch.id).outerjoin(Swatch, Swatch.run_id == Run.id)),
}


def _swatches_of(session: Session, key: Any, pairs: Any, edited: set[int]) -> set[int] | None:
    """Return the swatches that hang on edited rows; None when one of the rows is gone, and what hung on it unknown."""
    found, rows = set(), set()
    for ids in batched(sorted(edited)):
        for row_id, swatch_id in session.execute(pairs.where(key.in_(ids))):
            rows.add(row_id)
            found.add(swatch_id)
    return found - {None} if rows == edited else None


def profile_digest(session: Session) -> str:
    """Return a digest of what all swatches depend on: the workshop's profile, the inks and the papers."""
    inks = select(Ink.id, Ink.name, Ink.name_key, Ink.kind).where(Ink.binned_at.is_(None)).order_by(Ink.id)
    papers = select(Paper.id, Paper.name, Paper.origin, Paper.binned_at).order_by(Paper.id)
    facts = [
        read_profile(session),
        [list(row) for row in session.execute(inks)],
        [list(row) for row in session.execute(papers)],
    ]
    return hashlib.sha256(json.dumps(facts, sort_keys=True, default=str).encode()).hexdigest()
