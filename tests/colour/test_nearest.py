"""The search against trying all swatches, and the bound it rests on."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.colour.box_bound import delta_e_2000_bound
from archive.colour.difference import delta_e_2000, delta_e_2000_from
from archive.colour.nearest import SwatchIndex
from archive.errors import ColourError, InputError

GROUPS = ("near stored", "near neutral", "dark", "blue", "outside")


def queries(group: str, count: int, stored: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return wanted colours of one kind; each kind strains another part of the formula."""
    polar = np.empty((count, 3))
    match group:
        case "near stored":
            lab = stored[rng.integers(len(stored), size=count)] + rng.normal(0, 3, (count, 3))
            lab[::5] = stored[rng.integers(len(stored), size=len(lab[::5]))]
            return np.clip(lab, (0, -128, -128), (100, 128, 128))
        case "near neutral":
            return np.column_stack([rng.uniform(0, 100, count), rng.normal(0, 1.5, (count, 2))])
        case "dark":
            return np.column_stack([rng.uniform(0, 15, count), rng.normal(0, 12, (count, 2))])
        case "blue":  # hues of 240-310 degrees, where the formula rotates
            polar[:] = rng.uniform((5, 5, 240), (95, 90, 310), (count, 3))
        case _:
            polar[:] = rng.uniform((0, 90, 0), (110, 180, 360), (count, 3))
    hue = np.radians(polar[:, 2])
    return np.column_stack([polar[:, 0], polar[:, 1] * np.cos(hue), polar[:, 1] * np.sin(hue)])


