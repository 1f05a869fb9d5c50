"""Strips of patches and the readings of them: what the workshop's instrument has seen so far."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from demo_archive import house
from demo_archive.inks import INK_BODIES
from demo_archive.press import Conditions, luck, true_lab
from demo_archive.values import Layer, Run, Scenario, Strip, Swatch, Variant, Work

READING_SD = 0.3  # of a reading, per Lab axis; common practice for a hand instrument
ROW = (2, 3, 4, 5, 7, 10, 15, 20, 30, 40, 50, 60, 70, 80, 90, 95, 100)
SHORT_ROW = (5, 10, 20, 30, 45, 60, 75, 90, 100)
FEW = (10, 25, 50, 75, 90, 100)
GRID = tuple((a, b) for a in (0, 20, 40, 70, 100) for b in (0, 20, 40, 70, 100))
# Corners, quarters of each, one in the middle: the fewest patches that prove a pair.
ELEVEN = ((0, 0), (25, 0), (50, 0), (75, 0), (100, 0), (0, 25), (0, 50), (0, 75), (0, 100), (50, 50), (100, 100))

BOTH_WAYS_GRID = """
Kilnsong Ferrywake, Kilnsong Dockrope, Ferrywake Dockrope, Ferrywake Nettlecoat, Dockrope Nettlecoat,
Kilnsong Sootwell, Ferrywake Sootwell, Dockrope Sootwell, Dockrope Damsonlatch, Kilnsong Damsonlatch,
Ferrywake Oddlight, Ferrywake Peltrose, Gullbone Kilnsong, Gullbone Nettlecoat
"""
BOTH_WAYS_ELEVEN = """
Kilnsong Nettlecoat, Nettlecoat Sootwell, Damsonlatch Sootwell, Damsonlatch Ferrywake, Peltrose Dockrope,
Peltrose Sootwell, Tidewick Kilnsong, Tidewick Sootwell, Tidewick Damsonlatch, Gullbone Ferrywake,
Gullbone Sootwell, Oddlight Kilnsong
"""
LATER_PASS = "Ferrywake Dockrope, Dockrope Ferrywake, Kilnsong Ferrywake, Marlbrick Ferrywake, Marlbrick Sootwell"
ON_CHALKROAD = """
Ferrywake Kilnsong, Kilnsong Ferrywake, Ferrywake Dockrope, Dockrope Ferrywake, Kilnsong Sootwell,
Ferrywake Sootwell, Kilnsong Nettlecoat, Tidewick Damsonlatch, Ferrywake Nettlecoat, Dockrope Sootwell
"""
ON_DUSKMOTH = "Gullbone Kilnsong, Kilnsong Gullbone, Damsonlatch Dockrope, Gullbone Nettlecoat"
ON_RYEBANK = "Dockrope Nettlecoat, Kilnsong Dockrope"


@dataclass(frozen=True, slots=True)
class Plan:
    """A strip before it is printed."""

    title: str
    paper: str
    patches: tuple[tuple[Layer, ...], ...]
    inks: tuple[str, ...]


def _pairs(words: str, *, both_ways: bool = False) -> Iterator[tuple[str, str]]:
    for part in words.replace("\n", " ").split(","):
        lower, upper = part.split()
        yield lower, upper
        if both_ways:
            yield upper, lower


def _patch(inks: Sequence[str], tints: Sequence[float], passes: Sequence[int]) -> tuple[Layer, ...]:
    """Return a patch's layers; a tint of zero is no layer."""
    layers: list[Layer] = []
    for ink, tint, print_pass in zip(inks, tints, passes, strict=True):
        if tint > 0:
            position = 1 + sum(layer.print_pass == print_pass for layer in layers)
            layers.append(Layer(ink, float(tint), print_pass, position))
    return tuple(layers)


def _row(ink: str, paper: str, tints: Iterable[int]) -> Plan:
    patches = ((), *(_patch((ink,), (tint,), (1,)) for tint in tints))
    return Plan(f"{ink}, tint row", paper, patches, (ink,))


