"""A copy stand's shots on a desk, for tests of what comes after a sitting took them: proposals, likeness, joins."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.catalogue.database import Catalogue, open_archive
from archive.services.sitting_take import FrameOutcome, TakeOptions, TakeReport, take_frames
from archive.services.sittings import NewSitting, SittingCard, open_sitting
from tests.acts import act
from tests.studio.storeroom import CARD_MM, Print, Shot, Stand, written

STAND = Stand()


@dataclass(frozen=True)
class Desk:
    """A folder with the white sheet, the card and prints, and the truth about the prints."""

    folder: Path
    prints: dict[str, tuple[Print, Shot]]

    def __getitem__(self, name: str) -> Path:
        return self.folder / f"{name}.jpg"


def lay_out(folder: Path, prints: dict[str, tuple[Print, dict[str, Any]]], stand: Stand = STAND) -> Desk:
    """Write a stand's white sheet and card, and a shot of each print, as they are given to `Stand.sheet`."""
    written(folder / "white.jpg", stand.white())
    written(folder / "card.jpg", stand.card().jpeg)
    shots = {}
    for name, (print_, more) in prints.items():
        shot = stand.sheet(print_, **more)
        written(folder / f"{name}.jpg", shot.jpeg, taken=f"2025-03-14 10:{len(shots):02}:00")
        shots[name] = (print_, shot)
    return Desk(folder, shots)


def opened(catalogue: Catalogue, desk: Desk, **more: Any) -> SittingCard:
    new = NewSitting(**{"white": desk["white"], "card": desk["card"], "card_mm": CARD_MM, **more})
    return open_sitting(catalogue, new, act("open a sitting"))


def take(catalogue: Catalogue, *paths: Path, **options: Any) -> TakeReport:
    return take_frames(catalogue, paths, act("take frames"), TakeOptions(**options))


def picture_of(frame: FrameOutcome) -> str:
    """Return the uid of the picture that a frame became."""
    assert frame.picture is not None, frame.why
    return frame.picture


def a_copy(chest: Path, folder: Path) -> Iterator[Catalogue]:
    """Give a copy of an archive that was filled once for a whole module: taking frames is the slow part."""
    shutil.copytree(chest, folder / "chest")
    catalogue = open_archive(folder / "chest")
    yield catalogue
    catalogue.close()
