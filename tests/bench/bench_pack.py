"""How long `pack` and `unpack` of the demo take, against copying and hashing the files of its bag.

Two yardsticks: every file of the bag copied and its SHA-256 taken, and the same with every copy on the disk for certain
(fsync), which is what `unpack` gives and `pack` does not. Run by hand: python tests/bench/bench_pack.py [DEMO]; on
PostgreSQL too where INKCHEST_TEST_POSTGRESQL names a server (databases of its own are made there, and dropped).
"""

from __future__ import annotations

import hashlib
import itertools
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from sqlalchemy import make_url
from timing import RUNS, machine, medians, row

from archive.catalogue.database import open_archive
from archive.catalogue.settling import settle_tree
from archive.services.demo import build_demo
from archive.services.packing import pack, unpack

SERVER = os.environ.get("INKCHEST_TEST_POSTGRESQL", "")


def main() -> None:
    """Print the figures."""
    print(machine())
    with tempfile.TemporaryDirectory() as folder:
        desk = Path(folder)
        demo = Path(sys.argv[1]) if len(sys.argv) > 1 else desk / "demo"
        if not demo.exists():
            build_demo(demo)
        _measure(desk, demo, itertools.repeat(None))
        if SERVER:
            with _databases(RUNS + 2) as names:
                _measure(desk, demo, iter(names))


def _measure(desk: Path, demo: Path, databases: Iterator[str | None]) -> None:
    def new(what: str) -> Path:
        return Path(tempfile.mkdtemp(prefix=f"{what}-", dir=desk)) / what

    catalogue = open_archive(demo)
    bag, moved, database = new("bag"), new("archive"), next(databases)
    report = pack(catalogue, bag)
    unpack(bag, moved, database=database)
    catalogue.close()
    catalogue = open_archive(moved)

    def take_in() -> None:
        unpack(bag, new("archive"), database=next(databases))

    packed, copied, certain = medians(
        lambda: pack(catalogue, new("bag")), lambda: _copy(bag, new("copy")), lambda: _settled(bag, new("copy"))
    )
    catalogue.close()
    unpacked, copied_2, certain_2 = medians(
        take_in, lambda: _copy(bag, new("copy")), lambda: _settled(bag, new("copy"))
    )
    held = f"{report.rows} rows, {report.originals} originals, {report.bytes / 1e6:.1f} MB"
    print(f"{'SQLite' if database is None else 'PostgreSQL'}: {held}")
    row("pack", packed, 2 * copied, of=copied, against="copy + SHA-256")
    row("pack", packed, of=certain, against="copy, fsync + SHA-256")
    row("unpack", unpacked, 2 * copied_2, of=copied_2, against="copy + SHA-256")
    row("unpack", unpacked, of=certain_2, against="copy, fsync + SHA-256")


def _copy(source: Path, target: Path) -> None:
    for file in sorted(source.rglob("*")):
        if file.is_file():
            copy = target / file.relative_to(source)
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(file, copy)
            with file.open("rb") as stream:
                hashlib.file_digest(stream, "sha256")


def _settled(source: Path, target: Path) -> None:
    _copy(source, target)
    settle_tree(target)


@contextmanager
def _databases(count: int) -> Iterator[list[str]]:
    """Give the addresses of new, empty databases: emptying one would take longer than what is measured."""
    url = make_url(SERVER)
    names = [f"inkchest_bench_{os.getpid()}_{number}" for number in range(count)]
    with psycopg.connect(
        host=url.host, port=url.port, user=url.username, dbname=url.database, autocommit=True
    ) as connection:
        for name in names:
            connection.execute(f'CREATE DATABASE "{name}" TEMPLATE template0')
        yield [url.set(database=name).render_as_string() for name in names]
        for name in names:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


if __name__ == "__main__":
    main()
