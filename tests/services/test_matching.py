"""The one order of matches, against a plain brute force with colour-science's CIEDE2000."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.colour.difference import R95
from archive.planning.passes import DrumState, MachineState, PassPlanner
from archive.services.evidence import KINDS, Evidence, LayerFacts, RecipeFacts, Source
from archive.services.matching import Limits, MatchIndex, MatchOptions, Ranked, why_here
from tests.services.make import CHALKROAD, OATLEAF, delta_e

INKS = ("Kilnsong", "Ferrywake", "Dockrope", "Nettlecoat", "Sootwell", "Damsonlatch", "Peltrose", "Marlbrick")
PAPERS = (OATLEAF, CHALKROAD, "Ryebank 100", None)
PROVEN, WORKED_OUT, SEEN, TOLD, GUESS = range(5)


def recipe(layers: list[tuple[str, float, int | None]], paper: str | None = OATLEAF) -> RecipeFacts:
    return RecipeFacts(
        None,
        paper,
        "FM",
        tuple(LayerFacts(ink, "transparent", tint, tint, number, True) for ink, tint, number in layers),
    )


def evidence_of(recipes: list[RecipeFacts], rows: list[dict[str, Any]]) -> Evidence:
    """Return evidence with rows that say lab, recipe, kind, and what differs from a plain proven patch."""
    start = {"kind": PROVEN, "sd": 0.95, "day": 738000, "uid": ""}
    full = [{**start, "uid": f"{number:06d}", **row} for number, row in enumerate(rows)]
    sds = np.array([row["sd"] for row in full])
    return Evidence(
        lab=np.array([row["lab"] for row in full], dtype=np.float64).reshape(-1, 3),
        recipe=np.array([row["recipe"] for row in full], dtype=np.int64),
        kind=np.array([row["kind"] for row in full], dtype=np.int64),
        known_sd=sds,
        reprint_sd=np.hypot(sds, 1.5),
        aged=np.zeros(len(full), dtype=np.bool_),
        day=np.array([row["day"] for row in full], dtype=np.int64),
        uids=tuple(row["uid"] for row in full),
        sources=tuple(Source(swatch_id=number) for number in range(len(full))),
        recipes=tuple(recipes),
        whites={},
    )


def random_evidence(rows: int = 4000, recipes: int = 900, seed: int = 11) -> Evidence:
    rng = np.random.default_rng(seed)
    made = [recipe([], paper) for paper in PAPERS]  # bare paper answers nothing
    while len(made) < recipes:
        inks = rng.permutation(INKS)[: rng.choice([1, 2, 2, 3, 4])]
        passes = [int(number) for number in np.sort(rng.integers(1, 3, len(inks)))]
        numbers: list[int | None] = [None] * len(inks) if rng.random() < 0.3 else [*passes]
        tints = [float(tint) for tint in rng.integers(1, 1001, len(inks)) / 10]
        made.append(recipe(list(zip(map(str, inks), tints, numbers, strict=True)), PAPERS[rng.integers(len(PAPERS))]))
    centres = np.column_stack([rng.uniform(10, 92, recipes), rng.normal(0, 28, recipes), rng.normal(8, 30, recipes)])
    of = rng.integers(0, recipes, rows)
    labs = np.clip(centres[of] + rng.normal(0, 2, (rows, 3)), (0, -128, -128), (100, 128, 128))
    labs[rows // 2 :: 7] = labs[: len(labs[rows // 2 :: 7])]  # the same colour again, so that there are ties
    kinds = rng.choice(5, rows, p=[0.5, 0.1, 0.25, 0.1, 0.05])
    sds = np.array([0.95, 1.6, 4.1, 3.0, 6.4])[kinds] * rng.uniform(0.7, 1.6, rows)
    days = rng.choice([0, 738000, 738001, 739000], rows)
    return evidence_of(
        made,
        [
            {"lab": lab, "recipe": number, "kind": kind, "sd": sd, "day": day}
            for lab, number, kind, sd, day in zip(labs, of, kinds, sds, days, strict=True)
        ],
    )


def house() -> PassPlanner:
    """Return three machines, of which one is gone, drums that do not fit everywhere, and one retired ink."""
    machines = [MachineState("Upstairs"), MachineState("Landing"), MachineState("Backroom", 1, in_house=False)]
    upstairs, landing = frozenset({"Upstairs"}), frozenset({"Landing"})
    drums = [
        DrumState("1", "Kilnsong", None, "Upstairs", 1, "loaded"),
        DrumState("2", "Ferrywake", None, "Upstairs", 2, "loaded"),
        DrumState("3", "Dockrope", landing, "Landing", 1, "loaded"),
        DrumState("4", "Nettlecoat", upstairs),
        DrumState("5", "Sootwell", landing),
        DrumState("6", "Peltrose", frozenset({"Backroom"})),
        DrumState("7", "Kilnsong", landing, state="empty"),
    ]
    return PassPlanner(drums, machines, set(INKS) - {"Marlbrick"})


def brute_force(evidence: Evidence, wanted: Any, options: MatchOptions, planner: PassPlanner) -> list[tuple[Any, ...]]:
    """Return (row, verdict, group, also) of the matches, by trying every row and sorting once."""
    distances = delta_e(wanted, evidence.lab)
    nearest: dict[tuple[int, int], tuple[float, int]] = {}
    close_by: dict[int, int] = {}
    for row, distance in enumerate(distances):
        number, kind = int(evidence.recipe[row]), int(evidence.kind[row])
        facts = evidence.recipes[number]
        if not facts.layers:
            continue
        plan = planner.plan(list(facts.ink_set))
        if options.passes is not None and plan.count > options.passes:
            continue
        if (options.in_house and not plan.printable_now) or (options.loaded and not plan.loaded):
            continue
        if options.with_inks and not set(facts.inks) <= set(options.with_inks):
            continue
        if options.evidence and KINDS[kind] not in options.evidence:
            continue
        nearest[number, kind] = min(nearest.get((number, kind), (np.inf, 0)), (float(distance), row))
        close_by[number] = close_by.get(number, 0) + (distance <= 12)
    keyed = []
    for (number, kind), (distance, row) in nearest.items():
        facts = evidence.recipes[number]
        plan = planner.plan(list(facts.ink_set))
        verdict = int(np.searchsorted([3, 6, 12], distance))
        radius = 2.80 * evidence.known_sd[row]
        verdict = max(verdict, 2 if radius > 6 else 1 if radius > 3 else 0)
        on_it = options.paper in (None, facts.paper)
        group = 3 if kind >= TOLD else 1 if on_it and plan.printable_now else 2
        order: tuple[Any, ...] = (
            *(0, group, verdict, int(distance / 0.5), kind, not plan.loaded, plan.count, plan.drum_changes, distance),
            *(-evidence.day[row], evidence.uids[row]),
        )
        if options.by_delta:
            order = (0, distance, evidence.uids[row])
        elif verdict == 3:
            order = (1, distance, evidence.uids[row])
        keyed.append((order, number, (row, ("same", "close", "related", "far")[verdict], group)))
    found: dict[int, tuple[Any, ...]] = {}
    for _, number, match in sorted(keyed, key=lambda each: each[0]):
        found.setdefault(number, (*match, max(close_by[number] - 1, 0)))
    return list(found.values())[: options.limit]


def as_tuples(found: list[Ranked]) -> list[tuple[Any, ...]]:
    return [(each.row, each.verdict, each.group, each.also) for each in found]


@pytest.fixture(scope="module")
def thousands() -> Evidence:
    return random_evidence()


@pytest.fixture(scope="module", params=[False, True], ids=["numpy", "compiled"])
def index(thousands: Evidence, request: pytest.FixtureRequest) -> MatchIndex:
    return MatchIndex(thousands, compiled=request.param)


def questions(evidence: Evidence, count: int, seed: int) -> np.ndarray:
    """Return colours asked for: near stored ones, near neutral, dark, blue, and outside of everything."""
    rng = np.random.default_rng(seed)
    stored = evidence.lab[rng.integers(0, len(evidence.lab), count)] + rng.normal(0, 2, (count, 3))
    for number in range(count):
        match number % 6:
            case 1:
                stored[number, 1:] = rng.normal(0, 1, 2)
            case 2:
                stored[number] = rng.uniform((0, -10, -10), (15, 10, 10))
            case 3:
                stored[number] = rng.uniform((20, 0, -70), (70, 30, -30))
            case 5:
                stored[number] = rng.uniform((40, 90, 60), (95, 125, 125)) * rng.choice([-1, 1], 3)
    return np.clip(stored, (0, -128, -128), (100, 128, 128))


@pytest.mark.parametrize(
    "options",
    [
        MatchOptions(),
        MatchOptions(paper=OATLEAF, limit=20),
        MatchOptions(paper=CHALKROAD, passes=1),
        MatchOptions(in_house=True, limit=12),
        MatchOptions(loaded=True, limit=12),
        MatchOptions(with_inks=("Kilnsong", "Dockrope", "Marlbrick"), limit=8),
        MatchOptions(evidence=("seen", "told"), limit=8),
        MatchOptions(by_delta=True, limit=15),
        MatchOptions(OATLEAF, 2, True, False, INKS[:5], ("proven", "worked_out", "seen"), False, 10),
        MatchOptions(paper=OATLEAF, in_house=True, by_delta=True, evidence=("proven",), limit=400),
    ],
    ids=lambda options: "-".join(name for name in options.__slots__ if getattr(options, name) not in (None, False, ())),
)
def test_ranking_equals_brute_force(thousands: Evidence, index: MatchIndex, options: MatchOptions) -> None:
    planner = house()
    for wanted in questions(thousands, 12, seed=len(repr(options))):
        found = index.ranked(wanted, options, planner)
        assert as_tuples(found) == brute_force(thousands, wanted, options, planner)
        assert [each.delta_e for each in found] == pytest.approx(
            list(delta_e(wanted, thousands.lab[[each.row for each in found]])), abs=1e-9
        )


def test_scenario_31_the_order_is_the_same_however_recipes_are_numbered(thousands: Evidence, index: MatchIndex) -> None:
    rng = np.random.default_rng(3)
    new_number = rng.permutation(len(thousands.recipes))
    recipes = [thousands.recipes[old] for old in np.argsort(new_number)]
    shuffled = MatchIndex(
        Evidence(
            *(thousands.lab, new_number[thousands.recipe], thousands.kind, thousands.known_sd, thousands.reprint_sd),
            *(thousands.aged, thousands.day, thousands.uids, thousands.sources, tuple(recipes), {}),
        )
    )
    planner = house()
    for wanted in questions(thousands, 12, seed=31):
        for options in (MatchOptions(paper=OATLEAF, limit=30), MatchOptions(by_delta=True, limit=30)):
            first, second = index.ranked(wanted, options, planner), shuffled.ranked(wanted, options, planner)
            assert as_tuples(first) == as_tuples(second)


def test_the_same_colour_from_one_recipe_is_one_match_that_counts_the_others() -> None:
    rows = [{"lab": (50, 10 + step, 10), "recipe": 0} for step in range(4)] + [{"lab": (50, 80, 10), "recipe": 0}]
    found = MatchIndex(evidence_of([recipe([("Kilnsong", 50, 1)])], rows)).ranked((50, 9, 10), MatchOptions(), house())
    assert as_tuples(found) == [(0, "same", 1, 3)]  # the fifth is no near one


def test_bare_paper_and_an_empty_archive_answer_nothing() -> None:
    bare = evidence_of([recipe([])], [{"lab": (92, 0, 6), "recipe": 0}])
    assert MatchIndex(bare).ranked((92, 0, 6), MatchOptions(), house()) == []
    assert MatchIndex(evidence_of([], [])).ranked((92, 0, 6), MatchOptions(), house()) == []


def test_readings_beyond_the_tree_can_still_be_ranked() -> None:
    rows = [{"lab": (101, 5, 5), "recipe": 0}, {"lab": (50, 0, 0), "recipe": 1}]
    recipes = [recipe([("Kilnsong", 50, 1)]), recipe([("Dockrope", 50, 1)])]
    found = MatchIndex(evidence_of(recipes, rows)).ranked((100, 5, 5), MatchOptions(), house())
    assert [each.row for each in found] == [0, 1]


# --- verdicts


def test_r95_is_the_radius_that_holds_95_percent_of_three_normal_axes() -> None:
    from scipy.stats import chi2

    # to the two digits that the constant has
    assert pytest.approx(float(np.sqrt(chi2.ppf(0.95, 3))), abs=0.005) == R95


def one_row(lab_l: float, sd: float) -> Ranked:
    rows = evidence_of([recipe([("Kilnsong", 50, 1)])], [{"lab": (lab_l, 0, 0), "recipe": 0, "sd": sd}])
    (found,) = MatchIndex(rows).ranked((50, 0, 0), MatchOptions(), house())
    return found


@pytest.mark.parametrize(
    ("lab_l", "uncertainty", "verdict"),
    [
        (51, 2.99, "same"),
        (51, 3.01, "close"),  # same needs to be known to 3
        (55, 2.99, "close"),
        (51, 5.99, "close"),
        (51, 6.01, "related"),  # known to no better than 6: related at best
        (55, 20, "related"),
        (59, 2, "related"),
        (75, 2, "far"),
        (75, 20, "far"),
    ],
)
def test_a_verdict_is_no_better_than_what_is_known(lab_l: float, uncertainty: float, verdict: str) -> None:
    assert one_row(lab_l, uncertainty / R95).verdict == verdict


def test_the_two_numbers_are_95_percent_radii() -> None:
    found = one_row(50, 1.2)
    assert (found.uncertainty, found.reprint) == pytest.approx((2.80 * 1.2, 2.80 * np.hypot(1.2, 1.5)))


@given(st.floats(0, 30), st.floats(0, 10))
def test_limits_of_the_verdicts_are_themselves_inside(step: float, sd: float) -> None:
    limits = Limits(step, step + 1, step + 2)
    rows = evidence_of([recipe([("Kilnsong", 50, 1)])], [{"lab": (60, 0, 0), "recipe": 0, "sd": sd}])
    wanted = (60, 0, 0)
    index = MatchIndex(rows, limits)
    (found,) = index.ranked(wanted, MatchOptions(), house())
    known_to = 2.80 * sd
    expected = "same" if known_to <= limits.same else "close" if known_to <= limits.close else "related"
    assert found.verdict == expected


# --- groups and reasons


def ranked_words(
    rows: list[dict[str, Any]], recipes: list[RecipeFacts], options: MatchOptions
) -> list[tuple[int, int, str, str]]:
    evidence = evidence_of(recipes, rows)
    found = MatchIndex(evidence).ranked((50, 0, 0), options, house())
    return [(each.row, each.group, why_here(each, options, evidence), str(each.plan.why_not_now)) for each in found]


def test_what_cannot_be_had_as_asked_stands_behind_with_its_reason() -> None:
    recipes = [
        recipe([("Kilnsong", 50, 1)], CHALKROAD),
        recipe([("Marlbrick", 50, 1)]),
        recipe([("Nettlecoat", 50, 1), ("Sootwell", 50, 1)]),
        recipe([("Dockrope", 50, 1)]),
        recipe([("Peltrose", 50, 1)]),
    ]
    rows = [{"lab": (50 + 0.4 * number, 0, 0), "recipe": number} for number in range(5)]
    found = ranked_words(rows, recipes, MatchOptions(paper=OATLEAF))
    assert [(row, group) for row, group, _, _ in found] == [(3, 1), (0, 2), (1, 2), (2, 2), (4, 2)]
    by_row = {row: (why, reason) for row, _, why, reason in found}
    assert by_row[3][0] == f"printed and measured, on {OATLEAF}, loaded now, one pass"
    assert by_row[0][0].startswith(f"printed and measured, on {CHALKROAD}, loaded now")
    assert by_row[0][0].endswith("behind what can be had as asked")
    assert by_row[1][1] == "Marlbrick is retired: no drum in the house"
    assert by_row[2][1] == "no machine takes both Nettlecoat and Sootwell"
    assert by_row[4][1] == "no machine in the house takes Peltrose"


def test_told_and_guessed_stand_behind_all_that_was_printed() -> None:
    recipes = [recipe([(ink, 50, 1)]) for ink in ("Kilnsong", "Ferrywake", "Marlbrick")]
    rows = [
        {"lab": (50, 0, 0), "recipe": 0, "kind": TOLD},
        {"lab": (50, 0, 0), "recipe": 1, "kind": GUESS},
        {"lab": (60, 0, 0), "recipe": 2},
    ]
    found = ranked_words(rows, recipes, MatchOptions())
    assert [(row, group) for row, group, _, _ in found] == [(2, 2), (0, 3), (1, 3)]
    assert found[1][2].endswith("told only, so behind all that was printed")


def test_far_ones_follow_by_distance_alone_and_say_so() -> None:
    recipes = [recipe([(ink, 50, 1)]) for ink in ("Kilnsong", "Marlbrick", "Dockrope")]
    rows = [
        {"lab": (90, 0, 0), "recipe": 0},
        {"lab": (70, 0, 0), "recipe": 1, "kind": TOLD},
        {"lab": (80, 0, 0), "recipe": 2},
    ]
    found = ranked_words(rows, recipes, MatchOptions())
    assert [row for row, *_ in found] == [1, 2, 0]
    assert all(why.endswith("far off, so it stands by distance alone") for _, _, why, _ in found)


def test_asked_for_plain_distance_nothing_is_said_to_stand_behind() -> None:
    recipes = [recipe([("Marlbrick", 50, 1)]), recipe([("Kilnsong", 50, 1)])]
    rows = [{"lab": (50, 0, 0), "recipe": 0}, {"lab": (51, 0, 0), "recipe": 1}]
    found = ranked_words(rows, recipes, MatchOptions(by_delta=True))
    assert [(row, why) for row, _, why, _ in found] == [
        (0, "printed and measured; by distance alone, as asked"),
        (1, "printed and measured; by distance alone, as asked"),
    ]


def test_a_recipe_is_shown_by_its_better_evidence_when_it_has_two_kinds() -> None:
    rows = [
        {"lab": (50, 0, 0), "recipe": 0, "kind": TOLD, "sd": 3},
        {"lab": (51, 0, 0), "recipe": 0},
        {"lab": (52, 0, 0), "recipe": 0},
    ]
    found = MatchIndex(evidence_of([recipe([("Kilnsong", 50, 1)])], rows)).ranked((50, 0, 0), MatchOptions(), house())
    assert as_tuples(found) == [(1, "same", 1, 2)]
