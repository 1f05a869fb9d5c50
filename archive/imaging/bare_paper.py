"""The bare paper round a print: the one surface of one colour that every frame shows."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.errors import InputError
from archive.imaging.decode import resize_light
from archive.imaging.fall_off import FallOff, fall_off_from_paper
from archive.imaging.profiles import Light

LOOKED_AT = 480  # pixels of the picture's long side: light on paper is smooth
_FROM, _TO = 0.012, 0.1  # of the sheet's short side: off its edge, and as far in as a print's border goes [own choice]
_DARKEST = 0.5  # of the lightest: lens and lamps take no more from one sheet [own choice]
_DARKEST_EVEN = 0.8  # the same where they were taken out: a light tint of ink is no bare paper [own choice]
_SAME_HUE = 0.06  # by how much a channel's share of the light may differ from the paper's [own choice]
_SAME_LEVEL = 0.12  # by how much paper may differ from the smooth field [own choice]
_LEAST = 0.35  # of the border: less is no border round the print [own choice]


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class BarePaper:
    """Light made small, (h, w, 3), and where in it bare paper lies, (h, w) of bool; none where no border is bare."""

    light: Light = field(repr=False)
    where: NDArray[np.bool_] = field(repr=False)


def find_bare_paper(light: Light, corners: ArrayLike, *, is_even: bool = False) -> BarePaper:
    """Return where the border of a sheet shows bare paper.

    Parameters
    ----------
    light : (h, w, 3) float32, linear
    corners : (4, 2) array_like
        Of the sheet, clockwise, in pixels of `light`.
    is_even : bool
        Whether the fall-off was taken out of the light.
    """
    small = resize_light(light, LOOKED_AT)
    border = _border(small.shape, np.asarray(corners, float) * (small.shape[1] / light.shape[1]))
    level = small.mean(axis=2)
    if border.sum() < 100:
        return BarePaper(small, np.zeros_like(border))
    darkest = _DARKEST_EVEN if is_even else _DARKEST
    bright = border & (level > darkest * np.percentile(level[border], 95))
    share = small / np.maximum(small.sum(axis=2, keepdims=True), 1e-6)
    paper = np.median(share[bright & (level >= np.median(level[bright]))], axis=0)
    where = bright & (np.abs(share - paper).max(axis=2) < _SAME_HUE * paper.max())
    return BarePaper(small, where if where.sum() >= _LEAST * border.sum() else np.zeros_like(where))


def _border(shape: tuple[int, ...], corners: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return the band along the sheet's edges in which a print's border lies."""
    import cv2

    inside = np.zeros((shape[0] + 2, shape[1] + 2), np.uint8)  # a rim, so that the picture's edge counts as an edge
    cv2.fillConvexPoly(inside, np.round(corners + 0.5).astype(np.int32), 1)
    inside[[0, -1]], inside[:, [0, -1]] = 0, 0
    deep = cv2.distanceTransform(inside, cv2.DIST_L2, 5)[1:-1, 1:-1]
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    short = float(min(sides[0] + sides[2], sides[1] + sides[3])) / 2
    return np.asarray((deep > max(_FROM * short, 2.0)) & (deep < _TO * short))


def field_on_paper(paper: BarePaper, *, name: str = "") -> FallOff:
    """Return the fall-off that bare paper shows.

    Raises
    ------
    InputError
        Too little of it is bare, or it is no one colour.
    """
    found = fall_off_from_paper(paper.light, paper.where, name=name)
    even = (paper.light / found.over((paper.light.shape[1], paper.light.shape[0]))).mean(axis=2)[paper.where]
    if float((np.abs(even / np.median(even) - 1) < _SAME_LEVEL).mean()) < 0.85:
        raise InputError(
            "the border is no one colour, so that it does not tell how the light falls off",
            where=name,
            mend="Hold the camera as for the white shot, or shoot the white sheet again for this way of holding it.",
        )
    return found
