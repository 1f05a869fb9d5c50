"""The bin, and taking changes back."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import func, select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Edit, Ink, Measurement, Picture, ReadingsSet, Recipe, Swatch, Variant, Work
from archive.errors import ConflictError, NotFoundError
from archive.services.bin import list_bin
from archive.services.changes import change_to_undo, list_changes
from archive.services.check import check_archive
from archive.services.finding import FindOptions, find_works
from archive.services.people import forget_person
from archive.services.readings import ImportOptions, import_readings
from archive.services.work_cards import work_card
from tests.acts import act
from tests.services.keeping import add, edit, empty_bin, enter, newest, photo, remove, show, undo


def is_whole(catalogue: Catalogue) -> bool:
    return [damage for damage in check_archive(catalogue) if damage.is_harm] == []


def living(catalogue: Catalogue, model: type) -> int:
    with catalogue.read() as session:
        return session.scalar(select(func.count()).select_from(model).where(model.binned_at.is_(None))) or 0


def furnish(catalogue: Catalogue) -> None:
    for name in ("Ferrywake", "Dockrope"):
        add(catalogue, "ink", name)
    add(catalogue, "paper", "Oatleaf 120")


def bring_in(catalogue: Catalogue, folder: Path, name: str = "strip", shift: float = 0.0) -> None:
    path = folder / f"{name}.csv"
    lines = [f"{number},{10 * number},{80 - number - shift},1,{number}" for number in range(1, 10)]
    text = "sample,tint_1,lab_l,lab_a,lab_b,paper,ink_1\n"
    path.write_text(text + "".join(f"{line},Oatleaf 120,Ferrywake\n" for line in lines))
    import_readings(catalogue, path, ImportOptions(), act(f"import {name}", kind="import"))


# --- the bin -------------------------------------------------------------------------------------------------------


def test_scenario_19_a_deleted_work_comes_back_with_its_pictures(catalogue: Catalogue, tmp_path: Path) -> None:
    furnish(catalogue)
    enter(
        catalogue,
        "QA-0042",
        photo(tmp_path / "a.png", 1),
        photo(tmp_path / "b.png", 2),
        title="Nine Tides",
        inks="Ferrywake over Dockrope",
        place="Box 14",
    )
    add(catalogue, "run", variant="QA-0042", good="120")
    with catalogue.read() as session:
        before = work_card(session, "QA-0042").as_json()
    gone = remove(catalogue, "work", "QA-0042")
    assert {each.split()[0] for each in gone} == {"work", "variant", "copy", "appearance", "picture", "run"}
    with pytest.raises(NotFoundError):
        show(catalogue, "work", "QA-0042")
    with catalogue.read() as session:
        assert {each.label for each in list_bin(session)} >= {"QA-0042", "a.png", "b.png"}
    assert is_whole(catalogue)
    undo(catalogue)
    with catalogue.read() as session:
        assert work_card(session, "QA-0042").as_json() == before
        assert list_bin(session) == []
        assert all(catalogue.files.exists(sha256) for sha256 in session.scalars(select(Picture.sha256)))
    assert is_whole(catalogue)


def test_what_is_in_the_bin_is_not_searched(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042", title="Nine Tides")
    remove(catalogue, "work", "QA-0042")
    with catalogue.read() as session:
        assert find_works(session, FindOptions("tides")) == []


@pytest.mark.parametrize("noun", ["ink", "paper", "machine", "person", "place", "filling"])
def test_what_is_in_use_does_not_go_to_the_bin(catalogue: Catalogue, noun: str) -> None:
    furnish(catalogue)
    add(catalogue, "machine", "Upstairs")
    add(catalogue, "person", "Wren Tallow")
    add(catalogue, "drum", "7", ink="Ferrywake", machine="Upstairs")
    add(catalogue, "filling", "May", ink="Ferrywake")
    enter(
        catalogue,
        "QA-0042",
        inks="Ferrywake over Dockrope",
        paper="Oatleaf 120",
        place="Box 14",
        maker=("Wren Tallow=artist",),
    )
    add(catalogue, "run", variant="QA-0042", machine="Upstairs", filling=("May",))
    names = {"ink": "Dockrope", "paper": "Oatleaf 120", "machine": "Upstairs", "person": "Wren Tallow"}
    ref = names.get(noun, {"place": "Box 14", "filling": "May"}.get(noun, ""))
    with pytest.raises(ConflictError, match="still used by"):
        remove(catalogue, noun, ref)
    assert show(catalogue, noun, ref)


@pytest.mark.parametrize(("noun", "ref"), [("machine", "Upstairs"), ("ink", "Sootwell")])
def test_what_only_part_of_a_record_names_is_in_use_too(catalogue: Catalogue, noun: str, ref: str) -> None:
    furnish(catalogue)
    add(catalogue, "ink", "Sootwell")
    add(catalogue, "machine", "Upstairs")
    add(catalogue, "drum", "7", fits=("Upstairs",))
    add(catalogue, "filling", "Dusk", ink="Ferrywake", mix=("Ferrywake=3", "Sootwell=1"))
    with pytest.raises(ConflictError, match=r"drum 7|filling Dusk"):
        remove(catalogue, noun, ref)


def test_an_ink_that_only_lay_on_removed_works_can_go_too(catalogue: Catalogue) -> None:
    furnish(catalogue)
    enter(catalogue, "QA-0042", inks="Ferrywake over Dockrope")
    with catalogue.write(act("tell again")) as session:
        variant = session.scalars(select(Variant)).one()
        variant.recipe_id = None  # what was told is given up; its recipe is used by nothing now
    remove(catalogue, "ink", "Dockrope")
    assert is_whole(catalogue)
    undo(catalogue)
    assert is_whole(catalogue)


def test_a_copy_with_another_work_on_it_stays(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0001", place="Box 14")
    enter(catalogue, "QA-0002")
    add(catalogue, "appearance", copy="QA-0001/1", variant="QA-0002")
    remove(catalogue, "work", "QA-0001")
    assert show(catalogue, "copy", "QA-0001/1")["place"] == "Box 14"
    remove(catalogue, "work", "QA-0002")
    with pytest.raises(NotFoundError):
        show(catalogue, "copy", "QA-0001/1")


def test_emptying_the_bin_deletes_the_rows_and_the_files_no_row_names(catalogue: Catalogue, tmp_path: Path) -> None:
    enter(catalogue, "QA-0001", photo(tmp_path / "a.png", 1))
    enter(catalogue, "QA-0002", photo(tmp_path / "b.png", 2))
    first, second = (catalogue.files.digest(tmp_path / name) for name in ("a.png", "b.png"))
    remove(catalogue, "work", "QA-0001")
    rows, files = empty_bin(catalogue)
    assert (rows, files) == (5, 1)  # work, variant, copy, appearance, picture
    assert list(catalogue.files.all_originals()) == [second]
    assert not list(catalogue.files.derived.rglob(f"{first}*"))
    assert list(catalogue.files.derived.rglob(f"{second}*"))
    assert check_archive(catalogue) == []
    with catalogue.read() as session:
        assert list_bin(session) == []
    assert newest(catalogue).words == "empty the bin"
    assert empty_bin(catalogue) == (0, 0)


def test_a_file_that_another_row_names_stays_when_the_bin_is_emptied(catalogue: Catalogue, tmp_path: Path) -> None:
    path = photo(tmp_path / "a.png")
    enter(catalogue, "QA-0001", path)
    remove(catalogue, "work", "QA-0001")
    enter(catalogue, "QA-0002", path)  # the same bytes again: a row of its own, the same file
    empty_bin(catalogue)
    assert len(list(catalogue.files.all_originals())) == 1
    assert check_archive(catalogue) == []


def test_what_something_in_the_bin_still_needs_is_deleted_with_it(catalogue: Catalogue) -> None:
    add(catalogue, "place", "Storeroom / Box 14")
    enter(catalogue, "QA-0001", place="Box 14")
    remove(catalogue, "work", "QA-0001")
    remove(catalogue, "place", "Box 14")
    remove(catalogue, "place", "Storeroom")
    empty_bin(catalogue)
    with catalogue.read() as session:
        assert list_bin(session) == []
    assert check_archive(catalogue) == []


def test_what_was_deleted_for_good_cannot_be_undone(catalogue: Catalogue) -> None:
    add(catalogue, "ink", "Ferrywake")
    removed = newest(catalogue).id
    remove(catalogue, "ink", "Ferrywake")
    empty_bin(catalogue)
    with pytest.raises(ConflictError, match="nothing of it is left"):
        undo(catalogue, str(removed))
    with pytest.raises(NotFoundError, match="gone for good"):
        undo(catalogue, str(removed + 1))
    with pytest.raises(ConflictError, match="nothing of it is left"):
        undo(catalogue, str(newest(catalogue).id))


def test_names_are_unique_among_the_living_only(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042", title="first")
    remove(catalogue, "work", "QA-0042")
    enter(catalogue, "QA-0042", title="second")  # the variants' refs are not used twice
    assert show(catalogue, "work", "QA-0042")["title"] == "second"
    with pytest.raises(ConflictError, match="called QA-0042 already"):
        undo(catalogue, "2")
    remove(catalogue, "work", "QA-0042")
    undo(catalogue, "2")
    assert show(catalogue, "work", "QA-0042")["title"] == "first"


def test_a_variant_gets_a_free_ref_after_the_bin_was_emptied(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042")
    assert add(catalogue, "variant", work="QA-0042").label == "QA-0042b"
    remove(catalogue, "variant", "QA-0042a")
    empty_bin(catalogue)
    assert add(catalogue, "variant", work="QA-0042").label == "QA-0042c"


# --- undo ----------------------------------------------------------------------------------------------------------


def test_undo_takes_the_newest_change_back_and_then_the_one_before(catalogue: Catalogue) -> None:
    add(catalogue, "ink", "Ferrywake")
    edit(catalogue, "ink", "Ferrywake", note="one")
    edit(catalogue, "ink", "Ferrywake", note="two", kind="opaque")
    assert undo(catalogue) == 3
    assert (show(catalogue, "ink", "Ferrywake")["note"], show(catalogue, "ink", "Ferrywake")["kind"]) == (
        "one",
        "transparent",
    )
    assert undo(catalogue) == 2
    assert undo(catalogue) == 1
    with pytest.raises(NotFoundError):
        show(catalogue, "ink", "Ferrywake")
    with pytest.raises(NotFoundError, match="no change left to undo"):
        undo(catalogue)


def test_an_undo_is_a_change_and_can_be_undone(catalogue: Catalogue) -> None:
    add(catalogue, "ink", "Ferrywake")
    edit(catalogue, "ink", "Ferrywake", note="one")
    undo(catalogue, "2")
    undo(catalogue, "3")
    assert show(catalogue, "ink", "Ferrywake")["note"] == "one"
    undo(catalogue, "4")
    assert show(catalogue, "ink", "Ferrywake")["note"] == ""
    with catalogue.read() as session:
        assert [(change.kind, change.undone) for change in list_changes(session)] == [
            ("undo", False),
            ("undo", True),
            ("undo", False),
            ("edit", True),
            ("edit", False),
        ]


def test_a_change_is_undone_once(catalogue: Catalogue) -> None:
    add(catalogue, "ink", "Ferrywake")
    edit(catalogue, "ink", "Ferrywake", note="one")
    undo(catalogue, "2")
    with pytest.raises(ConflictError, match="undone already"):
        undo(catalogue, "2")


@pytest.mark.parametrize("given", ["99", "²", "9" * 40, "yesterday", "-1"])
def test_a_change_that_is_none_is_told(catalogue: Catalogue, given: str) -> None:
    with catalogue.read() as session, pytest.raises(NotFoundError, match="no change"):
        change_to_undo(session, given)


def test_a_change_is_also_named_by_its_uid(catalogue: Catalogue) -> None:
    add(catalogue, "ink", "Ferrywake")
    assert undo(catalogue, newest(catalogue).uid) == 1


def test_undo_is_refused_with_both_values_when_a_later_change_touched_the_field(catalogue: Catalogue) -> None:
    add(catalogue, "ink", "Ferrywake", note="wet")
    edit(catalogue, "ink", "Ferrywake", note="dry")
    edit(catalogue, "ink", "Ferrywake", note="mouldy")
    with pytest.raises(ConflictError, match="made it dry, it is now mouldy"):
        undo(catalogue, "2")
    with pytest.raises(ConflictError, match="made it wet, it is now mouldy"):
        undo(catalogue, "1")
    assert show(catalogue, "ink", "Ferrywake")["note"] == "mouldy"


def test_undo_is_not_refused_for_another_field_of_the_same_record(catalogue: Catalogue) -> None:
    # both change what follows from them: the text a work is found by, the path of what is inside
    enter(catalogue, "QA-0042", title="Nine Tides")
    edit(catalogue, "work", "QA-0042", title="Ten Tides")
    edit(catalogue, "work", "QA-0042", note="torn")
    undo(catalogue, "2")
    assert show(catalogue, "work", "QA-0042")["title"] == "Nine Tides"
    with catalogue.read() as session:
        text = session.scalars(select(Work.search_text)).one()
    assert "nine tides" in text
    assert "torn" in text
    add(catalogue, "place", "Storeroom / Box 14")
    edit(catalogue, "place", "Box 14", name="Box 15")
    edit(catalogue, "place", "Storeroom", name="Attic")
    undo(catalogue, str(newest(catalogue).id - 1))
    assert show(catalogue, "place", "Attic / Box 14")["name"] == "Box 14"


def test_makers_and_other_links_have_a_history_and_come_back(catalogue: Catalogue) -> None:
    add(catalogue, "person", "Wren Tallow")
    add(catalogue, "person", "Ada Quill")
    enter(catalogue, "QA-0042", maker=("Wren Tallow=artist",))
    edit(catalogue, "work", "QA-0042", maker=("Ada Quill=artist", "Wren Tallow=printer"))
    (change,) = newest(catalogue).edits
    assert (change.field, change.old, change.new) == (
        "maker",
        "Wren Tallow (artist)",
        "Wren Tallow (printer), Ada Quill (artist)",
    )
    undo(catalogue)
    assert show(catalogue, "work", "QA-0042")["maker"] == [{"name": "Wren Tallow", "role": "artist"}]
    with catalogue.read() as session:
        assert [row.ref for row in find_works(session, FindOptions("wren"))] == ["QA-0042"]
        assert find_works(session, FindOptions("ada")) == []
    undo(catalogue, str(newest(catalogue).id))
    edit(catalogue, "work", "QA-0042", maker=())
    with pytest.raises(ConflictError, match="is now empty"):
        undo(catalogue, "4")


def test_a_history_line_names_records_and_not_their_numbers(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042", place="Box 14")
    add(catalogue, "place", "Box 15")
    edit(catalogue, "copy", "QA-0042/1", place="Box 15")
    (change,) = newest(catalogue).edits
    assert (change.record, change.old, change.new) == ("copy QA-0042/1", "Box 14", "Box 15")


def test_the_history_of_one_record(catalogue: Catalogue) -> None:
    add(catalogue, "ink", "Ferrywake")
    add(catalogue, "ink", "Dockrope")
    edit(catalogue, "ink", "Ferrywake", note="dry")
    with catalogue.read() as session:
        found = list_changes(session, noun="ink", ref="Ferrywake")
    assert [change.words for change in found] == ["edit ink Ferrywake", "add ink Ferrywake"]
    assert [change.added for change in found] == [0, 1]


def test_an_import_is_undone_whole_and_can_come_back(catalogue: Catalogue, tmp_path: Path) -> None:
    furnish(catalogue)
    bring_in(catalogue, tmp_path)
    kept = {model: living(catalogue, model) for model in (ReadingsSet, Swatch, Measurement, Recipe)}
    assert kept == {ReadingsSet: 1, Swatch: 9, Measurement: 9, Recipe: 9}
    with catalogue.read() as session:
        assert session.scalars(select(Edit)).all() == []
        colours = session.execute(select(Swatch.id, Swatch.lab_l, Swatch.standing_id)).all()
    undo(catalogue)
    assert all(living(catalogue, model) == 0 for model in kept)
    assert is_whole(catalogue)
    undo(catalogue, str(newest(catalogue).id))
    assert {model: living(catalogue, model) for model in kept} == kept
    with catalogue.read() as session:
        assert session.execute(select(Swatch.id, Swatch.lab_l, Swatch.standing_id)).all() == colours
    assert is_whole(catalogue)


def test_an_import_brought_in_again_after_its_undo_stands_in_the_way_of_its_return(
    catalogue: Catalogue, tmp_path: Path
) -> None:
    furnish(catalogue)
    bring_in(catalogue, tmp_path)
    undo(catalogue)
    bring_in(catalogue, tmp_path)
    with pytest.raises(ConflictError, match="in the archive again"):
        undo(catalogue, str(newest(catalogue).id - 1))
    assert living(catalogue, Swatch) == 9
    assert is_whole(catalogue)


def test_recipes_that_a_later_import_shares_stay_when_the_first_is_undone(catalogue: Catalogue, tmp_path: Path) -> None:
    furnish(catalogue)
    bring_in(catalogue, tmp_path, "one")
    first = newest(catalogue).id
    bring_in(catalogue, tmp_path, "two", shift=0.5)
    assert living(catalogue, Recipe) == 9
    undo(catalogue, str(first))
    assert living(catalogue, Swatch) == 9
    assert living(catalogue, Recipe) == 9
    assert is_whole(catalogue)


def test_what_was_added_does_not_go_while_something_later_uses_it(catalogue: Catalogue) -> None:
    add(catalogue, "place", "Box 14")
    add(catalogue, "machine", "Upstairs")
    enter(catalogue, "QA-0042", place="Box 14")
    add(catalogue, "drum", "7", fits=("Upstairs",))
    with pytest.raises(ConflictError, match=r"copy QA-0042/1, entered later, uses"):
        undo(catalogue, "1")
    with pytest.raises(ConflictError, match="drum 7, entered later, uses"):
        undo(catalogue, "2")


def test_a_place_that_came_along_stays_while_another_work_lies_in_it(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0001", place="Storeroom / Box 14")
    enter(catalogue, "QA-0002", place="Box 14")
    undo(catalogue, "1")
    assert show(catalogue, "copy", "QA-0002/1")["place"] == "Storeroom / Box 14"
    assert is_whole(catalogue)


def test_nothing_comes_back_to_what_lies_in_the_bin(catalogue: Catalogue) -> None:
    enter(catalogue, "QA-0042", place="Box 14")
    add(catalogue, "place", "Box 15")
    edit(catalogue, "copy", "QA-0042/1", place="Box 15")
    moved = newest(catalogue).id
    remove(catalogue, "place", "Box 14")
    with pytest.raises(ConflictError, match="place Box 14, which lies in the bin"):
        undo(catalogue, str(moved))
    undo(catalogue)  # the removal first
    undo(catalogue, str(moved))
    assert show(catalogue, "copy", "QA-0042/1")["place"] == "Box 14"
    remove(catalogue, "copy", "QA-0042/1")
    gone = newest(catalogue).id
    remove(catalogue, "work", "QA-0042")
    with pytest.raises(ConflictError, match="lies in the bin"):
        undo(catalogue, str(gone))
    assert is_whole(catalogue)


def test_a_link_does_not_come_back_to_what_lies_in_the_bin(catalogue: Catalogue) -> None:
    add(catalogue, "machine", "Upstairs")
    add(catalogue, "drum", "7", fits=("Upstairs",))
    edit(catalogue, "drum", "7", fits=())
    remove(catalogue, "machine", "Upstairs")
    with pytest.raises(ConflictError, match="machine Upstairs, which lies in the bin"):
        undo(catalogue, "3")


def test_a_drum_does_not_come_back_onto_a_place_that_is_taken(catalogue: Catalogue) -> None:
    add(catalogue, "machine", "Upstairs")
    for number in ("7", "8"):
        add(catalogue, "drum", number)
    edit(catalogue, "drum", "7", machine="Upstairs", position="1")
    edit(catalogue, "drum", "7", state="away")
    edit(catalogue, "drum", "8", machine="Upstairs", position="1")
    with pytest.raises(ConflictError, match="drum 8 sits in its place"):
        undo(catalogue, "5")
    undo(catalogue)
    undo(catalogue, "5")
    assert show(catalogue, "drum", "7")["position"] == 1


def test_undoing_a_swap_of_drums_puts_both_back(catalogue: Catalogue) -> None:
    add(catalogue, "machine", "Upstairs")
    add(catalogue, "drum", "7", machine="Upstairs")
    add(catalogue, "drum", "8")
    edit(catalogue, "drum", "8", machine="Upstairs", position="1")
    undo(catalogue)
    assert show(catalogue, "drum", "7")["machine"] == "Upstairs"
    assert show(catalogue, "drum", "8")["machine"] is None


def test_what_was_forgotten_does_not_come_back(catalogue: Catalogue) -> None:
    add(catalogue, "person", "Wren Tallow")
    with catalogue.write(act("forget a person", kind="forget")) as session:
        forget_person(session, "Wren Tallow")
    with pytest.raises(ConflictError, match="cannot come back"):
        undo(catalogue, str(newest(catalogue).id))


def test_an_undo_that_is_refused_leaves_everything_as_it_was(catalogue: Catalogue) -> None:
    add(catalogue, "ink", "Ferrywake")
    edit(catalogue, "ink", "Ferrywake", note="dry", kind="opaque")
    edit(catalogue, "ink", "Ferrywake", kind="metallic")
    with pytest.raises(ConflictError):
        undo(catalogue, "2")
    with catalogue.read() as session:
        ink = session.scalars(select(Ink)).one()
        assert (ink.note, ink.kind) == ("dry", "metallic")
        assert len(list_changes(session)) == 3
