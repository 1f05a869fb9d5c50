"""Making one record of two that were entered twice: inks, papers, people.

Everything that refers to the wrong one moves to the right one, each move with its trace in the history, so that one
undo brings both back. Recipes are shared and never altered: each that holds the wrong one is made anew with the right
one, what was made by it moves to the new one (or to the one that stood there already), and the old one goes to the bin.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold, now
from archive.catalogue.models import Claim, Ink, Layer, MixPart, Paper, Recipe, Setting, Work
from archive.errors import ConflictError, InputError
from archive.services.bulk import copied_recipe
from archive.services.fields import current_links, write_links
from archive.services.kinds import kind_of_row
from archive.services.lookup import find_record
from archive.services.recipes import ELSEWHERE, ExactLayer, recipe_key
from archive.services.references import Reference, all_references
from archive.services.rules import refresh

MERGED = ("ink", "paper", "person")
_LINKED = {MixPart.__tablename__: "mix", "work_person": "maker"}
_NOT_FACTS = {"id", "uid", "name", "name_key", "change_id", "binned_at"}


@dataclass(frozen=True, slots=True)
class Merged:
    """Two records that became one; `moved` counts what refers to the one that stays now."""

    noun: str
    id: int
    uid: str
    name: str
    gone: str
    moved: dict[str, int]


def merge_records(session: Session, noun: str, wrong: str, right: str, *, is_sure: bool = False) -> Merged:
    """Make one of two inks, papers or persons: `wrong` goes to the bin, and what refers to it moves to `right`.

    Facts that the right one lacks are taken from the wrong one.

    Raises
    ------
    InputError
        They are the same record.
    ConflictError
        They look like two different things, and nobody is sure.
    NotFoundError
        One is not known.
    """
    gone, kept = find_record(session, noun, wrong), find_record(session, noun, right)
    if gone.id == kept.id:
        raise InputError("{name} is that record already", name=kept.name, where=f"{noun} merge", mend="Name two")
    doubts = list(_doubts(session, gone, kept))
    if doubts and not is_sure:
        raise ConflictError(
            "they look like two: {doubts}",
            doubts="; ".join(doubts),
            where=f"{gone.name} and {kept.name}",
            mend="If they are one all the same, say --yes",
        )
    moved: Counter[str] = Counter()
    if noun != "person":
        moved["recipe"] += _remake_recipes(session, gone, kept)
    for reference in all_references():
        if reference.target == gone.__tablename__ and reference.model is not Recipe:
            moved[reference.model.__tablename__] += _move(session, reference, gone.id, kept.id)
    moved["claim"] += _move_claims(session, gone, kept)
    _take_facts(gone, kept)
    _move_house_paper(session, gone, kept)
    gone.binned_at = now()
    session.flush()
    refresh(session, kept)
    session.flush()
    return Merged(
        noun, kept.id, kept.uid, kept.name, gone.name, {name: count for name, count in moved.items() if count}
    )


def _doubts(session: Session, gone: Any, kept: Any) -> Iterable[str]:
    """Yield what speaks against the two being one."""
    if isinstance(gone, Ink):
        if gone.kind != kept.kind:
            yield f"{gone.name} is {gone.kind}, {kept.name} is {kept.kind}"
        both = select(Layer.recipe_id).join(Recipe, Recipe.id == Layer.recipe_id).where(Recipe.binned_at.is_(None))
        of_gone = both.where(Layer.ink_id == gone.id)
        if session.scalars(both.where(Layer.ink_id == kept.id, Layer.recipe_id.in_(of_gone)).limit(1)).first():
            yield "they were printed over one another"
    if isinstance(gone, Paper):
        if gone.is_coloured != kept.is_coloured:
            yield "one is coloured, the other is not"
        if gone.gsm and kept.gsm and gone.gsm != kept.gsm:
            yield f"one weighs {gone.gsm:g}, the other {kept.gsm:g} grams"


# --- recipes


def _remake_recipes(session: Session, gone: Any, kept: Any) -> int:
    recipes = _recipes_with(session, gone)
    for recipe in recipes:
        new = _remade(session, recipe, gone, kept)
        for reference in all_references():
            if reference.target == Recipe.__tablename__ and reference.part_of is None:
                _move(session, reference, recipe.id, new.id)
        recipe.binned_at = now()
        session.flush()
    return len(recipes)


def _recipes_with(session: Session, gone: Any) -> list[Recipe]:
    living = select(Recipe).where(Recipe.binned_at.is_(None)).order_by(Recipe.id)
    if isinstance(gone, Paper):
        return list(session.scalars(living.where(Recipe.paper_id == gone.id)))
    layers = session.execute(select(Layer.recipe_id, Layer.ink_id, Layer.ink_words))
    ids = {recipe_id for recipe_id, ink_id, said in layers if _is_of(gone, ink_id, said)}
    return [recipe for recipe in session.scalars(living) if recipe.id in ids]


def _is_of(ink: Ink, ink_id: int | None, said: str) -> bool:
    """Return whether a layer is of an ink: by its record, or told in its name before there was one."""
    return ink_id == ink.id or (ink_id is None and fold(said) == ink.name_key)


def _remade(session: Session, recipe: Recipe, gone: Any, kept: Any) -> Recipe:
    """Return the recipe with the right ink or paper: the one that stands already, or a new one."""
    layers = session.scalars(select(Layer).where(Layer.recipe_id == recipe.id).order_by(Layer.position)).all()
    new = copied_recipe(recipe, layers)
    if isinstance(gone, Paper):
        new.paper_id = kept.id
    else:
        for layer in new.layers:
            layer.ink_id = kept.id if _is_of(gone, layer.ink_id, layer.ink_words) else layer.ink_id
    if recipe.key is not None:
        exact = [ExactLayer(each.ink_id or 0, each.tint_low or 0.0, each.print_pass or 1) for each in new.layers]
        new.key = recipe_key(new.paper_id or 0, exact, new.screen)
        if recipe.key.startswith(ELSEWHERE):  # another workshop's recipe stays theirs, whatever ours is called
            new.key = f"{recipe.key.partition('|')[0]}|{new.key}"
        standing = session.scalars(select(Recipe).where(Recipe.key == new.key, Recipe.binned_at.is_(None))).first()
        if standing is not None:
            return standing
    session.add(new)
    session.flush()
    return new


# --- what refers


def _move(session: Session, reference: Reference, old_id: int, new_id: int) -> int:
    """Point every row that refers to one record, the bin included, to another; return how many living ones did."""
    model = reference.model
    if reference.part_of is None:
        rows = session.scalars(select(model).where(reference.column == old_id).order_by(model.id)).all()
        for row in rows:
            setattr(row, reference.column.key, new_id)
    else:
        owners = select(reference.part_of).where(reference.column == old_id)
        rows = session.scalars(select(model).where(model.id.in_(owners)).order_by(model.id)).all()
        for row in rows:
            _move_link(session, row, _LINKED[reference.column.table.name], old_id, new_id)
    session.flush()
    return sum(row.binned_at is None for row in rows)


def _move_link(session: Session, row: Any, field: str, old_id: int, new_id: int) -> None:
    kind = kind_of_row(row)
    assert kind is not None, "rows with linked records are of a kind"
    links = [
        [new_id if other == old_id else other, amount]
        for other, amount in current_links(session, kind.noun, field, row.id)
    ]
    if field == "mix":  # an ink that was in the mix under both names is in it with both parts
        parts: Counter[int] = Counter()
        for ink_id, amount in links:
            parts[ink_id] += amount
        links = [[ink_id, amount] for ink_id, amount in parts.items()]
    write_links(session, kind, row, {field: links})
    if isinstance(row, Work):
        refresh(session, row)


def _move_claims(session: Session, gone: Any, kept: Any) -> int:
    """Move what was said of the wrong one; where something stands of the right one already, that keeps standing."""
    table = gone.__tablename__
    about = select(Claim).where(Claim.subject_table == table)
    standing = set(
        session.scalars(
            select(Claim.field).where(
                Claim.subject_table == table,
                Claim.subject_id == kept.id,
                Claim.is_standing,
                Claim.binned_at.is_(None),
            )
        )
    )
    claims = session.scalars(about.where(Claim.subject_id == gone.id)).all()
    for claim in claims:
        claim.subject_id = kept.id
        claim.is_standing = claim.is_standing and claim.field not in standing
    return sum(claim.binned_at is None for claim in claims)


def _take_facts(gone: Any, kept: Any) -> None:
    for column in type(kept).__table__.columns:
        if column.key not in _NOT_FACTS and getattr(kept, column.key) in (None, ""):
            setattr(kept, column.key, getattr(gone, column.key))


def _move_house_paper(session: Session, gone: Any, kept: Any) -> None:
    if isinstance(gone, Paper):
        query = select(Setting).where(Setting.key == "house_paper", Setting.binned_at.is_(None))
        for setting in session.scalars(query):
            if fold(str(setting.value)) == gone.name_key:
                setting.value = kept.name
