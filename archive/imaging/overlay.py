"""Laying one sheet on another by their edges: turned, moved and tilted until the shapes meet."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.imaging.sheet_look import Edges, SheetLook, Singles, turned_edges

_GRID = 128  # pixels a side of the coarse search; a sheet fills three quarters of it, so that it does not wrap around
_COARSE = 0.5  # of the looks' size
_REACH = 12  # coarse pixels that the sheets may be off: an eighth of their length
_SCALES = (0.92, 0.96, 1.0, 1.04, 1.08)
_ASPECT = 0.25  # natural logarithm: sheets more unlike than that in width to height are not laid on each other
_STEPS = 40  # of the fine search

Matrix = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Overlay:
    """Where the other sheet lies on the first.

    Attributes
    ----------
    turns : int
        Quarters against the clock by which the other is turned.
    matrix : (3, 3) ndarray of float32
        From pixels of the first to pixels of the turned other.
    agreement : float
        How far the coarse edges agree: 1 for the very same, about 0 for strangers.
    """

    turns: int
    matrix: Matrix
    agreement: float


def lay_on(one: SheetLook, other: SheetLook) -> list[Overlay]:
    """Return rough places of the other sheet on the first, one for each turn and scale, the best first."""
    height, width = one.edges.shape
    first = _shrunk(one.edges, _COARSE)
    spectrum, found = np.fft.fft2(first, (_GRID, _GRID)), []
    for turns, scale in product(range(4), _SCALES):
        edges = turned_edges(other.edges, turns)
        if abs(np.log(edges.shape[0] / edges.shape[1] * width / height)) > _ASPECT:
            continue
        agreement, down, right = _moved(spectrum, first, _shrunk(edges, _COARSE * scale))
        back = np.array([[1, 0, -right / _COARSE], [0, 1, -down / _COARSE], [0, 0, scale]], dtype=np.float32)
        found.append(Overlay(turns, back / np.float32(scale), agreement))
    return sorted(found, key=lambda each: -each.agreement)


def refined(one: SheetLook, other: SheetLook, overlay: Overlay, smoothing: int = 5) -> Overlay:
    """Return the overlay fitted to a fraction of a pixel, tilt included; the old one where that fails.

    Parameters
    ----------
    smoothing : int
        Pixels, odd: a greater one finds its way from further off, and less exactly.

    Source: the enhanced correlation coefficient of Evangelidis & Psarakis 2008, IEEE Trans. PAMI 30(10), 1858-1865.
    """
    import cv2

    edges = turned_edges(other.edges, overlay.turns)
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, _STEPS, 1e-4)
    try:
        _, matrix = cv2.findTransformECC(
            *(_strength(one.edges), _strength(edges), overlay.matrix.copy(), cv2.MOTION_HOMOGRAPHY),
            *(criteria, None, smoothing),
        )
    except cv2.error:  # it did not converge: the shapes do not meet
        return overlay
    return Overlay(overlay.turns, np.asarray(matrix, dtype=np.float32), overlay.agreement)


def laid(picture: NDArray[Any], overlay: Overlay, shape: tuple[int, ...]) -> Singles:
    """Return a turned picture of the other sheet, (h, w, channels), in the first one's pixels."""
    import cv2

    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpPerspective(picture.astype(np.float32), overlay.matrix, (shape[1], shape[0]), flags=flags)
    return np.asarray(moved, dtype=np.float32)


def _strength(edges: Edges) -> Singles:
    import cv2

    return np.asarray(cv2.GaussianBlur(np.abs(edges).astype(np.float32), (0, 0), 1.2))


def _shrunk(edges: Edges, scale: float) -> NDArray[Any]:
    import cv2

    height, width = (min(max(round(side * scale), 1), _GRID) for side in edges.shape)
    both = np.stack([edges.real, edges.imag], axis=-1)
    small = cv2.resize(both, (width, height), interpolation=cv2.INTER_AREA)
    return np.asarray(small[..., 0] + 1j * small[..., 1])


def _moved(spectrum: NDArray[Any], first: NDArray[Any], other: NDArray[Any]) -> tuple[float, int, int]:
    """Return how well two fields agree at the best move, and the move: down and right."""
    agreement = np.fft.ifft2(spectrum * np.conj(np.fft.fft2(other, (_GRID, _GRID)))).real
    near = np.r_[0:_REACH, _GRID - _REACH : _GRID]
    reach = agreement[np.ix_(near, near)]
    down, right = (int(near[place]) for place in np.unravel_index(int(reach.argmax()), reach.shape))
    size = np.sqrt((np.abs(first) ** 2).sum() * (np.abs(other) ** 2).sum())
    down, right = (at - _GRID if at >= _GRID // 2 else at for at in (down, right))
    return float(reach.max() / max(size, 1e-9)), down, right
