"""Labels and cards of places: what lies where, gathered for the printer."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import sort_key, today
from archive.catalogue.models import Appearance, Copy, Place, Variant, Work
from archive.output.place_pages import PlacePage, place_cards, place_labels
from archive.services.lookup import PATH_BREAK, find_record
from archive.services.page_files import PageFile, write_pages


def print_labels(session: Session, path: Path, names: Sequence[str] = ()) -> PageFile:
    """Write labels of the places named, or of all but rooms, as a PDF to cut apart.

    Raises
    ------
    NotFoundError, ConflictError
        A name is nobody's, or could be several places'.
    InputError
        There is no place.
    CatalogueError
        The file cannot be written.
    """
    places = _named(session, names) or [each for each in _all(session) if each.kind != "room"]
    return write_pages(path, place_labels(_pages(session, places), day=today()), len(places))


def print_cards(session: Session, path: Path, names: Sequence[str] = ()) -> PageFile:
    """Write cards to photograph, of the places named or of all that hold no other place, a page each.

    Raises
    ------
    NotFoundError, ConflictError, InputError, CatalogueError
        As for labels.
    """
    places = _named(session, names)
    if not places:
        parents = {each.parent_id for each in _all(session)}
        places = [each for each in _all(session) if each.id not in parents]
    return write_pages(path, place_cards(_pages(session, places), day=today()), len(places))


def _named(session: Session, names: Sequence[str]) -> list[Place]:
    return list(dict.fromkeys(find_record(session, "place", name) for name in names))


def _all(session: Session) -> list[Place]:
    """Return all places as one walks past them: by path, drawer 5 before drawer 12."""
    places = session.scalars(select(Place).where(Place.binned_at.is_(None)))
    return sorted(places, key=lambda place: (sort_key(place.path), place.id))


def _pages(session: Session, places: Sequence[Place]) -> list[PlacePage]:
    every = _all(session)
    inside: dict[int | None, list[Place]] = defaultdict(list)
    for place in every:
        inside[place.parent_id].append(place)
    copies, works = _lying(session)
    found = []
    for place in places:
        ids = [place.id, *_below(inside, place.id)]
        refs = {ref for each in ids for ref in works.get(each, ())}
        found.append(
            PlacePage(
                uid=place.uid,
                name=place.name,
                kind=place.kind,
                inside=place.path.rpartition(PATH_BREAK)[0],
                refs=sorted(refs, key=lambda ref: (sort_key(ref), ref)),
                copies=len(set().union(*(copies.get(each, set()) for each in ids))),
                holds=[each.name for each in inside[place.id]],
                warning=place.quarantine or "",
            )
        )
    return found


def _below(inside: dict[int | None, list[Place]], place_id: int) -> Iterable[int]:
    for place in inside[place_id]:
        yield place.id
        yield from _below(inside, place.id)


def _lying(session: Session) -> tuple[dict[int, set[int]], dict[int, set[str]]]:
    """Return the ids of the copies right in each place, and the refs of their works; what is lent lies elsewhere."""
    query = (
        select(Copy.place_id, Copy.id, Work.ref)
        .outerjoin(Appearance, (Appearance.copy_id == Copy.id) & Appearance.binned_at.is_(None))
        .outerjoin(Variant, Variant.id == Appearance.variant_id)
        .outerjoin(Work, (Work.id == Variant.work_id) & Work.binned_at.is_(None))
        .where(Copy.binned_at.is_(None), Copy.place_id.is_not(None), Copy.whereabouts == "here")
    )
    copies: dict[int, set[int]] = defaultdict(set)
    works: dict[int, set[str]] = defaultdict(set)
    for place_id, copy_id, ref in session.execute(query):
        if place_id is None:
            continue
        copies[place_id].add(copy_id)
        if ref is not None:
            works[place_id].add(ref)
    return copies, works
