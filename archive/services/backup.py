"""Copy what is new to a stick, verify it, and bring it back.

A backup folder is an archive's folder again (database, settings, originals), so that it opens as it is. Its
database copy is taken with SQLite's own online backup, which is whole even while somebody writes.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from archive.catalogue.database import DATABASE_FILE, SETTINGS_FILE, Catalogue
from archive.catalogue.files import Files
from archive.catalogue.history import Act
from archive.catalogue.identity import now
from archive.catalogue.models import Fact
from archive.errors import CatalogueError, ConflictError, InputError
from archive.services.facts import archive_uid

_NOTE = "backup.json"
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class BackupReport:
    """What a backup or restore did: files copied, files that were there, all verified, bytes copied."""

    to: str
    copied: int
    kept: int
    verified: int
    bytes: int


def backup(catalogue: Catalogue, to: Path, *, act: Act, progress: Progress | None = None) -> BackupReport:
    """Copy the database and every new original to a folder, and verify all of it by SHA-256.

    Raises
    ------
    CatalogueError
        The stick is full or gone; or an original is damaged, or reads back wrong: the others are backed up.
    ConflictError
        The folder holds another archive's backup.
    """
    if catalogue.engine.dialect.name != "sqlite":
        raise InputError(
            "a backup is of an archive in one folder, and this one's database is PostgreSQL",
            where=str(to),
            mend="Use `inkchest pack BAG`: a bag holds all of it, and `inkchest unpack` brings it back",
        )
    if to.resolve() == catalogue.folder.resolve() or catalogue.folder.resolve() in to.resolve().parents:
        raise InputError("a backup cannot lie inside its archive", where=str(to), mend="Name a stick or another disk")
    with catalogue.read() as session:
        uid = archive_uid(session)
    _refuse_other(to, uid)
    with _told(to):
        (to / "originals").mkdir(parents=True, exist_ok=True)
        if not (to / _NOTE).exists():  # so that a backup that was stopped half-way is known as one
            _write_note(to, uid, at=None, files=0)
        # the database is copied first and put in its place last: it never names an original that is not there yet
        fresh = _copy_database(catalogue.folder / DATABASE_FILE, to / DATABASE_FILE)
        shutil.copyfile(catalogue.folder / SETTINGS_FILE, to / SETTINGS_FILE)
        report, damaged = _copy_originals(catalogue.files, Files(to), to, progress)
        os.replace(fresh, to / DATABASE_FILE)  # noqa: PTH105 - as in Files.put
    _tell_damage(damaged, "everything else was backed up", "`inkchest check` lists it; an older backup may hold it")
    with _told(to):
        _write_note(to, uid, at=now(), files=report.verified)
    with catalogue.write(act) as session:
        session.merge(Fact(key="last_backup", value={"at": now(), "to": str(to)}))
    return report


def _write_note(to: Path, uid: str, *, at: str | None, files: int) -> None:
    (to / _NOTE).write_text(json.dumps({"archive": uid, "at": at, "files": files}) + "\n", encoding="utf-8")


def _tell_damage(damaged: list[str], otherwise: str, mend: str) -> None:
    if damaged:
        raise CatalogueError(
            "{count} originals are damaged or read back wrong; {otherwise}",
            count=len(damaged),
            otherwise=otherwise,
            where=", ".join(damaged[:5]) + (" …" if len(damaged) > 5 else ""),
            mend=mend,
        )


def restore(source: Path, to: Path, *, progress: Progress | None = None) -> BackupReport:
    """Bring a backup into a new or empty folder and verify it.

    Raises
    ------
    InputError
        The source is no backup.
    ConflictError
        The folder is not empty.
    CatalogueError
        The disk is full; or originals of the backup are damaged: all else is restored.
    """
    if not (source / DATABASE_FILE).is_file() or not (source / SETTINGS_FILE).is_file():
        raise InputError("this is no backup", where=str(source), mend="Name the folder that `inkchest backup` wrote")
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise ConflictError("the folder is not empty", where=str(to), mend="Restore into a new folder")
    with _told(to):
        (to / "originals").mkdir(parents=True, exist_ok=True)
        fresh = _copy_database(source / DATABASE_FILE, to / DATABASE_FILE)
        os.replace(fresh, to / DATABASE_FILE)  # noqa: PTH105 - as in Files.put
        shutil.copyfile(source / SETTINGS_FILE, to / SETTINGS_FILE)
        report, damaged = _copy_originals(Files(source), Files(to), to, progress)
    _tell_damage(damaged, "everything else was restored", f"`inkchest --archive {to} check` lists what is missing")
    return report


def _refuse_other(to: Path, uid: str) -> None:
    if not to.exists():
        return
    if not to.is_dir():
        raise InputError("this is a file, no folder", where=str(to), mend="Name a folder on the stick")
    note = to / _NOTE
    if note.is_file():
        try:
            other = json.loads(note.read_text(encoding="utf-8")).get("archive")
        except ValueError:
            other = None
        if other != uid:
            raise ConflictError(
                "the folder holds the backup of another archive", where=str(to), mend="Name another folder on the stick"
            )
    elif (to / SETTINGS_FILE).exists():
        raise ConflictError("the folder is an archive itself", where=str(to), mend="Name another folder on the stick")
    elif any(to.iterdir()):
        raise ConflictError(
            "the folder holds other things", where=str(to), mend=f"Name a folder of its own: {to / 'inkchest-backup'}"
        )


def _copy_database(source: Path, target: Path) -> Path:
    """Copy a database beside the target, look it over, and return the copy's path."""
    fresh = target.with_suffix(".new")
    fresh.unlink(missing_ok=True)
    from_connection, to_connection = sqlite3.connect(source), sqlite3.connect(fresh)
    try:
        from_connection.backup(to_connection)
        verdict = to_connection.execute("PRAGMA integrity_check").fetchone()[0]
        to_connection.execute("PRAGMA journal_mode=DELETE")
    finally:
        to_connection.close()
        from_connection.close()
    if verdict != "ok":
        raise CatalogueError(
            "the copy of the database is damaged: {why}",
            why=verdict,
            where=str(target),
            mend="Try another stick, and run `inkchest check`",
        )
    return fresh


