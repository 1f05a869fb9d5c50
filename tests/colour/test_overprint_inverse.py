"""From a colour to tints: against tints known beforehand, and against trying a fine grid."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from archive.colour.difference import delta_e_2000
from archive.colour.overprint import OverprintModel, ink_set_data
from archive.colour.overprint_design import eleven, spread_out
from archive.colour.overprint_fit import fit_overprint
from archive.colour.overprint_inverse import reach_of, solve, solve_among
from archive.errors import ColourError
from tests.colour.overprint_press import PAIRS, nearest_nodes, nodes


@lru_cache(maxsize=8)
def pair_model(pair: str) -> OverprintModel:
    tints, lab = nodes("FOGRA30L", PAIRS[pair])
    rows = nearest_nodes(tints, eleven())
    return fit_overprint(ink_set_data(tints[rows], lab[rows], 0.3))


def some_colours(count: int, seed: int) -> np.ndarray:
    random = np.random.default_rng(seed)
    return np.column_stack([random.uniform(20, 95, count), random.uniform(-60, 60, (count, 2))])


def test_a_colour_of_the_pair_gets_its_own_tints_back() -> None:
    model = pair_model("CM")
    tints = np.random.default_rng(0).uniform(0, 100, (30, 2))
    found = solve(model, model.lab_of(tints))
    assert found.delta_e_2000 == pytest.approx(np.zeros(30), abs=1e-3)
    assert found.tints == pytest.approx(tints, abs=0.05)
    assert model.lab_of(found.tints) == pytest.approx(found.lab, abs=1e-9)


@pytest.mark.parametrize("count", [40, 80])  # below and above where a tree takes over
def test_nothing_on_a_fine_grid_is_nearer(count: int) -> None:
    model, wanted = pair_model("MY"), some_colours(count, 1)
    grid = reach_of(model, 201)
    least = np.array([delta_e_2000(each, grid.lab).min() for each in wanted])
    found = solve(model, wanted)
    assert found.delta_e_2000 == pytest.approx(delta_e_2000(found.lab, wanted), abs=1e-9)
    # a colour far outside (here by up to 63) has near-equal hollows: the grid may start in the next best
    assert (found.delta_e_2000 <= least + 0.1).all()
    assert ((found.tints >= 0) & (found.tints <= 100)).all()


def test_three_inks_are_solved_too() -> None:
    inks = (0, 1, 2)
    tints, lab = nodes("FOGRA30L", inks)
    rows = spread_out(tints, 27)
    model = fit_overprint(ink_set_data(tints[rows], lab[rows], 0.3))
    wanted = model.lab_of(np.random.default_rng(2).uniform(0, 100, (5, 3)))
    assert solve(model, wanted, reach=reach_of(model, 21)).delta_e_2000.max() < 0.1


def test_the_quick_search_among_sets_finds_the_same_best_one() -> None:
    models = [pair_model(pair) for pair in PAIRS]
    for wanted in some_colours(6, 3):
        quick = solve_among(models, wanted)
        full = [solve(model, wanted[None]) for model in models]
        best = int(np.argmin([each.delta_e_2000[0] for each in full]))
        assert int(np.argmin([each.delta_e_2000[0] for each in quick])) == best
        assert quick[best].delta_e_2000 == pytest.approx(full[best].delta_e_2000, abs=0.05)


def test_no_sets_give_no_answers_and_no_colour_is_refused() -> None:
    assert solve_among([], [50.0, 0.0, 0.0]) == []
    with pytest.raises(ColourError):
        solve(pair_model("CM"), [[150.0, 0.0, 0.0]])