def _pair(pair: tuple[str, str], paper: str, nodes: Sequence[tuple[int, int]], *, later: bool = False) -> Plan:
    lower, upper = pair
    passes = (1, 2) if later else (1, 1)
    title = f"{upper} over {lower}{', second pass' if later else ''}"
    return Plan(title, paper, tuple(_patch(pair, node, passes) for node in nodes), pair)


def _plans() -> Iterator[Plan]:
    """Return every strip the workshop has printed, in the order it did."""
    for ink in INK_BODIES:
        yield _row(ink, "Oatleaf 120", ROW)
    for ink in INK_BODIES:
        if ink not in ("Tinhymn", "Marlbrick"):
            yield _row(ink, "Chalkroad 90", SHORT_ROW)
    for ink in ("Kilnsong", "Ferrywake", "Dockrope", "Nettlecoat", "Sootwell", "Damsonlatch", "Gullbone"):
        yield _row(ink, "Ryebank 100", FEW)
        yield _row(ink, "Duskmoth 140", FEW)
    yield from (_pair(pair, "Oatleaf 120", GRID) for pair in _pairs(BOTH_WAYS_GRID, both_ways=True))
    yield from (_pair(pair, "Oatleaf 120", ELEVEN) for pair in _pairs(BOTH_WAYS_ELEVEN, both_ways=True))
    yield from (_pair(pair, "Oatleaf 120", ELEVEN, later=True) for pair in _pairs(LATER_PASS))
    yield from (_pair(pair, "Chalkroad 90", ELEVEN) for pair in _pairs(ON_CHALKROAD))
    yield from (_pair(pair, "Duskmoth 140", ELEVEN) for pair in _pairs(ON_DUSKMOTH))
    yield from (_pair(pair, "Ryebank 100", ELEVEN) for pair in _pairs(ON_RYEBANK))
    three = ("Damsonlatch", "Kilnsong", "Dockrope")
    nodes = [(a, b, c) for a in (0, 50, 100) for b in (0, 50, 100) for c in (0, 50, 100)]
    patches = tuple(_patch(three, node, (1, 1, 2)) for node in nodes)
    yield Plan("Dockrope over Kilnsong over Damsonlatch", "Oatleaf 120", patches, three)


def _fits(inks: Sequence[str]) -> list[str]:
    """Return the machines that took every one of these inks, newest first."""
    held = {(filling.ink, machine) for filling in house.fillings() for machine in house.DRUMS[filling.drum - 1].fits}
    return [name for name in ("Upstairs", "Landing", "Backroom") if all((ink, name) in held for ink in inks)]


def _strip_day(plan: Plan, number: int, machine: str) -> date:
    if "Marlbrick" in plan.inks:
        return date(2008, 2, 4) + timedelta(days=number % 20)
    if "Tidewick" in plan.inks:
        return date(2016, 9, 5) + timedelta(days=number % 90)
    if {"Tinhymn", "Oddlight"} & set(plan.inks):
        return date(2021, 3, 1) + timedelta(days=number)
    return date(2019, 3, 4) + timedelta(days=23 * number % 1900)


def _strip(plan: Plan, number: int) -> Strip:
    machines = _fits(plan.inks)
    machine = machines[number % len(machines)] if machines else "Upstairs"
    if "Marlbrick" in plan.inks:
        machine = "Backroom"
    elif machine == "Backroom":
        machine = machines[0]
    day = _strip_day(plan, number, machine).isoformat()
    run = Run(
        id=f"R-S{number:03d}",
        date=day,
        machine=machine,
        density=3,
        speed=3,
        screen="FM",
        length=30,
        spoiled=4,
        fillings=tuple(house.filling_of(ink, machine, day) for ink in plan.inks),
        by=("Wren Tallow", "Odile Marrowby")[number % 2],
    )
    return Strip(f"ST-{number:03d}", plan.title, plan.paper, run, "Plan chest 3 / drawer 5")


