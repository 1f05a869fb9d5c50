"""Entering works in one go."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Appearance, Change, Picture, Work
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.records import list_records
from archive.services.work_cards import work_card
from archive.services.works import copy_for_pictures
from tests.acts import act
from tests.services.keeping import add, edit, enter, photo, remove, show


def test_scenario_13_about_1998_keeps_its_words_and_sorts_as_1996_to_2000(catalogue: Catalogue) -> None:
    for ref, date in (("B", "ca. 1998"), ("A", "2001"), ("C", "1995")):
        enter(catalogue, ref, date=date)
    assert show(catalogue, "work", "B")["date"] == "ca. 1998"
    with catalogue.read() as session:
        work = session.scalars(select(Work).where(Work.ref == "B")).one()
        # Library of Congress, Extended Date/Time Format: ~ qualifies a date as approximate
        assert work.date_edtf == "1998~"
        assert (work.date_sort_earliest, work.date_sort_latest) == ("1996-01-01", "2000-12-31")
        assert (work.date_earliest, work.date_latest) == ("1998-01-01", "1998-12-31")  # strict bounds are kept too
        refs = session.scalars(select(Work.ref).order_by(Work.date_sort_earliest)).all()
    assert refs == ["C", "B", "A"]


def test_a_date_that_is_edited_takes_its_bounds_along(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042", date="1998")
    edit(catalogue, "work", "QA-0042", date="May 2019")
    with catalogue.read() as session:
        work = session.scalars(select(Work)).one()
        assert (work.date_text, work.date_edtf, work.date_latest) == ("May 2019", "2019-05", "2019-05-31")


def test_scenario_15_a_make_ready_sheet_bears_three_jobs_by_region(catalogue: Catalogue) -> None:
    jobs = {"QA-0001": "0,0,50,50", "QA-0002": "50,0,50,50", "QA-0003": "0,50,100,50"}
    for ref in jobs:
        enter(catalogue, ref)
    sheet = add(catalogue, "copy", "Make-ready 1", role="reference")
    for ref, region in jobs.items():
        add(catalogue, "appearance", copy="Make-ready 1", variant=ref, role="test", region=region)
    with catalogue.read() as session:
        regions = session.scalars(
            select(Appearance.region).where(Appearance.copy_id == sheet.id).order_by(Appearance.id)
        )
        assert list(regions) == [[0.0, 0.0, 0.5, 0.5], [0.5, 0.0, 0.5, 0.5], [0.0, 0.5, 1.0, 0.5]]
        for ref in jobs:
            assert [copy["ref"] for copy in work_card(session, ref).copies] == ["Make-ready 1"]
    remove(catalogue, "work", "QA-0001")
    with catalogue.read() as session:
        assert [copy["ref"] for copy in work_card(session, "QA-0002").copies] == ["Make-ready 1"]


def test_a_work_is_entered_whole_as_one_change(catalogue: Catalogue, tmp_path: Path) -> None:
    add(catalogue, "ink", "Ferrywake")
    add(catalogue, "paper", "Oatleaf 120")
    card = enter(
        catalogue,
        "QA-0042",
        photo(tmp_path / "a.png", 1),
        photo(tmp_path / "b.png", 2),
        title="Nine Tides",
        date="May 2019",
        inks="Ferrywake 60 % over yellow?",
        paper="Oatleaf 120",
        place="Plan chest 2 / drawer 5",
        role="good to print",
        edition="12/80",
        side="back",
        said_by="Wren Tallow",
    )
    shown = card.as_json()
    assert shown["variants"][0]["inks"] == "yellow? (tint unknown), then Ferrywake 60 %"
    assert shown["variants"][0]["paper"] == "Oatleaf 120"
    assert (shown["copies"][0]["place"], shown["copies"][0]["edition"]) == ("Plan chest 2 / drawer 5", "12/80")
    assert [picture["name"] for picture in shown["pictures"]] == ["a.png", "b.png"]
    assert any("no ink called 'yellow'" in note for note in shown["notes"])
    with catalogue.read() as session:
        assert session.scalars(select(Appearance.role)).all() == ["back"]
        assert len(session.scalars(select(Change)).all()) == 3  # ink, paper, and all of this


def test_nothing_at_all_is_needed_and_no_copy_is_made_up(catalogue: Catalogue) -> None:
    card = enter(catalogue, None)
    assert card.record.label == "W-0001"
    assert [variant["ref"] for variant in card.variants] == ["W-0001a"]
    assert card.copies == ()


@pytest.mark.parametrize(
    ("wrong", "error", "words"),
    [
        ({"inks": "60 %"}, InputError, "no ink is named"),
        ({"paper": "Oatlef"}, NotFoundError, "no paper called Oatlef"),
        ({"side": "inside", "place": "Box 14"}, InputError, "none of the words"),
        ({"role": "best", "place": "Box 14"}, InputError, "none of the words"),
        ({"kind": "hat"}, InputError, "none of the words"),
        ({"maker": ("Nobody=artist",)}, NotFoundError, "no person called Nobody"),
    ],
)
def test_one_thing_that_cannot_be_read_keeps_all_of_it_out(
    catalogue: Catalogue, tmp_path: Path, wrong: dict[str, object], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        enter(catalogue, "QA-0042", photo(tmp_path / "a.png"), **wrong)
    with catalogue.read() as session:
        assert list_records(session, "work") == []
        assert list_records(session, "place") == []
        assert session.scalars(select(Picture)).all() == []


def test_a_picture_that_is_missing_or_none_keeps_the_work_out(catalogue: Catalogue, tmp_path: Path) -> None:
    (tmp_path / "letter.jpg").write_text("dear printer")
    with pytest.raises(InputError, match=r"nowhere\.jpg"):
        enter(catalogue, "QA-0042", tmp_path / "nowhere.jpg")
    with pytest.raises(InputError, match=r"letter\.jpg"):
        enter(catalogue, "QA-0042", tmp_path / "letter.jpg")
    with catalogue.read() as session:
        assert list_records(session, "work") == []


def test_a_ref_that_is_taken_is_told_and_the_picture_is_taken_up_next_time(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    enter(catalogue, "QA-0042", title="Nine Tides")
    path = photo(tmp_path / "a.png")
    with pytest.raises(ConflictError, match="called QA-0042 already"):
        enter(catalogue, "qa-0042", path)
    enter(catalogue, "QA-0043", path)
    with catalogue.read() as session:
        assert session.scalars(select(Picture.sha256)).all() == list(catalogue.files.all_originals())


def test_a_place_is_made_once_however_it_is_typed(catalogue: Catalogue) -> None:
    for ref, place in (("QA-1", "Storeroom / Box 14"), ("QA-2", "box 14"), ("QA-3", "STOREROOM/box 14")):
        enter(catalogue, ref, place=place)
    with catalogue.read() as session:
        assert [record.label for record in list_records(session, "place")] == ["Storeroom", "Storeroom / Box 14"]


def test_a_path_may_begin_inside_another_place(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-1", place="Storeroom / Plan chest 2 / drawer 5")
    enter(catalogue, "QA-2", place="plan chest 2 / drawer 5")
    enter(catalogue, "QA-3", place="Plan chest 2 / drawer 6")
    assert show(catalogue, "copy", "QA-2/1")["place"] == "Storeroom / Plan chest 2 / drawer 5"
    assert show(catalogue, "copy", "QA-3/1")["place"] == "Storeroom / Plan chest 2 / drawer 6"


def test_a_place_that_could_be_several_is_asked_back(catalogue: Catalogue) -> None:
    for ref, place in (("QA-1", "Storeroom / Box 1"), ("QA-2", "Attic / Box 1")):
        enter(catalogue, ref, place=place)
    with pytest.raises(ConflictError, match="could be 2 places"):
        enter(catalogue, "QA-3", place="Box 1")
    enter(catalogue, "QA-3", place="Attic / Box 1")
    assert show(catalogue, "copy", "QA-3/1")["place"] == "Attic / Box 1"


def test_pictures_go_to_the_first_copy_or_make_one(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042")
    with catalogue.write(act()) as session:
        made, appearance = copy_for_pictures(session, "qa-0042")
        assert appearance is not None
        assert copy_for_pictures(session, "QA-0042a") == (made, None)
        assert copy_for_pictures(session, "QA-0042/1") == (made, None)
        with pytest.raises(NotFoundError):
            copy_for_pictures(session, "QA-0099")
