"""Two that were entered for one become one, and one undo brings both back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Ink, Layer, Recipe, Swatch
from archive.errors import ConflictError, InputError
from archive.services.claims import Saying, add_claim, list_claims
from archive.services.finding import FindOptions, find_works
from archive.services.kinds import KINDS
from archive.services.merging import Merged, merge_records
from archive.services.profile import read_profile, set_profile
from archive.services.recipe_list import list_recipes
from archive.services.records import list_records
from archive.services.swatch_list import list_swatches
from archive.services.work_cards import work_card
from tests.acts import act
from tests.services import keeping
from tests.services.make import CHALKROAD, OATLEAF, Patch, ask, bring_in, enter_house

WRONG = "Ferry wake"


@pytest.fixture
def twice(catalogue: Catalogue, tmp_path: Path) -> Catalogue:
    """Return a house with an ink, a person and a paper entered twice, and something hanging on each."""
    enter_house(catalogue)
    keeping.add(catalogue, "ink", WRONG, looks="#2a5ea8", note="the second tin")
    for name in ("Wren Tallow", "W. Tallow"):
        keeping.add(catalogue, "person", name)
    keeping.add(catalogue, "paper", "Oatleaf", sheets_left="40")
    keeping.add(catalogue, "drum", "7", ink=WRONG)
    keeping.add(catalogue, "filling", "F-1", ink="Dockrope", mix=("Ferry wake=1", "Ferrywake=2", "Dockrope=1"))
    keeping.enter(catalogue, "W-1", inks=f"{WRONG} 60 % over Dockrope", paper="Oatleaf", maker=("W. Tallow=artist",))
    keeping.enter(catalogue, "W-2", inks="Ferrywake", maker=("W. Tallow=artist", "Wren Tallow=artist"))
    keeping.add(catalogue, "run", "R-1", variant="W-1", person="W. Tallow")
    with catalogue.write(act("say")) as session:
        add_claim(session, "ink", WRONG, Saying("batch", "FE-2", by="W. Tallow"))
        add_claim(session, "ink", "Ferrywake", Saying("batch", "FE-1"))
    bring_in(
        catalogue,
        tmp_path,
        Patch("1", (40, 2, -41), [(WRONG, 100)]),
        Patch("2", (41, 2, -40), [("Ferrywake", 100)]),
        Patch("3", (52, -18, 12), [("Dockrope", 100), (WRONG, 60)]),
        Patch("4", (42, 2, -39), [(WRONG, 100)], paper="Oatleaf"),
        Patch("5", (42, 3, -39), [(WRONG, 100)], paper=CHALKROAD),
    )
    return catalogue


def merge(catalogue: Catalogue, noun: str, wrong: str, right: str, *, is_sure: bool = False) -> Merged:
    with catalogue.write(act(f"merge {noun}")) as session:
        return merge_records(session, noun, wrong, right, is_sure=is_sure)


def everything(catalogue: Catalogue) -> dict[str, Any]:
    """Return all that the archive shows of itself."""
    with catalogue.read() as session:
        found: dict[str, Any] = {noun: [each.as_json() for each in list_records(session, noun)] for noun in KINDS}
        found["cards"] = [work_card(session, work["ref"]).as_json() for work in found["work"]]
        found["swatches"] = list_swatches(session, limit=1000)
        found["recipes"] = list_recipes(session)
        found["works"] = find_works(session, FindOptions())
        found["claims"] = [list_claims(session, "ink", ink["name"]) for ink in found["ink"]]
        found["search"] = find_works(session, FindOptions(text="w. tallow"))
        living = select(Recipe.id, Recipe.key, Recipe.paper_id).where(Recipe.binned_at.is_(None)).order_by(Recipe.id)
        found["keys"] = [tuple(row) for row in session.execute(living)]
    return found


@pytest.mark.parametrize(
    ("noun", "wrong", "right"),
    [("ink", WRONG, "Ferrywake"), ("person", "W. Tallow", "Wren Tallow"), ("paper", "Oatleaf", OATLEAF)],
)
def test_one_undo_brings_both_back_with_all_that_hung_on_them(
    twice: Catalogue, noun: str, wrong: str, right: str
) -> None:
    before = everything(twice)
    merged = merge(twice, noun, wrong, right)
    after = everything(twice)
    assert (merged.gone, merged.name) == (wrong, right)
    assert len(after[noun]) == len(before[noun]) - 1
    assert len(after["swatches"]) == len(before["swatches"])
    keeping.undo(twice)
    assert everything(twice) == before


@pytest.mark.parametrize("noun", ["ink", "person", "paper"])
def test_the_undo_of_the_undo_merges_again(twice: Catalogue, noun: str) -> None:
    pair = {"ink": (WRONG, "Ferrywake"), "person": ("W. Tallow", "Wren Tallow"), "paper": ("Oatleaf", OATLEAF)}[noun]
    merge(twice, noun, *pair)
    after = everything(twice)
    keeping.undo(twice)
    undone = keeping.newest(twice)
    keeping.undo(twice, str(undone.id))
    assert everything(twice) == after


def test_everything_of_an_ink_moves_and_no_living_recipe_holds_the_wrong_one(twice: Catalogue) -> None:
    merged = merge(twice, "ink", WRONG, "Ferrywake")
    assert merged.moved == {"recipe": 5, "drum": 1, "filling": 1, "claim": 1}
    assert keeping.show(twice, "drum", "7")["ink"] == "Ferrywake"
    assert keeping.show(twice, "filling", "F-1")["mix"] == [
        {"name": "Ferrywake", "parts": 3},
        {"name": "Dockrope", "parts": 1},
    ]
    with twice.read() as session:
        living = select(Layer.ink_id).join(Recipe, Recipe.id == Layer.recipe_id).where(Recipe.binned_at.is_(None))
        wrong = select(Ink.id).where(Ink.name == WRONG)
        assert session.scalars(living.where(Layer.ink_id.in_(wrong))).all() == []
        solids = [each for each in list_swatches(session, ink="Ferrywake") if each.inks == "Ferrywake 100 %"]
    assert len(solids) == 4


def test_the_right_ink_takes_the_facts_that_it_lacks(twice: Catalogue) -> None:
    merge(twice, "ink", WRONG, "Ferrywake")
    facts = keeping.show(twice, "ink", "Ferrywake")
    assert (facts["looks"], facts["note"]) == ("#2a5ea8", "the second tin")


def test_where_two_recipes_become_one_their_swatches_lie_on_the_one_that_stood(twice: Catalogue) -> None:
    with twice.read() as session:
        standing = {row.sample: row.recipe_id for row in session.scalars(select(Swatch))}
    assert ask(twice, "lab:40,2,-41").matches[0].layers[0]["ink"] == WRONG
    merge(twice, "ink", WRONG, "Ferrywake")
    with twice.read() as session:
        now = {row.sample: row.recipe_id for row in session.scalars(select(Swatch))}
        keys = list(session.scalars(select(Recipe.key).where(Recipe.binned_at.is_(None), Recipe.key.is_not(None))))
    assert now["1"] == now["2"] == standing["2"]
    assert len(keys) == len(set(keys))
    assert ask(twice, "lab:40,2,-41").matches[0].layers[0]["ink"] == "Ferrywake"


def test_a_reading_brought_in_later_finds_the_recipe_that_was_made_anew(twice: Catalogue, tmp_path: Path) -> None:
    merge(twice, "ink", WRONG, "Ferrywake")
    report = bring_in(
        twice, tmp_path, Patch("9", (52, -18, 13), [("Dockrope", 100), ("Ferrywake", 60)]), name="later.csv"
    )
    assert report.new_recipes == 0


def test_an_ink_told_by_the_wrong_name_before_there_was_one_is_the_right_one_too(twice: Catalogue) -> None:
    keeping.enter(twice, "W-3", inks="Gullwing over Dockrope")
    keeping.add(twice, "ink", "Gullwing")
    merge(twice, "ink", "Gullwing", "Gullbone", is_sure=True)
    with twice.read() as session:
        (work,) = find_works(session, FindOptions(ink="Gullbone", over="Dockrope"))
    assert work.ref == "W-3"


def test_a_person_in_both_names_has_the_part_once_and_is_found_by_the_right_name(twice: Catalogue) -> None:
    merged = merge(twice, "person", "W. Tallow", "Wren Tallow")
    assert merged.moved == {"run": 1, "claim": 1, "work": 2}
    assert keeping.show(twice, "work", "W-2")["maker"] == [{"name": "Wren Tallow", "role": "artist"}]
    with twice.read() as session:
        assert [work.ref for work in find_works(session, FindOptions(text="wren tallow"))] == ["W-1", "W-2"]
        assert find_works(session, FindOptions(text="w. tallow")) == []


def test_what_was_said_of_the_wrong_one_stands_beside_what_stands_of_the_right_one(twice: Catalogue) -> None:
    merge(twice, "ink", WRONG, "Ferrywake")
    with twice.read() as session:
        said = [(each.value, each.is_standing) for each in list_claims(session, "ink", "Ferrywake")]
    assert said == [("FE-1", True), ("FE-2", False)]


def test_nonsense_is_refused_and_nothing_is_touched(twice: Catalogue) -> None:
    before = everything(twice)
    with pytest.raises(InputError, match="already"):
        merge(twice, "ink", "ferrywake", "Ferrywake")
    with pytest.raises(ConflictError, match="Oddlight is fluorescent"):
        merge(twice, "ink", "Oddlight", "Ferrywake")
    with pytest.raises(ConflictError, match="printed over one another"):
        merge(twice, "ink", "Dockrope", WRONG)
    assert everything(twice) == before
    assert merge(twice, "ink", "Oddlight", "Ferrywake", is_sure=True).gone == "Oddlight"


def test_papers_of_two_weights_are_two(twice: Catalogue) -> None:
    keeping.edit(twice, "paper", "Oatleaf", gsm="90")
    keeping.edit(twice, "paper", OATLEAF, gsm="120")
    with pytest.raises(ConflictError, match="weighs 90"):
        merge(twice, "paper", "Oatleaf", OATLEAF)


def test_the_house_paper_stays_the_house_paper_under_its_right_name(twice: Catalogue) -> None:
    with twice.write(act("profile")) as session:
        set_profile(session, "house_paper", "Oatleaf")
    merge(twice, "paper", "Oatleaf", OATLEAF)
    with twice.read() as session:
        assert read_profile(session)["house_paper"] == OATLEAF
