"""A person decides what a sheet that looks like another one is; nothing merges by itself.

Shots are rendered (`tests/studio/storeroom.py`): one print, the same sheet again, and its design in other inks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import select

from archive.catalogue.database import Catalogue, start_archive
from archive.catalogue.models import Copy, Frame, Picture, Swatch, Variant
from archive.errors import ArchiveError, ConflictError, InputError, NotFoundError
from archive.services.alike import AlikeCard, Decided, accept_alike, decline_alike, list_alike
from archive.services.check import check_archive
from archive.services.claims import ClaimSummary, list_claims
from archive.services.describing import ShortFacts, describe_work
from archive.services.swatches import Region, read_swatch, save_swatch
from archive.services.work_cards import WorkCard, work_card
from tests.acts import act
from tests.services.keeping import add, every_row, show, undo
from tests.services.make import enter_house
from tests.services.stand import Desk, a_copy, lay_out, opened, picture_of, take
from tests.studio.storeroom import random_print


@dataclass(frozen=True)
class Taken:
    """The uids of the pictures of the three shots, and the refs of the works they were entered as."""

    pictures: tuple[str, str, str]
    works: tuple[str, str, str]

    @property
    def again(self) -> str:
        return self.pictures[1]

    @property
    def green(self) -> str:
        return self.pictures[2]


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    return lay_out(
        tmp_path_factory.mktemp("stand"),
        {
            "tides": (random_print(0), {}),
            "tides again": (random_print(0), {"turn_deg": 3.0, "shot": 1}),
            "tides green": (random_print(0, pair=4), {"turn_deg": -2.0, "shot": 2}),
        },
    )


@pytest.fixture(scope="module")
def filled(desk: Desk) -> Taken:
    """Return what a sitting took of the three, into `chest` on the desk."""
    catalogue = start_archive(desk.folder / "chest")
    enter_house(catalogue)
    add(catalogue, "place", "Box 14")
    opened(catalogue, desk, place="Box 14")
    frames = take(catalogue, *(desk[name] for name in ("tides", "tides again", "tides green"))).frames
    catalogue.close()
    one, two, three = frames
    works = [frame.work or "" for frame in frames]
    return Taken((picture_of(one), picture_of(two), picture_of(three)), (works[0], works[1], works[2]))


@pytest.fixture
def chest(filled: Taken, desk: Desk, tmp_path: Path) -> Iterator[Catalogue]:
    assert filled
    yield from a_copy(desk.folder / "chest", tmp_path)


@pytest.fixture
def taken(filled: Taken) -> Taken:
    return filled


def waiting(chest: Catalogue) -> list[AlikeCard]:
    with chest.read() as session:
        return list_alike(session)


def accept(chest: Catalogue, picture: str, **said: str) -> Decided:
    with chest.write(act("decide")) as session:
        return accept_alike(session, picture, **said)


def card(chest: Catalogue, ref: str) -> WorkCard:
    with chest.read() as session:
        return work_card(session, ref)


def describe(chest: Catalogue, ref: str, facts: ShortFacts) -> None:
    with chest.write(act("describe")) as session:
        describe_work(session, ref, facts)


def refused(chest: Catalogue, picture: str, kind: type[ArchiveError], words: str, **said: str) -> None:
    before = every_row(chest)
    with pytest.raises(kind, match=words):
        accept(chest, picture, **said)
    assert every_row(chest) == before


def test_what_looks_alike_waits_for_somebody_to_decide(chest: Catalogue, taken: Taken) -> None:
    again, green = waiting(chest)
    assert (again.picture, again.work) == (taken.again, taken.works[1])
    assert [(each.picture, each.as_, each.work) for each in again.like] == [
        (taken.pictures[0], "same copy", taken.works[0])
    ]
    assert green.picture == taken.green
    assert {each.as_ for each in green.like} == {"variant"}


def test_the_same_copy_becomes_a_second_picture_of_it_and_the_empty_work_goes(chest: Catalogue, taken: Taken) -> None:
    found = accept(chest, taken.again)
    assert (found.decided, found.work, found.gone) == ("same copy", taken.works[0], taken.works[1])
    assert [picture["uid"] for picture in card(chest, taken.works[0]).pictures] == list(taken.pictures[:2])
    with chest.read() as session:
        assert len(session.scalars(select(Copy).where(Copy.binned_at.is_(None))).all()) == 2
        pictures = session.scalars(select(Picture).order_by(Picture.id)).all()
        assert pictures[0].appearance_id == pictures[1].appearance_id
    with pytest.raises(NotFoundError):
        card(chest, taken.works[1])
    assert taken.again not in {each.picture for each in waiting(chest)}


def test_scenario_14_other_inks_become_a_variant_of_the_work_and_not_a_double(chest: Catalogue, taken: Taken) -> None:
    describe(chest, taken.works[0], ShortFacts(title="Nine Tides", inks="Kilnsong 100 % over Ferrywake 60 %"))
    describe(chest, taken.works[2], ShortFacts(inks="Nettlecoat 100 % over Ferrywake 60 %"))
    found = accept(chest, taken.green)
    assert (found.decided, found.work, found.gone) == ("variant", taken.works[0], taken.works[2])
    work = card(chest, taken.works[0])
    assert [(each["ref"], each["kind"]) for each in work.variants] == [
        (f"{taken.works[0]}a", "first"),
        (f"{taken.works[0]}b", "colourway"),
    ]
    assert [each["inks"] for each in work.variants] == [
        "Ferrywake 60 %, then Kilnsong 100 %",
        "Ferrywake 60 %, then Nettlecoat 100 %",
    ]
    assert [copy["ref"] for copy in work.copies] == [f"{taken.works[0]}/1", f"{taken.works[0]}/2"]
    assert show(chest, "copy", f"{taken.works[0]}/2")["place"] == "Box 14"
    assert [damage.code for damage in check_archive(chest) if damage.is_harm] == []


def test_the_same_inks_on_another_paper_are_a_paper_variant(chest: Catalogue, taken: Taken) -> None:
    for work, paper in ((taken.works[0], "Oatleaf 120"), (taken.works[2], "Chalkroad 90")):
        describe(chest, work, ShortFacts(inks="Kilnsong 100 % over Ferrywake 60 %", paper=paper))
    accept(chest, taken.green)
    assert [each["kind"] for each in card(chest, taken.works[0]).variants] == ["first", "paper"]


@pytest.mark.parametrize("number", [1, 2])
def test_a_decision_is_one_change_and_undone_whole(chest: Catalogue, taken: Taken, number: int) -> None:
    describe(chest, taken.works[number], ShortFacts(title="Nine Tides", maker="Wren Tallow", unknown=("date",)))
    before = {name: rows for name, rows in every_row(chest).items() if name not in ("change", "edit", "user")}
    accept(chest, taken.pictures[number])
    undo(chest)
    after = {name: rows for name, rows in every_row(chest).items() if name not in ("change", "edit", "user")}
    assert after == before


def test_what_only_the_new_work_knew_goes_along(chest: Catalogue, taken: Taken) -> None:
    describe(
        chest,
        taken.works[1],
        ShortFacts(title="Nine Tides", date="1999", inks="Kilnsong 100 % over Ferrywake 60 %", maker="Wren Tallow"),
    )
    accept(chest, taken.again)
    work = card(chest, taken.works[0])
    assert (work.record.facts["title"], work.record.facts["date"]) == ("Nine Tides", "1999")
    assert [maker["name"] for maker in work.record.facts["maker"]] == ["Wren Tallow"]
    assert [variant["inks"] for variant in work.variants] == ["Ferrywake 60 %, then Kilnsong 100 %"]
    with chest.read() as session:
        said: list[ClaimSummary] = list_claims(session, "variant", f"{taken.works[0]}a")
    assert {claim.field for claim in said} == {"inks", "order"}


def test_a_work_described_otherwise_meanwhile_is_refused_with_both_words(chest: Catalogue, taken: Taken) -> None:
    describe(chest, taken.works[0], ShortFacts(title="Nine Tides", inks="Kilnsong 100 % over Ferrywake 60 %"))
    describe(chest, taken.works[1], ShortFacts(title="Bus Stop Choir", inks="Nettlecoat 100 % over Ferrywake 60 %"))
    refused(chest, taken.again, ConflictError, "title Bus Stop Choir and Nine Tides; inks .*Nettlecoat.* and ")
    refused(chest, taken.again, ConflictError, "title", as_="variant")


def test_one_sheet_does_not_lie_in_two_boxes(chest: Catalogue, taken: Taken) -> None:
    add(chest, "place", "Attic")
    with chest.write(act("move")) as session:
        copy = session.scalars(select(Copy).where(Copy.ref == f"{taken.works[1]}/1")).one()
        copy.place_id = copy.place_id and copy.place_id + 1
    refused(chest, taken.again, ConflictError, "one lies in Attic, the other in Box 14")
    assert accept(chest, taken.again, as_="variant").decided == "variant"


def test_swatches_read_meanwhile_follow_the_sheet(chest: Catalogue, desk: Desk, taken: Taken) -> None:
    _, shot = desk.prints["tides again"]
    assert shot.patches is not None
    region = Region(float(shot.patches[0][0]), float(shot.patches[0][1]), 14)
    with chest.read() as session:
        reading = read_swatch(session, chest.files, taken.again, region)
    with chest.write(act("swatch")) as session:
        save_swatch(session, taken.again, region, reading, "Ferrywake 60 %", "Oatleaf 120")
    accept(chest, taken.again)
    with chest.read() as session:
        swatch = session.scalars(select(Swatch).where(Swatch.binned_at.is_(None))).one()
        assert session.get_one(Variant, swatch.variant_id or 0).ref == f"{taken.works[0]}a"


def test_declined_is_settled_and_both_works_stay(chest: Catalogue, taken: Taken) -> None:
    with chest.write(act("decide")) as session:
        assert decline_alike(session, taken.again).decided == "declined"
    assert taken.again not in {each.picture for each in waiting(chest)}
    assert card(chest, taken.works[1]).record.label == taken.works[1]
    refused(chest, taken.again, NotFoundError, "nothing is open of it")


def test_a_question_needs_an_answer(chest: Catalogue, taken: Taken) -> None:
    with chest.write(act("as if it were unsure")) as session:
        frame = session.scalars(select(Frame).order_by(Frame.id.desc())).first()
        assert frame is not None
        frame.alike = [{**each, "as": "same design?"} for each in frame.alike]
    refused(chest, taken.green, InputError, "that is a question")
    assert accept(chest, taken.green, as_="variant", of=taken.again).work == taken.works[1]
