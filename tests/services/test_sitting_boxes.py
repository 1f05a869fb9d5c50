"""Which place a frame lies in: printed cards photographed first, order before clocks; and job slips beside a sheet."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.identity import new_uid
from archive.catalogue.models import Copy, Frame, Place, Run, Sitting, Slip
from archive.output.codes import code_text
from archive.services.sitting_take import FrameOutcome, TakeOptions, take_frames
from archive.services.sittings import NewSitting, open_sitting
from archive.services.slips import print_slips
from tests.acts import act
from tests.output.photos import draw, rendered
from tests.services.keeping import add
from tests.services.make import enter_house
from tests.services.test_sitting_kill import place_card
from tests.studio import lens
from tests.studio.storeroom import CARD_MM, TABLE, Stand, random_print, written

STAND = Stand(size=(800, 600), px_per_mm=1.3)
FINE = 10.0  # pixels a millimetre of a rendered page


@dataclass(frozen=True)
class Desk:
    """Shots of a stand: numbered prints, and the two that a sitting needs."""

    folder: Path

    def prints(self, to: Path, *moments: str | None) -> list[Path]:
        """Return copies of the prints, each with the moment its camera's clock told."""
        to.mkdir(exist_ok=True)
        files = []
        for number, moment in enumerate(moments):
            content = (self.folder / f"print{number}.jpg").read_bytes()
            files.append(written(to / f"{number}.jpg", content, taken=moment))
        return files


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    folder = tmp_path_factory.mktemp("stand")
    written(folder / "white.jpg", STAND.white())
    written(folder / "card.jpg", STAND.card().jpeg)
    for number in range(4):
        written(folder / f"print{number}.jpg", STAND.sheet(random_print(number)).jpeg)
    return Desk(folder)


@pytest.fixture
def sitting(catalogue: Catalogue, desk: Desk) -> Catalogue:
    """Return an archive with two boxes and a sitting open."""
    for name in ("Box 14", "Box 15"):
        add(catalogue, "place", name)
    shots = (desk.folder / "white.jpg", desk.folder / "card.jpg")
    open_sitting(catalogue, NewSitting(*shots, card_mm=CARD_MM), act("open a sitting"))
    return catalogue


def take(catalogue: Catalogue, *paths: Path) -> tuple[FrameOutcome, ...]:
    return take_frames(catalogue, paths, act("take frames"), TakeOptions(anyway=True)).frames


def card_of(catalogue: Catalogue, name: str, to: Path, *, turn_deg: float = 0.0) -> Path:
    """Return a photo of a place's printed card."""
    with catalogue.read() as session:
        page = place_card(session, name)
    return written(to, STAND.page(page, turn_deg=turn_deg))


