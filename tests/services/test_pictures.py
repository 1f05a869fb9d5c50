"""Pictures come in one by one, known again by their bytes; a bad file stops no other."""

from __future__ import annotations

import hashlib
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import func, select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Change, PaletteColour, Picture
from archive.errors import InputError
from archive.imaging.thumbnails import LONG_SIDES
from archive.services.changes import undo
from archive.services.counts import list_loose_pictures
from archive.services.pictures import (
    PictureOutcome,
    add_pictures,
    picture_files,
    thumbnail_name,
)
from archive.services.profile import set_profile
from archive.services.works import copy_for_pictures
from tests.acts import act
from tests.services.make import add, delta_e


def photo(path: Path, seed: int = 0, size: tuple[int, int] = (240, 160), **options: object) -> Path:
    """Write a picture: two flat blocks on bare paper, unlike for each seed."""
    width, height = size
    pixels = np.full((height, width, 3), (247, 243, 232), np.uint8)
    pixels[height // 4 : height // 2, width // 4 : width * 3 // 4] = (52, 84, 140)
    pixels[height // 2 : height * 3 // 4, width // 4 : width // 2] = (180, 60 + seed, 50)
    Image.fromarray(pixels).save(path, **options)  # type: ignore[arg-type]
    return path


def added(catalogue: Catalogue, *paths: Path, ref: str | None = None) -> list[PictureOutcome]:
    target = (lambda session, _: copy_for_pictures(session, ref)) if ref is not None else None
    return add_pictures(catalogue, picture_files(paths), act("add pictures"), target=target)


def count(catalogue: Catalogue) -> int:
    with catalogue.read() as session:
        return session.scalar(select(func.count()).select_from(Picture).where(Picture.binned_at.is_(None))) or 0


def test_scenario_10_the_same_photo_again_is_known_by_its_bytes_and_skipped_with_a_note(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    first = photo(tmp_path / "IMG_0001.jpg")
    again = tmp_path / "from the other phone.jpg"
    again.write_bytes(first.read_bytes())
    (one,) = added(catalogue, first)
    (two,) = added(catalogue, again)
    assert (one.status, two.status) == ("added", "known")
    assert one.picture == two.picture
    assert two.notes == ("the same file is in the archive as IMG_0001.jpg",)
    assert count(catalogue) == 1
    assert len(list(catalogue.files.all_originals())) == 1


def test_a_loose_picture_added_again_for_a_work_is_tied_to_its_copy(catalogue: Catalogue, tmp_path: Path) -> None:
    path = photo(tmp_path / "a.png")
    added(catalogue, path)
    with catalogue.read() as session:
        assert [name for _, name in list_loose_pictures(session)] == ["a.png"]
    add(catalogue, "work", "W-1", title="Nine Tides")
    add(catalogue, "variant", None, work="W-1")
    (outcome,) = added(catalogue, path, ref="W-1")
    assert (outcome.status, outcome.copy) == ("known", "W-1/1")
    assert "it now belongs to the copy" in outcome.notes[0]
    with catalogue.read() as session:
        assert list_loose_pictures(session) == []


def test_a_bad_file_is_refused_with_the_reason_and_the_rest_goes_on(catalogue: Catalogue, tmp_path: Path) -> None:
    with catalogue.write(act()) as session:
        set_profile(session, "largest_megapixels", "0.1")
    whole = photo(tmp_path / "b.jpg")
    (tmp_path / "a.jpg").write_text("Dear printer, the green was lovely.")
    (tmp_path / "c.jpg").write_bytes(photo(tmp_path / "big.jpg", seed=3).read_bytes()[:900])
    (tmp_path / "big.jpg").unlink()
    (tmp_path / "d.jpg").write_bytes(b"")
    photo(tmp_path / "e.png", seed=5, size=(400, 300))
    photo(tmp_path / "f.jpg", seed=9, format="PNG")  # a picture is what it holds, not what it is called
    outcomes = added(catalogue, tmp_path)
    assert [Path(each.file).name for each in outcomes] == ["a.jpg", "b.jpg", "c.jpg", "d.jpg", "e.png", "f.jpg"]
    assert [each.status for each in outcomes] == ["refused", "added", "refused", "refused", "refused", "added"]
    assert all(each.picture is None and each.notes[0] for each in outcomes if each.status == "refused")
    assert "it has 0.1 megapixels, more than the 0.1 allowed" in outcomes[4].notes[0]
    assert count(catalogue) == 2
    assert sorted(catalogue.files.all_originals()) == sorted(
        hashlib.sha256(path.read_bytes()).hexdigest() for path in (whole, tmp_path / "f.jpg")
    )


def test_a_file_that_is_gone_by_its_turn_stops_no_other(catalogue: Catalogue, tmp_path: Path) -> None:
    paths = [tmp_path / "gone.jpg", photo(tmp_path / "there.jpg")]
    outcomes = add_pictures(catalogue, paths, act("add"))
    assert [each.status for each in outcomes] == ["refused", "added"]


def test_a_folder_is_walked_by_name_and_one_without_pictures_is_told(catalogue: Catalogue, tmp_path: Path) -> None:
    inside = tmp_path / "box 3"
    (inside / "more").mkdir(parents=True)
    (inside / "list.txt").write_text("twelve posters")
    with pytest.raises(InputError, match="no pictures in the folder"):
        picture_files([inside])
    with pytest.raises(InputError, match="no such file"):
        picture_files([tmp_path / "box 4"])
    photo(inside / "b.jpg")
    photo(inside / "more" / "a.JPG")
    assert [path.name for path in picture_files([inside, inside / "b.jpg"])] == ["b.jpg", "a.JPG", "b.jpg"]


def test_the_original_is_kept_to_the_bit_and_the_file_left_alone(catalogue: Catalogue, tmp_path: Path) -> None:
    path = photo(tmp_path / "a.jpg", quality=61)
    before = path.read_bytes()
    added(catalogue, path)
    digest = hashlib.sha256(before).hexdigest()
    assert path.read_bytes() == before
    with catalogue.files.open(digest) as stream:
        assert stream.read() == before
    for side in LONG_SIDES:
        with Image.open(catalogue.files.derived_path(thumbnail_name(digest, side))) as thumbnail:
            assert max(thumbnail.size) == min(side, 240)
    with catalogue.read() as session:
        row = session.scalars(select(Picture)).one()
        assert (row.sha256, row.name, row.size) == (digest, "a.jpg", len(before))
        assert (row.width, row.height, row.bits, row.media_type) == (240, 160, 8, "image/jpeg")


def test_many_files_are_one_change_that_can_be_undone(catalogue: Catalogue, tmp_path: Path) -> None:
    with catalogue.read() as session:
        before = session.scalar(select(func.max(Change.id))) or 0
    done: list[tuple[int, int]] = []
    paths = [photo(tmp_path / f"{seed}.png", seed) for seed in range(3)]
    add_pictures(catalogue, paths, act("add pictures"), progress=lambda *step: done.append(step))
    assert done == [(1, 3), (2, 3), (3, 3)]
    with catalogue.read() as session:
        changes = session.scalars(select(Change.id).where(Change.id > before)).all()
    assert len(changes) == 1
    with catalogue.write(act("undo", kind="undo", undoes_id=changes[0])) as session:
        undo(session, changes[0])
    assert count(catalogue) == 0
    assert [each.status for each in added(catalogue, *paths)] == ["added"] * 3


def test_the_palette_is_kept_with_its_paper_apart(catalogue: Catalogue, tmp_path: Path) -> None:
    import colour

    (outcome,) = added(catalogue, photo(tmp_path / "a.png"))
    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    drawn = [(247, 243, 232), (52, 84, 140), (180, 60, 50)]
    labs = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.array(drawn) / 255, d50, "Bradford"), d50)
    assert float(delta_e(outcome.paper, labs[0])) < 1
    assert [each["share"] for each in outcome.palette] == pytest.approx([1 / 8, 1 / 16], abs=0.01)
    assert delta_e([each["lab"] for each in outcome.palette], labs[1:]).max() < 1
    with catalogue.read() as session:
        rows = session.scalars(select(PaletteColour).order_by(PaletteColour.position)).all()
        assert [(row.lab_l, row.lab_a, row.lab_b) for row in rows] == [each["lab"] for each in outcome.palette]


def test_a_phone_s_heic_comes_in_like_any_other(catalogue: Catalogue, tmp_path: Path) -> None:
    # made by heif-enc of Debian's libheif-examples, a program that is not ours
    source, path = photo(tmp_path / "source.png"), tmp_path / "IMG_0815.HEIC"
    subprocess.run(["heif-enc", "-q", "90", "-o", str(path), str(source)], check=True, capture_output=True)
    before = path.read_bytes()
    heic, png = added(catalogue, path, source)
    assert (heic.status, png.status) == ("added", "added")
    with catalogue.read() as session:
        row = session.scalars(select(Picture).where(Picture.name == "IMG_0815.HEIC")).one()
        assert (row.media_type, row.width, row.height) == ("image/heic", 240, 160)
    with catalogue.files.open(hashlib.sha256(before).hexdigest()) as stream:
        assert stream.read() == before
    assert float(delta_e(heic.paper, png.paper)) < 2  # a lossy format, 4:2:0
    assert float(delta_e(heic.palette[0]["lab"], png.palette[0]["lab"])) < 3
