"""Writing one row of somebody's list: a new work with all that hangs on it, or the facts that one still lacked."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.dates import read_date
from archive.catalogue.identity import fold
from archive.catalogue.models import Copy, Paper, Person, Recipe, Variant, Work
from archive.errors import ConflictError, InputError
from archive.services.claims import Saying, note_claims, person_named
from archive.services.fields import current_links
from archive.services.records import add_record, edit_record
from archive.services.told import Told, read_told
from archive.services.works import ensure_place, ink_names, tell_variant
from archive.services.works_list import PEOPLE, ListRow, kind_word, people_in


def write_row(session: Session, row: ListRow, file_name: str) -> None:
    """Write a row of a list and keep its cells with the work; of a work that is here, only what it lacks."""
    names = row.fills if row.here else tuple(row.texts)
    texts = {name: row.texts[name] for name in names}
    facts, notes = _facts(session, row, texts)
    if row.here is None:
        record = add_record(session, "work", texts.get("ref"), _with_notes(facts, "", notes))
        variant_ref = add_record(session, "variant", None, {"work": record.uid}).uid
        work = session.get_one(Work, record.id)
        variant: Variant | None = session.scalars(select(Variant).where(Variant.uid == variant_ref)).one()
        copy = None
    else:
        work, variant, copy = row.here.work, row.here.variant, row.here.copy
        facts = _with_notes(facts, work.note, notes)
        if facts:
            edit_record(session, "work", work.uid, facts)
    if variant is not None:
        _tell(session, variant, texts)
        _keep_copy(session, variant, copy, texts)
    work.original = {"file": file_name, "line": row.line, "cells": row.cells}
    session.flush()


def _facts(session: Session, row: ListRow, texts: dict[str, str]) -> tuple[dict[str, Any], list[str]]:
    """Return the work's own fields, and what has no field and goes into its note."""
    facts: dict[str, Any] = {}
    notes = [f"Size: {texts['size']}"] if "size" in texts else []
    for name, field in (("title", "title"), ("old_number", "old-number"), ("note", "note")):
        if name in texts:
            facts[field] = texts[name]
    if "kind" in texts:
        facts["kind"] = kind_word(texts["kind"]) or "other"
    if "date" in texts:
        if _is_date(texts["date"]):
            facts["date"] = texts["date"]
        else:
            notes.append(f"Date: {texts['date']}")
    if "inks" in texts and _told(session, texts["inks"]) is None:
        notes.append(f"Inks: {texts['inks']}")
    parts = [(name, role) for role in PEOPLE if role in texts for name in people_in(texts[role])]
    if parts:
        held = current_links(session, "work", "maker", row.here.work.id) if row.here else []
        linked = [*map(tuple, held), *((person_named(session, name), role) for name, role in parts)]
        uids = {person_id: session.get_one(Person, person_id).uid for person_id, _ in linked}
        facts["maker"] = [f"{uids[person_id]}={role}" for person_id, role in linked]
    return facts, notes


def _with_notes(facts: dict[str, Any], held: str, notes: list[str]) -> dict[str, Any]:
    """Return the facts with lines added to the note, each once."""
    lines = [line for line in notes if line not in held]
    if not lines:
        return facts
    return {**facts, "note": "\n".join(filter(None, [str(facts.get("note", held)), *lines]))}


def _is_date(text: str) -> bool:
    try:
        read_date(text)
    except InputError:
        return False
    return True


def _told(session: Session, text: str) -> Told | None:
    try:
        return read_told(text, known_inks=ink_names(session))
    except InputError:
        return None


def _tell(session: Session, variant: Variant, texts: dict[str, str]) -> None:
    """Keep inks and paper as the list tells them; a paper that is not known stays in words, as a claim."""
    recipe = session.get(Recipe, variant.recipe_id) if variant.recipe_id else None
    paper_id = recipe.paper_id if recipe else None
    if "paper" in texts:
        living = select(Paper.id).where(Paper.name_key == fold(texts["paper"]), Paper.binned_at.is_(None))
        found = session.scalars(living).first()
        if found is None:
            note_claims(session, "variant", variant.id, [Saying("paper", texts["paper"], words=texts["paper"])])
        paper_id = found or paper_id
    told = _told(session, texts["inks"]) if "inks" in texts else None
    if told is not None:
        tell_variant(session, variant, told, paper_id)
    elif recipe is not None and recipe.is_told:
        recipe.paper_id = paper_id
    elif recipe is None and paper_id is not None:
        tell_variant(session, variant, Told((), False, ""), paper_id)


def _keep_copy(session: Session, variant: Variant, copy: Copy | None, texts: dict[str, str]) -> None:
    """Keep where the sheet lies, its edition and how many there are."""
    facts: dict[str, Any] = {"edition": texts["edition"]} if "edition" in texts else {}
    notes = [f"Copies: {texts['copies']}"] if texts.get("copies", "1") != "1" else []
    if "place" in texts:
        try:
            facts["place"] = ensure_place(session, texts["place"])
        except ConflictError:
            notes.append(f"Place: {texts['place']}")
    facts = _with_notes(facts, copy.note if copy else "", notes)
    if not facts:
        return
    if copy is not None:
        edit_record(session, "copy", copy.uid, facts)
    else:
        add_record(session, "copy", None, {"of": variant.uid, **facts})
