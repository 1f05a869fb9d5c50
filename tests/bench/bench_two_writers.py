"""Two processes that read and write one archive at once, on each database: errors, lost updates, and the pace.

Each process does 5,000 things drawn from a seed: it reads the newest inks, adds an ink, or counts a paper's sheets one
up, which reads the number and writes it back in one change. A sheet that is missing at the end is a lost update.

Run by hand: python tests/bench/bench_two_writers.py [THINGS OF EACH]
With INKCHEST_TEST_POSTGRESQL naming a server (as .ci/prepare starts one) it is done on PostgreSQL too.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import psycopg
from sqlalchemy import func, make_url, select
from timing import machine

from archive.catalogue.database import Catalogue, open_archive, start_archive
from archive.catalogue.history import Act
from archive.catalogue.models import Change, Ink, Paper
from archive.errors import ArchiveError
from archive.services.records import add_record, edit_record, show_record

PAPER = "Oatleaf 120"
SHARES = {"read": 6, "count": 3, "add": 1}  # of ten things; a shop reads more than it writes


def do(catalogue: Catalogue, what: str, name: str) -> None:
    """Read, count one sheet up, or add an ink."""
    if what == "read":
        with catalogue.read() as session:
            session.scalars(select(Ink).order_by(Ink.id.desc()).limit(20)).all()
            show_record(session, "paper", PAPER)
        return
    with catalogue.write(Act("Wren Tallow", what)) as session:
        if what == "add":
            add_record(session, "ink", name, {})
        else:
            left = show_record(session, "paper", PAPER).facts["sheets-left"]
            edit_record(session, "paper", PAPER, {"sheets-left": str(left + 1)})


def work(folder: Path, seed: int, things: int) -> None:
    """Do the things and print how many of each were done, how many errors there were, and the seconds."""
    chance = random.Random(seed)
    catalogue = open_archive(folder)
    do(catalogue, "read", "")
    done: Counter[str] = Counter()
    began = time.perf_counter()
    for number in range(things):
        what = chance.choices(list(SHARES), list(SHARES.values()))[0]
        try:
            do(catalogue, what, f"Ink {seed} {number}")
            done[what] += 1
        except ArchiveError as error:
            done["error"] += 1
            print(error, file=sys.stderr)
    catalogue.close()
    print(done["read"], done["count"], done["add"], done["error"], time.perf_counter() - began)


def run(folder: Path, processes: int, things: int) -> tuple[float, int]:
    """Let some processes work at once; return the things a second of all and how many went wrong."""
    with_paper(folder)
    command = [sys.executable, __file__, "--work", str(folder)]
    running = [
        subprocess.Popen([*command, str(seed), str(things)], stdout=subprocess.PIPE, text=True)
        for seed in range(processes)
    ]
    told = [process.communicate()[0].split() for process in running]
    counted, added, errors = (sum(int(each[place]) for each in told) for place in (1, 2, 3))
    pace = sum((things - int(each[3])) / float(each[4]) for each in told)
    catalogue = open_archive(folder)
    with catalogue.read() as session:
        sheets = show_record(session, "paper", PAPER).facts["sheets-left"]
        inks = session.scalar(select(func.count()).select_from(Ink)) or 0
        changes = session.scalar(select(func.count()).select_from(Change).where(Change.words.in_(SHARES))) or 0
        papers = session.scalar(select(func.count()).select_from(Paper)) or 0
    catalogue.close()
    lost = (counted - sheets) + (added - inks) + (counted + added - changes) + (1 - papers)
    print(f"  {processes} process(es): {pace:7.0f} things a second; errors {errors}, lost updates {lost}")
    return pace, errors + lost


def with_paper(folder: Path) -> None:
    """Put the paper in that is counted."""
    catalogue = open_archive(folder)
    with catalogue.write(Act("Wren Tallow", "start")) as session:
        add_record(session, "paper", PAPER, {"sheets-left": "0"})
    catalogue.close()


def on(kind: str, folder: Path, server: str, things: int) -> int:
    """Print the figures of one database."""
    print(f"{kind}, {things} things for each of two processes")
    paces = []
    wrong = 0
    for processes in (1, 2):
        name = f"bench_{os.getpid()}_{processes}"
        url = make_url(server).set(database=name).render_as_string() if server else None
        if server:
            told = make_url(server).set(drivername="postgresql").render_as_string(hide_password=False)
            with psycopg.connect(told, autocommit=True) as connection:
                connection.execute(f'CREATE DATABASE "{name}"'.encode())
        start_archive(folder / f"{kind}-{processes}", url).close()
        # one alone only gives the pace to hold the two against
        pace, bad = run(folder / f"{kind}-{processes}", processes, things if processes > 1 else things // 5)
        paces.append(pace)
        wrong += bad
        if server:
            with psycopg.connect(told, autocommit=True) as connection:
                connection.execute(f'DROP DATABASE "{name}"'.encode())
    print(f"  two together do {paces[1] / paces[0]:.2f} x what one does alone")
    return wrong


def main() -> int:
    """Print the figures of both databases; return 1 where anything went wrong."""
    things = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    print(machine())
    with tempfile.TemporaryDirectory() as folder:
        wrong = on("sqlite", Path(folder), "", things)
        server = os.environ.get("INKCHEST_TEST_POSTGRESQL", "")
        if server:
            wrong += on("postgresql", Path(folder), server, things)
        else:
            print("INKCHEST_TEST_POSTGRESQL names no server: PostgreSQL was left out")
    return int(wrong > 0)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--work"]:
        work(Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
    else:
        sys.exit(main())