def _copy_originals(
    source: Files, target: Files, to: Path, progress: Progress | None
) -> tuple[BackupReport, list[str]]:
    """Copy what is not there yet and read all of it back; return the report, and which files are damaged where."""
    wanted = list(source.all_originals())
    copied = kept = verified = size = 0
    damaged: list[str] = []
    for leftover in target.leftovers():  # of a backup that was stopped
        leftover.unlink()
    for done, sha256 in enumerate(wanted, start=1):
        length = source.path(sha256).stat().st_size
        if target.exists(sha256) and target.path(sha256).stat().st_size == length:
            kept += 1
        elif _copy_original(source, target, sha256):
            copied += 1
            size += length
        else:
            damaged.append(str(source.path(sha256)))
            continue
        if Files.digest(target.path(sha256)) == sha256:
            verified += 1
        else:
            damaged.append(str(target.path(sha256)))
        if progress:
            progress(done, len(wanted))
    if (to / "incoming").is_dir():
        (to / "incoming").rmdir()
    return BackupReport(str(to), copied, kept, verified, size), damaged


def _copy_original(source: Files, target: Files, sha256: str) -> bool:
    """Copy one original and return whether it is what its name says."""
    with source.open(sha256) as stream:
        found = target.put(stream)
    if found != sha256:
        target.remove(found)
    return found == sha256


class _told:  # noqa: N801 - reads as the with-statement it is
    """Turn the system's errors on a stick into words."""

    def __init__(self, where: Path) -> None:
        self.where = where

    def __enter__(self) -> None:
        return None

    def __exit__(self, _kind: object, exc: BaseException | None, _trace: object) -> None:
        if isinstance(exc, OSError):
            raise CatalogueError(
                "cannot write there: {why}",
                why=exc.strerror or exc,
                where=str(self.where),
                mend="Check that the stick is in, has room, and may be written",
            ) from exc
        if isinstance(exc, sqlite3.Error):
            raise CatalogueError(
                "the database cannot be copied: {why}", why=exc, where=str(self.where), mend="Run `inkchest check`"
            ) from exc
