"""The tree of swatches against trying all, the bound it rests on, and the file that keeps it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.colour import tree_file, tree_kernel, tree_plain
from archive.colour.box_bound import delta_e_2000_bound
from archive.colour.difference import delta_e_2000
from archive.colour.tree import SwatchTree
from archive.errors import CatalogueError, ColourError, InputError

ROOT = Path(__file__).resolve().parents[2]
GROUPS = ("near stored", "near neutral", "dark", "blue", "outside")
COUNT = 20_000


def polar(L, C, degrees):
    return np.column_stack([L, C * np.cos(np.radians(degrees)), C * np.sin(np.radians(degrees))])


def queries(group, count, stored, rng):
    """Return wanted colours of one kind; each kind strains another part of the formula."""
    match group:
        case "near stored":
            lab = stored[rng.integers(len(stored), size=count)] + rng.normal(0, 3, (count, 3))
            lab[::5] = stored[rng.integers(len(stored), size=len(lab[::5]))]
            return lab.clip((0, -128, -128), (100, 128, 128))
        case "near neutral":
            return np.column_stack([rng.uniform(0, 100, count), rng.normal(0, 1.5, (count, 2))])
        case "dark":
            return np.column_stack([rng.uniform(0, 15, count), rng.normal(0, 12, (count, 2))])
        case "blue":  # hues of 240-310 degrees, where the formula rotates
            return polar(*rng.uniform((5, 5, 240), (95, 90, 310), (count, 3)).T)
        case _:
            return polar(*rng.uniform((0, 90, 0), (110, 180, 360), (count, 3)).T)


def printed_colours(count, rng, pairs=40):
    """Return mixtures of paper and two inks for some pairs, as past prints would hold them."""
    paper = rng.normal((91, 0, 4), (2, 1, 2), (pairs, 1, 3))
    first, second = rng.uniform((20, -60, -60), (75, 60, 70), (2, pairs, 1, 3))
    x, y = rng.uniform(0, 1, (2, pairs, count // pairs, 1))
    mixed = (1 - x) * (1 - y) * paper + x * (1 - y) * first + (1 - x) * y * second
    return (mixed + x * y * (first + second) * 0.4).reshape(-1, 3).clip((0, -128, -128), (100, 128, 128))


# --- the bound ----------------------------------------------------------------------------------------------


def boxes_about(wanted, count, rng):
    """Return boxes of all sizes, half of them close to the wanted colour, some with an edge on the grey axis."""
    centre = np.where(
        rng.random((count, 1)) < 0.5,
        wanted + rng.normal(0, 15, (count, 3)),
        np.column_stack([rng.uniform(0, 100, count), rng.normal(0, 45, (count, 2))]),
    )
    # Some lie straight across the grey axis, where the mean hue jumps.
    centre[: count // 10, 1:] = -wanted[1:] * rng.uniform(0, 1.5, (count // 10, 1))
    half = rng.choice([0, 0.5, 2, 8, 30], size=(count, 1)) * rng.uniform(0, 1, (count, 3))
    edges = (0, -200, -200), (115, 200, 200)
    low, high = np.clip(centre - half, *edges), np.clip(centre + half, *edges)
    touches = rng.random((count, 3)) < (0, 0.1, 0.1)
    low, high = np.where(touches & (low > 0), 0.0, low), np.where(touches & (high < 0), 0.0, high)
    return np.hstack([low, high]).astype(np.float32)


def points_in(boxes, rng):
    """Return 6 points of each box: inside, on its faces and on its corners."""
    low, high = boxes[:, :3].astype(float), boxes[:, 3:].astype(float)
    share = rng.random((6, len(boxes), 3))
    share = np.where(rng.random(share.shape) < 0.4, share.round(), share)
    return (low + (high - low) * share).clip(low, high)


def least_differences(wanted, boxes, points):
    """Return each box's least difference among its points and the point of it next to the wanted colour."""
    nearest = wanted.clip(boxes[:, :3], boxes[:, 3:])
    delta_e = tree_kernel.differences(wanted, np.concatenate([points.reshape(-1, 3), nearest]))
    return delta_e.reshape(7, -1).min(axis=0)


