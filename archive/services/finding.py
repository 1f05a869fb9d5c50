"""Finding works: by words, colour, ink, order, paper, person, date, trust, and by what can be printed now."""

from __future__ import annotations

import re
from calendar import monthrange
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, and_, func, or_, select
from sqlalchemy.orm import Session, aliased

from archive.catalogue.identity import fold, sort_key
from archive.catalogue.models import (
    Appearance,
    Claim,
    Copy,
    Paper,
    Person,
    ReadingsSet,
    Recipe,
    Run,
    Swatch,
    Variant,
    Work,
    WorkPerson,
)
from archive.errors import InputError
from archive.services.claims import BASES
from archive.services.found_facts import ColourFit, FoundWork, House, Known, found_works
from archive.services.lookup import find_record
from archive.services.recipe_words import recipe_words, recipes_with

_MONTH = r"\d{4}(?:-(?:0[1-9]|1[0-2]))?"  # a year, or a month of it
_NO_FITS: Mapping[int, ColourFit] = {}


@dataclass(frozen=True, slots=True)
class FindOptions:
    """What works are looked for; all conditions hold together. `colour` is settled by `finding_colour`."""

    text: str = ""
    works: str | None = None
    colour: str | None = None
    ink: str | None = None
    over: str | None = None
    paper: str | None = None
    person: str | None = None
    years: str | None = None
    like: str | None = None
    undated: bool = False
    basis: str | None = None
    printable: bool | None = None
    limit: int = 50


def find_works(session: Session, options: FindOptions, fits: Mapping[int, ColourFit] | None = None) -> list[FoundWork]:
    """Return the works that fit every condition: the nearest colour first where one is asked, else by ref.

    Where one ink over another is asked, strips of patches that belong to no work follow the works.

    Parameters
    ----------
    fits : mapping of work id to ColourFit, optional
        The works that hold the asked colour (`finding_colour.works_of_colour`); the others are left out.

    Raises
    ------
    InputError, NotFoundError
        A date, basis or range cannot be read; an ink, paper, person or work is not known.
    """
    house = House(session)
    works = chosen_works(session, options, fits, house)[: options.limit]
    claims = _claims(session, {work.id for work in works}, options.basis)
    patches = _patches(session, options)
    found = found_works(session, works, house, Known(fits or _NO_FITS, claims, patches))
    if options.ink and options.over:
        found += _strips(session, options)[: options.limit - len(found)]
    return found


def chosen_works(
    session: Session,
    options: FindOptions,
    fits: Mapping[int, ColourFit] | None = None,
    house: House | None = None,
) -> list[Work]:
    """Return every work that fits, whatever the limit, in order.

    Raises
    ------
    InputError, NotFoundError
        As `find_works`.
    """
    query = _query(session, options)
    if options.colour is not None:
        query = query.where(Work.id.in_(list(fits or _NO_FITS)))
    works = sorted(session.scalars(query).all(), key=lambda work: (sort_key(work.ref), work.id))
    if options.printable is not None:
        now = house or House(session)
        works = [work for work in works if now.answer(work.id).printable_now is options.printable]
    if fits:
        works.sort(key=lambda work: fits[work.id].delta_e_2000)
    return works


def _query(session: Session, options: FindOptions) -> Select[Work]:
    query = select(Work).where(Work.binned_at.is_(None))
    for word in fold(options.text).split():
        query = query.where(Work.search_text.contains(word, autoescape=True))
    if options.works is not None:
        query = query.where(Work.id.in_(_listed(session, options.works)))
    if options.ink or options.over:
        query = query.where(Work.id.in_(_works_of(_with_inks(session, options))))
    elif options.paper is not None:
        query = query.where(Work.id.in_(_works_of(_on_paper(session, options.paper))))
    if options.person is not None:
        query = query.where(_of_person(find_record(session, "person", options.person)))
    if options.undated:
        query = query.where(Work.date_sort_earliest.is_(None), Work.date_sort_latest.is_(None))
    if options.years is not None:
        query = query.where(_made_in(*read_span(options.years)))
    if options.like is not None:
        query = query.where(_made_like(session, find_record(session, "work", options.like)))
    if options.basis is not None:
        query = query.where(Work.id.in_(_of_basis(session, options.basis)))
    return query


