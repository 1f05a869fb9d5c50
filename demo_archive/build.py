"""Fill an archive with the invented workshop, through the same services that a person's commands call."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from itertools import combinations
from pathlib import Path
from statistics import median
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.database import Catalogue, start_archive
from archive.catalogue.history import Act
from archive.catalogue.models import Copy, Run, Variant
from archive.services.claims import Saying, add_claim
from archive.services.counts import count_records
from archive.services.lookup import find_record
from archive.services.pictures import add_pictures
from archive.services.profile import set_profile
from archive.services.readings import ImportOptions, import_readings
from archive.services.recipes import tell_recipe
from archive.services.records import add_record
from archive.services.told import Told, ToldLayer
from archive.services.works import tell_variant
from demo_archive import values
from demo_archive.pictures import write_pictures
from demo_archive.scenario import first_evening as first_evening_scenario
from demo_archive.scenario import scenario as whole_scenario
from demo_archive.swatches import readings_csv

Progress = Callable[[str], Callable[[int, int], None]]
_BY = "Quay Attic Printroom"
_STRIPS = "QA-STRIPS"
_PLACE_KINDS = {"plan chest": "chest"}


def build(folder: Path, *, first_evening: bool = False, progress: Progress | None = None) -> dict[str, int]:
    """Make the demo archive in a new folder and return how many records of each kind it holds."""
    scenario = first_evening_scenario() if first_evening else whole_scenario()
    catalogue = start_archive(folder)
    with catalogue.write(Act(_BY, "enter the house")) as session:
        _enter_house(session, scenario)
    with catalogue.write(Act(_BY, "enter the works", "import")) as session:
        _enter_works(session, scenario)
    if scenario.swatches:
        _import_readings(catalogue, scenario)
    _add_pictures(catalogue, scenario, progress)
    with catalogue.read() as session:
        counts = count_records(session)
    catalogue.close()
    return counts


def _enter_house(session: Session, scenario: values.Scenario) -> None:
    set_profile(session, "workshop_name", scenario.workshop)
    set_profile(session, "ref_prefix", "QA-")
    spread = spread_between_runs(scenario)
    if spread is not None:
        set_profile(session, "day_sd", f"{spread:.1f}")
    for machine in scenario.machines:
        add_record(session, "machine", machine.name, {"drums": machine.positions, "note": machine.note})
    for ink in scenario.inks:
        facts: dict[str, Any] = {"kind": ink.kind, "in-house": ink.in_house, "note": ink.shade}
        if scenario.is_first_evening:  # a house with measured solids needs no colour by eye
            facts["looks"] = ink.by_eye
        add_record(session, "ink", ink.name, facts)
    for paper in scenario.papers:
        add_record(
            session,
            "paper",
            paper.name,
            {
                "shade": paper.shade,
                "gsm": paper.gsm,
                "lot": paper.lot,
                "coloured": paper.coloured,
                "sheets-left": paper.sheets_left,
            },
        )
    for person in scenario.people:
        add_record(session, "person", person.name, {"note": person.role})
    _enter_places(session, scenario)
    for drum in scenario.drums:
        _enter_drum(session, drum)
    for filling in scenario.fillings:
        _enter_filling(session, filling)


def spread_between_runs(scenario: values.Scenario) -> float | None:
    """Return what the workshop's own runs teach of the day: how far one recipe lies apart from run to run.

    Standard deviation a Lab axis of the difference between two runs on one machine at the same settings; from the
    median, so that a worn master or a faded sheet does not decide. None without such runs.
    """
    runs = {run.id: run for work in scenario.works for variant in work.variants for run in variant.runs}
    runs |= {strip.run.id: strip.run for strip in scenario.strips}
    readings: dict[tuple[object, ...], dict[str, values.Swatch]] = {}
    for swatch in scenario.swatches:
        if swatch.layers:
            run = runs[swatch.run]
            key = (swatch.paper, swatch.layers, run.machine, run.density, run.speed, run.screen)
            readings.setdefault(key, {}).setdefault(swatch.run, swatch)
    squares = [
        sum((one - other) ** 2 for one, other in zip(first.lab, second.lab, strict=True)) / 3
        for of_recipe in readings.values()
        for first, second in combinations(of_recipe.values(), 2)
    ]
    return median(squares) ** 0.5 if squares else None


def _enter_places(session: Session, scenario: values.Scenario) -> None:
    paths: dict[str, str] = {}
    for place in scenario.places:
        name = place.name.split(" / ")[-1]
        facts: dict[str, Any] = {"kind": _PLACE_KINDS.get(place.kind, place.kind)}
        if place.inside is not None:
            facts["in"] = paths[place.inside]
        if place.state is not None:
            facts["state"] = place.state
        paths[place.name] = add_record(session, "place", name, facts).label


def _enter_drum(session: Session, drum: values.Drum) -> None:
    facts: dict[str, Any] = {"fits": drum.fits, "state": drum.state}
    if drum.ink is not None:
        facts["ink"] = drum.ink
    if drum.machine is not None:
        facts |= {"machine": drum.machine, "position": drum.position}
    add_record(session, "drum", str(drum.number), facts)


def _enter_filling(session: Session, filling: values.Filling) -> None:
    facts: dict[str, Any] = {"drum": str(filling.drum), "ink": filling.ink, "since": filling.since}
    if filling.batch:
        facts["batch"] = filling.batch
    if filling.mix:
        facts["mix"] = [f"{ink}={parts:g}" for ink, parts in filling.mix]
    if filling.by:
        facts["person"] = filling.by
    add_record(session, "filling", filling.id, facts)


def _enter_works(session: Session, scenario: values.Scenario) -> None:
    places = {place.name: place for place in scenario.places}
    for work in scenario.works:
        _enter_work(session, work)
        for variant in work.variants:
            _enter_variant(session, work, variant)
    for work in scenario.works:  # copies last: a make-ready sheet carries the jobs of several works
        for copy in work.copies:
            _enter_copy(session, copy, places)
    if scenario.strips:
        add_record(session, "work", _STRIPS, {"title": "Test strips", "kind": "test"})
    for strip in scenario.strips:
        _enter_strip(session, strip, places)
    for work in scenario.works:
        for claim in work.claims:
            add_claim(session, "work", work.ref, Saying(claim.fact, claim.says, claim.how, claim.by, claim.when))


def _enter_work(session: Session, work: values.Work) -> None:
    facts: dict[str, Any] = {
        "title": work.title,
        "title-kind": work.title_kind,
        "kind": work.kind,
        "date": work.date,
        "maker": [f"{name}={role}" for name, role in work.makers],
        "note": work.story,
    }
    add_record(session, "work", work.ref, facts)


def _enter_variant(session: Session, work: values.Work, variant: values.Variant) -> None:
    facts = {"work": work.ref, "name": variant.name}
    row = session.get_one(Variant, add_record(session, "variant", variant.ref, facts).id)
    paper_id = find_record(session, "paper", variant.paper).id if variant.paper else None
    if work.told is not None:
        layers = tuple(
            ToldLayer(ink, work.told.is_sure, tint, tint)
            for ink, tint in zip(work.told.inks, work.told.tints, strict=True)
        )
        tell_variant(session, row, Told(layers, True, work.told.words), paper_id, said_by=work.told.by)
    elif variant.layers:
        layers = tuple(ToldLayer(layer.ink, True, layer.tint, layer.tint) for layer in variant.layers)
        passes = [layer.print_pass for layer in variant.layers]
        row.recipe_id = tell_recipe(session, Told(layers, True, ""), paper_id, passes=passes).id
    for run in variant.runs:
        _enter_run(session, run, variant.ref)
    session.flush()


def _enter_run(session: Session, run: values.Run, variant_ref: str) -> None:
    facts: dict[str, Any] = {
        "variant": variant_ref,
        "printed-on": run.date,
        "machine": run.machine,
        "density": run.density,
        "speed": run.speed,
        "screen": run.screen,
        "good": run.length,
        "spoiled": run.spoiled,
        "filling": list(dict.fromkeys(run.fillings)),
        "person": run.by,
    }
    record = add_record(session, "run", run.id, facts)
    session.get_one(Run, record.id).recipe_id = find_record(session, "variant", variant_ref).recipe_id


def _enter_copy(session: Session, copy: values.Copy, places: dict[str, values.Place]) -> None:
    facts: dict[str, Any] = {"edition": copy.edition, "whereabouts": copy.whereabouts}
    if copy.role:
        facts["role"] = copy.role
    if copy.place:
        facts["place"] = _path_of(copy.place, places)
    add_record(session, "copy", copy.ref, facts)
    seen: set[tuple[str, str, str, values.Region]] = set()
    for appearance in copy.appearances:
        key = (appearance.variant, appearance.role, appearance.label, appearance.region)
        if key in seen:
            continue
        seen.add(key)
        details: dict[str, Any] = {"copy": copy.ref, "variant": appearance.variant, "role": appearance.role}
        if appearance.label:
            details["page"] = appearance.label
        if appearance.region != (0.0, 0.0, 1.0, 1.0):
            details["region"] = ",".join(f"{part * 100:.4f}" for part in appearance.region)
        add_record(session, "appearance", None, details)


def _path_of(name: str, places: dict[str, values.Place]) -> str:
    """Return a place's whole path from the name that the scenario calls it by."""
    place = places[name]
    own = place.name.split(" / ")[-1]
    return own if place.inside is None else f"{_path_of(place.inside, places)} / {own}"


