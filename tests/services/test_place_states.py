"""Boxes: counted, checked, closed; kept apart when mould is suspected."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.catalogue.database import Catalogue
from archive.errors import ConflictError, InputError
from archive.services.lookup import find_record
from archive.services.place_states import (
    count_box,
    photo_queue,
    quarantine,
    quarantine_of,
    release,
    set_box_state,
)
from tests.acts import act
from tests.services.keeping import add, enter, photo, show


@pytest.fixture
def boxes(catalogue: Catalogue, tmp_path: Path) -> Catalogue:
    """Two boxes on a shelf: two photographed works in the first, one photographed and one not in the second."""
    add(catalogue, "place", "Storeroom / Shelf 2", kind="shelf")
    enter(catalogue, "W-1", photo(tmp_path / "1.png", 1), place="Storeroom / Shelf 2 / Box 3")
    enter(catalogue, "W-2", photo(tmp_path / "2.png", 2), place="Box 3")
    enter(catalogue, "W-3", photo(tmp_path / "3.png", 3), place="Storeroom / Shelf 2 / Box 14")
    enter(catalogue, "W-4", place="Box 14")
    return catalogue


def close(catalogue: Catalogue, name: str, counted: int | None, *, anyway: bool = False) -> str:
    with catalogue.write(act("close")) as session:
        return set_box_state(session, name, "closed", counted, anyway=anyway).state


def test_a_box_closes_when_the_count_is_right(boxes: Catalogue) -> None:
    assert close(boxes, "Box 3", 2) == "closed"
    assert show(boxes, "place", "Box 3")["state"] == "closed"


def test_a_wrong_count_is_refused_with_both_numbers(boxes: Catalogue) -> None:
    with pytest.raises(ConflictError, match="counted 3, but the archive holds 2"):
        close(boxes, "Box 3", 3)
    with pytest.raises(InputError, match="closing counts"):
        close(boxes, "Box 3", None)
    assert show(boxes, "place", "Box 3")["state"] == "open"
    assert close(boxes, "Box 3", 3, anyway=True) == "closed"


def test_a_box_with_something_not_photographed_does_not_close(boxes: Catalogue) -> None:
    with pytest.raises(ConflictError, match="without a picture: W-4/1"):
        close(boxes, "Box 14", 2)


def test_a_shelf_counts_what_lies_in_its_boxes(boxes: Catalogue) -> None:
    with boxes.read() as session:
        found = count_box(session, "Shelf 2")
    assert (found.copies, found.without_picture) == (4, ("W-4/1",))


def test_scenario_17_a_box_with_suspected_mould_leaves_the_photo_queue_and_shows_the_card(boxes: Catalogue) -> None:
    with boxes.read() as session:
        assert [(each.place, each.copies) for each in photo_queue(session)] == [
            ("Storeroom / Shelf 2 / Box 14", ("W-4/1",))
        ]
    with boxes.write(act("mould")) as session:
        found = quarantine(session, "Box 14", "mould suspected, musty")
    assert found.copies == 2
    card = " ".join(found.card)
    # the points of public archives' advice on mould, as summed up in the trade's notes [common practice]
    for word in ("mask", "gloves", "asthma", "Isolate", "45 %", "conservator", "trained people"):
        assert word in card
    with boxes.read() as session:
        assert photo_queue(session) == []
        assert quarantine_of(session, find_record(session, "place", "Box 14").id) is not None
    with boxes.write(act("released")) as session:
        release(session, "Box 14")
    with boxes.read() as session:
        assert len(photo_queue(session)) == 1


def test_a_quarantined_shelf_keeps_its_boxes_apart_too(boxes: Catalogue) -> None:
    with boxes.write(act("insects")) as session:
        card = quarantine(session, "Shelf 2", "silverfish seen").card
    assert "neighbours" in card[0]
    with boxes.read() as session:
        assert photo_queue(session) == []
        assert quarantine_of(session, find_record(session, "place", "Box 3").id) == (
            "Storeroom / Shelf 2",
            "silverfish seen",
        )


def test_quarantine_needs_a_reason_and_release_a_quarantine(boxes: Catalogue) -> None:
    with pytest.raises(InputError, match="why"), boxes.write(act()) as session:
        quarantine(session, "Box 3", " ")
    with pytest.raises(ConflictError, match="not in quarantine"), boxes.write(act()) as session:
        release(session, "Box 3")
