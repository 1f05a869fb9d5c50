"""Which ink sets were printed, in which order, on what: "have we ever put X over Y?"."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import sort_key
from archive.catalogue.models import Ink, Layer, Paper, Recipe, Swatch, Variant
from archive.services.lookup import find_record
from archive.services.recipe_words import recipes_with


@dataclass(frozen=True, slots=True)
class InkSetSummary:
    """An ink set in printing order on a paper, and how often it was printed."""

    inks: tuple[str, ...]
    paper: str | None
    recipes: int
    swatches: int
    works: int


def list_recipes(
    session: Session, *, ink: str | None = None, over: str | None = None, paper: str | None = None
) -> list[InkSetSummary]:
    """Return the ink sets that were printed or told, by name."""
    query = select(Recipe.id, Recipe.paper_id).where(Recipe.binned_at.is_(None))
    if ink or over:
        query = query.where(Recipe.id.in_(recipes_with(session, ink, over)))
    if paper is not None:
        query = query.where(Recipe.paper_id == find_record(session, "paper", paper).id)
    papers = dict(session.execute(select(Paper.id, Paper.name)).all())
    inks = _inks_by_recipe(session)
    swatches: dict[int | None, int] = defaultdict(int)
    for recipe_id in session.scalars(select(Swatch.recipe_id).where(Swatch.binned_at.is_(None))):
        swatches[recipe_id] += 1
    works: dict[int | None, set[int]] = defaultdict(set)
    for recipe_id, work_id in session.execute(
        select(Variant.recipe_id, Variant.work_id).where(Variant.binned_at.is_(None))
    ):
        works[recipe_id].add(work_id)
    patches = select(Swatch.recipe_id, Variant.work_id).join(Variant, Variant.id == Swatch.variant_id)
    for recipe_id, work_id in session.execute(patches.where(Swatch.binned_at.is_(None)).distinct()):
        works[recipe_id].add(work_id)
    found: dict[tuple[tuple[str, ...], str | None], list[int]] = defaultdict(list)
    for recipe_id, paper_id in session.execute(query):
        found[inks.get(recipe_id, ()), papers.get(paper_id or 0)].append(recipe_id)
    return [
        InkSetSummary(
            key[0],
            key[1],
            len(ids),
            sum(swatches[each] for each in ids),
            len(set().union(*(works[each] for each in ids))),
        )
        for key, ids in sorted(found.items(), key=lambda item: (sort_key(" ".join(item[0][0])), item[0][1] or ""))
        # what a later telling replaced is no print's recipe any more
        if key[0] and any(swatches[each] or works[each] for each in ids)
    ]


def _inks_by_recipe(session: Session) -> dict[int, tuple[str, ...]]:
    names = dict(session.execute(select(Ink.id, Ink.name)).all())
    found: dict[int, list[str]] = defaultdict(list)
    for layer in session.scalars(select(Layer).order_by(Layer.recipe_id, Layer.position)):
        found[layer.recipe_id].append(names.get(layer.ink_id or 0, layer.ink_words))
    return {recipe_id: tuple(inks) for recipe_id, inks in found.items()}
