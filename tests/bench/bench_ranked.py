"""How long a ranked answer with filters takes in a large archive: in process, as a whole process, and after adding.

python tests/bench/bench_ranked.py                      a million swatches: some minutes, 3 GB, 2 GB in /tmp
python tests/bench/bench_ranked.py --memory 10000000    only the search, in memory; takes 6 GB
python tests/bench/bench_ranked.py --count 100000 --postgresql postgresql+psycopg://user@host:port/empty_database
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from timing import machine, row

from archive.catalogue.database import Catalogue, open_archive, start_archive
from archive.catalogue.history import Act
from archive.catalogue.models import Swatch
from archive.colour.tree import SwatchTree
from archive.planning.passes import DrumState, MachineState, PassPlanner
from archive.services.answers import match_colour
from archive.services.evidence_rows import InkSet
from archive.services.house import pass_planner
from archive.services.matching import Limits, MatchOptions
from archive.services.packing import pack, unpack
from archive.services.ranked_search import Classes, MainRows, search_main
from archive.services.ranking import House
from archive.services.records import add_record
from archive.services.search_index import open_known

INKS = [f"Ink {number}" for number in range(1, 21)]
PAPERS = ["Oatleaf 120", "Chalkroad 90", "Ryebank 100", "Duskmoth 140"]
PAIRS = [(one, two) for one in range(20) for two in range(20) if one != two]
QUESTIONS = {
    "no condition": MatchOptions(),
    "one paper, one pass": MatchOptions(paper="Oatleaf 120", passes=1),
    "in the house, proven": MatchOptions(in_house=True, evidence=("proven",)),
    "three inks, loaded, a paper": MatchOptions("Oatleaf 120", 2, False, True, tuple(INKS[:3])),
    "twenty by distance alone": MatchOptions(by_delta=True, limit=20),
}
WHOLE = """
import sys
from pathlib import Path
from archive.catalogue.database import open_archive
from archive.services.answers import match_colour
from archive.services.matching import MatchOptions
catalogue = open_archive(Path(sys.argv[1]))
with catalogue.read() as session:
    options = MatchOptions(paper="Oatleaf 120", passes=1)
    answer = match_colour(session, sys.argv[2], options, files=catalogue.files)
