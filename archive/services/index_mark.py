"""What the search index was made of, and which swatches have changed since.

Ids only grow, and nothing is deleted but by undoing or forgetting. So the newest ids and the numbers of rows say
what is newer; a number that does not fit, a change that was undone, or an altered recipe means: make it anew.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.models import Change, Edit, Ink, Measurement, Paper, Swatch
from archive.services.profile import read_profile

_TABLES: dict[str, Any] = {"change": Change, "edit": Edit, "measurement": Measurement, "swatch": Swatch}


def read_mark(session: Session) -> dict[str, list[int]]:
    """Return the newest id and the number of rows of each table that swatches depend on."""
    mark = {}
    for name, table in _TABLES.items():
        newest = session.scalar(select(func.max(table.id))) or 0
        count = session.scalar(select(func.count()).select_from(table).where(table.id <= newest))
        mark[name] = [newest, count or 0]
    return mark


def changed_swatches(session: Session, mark: dict[str, list[int]]) -> set[int] | None:
    """Return the ids of the swatches that are newer than the mark or altered since; None when it cannot be told."""
    for name, table in _TABLES.items():
        newest, count = mark[name]
        newer = session.scalar(select(func.count()).select_from(table).where(table.id > newest)) or 0
        if (session.scalar(select(func.count()).select_from(table)) or 0) - newer != count:
            return None
    later = Change.id > mark["change"][0]
    if session.scalar(select(func.count()).select_from(Change).where(later, Change.kind.in_(("undo", "forget")))):
        return None
    edits = select(Edit.table_name, Edit.row_id).where(Edit.id > mark["edit"][0]).distinct()
    edited: dict[str, set[int]] = {}
    for name, row_id in session.execute(edits):
        edited.setdefault(name, set()).add(row_id)
    if edited.keys() & {"recipe", "layer"}:
        return None
    return _swatches_of(session, mark, edited)


def _swatches_of(session: Session, mark: dict[str, list[int]], edited: dict[str, set[int]]) -> set[int]:
    altered = select(Edit.row_id).where(Edit.id > mark["edit"][0])
    queries = [
        select(Swatch.id).where(Swatch.id > mark["swatch"][0]),
        select(Measurement.swatch_id).where(Measurement.id > mark["measurement"][0]),
        select(Measurement.swatch_id).where(Measurement.id.in_(altered.where(Edit.table_name == "measurement"))),
        select(Swatch.id).where(Swatch.run_id.in_(altered.where(Edit.table_name == "run"))),
    ]
    found = edited.get("swatch", set()).copy()
    for query in queries:
        found.update(session.scalars(query))
    return found


def profile_digest(session: Session) -> str:
    """Return a digest of what all swatches depend on: the workshop's profile, the inks and the papers."""
    inks = select(Ink.id, Ink.name, Ink.name_key, Ink.kind).where(Ink.binned_at.is_(None)).order_by(Ink.id)
    papers = select(Paper.id, Paper.name).order_by(Paper.id)
    facts = [
        read_profile(session),
        [list(row) for row in session.execute(inks)],
        [list(row) for row in session.execute(papers)],
    ]
    return hashlib.sha256(json.dumps(facts, sort_keys=True, default=str).encode()).hexdigest()
