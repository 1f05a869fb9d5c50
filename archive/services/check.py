"""Looking for damage: wrong files, orphans, broken references."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import exists, select
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from archive.catalogue.base import Base
from archive.catalogue.database import Catalogue
from archive.catalogue.files import Files
from archive.catalogue.models import Measurement, Swatch
from archive.services.originals import named_originals
from archive.services.references import all_references, kept_models


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
        damaged = _database_damage(session)
        if any(damage.code == "database" for damage in damaged):
            return damaged  # what is read from a damaged database says nothing of the rest
        found = [
            *damaged,
            *_references(session),
            *_standing(session),
            *_files(session, catalogue.files, progress),
        ]
    return sorted(found, key=lambda damage: not damage.is_harm)


def _database_damage(session: Session) -> list[Damage]:
    connection = session.connection()
    if connection.dialect.name != "sqlite":
        return _broken_references(session)  # whether its pages are whole is for the server's keeper to see
    try:
        told = [str(words) for (words,) in connection.exec_driver_sql("PRAGMA integrity_check").all()]
        broken = [] if told != ["ok"] else _broken_references(session)
    except DatabaseError as exc:
        told, broken = [str(exc.orig)], []
    mend = "Bring a backup back: `inkchest restore`"
    return [*(Damage("database", words, "archive.sqlite3", mend, True) for words in told if words != "ok"), *broken]


def _broken_references(session: Session) -> list[Damage]:
    """Find rows that refer to a row that is not there: a database may have been filled with its keys off."""
    found = []
    for table in Base.metadata.sorted_tables:
        for column in table.columns:
            for key in column.foreign_keys:
                parent = key.column.table.alias()
                lost = ~exists().where(parent.c[key.column.name] == column)
                keys = list(table.primary_key.columns)
                for row in session.execute(select(*keys).where(column.is_not(None), lost).order_by(*keys)):
                    what = f"it refers to a {key.column.table.name} that is not there"
                    where = f"{table.name} {' '.join(str(part) for part in row)}"
                    found.append(Damage("broken_reference", what, where, "Bring a backup back", True))
    return found


def _references(session: Session) -> list[Damage]:
    """Find living rows that refer to a row in the bin."""
    found = []
    for reference in all_references():
        target = kept_models()[reference.target]
        binned = select(target.id).where(target.binned_at.is_not(None))
        for row, _ in session.execute(reference.rows(binned)):
            what = f"it refers to a {reference.target} that lies in the bin"
            mend = "Take that out of the bin with `inkchest undo`"
            found.append(Damage("reference_to_bin", what, f"{row.__tablename__} {row.uid}", mend, True))
    return found


def _standing(session: Session) -> list[Damage]:
    """Find swatches whose standing measurement is not one of theirs."""
    theirs = exists().where(
        Measurement.id == Swatch.standing_id, Measurement.swatch_id == Swatch.id, Measurement.binned_at.is_(None)
    )
    query = select(Swatch.uid).where(Swatch.standing_id.is_not(None), ~theirs, Swatch.binned_at.is_(None))
    return [
        Damage("standing", "its standing measurement is not there", f"swatch {uid}", "Measure it again", True)
        for uid in session.scalars(query.order_by(Swatch.id))
    ]


def _files(session: Session, files: Files, progress: Callable[[int, int], None] | None) -> list[Damage]:
    named = named_originals(session)
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
