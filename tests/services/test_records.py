"""Adding, listing, showing, editing and removing records of every kind, as a person types them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.bin import list_bin, remove_record
from archive.services.kinds import KINDS
from archive.services.records import Record, add_record, edit_record, list_records, show_record
from tests.acts import act


@pytest.fixture
def session(catalogue: Catalogue) -> Iterator[Session]:
    """Give a session for one person's doings, kept nowhere: what was refused half-way is not to be committed."""
    with catalogue.write(act()) as opened:
        yield opened
        opened.rollback()


def furnish(session: Session) -> None:
    """Add what other records refer to."""
    add_record(session, "machine", "Upstairs", {})
    add_record(session, "machine", "Downstairs", {"drums": "1"})
    for name in ("Ferrywake", "Dockrope"):
        add_record(session, "ink", name, {})
    add_record(session, "person", "Wren Tallow", {})
    add_record(session, "place", "Storeroom / Box 14", {})
    add_record(session, "work", "QA-0042", {"title": "Nine Tides"})
    add_record(session, "variant", None, {"work": "QA-0042"})
    add_record(session, "copy", None, {"of": "QA-0042"})
    add_record(session, "drum", "1", {"ink": "Dockrope"})


# noun: label, what is given, what is shown, an edit, what that shows
CASES: dict[str, tuple[str | None, dict[str, Any], dict[str, Any], dict[str, Any], dict[str, Any]]] = {
    "ink": (
        "Kilnsong",
        {"kind": "Opaque", "looks": "#c8553d", "lightest-tint": "4,5"},
        {"kind": "opaque", "looks": "#c8553d", "lightest-tint": 4.5, "in-house": True},
        {"in-house": False, "looks": ""},
        {"in-house": False, "looks": None, "lightest-tint": 4.5},
    ),
    "machine": ("Cellar", {"drums": "2", "dpi": "600"}, {"drums": 2, "dpi": 600}, {"drums": "1"}, {"drums": 1}),
    "drum": (
        "7",
        {"ink": "ferrywake", "machine": "upstairs", "fits": ("Upstairs", "Downstairs")},
        {"ink": "Ferrywake", "machine": "Upstairs", "state": "loaded", "fits": ["Upstairs", "Downstairs"]},
        {"fits": ("Upstairs",), "note": "dented"},
        {"fits": ["Upstairs"], "note": "dented", "position": 1},
    ),
    "filling": (
        None,
        {"drum": "1", "since": "2024-05-01", "mix": ("Dockrope=3", "Ferrywake=1,5")},
        {"ink": "Dockrope", "mix": [{"name": "Ferrywake", "parts": 1.5}, {"name": "Dockrope", "parts": 3.0}]},
        {"until": "2024-06-01", "batch": "K 17"},
        {"since": "2024-05-01", "until": "2024-06-01", "batch": "K 17"},
    ),
    "paper": (
        "Oatleaf 120",
        {"shade": "off-white", "gsm": "120", "sheets-left": "800"},
        {"shade": "off-white", "gsm": 120.0, "sheets-left": 800, "coloured": False},
        {"sheets-left": "750", "coloured": True},
        {"sheets-left": 750, "coloured": True, "gsm": 120.0},
    ),
    "person": ("Ada Quill", {"note": "lends works"}, {"note": "lends works"}, {"note": ""}, {"note": ""}),
    "place": (
        "Box 15",
        {"in": "storeroom", "state": "checked"},
        {"name": "Box 15", "in": "Storeroom", "kind": "box", "state": "checked"},
        {"state": "closed"},
        {"state": "closed", "in": "Storeroom"},
    ),
    "work": (
        "0042",
        {"title": "Bus Stop Choir", "kind": "zine", "date": "May 2019", "maker": ("Wren Tallow=artist",)},
        {"kind": "zine", "date": "May 2019", "maker": [{"name": "Wren Tallow", "role": "artist"}]},
        {"maker": ("Wren Tallow=artist", "Wren Tallow=printer"), "date-basis": "written"},
        {"maker": [{"name": "Wren Tallow", "role": "artist"}, {"name": "Wren Tallow", "role": "printer"}]},
    ),
    "variant": (
        None,
        {"work": "QA-0042", "name": "green"},
        {"work": "QA-0042", "name": "green", "kind": "colourway"},
        {"kind": "state"},
        {"kind": "state", "name": "green"},
    ),
    "copy": (
        None,
        {"of": "QA-0042a", "place": "box 14", "role": "reference"},
        {"place": "Storeroom / Box 14", "role": "reference", "whereabouts": "here"},
        {"whereabouts": "lent", "person": "wren tallow", "until": "2027-01-31"},
        {"whereabouts": "lent", "person": "Wren Tallow", "until": "2027-01-31", "role": "reference"},
    ),
    "appearance": (
        None,
        {"copy": "QA-0042/1", "variant": "QA-0042", "role": "back", "region": "0,50,100,50"},
        {"copy": "QA-0042/1", "variant": "QA-0042a", "role": "back", "region": [0, 0.5, 1, 0.5]},
        {"region": "", "page": "7"},
        {"region": None, "page": "7", "role": "back"},
    ),
    "file": (
        None,
        {"variant": "QA-0042", "name": "tides_blue.tif", "lies-at": "grey disk", "ink": "Ferrywake"},
        {"name": "tides_blue.tif", "lies-at": "grey disk", "ink": "Ferrywake"},
        {"ink": ""},
        {"ink": None, "name": "tides_blue.tif"},
    ),
    "run": (
        None,
        {"variant": "QA-0042", "machine": "Upstairs", "density": "4", "speed": "3", "screen": "fm", "good": "120"},
        {"machine": "Upstairs", "density": 4.0, "speed": 3.0, "screen": "FM", "good": 120},
        {"spoiled": "6", "person": "Wren Tallow"},
        {"spoiled": 6, "person": "Wren Tallow", "good": 120},
    ),
}


