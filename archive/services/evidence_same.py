"""Another workshop's recipes in this archive, and what happens when somebody says "the same ink as ours".

A recipe of theirs keeps their inks and their paper for good; its key begins with `elsewhere:` and its uid, so that it
is never taken for one of ours. Once one of its inks is the same as ours, its swatches hang on a second recipe of
theirs with our ink in its place: it is counted, planned and filtered like ours, and stays theirs by its origin.
Taking the change back hangs the swatches on the first again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Ink, Layer, Paper, Recipe, Swatch
from archive.errors import ConflictError, InputError
from archive.services.lookup import find_record
from archive.services.recipes import ELSEWHERE, ExactLayer, recipe_key


@dataclass(frozen=True, slots=True)
class SameReport:
    """What was said to be the same, and how many of their swatches count with ours from now on."""

    kind: str
    theirs: str
    origin: str
    ours: str
    swatches: int
    notes: tuple[str, ...]


def say_same(session: Session, noun: str, theirs: str, ours: str) -> SameReport:
    """Keep that another workshop's ink or paper is the same as one of ours.

    Parameters
    ----------
    noun : str
        "ink" or "paper". Bare patches of their paper stay on it: a paper's white is what we measured ourselves.

    Raises
    ------
    InputError
        The first is not another workshop's, or the second is.
    ConflictError
        It is said to be the same as another one already.
    NotFoundError
        One of the two is not in the archive.
    """
    foreign, own = find_record(session, noun, theirs), find_record(session, noun, ours)
    if foreign.origin is None:
        mend = "Name theirs first, then ours"
        raise InputError("{name} is one of ours", name=foreign.name, where=f"{noun} {foreign.name}", mend=mend)
    if own.origin is not None:
        mend = "Name theirs first, then ours"
        raise InputError(
            "{name} is from {origin}", name=own.name, origin=own.origin, where=f"{noun} {own.name}", mend=mend
        )
    if foreign.same_as_id not in (None, own.id):
        held = session.get_one(type(own), foreign.same_as_id)
        raise ConflictError(
            "{name} is the same as {held} already",
            name=foreign.name,
            held=held.name,
            where=f"{noun} {foreign.name}",
            mend="Take that back first: `inkchest history`, `inkchest undo`",
        )
    foreign.same_as_id = own.id
    session.flush()
    moved = TheirRecipes(session).hang_swatches()
    return SameReport(noun, foreign.name, foreign.origin, own.name, moved, _notes(noun, foreign, own))


def _notes(noun: str, foreign: Any, own: Any) -> tuple[str, ...]:
    if noun == "ink" and foreign.kind != own.kind:
        return (f"theirs is {foreign.kind}, ours is {own.kind}: is it really the same?",)
    if noun == "paper" and foreign.gsm and own.gsm and foreign.gsm != own.gsm:
        return (f"theirs has {foreign.gsm:g} gsm, ours {own.gsm:g}: is it really the same?",)
    return ()


def theirs_key(uid: str) -> str:
    """Return the key of a recipe as the other workshop gave it."""
    return f"{ELSEWHERE}{uid}"


class TheirRecipes:
    """The recipes that other workshops gave, and which of our inks and papers stand for theirs."""

    def __init__(self, session: Session) -> None:
        self._session = session
        living = select(Recipe).where(Recipe.binned_at.is_(None), Recipe.key.startswith(ELSEWHERE))
        self._by_key: dict[str, Recipe] = {recipe.key: recipe for recipe in session.scalars(living) if recipe.key}
        self._inks = _same(session, Ink)
        self._papers = _same(session, Paper)
        self._layers: dict[int, list[Layer]] = defaultdict(list)
        ids = [recipe.id for recipe in self._by_key.values()]
        for layer in session.scalars(select(Layer).order_by(Layer.recipe_id, Layer.position)) if ids else ():
            self._layers[layer.recipe_id].append(layer)

    def hang_swatches(self) -> int:
        """Hang every swatch of theirs on the recipe that holds now; return how many moved."""
        ids = {recipe.id: key for key, recipe in self._by_key.items()}
        moved = 0
        swatches = self._session.scalars(select(Swatch).where(Swatch.binned_at.is_(None), Swatch.origin.is_not(None)))
        for swatch in swatches.all():
            key = ids.get(swatch.recipe_id or 0)
            given = self._by_key.get(key.partition("|")[0]) if key else None
            if given is None:
                continue
            holds = self._holding(given)
            if holds.id != swatch.recipe_id:
                swatch.recipe_id = holds.id
                moved += 1
        self._session.flush()
        return moved

    def _holding(self, given: Recipe) -> Recipe:
        """Return the recipe with our inks and paper where they are the same: the given one when none is."""
        layers = self._layers[given.id]
        if not layers:
            return given
        inks = [self._inks.get(layer.ink_id or 0, layer.ink_id or 0) for layer in layers]
        paper_id = self._papers.get(given.paper_id or 0, given.paper_id or 0)
        if inks == [layer.ink_id for layer in layers] and paper_id == given.paper_id:
            return given
        exact = [
            ExactLayer(ink_id, layer.tint_low or 0.0, layer.print_pass or 0)
            for ink_id, layer in zip(inks, layers, strict=True)
        ]
        key = f"{given.key}|{recipe_key(paper_id, exact, given.screen)}"
        if key not in self._by_key:
            self._by_key[key] = self._twin(given, key, paper_id, inks, layers)
        return self._by_key[key]

    def _twin(self, given: Recipe, key: str, paper_id: int, inks: Sequence[int], layers: Sequence[Layer]) -> Recipe:
        twin = Recipe(key=key, paper_id=paper_id, screen=given.screen, lpi=given.lpi, origin=given.origin)
        twin.layers = [
            Layer(
                position=layer.position,
                print_pass=layer.print_pass,
                ink_id=ink_id,
                tint_low=layer.tint_low,
                tint_high=layer.tint_high,
            )
            for ink_id, layer in zip(inks, layers, strict=True)
        ]
        self._session.add(twin)
        self._session.flush()
        return twin


def _same(session: Session, model: Any) -> dict[int, int]:
    query = select(model.id, model.same_as_id).where(model.binned_at.is_(None), model.same_as_id.is_not(None))
    return dict(session.execute(query).all())
