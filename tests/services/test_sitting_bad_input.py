"""Frames as they really come: torn, grey, in ink, with wrong clocks and profiles; each told, nothing lost."""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from sqlalchemy import func, select

from archive.catalogue.database import Catalogue, open_archive
from archive.catalogue.models import Frame, Picture
from archive.services.check import check_archive
from archive.services.profile import set_profile
from archive.services.sitting_take import FrameOutcome, TakeOptions, TakeReport, take_frames
from archive.services.sittings import NewSitting, open_sitting
from tests.acts import act
from tests.studio.storeroom import CARD_MM, Shot, Stand, random_print, written

STAND = Stand(size=(800, 600), px_per_mm=1.3)
ADOBE_1998 = Path("/usr/share/color/icc/compatibleWithAdobeRGB1998.icc")  # Debian's icc-profiles-free
GREY_PROFILE = ADOBE_1998.with_name("Gray.icc")
GPS_IFD, LATITUDE_REF, LATITUDE = 0x8825, 1, 2  # Exif 2.32 (CIPA DC-008)
XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    b'<rdf:Description xmlns:exif="http://ns.adobe.com/exif/1.0/" exif:GPSLatitude="51,30.0N"/></rdf:RDF></x:xmpmeta>'
)


@dataclass(frozen=True)
class Desk:
    """A folder with the shots of a stand."""

    folder: Path
    print_: Shot
    good: Path

    @property
    def pixels(self) -> NDArray[np.uint8]:
        """The good frame as a decoder gives it."""
        return np.asarray(Image.open(io.BytesIO(self.print_.jpeg)))


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    folder = tmp_path_factory.mktemp("stand")
    written(folder / "white.jpg", STAND.white())
    written(folder / "card.jpg", STAND.card().jpeg)
    shot = STAND.sheet(random_print(0))
    good = written(folder / "good.jpg", STAND.sheet(random_print(1)).jpeg, taken="2025-03-14 10:05:00")
    return Desk(folder, shot, good)


@pytest.fixture
def sitting(catalogue: Catalogue, desk: Desk) -> Catalogue:
    """Return an archive with a sitting open."""
    shots = (desk.folder / "white.jpg", desk.folder / "card.jpg")
    open_sitting(catalogue, NewSitting(*shots, card_mm=CARD_MM), act("open a sitting"))
    return catalogue


def take(catalogue: Catalogue, *paths: Path, **options: Any) -> TakeReport:
    return take_frames(catalogue, paths, act("take frames"), TakeOptions(**options))


def codes(frame: FrameOutcome) -> set[str]:
    return {warning["code"] for warning in frame.warnings} - {"too_few_pixels"}


def one(catalogue: Catalogue, path: Path, desk: Desk) -> FrameOutcome:
    """Return what became of a file; the good frame after it is always taken, and the archive stays whole."""
    first, good = take(catalogue, path, desk.good).frames
    assert (good.status, codes(good)) == ("taken", set())
    assert [damage.code for damage in check_archive(catalogue) if damage.is_harm] == []
    return first


def pictures(catalogue: Catalogue) -> int:
    with catalogue.read() as session:
        return session.scalar(select(func.count()).select_from(Picture)) or 0


# --- what cannot be decoded


def heic(path: Path, desk: Desk) -> bytes:
    # made by heif-enc of Debian's libheif-examples, a program that is not ours
    Image.fromarray(desk.pixels).save(path.with_suffix(".png"))
    command = ["heif-enc", "-q", "90", "-o", str(path), str(path.with_suffix(".png"))]
    subprocess.run(command, check=True, capture_output=True)
    return path.read_bytes()


