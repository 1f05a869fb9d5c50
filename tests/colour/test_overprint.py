"""The values of the overprint model: what it refuses, what it calls proven, and its plain form."""

from __future__ import annotations

import json
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.colour.overprint import OverprintModel, ink_set_data
from archive.colour.overprint_design import eleven, one_ink_ramp
from archive.colour.overprint_fit import fit_overprint
from archive.errors import ColourError
from tests.colour.overprint_press import nearest_nodes, nodes


@lru_cache(maxsize=4)
def pair_model(noise: float = 0.3, design: int = 11) -> OverprintModel:
    tints, lab = nodes("FOGRA30L", (0, 1))
    rows = nearest_nodes(tints, eleven()[:design])
    return fit_overprint(ink_set_data(tints[rows], lab[rows], noise))


def test_the_plain_form_comes_back_the_same() -> None:
    model = pair_model()
    again = OverprintModel.from_plain(json.loads(json.dumps(model.to_plain())))
    tints = np.random.default_rng(0).uniform(0, 100, (50, 2))
    assert again.predict(tints).lab == pytest.approx(model.predict(tints).lab, abs=1e-9)
    assert again.predict(tints).sd == pytest.approx(model.predict(tints).sd, abs=1e-9)
    assert again.to_plain() == model.to_plain()


@pytest.mark.parametrize("broken", [{}, {"version": 0}, {"lab": "red"}, {"lengths": None}, {"parameters": [1.0]}])
def test_a_broken_plain_form_is_refused(broken: dict[str, object]) -> None:
    plain = {**pair_model().to_plain(), **broken} if broken else {}
    with pytest.raises(ColourError, match="cannot be read"):
        OverprintModel.from_plain(plain)


def test_patches_that_were_read_are_proven_and_come_back_as_read() -> None:
    model = pair_model(0.05)
    said = model.predict(model.data.tints)
    assert set(said.evidence) == {"proven"}
    assert np.abs(said.lab - model.data.lab).max() < 0.5


def test_between_patches_is_worked_out_and_an_unprinted_overprint_a_guess() -> None:
    assert pair_model().evidence([[37.0, 61.0], [50.0, 0.0]]) == ("worked out", "proven")
    solids_only = pair_model(0.3, 3)
    assert solids_only.evidence([[37.0, 61.0], [37.0, 0.0], [0.0, 0.0]]) == ("guess", "worked out", "proven")


def test_a_guess_is_wider_than_what_is_worked_out() -> None:
    recipe = [[80.0, 80.0]]
    assert pair_model(0.3, 3).predict(recipe).sd[0] > 3 * pair_model().predict(recipe).sd[0]


def test_colours_alone_are_the_predicted_ones() -> None:
    tints = np.random.default_rng(1).uniform(0, 100, (5000, 2))  # more than one block
    assert pair_model().lab_of(tints) == pytest.approx(pair_model().predict(tints).lab, abs=1e-12)


def test_no_recipes_give_no_answers() -> None:
    said = pair_model().predict(np.empty((0, 2)))
    assert said.lab.shape == (0, 3)
    assert said.sd.shape == (0,)
    assert said.evidence == ()


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0, 100)), min_size=1, max_size=6))
def test_order_of_recipes_does_not_matter(recipes: list[tuple[float, float]]) -> None:
    said, turned = pair_model().predict(recipes), pair_model().predict(recipes[::-1])
    assert turned.lab[::-1] == pytest.approx(said.lab, abs=1e-9)
    assert turned.sd[::-1] == pytest.approx(said.sd, abs=1e-9)
    assert (said.sd > 0).all()


def test_one_ink_is_a_ramp_from_paper_to_solid() -> None:
    tints, lab = nodes("FOGRA30L", (0,))
    rows = nearest_nodes(tints, one_ink_ramp()[[0, 6, 8, 9, 15]])
    model = fit_overprint(ink_set_data(tints[rows], lab[rows], 0.1))
    assert np.abs(model.predict(tints).lab - lab).max() < 1.5
    assert (np.diff(model.predict(np.arange(0, 101, 5.0)[:, None]).lab[:, 0]) < 0).all()


def test_order_of_inks_only_names_the_columns() -> None:
    tints, lab = nodes("FOGRA30L", (0, 1))
    rows = nearest_nodes(tints, eleven())
    one = fit_overprint(ink_set_data(tints[rows], lab[rows], 0.3)).lab_of([[30.0, 70.0]])
    other = fit_overprint(ink_set_data(tints[rows][:, ::-1], lab[rows], 0.3)).lab_of([[70.0, 30.0]])
    assert other == pytest.approx(one, abs=0.05)


def test_a_patch_read_twice_counts_more() -> None:
    tints, lab = nodes("FOGRA30L", (0, 1))
    rows = nearest_nodes(tints, eleven())
    once = fit_overprint(ink_set_data(tints[rows], lab[rows], 0.8))
    twice = fit_overprint(ink_set_data(np.repeat(tints[rows], 2, axis=0), np.repeat(lab[rows], 2, axis=0), 0.8))
    assert twice.predict([[50.0, 50.0]]).sd < once.predict([[50.0, 50.0]]).sd


PAPER, SOLID = [95.0, 0.0, 3.0], [55.0, -30.0, -40.0]


@pytest.mark.parametrize(
    ("tints", "lab", "noise", "words"),
    [
        ([[100.0]], [SOLID], 0.5, "bare paper is missing"),
        ([[0.0], [50.0]], [PAPER, SOLID], 0.5, "solid of ink 1 is missing"),
        ([[0.0, 0.0], [100.0, 0.0]], [PAPER, SOLID], 0.5, "solid of ink 2 is missing"),
        ([[0.0], [100.0]], [PAPER], 0.5, "do not pair"),
        ([[0.0], [120.0]], [PAPER, SOLID], 0.5, "between 0 and 100"),
        ([[0.0] * 5, [100.0] * 5], [PAPER, SOLID], 0.5, "not one row a recipe"),
        ([["a"], ["b"]], [PAPER, SOLID], 0.5, "must be numbers"),
        ([[0.0], [100.0]], [PAPER, SOLID], -1.0, "zero or more"),
        ([[0.0], [100.0]], [PAPER, [500.0, 0, 0]], 0.5, "L\\*"),
    ],
)
def test_bad_patches_are_refused_by_name(tints: list, lab: list, noise: float, words: str) -> None:
    with pytest.raises(ColourError, match=words):
        ink_set_data(tints, lab, noise)


@pytest.mark.parametrize("tints", [[[50.0]], [[50.0, 50.0, 50.0]], [50.0, 50.0], [[50.0, np.nan]], [[-1.0, 0.0]]])
def test_recipes_of_another_set_are_refused(tints: list) -> None:
    with pytest.raises(ColourError):
        pair_model().predict(tints)
