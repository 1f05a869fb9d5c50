"""Listing and naming swatches; it loads no mathematics."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold, sort_key
from archive.catalogue.models import Measurement, Recipe, Swatch
from archive.errors import InputError, NotFoundError
from archive.services.lookup import find_record
from archive.services.recipe_words import recipe_words, recipes_with


@dataclass(frozen=True, slots=True)
class SwatchSummary:
    """A swatch with its recipe in words and its standing colour."""

    id: int
    uid: str
    name: str
    sample: str
    paper: str | None
    inks: str
    lab: tuple[float, float, float] | None
    method: str | None
    condition: str | None
    measured_on: str | None
    readings: int


def list_swatches(
    session: Session, *, ink: str | None = None, over: str | None = None, paper: str | None = None, limit: int = 50
) -> list[SwatchSummary]:
    """Return swatches, filtered by an ink, one ink over another, or a paper; by ink and tint."""
    query = select(Swatch).where(Swatch.binned_at.is_(None), Swatch.recipe_id.is_not(None))
    if paper is not None:
        on_it = select(Recipe.id).where(Recipe.paper_id == find_record(session, "paper", paper).id)
        query = query.where(Swatch.recipe_id.in_(on_it))
    query = query.where(Swatch.recipe_id.in_(recipes_with(session, ink, over))) if ink or over else query
    swatches = session.scalars(query).all()
    words = recipe_words(session, {swatch.recipe_id for swatch in swatches if swatch.recipe_id is not None})
    ordered = sorted(swatches, key=lambda swatch: (sort_key(words[swatch.recipe_id or 0][1]), swatch.id))
    return [_summary(session, swatch, words) for swatch in ordered[:limit]]


def _summary(session: Session, swatch: Swatch, words: dict[int, tuple[str | None, str]]) -> SwatchSummary:
    paper, inks = words[swatch.recipe_id or 0] if swatch.recipe_id else (None, "")
    lab = None
    if swatch.lab_l is not None and swatch.lab_a is not None and swatch.lab_b is not None:
        lab = (swatch.lab_l, swatch.lab_a, swatch.lab_b)
    readings = session.scalars(
        select(Measurement.id).where(Measurement.swatch_id == swatch.id, Measurement.binned_at.is_(None))
    ).all()
    return SwatchSummary(
        swatch.id,
        swatch.uid,
        swatch.name,
        swatch.sample,
        paper,
        inks,
        lab,
        swatch.method,
        swatch.condition,
        swatch.measured_on,
        len(readings),
    )


def swatch_called(session: Session, uid: str) -> Swatch:
    """Return the living swatch with a uid.

    Raises
    ------
    NotFoundError
        There is none.
    """
    swatch = session.scalars(select(Swatch).where(Swatch.uid == uid, Swatch.binned_at.is_(None))).first()
    if swatch is None:
        raise NotFoundError("no swatch {uid}", uid=uid, mend="`inkchest swatch list` shows their uids")
    return swatch


def show_swatch(session: Session, uid: str) -> SwatchSummary:
    """Return one swatch."""
    swatch = swatch_called(session, uid)
    return _summary(session, swatch, recipe_words(session, {swatch.recipe_id or 0}))


def name_swatch(session: Session, uid: str, name: str) -> SwatchSummary:
    """Give a swatch's colour the workshop's own name, which `match colour` then understands."""
    swatch = swatch_called(session, uid)
    clean = " ".join(name.split())
    taken = session.scalars(
        select(Swatch).where(
            Swatch.name_key == fold(clean), Swatch.name_key != "", Swatch.id != swatch.id, Swatch.binned_at.is_(None)
        )
    ).first()
    if taken is not None:
        raise InputError(
            "the name {name} is given already", name=clean, where=f"swatch {taken.uid}", mend="Choose another name"
        )
    swatch.name, swatch.name_key = clean, fold(clean)
    session.flush()
    return show_swatch(session, uid)
