"""Finding works by words, ink, order, paper, person, year."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold, sort_key
from archive.catalogue.models import (
    Appearance,
    Copy,
    Place,
    Recipe,
    Run,
    Swatch,
    Variant,
    Work,
    WorkPerson,
)
from archive.errors import InputError
from archive.services.lookup import find_record
from archive.services.recipe_words import recipe_words, recipes_with

_MONTH = r"\d{4}(?:-(?:0[1-9]|1[0-2]))?"  # a year, or a month of it


@dataclass(frozen=True, slots=True)
class FindOptions:
    """What works are looked for; all conditions hold together."""

    text: str = ""
    ink: str | None = None
    over: str | None = None
    paper: str | None = None
    person: str | None = None
    years: str | None = None
    undated: bool = False
    limit: int = 50


@dataclass(frozen=True, slots=True)
class FoundWork:
    """A work that fits, with what tells it apart at a glance."""

    id: int
    uid: str
    ref: str
    title: str
    kind: str
    date: str
    inks: tuple[str, ...]
    papers: tuple[str, ...]
    places: tuple[str, ...]


def find_works(session: Session, options: FindOptions) -> list[FoundWork]:
    """Return the works that fit every condition, by ref.

    Raises
    ------
    InputError, NotFoundError
        A year cannot be read; an ink, paper or person is not known.
    """
    query = select(Work).where(Work.binned_at.is_(None))
    for word in fold(options.text).split():
        query = query.where(Work.search_text.contains(word, autoescape=True))
    if options.ink or options.over:
        query = query.where(Work.id.in_(_works_of(recipes_with(session, options.ink, options.over))))
    if options.paper is not None:
        paper = find_record(session, "paper", options.paper)
        query = query.where(Work.id.in_(_works_of(select(Recipe.id).where(Recipe.paper_id == paper.id))))
    if options.person is not None:
        person = find_record(session, "person", options.person)
        theirs = select(WorkPerson.work_id).where(WorkPerson.person_id == person.id)
        printed = (
            select(Variant.work_id)
            .join(Run, Run.variant_id == Variant.id)
            .where(Run.person_id == person.id, Run.binned_at.is_(None))
        )
        query = query.where(or_(Work.id.in_(theirs), Work.id.in_(printed)))
    if options.undated:
        query = query.where(Work.date_sort_earliest.is_(None), Work.date_sort_latest.is_(None))
    if options.years is not None:
        query = query.where(_made_in(*read_span(options.years)))
    works = sorted(session.scalars(query).all(), key=lambda work: sort_key(work.ref))
    return [_found(session, work) for work in works[: options.limit]]


def read_span(text: str) -> tuple[str, str]:
    """Return the first and last day of a span of years or months: "1998", "1998..2004", "2019-05", "..2001-03".

    Raises
    ------
    InputError
        It is none, or runs backwards.
    """
    found = re.fullmatch(rf"\s*({_MONTH})?\s*(\.\.)?\s*({_MONTH})?\s*", text)
    if found is None or not (found[1] or found[3]) or (found[3] and not found[2]):
        mend = "Write 1998, 1998..2004 or 2019-05"
        raise InputError("{text} is no span of years", text=text, where="--year", mend=mend)
    first = found[1] or "0000"
    last = found[3] or ("9999" if found[2] else first)
    days = first + "-01-01"[: 10 - len(first)], last + ("-12-31" if len(last) == 4 else "-31")
    if days[1] < days[0]:
        raise InputError("the years {text} run backwards", text=text, where="--year", mend="Write the earlier first")
    return days


def _made_in(first: str, last: str) -> Any:
    """Return the condition that a work's date may lie in a span, or that one of its runs does."""
    dated = and_(
        or_(Work.date_sort_earliest.is_not(None), Work.date_sort_latest.is_not(None)),
        or_(Work.date_sort_earliest.is_(None), Work.date_sort_earliest <= last),
        or_(Work.date_sort_latest.is_(None), Work.date_sort_latest >= first),
    )
    printed = (
        select(Variant.work_id)
        .join(Run, Run.variant_id == Variant.id)
        .where(Run.binned_at.is_(None), Variant.binned_at.is_(None), Run.printed_on.between(first, last))
    )
    return or_(dated, Work.id.in_(printed))


def _works_of(recipe_ids: Any) -> Any:
    """Return the query of work ids whose variants, runs or swatches have one of the recipes."""
    by_variant = select(Variant.work_id).where(Variant.recipe_id.in_(recipe_ids), Variant.binned_at.is_(None))
    by_run = (
        select(Variant.work_id)
        .join(Run, Run.variant_id == Variant.id)
        .where(Run.recipe_id.in_(recipe_ids), Run.binned_at.is_(None))
    )
    by_swatch = (
        select(Variant.work_id)
        .join(Swatch, Swatch.variant_id == Variant.id)
        .where(Swatch.recipe_id.in_(recipe_ids), Swatch.binned_at.is_(None))
    )
    return by_variant.union(by_run, by_swatch)


def _found(session: Session, work: Work) -> FoundWork:
    recipe_ids = session.scalars(
        select(Variant.recipe_id)
        .where(Variant.work_id == work.id, Variant.binned_at.is_(None), Variant.recipe_id.is_not(None))
        .order_by(Variant.id)
    ).all()
    ids = [recipe_id for recipe_id in recipe_ids if recipe_id is not None]
    words = recipe_words(session, set(ids))
    places = session.scalars(
        select(Place.path)
        .join(Copy, Copy.place_id == Place.id)
        .join(Appearance, Appearance.copy_id == Copy.id)
        .join(Variant, Variant.id == Appearance.variant_id)
        .where(Variant.work_id == work.id, Copy.binned_at.is_(None), Appearance.binned_at.is_(None))
        .distinct()
        .order_by(Place.path)
    ).all()
    papers = dict.fromkeys(words[each][0] for each in ids)
    return FoundWork(
        work.id,
        work.uid,
        work.ref,
        work.title,
        work.kind,
        work.date_text,
        tuple(words[each][1] for each in ids),
        tuple(paper for paper in papers if paper),
        tuple(places),
    )
