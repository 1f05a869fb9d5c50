"""The answer to "how was this colour made": ranked matches with all that a printer needs to use one again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.files import Files
from archive.catalogue.identity import today
from archive.catalogue.models import (
    Copy,
    Filling,
    Machine,
    Paper,
    Picture,
    Place,
    Run,
    RunFilling,
    Swatch,
    Variant,
    Work,
)
from archive.colour.names import in_words, misses
from archive.errors import InputError
from archive.services.copies import first_copies
from archive.services.evidence import KINDS, Evidence, RecipeFacts
from archive.services.house import pass_planner
from archive.services.lookup import find_record
from archive.services.matching import Limits, MatchOptions, Ranked, why_here
from archive.services.profile import read_profile, start_value
from archive.services.search_index import Progress, open_known
from archive.services.wanted import Wanted, read_wanted


@dataclass(frozen=True, slots=True)
class Match:
    """One past print (or told ink) that answers; the names are those of the JSON contract."""

    rank: int
    evidence: str
    aged: bool
    delta_e_2000: float
    uncertainty: float
    reprint: float
    verdict: str
    why_here: str
    lab: tuple[float, float, float]
    in_words: str
    paper: str | None
    layers: tuple[dict[str, Any], ...]
    passes: int
    drum_changes: int
    settings: dict[str, Any] | None
    printable_now: bool
    loaded: bool
    why_not_now: str | None
    where_now: str | None
    work: dict[str, str] | None
    copy: str | None
    picture: str | None
    place: str | None
    swatch: str | None
    measured_on: str | None
    also: int
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What the archive knows of a wanted colour."""

    wanted: dict[str, Any]
    out_of_reach: dict[str, Any] | None
    left_out: tuple[dict[str, str], ...]
    matches: tuple[Match, ...]
    notes: tuple[str, ...] = field(default=())


def match_colour(
    session: Session,
    text: str,
    options: MatchOptions,
    *,
    absolute: bool = False,
    files: Files | None = None,
    progress: Progress | None = None,
    many: bool = False,
) -> Answer:
    """Return the past prints that hold a wanted colour, in the one order.

    Parameters
    ----------
    files : Files
        Where a large archive keeps its search index; without, every swatch is read.
    progress : callable
        Told how many of how many steps are done when an index is made, which takes a while.
    many : bool
        Many questions are to come in this process: a large archive is searched by compiled code from the first on.

    Raises
    ------
    InputError, NotFoundError
        The wanted colour, the paper or an ink cannot be read; an evidence word is unknown.
    """
    options = named_options(session, options)
    profile = read_profile(session)
    limits = Limits(*(float(profile[f"verdict_{word}"]) for word in ("same", "close", "related")))
    known = open_known(session, options.paper, limits, files, progress, many=many)
    wanted = read_wanted(session, text, known.evidence, absolute=absolute)
    evidence, ranked = known.ranked(session, wanted.lab, options, pass_planner(session))
    details = _Details(session, evidence, wanted, options)
    matches = tuple(details.match(rank, each) for rank, each in enumerate(ranked, start=1))
    notices = tuple(str(notice) for notice in known.notices)
    return Answer(
        {
            "lab": tuple(float(part) for part in wanted.lab),
            "given": wanted.given,
            "relative_to_paper": wanted.relative_to_paper,
            "paper": wanted.paper,
        },
        _out_of_reach(matches, wanted, limits, evidence),
        tuple({"what": what, "why": why} for what, why in evidence.left_out),
        matches,
        (*_notes(wanted, evidence), *_day_notes(profile, matches), *notices),
    )


def named_options(session: Session, options: MatchOptions) -> MatchOptions:
    """Return the options with every name as the archive writes it."""
    unknown = [kind for kind in options.evidence if kind not in KINDS]
    if unknown:
        raise InputError("{word} is no kind of evidence", word=unknown[0], mend="Use " + ", ".join(KINDS))
    paper = find_record(session, "paper", options.paper, where="--paper").name if options.paper else None
    inks = tuple(find_record(session, "ink", ink, where="--with").name for ink in options.with_inks)
    return MatchOptions(
        paper, options.passes, options.in_house, options.loaded, inks, options.evidence, options.by_delta, options.limit
    )


def _day_notes(profile: dict[str, Any], matches: Sequence[Match]) -> tuple[str, ...]:
    """Name the day part while it is the start value: a workshop's own runs teach a better one."""
    if not matches or profile["day_sd"] != start_value("day_sd"):
        return ()
    return ("what a new run may do: the day-to-day part is a start value (`inkchest profile set day_sd`)",)


