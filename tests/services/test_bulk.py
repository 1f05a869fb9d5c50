"""One change to many works, and a whole box that moves; all of it comes back with one undo."""

from __future__ import annotations

from typing import Any

import pytest

from archive.catalogue.database import Catalogue
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.bulk import BulkReport, MovedPlace, change_works, move_place
from archive.services.claims import list_claims
from archive.services.finding import FindOptions
from archive.services.records import list_records
from archive.services.work_cards import work_card
from tests.acts import act
from tests.services import keeping
from tests.services.make import CHALKROAD, OATLEAF, enter_house


@pytest.fixture
def thirty(catalogue: Catalogue) -> Catalogue:
    """Return thirty works, the even ones told on Chalkroad, a copy of the first in a box inside a chest."""
    enter_house(catalogue)
    for number in range(1, 31):
        paper = CHALKROAD if number % 2 == 0 else None
        keeping.enter(catalogue, f"W-{number:02d}", inks="Ferrywake 60 % over Dockrope", paper=paper, title="Tides")
    for place in ("Storeroom / Chest 1 / Box 1 / Folder A", "Attic"):
        keeping.add(catalogue, "place", place)
    keeping.add(catalogue, "copy", None, of="W-01", place="Box 1")
    keeping.add(catalogue, "copy", None, of="W-02", place="Folder A")
    return catalogue


def change(catalogue: Catalogue, values: dict[str, str], *, dry_run: bool = False, **asked: Any) -> BulkReport:
    said_by = asked.pop("said_by", None)
    with catalogue.write(act("change many works")) as session:
        return change_works(session, FindOptions(**asked), values, said_by=said_by, dry_run=dry_run)


def variants(catalogue: Catalogue) -> list[Any]:
    with catalogue.read() as session:
        refs = [work.label for work in list_records(session, "work")]
        return [work_card(session, ref).as_json() for ref in refs]


def test_these_thirty_are_on_oatleaf_and_one_undo_takes_all_of_it_back(thirty: Catalogue) -> None:
    before = variants(thirty)
    report = change(thirty, {"paper": "oatleaf 120"}, works="W-01..W-30")
    assert (len(report.works), report.same) == (30, 0)
    assert [each.was["paper"] for each in report.works[:2]] == ["", CHALKROAD]
    after = variants(thirty)
    assert {work["variants"][0]["paper"] for work in after} == {OATLEAF}
    assert [work["variants"][0]["inks"] for work in after] == [work["variants"][0]["inks"] for work in before]
    assert [work["variants"][0]["words"] for work in after] == [work["variants"][0]["words"] for work in before]
    keeping.undo(thirty)
    assert variants(thirty) == before


def test_works_that_are_on_it_already_are_counted_and_left(thirty: Catalogue) -> None:
    report = change(thirty, {"paper": CHALKROAD}, text="tides")
    assert (len(report.works), report.same) == (15, 15)


def test_a_dry_run_says_which_and_changes_nothing(thirty: Catalogue) -> None:
    before, newest = variants(thirty), keeping.newest(thirty).id
    report = change(thirty, {"paper": OATLEAF, "date": "May 2019"}, dry_run=True, works="W-03,W-05..W-06")
    assert [each.ref for each in report.works] == ["W-03", "W-05", "W-06"]
    assert report.dry_run
    assert (variants(thirty), keeping.newest(thirty).id) == (before, newest)


def test_facts_of_works_and_of_their_copies_are_set_beyond_any_limit(thirty: Catalogue) -> None:
    report = change(thirty, {"date": "about 1998", "place": "Attic"}, text="tides", limit=2)
    assert len(report.works) == 30
    assert keeping.show(thirty, "work", "W-30")["date"] == "about 1998"
    assert {keeping.show(thirty, "copy", ref)["place"] for ref in ("W-01/1", "W-02/1")} == {"Attic"}
    assert report.works[0].was == {"date": "", "place": "Storeroom / Chest 1 / Box 1"}


def test_who_says_so_is_kept_with_each(thirty: Catalogue) -> None:
    change(thirty, {"paper": OATLEAF}, works="W-01..W-02", said_by="Wren Tallow")
    with thirty.read() as session:
        said = [each for each in list_claims(session, "variant", "W-02a") if each.field == "paper"]
    assert [(each.value, each.basis, each.by) for each in said] == [(OATLEAF, "stated", "Wren Tallow")]


@pytest.mark.parametrize(
    ("values", "asked"),
    [
        ({"paper": OATLEAF}, {}),  # it would change every work
        ({"paper": OATLEAF}, {"limit": 3}),
        ({}, {"text": "tides"}),
        ({"ref": "W-99"}, {"text": "tides"}),
        ({"date": "last Tuesday or so"}, {"text": "tides"}),
        ({"paper": OATLEAF}, {"works": "W-30..W-01"}),
    ],
)
def test_what_makes_no_sense_is_refused(thirty: Catalogue, values: dict[str, str], asked: dict[str, Any]) -> None:
    before = variants(thirty)
    with pytest.raises(InputError):
        change(thirty, values, **asked)
    assert variants(thirty) == before


def test_a_paper_nobody_knows_is_told_with_the_nearest(thirty: Catalogue) -> None:
    with pytest.raises(NotFoundError, match="Did you mean"):
        change(thirty, {"paper": "Oatleef 120"}, text="tides")


# --- a whole box


def move(catalogue: Catalogue, ref: str, to: str) -> MovedPlace:
    with catalogue.write(act("move a box")) as session:
        return move_place(session, ref, to)


def places(catalogue: Catalogue) -> list[Any]:
    with catalogue.read() as session:
        return [each.as_json() for noun in ("place", "copy") for each in list_records(session, noun)]


def test_a_whole_box_moves_with_what_lies_in_it_and_comes_back(thirty: Catalogue) -> None:
    before = places(thirty)
    moved = move(thirty, "Box 1", "Attic")
    assert (moved.record.label, moved.places, moved.copies) == ("Attic / Box 1", 1, 2)
    assert keeping.show(thirty, "copy", "W-02/1")["place"] == "Attic / Box 1 / Folder A"
    keeping.undo(thirty)
    assert places(thirty) == before


def test_a_box_comes_out_of_the_place_it_is_in(thirty: Catalogue) -> None:
    assert move(thirty, "Box 1", "").record.label == "Box 1"


def test_a_box_goes_neither_into_itself_nor_beside_one_of_its_name(thirty: Catalogue) -> None:
    with pytest.raises(InputError, match="inside itself"):
        move(thirty, "Box 1", "Folder A")
    keeping.add(thirty, "place", "Attic / Box 1")
    with pytest.raises(ConflictError):
        move(thirty, "Storeroom / Chest 1 / Box 1", "Attic")
