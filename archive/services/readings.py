"""Bringing files of readings in: whole or not at all, and the same set only once."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue
from archive.catalogue.history import Act
from archive.catalogue.identity import fold
from archive.catalogue.models import (
    Ink,
    Machine,
    Measurement,
    Paper,
    ReadingsSet,
    Recipe,
    Run,
    Swatch,
    Variant,
    Work,
)
from archive.errors import ArchiveError, InputError, ManyErrors, Notice
from archive.exchange.cgats import is_cgats, read_cgats
from archive.exchange.cxf import is_cxf, read_cxf
from archive.exchange.readings import ReadingRow, ReadingsFile, apply_inks, default_passes
from archive.exchange.readings_csv import read_readings_csv
from archive.exchange.text import decode_text
from archive.services.copies import first_copies
from archive.services.kinds import kind_of
from archive.services.lookup import not_found
from archive.services.measuring import stand
from archive.services.profile import read_profile
from archive.services.readings_lab import Colour, row_colours
from archive.services.recipes import ExactLayer, RecipeBook


@dataclass(frozen=True, slots=True)
class ImportOptions:
    """How a readings file is to be understood."""

    paper: str | None = None
    inks: tuple[tuple[str, str], ...] = ()  # (device field, ink), in printing order
    passes: Mapping[str, int] = field(default_factory=dict)  # ink -> pass


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What an import made, or with a dry run would make."""

    file: str
    sets: tuple[str, ...]
    rows: int
    added: int
    known: int
    bare_paper: int
    new_recipes: int
    papers: tuple[str, ...]
    inks: tuple[str, ...]
    notices: tuple[Notice, ...]
    dry_run: bool

    def as_json(self) -> dict[str, Any]:
        """Return the report as JSON, notices in words."""
        notices = [{"code": item.code, "where": item.where, "what": str(item)} for item in self.notices]
        names = ("file", "sets", "rows", "added", "known", "bare_paper", "new_recipes", "papers", "inks", "dry_run")
        return {**{name: getattr(self, name) for name in names}, "notices": notices}


def read_readings_file(path: Path, *, tells_inks: bool = True) -> tuple[ReadingsFile, ...]:
    """Return the sets of readings in a CSV, CGATS or CxF3 file, judged by what is in it.

    Parameters
    ----------
    tells_inks : bool
        False where only the colours are wanted: a CSV then needs no columns of inks.

    Raises
    ------
    InputError
        The file is missing, no text, or wrong; every wrong row is told.
    """
    try:
        data = path.read_bytes()
    except OSError as exc:
        raise InputError(
            "cannot read the file: {why}", why=exc.strerror, where=str(path), mend="Check its name"
        ) from exc
    if is_cxf(data):
        return read_cxf(data, path.name)
    decoded = decode_text(data, path.name)
    if is_cgats(decoded.text):
        return read_cgats(decoded.text, path.name)
    return (read_readings_csv(decoded.text, path.name, tells_inks=tells_inks),)


def import_readings(
    catalogue: Catalogue, path: Path, options: ImportOptions, act: Act, *, dry_run: bool = False
) -> ImportReport:
    """Bring a file of readings in as one change that can be undone whole.

    Raises
    ------
    ManyErrors, InputError
        Something in the file is wrong; nothing was written.
    """
    files = read_readings_file(path)
    if dry_run:
        with catalogue.read() as session:
            return _Import(session, path.name, options).run(files, write=False)
    with catalogue.write(act) as session:
        return _Import(session, path.name, options).run(files, write=True)


def _with_inks(file: ReadingsFile, options: ImportOptions, drums_per_pass: int) -> ReadingsFile:
    """Return the file with layers for its device columns; refuse it while nothing tells what was printed."""
    if options.inks:
        typed = {fold(ink): ink for _, ink in options.inks}
        passes = {typed.get(fold(ink), ink): number for ink, number in options.passes.items()}
        return apply_inks(file, options.inks, passes, inks_per_pass=drums_per_pass)
    if options.passes:
        mend = "Say which column it is: --ink FIELD=INK"
        raise InputError("a pass is given for {ink}, and no ink", ink=next(iter(options.passes)), mend=mend)
    if not file.inks_known and not file.device_fields:
        mend = "Export it with its device values, or write what was printed as CSV: `inkchest readings import --help`"
        raise InputError("nothing in the file tells which inks were printed", where=file.name, mend=mend)
    if not file.inks_known:
        raise InputError(
            "the file's columns {fields} are no inks of this house",
            fields=", ".join(file.device_fields),
            where=file.name,
            mend="Say which ink each is, in printing order: --ink FIELD=INK",
        )
    return file


