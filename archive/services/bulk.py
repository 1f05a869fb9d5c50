"""One change to many works: "these thirty are on Oatleaf"; and a whole box that moves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Appearance, Copy, Layer, Paper, Place, Recipe, Variant, Work
from archive.errors import InputError
from archive.services.claims import Saying, note_claims
from archive.services.finding import FindOptions, chosen_works
from archive.services.found_facts import ColourFit
from archive.services.kinds import kind_of
from archive.services.lookup import PATH_BREAK, find_record
from archive.services.recipes import ExactLayer, RecipeBook
from archive.services.records import Record, as_record, edit_record, in_words
from archive.services.saved_questions import conditions

_OF_COPIES = ("place", "whereabouts", "role")
_OF_WORKS = ("title", "kind", "date", "date-basis", "old-number", "note")


@dataclass(frozen=True, slots=True)
class ChangedWork:
    """A work that a change to many touched, and what it held before in each field, in words."""

    id: int
    uid: str
    ref: str
    title: str
    was: dict[str, str]


@dataclass(frozen=True, slots=True)
class BulkReport:
    """What a change to many works did, or would do."""

    set: dict[str, str]
    works: tuple[ChangedWork, ...]
    same: int  # works that held it already
    dry_run: bool


def change_works(
    session: Session,
    options: FindOptions,
    values: Mapping[str, str],
    *,
    fits: Mapping[int, ColourFit] | None = None,
    said_by: str | None = None,
    dry_run: bool = False,
) -> BulkReport:
    """Set fields of every work that a question finds, in the session's one change.

    `paper` is the paper of all variants of a work; `place`, `whereabouts` and `role` are those of its copies. A dry
    run does the same, so that it is refused for the same reasons, and takes it back.

    Raises
    ------
    InputError, NotFoundError
        Nothing is asked, nothing is set, a field is none of those, or a value cannot be read.
    """
    if not conditions(options):
        raise InputError("every work would be changed", mend="Say which: by words, --works, --paper, --kept")
    if not values:
        raise InputError("nothing is set", mend="Say what: --set paper='Oatleaf 120'")
    allowed = ("paper", *_OF_WORKS, *_OF_COPIES)
    for field in values:
        if field not in allowed:
            mend = "Set one of " + ", ".join(allowed)
            raise InputError("{field} cannot be set for many works", field=field, where="--set", mend=mend)
    works = chosen_works(session, options, fits)
    setter = _Setter(session, said_by)
    was = [{field: setter.set(work, field, value) for field, value in values.items()} for work in works]
    changed = tuple(
        ChangedWork(
            work.id, work.uid, work.ref, work.title, {field: old for field, old in held.items() if old is not None}
        )
        for work, held in zip(works, was, strict=True)
        if any(old is not None for old in held.values())
    )
    session.flush()
    if dry_run:
        session.rollback()
    return BulkReport(dict(values), changed, len(works) - len(changed), dry_run)


class _Setter:
    """Sets one field of one work after the other; each returns what it held before, or None where nothing changed."""

    def __init__(self, session: Session, said_by: str | None) -> None:
        self.session = session
        self.said_by = said_by
        self._book: RecipeBook | None = None

    def set(self, work: Work, field: str, value: str) -> str | None:
        if field == "paper":
            return self._set_paper(work, value)
        if field in _OF_COPIES:
            return self._set_on_copies(work, field, value)
        return self._edit("work", work, field, value)

    def _edit(self, noun: str, row: Any, field: str, value: str) -> str | None:
        kind = kind_of(noun)
        old = in_words(as_record(self.session, kind, row).facts[field])
        new = in_words(edit_record(self.session, noun, row.uid, {field: value}).facts[field])
        if old == new:
            return None
        if self.said_by and value:
            note_claims(self.session, noun, row.id, [Saying(field, new, "stated", self.said_by)])
        return old

    def _set_on_copies(self, work: Work, field: str, value: str) -> str | None:
        query = (
            select(Copy)
            .join(Appearance, Appearance.copy_id == Copy.id)
            .join(Variant, Variant.id == Appearance.variant_id)
            .where(Variant.work_id == work.id, Copy.binned_at.is_(None), Appearance.binned_at.is_(None))
            .order_by(Copy.id)
        )
        copies = list(dict.fromkeys(self.session.scalars(query)))
        return _together(self._edit("copy", copy, field, value) for copy in copies)

    def _set_paper(self, work: Work, value: str) -> str | None:
        paper: Paper = find_record(self.session, "paper", value, where="--set paper")
        query = select(Variant).where(Variant.work_id == work.id, Variant.binned_at.is_(None)).order_by(Variant.id)
        return _together(self._put_on(variant, paper) for variant in self.session.scalars(query).all())

    def _put_on(self, variant: Variant, paper: Paper) -> str | None:
        recipe = self.session.get(Recipe, variant.recipe_id) if variant.recipe_id else None
        if recipe is not None and recipe.paper_id == paper.id:
            return None
        old = self.session.get(Paper, recipe.paper_id) if recipe is not None and recipe.paper_id else None
        new = self._on_paper(recipe, paper.id)
        self.session.flush()
        variant.recipe_id = new.id
        if self.said_by:
            note_claims(self.session, "variant", variant.id, [Saying("paper", paper.name, "stated", self.said_by)])
        return old.name if old is not None else ""

    def _on_paper(self, recipe: Recipe | None, paper_id: int) -> Recipe:
        """Return the recipe as it is on another paper; recipes are shared, so the one there was stays as it is."""
        if recipe is None:
            new = Recipe(paper_id=paper_id, is_told=True, order_known=False)
            new.layers = []
            self.session.add(new)
            return new
        layers = self.session.scalars(select(Layer).where(Layer.recipe_id == recipe.id).order_by(Layer.position)).all()
        if recipe.key is not None:
            self._book = self._book or RecipeBook(self.session)
            exact = [ExactLayer(each.ink_id or 0, each.tint_low or 0.0, each.print_pass or 1) for each in layers]
            return self._book.exact(paper_id, exact, recipe.screen)
        new = copied_recipe(recipe, layers)
        new.paper_id = paper_id
        self.session.add(new)
        return new


def copied_recipe(recipe: Recipe, layers: Any) -> Recipe:
    """Return a new recipe with the facts and layers of another, without its key and not yet in the session."""
    own = {"id", "uid", "key", "change_id", "binned_at"}
    names = [column.key for column in Recipe.__table__.columns if column.key not in own]
    new = Recipe(**{name: getattr(recipe, name) for name in names})
    parts = [column.key for column in Layer.__table__.columns if column.key != "recipe_id"]
    new.layers = [Layer(**{name: getattr(layer, name) for name in parts}) for layer in layers]
    return new


def _together(olds: Any) -> str | None:
    """Return what several rows held before as one text; None where nothing changed in any."""
    changed = [old for old in olds if old is not None]
    return ", ".join(dict.fromkeys(old for old in changed if old)) if changed else None


# --- a whole box


@dataclass(frozen=True, slots=True)
class MovedPlace:
    """A place that moved, and what went with it."""

    record: Record
    places: int
    copies: int

    def as_json(self) -> dict[str, Any]:
        """Return the place as one JSON object, with how many places and copies lie in it."""
        return {**self.record.as_json(), "places": self.places, "copies": self.copies}


def move_place(session: Session, ref: str, to: str) -> MovedPlace:
    """Move a place with all that lies in it into another; an empty `to` takes it out of the one it is in.

    Raises
    ------
    NotFoundError, InputError, ConflictError
        A place is not known, would be inside itself, or one of that name is there already.
    """
    place: Place = find_record(session, "place", ref)
    into = find_record(session, "place", to, where="--to").uid if to.strip() else ""
    record = edit_record(session, "place", place.uid, {"in": into})
    inside = select(Place.id).where(
        Place.path_key.startswith(f"{place.path_key}{PATH_BREAK}", autoescape=True), Place.binned_at.is_(None)
    )
    ids = list(session.scalars(inside))
    copies = session.scalars(select(Copy.id).where(Copy.place_id.in_([place.id, *ids]), Copy.binned_at.is_(None))).all()
    return MovedPlace(record, len(ids), len(copies))
