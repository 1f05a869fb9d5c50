"""Looking for damage: wrong files, orphans, broken references."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from archive.catalogue.base import Base, Kept
from archive.catalogue.database import Catalogue
from archive.catalogue.files import Files
from archive.catalogue.models import Measurement, Picture, Swatch


@dataclass(frozen=True, slots=True)
class Damage:
    """One thing that is wrong or left over; `is_harm` tells damage from untidiness."""

    code: str
    what: str
    where: str
    mend: str
    is_harm: bool


def check_archive(catalogue: Catalogue, *, progress: Callable[[int, int], None] | None = None) -> list[Damage]:
    """Return everything found wrong, harm first; read every original and compare its SHA-256."""
    with catalogue.read() as session:
        found = [
            *_database_damage(session),
            *_references(session),
            *_standing(session),
            *_files(session, catalogue.files, progress),
        ]
    return sorted(found, key=lambda damage: not damage.is_harm)


def _database_damage(session: Session) -> list[Damage]:
    connection = session.connection()
    if connection.dialect.name != "sqlite":
        return []
    found = []
    for (words,) in connection.exec_driver_sql("PRAGMA integrity_check").fetchall():
        if words != "ok":
            found.append(Damage("database", str(words), "archive.sqlite3", "Bring a backup back", True))
    for table, row_id, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
        what = f"it refers to a {parent} that is not there"
        found.append(Damage("broken_reference", what, f"{table} {row_id}", "Bring a backup back", True))
    return found


def _references(session: Session) -> list[Damage]:
    """Find living rows that refer to a row in the bin."""
    found = []
    for mapper in Base.registry.mappers:
        model = mapper.class_
        if not issubclass(model, Kept):
            continue
        table: Any = model.__table__
        for column in table.columns:
            for key in column.foreign_keys:
                parent = key.column.table.alias()
                if "binned_at" not in parent.columns:
                    continue
                binned = exists().where(parent.c.id == column, parent.c.binned_at.is_not(None))
                for uid in session.scalars(select(table.c.uid).where(table.c.binned_at.is_(None), binned)):
                    what = f"it refers to a {key.column.table.name} that lies in the bin"
                    mend = "Take that out of the bin with `inkchest undo`"
                    found.append(Damage("reference_to_bin", what, f"{table.name} {uid}", mend, True))
    return found


def _standing(session: Session) -> list[Damage]:
    """Find swatches whose standing measurement is not one of theirs."""
    theirs = exists().where(Measurement.id == Swatch.standing_id, Measurement.swatch_id == Swatch.id)
    query = select(Swatch.uid).where(Swatch.standing_id.is_not(None), ~theirs, Swatch.binned_at.is_(None))
    return [
        Damage("standing", "its standing measurement is not there", f"swatch {uid}", "Measure it again", True)
        for uid in session.scalars(query)
    ]


def _files(session: Session, files: Files, progress: Callable[[int, int], None] | None) -> list[Damage]:
    named = dict(session.execute(select(Picture.sha256, Picture.name)).all())
    there = list(files.all_originals())
    found = [
        Damage("missing_file", "its original is gone from the disk", f"picture {name}", "Bring a backup back", True)
        for sha256, name in named.items()
        if not files.exists(sha256)
    ]
    for done, sha256 in enumerate(there, start=1):
        where = str(files.path(sha256).relative_to(files.folder))
        if Files.digest(files.path(sha256)) != sha256:
            name = named.get(sha256, "no picture")
            found.append(
                Damage("wrong_hash", f"the file was altered ({name})", where, "Bring it back from a backup", True)
            )
        elif sha256 not in named:
            what = "no picture names this file (an import may have been stopped)"
            mend = "Add its photo again and it is taken up, or leave it"
            found.append(Damage("orphan_file", what, where, mend, False))
        if progress:
            progress(done, len(there))
    for path in files.leftovers():
        what = "a half-written file of a stopped import"
        found.append(Damage("leftover", what, str(path.relative_to(files.folder)), "It can be deleted", False))
    return found