def test_no_colour_of_two_million_boxes_is_nearer_than_the_bound():
    checks, nearly = 0, []
    for group in GROUPS:
        rng = np.random.default_rng(GROUPS.index(group))
        anchors = queries(group, 20, printed_colours(400, rng), rng)
        for anchor in anchors:
            boxes = boxes_about(anchor, 1000, rng)
            points = points_in(boxes, rng)
            for wanted in (anchor + rng.normal(0, 1, (21, 3)) * np.arange(21)[:, None] / 10).clip((0, -200, -200)):
                least, bound = least_differences(wanted, boxes, points), tree_kernel.bounds(wanted, boxes)
                assert (bound <= least).all()
                checks += len(boxes)
                nearly.append(np.median(bound[least > 0] / least[least > 0]))
    assert checks >= 2_000_000
    assert np.mean(nearly) > 0.8  # a bound of zero everywhere would be right and useless


def test_a_grey_colour_or_a_box_on_the_axis_keeps_its_bound():
    rng = np.random.default_rng(5)
    for wanted in ([50.0, 0, 0], [50.0, 1e-9, 0], [5.0, 0, -1e-300], [96.0, -0.0, -0.0], [30.0, -40.0, 0.0]):
        boxes = boxes_about(np.zeros(3), 2000, rng)
        boxes[:400, 1:3] = boxes[:400, 4:] = 0
        boxes[400:800, 2] = boxes[400:800, 5] = 0
        bound = tree_kernel.bounds(np.array(wanted), boxes)
        assert (bound <= least_differences(np.array(wanted), boxes, points_in(boxes, rng))).all()


def test_a_mean_hue_of_zero_or_a_full_turn_keeps_its_bound():
    # Mirrored in the a* axis the mean hue is 0 or 360 degrees, by the last bit, and the formula's rotation jumps there.
    rng = np.random.default_rng(11)
    for L, a, b in rng.uniform((20, 5, -90), (80, 90, 90), (3000, 3)).astype(np.float32):
        mirrored = np.array([[L, a, -b], [L, 2 * a, -2 * b], [L, a / 2, -b / 2], [L, -a, b], [L, -2 * a, 2 * b]])
        boxes = np.hstack([mirrored, mirrored]).astype(np.float32)
        wanted = np.array([L, a, b], dtype=float)
        delta_e = tree_kernel.differences(wanted, mirrored.astype(float))
        assert (tree_kernel.bounds(wanted, boxes) <= delta_e).all()


@pytest.mark.parametrize("group", GROUPS)
def test_the_compiled_bound_is_never_below_the_one_in_numpy(group):
    rng = np.random.default_rng(3)
    for wanted in queries(group, 20, printed_colours(400, rng), rng):
        boxes = boxes_about(wanted, 2000, rng)
        plain = delta_e_2000_bound(wanted, boxes[:, :3].astype(float), boxes[:, 3:].astype(float))
        assert (tree_kernel.bounds(wanted, boxes) >= plain - 1e-8).all()


def test_far_from_the_blues_both_bounds_are_one():
    # From yellow to green nothing rotates, and no box here lies across the axis: what the compiled one adds is nothing.
    rng = np.random.default_rng(4)
    wanted = polar(*rng.uniform((20, 20, 80), (90, 80, 110), (40, 3)).T)
    centres = polar(*rng.uniform((20, 20, 80), (90, 80, 110), (1000, 3)).T)
    boxes = np.hstack([centres - 2, centres + 2]).astype(np.float32)
    for colour in wanted:
        plain = delta_e_2000_bound(colour, boxes[:, :3].astype(float), boxes[:, 3:].astype(float))
        np.testing.assert_allclose(tree_kernel.bounds(colour, boxes), plain, atol=1e-8)


