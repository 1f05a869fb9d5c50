"""Millimetres from pixels, against a pinhole camera that shares no code with it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.errors import InputError
from archive.imaging.plane import homography, moved, size_as_typed, size_from_card, square, tilt_deg
from tests.studio import lens

A3 = (297.0, 420.0)
CARD = (108.0, 64.0)


def table(tilt: float, towards: float, turn: float, card_turn: float) -> tuple[lens.View, lens.Floats, lens.Floats]:
    view = lens.View(4000, 3000, 6.0, tilt, towards, turn, (40.0, 0.0))
    sheet = view.project(lens.rectangle(*A3))
    card = view.project(lens.rectangle(*CARD, at=(225.0, 30.0), turn_deg=card_turn))
    return view, sheet, card


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 30), st.floats(0, 360), st.floats(-20, 20), st.floats(-180, 180))
def test_a_sheets_size_follows_from_a_card_beside_it(tilt: float, towards: float, turn: float, lie: float) -> None:
    _, sheet, card = table(tilt, towards, turn, lie)
    size = size_from_card(sheet, card, CARD)
    assert (size.width_mm, size.height_mm) == pytest.approx(A3, rel=1e-6)


def test_card_corners_half_a_percent_off_keep_the_size_within_two_percent() -> None:
    rng = np.random.default_rng(3)
    worst = 0.0
    for _ in range(200):
        _, sheet, card = table(*rng.uniform([0, 0, -20, -180], [20, 360, 20, 180]))
        width = np.linalg.norm(card[1] - card[0])
        off = card + rng.uniform(-1, 1, card.shape) * 0.005 * width / np.sqrt(2)
        size = size_from_card(sheet + rng.normal(0, 1, sheet.shape), off, CARD)
        worst = max(worst, abs(size.width_mm / A3[0] - 1), abs(size.height_mm / A3[1] - 1))
    assert worst < 0.02


def test_a_typed_size_two_percent_off_is_told() -> None:
    _, sheet, card = table(5, 60, 0, 0)
    size = size_from_card(sheet, card, CARD)
    assert not size.differs_from(297, 420)
    assert size.differs_from(290, 420)


def test_millimetres_a_pixel_are_those_of_the_sheet() -> None:
    sheet = lens.View(4000, 3000, 5.0).project(lens.rectangle(*A3))
    assert size_as_typed(sheet, *A3).mm_per_px == pytest.approx(0.2)


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 35), st.floats(0, 360), st.floats(-45, 45))
def test_the_tilt_is_the_cameras(tilt: float, towards: float, turn: float) -> None:
    view, sheet, _ = table(tilt, towards, turn, 0)
    assert tilt_deg(sheet, (4000, 3000), focal=view.focal) == pytest.approx(tilt, abs=0.05)


@given(st.lists(st.floats(-3, 3), min_size=8, max_size=8))
def test_a_homography_takes_its_four_points_there_and_back(shift: list[float]) -> None:
    unit = np.array([[0.0, 0], [10, 0], [10, 10], [0, 10]])
    other = unit + np.reshape(shift, (4, 2))
    there = homography(unit, other)
    assert moved(there, unit) == pytest.approx(other, abs=1e-6)
    assert moved(np.linalg.inv(there), other) == pytest.approx(unit, abs=1e-6)


def test_a_squared_sheet_shows_what_was_printed_where_it_was_printed() -> None:
    flat = np.full((420, 297, 3), 0.8, np.float32)
    flat[100:200, 50:150] = (0.1, 0.4, 0.2)
    view = lens.View(1200, 900, 1.6, 12.0, 40.0, 7.0)
    corners = view.project(lens.rectangle(*A3))
    photo = lens.place(np.zeros((900, 1200, 3), np.float32), flat, corners)
    squared = square(photo, corners, *A3, px_per_mm=1.0)
    assert squared.shape == flat.shape
    inner = np.s_[5:-5, 5:-5]
    assert float(np.abs(squared - flat)[inner].mean()) < 0.005
    edge = squared[150, :, 0]
    assert np.flatnonzero(edge < 0.45)[0] == pytest.approx(50, abs=1)


def test_a_smaller_squared_picture_averages_instead_of_leaving_pixels_out() -> None:
    lines = np.zeros((800, 800), np.float32)
    lines[:, ::2] = 1.0
    corners = [[0, 0], [800, 0], [800, 800], [0, 800]]
    small = square(lines, corners, 100, 100, px_per_mm=1.0)
    assert small[5:-5, 5:-5] == pytest.approx(0.5, abs=0.02)


def test_corners_on_a_line_are_told() -> None:
    with pytest.raises(InputError, match="not those of a rectangle"):
        homography([[0, 0], [1, 1], [2, 2], [3, 3]], [[0, 0], [1, 0], [1, 1], [0, 1]])


def test_a_squared_picture_without_end_is_refused() -> None:
    picture = np.zeros((64, 64), np.uint8)
    with pytest.raises(InputError, match="megapixels"):
        square(picture, [[0, 0], [64, 0], [64, 64], [0, 64]], 5000, 5000, px_per_mm=20)
