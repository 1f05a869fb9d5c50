"""The sheet on its background, on rendered photographs whose truth is known; bench_sheet.py has two hundred."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.errors import InputError
from archive.imaging.sheet import FoundSheet, clockwise_from_upper_left, find_sheet, overlap
from tests.studio import lens, tables

SMALL = (900, 675)
PLAIN = tables.Setting(picture=SMALL, has_card=False, turn_deg=4.0, tilt_deg=3.0, shot=lens.Shot(exposure=0.9))
PALE = replace(PLAIN, table="pale", table_light=(0.78, 0.77, 0.73), paper=(0.84, 0.82, 0.75), contact=0.15)


def found_on(setting: tables.Setting, *, seed: int = 1) -> tuple[FoundSheet, tables.Photo]:
    photo = tables.photograph(setting, np.random.default_rng(seed))
    return find_sheet(photo.rgb, exclude=[] if photo.card is None else [photo.card]), photo


def test_sheets_on_all_tables_are_found_to_the_figures_that_are_promised() -> None:
    shared, is_sure = [], []
    for number in range(20):
        photo = tables.random_photo(number, seed=31, picture=(800, 600))
        found = find_sheet(photo.rgb, exclude=[] if photo.card is None else [photo.card])
        shared.append(overlap(found.corners_px, photo.sheet))
        is_sure.append(found.sure)
    sure = np.array(shared)[is_sure]
    assert np.median(shared) >= 0.985
    assert np.percentile(sure, 5) >= 0.95
    assert len(sure) >= 19


@pytest.mark.parametrize("design", ["blank", "text", "frame", "blocks"])
def test_off_white_paper_on_a_pale_table_is_found(design: str) -> None:
    found, photo = found_on(replace(PALE, design=design))
    assert found.sure, found.why
    assert overlap(found.corners_px, photo.sheet) > 0.985


def test_a_print_with_colour_over_the_whole_sheet_is_found() -> None:
    found, photo = found_on(replace(PLAIN, design="bleed"), seed=4)
    assert found.sure, found.why
    assert overlap(found.corners_px, photo.sheet) > 0.985


def test_corners_are_found_to_a_pixel_of_a_sharp_picture() -> None:
    found, photo = found_on(replace(PLAIN, design="blocks"))
    assert np.abs(np.array(found.corners_px) - photo.sheet).max() < 1.0


def test_a_wide_shadow_over_sheet_and_table_changes_nothing() -> None:
    found, photo = found_on(replace(PLAIN, cast=0.4, contact=0.4, contact_mm=3.0))
    assert found.sure, found.why
    assert overlap(found.corners_px, photo.sheet) > 0.985


def test_a_colour_card_beside_the_sheet_is_not_taken_for_it() -> None:
    setting = replace(PLAIN, has_card=True, sheet_mm=(148.0, 210.0))
    photo = tables.photograph(setting, np.random.default_rng(2))
    for exclude in ([photo.card], []):
        found = find_sheet(photo.rgb, exclude=[each for each in exclude if each is not None])
        assert overlap(found.corners_px, photo.sheet) > 0.985


def test_a_sheet_that_reaches_over_the_edge_is_told_and_not_sure() -> None:
    photo = tables.photograph(replace(PLAIN, fill=0.9), np.random.default_rng(1))
    left = int(photo.sheet[:, 0].min() + 40)
    found = find_sheet(np.ascontiguousarray(photo.rgb[:, left:]))
    assert not found.sure
    assert "edge of the picture" in found.why


@pytest.mark.parametrize("design", ["blank", "pale", "text"])
def test_a_picture_that_is_all_sheet_is_never_sure(design: str) -> None:
    flat = tables.printed_sheet(replace(PLAIN, design=design), np.random.default_rng(3), px_per_mm=2.0)
    assert not find_sheet(lens.opened(lens.Shot().jpeg(flat, np.random.default_rng(3)))).sure


def test_a_print_whose_paper_fills_the_picture_is_not_taken_for_the_sheet() -> None:
    # Nothing in the picture tells a plate on its page from a sheet on a white table.
    flat = np.full((800, 600, 3), 0.8, np.float32)
    flat[150:550, 100:500] = (0.2, 0.3, 0.4)
    found = find_sheet(lens.opened(lens.Shot(loss=0.1).jpeg(flat, np.random.default_rng(3))))
    assert not found.sure
    assert "print" in found.why


def test_an_empty_table_gives_the_whole_picture_and_is_not_sure() -> None:
    table = np.full((600, 800, 3), 90, np.uint8)
    found = find_sheet(table)
    assert not found.sure
    assert found.is_whole
    assert found.corners_px == ((0, 0), (800, 0), (800, 600), (0, 600))


def test_corners_of_a_draft_are_told_in_pixels_of_the_original() -> None:
    import cv2

    photo = tables.photograph(PLAIN, np.random.default_rng(1))
    height, width = photo.rgb.shape[:2]
    large = cv2.resize(photo.rgb, (width * 2, height * 2), interpolation=cv2.INTER_CUBIC)
    here = np.array(find_sheet(photo.rgb).corners_px)
    assert np.array(find_sheet(photo.rgb, size=(width * 2, height * 2)).corners_px) == pytest.approx(here * 2)
    assert np.array(find_sheet(np.asarray(large, np.uint8)).corners_px) == pytest.approx(here * 2, abs=2)


def test_the_same_picture_gives_the_same_corners() -> None:
    photo = tables.photograph(PLAIN, np.random.default_rng(1))
    assert find_sheet(photo.rgb) == find_sheet(photo.rgb)


def test_what_is_no_8_bit_colour_is_refused() -> None:
    with pytest.raises(InputError, match="8-bit colour"):
        find_sheet(np.zeros((200, 200), np.uint8))
    with pytest.raises(InputError, match="8-bit colour"):
        find_sheet(np.zeros((200, 200, 3), np.float32))


@given(st.floats(-40, 40), st.integers(0, 3), st.booleans())
def test_corners_go_clockwise_from_the_upper_left_however_they_came(turn: float, start: int, mirrored: bool) -> None:
    corners = lens.rectangle(300, 200, at=(500, 400), turn_deg=turn)
    mixed = np.roll(corners[::-1] if mirrored else corners, start, axis=0)
    assert clockwise_from_upper_left(mixed) == pytest.approx(corners)


def test_overlap_is_the_shared_area_over_both() -> None:
    square = np.array([[0, 0], [10, 0], [10, 10], [0, 10]])
    assert overlap(square, square) == pytest.approx(1)
    assert overlap(square, square + np.array([5, 0])) == pytest.approx(1 / 3)
    assert overlap(square, square + np.array([20, 0])) == 0
