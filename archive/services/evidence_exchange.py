"""Another workshop's evidence: inks, papers, recipes and measurements that stay theirs.

What comes in stays theirs by its origin. Their inks and papers get names of their own (`Ferrywake (Lark Lane Press)`)
and are not in the house; their runs are of a machine that is not in the house either.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.history import Act
from archive.catalogue.identity import fold
from archive.catalogue.models import Ink, Layer, Machine, Measurement, Paper, Recipe, Run, Swatch
from archive.colour.wanted import parse_wanted
from archive.errors import ArchiveError, ConflictError, InputError, Notice
from archive.exchange.evidence_json import (
    Evidence,
    EvidenceInk,
    EvidenceMeasurement,
    EvidenceRecipe,
    EvidenceSwatch,
    read_evidence,
)
from archive.services.evidence_out import ExchangeReport
from archive.services.evidence_same import TheirRecipes, theirs_key
from archive.services.measuring import stand
from archive.services.profile import read_profile


def import_evidence(catalogue: Catalogue, path: Path, act: Act, *, dry_run: bool = False) -> ExchangeReport:
    """Bring another workshop's evidence in as one change that can be undone whole; again, it adds nothing.

    Raises
    ------
    InputError, ManyErrors
        The file is missing, or is no evidence as `archive.exchange.evidence_json` describes it.
    ConflictError
        It holds what is ours, or another workshop's.
    """
    try:
        data = path.read_bytes()
    except OSError as exc:
        mend = "Check its name"
        raise InputError("cannot read the file: {why}", why=exc.strerror, where=str(path), mend=mend) from exc
    evidence = read_evidence(data, path.name)
    if dry_run:
        with catalogue.read() as session:
            return _Incoming(session, evidence, path.name).report(dry_run=True)
    with catalogue.write(act) as session:
        incoming = _Incoming(session, evidence, path.name)
        incoming.write()
        return incoming.report()


class _Incoming:
    """One file of evidence against what is here already; a row in the bin comes back."""

    def __init__(self, session: Session, evidence: Evidence, name: str) -> None:
        self.session, self.evidence, self.name = session, evidence, name
        self.origin = evidence.workshop
        self.notices: list[Notice] = []
        self.inks = self._here(Ink, evidence.inks)
        self.papers = self._here(Paper, evidence.papers)
        self.recipes = self._here(Recipe, evidence.recipes)
        self.swatches = self._here(Swatch, evidence.swatches)
        self.measurements = self._here(Measurement, [each for s in evidence.swatches for each in s.measurements])
        self.counts = Counter[str]()
        self._count()
        self.looks = {ink.uid: self._looks(ink) for ink in evidence.inks}

    def _here(self, model: Any, given: Sequence[Any]) -> dict[str, Any]:
        """Return the rows that are here already by uid; refuse what is not theirs to give."""
        uids = {each.uid for each in given}
        found: dict[str, Any] = {}
        for uid, origin in self.session.execute(select(model.uid, model.origin)):
            if uid not in uids:
                continue
            if origin is None or fold(origin) != fold(self.origin):
                raise ConflictError(
                    "its {noun} {uid} is here already as {whose}",
                    noun=model.__tablename__,
                    uid=uid,
                    whose="our own" if origin is None else f"evidence of {origin}",
                    where=self.name,
                    mend="Bring in what other workshops made, under the name they gave it",
                )
            found[uid] = None
        if found:
            theirs = select(model).where(model.origin.is_not(None))
            found |= {row.uid: row for row in self.session.scalars(theirs) if row.uid in uids}
        return found

    def _count(self) -> None:
        readings = [each for swatch in self.evidence.swatches for each in swatch.measurements]
        parts: dict[str, tuple[Sequence[Any], dict[str, Any]]] = {
            "inks": (self.evidence.inks, self.inks),
            "papers": (self.evidence.papers, self.papers),
            "recipes": (self.evidence.recipes, self.recipes),
            "swatches": (self.evidence.swatches, self.swatches),
            "measurements": (readings, self.measurements),
        }
        for name, (given, here) in parts.items():
            living = sum(each.uid in here and here[each.uid].binned_at is None for each in given)
            self.counts[name] = len(given) - living
            self.counts["known"] += living

    def _looks(self, ink: EvidenceInk) -> str | None:
        """Return a colour by eye that can be read; words alone are told and left out."""
        if ink.looks is None:
            return None
        try:
            if ink.looks.startswith(("#", "lab:")):
                parse_wanted(ink.looks)
                return ink.looks
        except ArchiveError:
            pass
        template = "what {ink} looks like is told as {looks}, which is no colour here"
        self.notices.append(Notice("looks_not_read", template, {"ink": ink.name, "looks": ink.looks}, self.name))
        return None

    def report(self, *, dry_run: bool = False) -> ExchangeReport:
        names = ("inks", "papers", "recipes", "swatches", "measurements", "known")
        counts = {name: self.counts[name] for name in names}
        return ExchangeReport(self.name, self.origin, **counts, notices=tuple(self.notices), dry_run=dry_run)

    def write(self) -> None:
        """Write what is not here yet; what is here stays as it is."""
        if not any(self.counts[name] for name in ("inks", "papers", "recipes", "swatches", "measurements")):
            return
        for ink in self.evidence.inks:
            facts: dict[str, Any] = {"kind": ink.kind, "looks": self.looks[ink.uid], "in_house": False}
            facts |= {"lightest_tint": ink.lightest_tint, "closing_tint": ink.closing_tint}
            self._named(Ink, self.inks, ink, facts)
        for paper in self.evidence.papers:
            facts = {"shade": paper.shade or "", "gsm": paper.gsm, "opacity": paper.opacity}
            facts["is_coloured"] = paper.is_coloured
            self._named(Paper, self.papers, paper, facts)
        self.session.flush()
        for recipe in self.evidence.recipes:
            self._recipe(recipe)
        self.session.flush()
        runs = _TheirRuns(self.session, self.origin)
        for swatch in self.evidence.swatches:
            self._swatch(swatch, runs)
        self.session.flush()
        self._measurements()
        TheirRecipes(self.session).hang_swatches()

    def _named(self, model: Any, here: dict[str, Any], given: Any, facts: dict[str, Any]) -> None:
        """Add an ink or a paper under a name of its own, or take it out of the bin."""
        row = here.get(given.uid)
        if row is not None and row.binned_at is None:
            return
        taken = set(self.session.scalars(select(model.name_key).where(model.binned_at.is_(None))))
        stem = name = f"{given.name} ({self.origin})"
        number = 2
        while fold(name) in taken:
            name, number = f"{stem} {number}", number + 1
        if row is None:
            row = here[given.uid] = model(uid=given.uid, origin=self.origin, **facts)
            self.session.add(row)
        row.name, row.name_key, row.binned_at = name, fold(name), None
        self.session.flush()

    def _recipe(self, given: EvidenceRecipe) -> None:
        row = self.recipes.get(given.uid)
        if row is not None:
            row.binned_at = None
            return
        row = Recipe(uid=given.uid, key=theirs_key(given.uid), paper_id=self.papers[given.paper].id)
        row.screen, row.lpi, row.origin = given.screen, given.lpi, self.origin
        row.layers = [
            Layer(
                position=position,
                print_pass=layer.print_pass,
                ink_id=self.inks[layer.ink].id,
                tint_low=layer.tint,
                tint_high=layer.tint,
            )
            for position, layer in enumerate(given.layers, start=1)
        ]
        self.recipes[given.uid] = row
        self.session.add(row)

    def _swatch(self, given: EvidenceSwatch, runs: _TheirRuns) -> None:
        row = self.swatches.get(given.uid)
        if row is not None and row.binned_at is None:
            return
        recipe = self.recipes[given.recipe]
        run = runs.run(given, recipe.screen)
        if row is not None:  # what it hung on may lie in the bin still
            row.binned_at, row.recipe_id, row.run_id = None, recipe.id, run.id
            return
        note = f"printed {given.printed_on}" if given.printed_on and not _day(given.printed_on) else ""
        row = Swatch(
            uid=given.uid,
            recipe_id=recipe.id,
            run_id=run.id,
            printed_on=_day(given.printed_on),
            out_of_range=given.out_of_range,
            origin=self.origin,
            note=note,
        )
        self.swatches[given.uid] = row
        self.session.add(row)

    def _measurements(self) -> None:
        profile = read_profile(self.session)
        held: dict[int, list[Measurement]] = defaultdict(list)
        for here in self.session.scalars(select(Measurement).where(Measurement.origin.is_not(None))):
            held[here.swatch_id].append(here)
        for given in self.evidence.swatches:
            swatch = self.swatches[given.uid]
            for reading in given.measurements:
                row = self.measurements.get(reading.uid)
                if row is None:
                    row = _measurement_in(reading, swatch.id, self.origin)
                    self.session.add(row)
                    held[swatch.id].append(row)
                row.binned_at = None
        self.session.flush()
        for swatch in self.swatches.values():
            stand(swatch, [row for row in held[swatch.id] if row.binned_at is None], profile)
        self.session.flush()


class _TheirRuns:
    """Runs of their machine, one for each day and setting, so that what was set is not lost."""

    def __init__(self, session: Session, origin: str) -> None:
        self._session, self._origin = session, origin
        self._runs: dict[tuple[Any, ...], Run] = {}
        self._taken = set(session.scalars(select(Run.ref_key)))
        self._machine: Machine | None = None

    def run(self, given: EvidenceSwatch, screen: str | None) -> Run:
        """Return the run for what is told of a swatch."""
        key = (given.printed_on, given.density, given.speed, screen)
        if key not in self._runs:
            number = 1
            while fold(ref := f"{self._origin} {number}") in self._taken:
                number += 1
            self._taken.add(fold(ref))
            run = Run(ref=ref, ref_key=fold(ref), machine_id=self._their_machine().id, screen=screen)
            run.printed_on, run.density, run.speed = _day(given.printed_on), given.density, given.speed
            run.origin = self._origin
            self._session.add(run)
            self._session.flush()
            self._runs[key] = run
        return self._runs[key]

    def _their_machine(self) -> Machine:
        if self._machine is None:
            name = f"Machine of {self._origin}"
            living = select(Machine).where(Machine.name_key == fold(name), Machine.binned_at.is_(None))
            self._machine = self._session.scalars(living).first()
        if self._machine is None:
            self._machine = Machine(name=name, name_key=fold(name), in_house=False, note="not ours")
            self._session.add(self._machine)
            self._session.flush()
        return self._machine


def _day(text: str | None) -> str | None:
    """Return a whole date; of a month or a year alone no day is made."""
    return text if text is not None and len(text) == 10 else None


def _measurement_in(given: EvidenceMeasurement, swatch_id: int, origin: str) -> Measurement:
    spectrum = given.spectrum
    return Measurement(
        uid=given.uid,
        swatch_id=swatch_id,
        lab_l=given.lab[0],
        lab_a=given.lab[1],
        lab_b=given.lab[2],
        lab_from=given.lab_from,
        spectrum=spectrum
        and {"start_nm": spectrum.start_nm, "step_nm": spectrum.step_nm, "values": list(spectrum.values)},
        xyz=given.xyz and list(given.xyz),
        method=given.method,
        condition=given.condition,
        backing=given.backing,
        instrument=given.instrument,
        measured_on=_day(given.measured_on),
        hours_after=given.hours_after,
        n=given.n,
        spread=given.spread,
        colour_path=given.colour_path or "",
        note=f"measured {given.measured_on}" if given.measured_on and not _day(given.measured_on) else "",
        origin=origin,
    )
