"""A program that takes frames in children of its own and kills one after the other: `python killing_frames.py PLAN`.

PLAN is JSON: `{"chest", "whole", "source", "kills": [...]}`, two archives alike in which a sitting is open, a folder of
frames, and kills as in `killing.py`: `{"step": 7, "after": true}` or `{"seconds": 0.4}`. Every child is given the same
files: the first finds none taken, each one after that goes on where the killed one left off, and the last is left
alone. It prints what was there after each, and what a take that nobody kills leaves.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import cv2
from sqlalchemy import select

from archive.catalogue.database import Catalogue, open_archive
from archive.catalogue.history import Act
from archive.catalogue.models import Copy, Frame, Picture, Place, Work
from archive.services.check import check_archive
from archive.services.sitting_take import take_frames
from tests.services.killing import forked, steps_die

cv2.setNumThreads(0)  # threads do not live on in a fork


def rows(catalogue: Catalogue) -> dict[str, Any]:
    """Return what a take left, without ids and moments."""
    with catalogue.read() as session:
        frames = session.execute(
            select(Frame, Picture.name, Place.path)
            .outerjoin(Picture, Picture.id == Frame.picture_id)
            .outerjoin(Place, Place.id == Frame.place_id)
            .order_by(Frame.position)
        ).all()
        names = dict(session.execute(select(Picture.uid, Picture.name)).all())
        return {
            "frames": [
                [frame.position, frame.name, frame.sha256, frame.kind, frame.group_number, picture, place,
                 sorted([names[each["picture"]], each["as"]] for each in frame.alike or ())]
                for frame, picture, place in frames
            ],
            "pictures": sorted(names.values()),
            "works": len(session.scalars(select(Work.id)).all()),
            "copies": len(session.scalars(select(Copy.id)).all()),
            "files": list(catalogue.files.all_originals()),
        }  # fmt: skip


def taken(folder: Path, source: Path, kill: dict[str, Any] | None) -> dict[str, Any]:
    catalogue = open_archive(folder)
    steps = steps_die(catalogue, kill.get("step", 0) if kill else 0, after=bool(kill and kill.get("after")))
    take_frames(catalogue, [source], Act("Wren Tallow", "take frames"))
    catalogue.close()
    return {"steps": steps()}


def look(folder: Path) -> dict[str, Any]:
    """Open an archive as the next command would, and return what is there and what is wrong."""
    catalogue = open_archive(folder)
    found = {**rows(catalogue), "damage": [[item.code, item.is_harm, item.what] for item in check_archive(catalogue)]}
    catalogue.close()
    return found


def main() -> None:
    plan = json.loads(sys.argv[1])
    chest, whole, source = (Path(plan[name]) for name in ("chest", "whole", "source"))
    whole_steps = forked(lambda: taken(whole, source, None))
    results = []
    for kill in plan["kills"]:
        died = forked(lambda k=kill: taken(chest, source, k), kill_after=kill.get("seconds"))
        results.append({"kill": kill, "killed": died is None, "left": forked(lambda: look(chest))})
    forked(lambda: taken(chest, source, None))
    print(
        json.dumps(
            {
                "whole": {**whole_steps, **forked(lambda: look(whole))},
                "results": results,
                "again": forked(lambda: look(chest)),
            }
        )
    )


if __name__ == "__main__":
    main()