def _read(
    sample: str, layers: tuple[Layer, ...], paper: str, run: Run, *, work: str | None, hours: int, note: str = ""
) -> Swatch:
    """Return a patch as the instrument reads it, `hours` after printing."""
    rng = luck("reading", sample)
    years = hours / 8766
    sheet = min(run.length, 24 + int(rng.integers(0, 60)))
    when = Conditions(run.machine, run.id, run.density, run.speed, run.screen, sheet, years)
    lab = true_lab(layers, paper, when) + rng.normal(0, READING_SD, 3)
    measured = date.fromisoformat(run.date) + timedelta(hours=hours)
    if not note and layers and all(layer.tint is not None and layer.tint < 3.5 for layer in layers):
        note = "nothing to see"
    return Swatch(
        sample=sample,
        paper=paper,
        layers=layers,
        lab=(round(float(lab[0]), 2), round(float(lab[1]), 2), round(float(lab[2]), 2)),
        work=work,
        run=run.id,
        machine=run.machine,
        screen=run.screen,
        measured_on=measured.isoformat(),
        printed_on=run.date,
        hours_after=hours,
        n=3,
        spread=round(float(0.2 + 0.35 * rng.random() + 0.15 * len(layers)), 2),
        note=note,
    )


def _hours_until_read(run: Run, key: str) -> int:
    """Return how long a sheet waited: days for new work, until the storeroom was gone through for old."""
    rng = luck("wait", key)
    if run.date >= "2016-01-01":
        return int(rng.integers(26, 220))
    opened = date(2024, 10, 7) + timedelta(days=int(rng.integers(0, 120)))
    return (opened - date.fromisoformat(run.date)).days * 24 + 11


def _work_swatches(work: Work, variant: Variant) -> Iterator[Swatch]:
    for run in variant.runs:
        hours = _hours_until_read(run, run.id)
        for number, layers in enumerate(((), *variant.colours)):
            yield _read(f"{run.id}-{number:02d}", layers, variant.paper, run, work=work.ref, hours=hours)


def is_measured(work: Work) -> bool:
    """Return whether anybody has held the instrument over this work; about one in seven still waits."""
    return int(work.ref[-4:]) % 7 != 3 or work.title in ("Bus Stop Choir", "The Lamp Room")


def strips_and_swatches(works: Sequence[Work], seed: int) -> tuple[tuple[Strip, ...], tuple[Swatch, ...]]:
    """Return the strips and every reading: of strips first, then of the works' own patches."""
    strips, swatches = [], []
    for number, plan in enumerate(_plans(), start=1):
        strip = _strip(plan, number)
        strips.append(strip)
        hours = int(luck("wait", seed, number).integers(25, 100))
        for patch, layers in enumerate(plan.patches, start=1):
            sample = f"{strip.id}-{patch:02d}"
            swatches.append(_read(sample, layers, plan.paper, strip.run, work=None, hours=hours))
    for work in works:
        if is_measured(work):
            for variant in work.variants:
                swatches.extend(_work_swatches(work, variant))
    return tuple(strips), tuple(swatches)


_TAIL = (
    "lab_l", "lab_a", "lab_b", "work", "run", "machine", "screen", "condition", "backing", "instrument",
    "measured_on", "printed_on", "hours_after", "n", "spread", "note",
)  # fmt: skip
MOST_LAYERS = 3


def readings_csv(workshop: Scenario) -> str:
    """Return the workshop's swatches as a file of readings: one a row, printing order from left to right."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    layer_names = [f"{name}_{n}" for n in range(1, MOST_LAYERS + 1) for name in ("ink", "tint", "pass")]
    writer.writerow(["sample", "paper", *layer_names, *_TAIL])
    for swatch in workshop.swatches:
        cells: list[object] = []
        for layer in swatch.layers:
            cells += [layer.ink, f"{layer.tint:g}", layer.print_pass]
        cells += [""] * (3 * MOST_LAYERS - len(cells))
        lab = [f"{value:.2f}" for value in swatch.lab]
        tail = [
            swatch.work or "",
            swatch.run,
            swatch.machine,
            swatch.screen,
            swatch.condition,
            swatch.backing,
            swatch.instrument,
            swatch.measured_on,
            swatch.printed_on,
            swatch.hours_after,
            swatch.n,
            swatch.spread,
        ]
        writer.writerow([swatch.sample, swatch.paper, *cells, *lab, *tail, swatch.note])
    return out.getvalue()