# --- answers ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def swatches():
    rng = np.random.default_rng(44)
    lab = printed_colours(COUNT, rng)
    lab[10_000:10_200] = lab[:200]  # the same colour printed twice: ties
    keys = rng.integers(0, 3000, COUNT)
    pair = np.arange(COUNT) // (COUNT // 40)
    return lab, keys, pair * 5 + rng.integers(0, 5, COUNT)


@pytest.fixture(scope="module")
def tree(swatches):
    return SwatchTree.build(*swatches)


@pytest.fixture(scope="module")
def allowed(swatches):
    return np.random.default_rng(1).random(swatches[2].max() + 1) < 0.15


def by_trying_all(wanted, lab, mask):
    """Return the rows that count, nearest first, the lower row first among equals, and their differences."""
    delta_e = tree_kernel.differences(np.asarray(wanted, dtype=float), lab)
    order = np.lexsort((np.arange(len(lab)), delta_e))
    order = order[mask[order]]
    return order, delta_e[order]


def keys_by_trying_all(wanted, lab, keys, mask, *, k, step, radius=np.inf):
    order, delta_e = by_trying_all(wanted, lab, mask)
    best = {}
    for row, difference in zip(order.tolist(), delta_e.tolist(), strict=True):
        if difference <= radius:
            best.setdefault(int(keys[row]), (row, difference))
    ranked = [(key, row, difference) for key, (row, difference) in best.items()]
    if k <= 0 or len(ranked) <= k:
        return ranked[: max(k, 0)]
    bucket = [difference // step if step else difference for _, _, difference in ranked]
    return [each for each, its in zip(ranked, bucket, strict=True) if its <= bucket[k - 1]]


def in_rows(found):
    return [tuple(each) for each in zip(found.key.tolist(), found.row.tolist(), found.delta_e.tolist(), strict=True)]


@pytest.mark.parametrize("group", GROUPS)
def test_the_nearest_are_those_of_an_independent_search(swatches, tree, group):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour-science says so when Matplotlib is absent
        from colour.difference import delta_E_CIE2000
    lab = swatches[0]
    for wanted in queries(group, 20, lab, np.random.default_rng(7)):
        theirs = delta_E_CIE2000(wanted, lab)
        near = tree.nearest(wanted, 10)
        order = np.argsort(theirs, kind="stable")[:10]
        # colour-science 0.4; equal rows, but where two differences are one
        np.testing.assert_allclose(near.delta_e, theirs[order], atol=1e-9)
        np.testing.assert_allclose(theirs[near.index], theirs[order], atol=1e-9)
        clear = np.diff(np.sort(theirs)[:11]).min() > 1e-9
        assert not clear or np.array_equal(near.index, order)


@pytest.mark.parametrize("group", GROUPS)
def test_a_difference_is_that_of_the_numpy_formula(swatches, group):
    rng = np.random.default_rng(6)
    for wanted in queries(group, 20, swatches[0], rng):
        ours = tree_kernel.differences(wanted, swatches[0])
        np.testing.assert_allclose(ours, delta_e_2000(wanted, swatches[0]), rtol=0, atol=1e-9)


@pytest.mark.parametrize("group", GROUPS)
def test_filtered_answers_equal_trying_all(swatches, tree, allowed, group):
    lab, keys, classes = swatches
    for wanted in queries(group, 12, lab, np.random.default_rng(8)):
        order, delta_e = by_trying_all(wanted, lab, allowed[classes])
        near = tree.nearest(wanted, 10, allowed)
        assert np.array_equal(near.index, order[:10])
        assert np.array_equal(near.delta_e, delta_e[:10])
        for radius in (0.0, 3.0, 12.0):
            within = tree.within(wanted, radius, allowed)
            assert np.array_equal(within.index, order[delta_e <= radius])
            assert np.array_equal(within.delta_e, delta_e[delta_e <= radius])
        some = keys[order[:5]]
        counts = [int(((keys[order] == key) & (delta_e <= 9)).sum()) for key in some]
        assert tree.count_within(wanted, 9, some, allowed).tolist() == counts


@pytest.mark.parametrize("group", GROUPS)
def test_each_recipe_comes_once_and_whole_steps_come_together(swatches, tree, allowed, group):
    lab, keys, classes = swatches
    for wanted in queries(group, 4, lab, np.random.default_rng(9)):
        for k, step, radius in ((5, 0.5, np.inf), (40, 2.0, np.inf), (7, 0.0, np.inf), (30, 0.5, 3.0)):
            found = tree.nearest_keys(wanted, k, allowed, step=step, radius=radius)
            assert in_rows(found) == keys_by_trying_all(
                wanted, lab, keys, allowed[classes], k=k, step=step, radius=radius
            )


def test_a_filter_that_few_pass_finds_the_few(swatches, tree):
    classes = swatches[2]
    for number in (0, 17, int(classes.max())):
        only = np.arange(tree.class_count) == number
        rows = tree.nearest((50, 0, 0), COUNT, only).index
        assert sorted(rows.tolist()) == np.flatnonzero(classes == number).tolist()


def test_a_tail_and_the_dead_change_no_other_answer(swatches, tree, allowed):
    lab, keys, classes = swatches
    rng = np.random.default_rng(10)
    stem = SwatchTree.build(lab[:15_000], keys[:15_000], classes[:15_000])
    grown = stem.with_tail(lab[15_000:18_000], keys[15_000:18_000], classes[15_000:18_000])
    grown = grown.with_tail(lab[18_000:], keys[18_000:], classes[18_000:])
    assert len(grown) == len(tree)
    gone = rng.choice(COUNT, 2000, replace=False)
    fewer, living = grown.without(gone[:1000]).without(gone[1000:]), np.ones(COUNT, bool)
    living[gone] = False
    for wanted in np.vstack([queries(group, 3, lab, rng) for group in GROUPS]):
        assert np.array_equal(grown.nearest(wanted, 10).index, tree.nearest(wanted, 10).index)
        order, delta_e = by_trying_all(wanted, lab, living & allowed[classes])
        assert np.array_equal(fewer.nearest(wanted, 10, allowed).index, order[:10])
        assert np.array_equal(fewer.within(wanted, 6, allowed).index, order[delta_e <= 6])
        found = fewer.nearest_keys(wanted, 12, allowed)
        assert in_rows(found) == keys_by_trying_all(wanted, lab, keys, living & allowed[classes], k=12, step=0.5)
        counts = [int(((keys[order] == key) & (delta_e <= 9)).sum()) for key in range(20)]
        assert fewer.count_within(wanted, 9, np.arange(20), allowed).tolist() == counts


# --- without the compiler -----------------------------------------------------------------------------------


def keys_without_compiler(wanted, lab, keys, mask, *, radius, at_least):
    """Return key, row, difference and number within the radius of the nearest keys, by trying all."""
    delta_e = delta_e_2000(wanted, lab)
    best, counts = {}, {}
    for row in np.lexsort((np.arange(len(lab)), delta_e)).tolist():
        if mask[row]:
            key = int(keys[row])
            best.setdefault(key, (row, float(delta_e[row])))
            counts[key] = counts.get(key, 0) + (float(delta_e[row]) <= radius)
    ranked = [(key, row, difference, counts[key]) for key, (row, difference) in best.items()]
    return ranked[: max(at_least, sum(difference <= radius for _, _, difference, _ in ranked))]


def plain_rows(found):
    columns = (found.key, found.index, found.delta_e, found.count)
    return [tuple(each) for each in zip(*(column.tolist() for column in columns), strict=True)]


@pytest.mark.parametrize("group", GROUPS)
@pytest.mark.parametrize("few", [False, True])
def test_without_the_compiler_the_answer_is_that_of_trying_all(swatches, tree, allowed, group, few, monkeypatch):
    lab, keys, classes = swatches
    if not few:  # else the filters here pass so few that no box is looked at
        monkeypatch.setattr(tree_plain, "_FEW", 100)
    living = np.ones(COUNT, bool)
    living[::9] = False
    rng = np.random.default_rng(15)
    for wanted in queries(group, 3, lab, rng):
        for forest, mask, table in (
            (tree, np.ones(COUNT, bool), None),
            (tree.without(np.flatnonzero(~living)), living & allowed[classes], allowed),
        ):
            for radius, at_least in ((6.0, 10), (0.5, 400)):
                found = forest.best_per_key(wanted, radius=radius, at_least=at_least, allowed=table)
                theirs = keys_without_compiler(wanted, lab, keys, mask, radius=radius, at_least=at_least)
                assert plain_rows(found) == theirs


@pytest.mark.parametrize("count", [0, 1, 17, 100, 1500, 3000, 5000])
def test_without_the_compiler_no_swatch_is_lost_at_any_size(count):
    lab = np.random.default_rng(count).uniform((0, -60, -60), (100, 60, 60), (count, 3))
    grown = SwatchTree.build(lab, np.arange(count), np.arange(count) % 3).with_tail([[50, 0, 0]], [7], [1])
    found = grown.best_per_key((50, 0, 0), radius=np.inf, at_least=0)
    assert sorted(found.key.tolist()) == sorted({*range(count), 7})
    assert found.index[0] == count
    assert found.count.sum() == count + 1
    assert len(grown.best_per_key((50, 0, 0), radius=5, at_least=9, allowed=np.zeros(3, bool)).key) == 0


small = st.lists(
    st.tuples(*(st.integers(0, 3) for _ in range(3)), st.integers(-2, 3), st.integers(0, 2), st.booleans()), max_size=60
)


@given(small, st.integers(0, 60), st.integers(-1, 12), st.sampled_from([0.0, 0.5, 5.0]), st.integers(0, 7))
def test_small_archives_full_of_ties_answer_as_trying_all_does(rows, cut, k, step, some):
    table = np.array(rows, dtype=np.int64).reshape(-1, 6)
    lab, keys, classes = table[:, :3] * 10.0, table[:, 3], table[:, 4]
    allowed, living = np.array([bool(some >> bit & 1) for bit in range(3)]), table[:, 5] == 0
    tree = SwatchTree.build(lab[:cut], keys[:cut], classes[:cut]).with_tail(lab[cut:], keys[cut:], classes[cut:])
    tree = tree.without(np.flatnonzero(~living))
    wanted, mask = (15.0, 10.0, 12.0), living & allowed[classes]
    order, _ = by_trying_all(wanted, lab, mask)
    assert tree.nearest(wanted, k, allowed).index.tolist() == order[: max(k, 0)].tolist()
    found = tree.nearest_keys(wanted, k, allowed, step=step)
    assert in_rows(found) == keys_by_trying_all(wanted, lab, keys, mask, k=k, step=step)


def test_a_batch_answers_as_one_by_one(swatches, tree, allowed):
    wanted = queries("near stored", 41, swatches[0], np.random.default_rng(12))
    grown = tree.with_tail(wanted[:7], np.arange(7), np.arange(7))
    for threads in (1, 2, 50):
        batch = grown.nearest_batch(wanted, 5, allowed, threads=threads)
        single = [grown.nearest(colour, 5, allowed) for colour in wanted]
        assert batch.index.tolist() == [near.index.tolist() for near in single]
        assert batch.delta_e.tolist() == [near.delta_e.tolist() for near in single]


def test_a_batch_fills_up_where_there_are_fewer():
    tree = SwatchTree.build([[50, 0, 0], [60, 0, 0]], [1, 2], [0, 0])
    found = tree.nearest_batch([[58, 0, 0], [50, 0, 0]], 3)
    assert found.index.tolist() == [[1, 0, -1], [0, 1, -1]]
    assert np.isinf(found.delta_e[:, 2]).all()
    assert tree.nearest_batch(np.empty((0, 3)), 5).index.shape == (0, 5)
    assert tree.nearest_batch([[58, 0, 0]], 0).index.shape == (1, 0)


@pytest.mark.parametrize("count", [0, 1, 2, 15, 16, 17, 33, 100])
def test_archives_of_any_size_lose_no_swatch(count):
    lab = np.random.default_rng(count).uniform((0, -60, -60), (100, 60, 60), (count, 3))
    tree = SwatchTree.build(lab, np.arange(count), np.zeros(count, int))
    assert sorted(tree.within((50, 0, 0), np.inf).index.tolist()) == list(range(count))
    assert len(tree.nearest((50, 0, 0), count + 5).index) == count
    assert sorted(tree.nearest_keys((50, 0, 0), count + 5).key.tolist()) == list(range(count))


def test_nothing_allowed_or_nothing_asked_finds_nothing(tree):
    none = np.zeros(tree.class_count, bool)
    assert len(tree.nearest((50, 0, 0), 3, none).index) == 0
    assert len(tree.within((50, 0, 0), 100, none).index) == 0
    assert len(tree.nearest_keys((50, 0, 0), 3, none).key) == 0
    assert tree.count_within((50, 0, 0), 100, [1, 2], none).tolist() == [0, 0]
    assert len(tree.nearest((50, 0, 0), 0).index) == 0
    assert len(tree.nearest_keys((50, 0, 0), 3, radius=-1).key) == 0
    assert len(tree.count_within((50, 0, 0), 100, np.empty(0, int))) == 0


def test_one_colour_printed_a_thousand_times_is_split_all_the_same():
    tree = SwatchTree.build(np.tile([[60.0, 10.0, 20.0]], (1000, 1)), np.arange(1000)[::-1] // 100, np.zeros(1000, int))
    assert tree.nearest((55, 10, 20), 5).index.tolist() == [0, 1, 2, 3, 4]
    assert tree.nearest_keys((55, 10, 20), 2).row.tolist() == list(range(0, 1000, 100))
    assert tree.count_within((60, 10, 20), 0, [0, 9, 10]).tolist() == [100, 100, 0]


def test_building_tells_how_far_it_is(swatches):
    told = []
    SwatchTree.build(*(each[:1000] for each in swatches), progress=lambda done, total: told.append((done, total)))
    assert told == [(step, 6) for step in range(1, 7)]


def test_malformed_questions_are_refused(swatches, tree):
    lab, keys, classes = swatches
    with pytest.raises(ColourError):
        SwatchTree.build([50, 0, 0], [1], [1])
    with pytest.raises(ColourError):
        SwatchTree.build([[50, 0, float("nan")]], [1], [1])
    with pytest.raises(InputError, match="keys"):
        SwatchTree.build(lab, keys[:-1], classes)
    with pytest.raises(InputError, match="whole numbers"):
        SwatchTree.build(lab, keys * 0.5, classes)
    with pytest.raises(InputError, match="from 0 to 65535"):
        SwatchTree.build(lab[:2], [1, 2], [0, 65536])
    with pytest.raises(ColourError):
        tree.nearest(lab[:2], 3)
    with pytest.raises(ColourError):
        tree.nearest_batch(lab[0], 3)
    with pytest.raises(InputError, match="200 classes"):
        tree.nearest((50, 0, 0), 3, np.ones(199, bool))
    with pytest.raises(InputError, match="200 classes"):
        tree.within((50, 0, 0), 3, np.ones(200))
    with pytest.raises(InputError, match="rows go"):
        tree.without([COUNT])


# --- the file -----------------------------------------------------------------------------------------------

FIELDS = {"archive": "0198-a", "generation": 7, "code": "1"}


@pytest.fixture
def kept(tree, tmp_path):
    path = tmp_path / "swatches.index"
    tree.save(path, FIELDS, {"swatch": np.arange(COUNT) * 3})
    return path


def test_a_tree_comes_back_from_its_file_and_is_not_read_whole(swatches, tree, allowed, kept):
    opened = SwatchTree.open(kept, FIELDS)
    assert dict(opened.fields) == FIELDS
    assert opened.extra["swatch"].tolist() == (np.arange(COUNT) * 3).tolist()
    assert not opened.parts[0].lab.flags.owndata
    for wanted in queries("near stored", 5, swatches[0], np.random.default_rng(13)):
        ours, theirs = opened.nearest(wanted, 10, allowed), tree.nearest(wanted, 10, allowed)
        assert np.array_equal(ours.index, theirs.index)
        assert np.array_equal(ours.delta_e, theirs.delta_e)
        assert in_rows(opened.nearest_keys(wanted, 10)) == in_rows(tree.nearest_keys(wanted, 10))
        assert opened.count_within(wanted, 9, [1, 2, 3]).tolist() == tree.count_within(wanted, 9, [1, 2, 3]).tolist()
    grown = opened.with_tail([[50.0, 0, 0]], [7], [3]).without([0])
    assert grown.nearest((50, 0, 0), 1).index.tolist() == [COUNT]
    tree_file.check_arrays(kept)


def test_a_swatch_takes_at_most_64_bytes(kept):
    assert kept.stat().st_size <= 64 * COUNT


def test_an_empty_tree_can_be_kept(tmp_path):
    SwatchTree.build(np.empty((0, 3)), [], []).save(tmp_path / "none", {})
    assert len(SwatchTree.open(tmp_path / "none").nearest((50, 0, 0), 3).index) == 0


@pytest.mark.parametrize("change", [{"archive": "0198-b"}, {"generation": 8}, {"paper": "x"}])
def test_the_file_of_another_archive_or_generation_is_refused(kept, change):
    with pytest.raises(CatalogueError, match="the index says"):
        SwatchTree.open(kept, FIELDS | change)


def test_a_file_torn_anywhere_is_refused(kept, tmp_path):
    whole, torn = kept.read_bytes(), tmp_path / "torn"
    lengths = [0, 1, 7, 8, 12, 16, 47, 48, 49, 200, 1000, 5000, len(whole) // 2, len(whole) - 64, len(whole) - 1]
    for length in lengths:
        torn.write_bytes(whole[:length])
        with pytest.raises(CatalogueError):
            SwatchTree.open(torn)
    torn.write_bytes(whole + b"\0")
    with pytest.raises(CatalogueError, match="bytes long"):
        SwatchTree.open(torn)


def test_a_damaged_header_is_refused_and_damaged_arrays_are_found(kept):
    whole = bytearray(kept.read_bytes())
    for at in (0, 9, 20, 60, 300):
        damaged = bytearray(whole)
        damaged[at] ^= 1
        kept.write_bytes(damaged)
        with pytest.raises(CatalogueError):
            SwatchTree.open(kept)
    whole[len(whole) // 2] ^= 1
    kept.write_bytes(whole)
    SwatchTree.open(kept)
    with pytest.raises(CatalogueError, match="damaged in its"):
        tree_file.check_arrays(kept)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [(b'"byte_order":"little"', b'"byte_order":"bigger"', "endian"), (b'"format":1', b'"format":9', "format")],
)
def test_another_byte_order_or_format_is_refused(kept, old, new, words):
    whole = kept.read_bytes()
    length = int.from_bytes(whole[8:16], "little")
    header = whole[48 : 48 + length].replace(old, new)
    assert len(header) == length
    assert header != whole[48 : 48 + length]
    digest = tree_file.hashlib.sha256(header).digest()
    kept.write_bytes(whole[:16] + digest + header + whole[48 + length :])
    with pytest.raises(CatalogueError, match=words):
        SwatchTree.open(kept)


def test_other_files_and_missing_ones_are_refused(tmp_path):
    (tmp_path / "text").write_text("this is no index, and long enough to be mistaken for one " * 3)
    with pytest.raises(CatalogueError, match="no index"):
        SwatchTree.open(tmp_path / "text")
    with pytest.raises(CatalogueError, match="cannot be opened"):
        SwatchTree.open(tmp_path / "missing")


def test_what_cannot_be_written_says_so_and_leaves_nothing_behind(tree, tmp_path):
    with pytest.raises(CatalogueError, match="cannot be written"):
        tree.save(tmp_path / "nowhere" / "index", {})
    (tmp_path / "index").mkdir()
    with pytest.raises(CatalogueError, match="cannot be written"):
        tree.save(tmp_path / "index", {})
    with pytest.raises(InputError, match="plain values"):
        tree.save(tmp_path / "other", {"x": object()})
    with pytest.raises(InputError, match="just built"):
        tree.with_tail([[50, 0, 0]], [1], [1]).save(tmp_path / "other", {})
    with pytest.raises(InputError, match="just built"):
        tree.without([0]).save(tmp_path / "other", {})
    assert [path.name for path in tmp_path.iterdir()] == ["index"]


# Asks the same question until the new generation shows; says whether all answers were those of a whole file.
READER = """
import sys, time
from archive.colour.tree import SwatchTree
path, until = sys.argv[1], time.monotonic() + 60
first = SwatchTree.open(path)
rows = first.nearest((50, 0, 0), 5).index.tolist()
print("ready", flush=True)
seen = {first.fields["generation"]}
while max(seen) < 20 and time.monotonic() < until:
    tree = SwatchTree.open(path)
    seen.add(tree.fields["generation"])
    assert len(tree) == 2000 + tree.fields["generation"], "a mixture of two files"
    assert len(tree.nearest((50, 0, 0), 5).index) == 5
assert first.nearest((50, 0, 0), 5).index.tolist() == rows, "the file that was open has changed"
print(max(seen))
"""


def test_a_reader_goes_on_while_another_process_swaps_the_file(swatches, tmp_path):
    path = tmp_path / "swatches.index"
    trees = [SwatchTree.build(*(each[: 2000 + generation] for each in swatches)) for generation in range(21)]
    trees[0].save(path, {"generation": 0})
    with subprocess.Popen(
        [sys.executable, "-c", READER, str(path)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as reader:
        assert reader.stdout is not None
        assert reader.stdout.readline() == "ready\n"
        for generation in range(1, 21):
            trees[generation].save(path, {"generation": generation})
            time.sleep(0.005)
        assert reader.stdout.read() == "20\n"
    assert reader.returncode == 0
    assert [each.name for each in tmp_path.iterdir()] == ["swatches.index"]


# --- the compiler -------------------------------------------------------------------------------------------


def test_only_a_search_loads_the_compiler():
    code = "import sys, archive.colour.tree; print('numba' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


def test_where_no_compiled_code_can_be_kept_it_is_compiled_each_time(tmp_path):
    # A file stands where each of the folders for compiled code would be made, so even root cannot write them.
    package = tmp_path / "archive"
    shutil.copytree(ROOT / "archive" / "colour", package / "colour", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("__init__.py", "errors.py"):
        shutil.copy(ROOT / "archive" / name, package)
    (package / "colour" / "__pycache__").touch()
    (tmp_path / "file").touch()
    code = """
import numpy as np
from archive.colour import tree_kernel
print(tree_kernel.__file__)
print(float(tree_kernel.differences(np.array([50.0, 2.5, 0.0]), np.array([[50.0, 0.0, -2.5]]))[0]))
"""
    nowhere = str(tmp_path / "file" / "x")
    names = ("HOME", "XDG_CACHE_HOME", "NUMBA_CACHE_DIR", "LOCALAPPDATA")
    environment = {**os.environ, **dict.fromkeys(names, nowhere), "PYTHONPATH": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, env=environment, capture_output=True, text=True, check=True
    )
    where, delta_e = done.stdout.split()
    assert where == str(package / "colour" / "tree_kernel.py")
    # Sharma, Wu & Dalal 2005, Table 1, pair 16, printed to 4 decimals
    assert float(delta_e) == pytest.approx(4.3065, abs=1e-4)


def test_without_the_compiler_the_error_says_what_to_install():
    code = """
import sys
sys.modules["numba"] = None  # what Python itself notes of a module that is not there
from archive.colour.tree import SwatchTree
from archive.errors import CatalogueError
try:
    SwatchTree.build([[50, 0, 0]] * 17, [1] * 17, [1] * 17)  # more than one smallest box
except CatalogueError as error:
    print(error)
"""
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "pip install numba" in done.stdout
