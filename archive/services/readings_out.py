"""Writing measured swatches out, in the formats that come in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import today
from archive.catalogue.models import Ink, Layer, Machine, Measurement, Paper, Recipe, Run, Swatch, Variant, Work
from archive.errors import CatalogueError, InputError
from archive.exchange.cgats import write_cgats
from archive.exchange.cxf_out import write_cxf
from archive.exchange.readings import ReadingRow, ReadLayer, Spectrum
from archive.exchange.readings_csv import write_readings_csv
from archive.services.lookup import find_record
from archive.services.recipe_words import recipes_with


def export_readings(
    session: Session, path: Path, form: str, *, paper: str | None = None, ink: str | None = None
) -> int:
    """Write every reading of the swatches chosen to a file, and return how many rows.

    Raises
    ------
    InputError
        Nothing was measured.
    CatalogueError
        The file cannot be written.
    """
    rows = reading_rows(session, paper=paper, ink=ink)
    if not rows:
        raise InputError("no measured swatch to write", mend="Bring readings in first, or ask with fewer conditions")
    data = _written(rows, form, path.stem)
    try:
        path.write_bytes(data)
    except OSError as exc:
        raise CatalogueError(
            "cannot write the file: {why}", why=exc.strerror, where=str(path), mend="Choose another place"
        ) from exc
    return len(rows)


def _written(rows: list[ReadingRow], form: str, descriptor: str) -> bytes:
    if form == "cxf":
        return write_cxf(rows, created=today().isoformat(), descriptor=descriptor)
    text = write_readings_csv(rows) if form == "csv" else write_cgats(rows, descriptor=descriptor)
    return text.encode()


def reading_rows(session: Session, *, paper: str | None = None, ink: str | None = None) -> list[ReadingRow]:
    """Return every reading of our own of the chosen swatches as plain rows, in the order they came."""
    layers = _layers(session)
    query = (
        select(Measurement, Swatch, Paper.name, Run, Machine.name, Work.ref, Recipe.screen)
        .join(Swatch, Swatch.id == Measurement.swatch_id)
        .join(Recipe, Recipe.id == Swatch.recipe_id)
        .join(Paper, Paper.id == Recipe.paper_id)
        .outerjoin(Run, Run.id == Swatch.run_id)
        .outerjoin(Machine, Machine.id == Run.machine_id)
        .outerjoin(Variant, Variant.id == Swatch.variant_id)
        .outerjoin(Work, Work.id == Variant.work_id)
        .where(Measurement.binned_at.is_(None), Swatch.binned_at.is_(None))
        .where(Measurement.origin.is_(None), Swatch.origin.is_(None))  # in again, another workshop's would be ours
        .where(Measurement.method.in_(("instrument", "camera", "eye")))
        .order_by(Measurement.id)
    )
    if paper is not None:
        query = query.where(Recipe.paper_id == find_record(session, "paper", paper).id)
    if ink is not None:
        query = query.where(Swatch.recipe_id.in_(recipes_with(session, ink, None)))
    return [_row(number, tuple(found), layers) for number, found in enumerate(session.execute(query), start=2)]


def _layers(session: Session) -> dict[int, list[ReadLayer]]:
    found: dict[int, list[ReadLayer]] = {}
    query = select(Layer, Ink.name).join(Ink, Ink.id == Layer.ink_id).order_by(Layer.recipe_id, Layer.position)
    for layer, name in session.execute(query):
        if layer.tint_low is not None:
            found.setdefault(layer.recipe_id, []).append(ReadLayer(name, layer.tint_low, layer.print_pass))
    return found


def _is_implicit(run: Run) -> bool:
    """Return whether a run says no more than machine, screen and day, as one that an import made for a machine does.

    Its row tells all of it, so that the file can be read by an archive that has no run of that ref.
    """
    told = (run.variant_id, run.recipe_id, run.density, run.speed, run.good, run.spoiled, run.waited_hours)
    return all(fact is None for fact in (*told, run.person_id))


def _row(line: int, found: tuple[Any, ...], layers: dict[int, list[ReadLayer]]) -> ReadingRow:
    measurement, swatch, paper, run, machine, work, screen = found
    spectrum = measurement.spectrum
    return ReadingRow(
        line=line,
        sample=swatch.sample or swatch.uid,
        paper=paper,
        layers=tuple(layers.get(swatch.recipe_id, ())),
        lab=(measurement.lab_l, measurement.lab_a, measurement.lab_b),
        xyz=tuple(measurement.xyz) if measurement.xyz else None,
        spectrum=spectrum and Spectrum(spectrum["start_nm"], spectrum["step_nm"], tuple(spectrum["values"])),
        work=work,
        run=run.ref if run and not _is_implicit(run) else None,
        machine=machine,
        screen=screen or (run.screen if run else None),
        condition=measurement.condition,
        backing=measurement.backing,
        instrument=measurement.instrument,
        measured_on=measurement.measured_on,
        printed_on=swatch.printed_on,
        hours_after=measurement.hours_after,
        n=measurement.n,
        spread=measurement.spread,
        note=measurement.note or None,
    )
