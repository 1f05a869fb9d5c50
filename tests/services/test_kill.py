"""Kill -9 at any moment leaves a whole archive, and the same import again completes it."""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from archive.catalogue.database import open_archive
from archive.services.records import add_record
from tests.acts import act
from tests.services.keeping import photo

PICTURES = 12
STEPS = 4 * PICTURES  # each picture: its original and two thumbnails are renamed into place, then its row is committed


def kills(kind: str, batch: int) -> list[dict[str, Any]]:
    """Return the kills of a batch: at steps, before and after them, and at moments, all drawn from a seed."""
    chance = random.Random(f"{kind} {batch}")
    every = [{"step": step, "after": after} for step in range(STEPS) for after in (False, True)]
    if kind == "pictures":
        at_steps = chance.sample(every[batch::2], 8)
    else:
        at_steps = [{"step": 0, "after": after} for after in (False, True)]  # its only step is its commit
    return [*at_steps, *({"fraction": chance.uniform(0.02, 0.9)} for _ in range(3 if kind == "pictures" else 8))]


def run(kind: str, started: Path, work: Path, source: Path, plan: list[dict[str, Any]]) -> dict[str, Any]:
    command = [sys.executable, str(Path(__file__).with_name("killing.py")), kind, started, work, source]
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    done = subprocess.run(
        [*map(str, command), json.dumps(plan)],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
        env={**os.environ, **one_thread},
    )
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def same(found: dict[str, Any], whole: dict[str, Any]) -> bool:
    return all(found[name] == whole[name] for name in ("pictures", "readings", "sets", "files"))


@pytest.mark.usefixtures("database_kind")
@pytest.mark.parametrize("batch", range(2))
def test_pictures_that_were_killed_leave_a_whole_archive_and_go_on(started: Path, tmp_path: Path, batch: int) -> None:
    source = tmp_path / "photos"
    source.mkdir()
    for number in range(PICTURES):
        photo(source / f"{number:02}.png", number)
    found = run("pictures", started, tmp_path, source, kills("pictures", batch))
    whole = found["whole"]
    assert whole["steps"] == STEPS
    assert len(whole["pictures"]) == PICTURES
    assert whole["damage"] == []
    for result in found["results"]:
        left, again = result["left"], result["again"]
        assert result["killed"] or "fraction" in result["kill"], result["kill"]
        assert [item for item in left["damage"] if item[1]] == [], result["kill"]
        assert {item[0] for item in left["damage"]} <= {"orphan_file", "leftover"}, result["kill"]
        assert left["pictures"] == whole["pictures"][: len(left["pictures"])], result["kill"]
        assert {sha256 for _, sha256, _ in left["pictures"]} <= set(left["files"]), result["kill"]
        assert same(again, whole), result["kill"]
        assert {item[0] for item in again["damage"]} <= {"leftover"}, result["kill"]
        assert again["changes"] <= 2
    killed = [result for result in found["results"] if result["killed"]]
    assert len(killed) >= 8  # so at least 16 in the two batches, besides those at moments
    # between a file's renaming and its row's commit: the file is there, no row names it
    assert any(len(result["left"]["files"]) > len(result["left"]["pictures"]) for result in killed)


@pytest.mark.usefixtures("database_kind")
@pytest.mark.parametrize("batch", range(2))
def test_readings_that_were_killed_are_there_whole_or_not_at_all(started: Path, tmp_path: Path, batch: int) -> None:
    furnished = tmp_path / "furnished"
    shutil.copytree(started, furnished)
    catalogue = open_archive(furnished)
    with catalogue.write(act("furnish")) as session:
        for noun, name in (("ink", "Ferrywake"), ("ink", "Dockrope"), ("paper", "Oatleaf 120")):
            add_record(session, noun, name, {})
    catalogue.close()
    source = tmp_path / "strip.csv"
    lines = ["sample,paper,ink_1,tint_1,ink_2,tint_2,lab_l,lab_a,lab_b"]
    lines += [
        f"{blue}-{dull},Oatleaf 120,Dockrope,{dull},Ferrywake,{blue},{90 - blue / 3},{-dull / 9},{dull / 3}"
        for blue in range(10, 101, 10)
        for dull in range(10, 101, 10)
    ]
    source.write_text("\n".join(lines))
    found = run("readings", furnished, tmp_path, source, kills("readings", batch))
    whole = found["whole"]
    assert len(whole["readings"]) == 10 * 10
    for result in found["results"]:
        left, again = result["left"], result["again"]
        assert left["damage"] == [], result["kill"]
        assert left["readings"] in ([], whole["readings"]), result["kill"]
        assert left["sets"] == (1 if left["readings"] else 0)
        assert same(again, whole), result["kill"]
        assert again["damage"] == []
        assert again["changes"] == 1
    assert sum(result["killed"] for result in found["results"]) >= 2
