"""The fold of an open book, on rendered spreads and pages."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from archive.imaging.gutter import Gutter, distance_mm, find_gutter, gutter_mask
from tests.studio import lens

SPREAD_MM = (420.0, 297.0)
PX = 1.5  # pixels to a millimetre


def book(
    fold_mm: float, lean_mm: float, *, seed: int = 0, depth: float = 0.45, width_mm: float = 420.0
) -> NDArray[np.uint8]:
    """Return an open book with text and pictures, its fold crossing the head at `fold_mm` and leaning."""
    rng = np.random.default_rng(seed)
    width, height = round(width_mm * PX), round(SPREAD_MM[1] * PX)
    light = np.full((height, width, 3), 0.8, np.float32)
    for top in range(30, height - 30, 9):
        for left in range(40, width - 60, 40):
            light[top : top + 4, left : left + int(rng.integers(5, 34))] = 0.08
    for _ in range(3):
        x, y = int(rng.integers(40, width - 160)), int(rng.integers(40, height - 140))
        light[y : y + 100, x : x + 110] = rng.uniform(0.05, 0.6, 3)
    y, x = np.mgrid[0:height, 0:width] / PX
    away = np.abs(x - fold_mm - lean_mm * y / SPREAD_MM[1])
    light *= (1 - depth * np.exp(-away / 7))[..., None].astype(np.float32)
    return lens.opened(lens.Shot(loss=0.2, lean=0.2).jpeg(light, rng))


@pytest.mark.parametrize(("fold", "lean"), [(210, 0), (195, 8), (230, -6)])
def test_a_spreads_fold_is_found_to_two_millimetres(fold: float, lean: float) -> None:
    gutter = find_gutter(book(fold, lean), view="spread")
    assert gutter.sure
    assert gutter.head[0] / PX == pytest.approx(fold, abs=2)
    assert gutter.tail[0] / PX == pytest.approx(fold + lean, abs=2)


def test_folds_of_many_books_are_found() -> None:
    rng = np.random.default_rng(8)
    good = 0
    for seed in range(12):
        fold, lean, depth = rng.uniform(190, 230), rng.normal(0, 4), rng.uniform(0.2, 0.6)
        gutter = find_gutter(book(fold, lean, seed=seed, depth=depth), view="spread")
        good += gutter.sure and abs(gutter.head[0] / PX - fold) < 3
    assert good == 12


def test_a_sheet_without_a_fold_is_not_sure() -> None:
    assert not any(find_gutter(book(210, 0, seed=seed, depth=0.0), view="spread").sure for seed in range(6))


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_pages_fold_is_its_darker_side(side: str) -> None:
    gutter = find_gutter(book(0 if side == "left" else 210, 0, width_mm=210), view="page")
    assert gutter.sure
    assert gutter.head[0] / PX == pytest.approx(0 if side == "left" else 210, abs=1)


def test_a_flat_page_is_not_sure() -> None:
    assert not find_gutter(book(0, 0, depth=0.0, width_mm=210), view="page").sure


def test_twenty_millimetres_beside_the_fold_are_masked() -> None:
    gutter = Gutter((420.0, 0.0), (420.0, 594.0), True)
    mask = gutter_mask((594, 840), gutter, mm_per_px=0.5)
    assert mask[300, 381]
    assert not mask[300, 379]
    assert mask.mean() == pytest.approx(80 / 840, abs=0.002)


def test_the_distance_from_a_leaning_fold_is_square_to_it() -> None:
    gutter = Gutter((0.0, 0.0), (100.0, 100.0), True)
    assert distance_mm(gutter, (100.0, 0.0), mm_per_px=0.1) == pytest.approx(0.1 * 100 / np.sqrt(2))
