"""Capture now, describe later: the works whose short facts nobody gave yet, and how fast it goes.

The short facts are title, date, inks and paper. One is settled when the record holds it, or when somebody said that
it is unknown; a work leaves the list when somebody described it, however little could be said.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import pairwise
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import now
from archive.catalogue.models import Appearance, Change, Copy, Frame, Person, Picture, Place, Variant, Work, WorkPerson
from archive.errors import ConflictError, InputError, NotFoundError
from archive.services.claims import Saying, note_claims, person_named
from archive.services.inquiries import NOBODY_LEFT
from archive.services.lookup import find_record
from archive.services.records import edit_record
from archive.services.told import Told, read_told
from archive.services.work_cards import WorkCard, layers_of, paper_of, work_card
from archive.services.works import ink_names, tell_variant

SHORT_FACTS = ("title", "date", "inks", "paper")
AS_LAST = ("date", "inks", "paper", "maker", "kind")  # what "as the last one" can take over: never the title
_PAUSE_MINUTES = 15.0  # a longer one is a break and does not count as work [common practice]


@dataclass(frozen=True, slots=True)
class Undescribed:
    """A work that was photographed and not described: what it lacks, where it lies, its pictures (uid, file name)."""

    ref: str
    uid: str
    title: str
    place: str | None
    lacks: tuple[str, ...]
    pictures: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ShortFacts:
    """What somebody says of a work; what is left out stays as it is.

    `unknown` names facts that cannot be told from the sheet, `nobody_left` those that nobody is left to ask for,
    `as_last` those that are as with the work described last.
    """

    title: str = ""
    date: str = ""
    inks: str = ""
    paper: str = ""
    maker: str = ""
    kind: str = ""
    note: str = ""
    unknown: tuple[str, ...] = ()
    nobody_left: tuple[str, ...] = ()
    said_by: str | None = None
    as_last: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pace:
    """How far the storeroom is: counts, works an hour while at it, and hours still to go (None where unknown)."""

    captured: int
    captured_an_hour: float | None
    described: int
    described_an_hour: float | None
    left: int
    hours_left: float | None


@dataclass
class _Pictures:
    by_work: dict[int, list[tuple[str, str]]] = field(default_factory=dict)
    place: dict[int, int | None] = field(default_factory=dict)


def list_undescribed(session: Session, *, place: str | None = None, limit: int | None = None) -> list[Undescribed]:
    """Return the photographed works that nobody described, oldest first; of one place or of all."""
    within = find_record(session, "place", place).path if place else None
    seen = _pictured(session)
    paths = dict(session.execute(select(Place.id, Place.path)).all())
    query = select(Work).where(Work.binned_at.is_(None), Work.described_at.is_(None), Work.id.in_(seen.by_work))
    found = []
    for work in session.scalars(query.order_by(Work.id)):
        lacks = _lacks(session, work)
        path = paths.get(seen.place[work.id] or 0)
        if lacks and (within is None or path == within or (path or "").startswith(f"{within} / ")):
            found.append(Undescribed(work.ref, work.uid, work.title, path, lacks, tuple(seen.by_work[work.id])))
        if limit is not None and len(found) == limit:
            break
    return found


def _pictured(session: Session) -> _Pictures:
    query = (
        select(Variant.work_id, Copy.place_id, Picture.uid, Picture.name)
        .join(Appearance, Appearance.variant_id == Variant.id)
        .join(Copy, Copy.id == Appearance.copy_id)
        .join(Picture, Picture.copy_id == Copy.id)
        .where(*(model.binned_at.is_(None) for model in (Variant, Appearance, Copy, Picture)))
        .order_by(Picture.id, Variant.id)
    )
    found = _Pictures()
    for work_id, place_id, uid, name in session.execute(query):
        pictures = found.by_work.setdefault(work_id, [])
        if (uid, name) not in pictures:
            pictures.append((uid, name))
        if found.place.get(work_id) is None:
            found.place[work_id] = place_id
    return found


def _lacks(session: Session, work: Work) -> tuple[str, ...]:
    """Return the short facts that a work does not hold."""
    variants = session.scalars(
        select(Variant).where(Variant.work_id == work.id, Variant.binned_at.is_(None)).order_by(Variant.id)
    ).all()
    told = {"title": bool(work.title), "date": bool(work.date_text), "inks": False, "paper": False}
    for variant in variants:
        told["inks"] |= variant.recipe_id is not None and bool(layers_of(session, variant.recipe_id))
        told["paper"] |= paper_of(session, variant) is not None
    return tuple(fact for fact in SHORT_FACTS if not told[fact])


def describe_work(session: Session, ref: str, facts: ShortFacts) -> WorkCard:
    """Give a photographed work its short facts and take it off the list; unknown is fine.

    Raises
    ------
    InputError, NotFoundError, ConflictError
        A fact cannot be read, or nothing was described before; nothing was written.
    """
    work: Work = find_record(session, "work", ref)
    if facts.as_last:
        facts = _with_last(session, work, facts)
    _refuse_unknown_names(facts)
    given: dict[str, Any] = {
        name: getattr(facts, name) for name in ("title", "date", "kind", "note") if getattr(facts, name)
    }
    if facts.maker:
        given["maker"] = [f"{session.get_one(Person, person_named(session, facts.maker)).uid}=maker"]
    if given:
        edit_record(session, "work", work.uid, given)
    notes: list[str] = []
    variant = _first_variant(session, work)
    if facts.inks or facts.paper:
        told = read_told(facts.inks, known_inks=ink_names(session)) if facts.inks else Told((), False, "")
        paper_id = find_record(session, "paper", facts.paper).id if facts.paper else paper_of(session, variant)
        notes = tell_variant(session, variant, told, paper_id, said_by=facts.said_by)
    sayings = [Saying(name, "", "unknown", facts.said_by) for name in facts.unknown]
    sayings += [Saying(name, "", "unknown", facts.said_by, words=NOBODY_LEFT) for name in facts.nobody_left]
    note_claims(session, "work", work.id, sayings)
    work.described_at = now()
    session.flush()
    return work_card(session, work.uid, notes=tuple(notes))


def _first_variant(session: Session, work: Work) -> Variant:
    query = select(Variant).where(Variant.work_id == work.id, Variant.binned_at.is_(None)).order_by(Variant.id)
    found = session.scalars(query).first()
    if found is None:
        raise ConflictError("the work has no variant", where=f"work {work.ref}", mend="Add one: `inkchest variant add`")
    return found


def _refuse_unknown_names(facts: ShortFacts) -> None:
    for name in (*facts.unknown, *facts.nobody_left):
        if name not in (*SHORT_FACTS, "maker"):
            raise InputError("{name} is none of the short facts", name=name, mend="Use title, date, inks, paper, maker")


def _with_last(session: Session, work: Work, facts: ShortFacts) -> ShortFacts:
    """Fill what is not said from the work described last."""
    query = (
        select(Work)
        .where(Work.described_at.is_not(None), Work.binned_at.is_(None), Work.id != work.id)
        .order_by(Work.described_at.desc(), Work.id.desc())
    )
    last = session.scalars(query).first()
    if last is None:
        raise NotFoundError("nothing was described before", where="as the last one", mend="Say the facts of this one")
    variant = _first_variant(session, last)
    card = next(each for each in work_card(session, last.uid).variants if each["uid"] == variant.uid)
    makers = select(Person.name).join(WorkPerson, WorkPerson.person_id == Person.id)
    maker = session.scalars(makers.where(WorkPerson.work_id == last.id).order_by(Person.id)).first()
    held = {
        "date": last.date_text,
        "inks": card["words"] or card["inks"],
        "paper": card["paper"],
        "maker": maker,
        "kind": last.kind,
    }
    taken = set(facts.as_last) - set(facts.unknown) - set(facts.nobody_left)
    given: dict[str, Any] = {name: getattr(facts, name) or held[name] or "" for name in taken if name in held}
    return replace(facts, **given)


def pace(session: Session, *, since: str | None = None) -> Pace:
    """Return how many works were captured and described (since a moment, or ever), how fast, and what is left."""
    captured = _captured(session, since)
    query = select(Work.described_at).where(Work.described_at.is_not(None), Work.binned_at.is_(None))
    described = [str(at) for at in session.scalars(query) if since is None or str(at) >= since]
    left = len(list_undescribed(session))
    speed = _an_hour(described)
    return Pace(
        len(captured),
        _an_hour(list(captured.values())),
        len(described),
        speed,
        left,
        left / speed if speed else None,
    )


def _captured(session: Session, since: str | None) -> dict[int, str]:
    """Return when each copy was first photographed in a sitting: by the camera's clock, else when it was taken in."""
    query = (
        select(Picture.copy_id, Frame.taken_at, Change.at)
        .join(Frame, Frame.picture_id == Picture.id)
        .join(Change, Change.id == Frame.change_id)
        .where(Frame.binned_at.is_(None), Picture.binned_at.is_(None), Picture.copy_id.is_not(None))
        .order_by(Frame.id)
    )
    first: dict[int, str] = {}
    for copy_id, taken_at, at in session.execute(query):
        if since is None or at >= since:
            first.setdefault(copy_id or 0, taken_at or at)
    return first


def _an_hour(moments: list[str]) -> float | None:
    """Return works an hour over the time spent at it, breaks left out; None for fewer than two."""
    times = sorted(datetime.fromisoformat(moment[:19]) for moment in moments)  # a camera's clock tells no zone
    gaps = [(later - earlier).total_seconds() / 60 for earlier, later in pairwise(times)]
    worked = [gap for gap in gaps if gap <= _PAUSE_MINUTES]
    minutes = sum(worked)
    return len(worked) / minutes * 60 if minutes > 0 else None