def _notes(wanted: Wanted, evidence: Evidence) -> tuple[str, ...]:
    if not wanted.relative_to_paper:
        return ("read as an absolute colour",)
    if evidence.screen_white_is_measured:
        return (f"read relative to {wanted.paper}: its white is bare paper",)
    paper = wanted.paper or "paper"
    return (f"read relative to {paper}, whose white was never measured: the profile's start white stands in",)


def _out_of_reach(
    matches: Sequence[Match], wanted: Wanted, limits: Limits, evidence: Evidence
) -> dict[str, Any] | None:
    if not matches:
        return {
            "nearest_lab": None,
            "delta_e_2000": None,
            "misses": [],
            "what_next": what_next(evidence),
        }
    nearest = min(matches, key=lambda match: match.delta_e_2000)
    if nearest.delta_e_2000 <= limits.related:
        return None
    return {
        "nearest_lab": nearest.lab,
        "delta_e_2000": nearest.delta_e_2000,
        "misses": misses(wanted.relative(nearest.lab), wanted.relative(wanted.lab)),
        "what_next": "Ask for a colour nearer to the inks in the house, or print a strip of the nearest pair",
    }


def what_next(evidence: Evidence) -> str:
    """Return the one thing that would make an empty answer less empty."""
    if any(recipe.layers for recipe in evidence.recipes):
        return "Nothing fits these conditions: ask again with fewer of them"
    if any("no inks are told" in why for _, why in evidence.left_out):
        return 'Tell the inks of a print that has a photo: inkchest variant tell REF "blue over yellow"'
    return 'Enter one print: inkchest work add --inks "blue over yellow" --picture FILE'


