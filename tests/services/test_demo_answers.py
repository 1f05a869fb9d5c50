"""What the archive says of the invented workshop's colours, held against the press that printed them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Swatch
from archive.colour.difference import R95
from archive.services.evidence import PROVEN, Evidence, load_evidence
from archive.services.house import pass_planner
from archive.services.matching import MatchIndex, MatchOptions
from demo_archive.press import Conditions, luck, true_lab
from demo_archive.scenario import scenario
from demo_archive.values import Layer, Run
from demo_archive.values import Swatch as Printed
from tests.services.make import OATLEAF, delta_e

SEED = 28


@pytest.fixture
def evidence(demo: Catalogue) -> Evidence:
    with demo.read() as session:
        return load_evidence(session, OATLEAF)


@pytest.fixture
def printed(demo: Catalogue, evidence: Evidence) -> list[tuple[int, Printed, Conditions]]:
    """Return each measured row of the evidence, what was printed there, and how its run was printed."""
    workshop = scenario()
    runs: dict[str, Run] = {run.id: run for work in workshop.works for variant in work.variants for run in variant.runs}
    runs |= {strip.run.id: strip.run for strip in workshop.strips}
    by_sample = {swatch.sample: swatch for swatch in workshop.swatches}
    with demo.read() as session:
        samples = dict(session.execute(select(Swatch.id, Swatch.sample)).all())
    found = []
    for row in np.flatnonzero(evidence.kind == PROVEN):
        swatch = by_sample[samples[evidence.sources[row].swatch_id]]
        run = runs[swatch.run]
        if swatch.layers:
            when = Conditions(run.machine, run.id, run.density, run.speed, run.screen, 60, swatch.hours_after / 8766)
            found.append((int(row), swatch, when))
    return found


def some(rows: Sequence[tuple[int, Printed, Conditions]], count: int) -> list[tuple[int, Printed, Conditions]]:
    return [rows[number] for number in np.random.default_rng(SEED).permutation(len(rows))[:count]]


def distances(evidence: Evidence, rows: Sequence[int], truth: Sequence[np.ndarray]) -> np.ndarray:
    return delta_e(evidence.lab[list(rows)], np.array(truth))


def test_nine_of_ten_new_runs_lie_within_what_was_said_of_a_reprint(
    evidence: Evidence, printed: list[tuple[int, Printed, Conditions]]
) -> None:
    chosen = some(printed, 600)
    rows = [row for row, _, _ in chosen]
    new = [
        true_lab(swatch.layers, swatch.paper, replace(when, day=f"another day, {row}", years=0.0))
        for row, swatch, when in chosen
    ]
    covered = distances(evidence, rows, new) <= R95 * evidence.reprint_sd[rows]
    assert covered.mean() >= 0.90


def test_the_colour_of_the_sheet_and_of_its_neighbours_lies_within_what_was_said_to_be_known(
    evidence: Evidence, printed: list[tuple[int, Printed, Conditions]]
) -> None:
    chosen = some(printed, 600)
    rows = [row for row, _, _ in chosen]
    own = [true_lab(swatch.layers, swatch.paper, replace(when, sheet=_sheet(swatch))) for _, swatch, when in chosen]
    neighbours = [true_lab(swatch.layers, swatch.paper, when) for _, swatch, when in chosen]
    known_to = R95 * evidence.known_sd[rows]
    assert (distances(evidence, rows, own) <= known_to).mean() >= 0.95
    assert (distances(evidence, rows, neighbours) <= known_to).mean() >= 0.95


def _sheet(swatch: Printed) -> int:
    """Return which sheet of the run was read, by the same throw as the workshop's."""
    return 24 + int(luck("reading", swatch.sample).integers(0, 60))


def test_the_colour_that_a_recipe_prints_leads_back_to_it_or_to_one_as_good(
    demo: Catalogue, evidence: Evidence, printed: list[tuple[int, Printed, Conditions]]
) -> None:
    index = MatchIndex(evidence)
    with demo.read() as session:
        planner = pass_planner(session)
    on_oatleaf = [each for each in printed if each[1].paper == OATLEAF and not evidence.aged[each[0]]]
    led_back = 0
    for row, swatch, _ in some(on_oatleaf, 100):
        wanted = true_lab(swatch.layers, OATLEAF)
        found = index.ranked(wanted, MatchOptions(paper=OATLEAF, limit=5), planner)
        first_group = [match for match in found if match.group == found[0].group]
        is_it = evidence.recipe[row] in [evidence.recipe[match.row] for match in first_group]
        led_back += is_it or _misses(evidence, first_group[0].row, wanted) <= first_group[0].reprint
    assert led_back >= 95  # the radius of a reprint holds 95 in 100


def _misses(evidence: Evidence, row: int, wanted: np.ndarray) -> float:
    """Return how far an average new run of a match is from the wanted colour."""
    layers = [
        Layer(layer.ink, layer.tint_low, layer.print_pass or 1)
        for layer in evidence.recipes[evidence.recipe[row]].layers
    ]
    return float(delta_e(wanted, true_lab(layers, OATLEAF)))


def test_the_paper_whites_are_those_of_the_papers(evidence: Evidence) -> None:
    for paper, white in evidence.whites.items():
        assert float(delta_e(white, true_lab((), paper))) < 0.5
    assert len(evidence.whites) == 4