def shows(record: Record, wanted: dict[str, Any]) -> bool:
    return {name: record.facts[name] for name in wanted} == wanted


def test_every_kind_but_pictures_is_tried_here() -> None:
    assert set(CASES) == set(KINDS) - {"picture"}  # pictures come from files


@pytest.mark.parametrize("noun", CASES)
def test_a_record_is_added_listed_shown_edited_and_removed(session: Session, noun: str) -> None:
    furnish(session)
    label, given, first, edits, second = CASES[noun]
    before = [record.uid for record in list_records(session, noun)]
    added = add_record(session, noun, label, given)
    assert shows(added, first)
    assert added.label == (label or added.label) or noun == "place"
    assert show_record(session, noun, added.uid) == added
    assert sorted(record.uid for record in list_records(session, noun)) == sorted([*before, added.uid])
    edited = edit_record(session, noun, added.uid, edits)
    assert shows(edited, second)
    assert show_record(session, noun, added.uid) == edited
    remove_record(session, noun, added.uid)
    assert [record.uid for record in list_records(session, noun)] == [
        record.uid for record in list_records(session, noun) if record.uid in before
    ]
    assert added.uid in {each.uid for each in list_bin(session)}
    with pytest.raises(NotFoundError):
        show_record(session, noun, added.uid)


def test_nothing_but_a_name_is_needed(session: Session) -> None:
    for noun in ("ink", "machine", "paper", "person", "place", "drum"):
        add_record(session, noun, "One", {})
    assert show_record(session, "ink", "one").facts["in-house"] is True
    assert show_record(session, "machine", "one").facts["drums"] == 2


def test_refs_keep_their_zeros_and_are_found_whole(session: Session) -> None:
    add_record(session, "work", "0042", {})
    add_record(session, "work", "42", {})  # another job
    assert show_record(session, "work", "0042").label == "0042"
    assert show_record(session, "work", "42").label == "42"
    assert [record.label for record in list_records(session, "work")] == ["0042", "42"]


def test_numbers_in_names_sort_as_numbers(session: Session) -> None:
    for name in ("drawer 12", "drawer 5"):
        add_record(session, "place", name, {})
    assert [record.label for record in list_records(session, "place")] == ["drawer 5", "drawer 12"]


def test_a_taken_name_is_refused_whatever_its_case_and_accents(session: Session) -> None:
    add_record(session, "ink", "Été", {})
    with pytest.raises(ConflictError, match="called Été already"):
        add_record(session, "ink", "ETE", {})
    add_record(session, "ink", "Dockrope", {})
    with pytest.raises(ConflictError, match="called Été already"):
        edit_record(session, "ink", "Dockrope", {}, new_label="ete")


