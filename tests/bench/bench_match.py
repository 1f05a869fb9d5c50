"""How long a match takes: the whole process on the demo, and in process on 100,000 swatches with filters.

Run by hand: python tests/bench/bench_match.py [DEMO]   (DEMO is a demo archive; made when it is not there)
The answers on 100,000 swatches are compared with colour-science's CIEDE2000 over all of them.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path
from typing import Any

import numpy as np
from timing import machine, medians, row

from archive.planning.passes import DrumState, MachineState, PassPlanner
from archive.services.evidence import KINDS, TOLD, Evidence, LayerFacts, RecipeFacts, Source
from archive.services.matching import FAR, MatchIndex, MatchOptions, Ranked

SWATCHES, RECIPES = 100_000, 20_000
INKS = [f"Ink {number}" for number in range(1, 13)]
PAPERS = ["Oatleaf 120", "Chalkroad 90", "Ryebank 100", "Duskmoth 140"]
QUESTIONS = [
    ("no condition", MatchOptions()),
    ("one paper, one pass", MatchOptions(paper="Oatleaf 120", passes=1)),
    ("in the house, proven or seen", MatchOptions(in_house=True, evidence=("proven", "seen"))),
    ("three inks only, loaded", MatchOptions(with_inks=tuple(INKS[:3]), loaded=True)),
    ("by distance alone", MatchOptions(by_delta=True, limit=20)),
]
WANTED = np.array([[46.7, 42.5, 37.7], [59.9, -24.4, 23.9], [35.6, 2.8, -39.0], [85.0, 0.0, 12.0], [20.0, 5.0, -5.0]])


def evidence() -> Evidence:
    """Return 100,000 swatches of 20,000 recipes: pairs and threes of twelve inks on four papers."""
    rng = np.random.default_rng(20240504)
    recipes = []
    for number in range(RECIPES):
        inks = rng.choice(len(INKS), 3 if number % 10 == 0 else 2, replace=False)
        tints = rng.integers(1, 21, len(inks)) * 5.0
        layers = tuple(
            LayerFacts(INKS[ink], "transparent", tint, tint, place // 2 + 1, True)
            for place, (ink, tint) in enumerate(zip(inks, tints, strict=True))
        )
        recipes.append(RecipeFacts(number, PAPERS[number % 4], "FM", layers))
    own = rng.integers(0, RECIPES, SWATCHES)
    middle = rng.normal((58, 3, 6), (17, 28, 30), (RECIPES, 3))
    lab = middle[own] + rng.normal(0, 1.5, (SWATCHES, 3))
    lab[:, 0] = np.clip(lab[:, 0], 12, 94)
    known = rng.uniform(0.5, 2.5, SWATCHES)
    return Evidence(
        lab=lab,
        recipe=own,
        kind=rng.choice([0, 0, 0, 2, 3], SWATCHES),
        known_sd=known,
        reprint_sd=np.hypot(known, 1.5),
        aged=np.zeros(SWATCHES, dtype=np.bool_),
        day=rng.integers(730000, 739000, SWATCHES),
        uids=tuple(f"{number:08d}" for number in range(SWATCHES)),
        sources=(Source(),) * SWATCHES,
        recipes=tuple(recipes),
        whites={},
    )


def planner() -> PassPlanner:
    """Return two machines of two drums, ten of the twelve inks in the house."""
    drums = [DrumState(str(n), ink) for n, ink in enumerate(INKS[4:10], start=5)]
    places = [("Upstairs", 1), ("Upstairs", 2), ("Landing", 1), ("Landing", 2)]
    drums += [
        DrumState(str(number), INKS[number - 1], machine=name, position=position, state="loaded")
        for number, (name, position) in enumerate(places, start=1)
    ]
    return PassPlanner(drums, [MachineState("Upstairs", 2), MachineState("Landing", 2)], INKS[:10])


def brute(index: MatchIndex, wanted: Any, options: MatchOptions, plans: PassPlanner) -> list[tuple[int, float]]:
    """Return row and distance of the matches by a plain sort over every swatch, CIEDE2000 by colour-science."""
    known, best = index.evidence, {}
    distance = colour_science(known.lab, wanted)
    for row_number in np.flatnonzero([_is_asked(known, number, options, plans) for number in range(SWATCHES)]):
        key = (int(known.recipe[row_number]), int(known.kind[row_number]))
        if key not in best or distance[row_number] < distance[best[key]]:
            best[key] = int(row_number)
    order = sorted(best.values(), key=lambda number: _place(index, number, float(distance[number]), options, plans))
    first: dict[int, int] = {}
    for number in order:
        first.setdefault(int(known.recipe[number]), number)
    return [(number, float(distance[number])) for number in list(first.values())[: options.limit]]


def _is_asked(known: Evidence, number: int, options: MatchOptions, plans: PassPlanner) -> bool:
    recipe = known.recipes[known.recipe[number]]
    plan = plans.plan(list(recipe.ink_set))
    return (
        (options.passes is None or plan.count <= options.passes)
        and (not options.in_house or plan.printable_now)
        and (not options.loaded or plan.loaded)
        and (not options.with_inks or set(recipe.inks) <= set(options.with_inks))
        and (not options.evidence or KINDS[known.kind[number]] in options.evidence)
    )


def _place(
    index: MatchIndex, number: int, distance: float, options: MatchOptions, plans: PassPlanner
) -> tuple[Any, ...]:
    """Return where a match stands: the one order, written out."""
    if options.by_delta:
        return (distance, number)
    known = index.evidence
    recipe, kind = known.recipes[known.recipe[number]], int(known.kind[number])
    doubt = index.uncertainty[number]
    plan = plans.plan(list(recipe.ink_set))
    near = next((place for place, limit in enumerate((3.0, 6.0, 12.0)) if distance <= limit), FAR)
    verdict = max(near, 2 if doubt > 6 else 1 if doubt > 3 else 0)
    if verdict == FAR:
        return (9, distance, number)
    has_paper = options.paper is None or recipe.paper == options.paper
    group = 3 if kind >= TOLD else 1 if has_paper and plan.printable_now else 2
    drums = (not plan.loaded, plan.count, plan.drum_changes)
    return (group, verdict, np.floor(distance / 0.5), kind, *drums, distance, -known.day[number], number)


def colour_science(labs: Any, wanted: Any) -> Any:
    """Return colour-science's CIEDE2000 from every swatch, vectorised."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour.delta_E(labs, np.broadcast_to(wanted, labs.shape), method="CIE 2000")


