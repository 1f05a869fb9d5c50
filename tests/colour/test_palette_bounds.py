"""No bound may ever be above the distance it bounds: the search is exact only for that."""

from __future__ import annotations

import numpy as np
import pytest

from archive.colour.palette_bounds import (
    ROUNDING,
    bounds_from,
    bounds_to,
    least_prices,
    potential_bounds,
    potentials_of,
)
from archive.colour.palette_search import PaletteIndex
from tests.colour.palettes import Palettes, at_random, ciede2000, printed, solved

KINDS = [printed, at_random]


def index_of(palettes: Palettes) -> PaletteIndex:
    return PaletteIndex.build(palettes.lab, palettes.share, palettes.count)


@pytest.mark.parametrize("kind", KINDS)
def test_no_price_is_above_a_move_into_its_cell(kind) -> None:
    rng = np.random.default_rng(1)
    palettes = kind(3000, rng)
    index = index_of(palettes)
    wanted = np.concatenate([palettes.lab[:12], rng.normal((50, 0, 0), 1, (12, 3)), kind(6, rng).lab[:12]])
    prices = least_prices(wanted, index.cells)
    row = np.concatenate([np.arange(count) for count in palettes.count])
    column = np.repeat(np.arange(len(palettes.count)), palettes.count)
    cell_of = index.cells.cell[row, column]
    for number, lab in enumerate(wanted):  # 0.6 million checks for each kind
        true = ciede2000(lab, palettes.lab)
        assert (prices[cell_of, number] <= true + 1e-9).all()
    assert prices.min(axis=0)[:12] == pytest.approx(0, abs=1e-6)  # of cells that hold the wanted colour


@pytest.mark.parametrize("kind", KINDS)
def test_no_bound_is_above_the_distance(kind) -> None:
    rng = np.random.default_rng(2)
    palettes, questions = kind(1000, rng), kind(8, rng)
    index = index_of(palettes)
    for number in range(8):
        lab, share = questions.one(number)
        true = solved((lab, share), palettes, np.arange(60))
        prices, cells = least_prices(lab, index.cells), index.cells.some(np.arange(60))
        least = np.maximum(bounds_from(prices, cells), bounds_to(prices, share, cells))
        assert (least <= true).all()
        assert np.median(least) > 0.2 * np.median(true)  # and it is worth something
        for scale in (1.0, 10.0, 80.0):  # whatever the potentials: 0.4 million checks a kind
            for potentials in rng.normal(0, scale, (300, len(share))):
                assert (potential_bounds(prices, potentials, share, cells) <= true).all()


@pytest.mark.parametrize("kind", KINDS)
def test_potentials_of_a_solution_bound_its_own_distance_tightly(kind) -> None:
    import cv2

    rng = np.random.default_rng(3)
    palettes, (lab, share) = kind(40, rng), kind(1, rng).one(0)
    true = solved((lab, share), palettes, np.arange(40))
    for number in range(40):
        own, room = palettes.one(number)
        price = ciede2000(lab[:, None], own[None])
        give, take = (part.astype(np.float32)[:, None] for part in (share, room))
        flow = cv2.EMD(give, take, cv2.DIST_USER, cost=price.astype(np.float32))[2]
        (u,) = potentials_of(price[None], flow[None])
        v = (price - u[:, None]).min(axis=0)
        assert share @ u + room @ v <= true[number] + 1e-9
        assert share @ u + room @ v == pytest.approx(true[number], abs=1e-3)


def test_rounding_is_allowed_for() -> None:
    # single precision keeps 24 bits: twelve products below 200 and their sum lose less than this
    assert ROUNDING > 12 * 200 * 2.0**-23