def test_a_record_may_be_renamed_to_another_spelling_of_its_name(session: Session) -> None:
    add_record(session, "ink", "ferrywake", {})
    assert edit_record(session, "ink", "ferrywake", {}, new_label="Ferrywake").label == "Ferrywake"


def test_a_name_in_the_bin_is_free(session: Session) -> None:
    add_record(session, "ink", "Ferrywake", {})
    remove_record(session, "ink", "Ferrywake")
    assert add_record(session, "ink", "Ferrywake", {}).label == "Ferrywake"


def test_an_unknown_name_brings_the_nearest(session: Session) -> None:
    furnish(session)
    with pytest.raises(NotFoundError, match=r"no ink called Ferywake.*Did you mean Ferrywake"):
        add_record(session, "drum", "9", {"ink": "Ferywake"})
    with pytest.raises(NotFoundError, match="inkchest ink list"):
        show_record(session, "ink", "zzzzz")


def test_a_name_that_several_have_is_asked_back(session: Session) -> None:
    add_record(session, "place", "Storeroom / Box 1", {})
    add_record(session, "place", "Attic / Box 1", {})
    with pytest.raises(ConflictError, match="could be 2 places: Storeroom / Box 1, Attic / Box 1"):
        show_record(session, "place", "box 1")
    assert show_record(session, "place", "attic / box 1").label == "Attic / Box 1"


