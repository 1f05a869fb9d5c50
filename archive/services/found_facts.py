"""What is told of each work that was found: inks, papers, who printed it, files, copies, and whether it goes now."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold
from archive.catalogue.models import (
    Appearance,
    Copy,
    Ink,
    JobFile,
    Layer,
    Paper,
    Person,
    Place,
    Recipe,
    Run,
    Variant,
    Work,
    WorkPerson,
)
from archive.errors import InputError
from archive.planning.passes import PassPlanner
from archive.services.house import pass_planner
from archive.services.recipe_words import recipe_words


@dataclass(frozen=True, slots=True)
class ColourFit:
    """How a work holds a colour that was asked for: its nearest reading, and what it was printed with."""

    delta_e_2000: float
    verdict: str
    evidence: str
    recipe: str


@dataclass(frozen=True, slots=True)
class FoundWork:
    """A work that fits, with what answers the usual questions of it; a strip of patches has the kind "strip"."""

    id: int
    uid: str
    ref: str
    title: str
    kind: str
    date: str
    inks: tuple[str, ...]
    papers: tuple[str, ...]
    places: tuple[str, ...]
    makers: tuple[dict[str, Any], ...] = ()
    printed_by: tuple[dict[str, Any], ...] = ()
    files: tuple[dict[str, Any], ...] = ()
    copies: tuple[dict[str, Any], ...] = ()
    claims: tuple[dict[str, Any], ...] = ()
    patches: int = 0
    printable_now: bool | None = None
    passes: int | None = None
    why_not_now: str | None = None
    colour: ColourFit | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HouseAnswer:
    """Whether a work can be printed now; not known where no inks are told. `notes` tells of its other ink sets."""

    printable_now: bool | None
    passes: int | None = None
    why_not_now: str | None = None
    notes: tuple[str, ...] = ()


_NOTHING_TOLD = HouseAnswer(None, None, "no inks are told")


@dataclass(frozen=True, slots=True)
class Known:
    """What the question itself found of works, by their ids."""

    fits: Mapping[int, ColourFit]
    claims: Mapping[int, Sequence[dict[str, Any]]]
    patches: Mapping[int, int]


def found_works(session: Session, works: Sequence[Work], house: House, known: Known) -> list[FoundWork]:
    """Return works with their facts; names and layers are looked up once for all."""
    recipe_ids = {recipe_id for work in works for recipe_id in house.recipes_of(work.id)}
    words = recipe_words(session, recipe_ids)
    return [_found(session, work, house, known, words) for work in works]


def _found(
    session: Session, work: Work, house: House, known: Known, words: Mapping[int, tuple[str | None, str]]
) -> FoundWork:
    ids = house.recipes_of(work.id)
    papers = tuple(dict.fromkeys(paper for each in ids if (paper := words[each][0])))
    copies = _copies(session, work.id)
    answer = house.answer(work.id)
    return FoundWork(
        id=work.id,
        uid=work.uid,
        ref=work.ref,
        title=work.title,
        kind=work.kind,
        date=work.date_text,
        inks=tuple(words[each][1] for each in ids),
        papers=papers,
        places=tuple(sorted({copy["place"] for copy in copies if copy["place"]})),
        makers=_makers(session, work.id),
        printed_by=_printed_by(session, work.id),
        files=_files(session, work.id),
        copies=copies,
        claims=tuple(known.claims.get(work.id, ())),
        patches=known.patches.get(work.id, 0),
        printable_now=answer.printable_now,
        passes=answer.passes,
        why_not_now=answer.why_not_now,
        colour=known.fits.get(work.id),
        notes=(*answer.notes, *house.notes(papers)),
    )


def _copies(session: Session, work_id: int) -> tuple[dict[str, Any], ...]:
    query = (
        select(Copy.ref, Copy.role, Copy.edition, Place.path, Copy.whereabouts)
        .join(Appearance, Appearance.copy_id == Copy.id)
        .join(Variant, Variant.id == Appearance.variant_id)
        .outerjoin(Place, Place.id == Copy.place_id)
        .where(Variant.work_id == work_id, Copy.binned_at.is_(None), Appearance.binned_at.is_(None))
        .group_by(Copy.id, Place.path)
        .order_by(Copy.id)
    )
    names = ("ref", "role", "edition", "place", "whereabouts")
    return tuple(dict(zip(names, row, strict=True)) for row in session.execute(query))


def _makers(session: Session, work_id: int) -> tuple[dict[str, Any], ...]:
    query = (
        select(Person.name, WorkPerson.role)
        .join(WorkPerson, WorkPerson.person_id == Person.id)
        .where(WorkPerson.work_id == work_id)
        .order_by(Person.name_key, WorkPerson.role)
    )
    return tuple({"name": name, "role": role} for name, role in session.execute(query))


def _printed_by(session: Session, work_id: int) -> tuple[dict[str, Any], ...]:
    query = (
        select(Person.name, Run.printed_on, Run.ref)
        .join(Run, Run.person_id == Person.id)
        .join(Variant, Variant.id == Run.variant_id)
        .where(Variant.work_id == work_id, Run.binned_at.is_(None))
        .order_by(Run.id)
    )
    return tuple({"name": name, "on": day, "run": ref} for name, day, ref in session.execute(query))


def _files(session: Session, work_id: int) -> tuple[dict[str, Any], ...]:
    query = (
        select(JobFile.name, JobFile.lies_at)
        .join(Variant, Variant.id == JobFile.variant_id)
        .where(Variant.work_id == work_id, JobFile.binned_at.is_(None))
        .order_by(JobFile.id)
    )
    return tuple({"name": name, "lies_at": lies_at} for name, lies_at in session.execute(query))


class House:
    """What the house can print now of the works that are asked about; made for one question."""

    def __init__(self, session: Session) -> None:
        self._planner: PassPlanner = pass_planner(session)
        self._inks = {ink.id: ink.name for ink in session.scalars(select(Ink).where(Ink.binned_at.is_(None)))}
        self._names = {fold(name): name for name in self._inks.values()}
        left = select(Paper.name, Paper.sheets_left).where(Paper.binned_at.is_(None))
        self._sheets: dict[str, int | None] = dict(session.execute(left).all())
        self._recipes = _recipes_by_work(session)
        self._layers: dict[int, list[tuple[str, int | None, bool]]] = defaultdict(list)
        columns = (Layer.recipe_id, Layer.ink_id, Layer.ink_words, Layer.print_pass)
        for recipe_id, ink_id, said, number in session.execute(select(*columns).order_by(Layer.position)):
            name = self._inks.get(ink_id or 0) or self._names.get(fold(said))
            self._layers[recipe_id].append((name or said, number, name is not None))

    def recipes_of(self, work_id: int) -> list[int]:
        """Return the recipes of a work's variants, or of their runs where nothing was told."""
        return self._recipes.get(work_id, [])

    def answer(self, work_id: int) -> HouseAnswer:
        """Return whether any variant of a work can be printed now; else why the first cannot."""
        answers = [self._of_recipe(recipe_id) for recipe_id in self.recipes_of(work_id)]
        known = [each for each in answers if each.printable_now is not None]
        best = ([each for each in known if each.printable_now] or known or [_NOTHING_TOLD])[0]
        if not best.printable_now:
            return best
        others = [f"another of its ink sets is not: {each.why_not_now}" for each in known if not each.printable_now]
        return replace(best, notes=tuple(dict.fromkeys(others)))

    def _of_recipe(self, recipe_id: int) -> HouseAnswer:
        layers = self._layers.get(recipe_id)
        if not layers:
            return HouseAnswer(None)
        unknown = [name for name, _, is_known in layers if not is_known]
        if unknown:
            return HouseAnswer(False, None, f"no ink is called {unknown[0]}")
        try:
            plan = self._planner.plan([(name, number) for name, number, _ in layers])
        except InputError as error:
            return HouseAnswer(False, None, error.what)
        return HouseAnswer(plan.printable_now, plan.count, str(plan.why_not_now) if plan.why_not_now else None)

    def notes(self, papers: Sequence[str]) -> tuple[str, ...]:
        """Return what besides inks and machines stands in the way."""
        return tuple(f"no {paper} is left" for paper in papers if self._sheets.get(paper) == 0)


def _recipes_by_work(session: Session) -> dict[int, list[int]]:
    told = select(Variant.work_id, Variant.recipe_id).where(Variant.binned_at.is_(None))
    run = (
        select(Variant.work_id, Run.recipe_id)
        .join(Run, Run.variant_id == Variant.id)
        .where(Variant.binned_at.is_(None), Variant.recipe_id.is_(None), Run.binned_at.is_(None))
    )
    living = set(session.scalars(select(Recipe.id).where(Recipe.binned_at.is_(None))))
    found: dict[int, list[int]] = defaultdict(list)
    for query in (told.order_by(Variant.id), run.order_by(Run.id)):
        for work_id, recipe_id in session.execute(query):
            if recipe_id in living and recipe_id not in found[work_id]:
                found[work_id].append(recipe_id)
    return found