@dataclass(slots=True)
class _Told:
    """One fault that many rows share: told once, at its first row, with how many more there are."""

    error: Callable[[str], ArchiveError]
    where: str
    more: int = -1


class _Import:
    """One import: names looked up once, every fault collected, then all rows at once."""

    def __init__(self, session: Session, file_name: str, options: ImportOptions) -> None:
        self.session = session
        self.file_name = file_name
        self.options = options
        self.errors: list[ArchiveError] = []
        self.shared: dict[tuple[str, str], _Told] = {}
        self.profile = read_profile(session)
        self.inks = _ids(session, Ink, Ink.name_key)
        self.papers = _ids(session, Paper, Paper.name_key)
        self.machines = _ids(session, Machine, Machine.name_key)
        self.works = _ids(session, Work, Work.ref_key)
        self.runs = {run.ref_key: run for run in session.scalars(select(Run).where(Run.binned_at.is_(None)))}
        self.implicit_runs: dict[tuple[Any, ...], Run] = {}
        self.book = RecipeBook(session)

    def run(self, files: Sequence[ReadingsFile], *, write: bool) -> ImportReport:
        drums = int(self.profile["drums_per_pass"])
        files = [_with_inks(file, self.options, drums) for file in files]
        prepared = [(file, [self._prepare(file, row) for row in file.rows]) for file in files]
        self._raise_errors()
        colours = [self._colours(file) for file in files]
        self._raise_errors()
        counts = Counter[str]()
        for (file, rows), labs in zip(prepared, colours, strict=True):
            self._add_set(file, rows, labs, counts, write=write)
        if not write:
            counts["recipes"] = sum(1 for row in self.session.new if isinstance(row, Recipe))
            self.session.expunge_all()
        rows = [row for _, of_file in prepared for row in of_file]
        return self._report(files, rows, counts, write=write)

    def _report(
        self, files: Sequence[ReadingsFile], rows: Sequence[_Row], counts: Counter[str], *, write: bool
    ) -> ImportReport:
        names = {
            model: {key: name for name, key in _ids(self.session, model, model.name).items()} for model in (Ink, Paper)
        }
        return ImportReport(
            self.file_name,
            tuple(file.name for file in files),
            len(rows),
            counts["added"],
            counts["known"],
            counts["bare"],
            counts["recipes"],
            tuple(sorted({names[Paper][row.paper_id] for row in rows})),
            tuple(sorted({names[Ink][layer.ink_id] for row in rows for layer in row.layers})),
            tuple(notice for file in files for notice in file.notices),
            not write,
        )

    def _raise_errors(self) -> None:
        for told in self.shared.values():
            more = f" and {told.more} more rows" if told.more > 1 else " and 1 more row" if told.more else ""
            self.errors.append(told.error(told.where + more))
        if self.errors:
            raise ManyErrors(self.errors, where=self.file_name, mend="Mend them and import the file again")

    def _tell_once(self, key: tuple[str, str], where: str, error: Callable[[str], ArchiveError]) -> None:
        self.shared.setdefault(key, _Told(error, where)).more += 1

    def _stranger(self, noun: str, text: str, where: str) -> None:
        kind = kind_of(noun)
        self._tell_once((noun, fold(text)), where, lambda at: not_found(self.session, kind, text, where=at))

    def _colours(self, file: ReadingsFile) -> list[Colour | None]:
        colours, errors = row_colours(file, file.rows)
        self.errors += errors
        return colours

    def _prepare(self, file: ReadingsFile, row: ReadingRow) -> _Row:
        """Return the row with the ids that its names mean; an id of 0 has left an error behind."""
        paper_id = self._name("paper", row.paper or self.options.paper, self.papers, file, row)
        if paper_id is None and not (row.paper or self.options.paper):
            mend = "Name it for the whole file: --paper NAME"
            where = _where(file, row, "paper")
            self._tell_once(("paper", ""), where, lambda at: InputError("no paper is named", where=at, mend=mend))
        machine_id = self._name("machine", row.machine, self.machines, file, row)
        work_id = self._name("work", row.work, self.works, file, row)
        run = self.runs.get(fold(row.run)) if row.run else None
        if row.run and run is None:
            self._stranger("run", row.run, _where(file, row, "run"))
        if row.lab is None and row.xyz is None and row.spectrum is None:
            self.errors.append(
                InputError("nothing was measured", where=_where(file, row, "lab_l"), mend="Give Lab, XYZ or a spectrum")
            )
        return _Row(row, paper_id or 0, self._layers(file, row), machine_id, work_id, run)

    def _name(
        self, noun: str, text: str | None, ids: dict[str, int], file: ReadingsFile, row: ReadingRow
    ) -> int | None:
        found = ids.get(fold(text)) if text else None
        if text and found is None:
            self._stranger(noun, text, _where(file, row, noun))
        return found

    def _layers(self, file: ReadingsFile, row: ReadingRow) -> tuple[ExactLayer, ...]:
        layers = []
        try:
            told = default_passes(row.layers, int(self.profile["drums_per_pass"]))
        except InputError as error:
            self.errors.append(
                InputError(error.template, where=_where(file, row, "pass"), mend=error.mend, **error.values)
            )
            return ()
        for number, layer in enumerate(told, start=1):
            ink_id = self.inks.get(fold(layer.ink))
            if ink_id is None:
                self._stranger("ink", layer.ink, _where(file, row, f"ink_{number}"))
                continue
            layers.append(ExactLayer(ink_id, layer.tint, layer.print_pass or 1))
        return tuple(layers)

    def _add_set(
        self,
        file: ReadingsFile,
        rows: Sequence[_Row],
        colours: Sequence[Colour | None],
        counts: Counter[str],
        *,
        write: bool,
    ) -> None:
        known = self._known_fingerprints(file.name)
        seen: Counter[str] = Counter()
        fresh: list[_Fresh] = []
        for row, colour in zip(rows, colours, strict=True):
            stem = _fingerprint(file.name, row)
            seen[stem] += 1
            fingerprint = f"{stem}:{seen[stem]}"
            if fingerprint in known:
                counts["known"] += 1
            elif colour is not None:
                fresh.append(_Fresh(row, fingerprint, colour, self._recipe(row)))
        counts["added"] += len(fresh)
        counts["bare"] += sum(1 for each in fresh if not each.row.layers)
        if fresh and write:
            counts["recipes"] += len({id(each.recipe) for each in fresh if each.recipe.id is None})
            self._write(file, fresh)

    def _recipe(self, row: _Row) -> Recipe:
        screen = row.source.screen or (row.run.screen if row.run else None)
        return self.book.exact(row.paper_id, row.layers, screen)

    def _known_fingerprints(self, name: str) -> set[str]:
        query = (
            select(Swatch.fingerprint)
            .join(ReadingsSet, ReadingsSet.id == Swatch.set_id)
            .where(ReadingsSet.name_key == fold(name), Swatch.binned_at.is_(None))
        )
        return {fingerprint for fingerprint in self.session.scalars(query) if fingerprint}

    def _write(self, file: ReadingsFile, fresh: Sequence[_Fresh]) -> None:
        readings_set = ReadingsSet(
            name=file.name,
            name_key=fold(file.name),
            kind=file.kind,
            file_name=self.file_name,
            header=[list(pair) for pair in file.header],
        )
        runs = [self._run_of(each.row) for each in fresh]
        self.session.add(readings_set)
        self.session.flush()
        swatches = [_swatch(each, readings_set.id, run) for each, run in zip(fresh, runs, strict=True)]
        _link_to_works(self.session, swatches, [each.row for each in fresh])
        self.session.add_all(swatches)
        self.session.flush()
        measurements = [
            _measurement(each.row.source, swatch.id, each.colour) for each, swatch in zip(fresh, swatches, strict=True)
        ]
        self.session.add_all(measurements)
        self.session.flush()
        for swatch, measurement in zip(swatches, measurements, strict=True):
            stand(swatch, [measurement], self.profile)
        self.session.flush()

    def _run_of(self, row: _Row) -> Run | None:
        """Return the row's run; a machine named without a run makes one that keeps machine, screen and day."""
        if row.run is not None or row.machine_id is None:
            return row.run
        key = (row.machine_id, row.source.screen, row.source.printed_on)
        if key not in self.implicit_runs:
            number = len(self.runs) + len(self.implicit_runs) + 1
            while fold(f"R-{number}") in self.runs:
                number += 1
            run = Run(
                ref=f"R-{number}",
                ref_key=fold(f"R-{number}"),
                machine_id=row.machine_id,
                screen=row.source.screen,
                printed_on=row.source.printed_on,
                note=f"from {self.file_name}",
            )
            self.session.add(run)
            self.session.flush()
            self.implicit_runs[key] = run
            self.runs[run.ref_key] = run
        return self.implicit_runs[key]


