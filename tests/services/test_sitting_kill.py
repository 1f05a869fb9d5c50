"""Kill -9 at any moment of `sitting take` loses no frame and takes none twice: the same files again go on.

A thousand frames and fifty kills are `tests/bench/bench_take_kills.py`, by hand.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Any

from PIL import Image

from archive.catalogue.database import open_archive
from archive.catalogue.models import Place
from archive.output.place_pages import PlacePage, place_cards
from archive.services.lookup import find_record
from archive.services.sittings import NewSitting, open_sitting
from tests.acts import act
from tests.output.photos import rendered
from tests.services.keeping import add
from tests.studio.storeroom import CARD_MM, Stand, random_print, written

STAND = Stand(size=(640, 480), px_per_mm=1.04)
PRINTS = 7
KILLS = 5
STEPS = (
    4  # at least that a frame has: its original and two thumbnails are renamed into place, then its row is committed
)


def place_card(session: Any, name: str) -> Image.Image:
    """Return the printed page of a place's card."""
    place = find_record(session, "place", name)
    assert isinstance(place, Place)
    pages = place_cards([PlacePage(place.uid, name, "box")], day=date(2025, 3, 14))
    return Image.fromarray(rendered(pages.pdf, px_per_mm=5.0))


def furnish(chest: Path, source: Path, prints: int, stand: Stand = STAND, boxes: int = 2) -> None:
    """Enter boxes, photograph their cards and prints, and open a sitting."""
    catalogue = open_archive(chest)
    names = [f"Box {number}" for number in range(14, 14 + boxes)]
    for name in names:
        add(catalogue, "place", name)
    source.mkdir()
    with catalogue.read() as session:
        cards = [stand.page(place_card(session, name)) for name in names]
    number = 0
    for shot in range(prints):
        if shot % -(-prints // boxes) == 0:
            card = cards[shot // -(-prints // boxes)]
            written(source / f"{number:04}.jpg", card, taken=moment(number))
            number += 1
        print_ = stand.sheet(random_print(shot), turn_deg=shot % 5 - 2.0)
        written(source / f"{number:04}.jpg", print_.jpeg, taken=moment(number + 30 * (shot > prints // 2)))
        number += 1
    white = written(source.parent / "white.jpg", stand.white())
    card_shot = written(source.parent / "card.jpg", stand.card().jpeg)
    open_sitting(catalogue, NewSitting(white, card_shot, card_mm=CARD_MM), act("open a sitting"))
    catalogue.close()


def moment(minute: int) -> str:
    return f"2025-03-14 {8 + minute // 60 % 14:02}:{minute % 60:02}:00"


def run(plan: dict[str, Any]) -> dict[str, Any]:
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-m", "tests.services.killing_frames", json.dumps(plan)],
        capture_output=True,
        text=True,
        check=False,
        cwd=root,
        env={**os.environ, **one_thread},
    )
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def judge(found: dict[str, Any], frames: int) -> None:
    """Say that nothing was lost or taken twice, at any time, and that groups and places are those of a whole take."""
    whole = found["whole"]
    assert len(whole["frames"]) == frames
    for result in found["results"]:
        left = result["left"]
        assert left["frames"] == whole["frames"][: len(left["frames"])], result["kill"]
        assert [item for item in left["damage"] if item[1]] == [], result["kill"]
        assert left["works"] == left["copies"] == sum(frame[3] == "print" for frame in left["frames"])
        assert {frame[2] for frame in left["frames"]} <= set(left["files"])
    for name in ("frames", "pictures", "works", "copies", "files"):
        assert found["again"][name] == whole[name]
    assert [item for item in found["again"]["damage"] if item[1]] == []


def test_a_take_killed_again_and_again_goes_on_without_losing_or_doubling_a_frame(
    started: Path, tmp_path: Path
) -> None:
    furnish(started, tmp_path / "photos", PRINTS)
    whole = Path(shutil.copytree(started, tmp_path / "whole"))
    chance = random.Random("take")
    kills: list[dict[str, Any]] = [
        {"step": chance.randint(1, 2 * STEPS), "after": chance.random() < 0.5} for _ in range(KILLS - 2)
    ]
    kills += [{"seconds": chance.uniform(0.05, 0.6)} for _ in range(2)]
    found = run({
        "chest": str(started), "whole": str(whole), "source": str(tmp_path / "photos"), "kills": kills
    })  # fmt: skip
    judge(found, PRINTS + 2)
    assert sum(result["killed"] for result in found["results"]) >= KILLS - 2
    assert {frame[4] for frame in found["whole"]["frames"]} == {1, 2, 3}  # two cards and a pause
    places = {frame[6] for frame in found["whole"]["frames"]}
    assert len(places) == 2
    assert None not in places
