"""A program that imports in children of its own and kills them: `python killing.py KIND STARTED WORK SOURCE PLAN`.

KIND is pictures or readings, STARTED an archive to copy for each kill, WORK a folder for the copies, SOURCE what is
imported, PLAN a JSON list of kills: `{"step": 7, "after": true}` dies at the seventh step, before or after it is
done (a step is a file renamed into place, or a commit); `{"fraction": 0.4}` dies at that part of the whole import's
time. It prints a JSON list of what was found after each kill, and last of what an import that nobody kills leaves.

Everything is imported once, here; each import then runs in a fork, since starting Python anew would take most of the
time. Nothing here is a stand-in: the process really dies by SIGKILL.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
from sqlalchemy import select

from archive.catalogue.database import Catalogue, open_archive
from archive.catalogue.history import Act
from archive.catalogue.models import Change, Measurement, PaletteColour, Picture, ReadingsSet, Recipe, Swatch
from archive.services.check import check_archive
from archive.services.pictures import add_pictures, read_picture
from archive.services.readings import ImportOptions, import_readings

cv2.setNumThreads(0)  # threads do not live on in a fork


def do_import(catalogue: Catalogue, kind: str, source: Path) -> None:
    act = Act("Wren Tallow", f"import {source.name}", kind="import")
    if kind == "pictures":
        add_pictures(catalogue, sorted(source.glob("*.png")), act)
    else:
        import_readings(catalogue, source, ImportOptions(), act)


def rows(catalogue: Catalogue) -> dict[str, Any]:
    """Return what an import left, without ids and moments."""
    with catalogue.read() as session:
        pictures = session.execute(select(Picture.id, Picture.name, Picture.sha256).order_by(Picture.name)).all()
        colours = session.scalars(select(PaletteColour.picture_id)).all()
        measured = (
            select(
                Swatch.sample, Swatch.fingerprint, Recipe.key, Measurement.lab_l, Swatch.standing_id == Measurement.id
            )
            .join(Recipe, Recipe.id == Swatch.recipe_id)
            .join(Measurement, Measurement.swatch_id == Swatch.id)
            .order_by(Swatch.fingerprint)
        )
        return {
            "pictures": [[name, sha256, colours.count(picture_id)] for picture_id, name, sha256 in pictures],
            "readings": [list(row) for row in session.execute(measured)],
            "sets": len(session.scalars(select(ReadingsSet.id)).all()),
            "changes": len(session.scalars(select(Change.id).where(Change.kind == "import")).all()),
            "files": list(catalogue.files.all_originals()),
        }


def look(folder: Path) -> dict[str, Any]:
    """Open an archive as the next day's first command would, and return what is there and what is wrong."""
    catalogue = open_archive(folder)
    found = {**rows(catalogue), "damage": [[item.code, item.is_harm, item.what] for item in check_archive(catalogue)]}
    catalogue.close()
    return found


def steps_die(catalogue: Catalogue, at: int, *, after: bool) -> Callable[[], int]:
    """Make the process die at a step; return how to ask for the number of steps so far."""
    count = 0

    def step(do: Callable[..., Any]) -> Callable[..., Any]:
        def stepped(*given: Any, **named: Any) -> Any:
            nonlocal count
            count += 1
            if count == at and not after:
                os.kill(os.getpid(), signal.SIGKILL)
            done = do(*given, **named)
            if count == at and after:
                os.kill(os.getpid(), signal.SIGKILL)
            return done

        return stepped

    os.replace = step(os.replace)
    catalogue.engine.dialect.do_commit = step(catalogue.engine.dialect.do_commit)  # type: ignore[method-assign]
    return lambda: count


def forked(do: Callable[[], Any], *, kill_after: float | None = None) -> Any:
    """Return what a function returns in a child, as JSON; None when the child was killed."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        status = 1
        try:
            os.close(reading)
            with os.fdopen(writing, "w") as pipe:
                json.dump(do(), pipe)
            status = 0
        finally:
            os._exit(status)
    os.close(writing)
    if kill_after is not None:
        time.sleep(kill_after)
        os.kill(child, signal.SIGKILL)
    with os.fdopen(reading) as pipe:
        text = pipe.read()
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL:
        return None
    if status != 0:
        raise SystemExit("a child failed")
    return json.loads(text)


def main() -> None:
    kind, (started, work, source) = sys.argv[1], map(Path, sys.argv[2:5])
    if kind == "pictures":
        read_picture(next(source.glob("*.png")), max_megapixels=1)  # loads what is loaded late

    def imported(folder: Path, at: int = 0, *, after: bool = False) -> dict[str, Any]:
        begun = time.monotonic()
        catalogue = open_archive(folder)
        steps = steps_die(catalogue, at, after=after)
        do_import(catalogue, kind, source)
        catalogue.close()
        return {"steps": steps(), "seconds": time.monotonic() - begun}

    whole_folder = shutil.copytree(started, work / "whole")
    whole = forked(lambda: imported(whole_folder))
    results = []
    for number, kill in enumerate(json.loads(sys.argv[5])):
        folder = shutil.copytree(started, work / str(number))
        at = kill.get("step", 0) % whole["steps"] + 1 if "step" in kill else 0
        delay = kill["fraction"] * whole["seconds"] if "fraction" in kill else None
        died = forked(lambda f=folder, a=at, k=kill: imported(f, a, after=k.get("after", False)), kill_after=delay)
        left = forked(lambda f=folder: look(f))
        again = forked(lambda f=folder: (imported(f), look(f))[1])
        results.append({"kill": kill, "killed": died is None, "left": left, "again": again})
        shutil.rmtree(folder)
    print(json.dumps({"whole": {**whole, **forked(lambda: look(whole_folder))}, "results": results}))


if __name__ == "__main__":
    main()