def _with_inks(session: Session, options: FindOptions) -> Any:
    recipes = recipes_with(session, options.ink, options.over)
    if options.paper is None:
        return recipes
    return select(Recipe.id).where(Recipe.id.in_(recipes), Recipe.id.in_(_on_paper(session, options.paper)))


def _on_paper(session: Session, text: str) -> Any:
    return select(Recipe.id).where(Recipe.paper_id.in_(paper_ids(session, text)))


def paper_ids(session: Session, text: str) -> list[int]:
    """Return the ids of the paper that the text names, or of all papers of a shade: "grey" for "warm grey" too.

    Raises
    ------
    NotFoundError
        No paper is called that, and none has that shade.
    """
    living = select(Paper).where(Paper.binned_at.is_(None)).order_by(Paper.id)
    named = list(session.scalars(living.where(Paper.name_key == fold(text))))
    if not named:
        words = set(fold(text).removesuffix(" paper").split())
        named = [paper for paper in session.scalars(living) if words and words <= set(fold(paper.shade).split())]
    return [paper.id for paper in named] or [find_record(session, "paper", text).id]


def _of_person(person: Person) -> Any:
    theirs = select(WorkPerson.work_id).where(WorkPerson.person_id == person.id)
    printed = (
        select(Variant.work_id)
        .join(Run, Run.variant_id == Variant.id)
        .where(Run.person_id == person.id, Run.binned_at.is_(None))
    )
    return or_(Work.id.in_(theirs), Work.id.in_(printed))


def _listed(session: Session, text: str) -> list[int]:
    """Return the ids of works listed by ref and by range: "QA-0010..QA-0039,QA-0044"."""
    keys: dict[str, int] = {}
    for ref, work_id in session.execute(select(Work.ref, Work.id).where(Work.binned_at.is_(None))):
        keys[sort_key(ref)] = work_id
    found: list[int] = []
    for part in text.split(","):
        first, dots, last = (each.strip() for each in part.partition(".."))
        ends = [find_record(session, "work", ref, where="--works") for ref in ([first, last] if dots else [first])]
        low, high = sort_key(ends[0].ref), sort_key(ends[-1].ref)
        if high < low:
            mend = "Write the lower first"
            raise InputError("the refs {text} run backwards", text=part.strip(), where="--works", mend=mend)
        found += [work_id for key, work_id in keys.items() if low <= key <= high]
    return found


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


def _made_like(session: Session, work: Work) -> Any:
    """Return the condition that a work is of the months that this one was printed in, or else dated to."""
    query = select(Run.printed_on).join(Variant, Variant.id == Run.variant_id)
    days = session.scalars(
        query.where(Variant.work_id == work.id, Run.binned_at.is_(None), Run.printed_on.is_not(None))
    )
    spans = {read_span(day[:7]) for day in days if day}
    if not spans and work.date_sort_earliest and work.date_sort_latest:
        first, last = work.date_sort_earliest, work.date_sort_latest
        end = monthrange(int(last[:4]), int(last[5:7]))[1]
        spans = {(f"{first[:7]}-01", f"{last[:7]}-{end:02d}")}
    if not spans:
        mend = f"Say when it was: inkchest work edit {work.ref} --date 'May 2019'"
        raise InputError("nobody knows when {ref} was made", ref=work.ref, where="--like", mend=mend)
    return and_(Work.id != work.id, or_(*(_made_in(*span) for span in sorted(spans))))


# --- trust