def printed_colours(count: int, rng: np.random.Generator) -> np.ndarray:
    """Return mixtures of paper and two inks for some pairs, as past prints would hold them."""
    pairs = 25
    paper = rng.normal((91, 0, 4), (2, 1, 2), (pairs, 1, 3))
    first, second = rng.uniform((20, -60, -60), (75, 60, 70), (2, pairs, 1, 3))
    x, y = rng.uniform(0, 1, (2, pairs, count // pairs, 1))
    mixed = (1 - x) * (1 - y) * paper + x * (1 - y) * first + (1 - x) * y * second
    return (mixed + x * y * (first + second) * 0.4).reshape(-1, 3).clip((0, -128, -128), (100, 128, 128))


def boxes_about(wanted: np.ndarray, count: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Return boxes of all sizes, half of them close to the wanted colour."""
    centre = np.where(
        rng.random((count, 1)) < 0.5,
        wanted + rng.normal(0, 15, (count, 3)),
        np.column_stack([rng.uniform(0, 100, count), rng.normal(0, 40, (count, 2))]),
    )
    half = rng.choice([0, 0.5, 2, 8, 30], size=(count, 1)) * rng.uniform(0, 1, (count, 3))
    edges = (0, -200, -200), (115, 200, 200)
    return np.clip(centre - half, *edges), np.clip(centre + half, *edges)


def points_in(low: np.ndarray, high: np.ndarray, wanted: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return 16 points of each box: inside, on its faces and corners, and the one next to the wanted colour."""
    share = rng.random((16, *low.shape))
    share = np.where(rng.random(share.shape) < 0.4, share.round(), share)
    points = low + (high - low) * share
    points[0] = np.clip(wanted, low, high)
    return points.clip(low, high)


@pytest.mark.parametrize("group", GROUPS)
def test_no_colour_of_a_box_is_nearer_than_its_bound(group):
    rng = np.random.default_rng(GROUPS.index(group))
    stored = printed_colours(500, rng)
    for wanted in queries(group, 60, stored, rng):
        low, high = boxes_about(wanted, 1000, rng)
        points = points_in(low, high, wanted, rng)
        delta_e = delta_e_2000_from(wanted, points.reshape(-1, 3).T).reshape(16, -1)
        assert (delta_e_2000_bound(wanted, low, high) <= delta_e.min(axis=0)).all()


def test_the_bound_of_a_point_is_nearly_its_difference():
    # A bound of zero everywhere would be right and useless. Here the box has no size, so that only what the
    # proof gives away on the hue's mean and the formula's jumps is left.
    rng = np.random.default_rng(9)
    wanted, others = rng.uniform((5, -60, -60), (95, 60, 60), (2, 400, 3))
    bounds = np.array([delta_e_2000_bound(w, o[None], o[None])[0] for w, o in zip(wanted, others, strict=True)])
    assert np.median(bounds / delta_e_2000(wanted, others)) > 0.99


def test_a_box_around_the_wanted_colour_has_no_bound():
    for wanted in queries("near neutral", 50, np.empty((0, 3)), np.random.default_rng(2)):
        assert delta_e_2000_bound(wanted, wanted[None] - 1, wanted[None] + 2)[0] == 0


def by_trying_all(wanted: np.ndarray, lab: np.ndarray, allowed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the allowed rows and all differences, nearest first, the lower row first among equals."""
    delta_e = delta_e_2000(wanted, lab)
    order = np.lexsort((np.arange(len(lab)), delta_e))
    order = order[allowed[order]]
    return order, delta_e[order]


def best_by_trying_all(wanted, lab, keys, radius, at_least, allowed):
    order, delta_e = by_trying_all(wanted, lab, allowed)
    best: dict[int, list[float]] = {}
    for row, difference in zip(order.tolist(), delta_e.tolist(), strict=True):
        found = best.setdefault(int(keys[row]), [row, difference, 0])
        found[2] += difference <= radius
    rows = [(key, *found) for key, found in best.items()]  # in order of each key's nearest swatch
    wanted_count = max(at_least, sum(row[2] <= radius for row in rows))
    return rows[:wanted_count]


@pytest.fixture(scope="module")
def swatches() -> tuple[np.ndarray, np.ndarray, np.ndarray, SwatchIndex]:
    rng = np.random.default_rng(44)
    lab = printed_colours(6000, rng)
    lab[3000:3200] = lab[:200]  # the same colour printed twice: ties
    keys = rng.integers(0, 1500, len(lab))
    return lab, keys, rng.random(len(lab)) < 0.3, SwatchIndex(lab)


@pytest.mark.parametrize("group", GROUPS)
def test_answers_equal_trying_all_to_the_last_bit(swatches, group):
    lab, _, some, index = swatches
    everything = np.ones(len(lab), dtype=bool)
    for wanted in queries(group, 30, lab, np.random.default_rng(7)):
        for allowed, mask in ((None, everything), (some, some)):
            order, delta_e = by_trying_all(wanted, lab, mask)
            near = index.nearest(wanted, 10, allowed)
            assert np.array_equal(near.index, order[:10])
            assert np.array_equal(near.delta_e, delta_e[:10])
            for radius in (0.0, 3.0, 12.0):
                within = index.within(wanted, radius, allowed)
                assert np.array_equal(within.index, order[delta_e <= radius])
                assert np.array_equal(within.delta_e, delta_e[delta_e <= radius])


@pytest.mark.parametrize("group", GROUPS)
def test_each_recipes_best_equals_trying_all(swatches, group):
    lab, keys, some, index = swatches
    for wanted in queries(group, 6, lab, np.random.default_rng(8)):
        for radius, at_least in ((12.0, 5), (0.5, 40), (3.0, 0)):
            best = index.best_per_key(wanted, keys, radius=radius, at_least=at_least, allowed=some)
            rows = best_by_trying_all(wanted, lab, keys, radius, at_least, some)
            ours = zip(best.key, best.index, best.delta_e, best.count, strict=True)
            assert [tuple(each) for each in ours] == rows


def test_when_all_are_asked_for_all_come(swatches):
    lab, keys, some, index = swatches
    assert len(index.nearest((50, 0, 0), len(lab) + 5).index) == len(lab)
    best = index.best_per_key((50, 0, 0), keys, radius=1, at_least=10**6, allowed=some)
    assert set(best.key.tolist()) == set(keys[some].tolist())
    assert len(index.within((50, 0, 0), np.inf).index) == len(lab)


def test_nothing_allowed_finds_nothing(swatches):
    lab, keys, _, index = swatches
    none = np.zeros(len(lab), dtype=bool)
    assert len(index.nearest((50, 0, 0), 3, none).index) == 0
    assert len(index.within((50, 0, 0), 100, none).index) == 0
    assert len(index.best_per_key((50, 0, 0), keys, radius=12, at_least=3, allowed=none).key) == 0
    assert len(index.nearest((50, 0, 0), 0).index) == 0


def test_an_empty_archive_finds_nothing():
    index = SwatchIndex(np.empty((0, 3)))
    assert len(index) == 0
    assert len(index.nearest((50, 0, 0), 3).index) == 0
    assert len(index.within((50, 0, 0), 12, np.empty(0, dtype=bool)).index) == 0
    assert len(index.best_per_key((50, 0, 0), np.empty(0, dtype=int), radius=12, at_least=3).key) == 0


@pytest.mark.parametrize("count", [1, 2, 47, 48, 49, 97, 193])
def test_archives_of_any_size_lose_no_swatch(count):
    lab = np.random.default_rng(count).uniform((0, -60, -60), (100, 60, 60), (count, 3))
    assert sorted(SwatchIndex(lab).within((50, 0, 0), np.inf).index.tolist()) == list(range(count))


def test_among_equals_the_lower_row_comes_first():
    index = SwatchIndex(np.tile([[60.0, 10.0, 20.0]], (300, 1)))
    assert index.nearest((55, 10, 20), 5).index.tolist() == [0, 1, 2, 3, 4]
    best = index.best_per_key((55, 10, 20), np.arange(300)[::-1] // 100, radius=12, at_least=1)
    assert best.key.tolist() == [2, 1, 0]
    assert best.index.tolist() == [0, 100, 200]
    assert best.count.tolist() == [100, 100, 100]


@settings(max_examples=30, deadline=None)
@given(st.permutations(range(60)), st.integers(0, 2**32 - 1))
def test_the_order_of_rows_changes_no_distance(order, seed):
    rng = np.random.default_rng(seed)
    lab = rng.uniform((0, -60, -60), (100, 60, 60), (60, 3))
    wanted = rng.uniform((0, -60, -60), (100, 60, 60))
    plain, mixed = SwatchIndex(lab).nearest(wanted, 7), SwatchIndex(lab[list(order)]).nearest(wanted, 7)
    assert np.array_equal(plain.delta_e, mixed.delta_e)


def test_the_swatches_may_change_after_the_index_was_built():
    lab = np.array([[50.0, 0.0, 0.0], [70.0, 0.0, 0.0]])
    index = SwatchIndex(lab)
    lab[0] = 90
    assert index.nearest((50, 0, 0), 1).delta_e.tolist() == [0.0]


def test_malformed_questions_are_refused(swatches):
    lab, keys, some, index = swatches
    with pytest.raises(ColourError):
        SwatchIndex([50, 0, 0])
    with pytest.raises(ColourError):
        SwatchIndex([[50, 0, float("nan")]])
    with pytest.raises(ColourError):
        index.nearest(lab[:2], 3)
    with pytest.raises(InputError, match="do not fit"):
        index.within((50, 0, 0), 3, some[:-1])
    with pytest.raises(InputError, match="do not fit"):
        index.best_per_key((50, 0, 0), keys[:-1], radius=3, at_least=1)
    with pytest.raises(InputError, match="whole numbers"):
        index.best_per_key((50, 0, 0), keys * 0.5, radius=3, at_least=1)
