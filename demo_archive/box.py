"""Forty phone photos of an afternoon with Box 22: the white sheet, the colour card, the box's own card, its prints.

Run `python -m demo_archive.box FOLDER --code FILE` to take them; FILE is a picture of the code of the box's place.
The photos are what a lister brings home: turned and tilted a little, one blurred, one file copied twice, one after the
battery was changed.
"""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from functools import cache
from pathlib import Path

import numpy as np
from PIL import Image, ImageFilter

from demo_archive import box_card, box_prints
from demo_archive.box_card import CARD_MM, PLACE_CARD_MM
from demo_archive.box_phone import AS_USUAL, QUALITY, SIZE, Moment, developed, sensor_codes
from demo_archive.box_prints import LOOKED_AT, PLACE, FlatPlace, Sheet, picture_of, prints
from demo_archive.box_scene import Placed, View, bare_table, laid, with_fold
from demo_archive.press import luck
from demo_archive.spectra import Floats

WHITE, CARD, PLACE_CARD = "white.jpg", "card.jpg", "place-card.jpg"
_BEGAN = datetime.combine(LOOKED_AT, time(14, 2, 10))
_TEA = (19, timedelta(minutes=26))  # after which print, and how long
_BATTERY_AT, _DEAD_CLOCK = 28, datetime(2000, 1, 1, 0, 0, 41)
_SHEET_AT, _CARD_AT = (0.0, -47.0), (0.0, 151.0)  # mm from the photo's middle
_EVENING_AT, _EVENING = 34, (0.98, 0.93, 0.84)  # the window's light goes, the lamps stay


@dataclass(frozen=True, slots=True)
class Shot:
    """One photo to be taken of a sheet out of the box; `again` gives another shot of the same sheet other luck."""

    file: str
    sheet: Sheet
    has_card: bool = True
    turn_deg: float = 0.0
    again: int = 0
    moment: Moment = AS_USUAL
    has_clock: bool = True
    same_file_as: str | None = None


@dataclass(frozen=True, slots=True)
class BoxPhoto:
    """A photo that was taken and the truth about it, in pixels of the upright photo.

    `corners_px` are the sheet's, clockwise from its own upper left; `places` are flat places and their true Lab.
    """

    file: str
    shot: Shot
    corners_px: tuple[tuple[float, float], ...]
    places: tuple[tuple[tuple[float, float], tuple[float, float, float]], ...]


def shots() -> tuple[Shot, ...]:
    """Return the 37 photos of the box's prints in the order in which they are taken."""
    box = prints()
    cover = box["A Boat Is a Room", 0]
    firsts = [sheet for (title, way), sheet in box.items() if not way and title != "A Boat Is a Room"]
    plan = [Shot("", sheet, has_card=number % 4 != 3) for number, sheet in enumerate(firsts)]
    between = {  # what comes to hand between them, and where in the order
        5: Shot("", box["Tea for the Ferryman", 0], turn_deg=176, again=1),
        9: Shot("", box["Umbrella Dentist", 1]),
        12: Shot("", box["Bring a Cushion", 1], has_card=False),
        15: Shot("", box["Slow Kites", 0].blank()),
        18: Shot("", box["Nobody's Regatta", 0], same_file_as="Nobody's Regatta"),
        21: Shot("", box["Pear Census", 1]),
        25: Shot("", box["Windows at Four", 0], moment=Moment(blur=9), again=1),
        29: Shot("", cover),
        30: Shot("", cover.spread(1)),
        31: Shot("", cover.spread(2), has_card=False),
        36: Shot("", box["Six Doors, One Key", 0], again=2, turn_deg=3),
    }
    for at, shot in sorted(between.items()):
        plan.insert(at, shot)
    return _numbered(plan)


def _numbered(plan: Sequence[Shot]) -> tuple[Shot, ...]:
    """Return the shots with their file names; the clock dies once, and the light goes towards the end."""
    found: list[Shot] = []
    for number, shot in enumerate(plan, start=1):
        shot = replace(shot, file=f"print-{number:02d}.jpg", has_clock=number != _BATTERY_AT)
        if shot.same_file_as is not None:
            first = next(each for each in found if each.sheet.printed.title == shot.same_file_as)
            shot = replace(shot, same_file_as=first.file)
        if number == _EVENING_AT:
            shot = replace(shot, has_card=True, moment=replace(shot.moment, lamps=_EVENING))
        found.append(shot)
    return tuple(found)


