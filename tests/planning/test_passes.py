"""Passes on machines. The rules are common practice of the trade; names are the invented workshop's."""

from __future__ import annotations

import time
from itertools import combinations, pairwise, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.errors import InputError, NotFoundError
from archive.planning.passes import (
    DrumState,
    MachineState,
    PassPlan,
    PassPlanner,
    PlannedLayer,
    plan_passes,
)

UPSTAIRS, CELLAR = MachineState("Upstairs"), MachineState("Cellar")
HOUSE = {"Kilnsong", "Ferrywake", "Dockrope", "Sootwell", "Gullbone"}
ONLY_UPSTAIRS, ONLY_CELLAR = frozenset({"Upstairs"}), frozenset({"Cellar"})


def on(number: str, ink: str, machine: str, position: int) -> DrumState:
    return DrumState(number, ink, None, machine, position, "loaded")


def plan(inks: str, drums: list[DrumState], *machines: MachineState, machine: str | None = None) -> PassPlan:
    return plan_passes(inks.split(), drums, machines or (UPSTAIRS,), HOUSE, machine=machine)


def laid_out(found: PassPlan) -> list[tuple[str | None, tuple[str, ...]]]:
    return [(each.machine, each.inks) for each in found.passes]


def test_two_inks_go_down_in_one_pass_in_printing_order() -> None:
    found = plan("Dockrope Kilnsong", [])
    assert laid_out(found) == [("Upstairs", ("Dockrope", "Kilnsong"))]
    assert [layer.position for layer in found.passes[0].layers] == [1, 2]
    assert found.count == 1


@pytest.mark.parametrize(("inks", "count"), [(1, 1), (2, 1), (3, 2), (4, 2), (5, 3)])
def test_a_two_drum_machine_needs_half_as_many_passes_as_inks(inks: int, count: int) -> None:
    assert plan(" ".join(sorted(HOUSE)[:inks]), []).count == count


def test_an_ink_without_a_drum_record_fits_every_machine_and_has_to_be_put_on() -> None:
    found = plan("Kilnsong Ferrywake", [on("1", "Kilnsong", "Upstairs", 1)])
    assert found.passes[0].layers == (
        PlannedLayer("Kilnsong", "1", 1, is_change=False),
        PlannedLayer("Ferrywake", None, 2, is_change=True),
    )
    assert found.drum_changes == 1
    assert found.printable_now
    assert not found.loaded


def test_inks_that_sit_as_needed_are_loaded() -> None:
    found = plan("Kilnsong Ferrywake", [on("1", "Kilnsong", "Upstairs", 1), on("2", "Ferrywake", "Upstairs", 2)])
    assert (found.drum_changes, found.loaded, found.why_not_now) == (0, True, None)


def test_the_other_printing_order_costs_two_drum_changes() -> None:
    found = plan("Ferrywake Kilnsong", [on("1", "Kilnsong", "Upstairs", 1), on("2", "Ferrywake", "Upstairs", 2)])
    assert (found.count, found.drum_changes, found.loaded) == (1, 2, False)


def test_a_single_ink_prints_from_the_position_it_sits_at() -> None:
    found = plan("Ferrywake", [on("2", "Ferrywake", "Upstairs", 2)])
    assert found.passes[0].layers == (PlannedLayer("Ferrywake", "2", 2, is_change=False),)
    assert found.loaded


def test_the_machine_with_fewer_drum_changes_is_chosen_then_the_first_by_name() -> None:
    drums = [on("1", "Kilnsong", "Upstairs", 1), on("2", "Ferrywake", "Upstairs", 2)]
    assert laid_out(plan("Kilnsong Ferrywake", drums, CELLAR, UPSTAIRS))[0][0] == "Upstairs"
    assert laid_out(plan("Kilnsong Ferrywake", [], UPSTAIRS, CELLAR))[0][0] == "Cellar"


def test_a_pair_goes_in_one_pass_only_where_both_drums_fit_the_machine() -> None:
    drums = [DrumState("1", "Kilnsong", ONLY_CELLAR), DrumState("2", "Ferrywake")]
    assert laid_out(plan("Kilnsong Ferrywake", drums, UPSTAIRS, CELLAR)) == [("Cellar", ("Kilnsong", "Ferrywake"))]