class _Details:
    """Fetches what hangs on each match; a handful of matches, so a query for each fact is cheap enough."""

    def __init__(self, session: Session, evidence: Evidence, wanted: Wanted, options: MatchOptions) -> None:
        self.session = session
        self.evidence = evidence
        self.wanted = wanted
        self.options = options
        left = select(Paper.name, Paper.sheets_left).where(Paper.binned_at.is_(None))
        self.sheets = dict(session.execute(left).all())
        self.today: date = today()

    def match(self, rank: int, ranked: Ranked) -> Match:
        evidence = self.evidence
        recipe = evidence.recipes[evidence.recipe[ranked.row]]
        source = evidence.sources[ranked.row]
        swatch = self.session.get(Swatch, source.swatch_id) if source.swatch_id else None
        picture = self.session.get(Picture, source.picture_id) if source.picture_id else None
        run = self._run(swatch, recipe)
        variant_id = _variant_id(recipe, swatch, run)
        copy = self._copy(swatch, picture, variant_id)
        lab = tuple(float(part) for part in evidence.lab[ranked.row])
        relative = self.wanted.relative
        return Match(
            rank=rank,
            evidence=KINDS[evidence.kind[ranked.row]],
            aged=bool(evidence.aged[ranked.row]),
            delta_e_2000=ranked.delta_e,
            uncertainty=ranked.uncertainty,
            reprint=ranked.reprint,
            verdict=ranked.verdict,
            why_here=why_here(ranked, self.options, evidence),
            lab=(lab[0], lab[1], lab[2]),
            in_words=in_words(relative(evidence.lab[ranked.row]), relative(self.wanted.lab)),
            paper=recipe.paper,
            layers=_layers(recipe, ranked),
            passes=ranked.plan.count,
            drum_changes=ranked.plan.drum_changes,
            settings=self._settings(run),
            printable_now=ranked.plan.printable_now,
            loaded=ranked.plan.loaded,
            why_not_now=str(ranked.plan.why_not_now) if ranked.plan.why_not_now else None,
            where_now=copy.whereabouts if copy else None,
            work=self._work(variant_id),
            copy=copy.ref if copy else None,
            picture=picture.uid if picture else self._picture_uid(copy),
            place=self._place(copy),
            swatch=swatch.uid if swatch else None,
            measured_on=swatch.measured_on if swatch else None,
            also=ranked.also,
            notes=tuple(self._notes(ranked, recipe, swatch)),
        )

    def _run(self, swatch: Swatch | None, recipe: RecipeFacts) -> Run | None:
        if swatch is not None:
            return self.session.get(Run, swatch.run_id) if swatch.run_id else None
        if recipe.variant_id is None:
            return None
        query = select(Run).where(Run.variant_id == recipe.variant_id, Run.binned_at.is_(None))
        return self.session.scalars(query.order_by(Run.printed_on.desc(), Run.id.desc())).first()

    def _copy(self, swatch: Swatch | None, picture: Picture | None, variant_id: int | None) -> Copy | None:
        copy_id = (swatch and swatch.copy_id) or (picture and picture.copy_id)
        if not copy_id and variant_id:
            copy_id = first_copies(self.session, {variant_id}).get(variant_id)
        return self.session.get(Copy, copy_id) if copy_id else None

    def _settings(self, run: Run | None) -> dict[str, Any] | None:
        if run is None:
            return None
        machine = self.session.get(Machine, run.machine_id) if run.machine_id else None
        fillings = self.session.scalars(
            select(Filling.name)
            .join(RunFilling, RunFilling.filling_id == Filling.id)
            .where(RunFilling.run_id == run.id)
            .order_by(Filling.id)
        )
        return {
            "machine": machine.name if machine else None,
            "density": run.density,
            "speed": run.speed,
            "screen": run.screen,
            "fillings": list(fillings),
        }

    def _work(self, variant_id: int | None) -> dict[str, str] | None:
        if variant_id is None:
            return None
        query = select(Work).join(Variant, Variant.work_id == Work.id).where(Variant.id == variant_id)
        work = self.session.scalars(query).one()
        return {"ref": work.ref, "title": work.title}

    def _picture_uid(self, copy: Copy | None) -> str | None:
        if copy is None:
            return None
        query = select(Picture.uid).where(Picture.copy_id == copy.id, Picture.binned_at.is_(None))
        return self.session.scalars(query.order_by(Picture.id)).first()

    def _place(self, copy: Copy | None) -> str | None:
        if copy is None or copy.place_id is None:
            return None
        return self.session.get_one(Place, copy.place_id).path

    def _elsewhere(self, ranked: Ranked) -> str:
        origin, machine = self.evidence.origins[ranked.row], self.evidence.machines[ranked.row]
        whose = (
            f"proven at {origin}, on another machine" if origin else f"printed on {machine}, which cannot print it now"
        )
        return f"{whose}: a new run may differ by more, so print one patch before you trust it"

    def _notes(self, ranked: Ranked, recipe: RecipeFacts, swatch: Swatch | None) -> list[str]:
        notes = [str(notice) for notice in ranked.plan.notes]
        asked = self.options.paper
        if asked is not None and recipe.paper != asked:
            notes.append(f"other paper: {recipe.paper}" if recipe.paper else "paper unknown")
        if self.evidence.aged[ranked.row]:
            notes.append("aged: read a fresh patch before you trust it")
        if any(layer.kind == "fluorescent" for layer in recipe.layers):
            notes.append("fluorescent: fades; compare readings of the same condition only")
        if not recipe.order_known and len(recipe.layers) > 1:
            notes.append("order unknown")
        if ranked.is_elsewhere:
            notes.append(self._elsewhere(ranked))
        if swatch is not None and swatch.spread is None and swatch.method == "instrument":
            notes.append("sheet-to-sheet and day-to-day spread taken from the profile")
        if recipe.words and recipe.variant_id is not None:
            notes.append(f'told: "{recipe.words}"')
        paper = asked or recipe.paper
        if paper is not None and self.sheets.get(paper) == 0:
            notes.append(f"no {paper} is left")
        return notes


def _variant_id(recipe: RecipeFacts, swatch: Swatch | None, run: Run | None) -> int | None:
    if recipe.variant_id is not None:
        return recipe.variant_id
    if swatch is not None and swatch.variant_id is not None:
        return swatch.variant_id
    return run.variant_id if run is not None else None


def _layers(recipe: RecipeFacts, ranked: Ranked) -> tuple[dict[str, Any], ...]:
    """Return the layers of the contract; what was told keeps its range and its doubt."""
    planned = [number for number, each in enumerate(ranked.plan.passes, start=1) for _ in each.layers]
    shown = []
    for layer, plan_pass in zip(recipe.layers, planned, strict=True):
        is_exact = layer.tint_low is not None and layer.tint_low == layer.tint_high
        facts: dict[str, Any] = {
            "ink": layer.ink,
            "tint": layer.tint_low if is_exact else None,
            "pass": layer.print_pass or plan_pass,
        }
        if layer.tint_low is not None and not is_exact:
            facts["tint_range"] = [layer.tint_low, layer.tint_high]
        if not layer.is_sure or layer.kind == "unknown":
            facts["sure"] = False
        shown.append(facts)
    return tuple(shown)
