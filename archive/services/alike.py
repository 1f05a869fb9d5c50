"""Deciding what a photographed sheet that looks like another one is: the same copy again, or a variant of its work.

Each frame was entered as a work of its own, and nothing merges by itself. A person decides; then one change moves what
hangs on the new entry to where it belongs, and the emptied work goes to the bin. One undo takes it back whole. What was
said of the new work meanwhile is taken along where the other lacks it, and refused where the two differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Copy, Frame, Picture
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.alike_moves import move_as_same_copy, move_as_variant, refuse_differing, shown_by, take_facts
from archive.services.bin import remove_row
from archive.services.copies import work_of_copy
from archive.services.lookup import find_record
from archive.services.rules import refresh

SAME_COPY, VARIANT = "same copy", "variant"


@dataclass(frozen=True, slots=True)
class Alike:
    """One picture that another looks like: as what, of which work, and whether somebody decided yet."""

    picture: str
    file: str
    work: str | None
    as_: str
    state: str

    def as_json(self) -> dict[str, Any]:
        """Return it as one JSON object."""
        return {"picture": self.picture, "file": self.file, "work": self.work, "as": self.as_, "state": self.state}


@dataclass(frozen=True, slots=True)
class AlikeCard:
    """A picture, the work it was entered as, and what it looks like, the likeliest first."""

    picture: str
    file: str
    work: str | None
    like: tuple[Alike, ...]


@dataclass(frozen=True, slots=True)
class Decided:
    """What became of a likeness: the picture's work and copy now, and the work that went to the bin."""

    picture: str
    decided: str
    work: str | None
    copy: str | None
    gone: str | None


# --- listing


def list_alike(session: Session, *, state: str | None = "open") -> list[AlikeCard]:
    """Return the pictures that look like earlier ones and wait for somebody to decide, oldest first."""
    query = (
        select(Frame, Picture)
        .join(Picture, Picture.id == Frame.picture_id)
        .where(Frame.binned_at.is_(None), Picture.binned_at.is_(None), Frame.alike.is_not(None))
        .order_by(Frame.id)
    )
    cards = [_card(session, frame, picture, state) for frame, picture in session.execute(query)]
    return [card for card in cards if card.like]


def _card(session: Session, frame: Frame, picture: Picture, state: str | None) -> AlikeCard:
    own = work_of_copy(session, picture.copy_id)
    found = []
    for each in frame.alike or ():
        other = session.scalars(select(Picture).where(Picture.uid == each["picture"])).first()
        if other is None or other.binned_at is not None or state not in (None, each["state"]):
            continue
        work = work_of_copy(session, other.copy_id)
        if each["state"] != "open" or work != own:  # those of one work need no deciding any more
            found.append(Alike(other.uid, other.name, work, each["as"], each["state"]))
    return AlikeCard(picture.uid, picture.name, own, tuple(found))


# --- deciding


def decline_alike(session: Session, picture_ref: str) -> Decided:
    """Settle that a picture shows none of what it looks like.

    Raises
    ------
    NotFoundError
        No such picture, or nothing of it is open.
    """
    frame, picture = _waiting(session, picture_ref)
    _settle(frame, None, "")
    session.flush()
    return _told(session, picture, "declined", None)


def accept_alike(session: Session, picture_ref: str, *, as_: str | None = None, of: str | None = None) -> Decided:
    """Settle that a picture shows the same copy as an earlier one, or a variant of its work; what hangs on it follows.

    Parameters
    ----------
    as_ : "same copy" or "variant"
        What it is, when it is not what was proposed.
    of : str
        The earlier picture, when it is not the likeliest.

    Raises
    ------
    NotFoundError
        No such picture, or nothing of it is open.
    InputError
        It is not said what it is, and what was proposed is a question.
    ConflictError
        What was said of the two differs, or they lie in two places.
    """
    frame, picture = _waiting(session, picture_ref)
    chosen = _chosen(session, frame, picture, of)
    kind = as_ or chosen["as"]
    if kind not in (SAME_COPY, VARIANT):
        raise InputError(
            "it may be the same design: that is a question",
            where=f"picture {picture.name}",
            mend="Look at both, then say --as variant or --as 'same copy', or decline it",
        )
    new, old = shown_by(session, picture), shown_by(session, find_record(session, "picture", chosen["picture"]))
    if new.work.id == old.work.id:
        raise ConflictError("both are of one work already", where=f"work {old.work.ref}", mend="Decline it")
    refuse_differing(session, new, old, is_same_copy=kind == SAME_COPY)
    take_facts(session, new.work, old.work)
    if kind == SAME_COPY:
        move_as_same_copy(session, new, old)
    else:
        move_as_variant(session, new, old)
    _settle(frame, chosen["picture"], kind)
    session.flush()
    remove_row(session, new.work)
    refresh(session, old.work)
    session.flush()
    return _told(session, picture, kind, new.work.ref)


def _waiting(session: Session, ref: str) -> tuple[Frame, Picture]:
    picture: Picture = find_record(session, "picture", ref)
    query = select(Frame).where(Frame.picture_id == picture.id, Frame.binned_at.is_(None)).order_by(Frame.id)
    for frame in session.scalars(query):
        if any(each["state"] == "open" for each in frame.alike or ()):
            return frame, picture
    mend = "See `inkchest sitting alike list`"
    raise NotFoundError("nothing is open of it", where=f"picture {picture.name}", mend=mend)


def _chosen(session: Session, frame: Frame, picture: Picture, of: str | None) -> dict[str, str]:
    wanted = find_record(session, "picture", of).uid if of else None
    for each in frame.alike:
        other = session.scalars(select(Picture).where(Picture.uid == each["picture"])).first()
        is_there = other is not None and other.binned_at is None
        if each["state"] == "open" and is_there and wanted in (None, each["picture"]):
            return dict(each)
    raise NotFoundError(
        "it was not found to be like {other}",
        other=of or "any picture that is still here",
        where=f"picture {picture.name}",
        mend="See `inkchest sitting alike list`",
    )


def _settle(frame: Frame, chosen: str | None, kind: str) -> None:
    """Write what was decided; a new list, so that the history sees it."""
    settled = []
    for each in frame.alike:
        is_chosen = each["picture"] == chosen
        state = each["state"] if each["state"] != "open" else "accepted" if is_chosen else "declined"
        settled.append({**each, "state": state, **({"as": kind} if is_chosen else {})})
    frame.alike = settled


def _told(session: Session, picture: Picture, decided: str, gone: str | None) -> Decided:
    copy = session.get(Copy, picture.copy_id) if picture.copy_id else None
    work = work_of_copy(session, picture.copy_id)
    return Decided(picture.uid, decided, work, copy.ref if copy is not None else None, gone)