def test_a_pair_without_a_common_machine_takes_two_passes_and_says_so() -> None:
    drums = [DrumState("1", "Kilnsong", ONLY_CELLAR), DrumState("2", "Ferrywake", ONLY_UPSTAIRS)]
    found = plan("Kilnsong Ferrywake", drums, UPSTAIRS, CELLAR)
    assert laid_out(found) == [("Cellar", ("Kilnsong",)), ("Upstairs", ("Ferrywake",))]
    assert found.printable_now
    assert [str(note) for note in found.notes] == [
        "no machine takes both Kilnsong and Ferrywake: one pass more, with a wait"
    ]


def test_a_recipe_of_one_pass_without_a_common_machine_is_not_printable_as_it_was() -> None:
    drums = [DrumState("1", "Kilnsong", ONLY_CELLAR), DrumState("2", "Ferrywake", ONLY_UPSTAIRS)]
    layers = [("Kilnsong", 1), ("Ferrywake", 1)]
    found = plan_passes(layers, drums, [UPSTAIRS, CELLAR], HOUSE)
    assert (found.count, found.printable_now, found.loaded) == (2, False, False)
    assert str(found.why_not_now) == "no machine takes both Kilnsong and Ferrywake"
    assert [note.code for note in found.notes] == ["pass_split"]


def test_the_third_ink_brings_no_note_where_it_costs_a_pass_anyway() -> None:
    drums = [DrumState("1", "Dockrope", ONLY_CELLAR), DrumState("2", "Ferrywake", ONLY_UPSTAIRS)]
    found = plan("Kilnsong Ferrywake Dockrope", drums, UPSTAIRS, CELLAR)
    assert laid_out(found) == [("Upstairs", ("Kilnsong", "Ferrywake")), ("Cellar", ("Dockrope",))]
    assert found.notes == ()


@pytest.mark.parametrize(
    ("passes", "groups"),
    [
        ((1, 1, 2), [("Kilnsong", "Ferrywake"), ("Dockrope",)]),
        ((1, 2, 2), [("Kilnsong",), ("Ferrywake", "Dockrope")]),
        ((1, 2, 3), [("Kilnsong",), ("Ferrywake",), ("Dockrope",)]),
    ],
)
def test_layers_stay_in_the_passes_that_the_recipe_gives(
    passes: tuple[int, ...], groups: list[tuple[str, ...]]
) -> None:
    layers = list(zip(("Kilnsong", "Ferrywake", "Dockrope"), passes, strict=True))
    found = plan_passes(layers, [], [UPSTAIRS], HOUSE)
    assert [each.inks for each in found.passes] == groups
    assert found.printable_now


def test_changes_are_counted_through_all_passes() -> None:
    drums = [on("1", "Kilnsong", "Upstairs", 1), on("2", "Ferrywake", "Upstairs", 2)]
    assert plan("Kilnsong Ferrywake Dockrope", drums).drum_changes == 1
    # Two machines side by side: nothing has to move.
    drums.append(on("3", "Dockrope", "Cellar", 1))
    assert plan("Kilnsong Ferrywake Dockrope", drums, UPSTAIRS, CELLAR).loaded


def test_one_ink_printed_twice_takes_two_passes_of_the_same_drum() -> None:
    found = plan("Sootwell Sootwell", [on("4", "Sootwell", "Upstairs", 1)])
    assert (found.count, found.drum_changes) == (2, 0)
    assert found.notes == ()


def test_two_drums_of_one_ink_print_it_twice_in_one_pass() -> None:
    found = plan("Sootwell Sootwell", [DrumState("4", "Sootwell"), DrumState("5", "Sootwell")])
    assert found.count == 1
    assert {layer.drum for layer in found.passes[0].layers} == {"4", "5"}


def test_an_empty_drum_is_a_change_and_named() -> None:
    found = plan("Kilnsong", [DrumState("1", "Kilnsong", None, "Upstairs", 1, "empty")])
    assert found.drum_changes == 1
    assert [str(note) for note in found.notes] == ["drum 1 of Kilnsong is empty: fill it first"]


