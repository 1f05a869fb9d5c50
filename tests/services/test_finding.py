"""The questions that people ask of the past, each in one go."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from archive.catalogue.database import Catalogue
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.claims import Saying, add_claim
from archive.services.finding import FindOptions, find_works, read_span
from archive.services.finding_colour import works_of_colour
from archive.services.found_facts import FoundWork
from archive.services.lookup import find_record
from archive.services.recipe_list import list_recipes
from archive.services.saved_questions import keep_question, kept_question, list_questions, remove_question
from archive.services.told import read_told
from archive.services.works import tell_variant
from tests.acts import act
from tests.services import keeping
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


# --- the questions that people ask of the past, each by its name


def answer(catalogue: Catalogue, **options: Any) -> list[FoundWork]:
    asked = FindOptions(**options)
    with catalogue.read() as session:
        return find_works(session, asked, works_of_colour(session, asked))


def edit(catalogue: Catalogue, noun: str, ref: str, **facts: Any) -> None:
    keeping.edit(catalogue, noun, ref, **facts)


def test_what_made_this_green(storeroom: Catalogue, tmp_path: Path) -> None:
    layers = [("Dockrope", 100), ("Ferrywake", 60)]
    bring_in(storeroom, tmp_path, Patch("7", (50, -40, 20), layers, more={"work": "W-1"}), name="green.csv")
    found = answer(storeroom, colour="lab:52,-40,21")
    assert [work.ref for work in found] == ["W-1"]
    fit = found[0].colour
    assert fit is not None
    assert (fit.verdict, fit.evidence, fit.recipe) == ("same", "proven", "Dockrope 100 %, then Ferrywake 60 %")
    assert answer(storeroom, colour="lab:52,40,-21") == []


def test_which_poster_had_that_dusty_rose_on_grey_paper(storeroom: Catalogue, tmp_path: Path) -> None:
    edit(storeroom, "paper", CHALKROAD, shade="warm grey")
    rose, near = (62, 24, 8), (62, 25, 8)
    bring_in(
        storeroom,
        tmp_path,
        Patch("7", rose, [("Kilnsong", 60)], CHALKROAD, more={"work": "W-10"}),
        Patch("8", near, [("Kilnsong", 60)], OATLEAF, more={"work": "W-3"}),
        Patch("9", rose, [("Kilnsong", 50)], CHALKROAD),  # a strip of no work
        name="rose.csv",
    )
    assert [work.ref for work in answer(storeroom, colour="lab:62,24,8")] == ["W-10", "W-3"]
    for paper in ("grey", "Grey paper", CHALKROAD):
        assert [work.ref for work in answer(storeroom, colour="lab:62,24,8", paper=paper)] == ["W-10"]
    assert answer(storeroom, colour="lab:62,24,8", paper="grey", person="Wren Tallow") == []


def test_a_colour_word_is_read_as_a_match_reads_it(storeroom: Catalogue, tmp_path: Path) -> None:
    with storeroom.read() as session:
        with pytest.raises(InputError):
            works_of_colour(session, FindOptions(colour="no such colour at all"))
        assert works_of_colour(session, FindOptions(colour="dusty rose")) is not None
        assert works_of_colour(session, FindOptions()) is None


def test_have_we_ever_put_x_over_y(storeroom: Catalogue, tmp_path: Path) -> None:
    layers = [("Dockrope", 100), ("Ferrywake", 60)]
    bring_in(storeroom, tmp_path, Patch("7", (50, -40, 20), layers), Patch("8", (60, -30, 20), layers), name="pair.csv")
    bring_in(storeroom, tmp_path, Patch("1", (50, -41, 20), layers, more={"work": "W-1"}), name="print.csv")
    found = answer(storeroom, ink="Ferrywake", over="Dockrope")
    assert [(each.ref, each.kind, each.patches) for each in found] == [("W-1", "poster", 1), ("pair", "strip", 2)]
    assert answer(storeroom, ink="Kilnsong", over="Nettlecoat") == []


def test_can_we_still_print_this(storeroom: Catalogue) -> None:
    edit(storeroom, "ink", "Dockrope", in_house=False)
    edit(storeroom, "paper", CHALKROAD, sheets_left="0")
    keeping.enter(storeroom, "W-11", inks="Seafret over Kilnsong")
    keeping.enter(storeroom, "W-12")
    told = {work.ref: (work.printable_now, work.passes, work.why_not_now) for work in answer(storeroom)}
    assert told["W-1"] == (False, 1, "Dockrope is retired: no drum in the house")
    assert told["W-3"] == (True, 1, None)
    assert told["W-11"] == (False, None, "no ink is called Seafret")
    assert told["W-12"] == (None, None, "no inks are told")
    assert found(storeroom, printable=True) == ["W-3", "W-4", "W-10"]
    assert found(storeroom, printable=False) == ["W-1", "W-2", "W-11"]
    (lamp,) = answer(storeroom, text="lamp")
    assert lamp.notes == (f"no {CHALKROAD} is left",)
    add(storeroom, "variant", "W-1b", work="W-1")
    tell(storeroom, "W-1b", "Ferrywake and Kilnsong")
    (tides,) = answer(storeroom, text="tides")
    assert tides.printable_now
    assert tides.notes == ("another of its ink sets is not: Dockrope is retired: no drum in the house",)


def test_who_printed_it_and_is_the_file_left(storeroom: Catalogue) -> None:
    add(storeroom, "file", None, variant="W-4a", name="echo.tif", lies_at="grey disk")
    (echo,) = answer(storeroom, text="echo")
    assert echo.printed_by == ({"name": "Wren Tallow", "on": "2019-05-20", "run": "R-1"},)
    assert echo.files == ({"name": "echo.tif", "lies_at": "grey disk"},)
    (tides,) = answer(storeroom, text="tides")
    assert (tides.makers, tides.printed_by) == (({"name": "Odile Marrowby", "role": "artist"},), ())


def test_is_this_the_first_or_second_edition_and_which_of_these_three_is_right(storeroom: Catalogue) -> None:
    edit(storeroom, "copy", "W-1/1", role="trial")
    add(storeroom, "copy", "W-1/2", of="W-1a", edition="2nd edition, 80 copies")
    add(storeroom, "copy", "W-1/3", of="W-1a", role="good to print", whereabouts="lent")
    (tides,) = answer(storeroom, text="tides")
    told = [(copy["ref"], copy["role"], copy["edition"], copy["whereabouts"]) for copy in tides.copies]
    assert told == [
        ("W-1/1", "trial", "", "here"),
        ("W-1/2", None, "2nd edition, 80 copies", "here"),
        ("W-1/3", "good to print", "", "lent"),
    ]


def test_what_else_did_we_print_that_month(storeroom: Catalogue) -> None:
    assert found(storeroom, like="W-4") == ["W-1"]  # printed on a day of the month that W-1 is dated to
    assert found(storeroom, like="W-1") == ["W-4"]
    assert found(storeroom, like="W-3") == []
    add(storeroom, "work", "W-20", title="No day")
    with pytest.raises(InputError, match="nobody knows when"):
        found(storeroom, like="W-20")


def test_what_does_nobody_know(storeroom: Catalogue) -> None:
    with storeroom.write(act("say")) as session:
        add_claim(session, "copy", "W-1/1", Saying("edition", "", "unknown"))
        add_claim(session, "work", "W-2", Saying("printer", "Wren Tallow", "inferred"))
    assert found(storeroom, basis="unknown") == ["W-1"]
    assert found(storeroom, basis="inferred") == ["W-2"]
    (tides,) = answer(storeroom, basis="unknown")
    assert [(claim["about"], claim["field"]) for claim in tides.claims] == [("copy", "edition")]
    with pytest.raises(InputError, match="no basis"):
        found(storeroom, basis="rumour")


def test_works_are_listed_by_ref_and_by_range(storeroom: Catalogue) -> None:
    assert found(storeroom, works="w-2..W-4,W-10") == ["W-2", "W-3", "W-4", "W-10"]
    with pytest.raises(NotFoundError):
        found(storeroom, works="W-2..W-99")
    with pytest.raises(InputError, match="backwards"):
        found(storeroom, works="W-10..W-2")


# --- kept questions


def test_a_question_is_kept_asked_again_and_removed(storeroom: Catalogue) -> None:
    with storeroom.write(act("keep")) as session:
        keep_question(session, " blue  ones", FindOptions(ink="Ferrywake", limit=3))
    with storeroom.read() as session:
        assert [(each.name, each.asks) for each in list_questions(session)] == [("blue ones", {"ink": "Ferrywake"})]
        assert find_works(session, kept_question(session, "Blue Ones")) == answer(storeroom, ink="Ferrywake")
        assert kept_question(session, "blue ones", {"years": "1998"}) == FindOptions(ink="Ferrywake", years="1998")
        with pytest.raises(NotFoundError, match="blue ones"):
            kept_question(session, "green ones")
    with storeroom.write(act("remove")) as session:
        remove_question(session, "blue ones")
    with storeroom.read() as session:
        assert list_questions(session) == []
    keeping.undo(storeroom)
    with storeroom.read() as session:
        assert len(list_questions(session)) == 1


def test_a_question_needs_a_name_of_its_own_and_something_to_ask(storeroom: Catalogue) -> None:
    with storeroom.write(act("keep")) as session:
        keep_question(session, "blue", FindOptions(ink="Ferrywake"))
    for name, options, error in (
        ("Blue", FindOptions(ink="Dockrope"), ConflictError),
        (" ", FindOptions(ink="Dockrope"), InputError),
        ("all", FindOptions(), InputError),
    ):
        with storeroom.read() as session, pytest.raises(error):
            keep_question(session, name, options)
