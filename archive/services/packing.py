"""The same bag from either database, and an archive from a bag: the way from one table to many.

A bag (BagIt 1.0) holds `rows/TABLE.jsonl` (a row a line, in the order of their keys, columns sorted) and
`originals/SHA256`. Nothing in it tells which database it came from, or when it was packed: the same archive gives the
same bytes.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, MetaData, Table, insert, select, update

from archive.catalogue.database import Catalogue, refuse_taken, start_empty, translated, write_settings
from archive.catalogue.last_ids import last_ids, set_last_ids
from archive.catalogue.models import Picture
from archive.catalogue.revision import REVISION, refuse_newer, take_tables_away, upgrade
from archive.errors import CatalogueError, InputError
from archive.exchange.bag import Bag, BagEntry, read_bag
from archive.exchange.bag_out import write_bag

FORMAT = "inkchest archive 1"
_BATCH = 2000  # rows an INSERT carries
_NO_ROWS = {"alembic_version"}
_KINDS: dict[type, tuple[type, ...]] = {str: (str,), int: (int,), bool: (bool,), float: (float, int)}
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
    with _told(bag), tempfile.TemporaryDirectory(prefix=".inkchest-", dir=_beside(bag)) as name:
        with translated(catalogue.folder), catalogue.engine.connect() as connection:
            rows = [_write_rows(connection, table, Path(name)) for table in _tables(connection)]
            about = {"format": FORMAT, "revision": REVISION, "last_ids": last_ids(connection)}
        originals = list(catalogue.files.all_originals())  # after the rows: none that they name is left out
        _refuse_gone(catalogue, originals)
        payload: list[tuple[str, Path | bytes]] = [
            ("archive.json", (json.dumps(about, sort_keys=True) + "\n").encode()),
            *((f"rows/{path.name}", path) for path, _ in rows),
            *((f"originals/{sha256}", catalogue.files.path(sha256)) for sha256 in originals),
        ]
        entries = write_bag(bag, payload, {"External-Description": FORMAT}, progress)
        _refuse_altered(bag, entries)
    return _report(bag, entries, sum(count for _, count in rows), len(originals))


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
    found = read_bag(bag, progress)
    parts = {entry.path: entry for entry in found.entries}
    about = _checked(found, parts, bag)
    part = to.parent / f".{to.name}.{secrets.token_hex(4)}.part"  # becomes the archive when all of it is there
    with _told(to), _nothing_half(part):
        engine = start_empty(part, database, about.revision)
        catalogue = Catalogue(part, engine)
        try:
            originals = _take_originals(catalogue, parts)
            with translated(part), catalogue.engine.execution_options(inkchest_writes=True).begin() as connection:
                rows = _fill(connection, parts)
                set_last_ids(connection, about.last_ids)
            if about.revision != REVISION:
                upgrade(engine)
        except BaseException:
            if database is not None:
                take_tables_away(engine)
            raise
        finally:
            catalogue.close()
        write_settings(part, database)
        if to.exists():
            to.rmdir()
        part.rename(to)
    return _report(bag, found.entries, rows, originals)


@contextmanager
def _nothing_half(part: Path) -> Iterator[None]:
    try:
        yield
    finally:
        shutil.rmtree(part, ignore_errors=True)


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


def _beside(bag: Path) -> Path | None:
    return bag.parent if bag.parent.is_dir() else None


def _refuse_gone(catalogue: Catalogue, originals: list[str]) -> None:
    with catalogue.read() as session:
        gone = set(session.scalars(select(Picture.sha256))) - set(originals)
    _tell_of(sorted(gone), "{count} originals are gone from the disk")


def _refuse_altered(bag: Path, entries: tuple[BagEntry, ...]) -> None:
    altered = [each.path for each in entries if each.path.startswith("originals/") and each.path[10:] != each.sha256]
    if altered:
        shutil.rmtree(bag)
    _tell_of(altered, "{count} originals are not what they were when they came in")


def _tell_of(names: list[str], words: str) -> None:
    if names:
        told = ", ".join(names[:5]) + (" …" if len(names) > 5 else "")
        mend = "`inkchest check` lists them; an older backup or bag may hold them"
        raise CatalogueError(words, count=len(names), where=told, mend=mend)


# --- rows out


def _tables(connection: Connection) -> list[Table]:
    """Return the tables as the database has them, owners before what refers to them."""
    metadata = MetaData()
    metadata.reflect(connection)
    return [table for table in metadata.sorted_tables if table.name not in _NO_ROWS and "_fts" not in table.name]


def _write_rows(connection: Connection, table: Table, folder: Path) -> tuple[Path, int]:
    path = folder / f"{table.name}.jsonl"
    names = sorted(table.columns.keys())
    query = select(*(table.columns[name] for name in names)).order_by(*table.primary_key.columns)
    count = 0
    with path.open("w", encoding="utf-8", newline="\n") as out:
        for row in connection.execute(query).yield_per(_BATCH):
            line = {name: value for name, value in zip(names, row, strict=True) if value is not None}
            out.write(json.dumps(line, ensure_ascii=False, separators=(",", ":")) + "\n")
            count += 1
    return path, count


# --- rows in


@dataclass(frozen=True, slots=True)
class _About:
    """What a bag says of itself in `archive.json`."""

    revision: str
    last_ids: dict[str, int]


def _checked(bag: Bag, parts: dict[str, BagEntry], folder: Path) -> _About:
    """Return what the bag says of itself, once all that it holds is known to be ours."""
    ours = "Name a bag that `inkchest pack` wrote"
    if "archive.json" not in parts:
        raise InputError("the bag holds no archive", where=str(folder), mend=ours)
    try:
        said = json.loads(parts["archive.json"].file.read_text(encoding="utf-8"))
        is_ours, revision = said["format"] == FORMAT, str(said["revision"])
        about = _About(revision, {str(name): int(last) for name, last in said["last_ids"].items()})
    except (ValueError, KeyError, TypeError, AttributeError) as exc:
        raise InputError("archive.json cannot be read", where=str(folder), mend="Pack the archive again") from exc
    if not is_ours:
        raise InputError("the bag is of another format", where=str(folder), mend=ours)
    refuse_newer(about.revision, where=str(folder))
    for entry in bag.entries:
        _refuse_strange(entry, folder)
    return about


def _refuse_strange(entry: BagEntry, folder: Path) -> None:
    where, again = f"{folder}, {entry.path}", "Pack the archive again"
    if entry.path.startswith("originals/"):
        if entry.sha256 != entry.path.removeprefix("originals/"):
            raise InputError("an original is not what its name says", where=where, mend=again)
    elif entry.path != "archive.json" and not re.fullmatch(r"rows/[a-z_]+\.jsonl", entry.path):
        mend = f"Take it out of the bag and its manifest, or: {again}"
        raise InputError("the bag holds a file that is no part of an archive", where=where, mend=mend)


def _take_originals(catalogue: Catalogue, parts: dict[str, BagEntry]) -> int:
    count = 0
    for path, entry in parts.items():
        if not path.startswith("originals/"):
            continue
        with entry.file.open("rb") as stream:
            found = catalogue.files.put(stream)
        if found != entry.sha256:
            raise CatalogueError("an original changed while it was copied", where=path, mend="Unpack it again")
        count += 1
    return count


def _fill(connection: Connection, parts: dict[str, BagEntry]) -> int:
    tables = _tables(connection)
    wanted = {f"rows/{table.name}.jsonl" for table in tables}
    there = {path for path in parts if path.startswith("rows/")}
    for path in sorted(wanted ^ there):
        words = "the bag holds no rows of a table" if path in wanted else "the bag holds rows of an unknown table"
        raise InputError(words, where=path, mend="Pack the archive again")
    return sum(_fill_table(connection, table, parts[f"rows/{table.name}.jsonl"]) for table in tables)


def _fill_table(connection: Connection, table: Table, entry: BagEntry) -> int:
    """Insert a table's rows; a reference to its own table is set once all of them are there."""
    own = [column.name for column in table.columns if any(key.column.table is table for key in column.foreign_keys)]
    later: list[dict[str, Any]] = []
    count = 0
    for batch in _batches(entry, table):
        for row in batch:
            for name in own:
                if row[name] is not None:
                    later.append({"id": row["id"], "name": name, "value": row[name]})
                    row[name] = None
        connection.execute(insert(table), batch)
        count += len(batch)
    for each in later:
        connection.execute(update(table).where(table.c.id == each["id"]).values({each["name"]: each["value"]}))
    return count


def _batches(entry: BagEntry, table: Table) -> Iterator[list[dict[str, Any]]]:
    batch: list[dict[str, Any]] = []
    empty = dict.fromkeys(table.columns.keys())
    kinds = {column.name: _KINDS[column.type.python_type] for column in table.columns}
    with entry.file.open(encoding="utf-8", newline="\n") as lines:
        for number, line in enumerate(lines, start=1):
            try:
                row = json.loads(line)
                is_sound = all(type(value) in kinds[name] for name, value in row.items())
            except (ValueError, KeyError, AttributeError) as exc:
                raise _bad_row(entry, number) from exc
            if not is_sound:
                raise _bad_row(entry, number)
            batch.append(empty | row)
            if len(batch) == _BATCH:
                yield batch
                batch = []
    if batch:
        yield batch


def _bad_row(entry: BagEntry, number: int) -> InputError:
    return InputError("the row cannot be read", where=f"{entry.path}, line {number}", mend="Pack the archive again")