def test_a_drum_on_a_machine_whose_position_nobody_wrote_down_is_taken_to_sit_right() -> None:
    drums = [on("1", "Kilnsong", "Upstairs", 1), DrumState("2", "Ferrywake", None, "Upstairs", None, "loaded")]
    assert plan("Kilnsong Ferrywake", drums).loaded
    assert plan("Kilnsong Ferrywake", drums, CELLAR).drum_changes == 2


def test_a_filled_drum_is_taken_before_an_empty_one() -> None:
    found = plan("Kilnsong", [DrumState("1", "Kilnsong", state="empty"), DrumState("2", "Kilnsong")])
    assert found.passes[0].layers[0].drum == "2"


def test_a_retired_ink_is_planned_but_not_printable_with_the_reason() -> None:
    found = plan("Nettlecoat Ferrywake", [])
    assert (found.count, found.printable_now, found.loaded) == (1, False, False)
    assert str(found.why_not_now) == "Nettlecoat is retired: no drum in the house"
    assert str(plan("Nettlecoat Oddlight", []).why_not_now).startswith("Nettlecoat, Oddlight are retired")


def test_a_retired_machine_prints_nothing_now() -> None:
    retired = MachineState("Cellar", in_house=False)
    only = plan("Kilnsong Ferrywake", [], retired)
    assert (laid_out(only)[0][0], only.printable_now) == ("Cellar", False)
    assert str(only.why_not_now) == "no machine is in the house"
    assert laid_out(plan("Kilnsong Ferrywake", [], retired, UPSTAIRS))[0][0] == "Upstairs"
    drums = [DrumState("1", "Kilnsong", ONLY_CELLAR)]
    assert str(plan("Kilnsong", drums, retired, UPSTAIRS).why_not_now) == ("no machine in the house takes Kilnsong")


def test_an_ink_that_fits_no_machine_at_all_still_gets_a_count() -> None:
    found = plan("Kilnsong Ferrywake Dockrope", [DrumState("1", "Kilnsong", frozenset())])
    assert (found.count, found.printable_now, found.passes[0].machine) == (2, False, None)


def test_without_any_machine_recorded_one_with_two_drums_is_assumed() -> None:
    found = plan_passes(["Kilnsong", "Ferrywake"], [], [], HOUSE)
    assert laid_out(found) == [(None, ("Kilnsong", "Ferrywake"))]
    assert found.printable_now


def test_a_machine_that_takes_one_drum_needs_a_pass_for_each_ink() -> None:
    assert plan("Kilnsong Ferrywake", [], MachineState("Upstairs", drums=1)).count == 2


def test_a_named_machine_is_kept_to() -> None:
    drums = [on("1", "Kilnsong", "Upstairs", 1), DrumState("2", "Ferrywake", ONLY_UPSTAIRS)]
    assert laid_out(plan("Kilnsong", drums, UPSTAIRS, CELLAR, machine="Cellar"))[0][0] == "Cellar"
    refused = plan("Ferrywake", drums, UPSTAIRS, CELLAR, machine="Cellar")
    assert str(refused.why_not_now) == "Cellar does not take Ferrywake"
    with pytest.raises(NotFoundError, match="no machine Loft"):
        plan("Kilnsong", drums, machine="Loft")


@pytest.mark.parametrize("inks", ["", "Kilnsong " * 9])
def test_no_layers_and_too_many_are_refused(inks: str) -> None:
    with pytest.raises(InputError):
        plan(inks, [])


def test_a_machine_takes_at_least_one_drum() -> None:
    with pytest.raises(InputError):
        MachineState("Upstairs", drums=0)


def test_two_thousand_ink_sets_are_planned_in_well_under_a_second() -> None:
    inks = [f"ink {n:02d}" for n in range(45)]
    drums = [DrumState(str(n), ink) for n, ink in enumerate(inks)]
    planner = PassPlanner(drums, [UPSTAIRS, CELLAR], inks)
    pairs = [(a, b) for a in inks for b in inks if a != b]
    start = time.perf_counter()
    first = [planner.plan(pair) for pair in pairs]
    took = time.perf_counter() - start
    assert took / len(pairs) < 1e-3  # wanted 0.1 ms; ten times that leaves room for a busy machine
    assert all(planner.plan(pair) is known for pair, known in zip(pairs, first, strict=True))