print(len(answer.matches), answer.matches[0].delta_e_2000)
"""


def colours(count: int, rng: Any) -> Any:
    """Return prints' colours: each pair of inks has a middle, and its swatches lie about it."""
    middle = rng.normal((58, 3, 6), (17, 28, 30), (len(PAIRS), 3))
    pair = np.arange(count) // 8 % len(PAIRS)  # eight swatches a recipe
    lab = middle[pair] + np.repeat(rng.normal(0, 9, (count // 8 + 1, 3)), 8, axis=0)[:count]
    lab += rng.normal(0, 0.8, (count, 3))
    return np.clip(lab, (8, -110, -110), (96, 110, 110)), pair


def fill(folder: Path, count: int) -> None:
    """Make an archive of so many swatches, written past the services: they would take hours."""
    catalogue = start_archive(folder)
    with catalogue.write(Act("bench", "the house")) as session:
        for ink in INKS:
            add_record(session, "ink", ink, {})
        for paper in PAPERS:
            add_record(session, "paper", paper, {})
        for machine_name in ("Upstairs", "Landing"):
            add_record(session, "machine", machine_name, {})
        for number, ink in enumerate(INKS[:12], start=1):
            add_record(session, "drum", str(number), {"ink": ink})
    rng = np.random.default_rng(20240504)
    lab, pair = colours(count, rng)
    spread = np.round(rng.choice([0.5, 0.8, 2.5, 5.0], count, p=[0.4, 0.4, 0.15, 0.05]), 2)
    recipes = range(1, (count + 7) // 8 + 1)
    with catalogue.engine.connect() as connection:
        raw: Any = connection.connection.driver_connection
        raw.executescript("PRAGMA foreign_keys=OFF; PRAGMA synchronous=OFF; BEGIN")
        raw.executemany(
            "INSERT INTO recipe (id, uid, key, paper_id, screen, is_told, order_known, words, change_id)"
            " VALUES (?, ?, ?, ?, 'FM', 0, 1, '', 1)",
            ((each, f"r{each:09d}", f"k{each}", (1, 1, 2, 1, 3, 1, 4)[each % 7]) for each in recipes),
        )
        raw.executemany(
            "INSERT INTO layer (recipe_id, position, print_pass, ink_id, ink_words, ink_sure, tint_low, tint_high)"
            " VALUES (?, ?, ?, ?, '', 1, ?, ?)",
            (
                (
                    each,
                    place + 1,
                    1,
                    PAIRS[pair[(each - 1) * 8]][place] + 1,
                    float(each % 100 + 1),
                    float(each % 100 + 1),
                )
                for each in recipes
                for place in (0, 1)
            ),
        )
        raw.executemany(
            "INSERT INTO swatch (id, uid, recipe_id, sample, name, name_key, lab_l, lab_a, lab_b, method, condition,"
            " spread, measured_on, out_of_range, note, change_id)"
            " VALUES (?, ?, ?, '', '', '', ?, ?, ?, 'instrument', 'M1', ?, ?, 0, '', 1)",
            (
                (
                    at + 1,
                    f"{at:08x}-0000-7000-8000-{at:012x}",
                    at // 8 + 1,
                    *lab[at].tolist(),
                    float(spread[at]),
                    f"20{at % 10 + 15}-03-01",
                )
                for at in range(count)
            ),
        )
        raw.execute("COMMIT")
        raw.executescript("PRAGMA synchronous=NORMAL; PRAGMA wal_checkpoint(TRUNCATE)")
    catalogue.close()


def told(name: str, taken: list[float], target: float | None) -> None:
    """Print the median against its target, and the worst."""
    row(name, float(np.median(taken)), target)
    print(f"    the best {min(taken) * 1e3:.1f} ms, the worst {max(taken) * 1e3:.1f} ms")


def in_archive(catalogue: Catalogue, wanted: Any) -> None:
    """Print how long the answers take once the index is open, and with everything that a question does."""
    with catalogue.read() as session:
        planner = pass_planner(session)
        for how, many, target in (("compiled", True, 0.02), ("plain", False, None)):
            known = open_known(session, None, Limits(), catalogue.files, many=many)
            for name, options in QUESTIONS.items():
                known.ranked(session, wanted[0], options, planner)
                ask = lambda colour, o=options, k=known: k.ranked(session, colour, o, planner)  # noqa: E731
                told(f"{how}, {name}", [timed(lambda c=c, ask=ask: ask(c)) for c in wanted], target)
        text = ["lab:" + ",".join(f"{part:.3f}" for part in each) for each in wanted]
        for how, many in (("compiled", True), ("plain", False)):
            whole_answer = lambda each, m=many: match_colour(  # noqa: E731
                session, each, QUESTIONS["one paper, one pass"], files=catalogue.files, many=m
            )
            told(
                f"the service's whole answer, {how}",
                [timed(lambda each=each, ask=whole_answer: ask(each)) for each in text],
                None,
            )


def near(lab: Any) -> Any:
    """Return two hundred wanted colours near stored ones."""
    return lab[:: len(lab) // 200] + np.array([1.0, 1.5, -1.5])


def timed(act: Any) -> float:
    """Return how long an act takes."""
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


def whole(folder: Path) -> tuple[list[float], list[float]]:
    """Return how long seven whole processes take, and how much of it they compute."""
    command = [sys.executable, "-c", WHOLE, str(folder), "lab:46.7,42.5,37.7"]
    taken, computed = [], []
    for _ in range(7):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        taken.append(timed(lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL)))
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        computed.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return taken, computed


def one_more(catalogue: Catalogue) -> None:
    """Add a swatch like the first one."""
    with catalogue.write(Act("bench", "one more")) as session:
        first = session.get_one(Swatch, 1)
        same = ("recipe_id", "lab_l", "lab_a", "lab_b", "method", "condition", "measured_on")
        session.add(Swatch(**{name: getattr(first, name) for name in same}))


def archive_of(count: int, database: str | None) -> None:
    """Print the figures of an archive of so many swatches."""
    with tempfile.TemporaryDirectory() as base:
        folder = Path(base) / "archive"
        print(f"{count:,} swatches entered in {timed(lambda: fill(folder, count)):.0f} s")
        if database is not None:
            folder = moved(folder, database)
        catalogue = open_archive(folder)
        with catalogue.read() as session:
            first = timed(lambda: open_known(session, None, Limits(), catalogue.files))
        print(f"first index: {first:.0f} s, {(folder / 'derived' / 'search-index').stat().st_size / 1e6:.0f} MB")
        wanted = near(colours(count, np.random.default_rng(20240504))[0])
        in_archive(catalogue, wanted)
        before, computed = whole(folder)
        told("match colour, whole process", before, 1.5)
        told("    of it computing", computed, None)
        one_more(catalogue)
        after, computed_after = whole(folder)  # on a busy machine two runs differ by more than what is asked here
        row("one swatch added, then asked: more", float(np.median(after) - np.median(before)), 0.05)
        row("    of it computing", float(np.median(computed_after) - np.median(computed)), 0.05)
        catalogue.close()


def moved(folder: Path, database: str) -> Path:
    """Return the folder of the same archive on PostgreSQL."""
    catalogue = open_archive(folder)
    pack(catalogue, folder.with_name("bag"))
    catalogue.close()
    there = folder.with_name("on-server")
    print(f"moved to PostgreSQL in {timed(lambda: unpack(folder.with_name('bag'), there, database=database)):.0f} s")
    return there


def in_memory(count: int) -> None:
    """Print how long the search alone takes on so many swatches."""
    rng = np.random.default_rng(20240504)
    lab, pair = colours(count, rng)
    recipe, rows = np.arange(count) // 8, np.arange(count)
    kind = np.zeros(count, np.int64)
    numbered = Classes.numbered(pair, recipe % 4, kind, rng.choice(3, count, p=[0.8, 0.15, 0.05]))
    assert numbered is not None
    classes, of_row = numbered
    sets: tuple[InkSet, ...] = tuple(((INKS[one], 1), (INKS[two], 1)) for one, two in PAIRS)
    began = time.perf_counter()
    tree = SwatchTree.build(lab, recipe * 5, of_row)
    print(f"{count:,} swatches, tree built in {time.perf_counter() - began:.1f} s")
    main = MainRows(tree, classes, of_row.astype(np.uint16), recipe, rows % 4000, rows, sets, tuple(PAPERS))
    drums = [DrumState(str(number), ink) for number, ink in enumerate(INKS[:12], start=1)]
    planner = PassPlanner(drums, [MachineState("Upstairs"), MachineState("Landing")], set(INKS[:12]))

    def compiled(colour: Any, options: MatchOptions) -> None:
        search_main(main, House(sets, options, planner), colour, options, Limits())

    def plain(colour: Any, options: MatchOptions) -> None:
        allowed = main.groups(options, House(sets, options, planner))[1]
        tree.best_per_key(colour, radius=Limits().related, at_least=options.limit * 5, allowed=allowed)

    for name, options in QUESTIONS.items():
        for how, ask, wanted in (("compiled", compiled, near(lab)), ("plain", plain, near(lab)[::10])):
            ask(wanted[0], options)
            times = [timed(lambda c=c, o=options, ask=ask: ask(c, o)) for c in wanted]
            told(f"search alone, {how}, {name}", times, None)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=1_000_000, help="swatches of the archive, a multiple of 200")
    parser.add_argument("--memory", type=int, default=0, help="only the search, on so many swatches")
    parser.add_argument("--postgresql", help="the address of an empty database for the archive")
    asked = parser.parse_args()
    print(machine())
    if asked.memory:
        in_memory(asked.memory)
    else:
        archive_of(asked.count, asked.postgresql)
