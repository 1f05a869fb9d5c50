from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from archive.colour.difference import delta_e_2000
from archive.colour.palette import Palette, PaletteColour
from archive.colour.transport import (
    Move,
    earth_movers_distance,
    palette_parts,
    transport_cost,
    transport_costs,
)
from archive.errors import ColourError

PAPER = (93.0, 0.0, 6.0)


def _palette(*parts: tuple[tuple[float, float, float], float], paper_share: float = 0.0) -> Palette:
    return Palette(PAPER, paper_share, True, tuple(PaletteColour(lab, share) for lab, share in parts))


def _random(seed: int) -> Palette:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 13))
    lab = rng.uniform((10, -60, -60), (95, 60, 60), (count, 3))
    shares = rng.dirichlet(np.ones(count + 1))
    parts = [(tuple(map(float, one)), float(share)) for one, share in zip(lab, shares, strict=False)]
    return _palette(*parts, paper_share=float(shares[-1]))  # type: ignore[arg-type]


SEEDS = st.integers(0, 10_000)
LABS = st.tuples(st.floats(5, 95), st.floats(-60, 60), st.floats(-60, 60))


@given(LABS, LABS)
def test_palettes_of_one_colour_are_as_far_apart_as_the_colours(one: tuple, other: tuple) -> None:
    found = earth_movers_distance(_palette((one, 1.0)), _palette((other, 1.0)))
    assert found == pytest.approx(delta_e_2000(one, other), abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(SEEDS, SEEDS)
def test_distance_is_symmetric_and_zero_to_itself(one: int, other: int) -> None:
    there = earth_movers_distance(_random(one), _random(other))
    assert there == pytest.approx(earth_movers_distance(_random(other), _random(one)), abs=1e-7)
    assert earth_movers_distance(_random(one), _random(one)) == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.integers(2, 9), SEEDS)
def test_equal_shares_cost_what_the_best_pairing_costs(count: int, seed: int) -> None:
    # With equal shares on both sides moving is an assignment (Birkhoff), which scipy solves by another method
    cost = np.random.default_rng(seed).uniform(0, 50, (count, count))
    equal = np.full(count, 1 / count)
    rows, columns = linear_sum_assignment(cost)
    assert transport_cost(cost, equal, equal) == pytest.approx(cost[rows, columns].mean(), abs=1e-9)


def test_moving_part_of_a_colour_costs_its_part() -> None:
    black, grey = (20.0, 0.0, 0.0), (50.0, 0.0, 0.0)
    mixed, plain = _palette((black, 0.25), (grey, 0.75)), _palette((grey, 1.0))
    assert earth_movers_distance(mixed, plain) == pytest.approx(0.25 * float(delta_e_2000(black, grey)))


def test_shares_of_paper_do_not_count_unless_asked() -> None:
    little, much = (
        _palette(((40.0, 0.0, -40.0), 0.1), paper_share=0.9),
        _palette(((40.0, 0.0, -40.0), 0.6), paper_share=0.4),
    )
    assert earth_movers_distance(little, much) == pytest.approx(0.0, abs=1e-9)
    across = float(delta_e_2000(PAPER, (40.0, 0.0, -40.0)))
    assert earth_movers_distance(little, much, with_paper=True) == pytest.approx(0.5 * across)


def test_blank_sheet_is_its_paper() -> None:
    lab, shares = palette_parts(_palette(paper_share=1.0))
    assert lab.tolist() == [list(PAPER)]
    assert shares.tolist() == [1.0]


def test_palette_without_any_colour_is_refused() -> None:
    with pytest.raises(ColourError):
        earth_movers_distance(Palette(None, 0.0, False, ()), _random(1))


def test_supply_and_demand_must_meet() -> None:
    with pytest.raises(ColourError):
        transport_cost([[1.0, 2.0]], [1.0], [0.4, 0.4])


def test_several_moves_solved_together_cost_what_each_costs_alone() -> None:
    rng = np.random.default_rng(8)
    moves = [
        Move(rng.uniform(0, 50, (m, n)), rng.dirichlet(np.ones(m)), rng.dirichlet(np.ones(n)))
        for m, n in ((1, 1), (1, 5), (6, 1), (4, 7), (12, 12))
    ]
    alone = [transport_cost(move.cost, move.supply, move.demand) for move in moves]
    assert transport_costs(moves) == pytest.approx(alone, abs=1e-9)
    assert transport_costs([]) == []
