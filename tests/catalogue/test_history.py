"""Every act leaves its trace."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.history import Act
from archive.catalogue.models import Change, Edit, Ink, Place, User
from archive.catalogue.revision import REVISION
from tests.acts import act


def add_ink(catalogue: Catalogue, name: str, how: Act) -> int:
    with catalogue.write(how) as session:
        ink = Ink(name=name, name_key=name.casefold())
        session.add(ink)
        session.flush()
        return ink.id


def test_a_change_keeps_who_when_what_and_the_schema(catalogue: Catalogue) -> None:
    add_ink(catalogue, "Ferrywake", act("add ink Ferrywake", by="Wren Tallow"))
    with catalogue.read() as session:
        change = session.scalars(select(Change)).one()
        assert session.get_one(User, change.user_id).name == "Wren Tallow"
        assert change.words == "add ink Ferrywake"
        assert change.schema_revision == REVISION
        assert len(change.at) == len("2026-01-01T00:00:00Z")
        assert session.scalars(select(Ink.change_id)).one() == change.id


def test_a_write_that_touches_nothing_leaves_no_change(catalogue: Catalogue) -> None:
    with catalogue.write(act("look around")) as session:
        assert session.scalars(select(Ink)).all() == []
    with catalogue.read() as session:
        assert session.scalars(select(Change)).all() == []


def test_one_person_is_one_user_however_typed(catalogue: Catalogue) -> None:
    add_ink(catalogue, "Ferrywake", act(by="Wren Tallow"))
    add_ink(catalogue, "Dockrope", act(by="wren  tallow"))
    with catalogue.read() as session:
        assert session.scalars(select(User.name)).all() == ["Wren Tallow"]


def test_an_edit_keeps_the_value_before_and_after(catalogue: Catalogue) -> None:
    ink_id = add_ink(catalogue, "Ferrywake", act())
    with catalogue.write(act("retire it")) as session:
        ink = session.get_one(Ink, ink_id)
        ink.in_house = False
        ink.note = "gone dry"
        ink.kind = "transparent"  # as it was: no edit
    with catalogue.read() as session:
        edits = session.scalars(select(Edit).order_by(Edit.column_name)).all()
        assert [(edit.table_name, edit.row_id, edit.column_name, edit.old, edit.new) for edit in edits] == [
            ("ink", ink_id, "in_house", True, False),
            ("ink", ink_id, "note", "", "gone dry"),
        ]
        assert {edit.change_id for edit in edits} == {2}


def test_what_one_change_adds_and_alters_leaves_no_edits(catalogue: Catalogue) -> None:
    with catalogue.write(act()) as session:
        ink = Ink(name="Ferrywake", name_key="ferrywake")
        session.add(ink)
        session.flush()
        ink.note = "second thought"
    with catalogue.read() as session:
        assert session.scalars(select(Edit)).all() == []
        assert session.scalars(select(Ink.note)).one() == "second thought"


def test_columns_that_follow_from_others_leave_no_edits(catalogue: Catalogue) -> None:
    with catalogue.write(act()) as session:
        session.add(Place(name="Box 14", path="Box 14", path_key="box 14"))
    with catalogue.write(act()) as session:
        place = session.scalars(select(Place)).one()
        place.name, place.path, place.path_key = "Box 15", "Box 15", "box 15"
    with catalogue.read() as session:
        assert session.scalars(select(Edit.column_name)).all() == ["name"]


def test_an_import_keeps_only_its_change_on_its_rows(catalogue: Catalogue) -> None:
    with catalogue.write(act("bring in", kind="import")) as session:
        session.add_all([Ink(name=f"Ink {number}", name_key=f"ink {number}") for number in range(50)])
    with catalogue.read() as session:
        assert len(session.scalars(select(Change)).all()) == 1
        assert session.scalars(select(Edit)).all() == []
        assert set(session.scalars(select(Ink.change_id))) == {1}


def test_long_work_carries_on_one_change(catalogue: Catalogue) -> None:
    with catalogue.write(act("many pictures", kind="import")) as session:
        session.add(Ink(name="Ferrywake", name_key="ferrywake"))
        session.flush()
        change_id = session.info["change_id"]
    add_ink(catalogue, "Dockrope", act("many pictures", kind="import", change_id=change_id))
    with catalogue.read() as session:
        assert set(session.scalars(select(Ink.change_id))) == {change_id}
        assert len(session.scalars(select(Change)).all()) == 1


def test_a_change_that_breaks_off_leaves_no_trace(catalogue: Catalogue) -> None:
    def break_off() -> None:
        with catalogue.write(act()) as session:
            session.add(Ink(name="Ferrywake", name_key="ferrywake"))
            session.flush()
            raise RuntimeError("the lamp went out")

    with pytest.raises(RuntimeError, match="lamp"):
        break_off()
    with catalogue.read() as session:
        assert session.scalars(select(Ink)).all() == []
        assert session.scalars(select(Change)).all() == []
        assert session.scalars(select(User.name)).all() == []
