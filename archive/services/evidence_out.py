"""Evidence for another workshop: how chosen colours were made and how they measured, and nothing else.

Persons, places, values, works, pictures and notes stay at home, and so does what other workshops gave us.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import today
from archive.catalogue.models import Ink, Layer, Measurement, Paper, Recipe, Run, Swatch
from archive.errors import CatalogueError, InputError, Notice
from archive.exchange.evidence_json import (
    Evidence,
    EvidenceInk,
    EvidenceLayer,
    EvidenceMeasurement,
    EvidencePaper,
    EvidenceRecipe,
    EvidenceSwatch,
    write_evidence,
)
from archive.exchange.readings import Spectrum
from archive.services.lookup import find_record
from archive.services.profile import read_profile

_READ_OFF_A_PATCH = ("instrument", "camera", "eye")  # a plain picture's colours are seen on a work, no measurement


@dataclass(frozen=True, slots=True)
class ExchangeReport:
    """How many of each kind went out, or came in (with a dry run: would), and how many were here already."""

    file: str
    workshop: str
    inks: int
    papers: int
    recipes: int
    swatches: int
    measurements: int
    known: int = 0
    left_out: int = 0
    notices: tuple[Notice, ...] = ()
    dry_run: bool = False

    def as_json(self) -> dict[str, Any]:
        """Return the report as JSON, notices in words."""
        names = ("file", "workshop", "inks", "papers", "recipes", "swatches", "measurements", "known", "left_out")
        notices = [{"code": item.code, "where": item.where, "what": str(item)} for item in self.notices]
        return {**{name: getattr(self, name) for name in names}, "notices": notices, "dry_run": self.dry_run}


def export_evidence(
    session: Session, path: Path, *, inks: Sequence[str] = (), papers: Sequence[str] = (), of_works: bool = False
) -> ExchangeReport:
    """Write our measured recipes of the chosen inks and papers to a file.

    Parameters
    ----------
    inks : sequence of str
        Recipes of these inks only, and bare paper; all when none is named.
    papers : sequence of str
        Recipes on these papers only; all when none is named.
    of_works : bool
        Also patches that were measured on a work; nothing of the work itself is written.

    Raises
    ------
    InputError
        Nothing was chosen or measured, or the workshop has no name yet.
    CatalogueError
        The file cannot be written.
    """
    if not inks and not papers:
        raise InputError("nothing is chosen", mend="Say --ink INK or --paper PAPER, again for each")
    workshop = str(read_profile(session)["workshop_name"])
    if not workshop:
        mend = "Give it one: `inkchest profile set workshop_name 'Lark Lane Press'`"
        raise InputError("the workshop has no name, so nobody would know whose evidence it is", mend=mend)
    chosen = _Chosen(session, inks, papers, of_works=of_works)
    evidence = chosen.evidence(workshop)
    if not evidence.swatches:
        mend = "Choose others, or bring readings in first"
        if chosen.left_out:
            mend = "Say --of-works to give the patches that were measured on works"
        raise InputError("no recipe of these was measured", mend=mend)
    try:
        path.write_text(write_evidence(evidence), encoding="utf-8", newline="\n")
    except OSError as exc:
        mend = "Choose another place"
        raise CatalogueError("cannot write the file: {why}", why=exc.strerror, where=str(path), mend=mend) from exc
    return ExchangeReport(
        path.name,
        workshop,
        len(evidence.inks),
        len(evidence.papers),
        len(evidence.recipes),
        len(evidence.swatches),
        sum(len(swatch.measurements) for swatch in evidence.swatches),
        left_out=chosen.left_out,
    )


class _Chosen:
    """What is ours, chosen and measured."""

    def __init__(self, session: Session, inks: Sequence[str], papers: Sequence[str], *, of_works: bool) -> None:
        self.session = session
        self.of_works = of_works
        self.left_out = 0
        self.inks = self._rows("ink", Ink, inks)
        self.papers = self._rows("paper", Paper, papers)

    def _rows(self, noun: str, model: Any, names: Sequence[str]) -> dict[int, Any]:
        """Return our rows by id: those named, else all."""
        if not names:
            ours = select(model).where(model.binned_at.is_(None), model.origin.is_(None))
            return {row.id: row for row in self.session.scalars(ours)}
        rows = [find_record(self.session, noun, name) for name in names]
        for row in rows:
            if row.origin is not None:
                mend = "Ask them for it"
                raise InputError(
                    "{name} is from {origin}, and not ours to give", name=row.name, origin=row.origin, mend=mend
                )
        return {row.id: row for row in rows}

    def evidence(self, workshop: str) -> Evidence:
        recipes, layers = self._recipes()
        swatches = self._swatches(recipes)
        used = {swatch.recipe for swatch in swatches}
        given = [recipe for recipe in recipes.values() if recipe.uid in used]
        ink_ids = {layer.ink_id for recipe in given for layer in layers[recipe.id]}
        paper_ids = {recipe.paper_id for recipe in given}
        return Evidence(
            workshop,
            today().isoformat(),
            tuple(_ink_out(self.inks[key]) for key in sorted(self.inks) if key in ink_ids),
            tuple(_paper_out(self.papers[key]) for key in sorted(self.papers) if key in paper_ids),
            tuple(self._recipe_out(recipe, layers[recipe.id]) for recipe in given),
            tuple(swatches),
        )

    def _recipes(self) -> tuple[dict[int, Recipe], dict[int, list[Layer]]]:
        layers: dict[int, list[Layer]] = defaultdict(list)
        for layer in self.session.scalars(select(Layer).order_by(Layer.recipe_id, Layer.position)):
            layers[layer.recipe_id].append(layer)
        ours = select(Recipe).where(
            Recipe.binned_at.is_(None),
            Recipe.origin.is_(None),
            Recipe.is_told.is_(False),
            Recipe.paper_id.in_(list(self.papers)),
        )
        found = {
            recipe.id: recipe
            for recipe in self.session.scalars(ours.order_by(Recipe.id))
            if all(layer.ink_id in self.inks and layer.tint_low for layer in layers[recipe.id])
        }
        return found, layers

    def _recipe_out(self, recipe: Recipe, layers: Sequence[Layer]) -> EvidenceRecipe:
        told = tuple(
            EvidenceLayer(self.inks[layer.ink_id or 0].uid, float(layer.tint_low or 0), layer.print_pass)
            for layer in layers
        )
        return EvidenceRecipe(recipe.uid, self.papers[recipe.paper_id or 0].uid, told, recipe.screen, recipe.lpi)

    def _swatches(self, recipes: dict[int, Recipe]) -> list[EvidenceSwatch]:
        readings: dict[int, list[Measurement]] = defaultdict(list)
        living = select(Measurement).where(Measurement.binned_at.is_(None), Measurement.origin.is_(None))
        for reading in self.session.scalars(living.order_by(Measurement.id)):
            if reading.method in _READ_OFF_A_PATCH:
                readings[reading.swatch_id].append(reading)
        ours = select(Swatch, Run).outerjoin(Run, Run.id == Swatch.run_id)
        ours = ours.where(Swatch.binned_at.is_(None), Swatch.origin.is_(None)).order_by(Swatch.id)
        found = []
        for swatch, run in self.session.execute(ours):
            if swatch.recipe_id not in recipes or not readings[swatch.id]:
                continue
            if not self.of_works and (swatch.variant_id is not None or swatch.picture_id is not None):
                self.left_out += 1
                continue
            found.append(_swatch_out(swatch, run, recipes[swatch.recipe_id], readings[swatch.id]))
        return found


def _ink_out(ink: Ink) -> EvidenceInk:
    return EvidenceInk(ink.uid, ink.name, ink.kind, ink.looks or None, ink.lightest_tint, ink.closing_tint)


def _paper_out(paper: Paper) -> EvidencePaper:
    return EvidencePaper(paper.uid, paper.name, paper.is_coloured, paper.shade or None, paper.gsm, paper.opacity)


def _swatch_out(swatch: Swatch, run: Run | None, recipe: Recipe, readings: Sequence[Measurement]) -> EvidenceSwatch:
    return EvidenceSwatch(
        swatch.uid,
        recipe.uid,
        swatch.out_of_range,
        tuple(_measurement_out(reading) for reading in readings),
        swatch.printed_on or (run.printed_on if run else None),
        run.density if run else None,
        run.speed if run else None,
    )


def _measurement_out(reading: Measurement) -> EvidenceMeasurement:
    spectrum = reading.spectrum
    return EvidenceMeasurement(
        reading.uid,
        (reading.lab_l, reading.lab_a, reading.lab_b),
        reading.lab_from,
        reading.method,
        reading.condition,
        tuple(reading.xyz) if reading.xyz else None,
        spectrum and Spectrum(spectrum["start_nm"], spectrum["step_nm"], tuple(spectrum["values"])),
        reading.backing or None,
        reading.instrument or None,
        reading.measured_on,
        reading.hours_after,
        reading.n,
        reading.spread,
        reading.colour_path or None,
    )