def write_box(
    folder: Path,
    code: Image.Image,
    planned: Sequence[Shot] | None = None,
    *,
    workers: int = 2,
) -> tuple[BoxPhoto, ...]:
    """Write the photos into a new folder as JPEG and return what each print's photo shows, in their order.

    Parameters
    ----------
    code : Image
        The code of the box's place, black on white with its quiet zone.
    planned : sequence of Shot, optional
        Which prints' photos to take; all of `shots()`.
    workers : int
        Threads; the bytes do not depend on it.
    """
    planned = shots() if planned is None else planned
    folder.mkdir(parents=True, exist_ok=True)
    _save(_white_sheet(), folder / WHITE, _BEGAN - timedelta(seconds=150))
    card = Placed(CARD_MM, turn_deg=1.5)
    scene = laid(bare_table(0), _colour_card(), View().seen(card.corners()))
    _save(developed(scene, AS_USUAL, ["card"]), folder / CARD, _BEGAN - timedelta(seconds=95))
    _save(_place_card(code), folder / PLACE_CARD, _BEGAN - timedelta(seconds=40))
    with ThreadPoolExecutor(workers) as pool:
        found = tuple(pool.map(lambda shot, taken: _take(shot, taken, folder), planned, _times(planned)))
    for shot in planned:
        if shot.same_file_as is not None:
            shutil.copyfile(folder / shot.same_file_as, folder / shot.file)
    return found


def _times(planned: Sequence[Shot]) -> list[datetime]:
    """Return what the phone's clock says at each shot: about a minute apart, with a pause for tea."""
    rng, now, found = luck("times of box 22"), _BEGAN, []
    for number, shot in enumerate(planned, start=1):
        found.append(now if shot.has_clock else _DEAD_CLOCK)
        now += timedelta(seconds=int(rng.integers(38, 85)))
        if number == _TEA[0]:
            now += _TEA[1]
    return found


@cache
def _colour_card() -> Image.Image:
    return box_card.colour_card(sensor_codes)


def _white_sheet() -> Image.Image:
    """Return the shot of a blank white sheet that fills the picture."""
    white = tuple(np.rint(sensor_codes(np.full(36, 0.9))).astype(int).tolist())
    return developed(Image.new("RGB", SIZE, white), AS_USUAL, ["white"])


def _place_card(code: Image.Image) -> Image.Image:
    page = box_card.place_card(PLACE, code, sensor_codes)
    where = Placed(PLACE_CARD_MM, at_mm=(6.0, -20.0), turn_deg=-3.0)
    scene = laid(bare_table(300), page, View(1.5, -2.0).seen(where.corners()))
    return developed(scene, AS_USUAL, ["place card"])


def _take(shot: Shot, taken: datetime, folder: Path) -> BoxPhoto:
    """Write one photo, unless it is a copy of another file, and return the truth about it."""
    job = shot.sheet.printed
    rng = luck("shot", job.run, job.page, job.title, shot.again)
    view = View(*(float(angle) for angle in np.clip(rng.normal(0, 1.7, 2), -4, 4)))
    at = tuple(float(place) for place in np.array(_SHEET_AT) + rng.uniform(-5, 5, 2))
    where = Placed(shot.sheet.size_mm, (at[0], at[1]), shot.turn_deg + float(np.clip(rng.normal(0, 1.6), -3, 3)))
    card = Placed(CARD_MM, (float(rng.uniform(-60, 60)), _CARD_AT[1] + float(rng.uniform(-3, 5))), rng.normal(0, 2))
    corners = view.seen(where.corners())
    sheet, places = picture_of(shot.sheet, sensor_codes)
    if shot.same_file_as is None:
        if job.page:
            sheet = with_fold(sheet, box_prints.PX_PER_MM)
        scene = laid(bare_table(int(rng.integers(SIZE[0] // 4))), sheet, corners)
        if shot.has_card:
            scene = laid(scene, _colour_card(), view.seen(card.corners()))
        if shot.moment.blur:
            scene = scene.filter(ImageFilter.GaussianBlur(shot.moment.blur))
        _save(developed(scene, shot.moment, ["noise", shot.file]), folder / shot.file, taken)
    return BoxPhoto(shot.file, shot, _points(corners), _seen_places(places, where, view))


def _seen_places(
    places: Sequence[FlatPlace], where: Placed, view: View
) -> tuple[tuple[tuple[float, float], tuple[float, float, float]], ...]:
    points = view.seen(where.on_table(np.array([place.at_mm for place in places])))
    return tuple(zip(_points(points), (place.lab for place in places), strict=True))


def _points(pixels: Floats) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in pixels)


def _save(upright: Image.Image, path: Path, taken: datetime) -> None:
    """Write a photo as phones do: as the sensor lies, with a note of which way up it is and when it was taken."""
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation: turn clockwise by a right angle; Exif 2.32
    exif[0x0132] = f"{taken:%Y:%m:%d %H:%M:%S}"  # DateTime
    exif.get_ifd(0x8769)[0x9003] = f"{taken:%Y:%m:%d %H:%M:%S}"  # DateTimeOriginal
    lying = upright.transpose(Image.Transpose.ROTATE_90)
    lying.save(path, "JPEG", quality=QUALITY, subsampling="4:2:0", exif=exif)


def main() -> None:
    """Write the box into the folder named on the command line."""
    parser = argparse.ArgumentParser(description="Take forty phone photos of Box 22.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--code", type=Path, required=True, help="picture of the code of the box's place")
    given = parser.parse_args()
    with Image.open(given.code) as code:
        write_box(given.folder, code)


if __name__ == "__main__":
    main()