def _enter_strip(session: Session, strip: values.Strip, places: dict[str, values.Place]) -> None:
    """Enter a strip as a variant of the one work that all strips are, so that its patches lead to a drawer too."""
    add_record(session, "variant", strip.id, {"work": _STRIPS, "name": strip.title})
    _enter_run(session, strip.run, strip.id)
    facts = {"of": strip.id, "as": "test", "role": "reference", "place": _path_of(strip.place, places)}
    add_record(session, "copy", f"{strip.id}/1", facts)


def _import_readings(catalogue: Catalogue, scenario: values.Scenario) -> None:
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "quay-attic-readings.csv"
        path.write_text(readings_csv(scenario), encoding="utf-8")
        import_readings(catalogue, path, ImportOptions(), Act(_BY, "import the readings", "import"))


def _add_pictures(catalogue: Catalogue, scenario: values.Scenario, progress: Progress | None) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        written = write_pictures(scenario, folder, progress("Printing pictures") if progress else None)
        with catalogue.read() as session:
            ids: dict[str, int] = dict(session.execute(select(Copy.ref, Copy.id)).all())
        copies = {picture.file: ids[picture.copy] for picture in written}
        add_pictures(
            catalogue,
            [folder / picture.file for picture in written],
            Act(_BY, "add the pictures", "import"),
            target=lambda _session, path: (copies[path.name], None),
            progress=progress("Reading pictures") if progress else None,
        )