def _subjects(work_ids: set[int]) -> list[Any]:
    """Return, for a work and each kind of thing that belongs to one, the query of (table, row id, work id)."""
    copies = (
        select(Copy.id, Variant.work_id)
        .join(Appearance, Appearance.copy_id == Copy.id)
        .join(Variant, Variant.id == Appearance.variant_id)
        .where(Copy.binned_at.is_(None), Appearance.binned_at.is_(None))
    )
    runs = select(Run.id, Variant.work_id).join(Variant, Variant.id == Run.variant_id).where(Run.binned_at.is_(None))
    found = [
        ("work", select(Work.id, Work.id), Work.id),
        ("variant", select(Variant.id, Variant.work_id).where(Variant.binned_at.is_(None)), Variant.work_id),
        ("copy", copies, Variant.work_id),
        ("run", runs, Variant.work_id),
    ]
    # in the order of their ids, which is the first column of each
    return [
        (table, query.where(of.in_(work_ids)).order_by(query.selected_columns[0], of)) for table, query, of in found
    ]


def _claims(session: Session, work_ids: set[int], basis: str | None) -> dict[int, list[dict[str, Any]]]:
    """Return the standing claims on works and what belongs to them, by work, of one basis where it is asked."""
    query = (
        select(Claim, Person.name)
        .outerjoin(Person, Person.id == Claim.person_id)
        .where(Claim.is_standing, Claim.binned_at.is_(None))
        .order_by(Claim.id)
    )
    rows: dict[tuple[str, int], list[Any]] = defaultdict(list)
    for claim, by in session.execute(query if basis is None else query.where(Claim.basis == basis)):
        rows[claim.subject_table, claim.subject_id].append((claim, by))
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for table, owners in _subjects(work_ids):
        for row_id, work_id in dict.fromkeys(tuple(pair) for pair in session.execute(owners)):
            for claim, by in rows.get((table, row_id), ()):
                facts = {"about": table, "field": claim.field, "value": claim.value, "basis": claim.basis, "by": by}
                found[work_id].append(facts)
    return found


def _of_basis(session: Session, basis: str) -> list[int]:
    if basis not in BASES:
        raise InputError("{basis} is no basis", basis=basis, where="--basis", mend="Use " + ", ".join(BASES))
    every = set(session.scalars(select(Work.id).where(Work.binned_at.is_(None))))
    return list(_claims(session, every, basis))


# --- patches


def _patches(session: Session, options: FindOptions) -> dict[int, int]:
    """Return how many patches with the asked inks each work has; nothing where no ink is asked."""
    if not (options.ink or options.over):
        return {}
    run = aliased(Variant)
    query = (
        select(func.coalesce(Variant.work_id, run.work_id), func.count(Swatch.id))
        .select_from(Swatch)
        .outerjoin(Variant, Variant.id == Swatch.variant_id)
        .outerjoin(Run, Run.id == Swatch.run_id)
        .outerjoin(run, run.id == Run.variant_id)
        .where(Swatch.binned_at.is_(None), Swatch.recipe_id.in_(_with_inks(session, options)))
        .group_by(func.coalesce(Variant.work_id, run.work_id))
    )
    return {work_id: count for work_id, count in session.execute(query) if work_id is not None}


def _strips(session: Session, options: FindOptions) -> list[FoundWork]:
    """Return the sets of readings whose patches have one ink over the other and belong to no work."""
    query = (
        select(Swatch.set_id, Swatch.recipe_id)
        .where(Swatch.binned_at.is_(None), Swatch.variant_id.is_(None), Swatch.run_id.is_(None))
        .where(Swatch.recipe_id.in_(_with_inks(session, options)))
    )
    by_set: dict[int, list[int]] = defaultdict(list)
    for set_id, recipe_id in session.execute(query.order_by(Swatch.id)):
        if set_id is not None and recipe_id is not None:
            by_set[set_id].append(recipe_id)
    words = recipe_words(session, {each for ids in by_set.values() for each in ids})
    found = []
    for set_id, ids in by_set.items():
        file = session.get_one(ReadingsSet, set_id)
        inks = tuple(dict.fromkeys(words[each][1] for each in ids))
        papers = tuple(dict.fromkeys(paper for each in ids if (paper := words[each][0])))
        name = file.name or file.file_name
        found.append(FoundWork(file.id, file.uid, name, "", "strip", "", inks, papers, (), patches=len(ids)))
    return sorted(found, key=lambda each: sort_key(each.ref))
