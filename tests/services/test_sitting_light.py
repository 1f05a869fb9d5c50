"""Frames in another light than the white shot's, or through a camera that brightens what it likes."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Frame
from archive.errors import InputError
from archive.services.sitting_take import FrameOutcome, TakeOptions, take_frames
from archive.services.sittings import NewSitting, open_sitting
from archive.services.swatches import Region, SwatchReading, read_swatch
from tests.acts import act
from tests.studio import camera
from tests.studio.storeroom import CARD_MM, PHONE, Shot, Stand, random_print, written

STAND = Stand(size=(1200, 900), px_per_mm=1.95)


@pytest.fixture(scope="module")
def shots(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("stand")
    return written(folder / "white.jpg", STAND.white()), written(folder / "card.jpg", STAND.card().jpeg)


@pytest.fixture
def claim(catalogue: Catalogue, shots: tuple[Path, Path]) -> float:
    """Open a sitting and return how far off it claims to be."""
    found = open_sitting(catalogue, NewSitting(*shots, card_mm=CARD_MM), act("open a sitting")).claim
    assert found is not None
    return found


def take(catalogue: Catalogue, path: Path, **options: Any) -> FrameOutcome:
    (frame,) = take_frames(catalogue, [path], act("take frames"), TakeOptions(**options)).frames
    return frame


def codes(frame: FrameOutcome) -> set[str]:
    return {warning["code"] for warning in frame.warnings} - {"too_few_pixels"}


def read(catalogue: Catalogue, frame: FrameOutcome, point: Any) -> SwatchReading:
    with catalogue.read() as session:
        region = Region(float(point[0]), float(point[1]), 11)
        return read_swatch(session, catalogue.files, frame.picture or "", region)


def claims(catalogue: Catalogue) -> list[float | None]:
    with catalogue.read() as session:
        return list(session.scalars(select(Frame.claim).order_by(Frame.position)))


# --- a frame of another shape than the white shot


def test_the_papers_border_gives_the_fall_off_of_a_camera_turned_on_its_side(
    catalogue: Catalogue, claim: float, tmp_path: Path
) -> None:
    print_ = random_print(3)
    # held upright: the field of the white shot does not fit; the lens takes twice as much light
    side = replace(STAND, size=(960, 1200), lens=replace(PHONE, loss=0.3))
    shot = side.sheet(replace(print_, size_mm=(190.0, 270.0)), has_card=False)
    frame = take(catalogue, written(tmp_path / "side.jpg", shot.jpeg))
    assert codes(frame) == set()
    assert shot.patches is not None
    labs = np.array([read(catalogue, frame, point).lab for point in shot.patches])
    assert camera.difference(labs, print_.labs).mean() <= claim
    with catalogue.read() as session:
        kept = session.scalars(select(Frame.correction)).one()
    assert kept["fall_off"]["source"] == "paper"


def test_where_no_border_is_bare_the_fall_off_stays_and_is_told(
    catalogue: Catalogue, claim: float, tmp_path: Path
) -> None:
    side = replace(STAND, size=(1000, 1000), px_per_mm=2.1)
    shot = side.sheet(random_print(4), has_card=False)
    frame = take(catalogue, written(tmp_path / "bleed.jpg", without_border(shot)))
    (told,) = [each for each in frame.warnings if each["code"] == "fall_off_not_taken_out"]
    assert "another shape than the white shot" in told["what"]
    assert told["mend"].startswith("Hold the camera as for the white shot")
    assert shot.patches is not None
    assert read(catalogue, frame, shot.patches[0]).claim == claim  # and no other shape's field is laid on it


def without_border(shot: Shot) -> bytes:
    """Return a photo in which strips of many colours lie where the print's border was."""
    assert shot.sheet is not None
    pixels = np.asarray(Image.open(io.BytesIO(shot.jpeg))).copy()
    left, top = np.ceil(shot.sheet.min(axis=0)).astype(int)
    right, bottom = np.floor(shot.sheet.max(axis=0)).astype(int)
    sheet = pixels[top:bottom, left:right]
    inner = sheet[50:-50, 50:-50].copy()
    colours = np.random.default_rng(1).integers(30, 230, (14, 14, 3))
    rows, columns = (np.arange(size) * 14 // size for size in sheet.shape[:2])
    sheet[:] = colours[rows[:, None], columns[None]]
    sheet[50:-50, 50:-50] = inner
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=92)
    return out.getvalue()


# --- a local tone map


def test_a_strong_local_tone_map_gives_no_colour_and_says_why(
    catalogue: Catalogue, claim: float, tmp_path: Path
) -> None:
    phone = replace(STAND, lens=replace(PHONE, local=0.35))
    file = written(tmp_path / "mapped.jpg", phone.sheet(random_print(0)).jpeg)
    with pytest.raises(InputError, match="brightened dark parts"):  # the first frames are judged hard
        take(catalogue, file)
    assert claims(catalogue) == []
    frame = take(catalogue, file, anyway=True)
    assert frame.status == "taken"
    (told,) = [each for each in frame.warnings if each["code"] == "local_tone_map"]
    assert "no colour is read from it" in told["what"]
    assert "HDR" in told["mend"]
    assert claims(catalogue) == [None]
    assert claim > 0


def test_a_weak_local_tone_map_widens_the_claim_so_that_it_holds(
    catalogue: Catalogue, claim: float, tmp_path: Path
) -> None:
    print_ = random_print(1)
    phone = replace(STAND, lens=replace(PHONE, local=0.12))
    shot = phone.sheet(print_)
    frame = take(catalogue, written(tmp_path / "mapped.jpg", shot.jpeg))
    assert "local_tone_map" in codes(frame)
    (widened,) = claims(catalogue)
    assert widened is not None
    assert widened > claim
    assert shot.patches is not None
    readings = [read(catalogue, frame, point) for point in shot.patches]
    assert {each.claim for each in readings} == {widened}
    labs = np.array([each.lab for each in readings])
    assert camera.difference(labs, print_.labs).mean() <= widened


def test_an_ordinary_camera_is_not_suspected(catalogue: Catalogue, claim: float, tmp_path: Path) -> None:
    for number, tone in ((2, 0.0), (5, 0.6)):
        phone = replace(STAND, lens=replace(PHONE, tone=tone))
        shot = phone.sheet(random_print(number), turn_deg=10.0 * number)
        frame = take(catalogue, written(tmp_path / f"{number}.jpg", shot.jpeg))
        assert "local_tone_map" not in codes(frame)
    assert claim > 0