def _agree(found: list[Ranked], wanted: list[tuple[int, float]]) -> bool:
    return [each.row for each in found] == [number for number, _ in wanted] and np.allclose(
        [each.delta_e for each in found], [distance for _, distance in wanted], atol=1e-9
    )


def in_process() -> None:
    """Print the figures on 100,000 swatches, and whether the answers are those of brute force."""
    index, plans = MatchIndex(evidence()), planner()
    for name, options in QUESTIONS:
        agree = [_agree(index.ranked(lab, options, plans), brute(index, lab, options, plans)) for lab in WANTED]
        answers = index.ranked(WANTED[0], options, plans)
        assert answers, name
        ours, theirs = medians(
            lambda options=options: [index.ranked(lab, options, plans) for lab in WANTED],
            lambda: [colour_science(index.evidence.lab, lab) for lab in WANTED],
        )
        ours, theirs = ours / len(WANTED), theirs / len(WANTED)
        row(f"100,000 swatches, {name}", ours, 0.03, of=theirs, against="colour-science, distances alone")
        says = "equal to brute force" if all(agree) else f"NOT EQUAL to brute force: {agree}"
        print(f"    {says}; {len(answers)} answers, the first {answers[0].verdict}")


def whole_process(demo: Path) -> None:
    """Print the figure for the command on the demo."""
    start = [sys.executable, "-c", "from archive.cli import main; main(prog_name='inkchest')"]
    if not demo.exists():
        subprocess.run([*start, "demo", str(demo)], check=True, stdout=subprocess.DEVNULL)
    environment = {**os.environ, "INKCHEST_ARCHIVE": str(demo)}

    def ask(*words: str) -> None:
        subprocess.run([*start, *words], check=True, stdout=subprocess.DEVNULL, env=environment)

    nothing, text, as_json = medians(
        lambda: ask("--help"),
        lambda: ask("match", "colour", "dusty green"),
        lambda: ask("match", "colour", "#c8553d", "--in-house", "--json"),
    )
    row("match colour on the demo, whole process", text, 0.8, of=nothing, against="inkchest --help")
    row("match colour --in-house --json, whole process", as_json, 0.8, of=nothing, against="inkchest --help")


if __name__ == "__main__":
    print(machine())
    with tempfile.TemporaryDirectory() as folder:
        whole_process(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(folder) / "demo")
    in_process()