def test_what_follows_a_place_card_lies_there_until_the_next(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    prints = desk.prints(tmp_path / "photos", None, None, None)
    box14 = card_of(sitting, "Box 14", tmp_path / "a.jpg")
    box15 = card_of(sitting, "Box 15", tmp_path / "b.jpg", turn_deg=170.0)
    frames = take(sitting, prints[0], box14, prints[1], box15, prints[2])
    assert [frame.kind for frame in frames] == ["print", "place card", "print", "place card", "print"]
    assert [frame.place for frame in frames] == [None, "Box 14", "Box 14", "Box 15", "Box 15"]
    assert [frame.group for frame in frames] == [1, 2, 2, 3, 3]
    assert [frame.work is None for frame in frames] == [False, True, False, True, False]
    with sitting.read() as session:
        kept = session.execute(
            select(Place.name).outerjoin(Copy, Copy.place_id == Place.id).where(Copy.id.is_not(None))
        )
        assert sorted(kept.scalars()) == ["Box 14", "Box 15"]


def test_a_box_card_photographed_twice_makes_one_group(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    (print_,) = desk.prints(tmp_path / "photos", None)
    first = card_of(sitting, "Box 14", tmp_path / "a.jpg")
    again = card_of(sitting, "Box 14", tmp_path / "b.jpg", turn_deg=3.0)
    same = Path(shutil.copy(first, tmp_path / "c.jpg"))
    frames = take(sitting, first, again, same, print_)
    assert [frame.status for frame in frames] == ["taken", "taken", "skipped", "taken"]
    assert {frame.group for frame in frames} == {1}
    assert {frame.place for frame in frames} == {"Box 14"}


def test_a_card_of_another_archive_leaves_the_place_unknown_not_wrong(
    sitting: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    prints = desk.prints(tmp_path / "photos", None, None)
    box14 = card_of(sitting, "Box 14", tmp_path / "a.jpg")
    foreign = written(tmp_path / "b.jpg", STAND.page(foreign_card()))
    _, before, card, after = take(sitting, box14, prints[0], foreign, prints[1])
    assert (before.place, card.place, after.place) == ("Box 14", None, None)
    assert "unknown_place" in {warning["code"] for warning in card.warnings}
    with sitting.read() as session:
        assert session.scalars(select(Sitting.place_id)).one() is None


def foreign_card() -> Image.Image:
    """Return a card whose code names a place that no archive here has."""
    import cv2

    code = cv2.QRCodeEncoder.create().encode(code_text("place", new_uid()))  # OpenCV's encoder, not the archive's
    page = np.full((1500, 1050), 255, np.uint8)
    side = 700
    page[300 : 300 + side, 175 : 175 + side] = cv2.resize(code, (side, side), interpolation=cv2.INTER_NEAREST)
    return Image.fromarray(page)


def test_a_place_card_that_was_taken_before_still_says_where_what_follows_lies(
    sitting: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    prints = desk.prints(tmp_path / "photos", None, None, None)
    box14 = card_of(sitting, "Box 14", tmp_path / "a.jpg")
    box15 = card_of(sitting, "Box 15", tmp_path / "b.jpg")
    take(sitting, box14, prints[0], box15, prints[1])
    skipped, late = take(sitting, box14, prints[2])
    assert (skipped.status, late.status, late.place) == ("skipped", "taken", "Box 14")


@pytest.mark.parametrize(
    ("clocks", "groups"),
    [
        (("2025-03-14 10:00:00", "2025-03-14 10:01:00", "2025-03-14 10:45:00"), [1, 1, 2]),  # a pause
        (("2025-03-14 10:00:00", "1970-01-01 00:00:10", "1970-01-01 00:01:00"), [1, 1, 1]),  # the battery died
        (("2031-01-01 00:00:00", "2025-03-14 10:01:00", "2025-03-14 10:02:00"), [1, 1, 1]),  # the clock was set
        ((None, "2025-03-14 10:01:00", None), [1, 1, 1]),  # some were sent on and lost their time
        (("2025-03-17 18:00:00", "2025-03-17 18:00:00", "2025-03-14 10:02:00"), [1, 1, 1]),  # copied days later
    ],
)
def test_groups_go_on_through_a_dead_battery_a_wrong_clock_and_late_copies(
    sitting: Catalogue, desk: Desk, tmp_path: Path, clocks: tuple[str | None, ...], groups: list[int]
) -> None:
    files = desk.prints(tmp_path / "photos", *clocks)
    at_once = [frame.group for frame in take(sitting, files[0])]
    at_once += [frame.group for frame in take(sitting, *files[1:])]  # a second command goes on where it was
    assert at_once == groups
    with sitting.read() as session:
        assert session.scalars(select(Frame.group_number).order_by(Frame.position)).all() == groups


# --- job slips


@dataclass(frozen=True, slots=True)
class SlipStand(Stand):
    """A stand with a job slip lying beside the sheet."""

    slip: Image.Image | None = None
    slip_mm: tuple[float, float] = (148.0, 210.0)

    def _flat(self, reflectance: float) -> NDArray[np.float32]:
        canvas = Stand._flat(self, reflectance)
        if self.slip is None or reflectance != TABLE:
            return canvas
        grey = np.asarray(self.slip.convert("L"), np.float32) / 255
        flat = (0.03 + 0.85 * grey**2.2)[..., None] * (np.ones(len(self.seen)) @ self.seen)
        corners = self._view(0.0).project(lens.rectangle(*self.slip_mm, at=(165.0, 10.0), turn_deg=4.0))
        return lens.place(canvas, flat.astype(np.float32), corners)


def ticked(page: NDArray[np.uint8], layout: dict[str, Any], **ticks: str) -> None:
    """Tick boxes of a slip; "ink_11" stands for the group "ink 1.1"."""
    wanted = {name.replace("_", " "): value for name, value in ticks.items()}
    for box in layout["boxes"]:
        if wanted.get(box["group"].replace(".", "")) == box["value"]:
            size, x, y = (float(box[name]) * FINE for name in ("size", "x", "y"))
            points = [(0.15, 0.5), (0.4, 0.85), (0.9, 0.1)]
            draw(page, [(x + size * u, y + size * v) for u, v in points], "blue", 0.6)


def slip_photo(catalogue: Catalogue, desk: Path, name: str, layout_of: int, **ticks: str) -> Path:
    """Return a photo of a sheet with a ticked slip beside it."""
    with catalogue.read() as session:
        slip = session.scalars(select(Slip).order_by(Slip.id)).all()[layout_of]
        layout = dict(slip.layout)
    page = rendered((desk / "slips.pdf").read_bytes(), layout_of, px_per_mm=FINE)
    ticked(page, layout, **ticks)
    size = (float(layout["width"]), float(layout["height"]))
    stand = SlipStand(size=(2600, 1950), px_per_mm=4.6, slip=Image.fromarray(page), slip_mm=size)
    return written(desk / name, stand.sheet(random_print(1), has_card=False).jpeg)


def test_a_job_slip_beside_the_sheet_is_the_record_of_its_run(sitting: Catalogue, tmp_path: Path) -> None:
    enter_house(sitting)
    with sitting.write(act("print slips")) as session:
        print_slips(session, tmp_path / "slips.pdf", count=1)
    ticks = {"ink_11": "Dockrope", "ink_12": "Ferrywake", "paper": "Oatleaf 120", "density": "4", "good_10": "3"}
    photo = slip_photo(sitting, tmp_path, "run.jpg", 0, **ticks)
    (frame,) = take(sitting, photo)
    assert frame.status == "taken"
    assert frame.work is not None
    assert not {warning["code"] for warning in frame.warnings} & {"slip_unread", "slip_in_doubt"}
    with sitting.read() as session:
        run, slip = session.scalars(select(Run)).one(), session.scalars(select(Slip)).one()
        assert (run.density, run.good) == (4, 30)
        assert slip.run_id == run.id
        assert slip.ticks["layers"] == [["Dockrope", 1], ["Ferrywake", 1]]
    content = photo.read_bytes()
    (tmp_path / "again.jpg").write_bytes(content + b"again")
    (again,) = take(sitting, tmp_path / "again.jpg")
    assert "slip_known" in {warning["code"] for warning in again.warnings}
    with sitting.read() as session:
        assert len(session.scalars(select(Run)).all()) == 1
