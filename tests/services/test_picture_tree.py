"""An old drive's folders come in whole: seen first, known by name, gone on with after a stop, undone at once."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Change, Copy, Fact, Picture, Work
from archive.errors import InputError
from archive.services.changes import undo
from archive.services.describing import list_undescribed
from archive.services.picture_tree import walk
from archive.services.picture_tree_import import WorksFrom, add_tree, plan_tree
from archive.services.picture_tree_names import KnownNames
from archive.services.pictures import PictureOutcome
from tests.acts import act
from tests.services.keeping import add, enter, photo


@pytest.fixture
def drive(tmp_path: Path) -> Path:
    """Return a drive as it comes out of a drawer: pictures by year and job, and what else lies on such a drive."""
    root = tmp_path / "old drive"
    for number, name in enumerate(
        (
            "1998/QA-0042 nine tides front.jpg",
            "1998/QA-0042 nine tides back.jpg",
            "1998/job 311/IMG_0001.jpg",
            "1999/walls/IMG_0001.jpg",
            "1999/walls/IMG_0002.jpg",
            "1999/QA-0042 and QA-0043.jpg",
        )
    ):
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        photo(root / name, number)
    shutil.copy(root / "1998/QA-0042 nine tides front.jpg", root / "1999/walls/best.jpg")
    (root / "1998/broken.jpg").write_bytes((root / "1999/walls/IMG_0001.jpg").read_bytes()[:700])
    (root / "1998/letter.jpg").write_text("Dear printer, the green was lovely.")
    for junk in (".hidden/a.jpg", "1998/._QA-0042.jpg", "1998/thumbs/a.jpg", "1998/list.doc", "@index/b.jpg"):
        (root / junk).parent.mkdir(parents=True, exist_ok=True)
        (root / junk).write_bytes(b"junk")
    (root / "round").symlink_to(root)
    return root


@pytest.fixture
def house(catalogue: Catalogue) -> Catalogue:
    """Give an archive with three works; one had a number in an older list."""
    enter(catalogue, "QA-0042", title="Nine Tides")
    enter(catalogue, "QA-0043", title="Bus Stop Choir")
    enter(catalogue, "QA-0044", title="The Lamp Room")
    with catalogue.write(act()) as session:
        session.scalars(select(Work).where(Work.ref == "QA-0044")).one().old_number = "311"
    return catalogue


def bring(catalogue: Catalogue, root: Path, works_from: WorksFrom | None = None) -> dict[str, PictureOutcome]:
    tree = walk([root])
    outcomes = add_tree(catalogue, tree, act("add the pictures of old drive"), works_from=works_from)
    return {file.shown.removeprefix("old drive/"): each for file, each in zip(tree.files, outcomes, strict=True)}


def counts(catalogue: Catalogue) -> tuple[int, int, int]:
    with catalogue.read() as session:
        of = [
            session.scalar(select(func.count()).select_from(each).where(each.binned_at.is_(None)))
            for each in (Picture, Copy, Work)
        ]
    return of[0] or 0, of[1] or 0, of[2] or 0


def test_what_is_no_picture_of_a_person_s_is_passed_over_with_its_reason(drive: Path) -> None:
    tree = walk([drive])
    assert {each.reason: set(each.files) for each in tree.passed_over} == {
        "hidden": {"old drive/.hidden", "old drive/@index", "old drive/1998/._QA-0042.jpg"},
        "a folder of thumbnails": {"old drive/1998/thumbs"},
        "a link": {"old drive/round"},
        "no picture by its name": {"old drive/1998/list.doc"},
    }
    assert len(tree.files) == 9
    assert [file.shown for file in tree.files] == sorted(file.shown for file in tree.files)


def test_a_hidden_file_that_is_named_itself_is_taken(drive: Path) -> None:
    (file,) = walk([drive / "1998" / "._QA-0042.jpg"]).files
    assert (file.folders, file.shown) == ((), "._QA-0042.jpg")


def test_a_dry_run_tells_all_of_it_and_writes_nothing(house: Catalogue, drive: Path) -> None:
    bring(house, drive / "1998" / "job 311")
    before = counts(house)
    plan = plan_tree(house, walk([drive]), works_from="folder")
    assert counts(house) == before
    assert plan.pictures == 6  # the broken one's header is whole: its damage is met when it is decoded
    assert [(each.work, each.by, each.pictures) for each in plan.works] == [("QA-0042", "file name", 2)]
    assert [(each.file, each.works) for each in plan.several] == [
        ("old drive/1999/QA-0042 and QA-0043.jpg", ("QA-0042", "QA-0043"))
    ]
    assert plan.loose == {"old drive/1998": 1, "old drive/1999/walls": 2}
    assert plan.new_works == 2
    assert [(each.file, each.same_as) for each in plan.known] == [
        ("old drive/1998/job 311/IMG_0001.jpg", "IMG_0001.jpg")
    ]
    assert [(each.file, each.same_as) for each in plan.doubled] == [
        ("old drive/1999/walls/best.jpg", "old drive/1998/QA-0042 nine tides front.jpg")
    ]
    assert [each.file for each in plan.unreadable] == ["old drive/1998/letter.jpg"]
    assert "it holds text" in plan.unreadable[0].why


def test_a_tree_comes_in_with_its_works_folders_doubles_and_broken_files_told(house: Catalogue, drive: Path) -> None:
    found = bring(house, drive)
    assert {name: (each.status, each.copy) for name, each in found.items()} == {
        "1998/QA-0042 nine tides front.jpg": ("added", "QA-0042/1"),
        "1998/QA-0042 nine tides back.jpg": ("added", "QA-0042/1"),
        "1998/job 311/IMG_0001.jpg": ("added", "QA-0044/1"),
        "1999/walls/IMG_0001.jpg": ("added", None),
        "1999/walls/IMG_0002.jpg": ("added", None),
        "1999/QA-0042 and QA-0043.jpg": ("added", None),
        "1999/walls/best.jpg": ("known", "QA-0042/1"),
        "1998/broken.jpg": ("refused", None),
        "1998/letter.jpg": ("refused", None),
    }
    assert found["1998/job 311/IMG_0001.jpg"].notes == ("of QA-0044 by its folder 'job 311'",)
    assert found["1999/QA-0042 and QA-0043.jpg"].notes == ("its file name could mean QA-0042 or QA-0043: left loose",)
    assert found["1999/walls/best.jpg"].notes == ("the same file is in the archive as QA-0042 nine tides front.jpg",)
    assert "old drive/1998/broken.jpg: " in found["1998/broken.jpg"].notes[0]
    with house.read() as session:
        told = dict(session.execute(select(Picture.name, Picture.came_from).where(Picture.name.contains("0042"))).all())
    assert told == {
        "QA-0042 nine tides front.jpg": "old drive/1998\nold drive/1999/walls/best.jpg",
        "QA-0042 nine tides back.jpg": "old drive/1998",
        "QA-0042 and QA-0043.jpg": "old drive/1999",
    }


@pytest.mark.parametrize(("works_from", "made"), [("folder", 1), ("file", 2)])
def test_works_are_made_for_what_is_of_no_known_work(
    house: Catalogue, drive: Path, works_from: WorksFrom, made: int
) -> None:
    before = counts(house)[2]
    found = bring(house, drive, works_from)
    assert counts(house)[2] == before + made
    one, two = found["1999/walls/IMG_0001.jpg"], found["1999/walls/IMG_0002.jpg"]
    assert one.copy is not None
    assert (one.copy == two.copy) is (works_from == "folder")
    with house.read() as session:
        undescribed = [each for each in list_undescribed(session) if len(each.lacks) == 4]
    assert len(undescribed) == made
    assert sum(len(each.pictures) for each in undescribed) == 2
    again = bring(house, drive, works_from)
    assert {each.status for each in again.values()} == {"known", "refused"}
    assert counts(house)[2] == before + made


class Stopped(Exception):  # noqa: N818 - a test's way to stop half-way
    pass


def test_what_was_stopped_goes_on_as_the_same_change_and_is_undone_whole(house: Catalogue, drive: Path) -> None:
    def stop(done: int, _total: int) -> None:
        if done == 4:
            raise Stopped

    begun = act("add the pictures of old drive")
    before = counts(house)
    with pytest.raises(Stopped):
        add_tree(house, walk([drive]), begun, works_from="folder", progress=stop)
    assert before[0] < counts(house)[0] < before[0] + 6
    bring(house, drive, "folder")
    assert counts(house)[0] == before[0] + 6
    with house.read() as session:
        assert len(set(session.scalars(select(Picture.change_id)))) == 1
        (change,) = session.scalars(select(Change.id).where(Change.words == begun.words)).all()
        assert session.get(Fact, "unfinished_pictures") is None
    with house.write(act("undo", kind="undo", undoes_id=change)) as session:
        undo(session, change)
    assert counts(house) == before
    assert [each.status for each in bring(house, drive).values()].count("added") == 6


def test_an_import_that_came_to_its_end_is_not_gone_on_with(house: Catalogue, drive: Path) -> None:
    bring(house, drive)
    photo(drive / "1999" / "late.jpg", 12)
    bring(house, drive)
    with house.read() as session:
        assert len(set(session.scalars(select(Picture.change_id)))) == 2


def test_a_known_picture_is_not_decoded_but_what_is_gone_from_the_disk_comes_back(
    house: Catalogue, drive: Path
) -> None:
    bring(house, drive)
    sha256 = next(house.files.all_originals())
    house.files.remove(sha256)
    bring(house, drive)
    assert house.files.exists(sha256)


def test_a_work_and_works_to_be_made_are_refused_together(house: Catalogue, drive: Path) -> None:
    with pytest.raises(InputError, match="works are to be made"):
        add_tree(house, walk([drive]), act(), work="QA-0042", works_from="file")


@pytest.mark.parametrize(
    ("name", "folders", "refs"),
    [
        ("QA-0042 nine tides front", (), ("QA-0042",)),
        ("qa_0042", (), ("QA-0042",)),
        ("scan QA0042 (2)", (), ("QA-0042",)),
        ("QA-00421", (), ()),
        ("QA-0042a", (), ("QA-0042a",)),
        ("QA-0042 a", (), ("QA-0042",)),
        ("IMG_0311", (), ()),
        ("job 311 front", (), ("QA-0044",)),
        ("311", (), ("QA-0044",)),
        ("1998", (), ()),
        ("IMG_1", ("QA-0043", "walls"), ("QA-0043",)),
        ("QA-0042 IMG_1", ("QA-0043",), ("QA-0042",)),
        ("x QA-0042 y", (), ("QA-0042",)),
    ],
)
def test_names_tell_a_work_by_its_ref_or_its_old_number(
    house: Catalogue, name: str, folders: Sequence[str], refs: tuple[str, ...]
) -> None:
    add(house, "work", "QA-0050", old_number="1998")
    with house.read() as session:
        found = KnownNames(session).recognise(name, folders)
    assert (found.refs if found else ()) == refs


@given(st.text(max_size=60))
def test_no_name_breaks_the_search_for_refs(text: str) -> None:
    assert KnownNames(None).recognise(text, (text,)) is None
