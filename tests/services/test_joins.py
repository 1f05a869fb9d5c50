"""A poster in four frames: joined on its plane or kept as parts, its colours read in single frames; squared sheets.

Frames are rendered through the published camera of `tests/studio`; differences are colour-science's CIEDE2000.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import select

from archive.catalogue.database import Catalogue, start_archive
from archive.catalogue.models import Joined, Picture
from archive.errors import CatalogueError, ConflictError, InputError, NotFoundError
from archive.services.joins import join_pictures, show_joined, write_joined
from archive.services.picture_square import write_square
from archive.services.sitting_take import TakeReport
from archive.services.swatches import Region, read_swatch
from tests.acts import act
from tests.services.keeping import enter, every_row, undo
from tests.services.make import enter_house
from tests.services.stand import Desk, a_copy, lay_out, opened, picture_of, take
from tests.studio import camera, lens
from tests.studio.storeroom import TABLE, Stand, random_print, written

STAND = Stand(size=(1200, 900), px_per_mm=1.95)
POSTER = (940.0, 700.0)  # mm
FLAT = 1.5  # pixels of the flat poster to a millimetre
PATCH = (150.0, 120.0)  # mm from its upper left corner: the middle of a large flat field
CORNERS = tuple(product((-1, 1), (-1, 1)))


def poster() -> lens.Light:
    """Return a poster of many unlike shapes in the inks of the studio, as the sensor sees its colours."""
    import cv2

    rng = np.random.default_rng(4)
    lights = camera.prints() @ STAND.seen
    flat = np.empty((round(POSTER[1] * FLAT), round(POSTER[0] * FLAT), 3), np.float32)
    flat[:] = camera.PAPER @ STAND.seen
    for _ in range(300):
        middle, size = rng.uniform((0, 0), flat.shape[1::-1]), rng.uniform(5, 60)
        corners = middle + rng.uniform(-size, size, (int(rng.integers(3, 6)), 2))
        colour = tuple(float(part) for part in lights[rng.integers(len(lights))])
        cv2.fillPoly(flat, [np.round(corners).astype(np.int32)], colour)
    left, top = (round((side - 45) * FLAT) for side in PATCH)
    flat[top : top + round(90 * FLAT), left : left + round(90 * FLAT)] = the_patch() @ STAND.seen
    return flat


def the_patch() -> np.ndarray:
    return camera.pair_reflectance("Ferrywake", "Dockrope", (0.0, 0.6))[3]


def views(overlap: float) -> list[lens.View]:
    """Return where the camera stands for four frames, neighbours sharing a part of each."""
    width, height = (side / STAND.px_per_mm for side in STAND.size)
    step = width * (1 - overlap), height * (1 - overlap)
    return [
        lens.View(*STAND.size, STAND.px_per_mm, look_at_mm=(x * step[0] / 2, y * step[1] / 2), turn_deg=x * 0.7 + y)
        for y, x in CORNERS
    ]


def frames(folder: Path, name: str, overlap: float) -> None:
    flat = poster()
    for number, view in enumerate(views(overlap), start=1):
        canvas = np.empty((STAND.size[1], STAND.size[0], 3), np.float32)
        canvas[:] = np.full(len(STAND.seen), TABLE) @ STAND.seen
        light = lens.place(canvas, flat, view.project(lens.rectangle(*POSTER)), supersample=2)
        shot = STAND.lens.jpeg(light, np.random.default_rng(number), exif=_camera())
        written(folder / f"{name}{number}.jpg", shot)


def _camera() -> Image.Exif:
    exif = Image.Exif()
    exif[0x0110] = "a camera"  # Model, Exif 2.32
    return exif


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    desk = lay_out(tmp_path_factory.mktemp("stand"), {"lamp": (random_print(2), {"turn_deg": 4.0})}, STAND)
    frames(desk.folder, "near", 0.36)
    frames(desk.folder, "far", 0.15)
    return desk


@pytest.fixture(scope="module")
def reports(desk: Desk) -> dict[str, TakeReport]:
    """Return what a sitting took: a poster in frames that overlap well, one in frames that do not, a print."""
    catalogue = start_archive(desk.folder / "chest")
    enter_house(catalogue)
    for ref in ("QA-0042", "QA-0043", "QA-0051"):
        enter(catalogue, ref)
    opened(catalogue, desk)
    taken = {
        ref: take(catalogue, *(desk[f"{name}{number}"] for number in range(1, 5)), work=ref, role="part", anyway=True)
        for ref, name in (("QA-0042", "near"), ("QA-0043", "far"))
    }
    taken["QA-0051"] = take(catalogue, desk["lamp"], work="QA-0051")
    catalogue.close()
    return taken


@pytest.fixture
def chest(reports: dict[str, TakeReport], desk: Desk, tmp_path: Path) -> Iterator[Catalogue]:
    assert reports
    yield from a_copy(desk.folder / "chest", tmp_path)


def test_scenario_7_parts_that_overlap_are_joined_with_the_residual_in_millimetres(
    chest: Catalogue, reports: dict[str, TakeReport], tmp_path: Path
) -> None:
    joined = reports["QA-0042"].joined
    assert joined is not None
    assert (joined.why, joined.work) == ("", "QA-0042")
    assert joined.residual_mm is not None
    assert 0 < joined.residual_mm <= 1.0
    assert [part["picture"] for part in joined.parts] == [frame.picture for frame in reports["QA-0042"].frames]
    with chest.read() as session:
        found = write_joined(session, chest.files, "QA-0042", tmp_path / "tides.png", ppi=30)
        assert show_joined(session, "QA-0042").uid == joined.uid
    # the four frames together show the camera's view of 1.64 frames each way
    width = 1.64 * STAND.size[0] / STAND.px_per_mm / 25.4 * 30
    assert found.width_px == pytest.approx(width, rel=0.03)
    with Image.open(found.file) as picture:
        assert picture.size == (found.width_px, found.height_px)
        assert picture.info["icc_profile"]


def test_the_parts_lie_where_the_camera_stood(reports: dict[str, TakeReport]) -> None:
    joined = reports["QA-0042"].joined
    assert joined is not None
    point = np.array([[5.0, -5.0]])  # mm on the table, seen by all four
    first, *others = views(0.36)
    for part, view in zip(joined.parts[1:], others, strict=True):
        placed = lens.moved(np.array(part["to_first"]), view.project(point))
        assert np.abs(placed - first.project(point)).max() / STAND.px_per_mm < 1.5  # mm


def test_scenario_7_colours_come_from_single_frames(
    chest: Catalogue, reports: dict[str, TakeReport], tmp_path: Path
) -> None:
    frame = reports["QA-0042"].frames[0]
    at = views(0.36)[0].project([np.array(PATCH) - np.array(POSTER) / 2])[0]
    with chest.read() as session:
        before = len(session.scalars(select(Picture)).all())
        write_joined(session, chest.files, "QA-0042", tmp_path / "tides.jpg", ppi=30)
        reading = read_swatch(session, chest.files, picture_of(frame), Region(float(at[0]), float(at[1]), 30))
        assert len(session.scalars(select(Picture)).all()) == before  # the joined picture is none of the archive's
    assert reading.usable
    assert reading.claim is not None
    off = camera.difference(np.array([reading.lab]), camera.true_lab(the_patch()[None]))[0]
    assert off <= 2.5 * reading.claim


def test_scenario_6_parts_that_cannot_be_joined_stay_parts_and_the_work_is_usable(
    chest: Catalogue, reports: dict[str, TakeReport], tmp_path: Path
) -> None:
    joined = reports["QA-0043"].joined
    assert joined is not None
    assert joined.residual_mm is None
    assert joined.why
    assert [part["to_first"] for part in joined.parts] == [None] * 4
    assert [frame.status for frame in reports["QA-0043"].frames] == ["taken"] * 4
    with chest.read() as session, pytest.raises(ConflictError, match="they stay parts"):
        write_joined(session, chest.files, "QA-0043", tmp_path / "tides.png")
    assert not (tmp_path / "tides.png").exists()
    at = views(0.15)[0].project([np.array(PATCH) - np.array(POSTER) / 2])[0]
    with chest.read() as session:
        picture = picture_of(reports["QA-0043"].frames[0])
        assert read_swatch(session, chest.files, picture, Region(float(at[0]), float(at[1]), 30)).usable


def test_a_join_made_again_takes_the_place_of_the_first_and_is_undone(
    chest: Catalogue, reports: dict[str, TakeReport]
) -> None:
    pictures = [picture_of(frame) for frame in reports["QA-0042"].frames]
    again = join_pictures(chest, pictures[:2], act("join two"))
    assert again.residual_mm is not None
    with chest.read() as session:
        assert show_joined(session, "QA-0042").uid == again.uid
        assert len(session.scalars(select(Joined).where(Joined.binned_at.is_(None))).all()) == 2
    undo(chest)
    joined = reports["QA-0042"].joined
    with chest.read() as session:
        assert joined is not None
        assert show_joined(session, "QA-0042").uid == joined.uid


def test_pictures_of_two_sheets_and_one_picture_are_no_join(
    chest: Catalogue, reports: dict[str, TakeReport], desk: Desk
) -> None:
    one, other = (picture_of(reports[ref].frames[0]) for ref in ("QA-0042", "QA-0043"))
    before = every_row(chest)
    with pytest.raises(ConflictError, match="not of one copy"):
        join_pictures(chest, [one, other], act("join"))
    with pytest.raises(InputError, match="at least two"):
        join_pictures(chest, [one, one], act("join"))
    with chest.read() as session, pytest.raises(NotFoundError, match="never joined"):
        show_joined(session, "QA-0051")
    with pytest.raises(InputError, match="parts are of one sheet"):
        take(chest, desk["lamp"], role="part")
    assert every_row(chest) == before


# --- the sheet alone


@pytest.mark.parametrize("end", ["tif", "png", "jpg"])
def test_a_sheet_is_written_squared_with_its_profile_and_without_the_cameras_notes(
    chest: Catalogue, reports: dict[str, TakeReport], tmp_path: Path, end: str
) -> None:
    picture = picture_of(reports["QA-0051"].frames[0])
    with chest.read() as session:
        found = write_square(session, chest.files, picture, tmp_path / f"lamp.{end}", ppi=40)
    assert (found.width_mm, found.height_mm) == pytest.approx((210, 297), rel=0.02)
    assert found.width_px / found.width_mm * 25.4 == pytest.approx(40, rel=0.01)
    with Image.open(found.file) as written_file:
        assert written_file.size == (found.width_px, found.height_px)
        assert written_file.info["icc_profile"]
        assert written_file.info["dpi"][0] == pytest.approx(40, abs=0.6)  # JFIF keeps whole numbers
        assert not {0x0110, 0x9003} & set(written_file.getexif())
    assert sorted(path.name for path in tmp_path.iterdir()) == ["chest", f"lamp.{end}"]


def test_a_squared_sheet_shows_the_true_colours_and_is_never_upscaled(
    chest: Catalogue, reports: dict[str, TakeReport], desk: Desk, tmp_path: Path
) -> None:
    import colour

    frame = reports["QA-0051"].frames[0]
    with chest.read() as session:
        found = write_square(session, chest.files, picture_of(frame), tmp_path / "lamp.png", ppi=2400)
    assert found.ppi == pytest.approx(STAND.px_per_mm * 25.4, rel=0.03)
    print_, shot = desk.prints["lamp"]
    assert shot.sheet is not None
    assert shot.patches is not None
    square = lens.rectangle(found.width_px, found.height_px, at=(found.width_px / 2, found.height_px / 2))
    x, y = np.rint(lens.moved(lens.homography(shot.sheet, square), shot.patches)).astype(int).T
    with Image.open(found.file) as picture:
        pixels = np.asarray(picture)
    encoded = np.array([pixels[b - 4 : b + 5, a - 4 : a + 5].mean(axis=(0, 1)) for a, b in zip(x, y, strict=True)])
    linear = np.where(encoded <= 10.31, encoded / 255 / 12.92, ((encoded / 255 + 0.055) / 1.055) ** 2.4)
    # IEC 61966-2-1 adapted to D50, as ISO 15076-1 prints it
    xyz = linear @ np.array([[0.4361, 0.2225, 0.0139], [0.3851, 0.7169, 0.0971], [0.1431, 0.0606, 0.7141]])
    near = np.linalg.norm(print_.labs[:, 1:], axis=1) < 40  # what sRGB can show
    assert near.sum() >= 3
    labs = colour.XYZ_to_Lab(xyz[near], colour.XYZ_to_xy(np.array([0.9642, 1.0, 0.8249])))
    assert camera.difference(labs, print_.labs[near]).mean() <= 2.5 * found.claim


def test_a_picture_that_no_sitting_corrected_is_not_squared_and_nothing_is_written(
    chest: Catalogue, reports: dict[str, TakeReport], desk: Desk, tmp_path: Path
) -> None:
    enter(chest, "QA-0060", desk["card"])
    picture = picture_of(reports["QA-0051"].frames[0])
    with chest.read() as session:
        with pytest.raises(InputError, match="no sitting corrected it"):
            write_square(session, chest.files, "card.jpg", tmp_path / "card.tif")
        with pytest.raises(InputError, match="no kind of picture"):
            write_square(session, chest.files, picture, tmp_path / "lamp.bmp")
        with pytest.raises(CatalogueError, match="cannot write"):
            write_square(session, chest.files, picture, tmp_path / "nowhere" / "lamp.png", ppi=20)
    assert [path.name for path in tmp_path.iterdir()] == ["chest"]
