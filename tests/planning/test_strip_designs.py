"""Designs and layouts of strips: what is on them, and that it can be printed, read and told apart."""

from __future__ import annotations

import json
from itertools import combinations, product
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from archive.errors import InputError
from archive.planning.strip_designs import DESIGNS, Tints, design_tints
from archive.planning.strip_layout import SIZES_MM, StripDrum, StripHead, strip_layout

UID = "0192c3a4-5b6c-7d8e-9f00-112233445566"
Box = tuple[float, float, float, float]  # left, top, right, bottom
MARGIN_MM = 7.0  # the profile's start value
COUNTS = [(d.name, inks) for d in DESIGNS for inks in range(d.fewest_inks, d.most_inks + 1)]


def laid(name: str, inks: int, *, uid: str = UID, **more: Any) -> dict[str, Any]:
    drums = [StripDrum(f"ink {number}", number // 2 + 1, number % 2 + 1) for number in range(inks)]
    head = StripHead(uid, f"inkchest:strip:{uid}", name, {"Paper": "Oatleaf 120"}, "FM")
    return strip_layout(head, design_tints(name, inks), drums, margin_mm=MARGIN_MM, **more)


def boxes_of(layout: dict[str, Any]) -> list[Box]:
    square = [layout["qr"], *layout["patches"], *(mark for drum in layout["drums"] for mark in drum["marks"])]
    found = [(each["x"], each["y"], each["x"] + each["size"], each["y"] + each["size"]) for each in square]
    return found + [(b["x"], b["y"], b["x"] + b["width"], b["y"] + b["height"]) for b in layout["boxes"]]


def gaps(some: list[Box], others: list[Box]) -> NDArray[np.float64]:
    """Return how far each of some boxes lies from each of the others; less than nought where they overlap."""
    one, other = np.array(some)[:, None], np.array(others)[None]
    return np.max(np.concatenate([one[..., :2] - other[..., 2:], other[..., :2] - one[..., 2:]], axis=-1), axis=-1)


def test_the_eleven_are_paper_solids_overprint_three_tints_of_each_and_one_between() -> None:
    steps = {(25.0, 0.0), (50.0, 0.0), (75.0, 0.0), (0.0, 25.0), (0.0, 50.0), (0.0, 75.0)}
    corners = {(0.0, 0.0), (100.0, 0.0), (0.0, 100.0), (100.0, 100.0)}
    assert set(design_tints("eleven", 2)) == steps | corners | {(50.0, 50.0)}


def test_sixteen_and_twenty_five_are_whole_grids() -> None:
    for name, steps in (("sixteen", 4), ("twenty-five", 5)):
        tints = design_tints(name, 2)
        axis = sorted({patch[0] for patch in tints})
        assert len(axis) == steps
        assert set(tints) == set(product(axis, repeat=2))


def test_ramps_look_for_the_lightest_and_the_closing_tint() -> None:
    lightest = {patch[0] for patch in design_tints("lightest", 1)}
    closing = {patch[0] for patch in design_tints("closing", 1)}
    assert {2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0} <= lightest
    assert {80.0, 98.0} <= closing
    assert sum(80 <= tint <= 98 for tint in closing) >= 7
    assert {0.0, 100.0} <= lightest & closing


@pytest.mark.parametrize(("name", "inks"), COUNTS)
def test_every_design_holds_paper_and_solids_and_no_patch_twice(name: str, inks: int) -> None:
    tints = design_tints(name, inks)
    solids: set[Tints] = {tuple(100.0 * (at == ink) for at in range(inks)) for ink in range(inks)}
    assert {(0.0,) * inks} | solids <= set(tints)
    assert len(set(tints)) == len(tints)
    assert all(len(patch) == inks and 0 <= min(patch) <= max(patch) <= 100 for patch in tints)


@pytest.mark.parametrize(
    ("name", "inks", "count"), [("twenty-seven", 3, 27), ("sixty-four", 4, 64), ("hundred", 4, 100)]
)
def test_spread_out_patches_hold_every_overprint_and_no_two_are_near(name: str, inks: int, count: int) -> None:
    tints = design_tints(name, inks)
    assert len(tints) == count
    assert set(product((0.0, 100.0), repeat=inks)) <= set(tints)
    assert min(max(abs(a - b) for a, b in zip(*pair, strict=True)) for pair in combinations(tints, 2)) >= 15


@pytest.mark.parametrize(("name", "inks"), COUNTS)
@pytest.mark.parametrize("size", list(SIZES_MM))
def test_everything_lies_inside_the_margin_and_apart(name: str, inks: int, size: str) -> None:
    layout = laid(name, inks, size=size)
    boxes = boxes_of(layout)
    for left, top, right, bottom in boxes:
        assert left >= MARGIN_MM
        assert top >= MARGIN_MM
        assert right <= layout["width"] - MARGIN_MM
        assert bottom <= layout["height"] - MARGIN_MM
    assert gaps(boxes, boxes)[~np.eye(len(boxes), dtype=bool)].min() >= 2  # millimetres
    lines = [(word["x"], word["y"], word["x"] + 3, word["y"] + 3) for word in layout["words"]]
    assert gaps(lines, boxes[: -len(layout["boxes"])]).min() > 0  # no word on a patch or mark
    assert min(patch["size"] for patch in layout["patches"]) >= 12
    assert len(layout["patches"]) == len(design_tints(name, inks))


def test_every_drum_prints_marks_of_its_own_at_all_corners() -> None:
    layout = laid("hundred", 4)
    numbers = [mark["id"] for drum in layout["drums"] for mark in drum["marks"]]
    assert len(set(numbers)) == 16
    assert min(numbers) >= 8  # 0 to 3 are the job slip's
    for drum in layout["drums"]:
        x, y = ([mark[axis] for mark in drum["marks"]] for axis in ("x", "y"))
        assert max(x) - min(x) > 60
        assert max(y) - min(y) > 200


def test_the_layout_is_plain_json_that_says_all_that_is_known() -> None:
    layout = laid("eleven", 2)
    assert json.loads(json.dumps(layout)) == layout
    said = {word["text"] for word in layout["words"]}
    assert {"ink 0", "ink 1", "Oatleaf 120", "Date", "Paper", "Machine", "Density", "Speed", "Screen"} <= said
    assert "pass 1: ink 0, then ink 1" in said
    assert layout["code"].endswith(UID)


@given(number=st.integers(0, 2**48 - 1))
def test_the_order_is_drawn_from_the_uid_and_drawn_again_the_same(number: int) -> None:
    uid = f"{UID[:-12]}{number:012x}"
    first, second = laid("twenty-five", 2, uid=uid), laid("twenty-five", 2, uid=uid)
    tints = [tuple(patch["tints"]) for patch in first["patches"]]
    assert first == second
    assert sorted(tints) == sorted(design_tints("twenty-five", 2))
    assert tints != sorted(tints)


@pytest.mark.parametrize(
    ("name", "inks", "says"),
    [("eleven", 3, "not made for 3 inks"), ("twelve", 2, "no design twelve"), ("row", 5, "not made for 5 inks")],
)
def test_a_design_that_does_not_suit_is_refused_with_those_that_do(name: str, inks: int, says: str) -> None:
    with pytest.raises(InputError, match=says) as refused:
        design_tints(name, inks)
    assert refused.value.mend


def test_too_many_patches_for_the_sheet_are_told() -> None:
    head = StripHead(UID, "code", "many", {})
    with pytest.raises(InputError, match="do not fit"):
        strip_layout(head, [(float(tint),) for tint in range(101)] * 2, [StripDrum("ink", 1, 1)])