@dataclass(frozen=True, slots=True)
class _Row:
    source: ReadingRow
    paper_id: int
    layers: tuple[ExactLayer, ...]
    machine_id: int | None
    work_id: int | None
    run: Run | None


@dataclass(frozen=True, slots=True)
class _Fresh:
    """A row that is not in the archive yet, with all that is written for it."""

    row: _Row
    fingerprint: str
    colour: Colour
    recipe: Recipe


def _ids(session: Session, model: Any, key: Any) -> dict[str, int]:
    return dict(session.execute(select(key, model.id).where(model.binned_at.is_(None))).all())


def _where(file: ReadingsFile, row: ReadingRow, column: str) -> str:
    return f"{file.name}, line {row.line}, {column}"


def _fingerprint(set_name: str, row: _Row) -> str:
    source = row.source
    values = (
        fold(set_name),
        source.sample,
        row.paper_id,
        [(layer.ink_id, layer.tint, layer.print_pass) for layer in row.layers],
        source.lab,
        source.xyz,
        source.spectrum and source.spectrum.values,
        source.condition,
        source.measured_on,
    )
    return hashlib.sha256(repr(values).encode()).hexdigest()[:32]


def _swatch(fresh: _Fresh, set_id: int, run: Run | None) -> Swatch:
    source = fresh.row.source
    return Swatch(
        recipe_id=fresh.recipe.id,
        set_id=set_id,
        sample=source.sample,
        fingerprint=fresh.fingerprint,
        run_id=run.id if run else None,
        variant_id=run.variant_id if run else None,
        printed_on=source.printed_on or (run.printed_on if run else None),
        note="",
    )


