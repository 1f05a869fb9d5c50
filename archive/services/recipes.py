"""Recipes: one row for each exact way of making a colour, and what was told of a print's inks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold
from archive.catalogue.models import Ink, Layer, Recipe
from archive.errors import InputError
from archive.services.told import Told

ELSEWHERE = "elsewhere:"  # begins the keys of another workshop's recipes, so that they never become ours by chance


@dataclass(frozen=True, slots=True)
class ExactLayer:
    """One ink at one tint (percent, one decimal counts), in a pass; pass None is settled by the caller."""

    ink_id: int
    tint: float
    print_pass: int


def recipe_key(paper_id: int, layers: Sequence[ExactLayer], screen: str | None) -> str:
    """Return the key of an exact recipe: paper, then for each pass in order position, ink, tint, screen kind."""
    parts = []
    positions: dict[int, int] = {}
    for layer in layers:
        positions[layer.print_pass] = positions.get(layer.print_pass, 0) + 1
        parts.append(f"{layer.print_pass}.{positions[layer.print_pass]}:{layer.ink_id}@{round(layer.tint * 10)}")
    return f"{paper_id}|{' '.join(parts)}|{screen or ''}"


def clean_layers(layers: Sequence[ExactLayer]) -> tuple[ExactLayer, ...]:
    """Return the layers without zero tints, with passes counted from 1 without gaps.

    Raises
    ------
    InputError
        The passes go backwards.
    """
    kept = [layer for layer in layers if round(layer.tint * 10) > 0]
    passes = [layer.print_pass for layer in kept]
    if passes != sorted(passes):
        raise InputError(
            "the passes go backwards: {passes}",
            passes=", ".join(map(str, passes)),
            mend="List the inks in printing order",
        )
    numbers = {old: new for new, old in enumerate(dict.fromkeys(passes), start=1)}
    return tuple(ExactLayer(layer.ink_id, round(layer.tint, 1), numbers[layer.print_pass]) for layer in kept)


class RecipeBook:
    """The exact recipes of an archive, looked up by key and added once; made for one session."""

    def __init__(self, session: Session) -> None:
        self._session = session
        query = select(Recipe.key, Recipe).where(Recipe.key.is_not(None), Recipe.binned_at.is_(None))
        self._known: dict[str, Recipe] = {key: recipe for key, recipe in session.execute(query) if key}

    def exact(self, paper_id: int, layers: Sequence[ExactLayer], screen: str | None) -> Recipe:
        """Return the recipe, added to the session when it is new (flush to give it an id)."""
        cleaned = clean_layers(layers)
        key = recipe_key(paper_id, cleaned, screen if cleaned else None)
        found = self._known.get(key)
        if found is not None:
            return found
        recipe = Recipe(key=key, paper_id=paper_id, screen=screen if cleaned else None)
        recipe.layers = [
            Layer(
                position=position,
                print_pass=layer.print_pass,
                ink_id=layer.ink_id,
                tint_low=layer.tint,
                tint_high=layer.tint,
            )
            for position, layer in enumerate(cleaned, start=1)
        ]
        self._session.add(recipe)
        self._known[key] = recipe
        return recipe


def tell_recipe(session: Session, told: Told, paper_id: int | None, *, passes: Sequence[int] | None = None) -> Recipe:
    """Add what was told of a print's inks as a recipe and return it.

    An ink of that name in the house is linked; any other name is kept in words and is unsure.
    """
    inks = dict(session.execute(select(Ink.name_key, Ink.id).where(Ink.binned_at.is_(None))).all())
    recipe = Recipe(paper_id=paper_id, is_told=True, order_known=told.order_known, words=told.words)
    recipe.layers = [
        Layer(
            position=position,
            print_pass=passes[position - 1] if passes else None,
            ink_id=inks.get(fold(layer.ink)),
            ink_words=layer.ink,
            ink_sure=layer.is_sure,
            tint_low=layer.tint_low,
            tint_high=layer.tint_high,
        )
        for position, layer in enumerate(told.layers, start=1)
    ]
    session.add(recipe)
    session.flush()
    return recipe


def layer_in_words(name: str, tint_low: float | None, tint_high: float | None, *, sure: bool = True) -> str:
    """Return a layer as it is read aloud: "Ferrywake? 40 to 60 %"."""
    mark = "" if sure else "?"
    if tint_low is None or tint_high is None:
        return f"{name}{mark} (tint unknown)"
    if tint_low == tint_high:
        return f"{name}{mark} {tint_low:g} %"
    return f"{name}{mark} {tint_low:g} to {tint_high:g} %"
