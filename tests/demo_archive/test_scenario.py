"""The invented workshop holds together: every name is known, every run possible, every reading in its place."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from demo_archive.designs import draw_sheet
from demo_archive.pictures import work_colours
from demo_archive.scenario import MAKE_READY, entries, first_evening, scenario
from demo_archive.swatches import readings_csv
from demo_archive.values import Run, Scenario, Work

WHOLE = scenario()
EVENING = first_evening()
HEADER = (
    "sample,paper,ink_1,tint_1,pass_1,ink_2,tint_2,pass_2,ink_3,tint_3,pass_3,lab_l,lab_a,lab_b,work,run,machine,"
    "screen,condition,backing,instrument,measured_on,printed_on,hours_after,n,spread,note"
)


def _runs(workshop: Scenario) -> list[Run]:
    own = [run for work in workshop.works for variant in work.variants for run in variant.runs]
    return own + [strip.run for strip in workshop.strips]


def _work(title: str) -> Work:
    return next(work for work in WHOLE.works if work.title == title)


def test_the_same_seed_gives_the_same_workshop_and_another_seed_another() -> None:
    assert scenario() == WHOLE
    assert scenario(7).works != WHOLE.works


def test_it_is_as_large_as_the_demo_promises() -> None:
    assert len(WHOLE.works) == 60
    assert 11 <= len(WHOLE.inks) <= 12
    assert sum(not ink.in_house for ink in WHOLE.inks) >= 2
    assert (len(WHOLE.machines), len(WHOLE.papers)) == (3, 4)
    assert sum(paper.coloured for paper in WHOLE.papers) == 1
    assert 145 <= len(WHOLE.pictures) <= 155
    assert 1900 <= len(WHOLE.swatches) <= 2200
    assert {ink.kind for ink in WHOLE.inks} == {"transparent", "opaque", "fluorescent", "metallic"}
    assert Counter(work.kind for work in WHOLE.works).keys() == {"poster", "zine", "book", "test"}
    assert len({entry.design for entry in entries()}) >= 8


def test_names_and_references_are_unique() -> None:
    for names in (
        [ink.name for ink in WHOLE.inks],
        [paper.name for paper in WHOLE.papers],
        [place.name for place in WHOLE.places],
        [person.name for person in WHOLE.people],
        [drum.number for drum in WHOLE.drums],
        [filling.id for filling in WHOLE.fillings],
        [work.ref for work in WHOLE.works],
        [work.title for work in WHOLE.works],
        [variant.ref for work in WHOLE.works for variant in work.variants],
        [copy.ref for work in WHOLE.works for copy in work.copies],
        [run.id for run in _runs(WHOLE)],
        [picture.file for picture in WHOLE.pictures],
        [swatch.sample for swatch in WHOLE.swatches],
    ):
        assert len(set(names)) == len(names)


def test_every_name_that_is_used_is_known() -> None:
    inks, papers = {ink.name for ink in WHOLE.inks}, {paper.name for paper in WHOLE.papers}
    people, places = {person.name for person in WHOLE.people}, {place.name for place in WHOLE.places}
    for work in WHOLE.works:
        refs = {variant.ref for variant in work.variants}
        assert {name for name, _ in work.makers} <= people
        assert {claim.by for claim in work.claims} <= people
        assert {copy.place for copy in work.copies} <= places
        assert {copy.variant for copy in work.copies} <= refs
        for variant in work.variants:
            assert variant.paper in papers
            assert {layer.ink for layer in variant.layers} <= inks
            assert {run.by for run in variant.runs} <= people
    known: set[str] = set()
    for place in WHOLE.places:  # parents come first
        assert place.inside is None or place.inside in known
        known.add(place.name)


def test_each_run_could_have_been_printed() -> None:
    machines = {machine.name: machine for machine in WHOLE.machines}
    drums = {drum.number: drum for drum in WHOLE.drums}
    fillings = {filling.id: filling for filling in WHOLE.fillings}
    for run in _runs(WHOLE):
        assert machines[run.machine].since <= run.date
        assert 1 <= run.density <= 5
        assert 1 <= run.speed <= 5
        for filling in (fillings[name] for name in run.fillings):
            assert filling.since <= run.date
            assert run.machine in drums[filling.drum].fits
    for work in WHOLE.works:
        for variant in work.variants:
            per_pass = Counter(layer.print_pass for layer in variant.layers)
            assert max(per_pass.values()) <= 2
            for run in variant.runs:
                assert [fillings[name].ink for name in run.fillings] == [layer.ink for layer in variant.layers]


def test_no_ink_is_printed_before_it_came_or_after_it_went() -> None:
    years = {ink.name: (ink.since, ink.until or "9999") for ink in WHOLE.inks}
    for work in WHOLE.works:
        for variant in work.variants:
            for run, layer in ((run, layer) for run in variant.runs for layer in variant.layers):
                since, until = years[layer.ink]
                assert since <= run.date[:4] <= until, (work.title, layer.ink)


def test_two_drums_are_loaded_on_each_machine_and_some_pairs_fit_none() -> None:
    loaded = Counter((drum.machine, drum.position) for drum in WHOLE.drums if drum.state == "loaded")
    assert loaded == {(machine.name, position): 1 for machine in WHOLE.machines for position in (1, 2)}
    for drum in WHOLE.drums:
        assert (drum.ink is None) == (drum.state == "empty")
        assert drum.machine is None or drum.machine in drum.fits
    fits = {ink.name: {m for drum in WHOLE.drums if drum.ink == ink.name for m in drum.fits} for ink in WHOLE.inks}
    assert not fits["Damsonlatch"] & fits["Peltrose"]


def test_nine_tides_has_one_design_in_two_colourways() -> None:
    work = _work("Nine Tides")
    inks = [tuple(layer.ink for layer in variant.layers) for variant in work.variants]
    assert inks == [("Kilnsong", "Ferrywake"), ("Nettlecoat", "Ferrywake")]
    sheets = [
        next(p for p in WHOLE.pictures if p.variant == variant.ref and p.framing == "close").jobs[0][1]
        for variant in work.variants
    ]
    one, other = (draw_sheet(sheet, 200, 283, with_drift=False) for sheet in sheets)
    assert [layer.tobytes() for layer in one] == [layer.tobytes() for layer in other]


def test_bus_stop_choir_glows_and_the_lamp_room_is_a_book_of_spreads() -> None:
    assert "Oddlight" in {layer.ink for layer in _work("Bus Stop Choir").variants[0].layers}
    book = _work("The Lamp Room")
    assert book.kind == "book"
    assert [a.role for a in book.copies[0].appearances] == ["front", "spread", "spread", "spread", "spread"]


def test_the_make_ready_sheet_of_box_14_carries_three_jobs_by_region() -> None:
    (copy,) = _work("Make-ready, Box 14").copies
    assert copy.place == "Box 14"
    assert [WHOLE.work(seen.work).title for seen in copy.appearances] == [title for title, _ in MAKE_READY]
    assert sum(width * height for _, _, width, height in (seen.region for seen in copy.appearances)) == 1


def test_swatches_stand_on_known_papers_in_printing_order() -> None:
    runs = {run.id: run for run in _runs(WHOLE)}
    papers, works = {paper.name for paper in WHOLE.papers}, {work.ref for work in WHOLE.works}
    for swatch in WHOLE.swatches:
        assert swatch.paper in papers
        assert swatch.work is None or swatch.work in works
        assert swatch.printed_on == runs[swatch.run].date <= swatch.measured_on
        assert swatch.hours_after >= 24
        assert all(layer.tint and 0 < layer.tint <= 100 for layer in swatch.layers)
        assert [layer.print_pass for layer in swatch.layers] == sorted(layer.print_pass for layer in swatch.layers)


def test_every_ink_has_a_tint_row_and_most_pairs_exist_in_both_orders() -> None:
    singles = {swatch.layers[0].ink for swatch in WHOLE.swatches if len(swatch.layers) == 1}
    assert singles == {ink.name for ink in WHOLE.inks}
    on_house = [s for s in WHOLE.swatches if len(s.layers) == 2 and s.paper == "Oatleaf 120" and s.work is None]
    pairs = {(s.layers[0].ink, s.layers[1].ink) for s in on_house}
    assert sum((upper, lower) in pairs for lower, upper in pairs) > 0.8 * len(pairs)


def test_readings_scatter_by_about_0_3_an_axis() -> None:
    bare = [s.lab for s in WHOLE.swatches if not s.layers and s.paper == "Oatleaf 120" and s.hours_after < 300]
    assert len(bare) > 50
    assert np.std(bare, axis=0) == pytest.approx([0.3, 0.3, 0.3], abs=0.1)


def test_the_file_of_readings_has_the_agreed_columns_and_a_row_a_swatch() -> None:
    text = readings_csv(WHOLE)
    assert text.splitlines()[0] == HEADER
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == len(WHOLE.swatches)
    for row, swatch in zip(rows, WHOLE.swatches, strict=True):
        named = [row[f"ink_{n}"] for n in (1, 2, 3) if row[f"ink_{n}"]]
        assert named == [layer.ink for layer in swatch.layers]
        assert float(row["lab_l"]) == swatch.lab[0]
        assert row["work"] == (swatch.work or "")


def test_what_lies_on_a_work_is_what_its_patches_read() -> None:
    for title in ("Nine Tides", "Open Attic", "Peel"):
        work = _work(title)
        labs = np.array([lab for lab, _ in work_colours(work, WHOLE)])
        read = [s.lab for s in WHOLE.swatches if s.work == work.ref and s.run == work.variants[0].runs[0].id]
        for lab in read[:4]:
            assert np.linalg.norm(labs - np.array(lab), axis=1).min() < 3


def test_shares_of_a_works_colours_are_most_of_the_sheet_and_paper_is_among_them() -> None:
    found = work_colours(_work("Concert in a Stairwell"), WHOLE)
    assert 0.8 < sum(share for _, share in found) <= 1.0001
    assert max(lab[0] for lab, _ in found) > 90


def test_picture_files_have_plain_names_and_point_at_copies_and_people_can_tell_sides() -> None:
    copies = {copy.ref: copy.variant for work in WHOLE.works for copy in work.copies}
    for picture in WHOLE.pictures:
        assert re.fullmatch(r"qa_\d{4}_\d+_[a-z0-9_]+\.jpg", picture.file)
        assert copies[picture.copy] == picture.variant
        assert picture.role in ("front", "back", "page", "spread", "imposed sheet", "test")
        assert 900 <= picture.long_side <= 1400


def test_on_the_first_evening_there_are_photographs_and_hearsay_and_nothing_measured() -> None:
    assert EVENING.is_first_evening
    assert (EVENING.swatches, EVENING.strips, EVENING.fillings) == ((), (), ())
    assert [picture.work for picture in EVENING.pictures] == [work.ref for work in EVENING.works]
    assert len(EVENING.works) == 60
    assert {picture.camera for picture in EVENING.pictures} == {"phone"}
    for work in EVENING.works:
        assert work.told is not None
        assert len(work.told.inks) == 2
        assert " over " in work.told.words
        assert all(not variant.runs and not variant.colours for variant in work.variants)


def test_inks_have_a_colour_by_eye_that_tells_them_apart() -> None:
    by_eye = [ink.by_eye for ink in EVENING.inks]
    assert all(re.fullmatch(r"#[0-9a-f]{6}", text) for text in by_eye)
    assert len(set(by_eye)) == len(by_eye)


def test_values_are_frozen() -> None:
    ink = WHOLE.inks[0]
    with pytest.raises(AttributeError):
        ink.name = "other"  # type: ignore[misc]
    assert replace(ink, name="other").name == "other"