def _measurement(row: ReadingRow, swatch_id: int, colour: Colour) -> Measurement:
    lab_l, lab_a, lab_b = colour.lab
    spectrum = row.spectrum
    return Measurement(
        swatch_id=swatch_id,
        lab_l=lab_l,
        lab_a=lab_a,
        lab_b=lab_b,
        lab_from=colour.lab_from,
        spectrum=spectrum
        and {"start_nm": spectrum.start_nm, "step_nm": spectrum.step_nm, "values": list(spectrum.values)},
        xyz=row.xyz and list(row.xyz),
        method={"camera": "camera", "eye": "eye"}.get(row.condition or "", "instrument"),
        condition=row.condition,
        backing=row.backing,
        instrument=row.instrument,
        measured_on=row.measured_on,
        hours_after=row.hours_after,
        n=row.n,
        spread=row.spread,
        note=row.note or "",
        colour_path=colour.path,
    )


def _link_to_works(session: Session, swatches: Sequence[Swatch], rows: Sequence[_Row]) -> None:
    """Tie swatches to the variant and the first copy of the work that their row names."""
    work_ids = {row.work_id for row in rows if row.work_id is not None}
    variants: dict[int, int] = {}
    for variant in session.scalars(
        select(Variant).where(Variant.work_id.in_(work_ids), Variant.binned_at.is_(None)).order_by(Variant.id.desc())
    ):
        variants[variant.work_id] = variant.id
    for swatch, row in zip(swatches, rows, strict=True):
        if swatch.variant_id is None and row.work_id is not None:
            swatch.variant_id = variants.get(row.work_id)
    copies = first_copies(session, {swatch.variant_id for swatch in swatches if swatch.variant_id is not None})
    for swatch in swatches:
        if swatch.variant_id is not None:
            swatch.copy_id = copies.get(swatch.variant_id)
