"""The gutter of an open book: where it runs, and how much beside it is unfit for reading colours.

Towards the fold the page bends away from the light, so its inner 10 to 20 mm are darker and squeezed. A spread is one
picture with the fold near its middle, a page has it along one side; an imposed sheet, not yet folded, has none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

View = Literal["spread", "page"]

INNER_MM = 20.0  # beside the fold, on each page: the larger of what is usual, 10 to 20 [common practice]

_WIDTH = 480  # pixels of the copy that is looked at
_BANDS = 10  # from head to tail, in each of which the fold is looked for
_MIDDLE = (0.36, 0.64)  # of a spread's width: where its fold can lie
_PAPER = 75  # percentile of a column in a band: paper shows between lines of text
_SHADE = 0.05  # of the width: how far a fold's shadow reaches
_LEAST_DEPTH = 0.02  # of the paper's lightness, for a fold to be sure [own choice]
_ALIKE = 0.012  # of the width that bands may lie off one line


@dataclass(frozen=True, slots=True)
class Gutter:
    """A fold from the head to the tail of a picture, in its pixels; `sure` when it is really seen there."""

    head: tuple[float, float]
    tail: tuple[float, float]
    sure: bool


def find_gutter(rgb: ArrayLike, *, view: View) -> Gutter:
    """Return where the fold runs.

    Parameters
    ----------
    rgb : (h, w, 3) array_like of uint8
        The spread or page alone, squared or nearly so.
    view : "spread" or "page"
        With the fold near the middle, or along the darker of the two sides.

    Returns
    -------
    Gutter
        Not sure where no shadow tells: then a spread's middle, a page's left side.
    """
    paper, scale = _paper_levels(np.asarray(rgb, np.uint8))
    height = np.asarray(rgb).shape[0]
    head, tail, is_sure = _in_spread(paper) if view == "spread" else _of_page(paper)
    return Gutter((head * scale, 0.0), (tail * scale, float(height)), is_sure)


def distance_mm(gutter: Gutter, point: ArrayLike, *, mm_per_px: float) -> float:
    """Return how far a point (x, y) in pixels lies from the fold."""
    return float(_distances(gutter, np.asarray(point, float)) * mm_per_px)


def gutter_mask(
    shape: tuple[int, ...], gutter: Gutter, *, mm_per_px: float, inner_mm: float = INNER_MM
) -> NDArray[np.bool_]:
    """Return which pixels of an (h, w) picture lie too near the fold for their colours to be read."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]] + 0.5
    return np.asarray(_distances(gutter, np.stack([x, y], axis=-1)) < inner_mm / mm_per_px)


def _distances(gutter: Gutter, points: Floats) -> Floats:
    head, tail = np.array(gutter.head), np.array(gutter.tail)
    along = (tail - head) / np.linalg.norm(tail - head)
    off = points - head
    return np.asarray(np.abs(off[..., 0] * along[1] - off[..., 1] * along[0]))


def _paper_levels(rgb: NDArray[np.uint8]) -> tuple[Floats, float]:
    """Return the paper's lightness by band and column, (bands, columns), and how many pixels a column stands for."""
    import cv2

    width = min(_WIDTH, rgb.shape[1])
    scale = rgb.shape[1] / width
    size = width, max(round(rgb.shape[0] / scale), _BANDS * 4)
    grey = cv2.cvtColor(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY).astype(float)
    rows = size[1] // _BANDS
    levels = np.percentile(grey[: rows * _BANDS].reshape(_BANDS, rows, width), _PAPER, axis=1)
    return np.asarray(cv2.blur(levels, (5, 1))), scale


def _in_spread(paper: Floats) -> tuple[float, float, bool]:
    """Return where the fold crosses head and tail, in columns, and whether it is seen."""
    width = paper.shape[1]
    reach = round(_SHADE * width)
    left, right = (round(share * width) for share in _MIDDLE)
    # A fold is darker than the pages on both sides of it; a block of ink's edge only than one.
    beside = np.minimum(paper[:, left - reach : right - reach], paper[:, left + reach : right + reach])
    depth = (beside - paper[:, left:right]) / np.maximum(paper.max(axis=1, keepdims=True), 1)
    bands, places, depths = _valleys(depth)
    line = _most_agree(bands, places + left, depths, _ALIKE * width)
    if line is None:
        return width / 2, width / 2, False
    base, slope = line
    return base, base + slope, True


def _valleys(depth: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the three deepest valleys of each band: where down the page, in which column, how deep."""
    found = []
    for band, row in enumerate(depth):
        padded = np.pad(row, 1, constant_values=-np.inf)
        peaks = np.flatnonzero((row >= padded[:-2]) & (row >= padded[2:]) & (row > _LEAST_DEPTH))
        deepest = peaks[np.argsort(-row[peaks], kind="stable")][:3]
        found += [((band + 0.5) / _BANDS, float(peak), float(row[peak])) for peak in deepest]
    bands, places, depths = np.array(found, float).reshape(-1, 3).T
    return bands, places, depths


def _most_agree(bands: Floats, places: Floats, depths: Floats, tolerance: float) -> tuple[float, float] | None:
    """Return the line (at the head, slope to the tail) along the deepest valleys, when six bands in ten have one."""
    best, most = np.zeros(len(bands), bool), 0.0
    for one in range(len(bands)):
        for other in range(one + 1, len(bands)):
            if bands[other] - bands[one] < 0.25:
                continue
            slope = (places[other] - places[one]) / (bands[other] - bands[one])
            near = np.abs(places - places[one] - slope * (bands - bands[one])) < tolerance
            deep = float(depths[near].sum())
            if deep > most and len(set(bands[near].tolist())) >= 0.6 * _BANDS:
                best, most = near, deep
    if not most:
        return None
    slope, base = np.polyfit(bands[best], places[best], 1)
    return float(base), float(slope)


def _of_page(paper: Floats) -> tuple[float, float, bool]:
    """Return the side of a page along which it darkens, as columns at head and tail, and whether it does."""
    width = paper.shape[1]
    edge, inner = round(0.03 * width), round(0.12 * width)
    level = np.median(paper, axis=0)
    sides = [
        float(np.median(part[2 * edge : inner]) - np.median(part[edge // 3 : edge])) for part in (level, level[::-1])
    ]
    is_right = sides[1] > sides[0]
    at = float(width) if is_right else 0.0
    return at, at, abs(sides[1] - sides[0]) > _LEAST_DEPTH * float(level.max())
