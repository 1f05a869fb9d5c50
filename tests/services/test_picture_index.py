"""Pictures found by the kept index are those found by reading all, whatever was changed since it was made."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Change, PaletteColour, Picture
from archive.services.bin import remove_row
from archive.services.changes import undo
from archive.services.ink_sets import ink_sets
from archive.services.matching import Limits, MatchOptions
from archive.services.picture_index import NAME, KnownPictures, open_pictures, read_pictures
from archive.services.pictures import add_pictures
from archive.services.search_index import open_known
from tests.acts import act
from tests.services.make import CHALKROAD, OATLEAF, Patch, bring_in, enter_house

WANTED = np.array([(60.0, 30, 20), (40.0, -20, -30)]), np.array([0.7, 0.3])


def painted(folder: Path, number: int) -> Path:
    """Write a picture of some blocks of colour on bare paper."""
    rng = np.random.default_rng(number)
    pixels = np.full((96, 128, 3), (247, 243, 232), np.uint8)
    for _ in range(int(rng.integers(1, 4))):
        left, top = (int(part) for part in rng.integers(5, 60, 2))
        pixels[top : top + 30, left : left + 50] = rng.integers(20, 200, 3)
    folder.mkdir(exist_ok=True)
    Image.fromarray(pixels).save(folder / f"{number}.png")
    return folder / f"{number}.png"


@pytest.fixture
def archive(catalogue: Catalogue, tmp_path: Path) -> Catalogue:
    """Give an archive with some pictures, one of them blank, and an index of them."""
    blank = tmp_path / "blank.png"
    Image.new("RGB", (128, 96), (247, 243, 232)).save(blank)
    paths = [painted(tmp_path / "first", number) for number in range(8)]
    add_pictures(catalogue, [*paths, blank], act("add pictures"))
    opened(catalogue)
    return catalogue


def opened(catalogue: Catalogue) -> KnownPictures:
    with catalogue.read() as session:
        return open_pictures(session, catalogue.files, index_from=1)


def made_at(catalogue: Catalogue) -> int:
    return catalogue.files.derived_path(NAME).stat().st_mtime_ns


def assert_same_answers(catalogue: Catalogue) -> KnownPictures:
    known = opened(catalogue)
    with catalogue.read() as session:
        everything = KnownPictures((read_pictures(session),))
        hashes = session.scalars(select(Picture.phash)).all()
    for k in (3, 50):
        found, expected = known.nearest(*WANTED, k), everything.nearest(*WANTED, k)
        assert [each[0] for each in found] == [each[0] for each in expected]
        assert [each[1] for each in found] == pytest.approx([each[1] for each in expected], abs=1e-9)
    for phash in hashes:
        assert known.like_in_shape(phash, 20, 50) == everything.like_in_shape(phash, 20, 50)
    return known


def test_the_index_answers_as_reading_all_does(archive: Catalogue) -> None:
    before = made_at(archive)
    assert len(assert_same_answers(archive).parts) == 1
    assert made_at(archive) == before


def test_a_small_archive_keeps_no_index(catalogue: Catalogue, tmp_path: Path) -> None:
    add_pictures(catalogue, [painted(tmp_path / "few", 1)], act("add"))
    with catalogue.read() as session:
        assert len(open_pictures(session, catalogue.files).nearest(*WANTED, 5)) == 1
    assert not catalogue.files.derived_path(NAME).exists()


def test_new_altered_and_binned_pictures_are_answered_without_a_new_index(archive: Catalogue, tmp_path: Path) -> None:
    before = made_at(archive)
    add_pictures(archive, [painted(tmp_path / "more", number) for number in range(20, 24)], act("add"))
    assert len(assert_same_answers(archive).parts) == 2
    with archive.write(act("bin")) as session:
        remove_row(session, session.scalars(select(Picture).order_by(Picture.id)).first())
    with archive.write(act("read its colours again")) as session:
        picture = session.scalars(select(Picture).where(Picture.binned_at.is_(None)).order_by(Picture.id)).first()
        picture.paper_l -= 8
        for colour in session.scalars(select(PaletteColour).where(PaletteColour.picture_id == picture.id)):
            colour.lab_a += 5
    assert_same_answers(archive)
    assert made_at(archive) == before


def test_after_an_undo_it_is_made_anew(archive: Catalogue, tmp_path: Path) -> None:
    before = made_at(archive)
    add_pictures(archive, [painted(tmp_path / "more", 30)], act("add"))
    with archive.write(act("undo", kind="undo")) as session:
        undo(session, session.scalars(select(Change.id).order_by(Change.id.desc()).offset(1)).first())
    assert_same_answers(archive)
    assert made_at(archive) != before


@pytest.mark.parametrize("content", [b"", b"SWATCHES", b"something else altogether"])
def test_a_torn_or_foreign_file_is_made_anew(archive: Catalogue, content: bytes) -> None:
    path = archive.files.derived_path(NAME)
    path.write_bytes(content)
    assert_same_answers(archive)
    assert path.stat().st_size > 1000


def test_ink_sets_are_the_same_by_the_search_index(catalogue: Catalogue, tmp_path: Path) -> None:
    enter_house(catalogue, Ferrywake={"looks": "#c04040"})
    rng = np.random.default_rng(12)
    inks = ["Kilnsong", "Dockrope", "Nettlecoat", "Sootwell"]
    patches = [Patch("white", (93, 0, 5)), Patch("bare", (95, 0, -1), paper=CHALKROAD)]
    for number in range(60):
        own = rng.choice(inks, int(rng.integers(1, 3)), replace=False)
        lab = tuple(np.round(rng.uniform((20, -40, -40), (90, 60, 60)), 2).tolist())
        layers = [(str(ink), 10 + 3 * (number % 30)) for ink in own]
        patches.append(Patch(str(number), lab, layers, paper=[OATLEAF, CHALKROAD][number % 2]))
    bring_in(catalogue, tmp_path, *patches)
    labs, shares = rng.uniform((20, -40, -40), (90, 60, 60), (5, 3)), np.full(5, 0.2)
    with catalogue.read() as session:
        open_known(session, None, Limits(), catalogue.files, index_from=1)
    bring_in(catalogue, tmp_path, Patch("later", tuple(labs[0].tolist()), [("Dockrope", 99)]), name="later.csv")
    for options in (MatchOptions(limit=50), MatchOptions(paper=CHALKROAD, limit=50), MatchOptions(evidence=("told",))):
        with catalogue.read() as session:
            indexed = open_known(session, options.paper, Limits(), catalogue.files, index_from=1)
            everything = open_known(session, options.paper, Limits())
            assert indexed.stored is not None
            found = ink_sets(labs, shares, indexed, session, options)
            assert found == ink_sets(labs, shares, everything, session, options)
        assert found
