"""Short ways for tests to keep something, each as a change of its own."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw
from sqlalchemy import text

from archive.catalogue.base import Base
from archive.catalogue.database import Catalogue
from archive.services import bin as bins
from archive.services import changes, records
from archive.services.work_cards import WorkCard
from archive.services.works import NewWork, add_work
from tests.acts import act


def add(catalogue: Catalogue, noun: str, label: str | None = None, **facts: Any) -> records.Record:
    with catalogue.write(act(f"add {noun} {label or ''}".strip())) as session:
        return records.add_record(session, noun, label, _named(facts))


def edit(catalogue: Catalogue, noun: str, ref: str, *, rename: str | None = None, **facts: Any) -> records.Record:
    with catalogue.write(act(f"edit {noun} {ref}")) as session:
        return records.edit_record(session, noun, ref, _named(facts), new_label=rename)


def show(catalogue: Catalogue, noun: str, ref: str) -> dict[str, Any]:
    with catalogue.read() as session:
        return records.show_record(session, noun, ref).facts


def remove(catalogue: Catalogue, noun: str, ref: str) -> list[str]:
    with catalogue.write(act(f"remove {noun} {ref}")) as session:
        return [f"{each.noun} {each.label}" for each in bins.remove_record(session, noun, ref)]


def undo(catalogue: Catalogue, change: str | None = None) -> int:
    """Take back a change as the command does; return its number."""
    with catalogue.read() as session:
        change_id, words = changes.change_to_undo(session, change)
    with catalogue.write(act(f"undo: {words}", kind="undo", undoes_id=change_id)) as session:
        changes.undo(session, change_id)
    return change_id


def empty_bin(catalogue: Catalogue) -> tuple[int, int]:
    """Empty the bin as the command does; return how many rows and files went."""
    with catalogue.write(act("empty the bin")) as session:
        rows, orphans = bins.empty_bin(session, catalogue.files)
    for sha256 in orphans:
        catalogue.files.remove(sha256)
    return rows, len(orphans)


def enter(catalogue: Catalogue, ref: str | None, *pictures: Path, **more: Any) -> WorkCard:
    facts = {name: more.pop(name) for name in ("title", "date", "maker", "note", "kind") if name in more}
    return add_work(catalogue, NewWork(ref, facts, pictures=pictures, **more), act(f"add work {ref or ''}".strip()))


def newest(catalogue: Catalogue) -> changes.ChangeSummary:
    with catalogue.read() as session:
        return changes.list_changes(session, limit=1)[0]


def every_row(catalogue: Catalogue) -> dict[str, list[tuple[Any, ...]]]:
    """Return all rows of the archive by their table, to see that nothing was written."""
    with catalogue.read() as session:
        return {
            table.name: [tuple(row) for row in session.execute(table.select().order_by(*table.primary_key.columns))]
            for table in Base.metadata.sorted_tables
        }


def without_keys(catalogue: Catalogue, *statements: str) -> None:
    """Do what none of our services would: the database minds no foreign key meanwhile."""
    if catalogue.engine.dialect.name == "sqlite":
        with closing(sqlite3.connect(catalogue.folder / "archive.sqlite3", isolation_level=None)) as plain:
            for statement in statements:  # a plain connection minds no keys
                plain.execute(statement)
        return
    off, on = "SET session_replication_role = replica", "SET session_replication_role = DEFAULT"
    with catalogue.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        for statement in (off, *statements, on):
            connection.execute(text(statement))


def photo(path: Path, number: int = 0) -> Path:
    """Write a small picture of a sheet that differs by its number."""
    picture = Image.new("RGB", (48, 32), (244, 240, 228))
    draw = ImageDraw.Draw(picture)
    draw.rectangle((4 + number, 4, 30, 25), fill=(42, 94 + number % 100, 168))
    draw.rectangle((15, 10 + number % 10, 44, 30), fill=(226, 190, 40 + number % 100))
    picture.save(path)
    return path


def _named(facts: Mapping[str, Any]) -> dict[str, Any]:
    return {name.rstrip("_").replace("_", "-"): value for name, value in facts.items()}
