"""The same bag from either database, and an archive from a bag: the way from one table to many.

A bag (BagIt 1.0) holds `rows/TABLE.jsonl` (a row a line, in the order of their keys, columns sorted) and
`originals/SHA256`. Nothing in it tells which database it came from, or when it was packed: the same archive gives the
same bytes. Every byte is read once on its way: it is copied while it is hashed.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DataError, IntegrityError
from sqlalchemy.orm import Session

from archive.catalogue.bulk_rows import (
    Shape,
    check_references,
    filling_engine,
    finish_tables,
    make_tables,
    read_rows,
    shapes,
    stored_shapes,
    write_rows,
)
from archive.catalogue.database import (
    DATABASE_FILE,
    Catalogue,
    make_engine,
    make_folder,
    refuse_taken,
    refuse_taken_database,
    translated,
    write_settings,
)
from archive.catalogue.files import Files
from archive.catalogue.last_ids import last_ids, set_last_ids
from archive.catalogue.postgresql import checked_url
from archive.catalogue.revision import REVISION, refuse_newer, take_tables_away, upgrade
from archive.catalogue.settling import settle_tree
from archive.errors import CatalogueError, InputError
from archive.exchange.bag import Bag, BagEntry, read_bag
from archive.exchange.bag_out import Source, write_bag
from archive.exchange.bag_rows import lines_of, rows_of
from archive.services.originals import named_originals

FORMAT = "inkchest archive 1"
_ORIGINAL = re.compile("originals/([0-9a-f]{64})")
_AGAIN = "Pack the archive again"
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class PackReport:
    """What a bag holds, or what came out of one."""

    bag: str
    rows: int
    originals: int
    bytes: int


def pack(catalogue: Catalogue, bag: Path, *, progress: Progress | None = None) -> PackReport:
    """Write the whole archive, history and bin included, as a bag in a new folder.

    Raises
    ------
    ConflictError
        The folder is taken.
    InputError
        There is no folder to make it in.
    CatalogueError
        An original is gone or was altered, or the disk is full; no bag is left.
    """
    with _told(bag), translated(catalogue.folder), catalogue.engine.connect() as connection:
        about = {"format": FORMAT, "revision": REVISION, "last_ids": last_ids(connection)}
        # the first question has fixed the moment that the connection sees: no original that a row names is left out
        originals = list(catalogue.files.all_originals())
        _refuse_gone(connection, originals)
        rows = [_Lines(connection, shape) for shape in shapes()]
        payload: list[tuple[str, Source]] = [
            ("archive.json", (json.dumps(about, sort_keys=True) + "\n").encode()),
            *((f"originals/{sha256}", catalogue.files.path(sha256)) for sha256 in originals),  # while rows are read
            *((f"rows/{each.shape.name}.jsonl", each) for each in rows),
        ]
        entries = write_bag(bag, payload, {"External-Description": FORMAT}, progress)
    _refuse_altered(bag, entries)
    return _report(bag, entries, sum(each.count for each in rows), len(originals))


class _Lines:
    """A table's rows as lines of JSON, read when they are asked for; `count` tells how many they were."""

    def __init__(self, connection: Connection, shape: Shape) -> None:
        self.shape = shape
        self.count = 0
        self._connection = connection

    def __iter__(self) -> Iterator[bytes]:
        for rows in read_rows(self._connection, self.shape):
            self.count += len(rows)
            yield lines_of(self.shape.columns, self.shape.kinds, rows)


def unpack(bag: Path, to: Path, *, database: str | None = None, progress: Progress | None = None) -> PackReport:
    """Make an archive of a bag in a new folder, on SQLite or on the PostgreSQL database named.

    Raises
    ------
    InputError
        The bag is damaged, unsafe, or holds no archive.
    ConflictError
        The folder or the database holds something already.
    CatalogueError
        The bag is of a newer version, or the disk is full. After any error nothing is left behind.
    """
    refuse_taken(to)
    url = None if database is None else checked_url(database, where=str(to))
    part = to.parent / f".{to.name}.{secrets.token_hex(4)}.part"  # becomes the archive when all of it is there
    with _told(to), _nothing_half(part):
        make_folder(part)
        with _empty_database(part, url) as engine:
            found = read_bag(bag, progress, copy_to=_place_in(Files(part)))
            about = _checked(found, bag)
            fill = _fill if about.revision == REVISION else _fill_older
            rows = fill(engine, found, about)
        write_settings(part, database)
        settle_tree(part)
        if to.exists():
            to.rmdir()
        part.rename(to)
    return _report(bag, found.entries, rows, sum(entry.path.startswith("originals/") for entry in found.entries))


@contextmanager
def _nothing_half(part: Path) -> Iterator[None]:
    made = [folder for folder in part.parents if not folder.exists()]  # the nearest first
    try:
        yield
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        for folder in made:
            if folder.is_dir() and not any(folder.iterdir()):
                folder.rmdir()
        raise


@contextmanager
def _empty_database(part: Path, url: str | None) -> Iterator[Engine]:
    engine = filling_engine(part / DATABASE_FILE) if url is None else make_engine(url)
    try:
        with translated(part):
            if url is not None:
                refuse_taken_database(engine, url)
            yield engine
    finally:
        engine.dispose()


@contextmanager
def _told(where: Path) -> Iterator[None]:
    try:
        yield
    except OSError as exc:
        raise CatalogueError(
            "cannot be written or read: {why}",
            why=exc.strerror or exc,
            where=str(where),
            mend="See that there is room and that the folder can be written",
        ) from exc


