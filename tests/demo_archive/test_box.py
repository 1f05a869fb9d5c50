"""Box 22: rendered phone photos go from card to catalogue, and what is read off them is what the press printed.

The press simulator and the phone know nothing of the archive; differences are CIEDE2000 as colour-science computes it.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import colour
import numpy as np
import pytest
import segno
from PIL import Image, ImageOps

from archive.catalogue.database import Catalogue, start_archive
from archive.catalogue.models import Place
from archive.output.codes import code_text
from archive.services.records import add_record
from archive.services.sitting_take import FrameOutcome, take_frames
from archive.services.sittings import NewSitting, SittingCard, open_sitting
from archive.services.swatches import Region, read_swatch
from demo_archive import house
from demo_archive.box import CARD, PLACE_CARD, WHITE, BoxPhoto, shots, write_box
from demo_archive.box_card import CARD_MM, card_reflectance
from demo_archive.box_phone import SIZE
from demo_archive.box_prints import PLACE, prints
from demo_archive.scenario import entries
from demo_archive.spectra import reflectance_to_lab
from tests.acts import act

PLAN = {shot.file: shot for shot in shots()}
TEA, DENTIST, NO_CARD, TEA_AGAIN, DENTIST_BLUE, REGATTA, REGATTA_COPIED, BLURRED, DEAD_CLOCK = TAKEN = tuple(
    f"print-{number:02d}.jpg" for number in (1, 3, 4, 6, 10, 17, 19, 26, 28)
)


@dataclass(frozen=True)
class Brought:
    """A small box as it was photographed and as it was taken."""

    catalogue: Catalogue
    folder: Path
    sitting: SittingCard
    photos: dict[str, BoxPhoto]
    frames: dict[str, FrameOutcome]

    def like(self, file: str) -> list[tuple[str, str]]:
        """Return what a frame is proposed as, and the file of the other frame."""
        names = {frame.picture: name for name, frame in self.frames.items() if frame.status == "taken"}
        return [(each["as"], names.get(each["picture"], "?")) for each in self.frames[file].like]


@pytest.fixture(scope="module")
def box(tmp_path_factory: pytest.TempPathFactory) -> Brought:
    folder = tmp_path_factory.mktemp("box")
    catalogue = start_archive(folder / "archive")
    with catalogue.write(act("a box")) as session:
        place = session.get_one(Place, add_record(session, "place", PLACE, {"kind": "box"}).id)
        says = code_text("place", place.uid)
    drawn = io.BytesIO()
    segno.make(says, error="m", micro=False).save(drawn, kind="png", scale=8, border=4)
    photos = write_box(folder / "phone", Image.open(drawn), [PLAN[file] for file in TAKEN])
    new = NewSitting(folder / "phone" / WHITE, folder / "phone" / CARD, card_mm=CARD_MM)
    sitting = open_sitting(catalogue, new, act("open a sitting"))
    report = take_frames(catalogue, [folder / "phone"], act("take the box"))
    frames = {Path(frame.file).name: frame for frame in report.frames}
    return Brought(catalogue, folder / "phone", sitting, {photo.file: photo for photo in photos}, frames)


def test_the_box_is_forty_photos_of_works_that_the_demo_does_not_hold() -> None:
    assert len(PLAN) + len((WHITE, CARD, PLACE_CARD)) == 40
    titles = {title for title, _ in prints()}
    assert len(titles) >= 25
    assert not titles & {entry.title for entry in entries()}
    assert sum(shot.same_file_as is not None for shot in PLAN.values()) == 1
    assert sum(not shot.has_clock for shot in PLAN.values()) == 1
    assert sum(shot.moment.blur > 0 for shot in PLAN.values()) == 1
    assert sum(not shot.sheet.printed.layers for shot in PLAN.values()) == 1
    assert sum(shot.sheet.printed.page > 0 for shot in PLAN.values()) == 2


def test_each_print_of_the_box_could_have_come_off_the_machine_it_is_said_to_come_off() -> None:
    machines = {machine.name: machine.since for machine in house.MACHINES}
    for sheet in prints().values():
        job = sheet.printed
        assert machines[job.machine] <= job.printed_on
        for layer in job.layers:  # raises where no drum with the ink fitted the machine on that day
            assert house.filling_of(layer.ink, job.machine, job.printed_on)


def test_the_colour_card_has_the_colours_published_for_it() -> None:
    card = colour.CCS_COLOURCHECKERS["cca2014"]  # as made since November 2014
    published = colour.XYZ_to_Lab(colour.xyY_to_XYZ(np.array(list(card.data.values()))), card.illuminant)
    # printed to two decimals; its white point and ours agree to four digits
    assert reflectance_to_lab(card_reflectance()) == pytest.approx(published, abs=0.02)


def test_photos_are_as_a_phone_writes_them(box: Brought) -> None:
    times = []
    for path in sorted(box.folder.glob("*.jpg")):
        with Image.open(path) as photo:
            assert photo.size == SIZE[::-1]
            assert ImageOps.exif_transpose(photo).size == SIZE
            # ITU-T T.81: the first component sampled twice as densely each way is 4:2:0
            assert [each[1:3] for each in photo.layer] == [(2, 2), (1, 1), (1, 1)]  # type: ignore[attr-defined]
            times.append(photo.getexif().get_ifd(0x8769)[0x9003])  # DateTimeOriginal, Exif 2.32
    assert sum(not time.startswith("2025:03:14") for time in times) == 1


def test_every_print_is_found_where_it_lies(box: Brought) -> None:
    for file, photo in box.photos.items():
        found, true = np.array(box.frames[file].corners_px), np.array(photo.corners_px)
        off = min(float(np.abs(np.roll(true, turn, axis=0) - found).max()) for turn in range(4))
        assert off < 4, file


def test_everything_after_the_boxs_card_lies_in_the_box(box: Brought) -> None:
    assert [Path(frame.file).name for frame in box.frames.values()][:2] == [CARD, PLACE_CARD]
    assert box.frames[PLACE_CARD].kind == "place card"
    for file in TAKEN:
        frame = box.frames[file]
        assert (frame.kind, frame.place) == ("print", PLACE)
    assert {box.frames[WHITE].kind, box.frames[CARD].kind} == {"white sheet", "colour card"}


def test_prints_with_the_card_beside_them_are_measured_in_millimetres_by_it(box: Brought) -> None:
    for file in (TEA, DENTIST, REGATTA):
        card, frame = box.frames[file].card, box.frames[file]
        assert card is not None
        assert card["found"]
        corners = np.array(frame.corners_px)
        sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1) * frame.mm_per_px
        width, height = PLAN[file].sheet.size_mm
        # a tilted sheet's sides are as long as they look: to 3 in 100
        assert (sides[[0, 2]].mean(), sides[[1, 3]].mean()) == pytest.approx((width, height), rel=0.03)


def test_colours_at_flat_places_are_as_true_as_the_sitting_claims(box: Brought) -> None:
    off = []
    with box.catalogue.read() as session:
        for file in (TEA, DENTIST, NO_CARD, REGATTA):
            for point, true in box.photos[file].places[-4:]:
                picture = box.frames[file].picture
                assert picture is not None
                reading = read_swatch(session, box.catalogue.files, picture, Region(*point, 13))
                assert reading.usable, (file, reading.flags)
                off.append(float(colour.delta_E(np.array(reading.lab), np.array(true), method="CIE 2000")))
    assert box.sitting.claim is not None
    assert np.mean(off) < box.sitting.claim
    assert max(off) < 5


def test_a_file_copied_twice_is_skipped_and_the_earlier_picture_named(box: Brought) -> None:
    first, again = box.frames[REGATTA], box.frames[REGATTA_COPIED]
    assert (again.status, again.picture, again.work) == ("skipped", first.picture, first.work)
    assert REGATTA in again.why


def test_the_same_copy_and_the_other_colourway_are_proposed_as_such_and_nothing_else_is(box: Brought) -> None:
    assert box.like(TEA_AGAIN) == [("same copy", TEA)]
    assert box.like(DENTIST_BLUE) == [("variant", DENTIST)]
    for file in (TEA, DENTIST, NO_CARD, REGATTA, DEAD_CLOCK):
        assert box.like(file) == [], file
    works = [box.frames[file].work for file in TAKEN if file != REGATTA_COPIED]
    assert len(set(works)) == len(works)  # proposed, not merged


def test_only_the_blurred_photo_is_said_to_be_blurred(box: Brought) -> None:
    blurred = {file for file in TAKEN if "blurred" in {warning["code"] for warning in box.frames[file].warnings}}
    assert blurred == {BLURRED}


def test_a_dead_clock_begins_no_group(box: Brought) -> None:
    assert box.frames[DEAD_CLOCK].group == box.frames[BLURRED].group