@pytest.mark.parametrize(
    ("noun", "given", "words"),
    [
        ("ink", {"kind": "shiny"}, "shiny.*transparent, opaque, fluorescent, metallic"),
        ("ink", {"lightest-tint": "140"}, "140 is out of range.*0 to 100"),
        ("ink", {"lightest-tint": "much"}, "much is no number"),
        ("ink", {"lightest-tint": "nan"}, "nan is no number"),
        ("ink", {"looks": "blue"}, "blue is no colour"),
        ("ink", {"smell": "sweet"}, "no field smell"),
        ("ink", {"note": "a\x00b"}, "no text"),
        ("ink", {"note": "a\udcffb"}, "no text"),
        ("machine", {"drums": "1.5"}, "no whole number"),
        ("machine", {"drums": "9"}, "9 is out of range.*1 to 4"),
        ("paper", {"sheets-left": "-3"}, "-3 is out of range"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_a_way_out(
    session: Session, noun: str, given: dict[str, Any], words: str
) -> None:
    with pytest.raises(InputError, match=f"(?s){words}"):
        add_record(session, noun, "Something", given)
    assert list_records(session, noun) == []


def test_more_that_cannot_be_meant(session: Session) -> None:
    furnish(session)
    for values, words in (
        ({"copy": "QA-0042/1", "variant": "QA-0042", "region": "50,0,60,100"}, "no region"),
        ({"copy": "QA-0042/1", "variant": "QA-0042", "role": "inside"}, "none of the words"),
        ({"copy": "QA-0042/1"}, "a variant on a copy"),
    ):
        with pytest.raises(InputError, match=words):
            add_record(session, "appearance", None, values)
    with pytest.raises(InputError, match="none of the words"):
        add_record(session, "copy", None, {"of": "QA-0042", "as": "inside"})
    with pytest.raises(InputError, match="is no day"):
        edit_record(session, "copy", "QA-0042/1", {"until": "tomorrow"})
    with pytest.raises(InputError, match="appearance add"):
        edit_record(session, "copy", "QA-0042/1", {"of": "QA-0042"})
    with pytest.raises(InputError, match="1 to 200 characters"):
        add_record(session, "ink", "x" * 201, {})
    with pytest.raises(InputError, match="needs an ink"):
        add_record(session, "filling", None, {})


def test_a_refused_edit_changes_nothing(catalogue: Catalogue) -> None:
    with catalogue.write(act()) as session:
        furnish(session)
    with pytest.raises(InputError), catalogue.write(act()) as session:
        edit_record(session, "ink", "Ferrywake", {"note": "new", "kind": "shiny"})
    with catalogue.read() as session:
        assert show_record(session, "ink", "Ferrywake").facts["note"] == ""


# --- two people ----------------------------------------------------------------------------------------------------


def test_scenario_18_two_people_edit_one_field_and_the_later_gets_both_values(catalogue: Catalogue) -> None:
    with catalogue.write(act()) as session:
        add_record(session, "work", "QA-0042", {"title": "Nine Tides"})
    with catalogue.read() as session:
        seen = {"title": str(show_record(session, "work", "QA-0042").facts["title"])}
    with catalogue.write(act(by="Wren Tallow")) as session:
        edit_record(session, "work", "QA-0042", {"title": "Ten Tides"}, seen=seen)
    with (
        pytest.raises(ConflictError, match="was Nine Tides, is now Ten Tides, and you wanted The Tides"),
        catalogue.write(act(by="Ada Quill")) as session,
    ):
        edit_record(session, "work", "QA-0042", {"title": "The Tides"}, seen=seen)
    with catalogue.read() as session:
        assert show_record(session, "work", "QA-0042").facts["title"] == "Ten Tides"
    with catalogue.write(act(by="Ada Quill")) as session:  # having seen both, by hand
        edit_record(session, "work", "QA-0042", {"title": "The Tides"}, seen={"title": "Ten Tides"})


def test_two_people_who_edit_different_fields_do_not_meet(session: Session) -> None:
    add_record(session, "ink", "Ferrywake", {})
    edit_record(session, "ink", "Ferrywake", {"note": "dry"}, seen={"note": ""})
    edit_record(session, "ink", "Ferrywake", {"kind": "opaque"}, seen={"kind": "transparent"})


def test_a_change_of_case_only_is_a_change(session: Session) -> None:
    add_record(session, "work", "QA-0042", {"title": "nine tides"})
    edit_record(session, "work", "QA-0042", {"title": "Nine Tides"})
    with pytest.raises(ConflictError):
        edit_record(session, "work", "QA-0042", {"title": "9 Tides"}, seen={"title": "nine tides"})


@pytest.mark.parametrize(
    ("noun", "ref", "field", "seen", "stale"),
    [
        ("paper", "Oatleaf 120", "gsm", "120", "90"),
        ("paper", "Oatleaf 120", "coloured", "no", "yes"),
        ("copy", "QA-0042/1", "place", "Storeroom / Box 14", "Storeroom"),
        ("copy", "QA-0042/1", "place", "box 14", ""),
        ("work", "QA-0042", "maker", "Wren Tallow (artist)", ""),
        ("work", "QA-0042", "date-basis", "", "written"),
    ],
)
def test_what_was_seen_may_be_typed_as_it_is_shown(
    session: Session, noun: str, ref: str, field: str, seen: str, stale: str
) -> None:
    furnish(session)
    add_record(session, "paper", "Oatleaf 120", {"gsm": "120"})
    edit_record(session, "copy", "QA-0042/1", {"place": "Box 14"})
    edit_record(session, "work", "QA-0042", {"maker": ("Wren Tallow=artist",)})
    edit_record(session, noun, ref, {}, seen={field: seen})
    with pytest.raises(ConflictError, match="was changed meanwhile"):
        edit_record(session, noun, ref, {}, seen={field: stale})


# --- places --------------------------------------------------------------------------------------------------------


def test_a_path_makes_the_places_it_names_once(session: Session) -> None:
    add_record(session, "place", "Storeroom / Plan chest 2 / drawer 5", {})
    add_record(session, "place", "storeroom / plan chest 2 / drawer 6", {})
    assert [(record.label, record.facts["kind"]) for record in list_records(session, "place")] == [
        ("Storeroom", "room"),
        ("Storeroom / Plan chest 2", "chest"),
        ("Storeroom / Plan chest 2 / drawer 5", "drawer"),
        ("Storeroom / Plan chest 2 / drawer 6", "drawer"),
    ]


def test_a_place_that_moves_takes_what_is_inside_along(session: Session) -> None:
    add_record(session, "place", "Storeroom / Plan chest 2 / drawer 5", {})
    add_record(session, "place", "Attic", {})
    edit_record(session, "place", "Plan chest 2", {"in": "Attic"})
    assert show_record(session, "place", "drawer 5").label == "Attic / Plan chest 2 / drawer 5"
    edit_record(session, "place", "Attic", {"name": "Loft"})
    assert show_record(session, "place", "loft/plan chest 2/drawer 5".replace("/", " / ")).facts["name"] == "drawer 5"


@pytest.mark.parametrize("inner", ["Storeroom", "drawer 5"])
def test_a_place_is_not_inside_itself(session: Session, inner: str) -> None:
    add_record(session, "place", "Storeroom / Plan chest 2 / drawer 5", {})
    with pytest.raises(InputError, match="inside itself"):
        edit_record(session, "place", "Storeroom", {"in": inner})


@pytest.mark.parametrize("name", ["/", " / Box 3", "Storeroom / / Box 3", "Storeroom /"])
def test_a_path_with_an_empty_name_is_refused(session: Session, name: str) -> None:
    with pytest.raises(InputError, match="needs a name"):
        add_record(session, "place", name, {})


# --- drums ---------------------------------------------------------------------------------------------------------


def drums(session: Session) -> dict[str, tuple[str, str | None, int | None]]:
    return {
        record.label: (record.facts["state"], record.facts["machine"], record.facts["position"])
        for record in list_records(session, "drum")
    }


def test_drums_take_the_free_positions_until_the_machine_is_full(session: Session) -> None:
    furnish(session)
    add_record(session, "drum", "7", {"machine": "Upstairs"})
    add_record(session, "drum", "8", {"machine": "Upstairs"})
    assert drums(session)["7"] == ("loaded", "Upstairs", 1)
    assert drums(session)["8"] == ("loaded", "Upstairs", 2)
    with pytest.raises(ConflictError, match="Upstairs is full: drum 7, drum 8 sit on it"):
        add_record(session, "drum", "9", {"machine": "Upstairs"})


def test_loading_a_drum_into_a_position_lifts_the_one_there(session: Session) -> None:
    furnish(session)
    for number in ("7", "8"):
        add_record(session, "drum", number, {"machine": "Upstairs"})
    add_record(session, "drum", "9", {"machine": "Upstairs", "position": "2"})
    assert drums(session) == {
        "1": ("away", None, None),
        "7": ("loaded", "Upstairs", 1),
        "8": ("away", None, None),
        "9": ("loaded", "Upstairs", 2),
    }


@pytest.mark.parametrize("edit", [{"state": "away"}, {"state": "empty"}, {"machine": ""}])
def test_a_drum_is_taken_off_by_any_way_of_saying_it(session: Session, edit: dict[str, str]) -> None:
    furnish(session)
    add_record(session, "drum", "7", {"machine": "Upstairs"})
    edited = edit_record(session, "drum", "7", edit)
    assert edited.facts["machine"] is None
    assert edited.facts["position"] is None
    assert edited.facts["state"] == edit.get("state", "away")


def test_a_drum_that_moves_takes_a_free_position_of_the_other_machine(session: Session) -> None:
    furnish(session)
    add_record(session, "drum", "7", {"machine": "Upstairs"})
    add_record(session, "drum", "8", {"machine": "Upstairs", "position": "2"})
    edit_record(session, "drum", "8", {"machine": "Downstairs"})
    assert drums(session)["8"] == ("loaded", "Downstairs", 1)
    assert drums(session)["7"] == ("loaded", "Upstairs", 1)


def test_a_drum_goes_on_no_machine_it_does_not_fit(session: Session) -> None:
    furnish(session)
    with pytest.raises(InputError, match=r"does not fit Upstairs.*It fits Downstairs"):
        add_record(session, "drum", "7", {"machine": "Upstairs", "fits": ("Downstairs",)})


def test_what_a_machine_cannot_take_is_refused(session: Session) -> None:
    furnish(session)
    with pytest.raises(InputError, match="Downstairs takes 1 drums"):
        add_record(session, "drum", "7", {"machine": "Downstairs", "position": "2"})
    with pytest.raises(InputError, match="sits on a machine"):
        add_record(session, "drum", "8", {"state": "loaded"})


# --- refs that are given -------------------------------------------------------------------------------------------


def test_works_get_refs_that_are_never_used_again(session: Session) -> None:
    assert [add_record(session, "work", None, {}).label for _ in range(3)] == ["W-0001", "W-0002", "W-0003"]
    remove_record(session, "work", "W-0003")
    assert add_record(session, "work", None, {}).label == "W-0004"


def test_variants_copies_and_runs_get_refs_of_their_work(session: Session) -> None:
    furnish(session)
    assert add_record(session, "variant", None, {"work": "QA-0042"}).label == "QA-0042b"
    assert add_record(session, "copy", None, {"of": "QA-0042b"}).label == "QA-0042/2"
    assert add_record(session, "run", None, {"variant": "QA-0042b"}).label == "QA-0042/r1"
    assert add_record(session, "run", None, {}).label == "R-1"
    with pytest.raises(ConflictError, match="could be 2 variants"):
        add_record(session, "copy", None, {"of": "QA-0042"})
