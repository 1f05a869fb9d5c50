"""A work as it is shown, with all that hangs on it; it loads no picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Appearance, Copy, Ink, Layer, Picture, Recipe, Run, Variant
from archive.services.kinds import kind_of
from archive.services.lookup import find_record
from archive.services.recipes import layer_in_words
from archive.services.records import Record, as_record


@dataclass(frozen=True, slots=True)
class WorkCard:
    """A work with all that hangs on it."""

    record: Record
    variants: tuple[dict[str, Any], ...]
    copies: tuple[dict[str, Any], ...]
    pictures: tuple[dict[str, Any], ...]
    runs: tuple[dict[str, Any], ...]
    notes: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return the work as one JSON object."""
        return {
            **self.record.as_json(),
            "variants": list(self.variants),
            "copies": list(self.copies),
            "pictures": list(self.pictures),
            "runs": list(self.runs),
            "notes": list(self.notes),
        }


def layers_of(session: Session, recipe_id: int) -> list[Layer]:
    """Return a recipe's layers in printing order."""
    return list(session.scalars(select(Layer).where(Layer.recipe_id == recipe_id).order_by(Layer.position)))


def inks_in_words(session: Session, recipe: Recipe) -> str:
    """Return a recipe's layers as they are read aloud, in printing order."""
    names = dict(session.execute(select(Ink.id, Ink.name)).all())
    words = [
        layer_in_words(
            names.get(layer.ink_id or 0, layer.ink_words), layer.tint_low, layer.tint_high, sure=layer.ink_sure
        )
        for layer in layers_of(session, recipe.id)
    ]
    return (", then " if recipe.order_known else " and ").join(words) + (
        "" if recipe.order_known or len(words) < 2 else " (order unknown)"
    )


def work_card(session: Session, ref: str, *, notes: tuple[str, ...] = ()) -> WorkCard:
    """Return a work with its variants, copies, pictures and runs."""
    work = find_record(session, "work", ref)
    variants = list(
        session.scalars(
            select(Variant).where(Variant.work_id == work.id, Variant.binned_at.is_(None)).order_by(Variant.id)
        )
    )
    ids = [variant.id for variant in variants]
    copies = session.scalars(
        select(Copy)
        .where(
            Copy.id.in_(
                select(Appearance.copy_id).where(Appearance.variant_id.in_(ids), Appearance.binned_at.is_(None))
            ),
            Copy.binned_at.is_(None),
        )
        .order_by(Copy.id)
    ).all()
    pictures = session.scalars(
        select(Picture)
        .where(Picture.copy_id.in_([copy.id for copy in copies]), Picture.binned_at.is_(None))
        .order_by(Picture.id)
    ).all()
    runs = session.scalars(
        select(Run).where(Run.variant_id.in_(ids), Run.binned_at.is_(None)).order_by(Run.printed_on, Run.id)
    ).all()
    return WorkCard(
        as_record(session, kind_of("work"), work),
        tuple(variant_facts(session, variant) for variant in variants),
        tuple(as_record(session, kind_of("copy"), copy).as_json() for copy in copies),
        tuple({"uid": picture.uid, "name": picture.name} for picture in pictures),
        tuple(as_record(session, kind_of("run"), run).as_json() for run in runs),
        notes,
    )


def paper_of(session: Session, variant: Variant) -> int | None:
    """Return the id of the paper that a variant was told to be on."""
    recipe = session.get(Recipe, variant.recipe_id) if variant.recipe_id else None
    return recipe.paper_id if recipe else None


def variant_facts(session: Session, variant: Variant) -> dict[str, Any]:
    """Return a variant as plain values, its inks in words."""
    facts: dict[str, Any] = {
        "ref": variant.ref,
        "uid": variant.uid,
        "name": variant.name,
        "kind": variant.kind,
        "inks": None,
        "paper": None,
        "words": None,
    }
    if variant.recipe_id is not None:
        recipe = session.get_one(Recipe, variant.recipe_id)
        facts["inks"] = inks_in_words(session, recipe) or None
        facts["words"] = recipe.words or None
        if recipe.paper_id is not None:
            facts["paper"] = as_record(session, kind_of("paper"), _paper(session, recipe.paper_id)).label
    return facts


def _paper(session: Session, paper_id: int) -> Any:
    return session.get_one(kind_of("paper").model, paper_id)
