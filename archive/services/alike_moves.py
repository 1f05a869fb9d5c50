"""Moving what hangs on a photographed sheet to the copy or the work that it turned out to be of.

Called by `alike`, once a person decided. What was said of both must agree; what only the one knew goes along.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold
from archive.catalogue.models import (
    Appearance,
    Claim,
    Copy,
    Inquiry,
    JobFile,
    Joined,
    Picture,
    Place,
    Recipe,
    Run,
    Swatch,
    Variant,
    Work,
)
from archive.errors import ConflictError
from archive.services.fields import current_links, links_in_words, write_links
from archive.services.kinds import kind_of
from archive.services.rules import prepare, refresh
from archive.services.work_cards import inks_in_words, layers_of

_FACTS = ("title", "date_text", "date_basis", "old_number", "note")
_START_KIND = "poster"  # what every work is until somebody says otherwise


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture with the copy, the variant and the work that it shows."""

    picture: Picture
    copy: Copy
    variant: Variant
    work: Work


def shown_by(session: Session, picture: Picture) -> Shown:
    """Return the one variant, with copy and work, that a picture shows.

    Raises
    ------
    ConflictError
        It shows none, or several.
    """
    copy = session.get(Copy, picture.copy_id) if picture.copy_id else None
    query = select(Appearance.variant_id).where(Appearance.copy_id == picture.copy_id, Appearance.binned_at.is_(None))
    variants = set(session.scalars(query))
    if copy is None or len(variants) != 1:
        raise ConflictError(
            "it shows {count} variants, not one",
            count=len(variants),
            where=f"picture {picture.name}",
            mend="Say what it is by hand: `inkchest picture edit`, `inkchest appearance add`",
        )
    variant = session.get_one(Variant, variants.pop())
    return Shown(picture, copy, variant, session.get_one(Work, variant.work_id))


# --- what was said of both


def refuse_differing(session: Session, new: Shown, old: Shown, *, is_same_copy: bool) -> None:
    """Refuse to make one of what people said different things of.

    Raises
    ------
    ConflictError
        A fact that both hold differs; for one copy also inks, paper and place.
    """
    doubts = [*_differing_facts(session, new.work, old.work)]
    if is_same_copy:
        doubts += [*_differing_copies(session, new, old)]
    if doubts:
        raise ConflictError(
            "they differ: {doubts}",
            doubts="; ".join(doubts),
            where=f"work {new.work.ref} and work {old.work.ref}",
            mend="Make the two agree first, or decline it",
        )


def _differing_facts(session: Session, new: Work, old: Work) -> Iterator[str]:
    for name in _FACTS:
        ours, theirs = getattr(new, name), getattr(old, name)
        if ours and theirs and ours != theirs:
            yield f"{name.removesuffix('_text').replace('_', ' ')} {ours} and {theirs}"
    if _START_KIND not in (new.kind, old.kind) and new.kind != old.kind:
        yield f"kind {new.kind} and {old.kind}"
    makers = [current_links(session, "work", "maker", work.id) for work in (new, old)]
    if all(makers) and makers[0] != makers[1]:
        yield " and ".join(f"maker {links_in_words(session, 'work', 'maker', links)}" for links in makers)


def _differing_copies(session: Session, new: Shown, old: Shown) -> Iterator[str]:
    """Yield what speaks against one sheet: other inks or paper, another place, or more than this one sheet."""
    inks = [_inks(session, each.variant) for each in (new, old)]
    if all(inks) and inks[0] != inks[1]:
        yield f"inks {inks[0]} and {inks[1]}"
    places = {each.copy.place_id for each in (new, old)} - {None}
    if len(places) == 2:
        names = [
            session.get_one(Place, place_id).path for place_id in (new.copy.place_id, old.copy.place_id) if place_id
        ]
        yield f"one lies in {names[0]}, the other in {names[1]}"
    variants = session.scalars(select(Variant.id).where(Variant.work_id == new.work.id, Variant.binned_at.is_(None)))
    on_it = select(Appearance.copy_id).where(Appearance.variant_id.in_(variants.all()), Appearance.binned_at.is_(None))
    if set(session.scalars(on_it)) != {new.copy.id}:
        yield f"work {new.work.ref} has other copies"


def _inks(session: Session, variant: Variant) -> str:
    """Return a variant's inks and paper in words; nothing where none are told."""
    recipe = session.get(Recipe, variant.recipe_id) if variant.recipe_id else None
    if recipe is None or not (layers_of(session, recipe.id) or recipe.paper_id):
        return ""
    paper = session.get(kind_of("paper").model, recipe.paper_id) if recipe.paper_id else None
    on = f"on {getattr(paper, 'name', '')}" if paper is not None else ""
    return " ".join(part for part in (inks_in_words(session, recipe), on) if part)


def take_facts(session: Session, new: Work, old: Work) -> None:
    """Give the work that stays what only the other one knew, with what people said of it."""
    for name in (*_FACTS, "described_at", "original"):
        if not getattr(old, name) and getattr(new, name):
            setattr(old, name, getattr(new, name))
    if old.kind == _START_KIND:
        old.kind = new.kind
    makers = current_links(session, "work", "maker", new.id)
    if makers and not current_links(session, "work", "maker", old.id):
        write_links(session, kind_of("work"), old, {"maker": makers})
    _move_sayings(session, "work", new.id, old.id)


