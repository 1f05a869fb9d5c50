"""Capture now, describe later."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Frame, Picture, Sitting, Work
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.claims import list_claims
from archive.services.describing import AS_LAST, ShortFacts, describe_work, list_undescribed, pace
from archive.services.work_cards import WorkCard, work_card
from tests.acts import act
from tests.services.keeping import add, enter, photo, undo
from tests.services.make import enter_house


def describe(catalogue: Catalogue, ref: str, **facts: object) -> WorkCard:
    with catalogue.write(act(f"describe {ref}")) as session:
        return describe_work(session, ref, ShortFacts(**facts))  # type: ignore[arg-type]


def waiting(catalogue: Catalogue, place: str | None = None) -> list[str]:
    with catalogue.read() as session:
        return [each.ref for each in list_undescribed(session, place=place)]


@pytest.fixture
def captured(catalogue: Catalogue, tmp_path: Path) -> Catalogue:
    """An archive with three works that were photographed and nothing else, and one without a picture."""
    enter_house(catalogue)
    for number, place in enumerate(("Box 3", "Box 3", "Box 14"), start=1):
        enter(catalogue, f"W-{number}", photo(tmp_path / f"{number}.png", number), place=place)
    enter(catalogue, "W-4")
    return catalogue


def test_what_was_photographed_and_lacks_its_short_facts_is_listed_oldest_first(captured: Catalogue) -> None:
    assert waiting(captured) == ["W-1", "W-2", "W-3"]
    assert waiting(captured, "Box 14") == ["W-3"]
    with captured.read() as session:
        first = list_undescribed(session, limit=1)[0]
    assert first.lacks == ("title", "date", "inks", "paper")
    assert first.place == "Box 3"
    assert [name for _, name in first.pictures] == ["1.png"]


def test_a_described_work_leaves_the_list_and_undo_brings_it_back(captured: Catalogue) -> None:
    card = describe(captured, "W-1", title="Nine Tides", inks="Ferrywake 60 % over Dockrope 100 %", paper="Oatleaf 120")
    assert card.record.facts["title"] == "Nine Tides"
    assert card.variants[0]["inks"] == "Dockrope 100 %, then Ferrywake 60 %"
    assert waiting(captured) == ["W-2", "W-3"]
    undo(captured)
    assert waiting(captured) == ["W-1", "W-2", "W-3"]


def test_unknown_is_fine_and_is_kept_as_such(captured: Catalogue) -> None:
    describe(captured, "W-1", title="Nine Tides", unknown=("date",), nobody_left=("inks",), said_by="Wren Tallow")
    assert "W-1" not in waiting(captured)
    with captured.read() as session:
        said = {each.field: each for each in list_claims(session, "work", "W-1")}
    assert (said["date"].basis, said["date"].value, said["date"].by) == ("unknown", "", "Wren Tallow")
    assert (said["inks"].basis, said["inks"].words) == ("unknown", "nobody left")


def test_as_the_last_one_takes_over_all_but_the_title(captured: Catalogue) -> None:
    describe(
        captured, "W-1", title="Nine Tides", date="about 1998", inks="blue? over yellow, about half",
        paper="Oatleaf 120", maker="Wren Tallow", kind="zine",
    )  # fmt: skip
    card = describe(captured, "W-2", title="Bus Stop Choir", as_last=AS_LAST)
    with captured.read() as session:
        first = work_card(session, "W-1")
    assert card.record.facts["title"] == "Bus Stop Choir"
    for fact in ("date", "kind", "maker"):
        assert card.record.facts[fact] == first.record.facts[fact] != ""
    for fact in ("inks", "paper", "words"):
        assert card.variants[0][fact] == first.variants[0][fact] is not None


def test_what_is_said_or_called_unknown_is_not_taken_from_the_last_one(captured: Catalogue) -> None:
    describe(captured, "W-1", date="1998", inks="Ferrywake", paper="Oatleaf 120")
    card = describe(captured, "W-2", inks="Kilnsong 100 %", unknown=("date",), as_last=AS_LAST)
    assert card.variants[0]["inks"] == "Kilnsong 100 %"
    assert card.variants[0]["paper"] == "Oatleaf 120"
    assert card.record.facts["date"] == ""


def test_as_the_last_one_is_refused_when_nothing_was_described(captured: Catalogue) -> None:
    with pytest.raises(NotFoundError, match="nothing was described before"):
        describe(captured, "W-1", as_last=AS_LAST)
    assert waiting(captured) == ["W-1", "W-2", "W-3"]


def test_a_fact_that_is_none_of_the_short_ones_cannot_be_called_unknown(captured: Catalogue) -> None:
    with pytest.raises(InputError, match="none of the short facts"):
        describe(captured, "W-1", title="Nine Tides", unknown=("smell",))
    with captured.read() as session:
        assert work_card(session, "W-1").record.facts["title"] == ""


def test_the_pace_counts_what_was_captured_and_described_and_leaves_breaks_out(captured: Catalogue) -> None:
    # six works described at two-minute steps, then an hour's break, then one more: 30 an hour by arithmetic
    moments = [f"2025-03-14T10:{2 * step:02}:00Z" for step in range(6)] + ["2025-03-14T11:30:00Z"]
    with captured.write(act("seven works")) as session:
        for number, at in enumerate(moments):
            session.add(Work(ref=f"X-{number}", ref_key=f"x-{number}", described_at=at))
        sitting = Sitting(
            ref="2025-03-14a", ref_key="2025-03-14a", opened_at=moments[0], edition="2014b", card_width_mm=1.0,
            card_height_mm=1.0, verdict="good for looks",
        )  # fmt: skip
        session.add(sitting)
        session.flush()
        for position, picture in enumerate(session.scalars(select(Picture).order_by(Picture.id)).all()):
            session.add(
                Frame(
                    sitting_id=sitting.id,
                    position=position,
                    status="taken",
                    sha256=picture.sha256,
                    name=picture.name,
                    picture_id=picture.id,
                    taken_at=f"2025-03-14T09:0{position}:30",
                )
            )
    with captured.read() as session:
        found = pace(session)
    assert (found.described, found.left, found.captured) == (7, 3, 3)
    assert found.described_an_hour == pytest.approx(30.0)
    assert found.captured_an_hour == pytest.approx(60.0)
    assert found.hours_left == pytest.approx(0.1)


def test_a_work_without_a_variant_says_so(captured: Catalogue) -> None:
    add(captured, "work", "W-5")
    with pytest.raises(ConflictError, match="no variant"):
        describe(captured, "W-5", inks="Ferrywake")
