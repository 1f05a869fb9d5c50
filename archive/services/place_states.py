"""A box's way through the storeroom: open, checked, closed; and kept apart when mould or insects are suspected."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Copy, Picture, Place
from archive.errors import ConflictError, InputError
from archive.services.lookup import find_record
from archive.services.safety import quarantine_card


@dataclass(frozen=True, slots=True)
class BoxCount:
    """What the archive holds of a place and all places in it, against what was counted by hand."""

    place: str
    state: str
    copies: int
    without_picture: tuple[str, ...]
    counted: int | None


@dataclass(frozen=True, slots=True)
class Quarantine:
    """A place that is kept apart: why, how many copies lie in it, and the card of cautions."""

    place: str
    why: str
    copies: int
    card: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Waiting:
    """A place with copies that nobody photographed yet."""

    place: str
    state: str
    copies: tuple[str, ...]


def count_box(session: Session, name: str, counted: int | None = None) -> BoxCount:
    """Return what the archive holds of a place, beside what was counted by hand."""
    place: Place = find_record(session, "place", name)
    copies = _copies_in(session, [place.id, *_inside(session, place)])
    pictured = _pictured(session, [copy.id for copy in copies])
    bare = tuple(copy.ref for copy in copies if copy.id not in pictured)
    return BoxCount(place.path, place.state, len(copies), bare, counted)


def set_box_state(session: Session, name: str, state: str, counted: int | None, *, anyway: bool = False) -> BoxCount:
    """Set a place to checked or closed once what was counted by hand is what the archive holds.

    Raises
    ------
    InputError
        Nothing was counted.
    ConflictError
        The counts differ, or something in it has no picture; both are told.
    """
    found = count_box(session, name, counted)
    place: Place = find_record(session, "place", name)
    if counted is None and not anyway:
        raise InputError(
            "closing counts: how many sheets and books lie in it?", where=found.place, mend="Count and say --count N"
        )
    if not anyway:
        _refuse_difference(found)
    place.state = state
    session.flush()
    return count_box(session, place.uid, counted)


def _refuse_difference(found: BoxCount) -> None:
    if found.counted != found.copies:
        raise ConflictError(
            "counted {counted}, but the archive holds {copies} there",
            counted=found.counted,
            copies=found.copies,
            where=found.place,
            mend=f"Look with `inkchest find --place '{found.place}'` for what is missing or doubled, or say --anyway",
        )
    if found.without_picture:
        raise ConflictError(
            "{count} in it without a picture: {refs}",
            count=len(found.without_picture),
            refs=", ".join(found.without_picture[:6]) + (" …" if len(found.without_picture) > 6 else ""),
            where=found.place,
            mend="Photograph them, or say --anyway",
        )


def quarantine(session: Session, name: str, why: str) -> Quarantine:
    """Keep a place apart: what lies in it leaves the list of what to photograph until somebody releases it.

    Raises
    ------
    InputError
        No reason is given.
    """
    if not why.strip():
        raise InputError("why is it kept apart?", mend='Say --why "mould suspected" or --why insects')
    place: Place = find_record(session, "place", name)
    place.quarantine = " ".join(why.split())
    session.flush()
    copies = _copies_in(session, [place.id, *_inside(session, place)])
    return Quarantine(place.path, place.quarantine, len(copies), quarantine_card(why))


def release(session: Session, name: str) -> Place:
    """Take a place out of quarantine.

    Raises
    ------
    ConflictError
        It is not in quarantine.
    """
    place: Place = find_record(session, "place", name)
    if place.quarantine is None:
        raise ConflictError("it is not in quarantine", where=place.path, mend="See `inkchest place list`")
    place.quarantine = None
    session.flush()
    return place


def quarantine_of(session: Session, place_id: int | None) -> tuple[str, str] | None:
    """Return path and reason of the place, or the one around it, that is kept apart; None where none is."""
    while place_id is not None:
        place = session.get_one(Place, place_id)
        if place.quarantine is not None:
            return place.path, place.quarantine
        place_id = place.parent_id
    return None


def photo_queue(session: Session) -> list[Waiting]:
    """Return the places with copies that have no picture yet, by path; what is in quarantine is not among them."""
    query = select(Place).where(Place.binned_at.is_(None)).order_by(Place.path_key)
    found = []
    for place in session.scalars(query).all():
        if quarantine_of(session, place.id):
            continue
        copies = _copies_in(session, [place.id])
        pictured = _pictured(session, [copy.id for copy in copies])
        bare = tuple(copy.ref for copy in copies if copy.id not in pictured)
        if bare:
            found.append(Waiting(place.path, place.state, bare))
    return found


def _inside(session: Session, place: Place) -> Iterator[int]:
    waiting = [place.id]
    while waiting:
        query = select(Place.id).where(Place.parent_id.in_(waiting), Place.binned_at.is_(None)).order_by(Place.id)
        waiting = list(session.scalars(query))
        yield from waiting


def _copies_in(session: Session, place_ids: list[int]) -> list[Copy]:
    query = select(Copy).where(Copy.place_id.in_(place_ids), Copy.binned_at.is_(None)).order_by(Copy.ref_key)
    return list(session.scalars(query))


def _pictured(session: Session, copy_ids: list[int]) -> set[int]:
    query = select(Picture.copy_id).where(Picture.copy_id.in_(copy_ids), Picture.binned_at.is_(None))
    return {found for found in session.scalars(query) if found is not None}