def _move_sayings(session: Session, table: str, new_id: int, old_id: int) -> None:
    claims = select(Claim).where(Claim.subject_table == table, Claim.binned_at.is_(None)).order_by(Claim.id)
    standing = {claim.field for claim in session.scalars(claims.where(Claim.subject_id == old_id)) if claim.is_standing}
    for claim in session.scalars(claims.where(Claim.subject_id == new_id)).all():
        claim.subject_id = old_id
        claim.is_standing = claim.is_standing and claim.field not in standing
    asked = select(Inquiry).where(Inquiry.subject_table == table, Inquiry.subject_id == new_id)
    for inquiry in session.scalars(asked).all():
        inquiry.subject_id = old_id


# --- moving


def move_as_same_copy(session: Session, new: Shown, old: Shown) -> None:
    """Move everything that hangs on the new copy, and on its variant, to the other copy and its variant."""
    for picture in session.scalars(select(Picture).where(Picture.copy_id == new.copy.id).order_by(Picture.id)).all():
        picture.copy_id = old.copy.id
        picture.appearance_id = _same_side(session, picture, old)
    for swatch in session.scalars(select(Swatch).where(Swatch.copy_id == new.copy.id)).all():
        swatch.copy_id = old.copy.id
    for joined in session.scalars(select(Joined).where(Joined.copy_id == new.copy.id)).all():
        joined.copy_id = old.copy.id
    moving: tuple[Any, ...] = (Swatch, Run, JobFile)
    for model in moving:
        for row in session.scalars(select(model).where(model.variant_id == new.variant.id)).all():
            row.variant_id = old.variant.id
    if not _inks(session, old.variant):
        old.variant.recipe_id = new.variant.recipe_id
    for name in ("place_id", "role", "edition", "note", "seen_on", "seen_by_id"):
        if not getattr(old.copy, name):
            setattr(old.copy, name, getattr(new.copy, name))
    _move_sayings(session, "variant", new.variant.id, old.variant.id)
    _move_sayings(session, "copy", new.copy.id, old.copy.id)


def _same_side(session: Session, picture: Picture, old: Shown) -> int | None:
    """Return the other copy's appearance in the role that a picture shows; the picture's own moves where it has none.

    So a back that only the new picture shows is the other copy's back now.
    """
    own = session.get(Appearance, picture.appearance_id) if picture.appearance_id else None
    if own is None or own.copy_id == old.copy.id:
        return picture.appearance_id
    query = select(Appearance).where(Appearance.copy_id == old.copy.id, Appearance.binned_at.is_(None))
    same = session.scalars(query.where(Appearance.role == own.role).order_by(Appearance.id)).first()
    if same is not None:
        return same.id
    own.copy_id, own.variant_id = old.copy.id, old.variant.id
    return own.id


def move_as_variant(session: Session, new: Shown, old: Shown) -> None:
    """Move the new work's variants with their copies to the other work, under refs that follow its own."""
    variants = select(Variant).where(Variant.work_id == new.work.id, Variant.binned_at.is_(None)).order_by(Variant.id)
    for variant in session.scalars(variants).all():
        with session.no_autoflush:  # a row is written when it is complete
            variant.work_id, variant.ref = old.work.id, ""
            if variant.kind == "first":
                variant.kind = _kind_beside(session, variant, old.variant)
            prepare(session, kind_of("variant"), variant, None, {})
        session.flush()
        for run in session.scalars(select(Run).where(Run.variant_id == variant.id).order_by(Run.id)).all():
            _renumber(session, Run, run, f"{old.work.ref}/r", new.work.ref)
        on_it = select(Appearance.copy_id).where(Appearance.variant_id == variant.id, Appearance.binned_at.is_(None))
        for copy in session.scalars(select(Copy).where(Copy.id.in_(on_it)).order_by(Copy.id)).all():
            _renumber(session, Copy, copy, f"{old.work.ref}/", new.work.ref)


def _kind_beside(session: Session, variant: Variant, beside: Variant) -> str:
    """Return how a variant differs from another of its work: by its paper alone where its inks are the same."""
    recipes = [session.get(Recipe, each.recipe_id) if each.recipe_id else None for each in (variant, beside)]
    words = [inks_in_words(session, recipe) if recipe is not None else "" for recipe in recipes]
    return "paper" if words[0] and words[0] == words[1] else "colourway"


def _renumber(session: Session, model: Any, row: Any, stem: str, was: str) -> None:
    """Give a row that was numbered after the work that goes the next number of the one it is of now."""
    if not row.ref.startswith(f"{was}/"):
        return  # somebody gave it a ref of its own
    taken = set(session.scalars(select(model.ref_key).where(model.ref_key.startswith(fold(stem), autoescape=True))))
    row.ref = next(ref for ref in (f"{stem}{number}" for number in count(1)) if fold(ref) not in taken)
    refresh(session, row)
    session.flush()