def _report(bag: Path, entries: tuple[BagEntry, ...], rows: int, originals: int) -> PackReport:
    return PackReport(str(bag), rows, originals, sum(entry.size for entry in entries))


def _refuse_gone(connection: Connection, originals: Sequence[str]) -> None:
    with closing(Session(connection)) as session:
        gone = named_originals(session).keys() - set(originals)
    _tell_of(sorted(gone), "{count} originals are gone from the disk")


def _refuse_altered(bag: Path, entries: tuple[BagEntry, ...]) -> None:
    altered = [each.path for each in entries if each.path.startswith("originals/") and each.path[10:] != each.sha256]
    if altered:
        shutil.rmtree(bag)
    _tell_of(altered, "{count} originals are not what they were when they came in")


def _tell_of(names: Sequence[str], words: str) -> None:
    if names:
        told = ", ".join(names[:5]) + (" …" if len(names) > 5 else "")
        mend = "`inkchest check` lists them; an older backup or bag may hold them"
        raise CatalogueError(words, count=len(names), where=told, mend=mend)


# --- out of a bag


def _place_in(files: Files) -> Callable[[str], Path | None]:
    """Return where a file of the bag is copied to while it is checked: an original where it will lie."""

    def place(path: str) -> Path | None:
        match = _ORIGINAL.fullmatch(path)
        return files.path(match[1]) if match else None

    return place


@dataclass(frozen=True, slots=True)
class _About:
    """What a bag says of itself in `archive.json`."""

    revision: str
    last_ids: dict[str, int]


def _checked(bag: Bag, folder: Path) -> _About:
    """Return what the bag says of itself, once all that it holds is known to be ours."""
    ours = "Name a bag that `inkchest pack` wrote"
    said_in = next((entry.file for entry in bag.entries if entry.path == "archive.json"), None)
    if said_in is None:
        raise InputError("the bag holds no archive", where=str(folder), mend=ours)
    try:
        said = json.loads(said_in.read_text(encoding="utf-8"))
        is_ours, revision = said["format"] == FORMAT, str(said["revision"])
        about = _About(revision, {str(name): int(last) for name, last in said["last_ids"].items()})
    except (ValueError, KeyError, TypeError, AttributeError) as exc:
        raise InputError("archive.json cannot be read", where=str(folder), mend=_AGAIN) from exc
    if not is_ours:
        raise InputError("the bag is of another format", where=str(folder), mend=ours)
    if about.revision != REVISION:
        refuse_newer(about.revision, where=str(folder))
    for entry in bag.entries:
        _refuse_strange(entry, folder)
    return about


def _refuse_strange(entry: BagEntry, folder: Path) -> None:
    where = f"{folder}, {entry.path}"
    if entry.path.startswith("originals/"):
        if entry.sha256 != entry.path.removeprefix("originals/"):
            raise InputError("an original is not what its name says", where=where, mend=_AGAIN)
    elif entry.path != "archive.json" and not re.fullmatch(r"rows/[a-z_]+\.jsonl", entry.path):
        mend = f"Take it out of the bag and its manifest, or: {_AGAIN}"
        raise InputError("the bag holds a file that is no part of an archive", where=where, mend=mend)


def _fill(engine: Engine, bag: Bag, about: _About) -> int:
    """Make this version's tables with the bag's rows, all in one transaction; return how many rows."""
    with _rows_judged(), engine.execution_options(inkchest_writes=True).begin() as connection:
        make_tables(connection)
        count = _take_rows(connection, shapes(), bag)
        finish_tables(connection)
        set_last_ids(connection, about.last_ids)
    return count


def _fill_older(engine: Engine, bag: Bag, about: _About) -> int:
    """Make the tables of the version that packed the bag, and bring them up with its rows inside."""
    try:
        upgrade(engine, about.revision)
        with _rows_judged(), engine.execution_options(inkchest_writes=True).begin() as connection:
            count = _take_rows(connection, stored_shapes(connection), bag)
            if connection.dialect.name == "sqlite":
                check_references(connection)
            set_last_ids(connection, about.last_ids)
        upgrade(engine)
    except BaseException:
        if engine.dialect.name != "sqlite":  # a file goes as a whole
            take_tables_away(engine)
        raise
    return count


@contextmanager
def _rows_judged() -> Iterator[None]:
    try:
        yield
    except (IntegrityError, DataError) as exc:
        raise InputError("the rows contradict one another: {why}", why=str(exc.orig).strip(), mend=_AGAIN) from exc


def _take_rows(connection: Connection, tables: Sequence[Shape], bag: Bag) -> int:
    files = {entry.path: entry.file for entry in bag.entries if entry.path.startswith("rows/")}
    wanted = {f"rows/{table.name}.jsonl" for table in tables}
    for path in sorted(wanted ^ files.keys()):
        words = "the bag holds no rows of a table" if path in wanted else "the bag holds rows of an unknown table"
        raise InputError(words, where=path, mend=_AGAIN)
    return sum(_take_table(connection, table, files[f"rows/{table.name}.jsonl"]) for table in tables)


def _take_table(connection: Connection, table: Shape, file: Path) -> int:
    where = f"rows/{table.name}.jsonl"
    try:
        return write_rows(connection, table, rows_of(file, table.columns, table.kinds, where=where))
    except (UnicodeEncodeError, OverflowError, IntegrityError, DataError) as exc:  # half a character, a huge number
        raise InputError(
            "a value is none that the archive takes: {why}", why=_why(exc), where=where, mend=_AGAIN
        ) from exc


def _why(exc: Exception) -> str:
    return str(getattr(exc, "orig", exc)).strip()
