"""Which tests that take an archive run on SQLite alone, and why; all others run on both databases.

`python -m tests.only_sqlite REPORT` holds a run's report (JUnit's XML) against that.
"""

from __future__ import annotations

import re
import sys
from collections import defaultdict
from pathlib import Path
from xml.etree import ElementTree

ON_BOTH = {"sqlite": "on-sqlite", "postgresql": "on-postgresql"}
ALONE = "sqlite-alone"

_BACKUP = "a backup is a copy of the database's file; an archive on a server is packed instead"
_BYTES = "it looks into the database's file; a server wipes its pages in its own time"
_KILLED = "the process that dies writes the file itself; a server outlives whoever writes (test_postgresql_server)"
_FILE = "it harms the database's file; what can befall a server is in test_postgresql_server"

REASONS = {
    "services.test_backup": _BACKUP,
    "services.test_kill": _KILLED,
    "services.test_check::test_a_damaged_database_is_told": _FILE,
    "services.test_people::test_the_name_leaves_the_files_bytes_too": _BYTES,
    "services.test_people::test_older_copies_beside_the_database_go_with_the_name": _BYTES,
    "services.test_people::test_what_cannot_be_wiped_now_is_told": _BYTES,
    "services.test_readings::test_what_is_exported_comes_in_again_the_same": (
        "thirty archives in one test; the same exports run on both in the tests beside it"
    ),
    "services.test_first_evening::test_the_archive_folder_is_the_only_thing_needed": "the file is the archive",
    "catalogue.test_migrations": "it alters and rebuilds the tables, which is another thing in each database",
    "catalogue.test_database::test_an_archive_that_another_program_holds_alone_is_told": _FILE,
    "catalogue.test_database::test_a_missing_database_is_told_and_not_made": _FILE,
    "catalogue.test_database::test_a_database_that_is_none_is_told": _FILE,
    "catalogue.test_database::test_a_damaged_database_is_told": _FILE,
    "catalogue.test_database::test_another_programs_database_is_told": _FILE,
    "catalogue.test_database::test_a_full_disk_changes_nothing_and_is_told": _FILE,
}


def is_only_sqlite(module: str, function: str) -> bool:
    """Return whether a test runs on SQLite alone."""
    return _reason_for(module, function) is not None


def _reason_for(module: str, function: str) -> str | None:
    name = module.removeprefix("tests.")
    return next((listed for listed in REASONS if listed in (name, f"{name}::{function}")), None)


def faults_of(cases: list[tuple[str, str]], *, whole_run: bool) -> list[str]:
    """Return what is wrong with the tests of a run, each told by its module and its name with what is in brackets.

    Every test of an archive ran on both databases, or is listed above; where all were run, what is listed is there.
    """
    by_kind: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for module, name in cases:
        for kind in (*ON_BOTH.values(), ALONE):
            found = re.sub(rf"(?<=[\[-]){kind}(?=[\]-])", "", name)
            if found != name:
                by_kind[kind].add((module, found))
    sqlite, postgresql = (by_kind[kind] for kind in ON_BOTH.values())
    faults = [f"{'::'.join(each)} ran on SQLite alone" for each in sorted(sqlite - postgresql)]
    faults += [f"{'::'.join(each)} ran on PostgreSQL alone" for each in sorted(postgresql - sqlite)]
    used = {_reason_for(module, name.partition("[")[0]) for module, name in by_kind[ALONE]}
    if None in used:
        faults.append("a test ran on SQLite alone that is not listed")
    if whole_run:
        faults += [f"{listed} is listed and no such test ran" for listed in sorted(REASONS.keys() - used)]
        if not postgresql:
            faults.append("no test ran on PostgreSQL")
    return faults


def main(report: Path, *, whole_run: bool) -> int:
    """Print how many tests ran on which database and what is wrong with that; return 1 where something is."""
    found = ElementTree.parse(report).getroot().iter("testcase")
    cases = [(case.get("classname", ""), case.get("name", "")) for case in found]
    counts = {kind: sum(kind in name for _, name in cases) for kind in (*ON_BOTH.values(), ALONE)}
    print("Tests of an archive:", ", ".join(f"{count} {kind}" for kind, count in counts.items()))
    faults = faults_of(cases, whole_run=whole_run)
    print(*faults, sep="\n", end="\n" if faults else "")
    return int(bool(faults))


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), whole_run="--whole" in sys.argv[2:]))
