"""What a sheet is compared by: its shapes without their colours, a hash of them, and a small picture.

A colourway turns light into dark and one hue into another, but its edges stay where they are. So shapes are kept as
edges alone: how strong, up to a level at which all are equal, and along which line, not in which direction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.spaces import check_lab
from archive.errors import InputError

Singles = NDArray[np.float32]
Edges = NDArray[np.complex64]

SIDE = 192  # pixels, the long side; at A3 one covers 2.2 mm, more than two drums drift apart
LEAST_SIDE = 32  # pixels: below, a picture says nothing of shapes
_SMOOTH = 2.0  # pixels, standard deviation: a screen's dots go, shapes stay
_NOISE = 0.8  # Lab units a pixel: weaker edges are grain, JPEG or cockle [tried]
_MARGIN = 0.07  # of each side: the table, a shadow or the sheet's own edge
_BLANK_BELOW = 0.012  # of the area inside the margin that edges cover [tried]
_HASH_GRID = 32  # pixels a side that the hash works at, as in `imagehash.phash`
_FIXED = 0.35  # of the level above which a fifth of the picture's edges lie: as strong as edges get [tried]


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class SheetLook:
    """A sheet made ready to be compared.

    Attributes
    ----------
    lab : (h, w, 3) ndarray of float32
        The sheet, its long side `SIDE` pixels.
    edges : (h, w) ndarray of complex64
        Strength (below 1) and twice the angle of the edges: the same for dark on light and light on dark.
    hashes : (4,) ndarray of uint64
        Of the shapes, for the sheet as it lies and after each quarter turn against the clock.
    is_blank : bool
        Too few shapes to be told by them: blank and pale sheets are like nothing.
    """

    lab: Singles
    edges: Edges
    hashes: NDArray[np.uint64]
    is_blank: bool


def look_at(lab: ArrayLike) -> SheetLook:
    """Return what a sheet is compared by.

    Parameters
    ----------
    lab : (h, w, 3) array_like
        A picture cut to the sheet, D50; some 200 to 500 pixels a side are best.

    Raises
    ------
    InputError
        The picture is smaller than 32 pixels.
    ColourError
        It holds no Lab colours.
    """
    picture = check_lab(lab)
    if picture.ndim != 3 or min(picture.shape[:2]) < LEAST_SIDE:
        raise InputError("the picture is too small to compare", mend=f"Give at least {LEAST_SIDE} pixels a side.")
    small = _resized(picture.astype(np.float32))
    edges = _edges(small)
    hashes = np.array([_hash(turned_edges(edges, turn)) for turn in range(4)], dtype=np.uint64)
    return SheetLook(small, edges, hashes, _covered(edges) < _BLANK_BELOW)


def turned_edges(edges: Edges, turns: int) -> Edges:
    """Return the edges of the sheet turned by quarters against the clock."""
    sign = np.float32(-1 if turns % 2 else 1)  # twice a quarter turn is a half turn of the doubled angle
    return np.ascontiguousarray(np.rot90(edges, turns)) * sign


def _resized(lab: Singles) -> Singles:
    import cv2

    height, width = lab.shape[:2]
    scale = SIDE / max(height, width)
    size = max(round(width * scale), 8), max(round(height * scale), 8)
    smoothed = cv2.GaussianBlur(lab, (0, 0), 0.5 / scale) if scale < 0.5 else lab
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(smoothed, size, interpolation=how), dtype=np.float32)


def _edges(lab: Singles) -> Edges:
    """Return the edges of all three channels together (Di Zenzo 1986: the sum of their tensors)."""
    import cv2

    smooth = cv2.GaussianBlur(lab, (0, 0), _SMOOTH)
    across, down = (cv2.Scharr(smooth, cv2.CV_32F, *axis) / 32 for axis in ((1, 0), (0, 1)))
    doubled = ((across + 1j * down) ** 2).sum(axis=-1)
    squared = np.abs(doubled)
    level = max(1.5 * _NOISE, _FIXED * float(np.sqrt(np.percentile(squared, 80)))) ** 2
    is_noise = np.minimum(squared / _NOISE**2, 1.0)
    return np.asarray(doubled / (squared + level) * is_noise, dtype=np.complex64)


def inside(shape: tuple[int, ...]) -> tuple[slice, slice]:
    """Return the part of a picture within its margin."""
    top, left = (max(round(side * _MARGIN), 1) for side in shape[:2])
    return slice(top, -top), slice(left, -left)


def _covered(edges: Edges) -> float:
    return float((np.abs(edges[inside(edges.shape)]) > 0.2).mean())


def _hash(edges: Edges) -> np.uint64:
    """Return the signs of the 8 x 8 lowest cosine terms of where edges are."""
    import cv2

    strength = np.abs(edges).astype(np.float32)
    grid = cv2.resize(strength, (_HASH_GRID, _HASH_GRID), interpolation=cv2.INTER_AREA)
    terms = cv2.dct(grid)[:8, :8].ravel()
    bits = terms > np.median(terms[1:])
    return np.uint64(int("".join("1" if bit else "0" for bit in bits), 2))