def test_heic_is_taken_and_a_truncated_one_is_refused(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    content = heic(tmp_path / "whole.heic", desk)
    (tmp_path / "torn.heic").write_bytes(content[: len(content) * 2 // 3])
    torn = one(sitting, tmp_path / "torn.heic", desk)
    assert torn.status == "refused"
    assert "torn.heic: the picture is damaged or cut short" in torn.why
    (whole,) = take(sitting, tmp_path / "whole.heic").frames
    assert (whole.status, codes(whole), whole.card is not None) == ("taken", set(), True)
    assert pictures(sitting) == 2


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("text.jpg", b"a list of prints\n", "no picture the archive reads: it holds text"),
        ("empty.jpg", b"", "the file is empty"),
        ("film.heic", b"\0\0\0\x18ftypqt  \0\0\0\0qt  " + bytes(40), "a film or a picture of another kind"),
        ("letter.tif", b"%PDF-1.7\n", "a PDF document"),
    ],
)
def test_what_is_no_picture_is_refused_in_words(
    sitting: Catalogue, desk: Desk, tmp_path: Path, name: str, content: bytes, words: str
) -> None:
    (tmp_path / name).write_bytes(content)
    first = one(sitting, tmp_path / name, desk)
    assert first.status == "refused"
    assert words in first.why
    assert first.picture is None
    assert first.warnings == ()


def test_a_picture_with_more_pixels_than_the_profile_allows_is_refused_before_it_is_decoded(
    sitting: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    with sitting.write(act()) as session:
        set_profile(session, "largest_megapixels", "1")
    Image.new("RGB", (1300, 1000)).save(tmp_path / "huge.tif", compression="tiff_lzw")
    huge = one(sitting, tmp_path / "huge.tif", desk)
    assert huge.status == "refused"
    assert "1.3 megapixels, more than the 1.0 allowed" in huge.why


# --- what a camera did not give


def test_sixteen_bits_png_and_webp_are_read_as_the_jpeg_is(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    deep = desk.pixels[..., ::-1].astype(np.uint16) * 257
    cv2.imwrite(str(tmp_path / "deep.tif"), deep)
    Image.fromarray(desk.pixels).save(tmp_path / "plain.png")
    Image.fromarray(desk.pixels).save(tmp_path / "sent.webp", quality=95)
    (tmp_path / "camera.jpg").write_bytes(desk.print_.jpeg)
    frames = take(sitting, *(tmp_path / name for name in ("camera.jpg", "deep.tif", "plain.png", "sent.webp"))).frames
    assert [frame.status for frame in frames] == ["taken"] * 4
    assert desk.print_.sheet is not None
    for frame in frames:
        assert codes(frame) == set()
        assert np.abs(desk.print_.sheet - frame.corners_px).max() < 2.5
        assert frame.card is not None
        assert frame.card["residual"]["mean"] < 2.0
    assert {each["as"] for frame in frames[1:] for each in frame.like} == {"same copy"}


def test_a_grey_or_a_press_file_is_taken_and_gives_no_colour(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    for name, mode, word in (("grey.jpg", "L", "grey"), ("press.tif", "CMYK", "amounts of ink")):
        Image.fromarray(desk.pixels).convert(mode).save(tmp_path / name)
        (frame,) = take(sitting, tmp_path / name, anyway=True).frames
        assert frame.status == "taken"
        assert frame.sure
        (told,) = [each for each in frame.warnings if each["code"] == "no_camera_values"]
        assert word in told["what"]
    with sitting.read() as session:
        assert session.scalars(select(Frame.claim)).all() == [None, None]


def test_a_broken_profile_is_passed_over_and_told(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    icc = GREY_PROFILE.read_bytes()  # of grey, in a picture of red, green and blue
    Image.fromarray(desk.pixels).save(tmp_path / "odd.jpg", quality=92, icc_profile=icc)
    frame = one(sitting, tmp_path / "odd.jpg", desk)
    assert (frame.status, codes(frame)) == ("taken", {"profile_broken"})


def test_a_profile_that_lies_is_found_out_by_the_card(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    # The curve of the profile is a pure 2.2 where the camera used another, its primaries are wider.
    icc = ADOBE_1998.read_bytes()
    Image.fromarray(desk.pixels).save(tmp_path / "lies.jpg", quality=92, icc_profile=icc)
    frame = one(sitting, tmp_path / "lies.jpg", desk)
    assert frame.status == "taken"
    assert frame.card is not None
    # either the card says that its colours are as near as is claimed, or it is told that they are not
    assert frame.card["residual"]["mean"] <= frame.card["claim"] or "correction_off" in codes(frame)


def test_a_moving_picture_gives_its_first_one_and_says_so(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    first = Image.fromarray(desk.pixels)
    first.save(tmp_path / "moving.webp", save_all=True, append_images=[first.rotate(180)], quality=80)
    frame = one(sitting, tmp_path / "moving.webp", desk)
    assert (frame.status, codes(frame)) == ("taken", {"moving_picture"})
    assert desk.print_.sheet is not None
    assert np.abs(desk.print_.sheet - frame.corners_px).max() < 2.5


def test_a_clock_that_was_never_set_is_not_believed(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    old = written(tmp_path / "old.jpg", desk.print_.jpeg, taken="1904-01-01 00:00:00")
    frame = one(sitting, old, desk)
    assert (frame.status, frame.group) == ("taken", 1)
    with sitting.read() as session:
        moments = session.execute(select(Picture.name, Picture.taken_at, Frame.group_number).join(Frame)).all()
    assert {(name, taken_at is None, group) for name, taken_at, group in moments} == {
        ("old.jpg", True, 1),
        ("good.jpg", False, 1),
    }


def test_where_it_was_taken_stays_in_the_original_and_goes_nowhere_else(
    sitting: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    exif = Image.Exif()
    exif[0x0110] = "a camera"
    exif.get_ifd(GPS_IFD).update({LATITUDE_REF: "N", LATITUDE: (51.0, 30.0, 0.0)})
    Image.fromarray(desk.pixels).save(tmp_path / "gps.jpg", quality=92, exif=exif, xmp=XMP)
    content = (tmp_path / "gps.jpg").read_bytes()
    assert b"GPSLatitude" in content
    one(sitting, tmp_path / "gps.jpg", desk)
    with sitting.read() as session:
        (sha256,) = session.scalars(select(Picture.sha256).where(Picture.name == "gps.jpg"))
    with sitting.files.open(sha256) as stream:
        assert stream.read() == content
    derived = [path for path in sitting.files.derived.rglob(f"{sha256}*") if path.is_file()]
    assert {path.parent.parent.name for path in derived} == {"thumbnails", "sheets"}
    for path in derived:
        with Image.open(path) as small:
            assert not small.getexif()
            assert "xmp" not in small.info
        assert b"GPS" not in path.read_bytes()


# --- a frame's own colour card


def test_a_frame_with_two_cards_is_taken_by_one_of_them(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    frame = one(sitting, written(tmp_path / "two.jpg", STAND.card(count=2).jpeg), desk)
    assert frame.status == "taken"
    assert frame.card is not None
    assert frame.card["found"]
    assert frame.card["residual"]["mean"] < 2.0


def test_a_covered_card_in_a_frame_takes_no_colour_away(sitting: Catalogue, desk: Desk, tmp_path: Path) -> None:
    pixels = desk.pixels.copy()
    assert desk.print_.card is not None
    left, top = desk.print_.card.min(axis=0).round().astype(int)
    right, bottom = desk.print_.card.max(axis=0).round().astype(int)
    pixels[top - 3 : bottom + 3, (left + right) // 2 : right + 3] = 90  # something lies on its right half
    Image.fromarray(pixels).save(tmp_path / "covered.jpg", quality=95)
    frame = one(sitting, tmp_path / "covered.jpg", desk)
    assert frame.status == "taken"
    assert frame.card is None or frame.card["residual"] is None or frame.card["residual"]["mean"] < 2.0
    with sitting.read() as session:
        assert None not in session.scalars(select(Frame.claim)).all()


# --- disks and cards


def test_a_pulled_card_leaves_what_was_taken_and_refuses_the_rest(
    sitting: Catalogue, desk: Desk, tmp_path: Path
) -> None:
    card = tmp_path / "DCIM"
    card.mkdir()
    for number in range(6):
        content = desk.good.read_bytes() if number == 0 else desk.print_.jpeg + bytes([number])
        (card / f"{number}.jpg").write_bytes(content)

    def pull(_done: int, _total: int) -> None:
        shutil.rmtree(card, ignore_errors=True)

    options = TakeOptions(anyway=True)
    report = take_frames(sitting, [card], act("take frames"), options, progress=pull)
    states = [frame.status for frame in report.frames]
    assert states[0] == "taken"
    assert set(states[1:]) == {"refused"}
    assert all("no file" in frame.why or "cannot be read" in frame.why for frame in report.frames[1:])
    assert pictures(sitting) == 1
    assert [damage.code for damage in check_archive(sitting) if damage.is_harm] == []


_TAKE = """
import resource, sys
from pathlib import Path
from archive.catalogue.database import open_archive
from archive.catalogue.history import Act
from archive.services.sitting_take import TakeOptions, take_frames
catalogue = open_archive(Path(sys.argv[1]))
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), int(sys.argv[2])))  # what a full disk is to a file
try:
    take_frames(catalogue, [Path(name) for name in sys.argv[3:]], Act("Wren Tallow", "take frames"), TakeOptions())
except Exception as error:
    print(type(error).__name__, error)
"""


def test_a_disk_that_fills_up_stops_with_a_word_and_the_same_files_go_on(
    started: Path, desk: Desk, tmp_path: Path
) -> None:
    chest = Path(shutil.copytree(started, tmp_path / "chest"))
    catalogue = open_archive(chest)
    shots = (desk.folder / "white.jpg", desk.folder / "card.jpg")
    open_sitting(catalogue, NewSitting(*shots, card_mm=CARD_MM), act("open a sitting"))
    catalogue.close()
    big = tmp_path / "big.jpg"
    big.write_bytes(desk.print_.jpeg + os.urandom(8_000_000))
    command = [sys.executable, "-c", _TAKE, str(chest), "6000000", str(desk.good), str(big)]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert said.startswith("CatalogueError")
    assert "the disk is full" in said
    catalogue = open_archive(chest)
    assert pictures(catalogue) == 1
    assert [damage.code for damage in check_archive(catalogue) if damage.is_harm] == []
    first, second = take(catalogue, desk.good, big).frames
    assert (first.status, second.status) == ("skipped", "taken")
    catalogue.close()
