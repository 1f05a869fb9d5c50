"""Entering a work in one go: what it is, its inks as they are told, where it lies, its picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.history import Act
from archive.catalogue.identity import fold
from archive.catalogue.models import Appearance, Copy, Ink, Place, Recipe, Variant, Work
from archive.errors import InputError, NotFoundError
from archive.services.claims import Saying, note_claims
from archive.services.lookup import find_record
from archive.services.pictures import ReadPicture, keep_files, read_picture, store_picture
from archive.services.profile import read_profile
from archive.services.recipes import tell_recipe
from archive.services.records import Record, add_record
from archive.services.told import Told, read_told
from archive.services.work_cards import WorkCard, inks_in_words, layers_of, work_card


@dataclass(frozen=True, slots=True)
class NewWork:
    """What is known of a work when it is entered; three facts are enough."""

    ref: str | None
    facts: dict[str, Any]
    inks: str = ""
    paper: str | None = None
    place: str | None = None
    role: str | None = None
    edition: str = ""
    side: str = "front"
    said_by: str | None = None
    pictures: tuple[Path, ...] = ()


def add_work(catalogue: Catalogue, new: NewWork, act: Act) -> WorkCard:
    """Add a work with its first variant, and a copy when a place, role or picture tells of one; one change.

    Raises
    ------
    InputError, NotFoundError, ConflictError
        Something given cannot be read; no record was written.
    """
    with catalogue.read() as session:
        limit = float(read_profile(session)["largest_megapixels"])
    read = [read_picture(path, max_megapixels=limit) for path in _there(new.pictures)]
    for picture in read:
        keep_files(catalogue.files, picture)
    with catalogue.write(act) as session:
        return _add(session, new, read)


def _there(paths: Sequence[Path]) -> Sequence[Path]:
    for path in paths:
        if not path.is_file():
            raise InputError("no such file", where=str(path), mend="Check its name")
    return paths


def _add(session: Session, new: NewWork, read: Sequence[ReadPicture]) -> WorkCard:
    record = add_record(session, "work", new.ref, new.facts)
    variant = session.get_one(Variant, add_record(session, "variant", None, {"work": record.label}).id)
    notes: list[str] = []
    if new.inks or new.paper:
        paper_id = find_record(session, "paper", new.paper, where="--paper").id if new.paper else None
        told = read_told(new.inks, known_inks=ink_names(session)) if new.inks else Told((), False, "")
        notes += tell_variant(session, variant, told, paper_id, said_by=new.said_by)
    if read or new.place or new.role or new.edition:
        copy = _add_copy(session, record, variant, new)
        for picture in read:
            notes += store_picture(session, picture, copy.id, _appearance_of(session, copy.id, variant.id)).notes
    return work_card(session, record.label, notes=tuple(notes))


def _add_copy(session: Session, record: Record, variant: Variant, new: NewWork) -> Copy:
    facts: dict[str, Any] = {"of": variant.ref}
    if new.place:
        facts["place"] = ensure_place(session, new.place)
    if new.role:
        facts["role"] = new.role
    if new.edition:
        facts["edition"] = new.edition
    if new.side:
        facts["as"] = new.side
    return session.get_one(Copy, add_record(session, "copy", None, facts).id)


def ensure_place(session: Session, text: str) -> str:
    """Return the path of the place that the text names, made when it is new.

    Raises
    ------
    ConflictError
        Several places could be meant.
    """
    try:
        place: Place = find_record(session, "place", text)
    except NotFoundError:
        return add_record(session, "place", text, {}).label
    return place.path


def ink_names(session: Session) -> tuple[str, ...]:
    """Return the names of all inks in the archive."""
    return tuple(session.scalars(select(Ink.name).where(Ink.binned_at.is_(None)).order_by(Ink.id)))


def tell_variant(
    session: Session, variant: Variant, told: Told, paper_id: int | None, *, said_by: str | None = None
) -> list[str]:
    """Keep what was told of a variant's inks, and who says so; return what a person should know of the reading."""
    recipe = tell_recipe(session, told, paper_id)
    variant.recipe_id = recipe.id
    session.flush()
    basis = "stated" if all(layer.is_sure for layer in told.layers) else "inferred"
    if told.words:
        sayings = [Saying("inks", inks_in_words(session, recipe), basis, said_by, words=told.words)]
        if told.order_known and len(told.layers) > 1:
            sayings.append(Saying("order", f"{told.layers[0].ink} first", basis, said_by, words=told.words))
        note_claims(session, "variant", variant.id, sayings)
        session.flush()
    return [f"read as: {inks_in_words(session, recipe)}", *_unknown_inks(session, recipe)] if told.words else []


def _unknown_inks(session: Session, recipe: Recipe) -> list[str]:
    return [
        f"no ink called {layer.ink_words!r} in the house: kept as said (`inkchest ink add '{layer.ink_words}'`)"
        for layer in layers_of(session, recipe.id)
        if layer.ink_id is None
    ]


def _appearance_of(session: Session, copy_id: int, variant_id: int) -> int | None:
    query = select(Appearance.id).where(
        Appearance.copy_id == copy_id, Appearance.variant_id == variant_id, Appearance.binned_at.is_(None)
    )
    return session.scalars(query).first()


def copy_for_pictures(session: Session, ref: str) -> tuple[int, int | None]:
    """Return copy and appearance for pictures of a work, variant or copy, with a copy made when there is none.

    Raises
    ------
    NotFoundError
        Nothing is called that.
    """
    copies = _copies_called(session, ref)
    if copies:
        return copies[0], None
    variant = _variants_called(session, ref)[0]
    copy = session.get_one(Copy, add_record(session, "copy", None, {"of": variant.ref}).id)
    return copy.id, _appearance_of(session, copy.id, variant.id)


def _copies_called(session: Session, ref: str) -> list[int]:
    key = fold(ref)
    direct = session.scalars(select(Copy.id).where(Copy.ref_key == key, Copy.binned_at.is_(None))).all()
    if direct:
        return list(direct)
    query = (
        select(Copy.id)
        .join(Appearance, Appearance.copy_id == Copy.id)
        .join(Variant, Variant.id == Appearance.variant_id)
        .join(Work, Work.id == Variant.work_id)
        .where(
            (Variant.ref_key == key) | (Work.ref_key == key),
            Copy.binned_at.is_(None),
            Appearance.binned_at.is_(None),
        )
        .order_by(Copy.id)
    )
    return list(session.scalars(query))


def _variants_called(session: Session, ref: str) -> list[Variant]:
    key = fold(ref)
    query = (
        select(Variant)
        .join(Work, Work.id == Variant.work_id)
        .where((Variant.ref_key == key) | (Work.ref_key == key), Variant.binned_at.is_(None))
        .order_by(Variant.id)
    )
    found = list(session.scalars(query))
    return found or [find_record(session, "variant", ref)]