# --- against every possibility ----------------------------------------------------------------------------

NAMES = ("Cellar", "Loft", "Upstairs")
PLACES = st.sampled_from([None, *product(NAMES[:2], (1, 2))])


@st.composite
def workshops(draw: st.DrawFn) -> tuple[list[str], list[DrumState], list[MachineState]]:
    machines = [MachineState(name, draw(st.integers(1, 2))) for name in NAMES[: draw(st.integers(1, 2))]]
    drums, taken = [], set()
    for number in range(draw(st.integers(0, 4))):
        place = draw(PLACES)
        fits = draw(st.one_of(st.none(), st.frozensets(st.sampled_from(NAMES[:2]))))
        if place is None or place in taken or (fits is not None and place[0] not in fits):
            drums.append(DrumState(str(number), draw(st.sampled_from("ABC")), fits))
        else:
            taken.add(place)
            drums.append(DrumState(str(number), draw(st.sampled_from("ABC")), fits, *place, "loaded"))
    return draw(st.lists(st.sampled_from("ABC"), min_size=1, max_size=3)), drums, machines


def all_costs(inks: list[str], drums: list[DrumState], machines: list[MachineState]) -> list[tuple[int, int]]:
    """Return passes and changes of every way to print, by trying all cuts, machines, drums, positions."""
    recorded = {drum.ink for drum in drums}
    drums = drums + [DrumState(f"new {n}", ink) for n, ink in enumerate(sorted(set(inks) - recorded))]
    costs = []
    for cuts in product((False, True), repeat=len(inks) - 1):
        edges = [0, *(n + 1 for n, cut in enumerate(cuts) if cut), len(inks)]
        groups = [inks[a:b] for a, b in pairwise(edges)]
        ways = [list(ways_of(group, drums, machines)) for group in groups]
        for chosen in product(*ways):
            seats = {d.number: (d.machine, d.position) for d in drums if d.state == "loaded"}
            changes = 0
            for machine, numbers, positions in chosen:
                for number, position in zip(numbers, positions, strict=True):
                    changes += seats.get(number) != (machine, position)
                new = {n: (machine, p) for n, p in zip(numbers, positions, strict=True)}
                seats = {n: seat for n, seat in seats.items() if seat not in new.values()} | new
            costs.append((len(groups), changes))
    return costs


def ways_of(group: list[str], drums: list[DrumState], machines: list[MachineState]):  # type: ignore[no-untyped-def]
    for machine in machines:
        own = [
            [d.number for d in drums if d.ink == ink and (d.fits is None or machine.name in d.fits)] for ink in group
        ]
        for numbers in product(*own):
            if len(set(numbers)) == len(group):
                for positions in combinations(range(1, machine.drums + 1), len(group)):
                    yield machine.name, numbers, positions


@settings(derandomize=True, deadline=None, max_examples=300)
@given(workshop=workshops())
def test_no_other_way_has_fewer_passes_or_at_equal_passes_fewer_changes(
    workshop: tuple[list[str], list[DrumState], list[MachineState]],
) -> None:
    inks, drums, machines = workshop
    found = plan_passes(inks, drums, machines, set(inks))
    costs = all_costs(inks, drums, machines)
    assert found.printable_now is bool(costs)
    if costs:
        assert (found.count, found.drum_changes) == min(costs)


@settings(derandomize=True, deadline=None, max_examples=100)
@given(workshop=workshops(), random=st.randoms())
def test_a_plan_keeps_the_order_and_does_not_hang_on_the_order_of_the_records(workshop, random) -> None:  # type: ignore[no-untyped-def]
    inks, drums, machines = workshop
    found = plan_passes(inks, drums, machines, set(inks))
    assert [ink for each in found.passes for ink in each.inks] == inks
    for each in found.passes:
        positions = [layer.position for layer in each.layers]
        assert positions == sorted(set(positions))
    random.shuffle(drums)
    random.shuffle(machines)
    assert plan_passes(inks, drums, machines, set(inks)) == found
