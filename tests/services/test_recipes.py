"""One row for each exact way of making a colour."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Layer, Recipe
from archive.errors import InputError
from archive.services.recipes import ExactLayer, RecipeBook, clean_layers, layer_in_words, recipe_key, tell_recipe
from archive.services.told import read_told
from tests.acts import act
from tests.services.keeping import add

BLUE, DULL = ExactLayer(1, 60.0, 1), ExactLayer(2, 100.0, 1)
TINTS = st.floats(0.1, 100).map(lambda tint: round(tint, 1))


def test_a_key_tells_paper_pass_position_ink_tint_and_screen_apart() -> None:
    keys = {
        recipe_key(1, (DULL, BLUE), "FM"),
        recipe_key(2, (DULL, BLUE), "FM"),
        recipe_key(1, (BLUE, DULL), "FM"),
        recipe_key(1, (DULL, BLUE), "AM"),
        recipe_key(1, (DULL, BLUE), None),
        recipe_key(1, (DULL, ExactLayer(1, 60.0, 2)), "FM"),
        recipe_key(1, (DULL, ExactLayer(1, 60.1, 1)), "FM"),
        recipe_key(1, (DULL, ExactLayer(3, 60.0, 1)), "FM"),
        recipe_key(1, (DULL,), "FM"),
        recipe_key(1, (), "FM"),
    }
    assert len(keys) == 10


def test_tints_count_in_tenths_of_a_percent() -> None:
    assert recipe_key(1, (ExactLayer(1, 60.04, 1),), None) == recipe_key(1, (BLUE,), None)


def test_what_prints_nothing_is_no_layer() -> None:
    nothing = ExactLayer(3, 0.04, 2)
    assert clean_layers((DULL, nothing, ExactLayer(1, 60.0, 3))) == (DULL, ExactLayer(1, 60.0, 2))
    assert clean_layers((nothing,)) == ()


def test_passes_do_not_go_backwards() -> None:
    with pytest.raises(InputError, match="backwards: 2, 1"):
        clean_layers((ExactLayer(1, 60.0, 2), ExactLayer(2, 50.0, 1)))


@given(st.lists(st.tuples(st.integers(1, 9), TINTS, st.integers(1, 4)), max_size=5))
def test_cleaning_twice_changes_nothing_more(given_layers: list[tuple[int, float, int]]) -> None:
    layers = tuple(ExactLayer(*each) for each in sorted(given_layers, key=lambda each: each[2]))
    once = clean_layers(layers)
    assert clean_layers(once) == once
    assert recipe_key(1, clean_layers(once), "FM") == recipe_key(1, once, "FM")


def test_the_same_recipe_is_one_row_in_and_between_sessions(catalogue: Catalogue) -> None:
    for name in ("Ferrywake", "Dockrope"):
        add(catalogue, "ink", name)
    paper = add(catalogue, "paper", "Oatleaf 120").id
    with catalogue.write(act()) as session:
        book = RecipeBook(session)
        first = book.exact(paper, (DULL, BLUE), "FM")
        assert book.exact(paper, (DULL, ExactLayer(3, 0.0, 1), BLUE), "FM") is first
        bare = book.exact(paper, (), "FM")
        assert book.exact(paper, (), "AM") is bare  # bare paper has no screen
        session.flush()
        first_id = first.id
    with catalogue.write(act()) as session:
        assert RecipeBook(session).exact(paper, (DULL, BLUE), "FM").id == first_id
    with catalogue.read() as session:
        assert len(session.scalars(select(Recipe)).all()) == 2
        layers = session.scalars(select(Layer).where(Layer.recipe_id == first_id).order_by(Layer.position)).all()
        assert [(layer.ink_id, layer.tint_low, layer.tint_high) for layer in layers] == [(2, 100, 100), (1, 60, 60)]


def test_what_was_told_links_the_inks_of_the_house_and_keeps_the_words(catalogue: Catalogue) -> None:
    blue = add(catalogue, "ink", "Ferrywake").id
    with catalogue.write(act()) as session:
        recipe = tell_recipe(session, read_told("ferrywake? 40-60 % over mustard"), None)
        layers = session.scalars(select(Layer).where(Layer.recipe_id == recipe.id).order_by(Layer.position)).all()
        assert [(layer.ink_id, layer.ink_words, layer.ink_sure) for layer in layers] == [
            (None, "mustard", True),
            (blue, "ferrywake", False),
        ]
        assert (layers[1].tint_low, layers[1].tint_high) == (40.0, 60.0)
        assert recipe.is_told
        assert recipe.key is None
        assert recipe.words == "ferrywake? 40-60 % over mustard"


def test_a_layer_is_read_aloud() -> None:
    assert layer_in_words("Ferrywake", 60.0, 60.0) == "Ferrywake 60 %"
    assert layer_in_words("Ferrywake", 40.0, 60.5, sure=False) == "Ferrywake? 40 to 60.5 %"
    assert layer_in_words("Ferrywake", None, None) == "Ferrywake (tint unknown)"
