"""The questions that people ask of the past, each in one go."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from archive.catalogue.database import Catalogue
from archive.errors import InputError, NotFoundError
from archive.services.finding import FindOptions, find_works, read_span
from archive.services.lookup import find_record
from archive.services.recipe_list import list_recipes
from archive.services.told import read_told
from archive.services.works import tell_variant
from tests.acts import act
from tests.services.make import CHALKROAD, INKS, OATLEAF, Patch, add, bring_in, enter_house


def tell(catalogue: Catalogue, ref: str, inks: str, paper: str = OATLEAF) -> None:
    with catalogue.write(act("tell")) as session:
        variant = find_record(session, "variant", ref)
        paper_id = find_record(session, "paper", paper).id
        tell_variant(session, variant, read_told(inks, known_inks=tuple(INKS)), paper_id)


@pytest.fixture
def storeroom(catalogue: Catalogue, tmp_path: Path) -> Catalogue:
    """Return five works: told inks, dates, people, a run, a measured patch, one in a drawer."""
    enter_house(catalogue)
    for person in ("Wren Tallow", "Odile Marrowby"):
        add(catalogue, "person", person)
    works: list[tuple[str, str, str, dict[str, Any]]] = [
        ("W-1", "Nine Tides", "Ferrywake over Dockrope", {"date": "May 2019", "maker": ["Odile Marrowby=artist"]}),
        ("W-2", "Fête d’Été", "Dockrope over Ferrywake", {"date": "1998"}),
        ("W-3", "Bus Stop Choir", "Oddlight and Sootwell", {"date": "about 2004", "kind": "zine"}),
        ("W-4", "Echo Walk", "Tinhymn over Sootwell", {}),
        ("W-10", "The Lamp Room", "Kilnsong 60 %", {"date": "2001", "note": "grey paper, smells of lamp oil"}),
    ]
    for ref, title, inks, facts in works:
        add(catalogue, "work", ref, title=title, **facts)
        add(catalogue, "variant", f"{ref}a", work=ref)
        tell(catalogue, f"{ref}a", inks, CHALKROAD if ref == "W-10" else OATLEAF)
    drawer = add(catalogue, "place", "drawer 5", kind="drawer")
    add(catalogue, "copy", "W-1/1", of="W-1a", place=drawer)
    add(catalogue, "run", "R-1", variant="W-4a", printed_on="2019-05-20", person="Wren Tallow")
    bring_in(catalogue, tmp_path, Patch("1", (60, 0, 0), [("Nettlecoat", 40)], more={"work": "W-2"}))
    return catalogue


def found(catalogue: Catalogue, **options: Any) -> list[str]:
    with catalogue.read() as session:
        return [work.ref for work in find_works(session, FindOptions(**options))]


@pytest.mark.parametrize(
    ("question", "options", "refs"),
    [
        ("which works are there", {}, ["W-1", "W-2", "W-3", "W-4", "W-10"]),
        ("what was the one of that summer called", {"text": "ete"}, ["W-2"]),
        ("in capitals, with accents, two words", {"text": "ÉTÉ fete"}, ["W-2"]),
        ("which one was on grey paper that smells", {"text": "grey oil"}, ["W-10"]),
        ("which have this blue", {"ink": "ferrywake"}, ["W-1", "W-2"]),
        ("have we ever put blue over yellow", {"ink": "Ferrywake", "over": "Dockrope"}, ["W-1"]),
        ("and yellow over blue", {"ink": "Dockrope", "over": "Ferrywake"}, ["W-2"]),
        ("anything over black", {"over": "Sootwell"}, ["W-3", "W-4"]),
        ("an order nobody knows is no order", {"ink": "Oddlight", "over": "Sootwell"}, []),
        ("which works use a fluorescent ink", {"ink": "fluorescent"}, ["W-3"]),
        ("a metallic one over the near black", {"ink": "metallic", "over": "Sootwell"}, ["W-4"]),
        ("by an ink that was measured on it", {"ink": "Nettlecoat"}, ["W-2"]),
        ("which are on the other paper", {"paper": "chalkroad 90"}, ["W-10"]),
        ("what did she draw", {"person": "odile marrowby"}, ["W-1"]),
        ("what did she print", {"person": "Wren Tallow"}, ["W-4"]),
        ("what is from 1998 to 2001", {"years": "1998..2001"}, ["W-2", "W-10"]),
        ("what else did we print that month", {"years": "2019-05"}, ["W-1", "W-4"]),
        ("nothing in the month after", {"years": "2019-06"}, []),
        ("about 2004 may be 2003", {"years": "2003"}, ["W-3"]),
        ("from 2004 on", {"years": "2004.."}, ["W-1", "W-3", "W-4"]),
        ("what has no date", {"undated": True}, ["W-4"]),
        ("all conditions hold together", {"ink": "Ferrywake", "years": "..2000", "paper": OATLEAF}, ["W-2"]),
        ("no more than asked", {"limit": 2}, ["W-1", "W-2"]),
        ("nothing fits", {"text": "tides lamp"}, []),
    ],
    ids=lambda each: each if isinstance(each, str) else "",
)
def test_a_question_of_the_past_is_answered(
    storeroom: Catalogue, question: str, options: dict[str, Any], refs: list[str]
) -> None:
    assert found(storeroom, **options) == refs, question


def test_what_is_found_tells_inks_paper_date_and_place(storeroom: Catalogue) -> None:
    with storeroom.read() as session:
        (work,) = find_works(session, FindOptions(text="tides"))
    assert (work.title, work.date, work.places) == ("Nine Tides", "May 2019", ("drawer 5",))
    assert (work.inks, work.papers) == (("Dockrope (tint unknown), then Ferrywake (tint unknown)",), (OATLEAF,))


@pytest.mark.parametrize(
    "years", ["", "..", "98", "1998 2004", "2019-13", "May 2019", "2004..1998", "2019-05..2019-04"]
)
def test_a_span_that_is_none_is_refused(storeroom: Catalogue, years: str) -> None:
    with pytest.raises(InputError):
        found(storeroom, years=years)


def test_a_span_holds_its_first_and_last_day() -> None:
    assert read_span(" 1998 .. 2004 ") == ("1998-01-01", "2004-12-31")
    assert read_span("2019-05..2020")[0] == "2019-05-01"


def test_names_that_are_not_known_are_told_with_the_nearest(storeroom: Catalogue) -> None:
    for options in ({"ink": "Feriwake"}, {"paper": "Oatleef 120"}, {"person": "Wren Tallo"}):
        with pytest.raises(NotFoundError, match="Did you mean"):
            found(storeroom, **options)


def test_what_went_to_the_bin_is_not_found(storeroom: Catalogue) -> None:
    from archive.services.bin import remove_record

    with storeroom.write(act("remove")) as session:
        remove_record(session, "work", "W-1")
    assert found(storeroom, ink="Ferrywake") == ["W-2"]
    assert found(storeroom, text="tides") == []


def test_ink_sets_that_were_printed_are_counted_and_what_was_told_anew_is_gone(storeroom: Catalogue) -> None:
    tell(storeroom, "W-10a", "Kilnsong 60 % over Dockrope", CHALKROAD)
    with storeroom.read() as session:
        sets = [(each.inks, each.paper, each.works, each.swatches) for each in list_recipes(session)]
        over = list_recipes(session, ink="Kilnsong", over="Dockrope")
    assert sets == [
        (("Dockrope", "Ferrywake"), OATLEAF, 1, 0),
        (("Dockrope", "Kilnsong"), CHALKROAD, 1, 0),
        (("Ferrywake", "Dockrope"), OATLEAF, 1, 0),
        (("Nettlecoat",), OATLEAF, 1, 1),
        (("Oddlight", "Sootwell"), OATLEAF, 1, 0),
        (("Sootwell", "Tinhymn"), OATLEAF, 1, 0),
    ]
    assert [each.inks for each in over] == [("Dockrope", "Kilnsong")]
