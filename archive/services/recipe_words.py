"""Recipes by what is in them, and in words; read by every list, so it loads no mathematics."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold
from archive.catalogue.models import Ink, Layer, Paper, Recipe
from archive.services.lookup import find_record
from archive.services.recipes import layer_in_words


def recipes_with(session: Session, ink: str | None, over: str | None) -> Any:
    """Return the query of recipe ids that hold an ink, or the first printed over the second; a kind names all its inks.

    Where the order is not known, nothing was printed over anything.
    """
    query = select(Layer.recipe_id)
    if ink and over:
        under = Layer.__table__.alias()
        top, below = _ink_ids(session, ink), _ink_ids(session, over)
        return (
            query.join(under, under.c.recipe_id == Layer.recipe_id)
            .join(Recipe, Recipe.id == Layer.recipe_id)
            .where(Layer.ink_id.in_(top), under.c.ink_id.in_(below))
            .where(under.c.position < Layer.position, Recipe.order_known)
        )
    return query.where(Layer.ink_id.in_(_ink_ids(session, ink or over or "")))


def _ink_ids(session: Session, text: str) -> list[int]:
    """Return the ids of the ink that the text names, or of all inks of a kind: "fluorescent", "metallic"."""
    by_kind = select(Ink.id).where(Ink.kind == fold(text), Ink.binned_at.is_(None))
    named = select(Ink.id).where(Ink.name_key == fold(text), Ink.binned_at.is_(None))
    ids = list(session.scalars(named)) or list(session.scalars(by_kind))
    return ids or [find_record(session, "ink", text).id]


def recipe_words(session: Session, recipe_ids: set[int]) -> dict[int, tuple[str | None, str]]:
    """Return paper and layers in words for recipes."""
    papers = dict(session.execute(select(Paper.id, Paper.name)).all())
    inks = dict(session.execute(select(Ink.id, Ink.name)).all())
    layers: dict[int, list[str]] = {}
    for layer in session.scalars(select(Layer).order_by(Layer.recipe_id, Layer.position)):
        if layer.recipe_id in recipe_ids:
            name = inks.get(layer.ink_id or 0, layer.ink_words)
            words = layer_in_words(name, layer.tint_low, layer.tint_high, sure=layer.ink_sure)
            layers.setdefault(layer.recipe_id, []).append(words)
    recipes = session.execute(select(Recipe.id, Recipe.paper_id).where(Recipe.binned_at.is_(None)))
    found = {key: (papers.get(paper or 0), ", then ".join(layers.get(key, ["bare paper"]))) for key, paper in recipes}
    return {key: found.get(key, (None, "")) for key in recipe_ids}
