"""What is wrong with a frame, told while the sheet still lies on the table.

Each check measures one thing on the sheet and stays silent on a frame good enough for colours. Glare is told where it
is brighter than paper can be; a grey veil over dark ink looks like another ink and cannot be told from one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.imaging.plane import PHONE_FOCAL, tilt_deg

Floats = NDArray[np.float64]
Rgb = NDArray[np.uint8]

SCREENS_LPI = (71.0, 106.0)  # lines an inch of the screens in common use
PIXELS_A_CELL = 2.0  # fewer and the dots alias (sampling theorem): 142 and 212 pixels an inch
MOST_TILT_DEG = 10.0  # beyond, one side of an A3 sheet is a tenth nearer than the other [own choice]

_MM_AN_INCH = 25.4
_CLIPPED = 253  # of 255
_MOST_CLIPPED = 0.005  # of the sheet [own choice]
_GLARE = 250  # of 255, in all channels
_PAPER_BELOW = 244  # of 255: where paper itself is lighter, it is clipping and no glare [own choice]
_LEAST_GLARE = 0.0004  # of the sheet: a blob 4 mm wide on A4 [own choice]
_DARK = 110  # of 255, for the lightest hundredth of the picture: a seventh of the light [own choice]
_SHARP_PX = 4.5  # pixels from dark to light across an edge; a good camera takes 1.5 to 3 [own choice]
_LEAST_RISE = 12  # of 255 in light, for an edge to be judged
# Blur spreads light; encoded values would make its dark end look steep. About the curve of IEC 61966-2-1.
_LIGHT = (np.arange(256, dtype=np.float32) / 255) ** np.float32(2.2) * 255
_TILES = 32
_TILE = 40  # pixels


class FinePixels(Protocol):
    """An original of which only small parts are read: (height, width, 3) of uint8."""

    @property
    def shape(self) -> tuple[int, ...]:
        """Height, width and three channels."""

    def __getitem__(self, at: tuple[slice, slice]) -> Rgb:
        """Return rows and columns; both slices have a start and a stop."""


@dataclass(frozen=True, slots=True)
class FrameWarning:
    """Something a person at the copy stand can mend."""

    code: str
    what: str
    mend: str


@dataclass(frozen=True, slots=True)
class Edges:
    """How wide the strongest edges are, 10 to 90 %, in pixels of the original; None where there are too few."""

    width_px: float | None


def check_frame(
    rgb: Rgb,
    corners_px: ArrayLike,
    *,
    full: Rgb | FinePixels | None = None,
    mm_per_px: float | None = None,
    screens_lpi: Sequence[float] = SCREENS_LPI,
    focal: float = PHONE_FOCAL,
) -> tuple[FrameWarning, ...]:
    """Return what is wrong with a frame, worst first; nothing for a good one.

    Parameters
    ----------
    rgb : (h, w, 3) ndarray of uint8
        The upright picture as encoded, one to two megapixels.
    corners_px : (4, 2) array_like
        Of the sheet, clockwise, in pixels of the original.
    full : (H, W, 3) ndarray of uint8 or FinePixels, optional
        The upright original, of which a few tiles are looked at; `rgb` when it is the original.
    mm_per_px : float, optional
        Of the original. Without it neither pixels an inch nor blur against the screen can be told.
    screens_lpi : sequence of float
        Screens that prints in the house may have.
    focal : float
        See `plane.tilt_deg`.
    """
    full = rgb if full is None else full
    corners = np.asarray(corners_px, float)
    scale = full.shape[1] / rgb.shape[1]
    inside = _sheet_mask(rgb.shape[:2], corners / scale)
    found = [
        *_exposure(rgb, inside),
        *_blur(strongest_edges(rgb, corners, full=full), mm_per_px, screens_lpi),
        *_tilt(tilt_deg(corners, (full.shape[1], full.shape[0]), focal=focal)),
        *_fineness(mm_per_px, screens_lpi),
    ]
    return tuple(found)


def _sheet_mask(shape: tuple[int, ...], corners: Floats) -> NDArray[np.bool_]:
    import cv2

    mask = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(mask, np.round(corners).astype(np.int32), 1)
    mask = cv2.erode(mask, np.ones((3, 3), np.uint8))
    return np.asarray(mask > 0)


# Light


def _exposure(rgb: Rgb, inside: NDArray[np.bool_]) -> list[FrameWarning]:
    """Return clipping, glare and darkness."""
    if not inside.any():
        return []
    found = []
    blobs = glare_blobs(rgb, inside)
    if blobs.any():
        found.append(
            FrameWarning(
                "glare",
                f"a lamp shines back from {_percent(blobs.sum() / inside.sum())} of the sheet",
                "Move the lamps out to 45 degrees, or take the sheet out of its sleeve if that is safe.",
            )
        )
    clipped = (_lightest(rgb) >= _CLIPPED) & inside & ~blobs
    share = float(clipped.sum() / inside.sum())
    if share > _MOST_CLIPPED:
        found.append(
            FrameWarning(
                "clipped",
                f"{_percent(share)} of the sheet is brighter than the camera can hold",
                "Less light or a shorter exposure: about a third of a stop.",
            )
        )
    if float(np.percentile(_lightest(rgb[::4, ::4]), 99)) < _DARK:
        found.append(
            FrameWarning(
                "too_dark", "the picture is too dark for its colours to be read", "More light, or one stop more."
            )
        )
    return found


def _lightest(rgb: Rgb) -> NDArray[np.uint8]:
    """Return the largest of the three channels; along so short an axis numpy's own takes ten times as long."""
    return np.maximum(np.maximum(rgb[..., 0], rgb[..., 1]), rgb[..., 2])


def glare_blobs(rgb: Rgb, inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which pixels of a sheet are blobs of a lamp's reflection: white where the paper is not nearly white.

    Parameters
    ----------
    rgb : (h, w, 3) ndarray of uint8
    inside : (h, w) ndarray of bool
        The sheet.
    """
    import cv2

    white = (rgb[..., 0] >= _GLARE) & (rgb[..., 1] >= _GLARE) & (rgb[..., 2] >= _GLARE) & inside
    none = np.zeros_like(white)
    if white.sum() < _LEAST_GLARE * inside.sum():
        return none
    near = cv2.dilate(white.astype(np.uint8), np.ones((25, 25), np.uint8)) > 0
    rest = _lightest(rgb)[inside & ~near]
    if len(rest) < 0.3 * inside.sum() or float(np.percentile(rest, 95)) > _PAPER_BELOW:
        return none
    count, labels, stats, _ = cv2.connectedComponentsWithStats(white.astype(np.uint8), connectivity=8)
    kept = [n for n in range(1, count) if stats[n, cv2.CC_STAT_AREA] >= _LEAST_GLARE * inside.sum()]
    return np.isin(labels, kept)


# Sharpness


def strongest_edges(rgb: Rgb, corners_px: ArrayLike, *, full: Rgb | FinePixels) -> Edges:
    """Return how wide the strongest edges on and around a sheet are, in the direction in which they are widest.

    A shaken hand blurs only edges across its movement: edges that rise sideways and those that rise upwards are judged
    apart, each kind by its median: lines thinner than the blur look sharper than they are, a print has soft edges too.
    """
    scale = full.shape[1] / rgb.shape[1]
    corners = np.asarray(corners_px, float)
    middles = _strong_places(rgb, corners / scale) * scale
    widths: list[list[float]] = [[], []]
    for x, y in middles:
        left, top = int(x) - _TILE // 2, int(y) - _TILE // 2
        tile = full[max(top, 0) : top + _TILE, max(left, 0) : left + _TILE]
        if tile.shape[:2] == (_TILE, _TILE):
            measured = _edge_width(_LIGHT[tile].mean(axis=2))
            if measured is not None:
                widths[measured[1]].append(measured[0])
    kinds = [float(np.median(kind)) for kind in widths if len(kind) >= 5]
    return Edges(max(kinds) if kinds else None)


def _strong_places(rgb: Rgb, corners: Floats) -> Floats:
    """Return the (n, 2) places of the strongest level and upright changes in the sheet and at its edge."""
    import cv2

    half = cv2.resize(rgb, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    grey, corners = cv2.cvtColor(half, cv2.COLOR_RGB2GRAY).astype(np.float32), corners / 2
    middle = corners.mean(axis=0)
    mask = np.zeros(grey.shape, np.uint8)
    cv2.fillConvexPoly(mask, np.round(middle + (corners - middle) * 1.02).astype(np.int32), 1)
    places = []
    for right, down in ((1, 0), (0, 1)):
        strength = np.abs(cv2.Sobel(grey, cv2.CV_32F, right, down)) * mask
        block = max(min(grey.shape) // 24, 8)
        rows, columns = grey.shape[0] // block, grey.shape[1] // block
        cells = strength[: rows * block, : columns * block].reshape(rows, block, columns, block)
        cells = cells.transpose(0, 2, 1, 3).reshape(rows * columns, block * block)
        best, top = cells.argmax(axis=1), cells.max(axis=1)
        order = [n for n in np.argsort(-top, kind="stable")[: _TILES // 2] if top[n] > 0]
        places += [
            ((n % columns) * block + best[n] % block + 0.5, (n // columns) * block + best[n] // block + 0.5)
            for n in order
        ]
    return np.array(places).reshape(-1, 2) * 2


def _edge_width(grey: NDArray[np.float32]) -> tuple[float, int] | None:
    """Return the width of the one straight edge in a tile, in pixels, and 0 when it rises sideways, 1 upwards."""
    down, right = np.gradient(grey)
    xx, yy, xy = float((right**2).sum()), float((down**2).sum()), float((right * down).sum())
    turn = 0.5 * np.arctan2(2 * xy, xx - yy)
    both = np.hypot(xx - yy, 2 * xy) / max(xx + yy, 1e-6)
    if both < 0.6:
        return None  # a corner, dots or nothing
    y, x = np.mgrid[0 : grey.shape[0], 0 : grey.shape[1]] - (_TILE - 1) / 2
    across = x * np.cos(turn) + y * np.sin(turn)
    cell = np.round((across + _TILE) * 2).astype(int).ravel()
    count = np.bincount(cell)
    known = np.flatnonzero(count >= 10)
    if len(known) < 10:
        return None
    # Along the pixels' own rows only every second cell is filled.
    profile = np.interp(
        np.arange(known[0], known[-1] + 1), known, np.bincount(cell, grey.ravel())[known] / count[known]
    )
    if len(profile) < 20 or np.ptp(profile) < _LEAST_RISE:
        return None
    return _rise(profile, 0.5), int(abs(np.sin(turn)) > abs(np.cos(turn)))


def _rise(profile: Floats, step: float) -> float:
    """Return the 10 to 90 % width of the steepest edge of a profile, from the width of its slope at half its height.

    For a Gaussian blur both are 2.56 and 2.35 standard deviations. A second edge close by, which a print has often,
    does not widen it so.
    """
    slope = np.convolve(np.diff(profile), np.array([1, 2, 3, 2, 1]) / 9, "same")
    at = int(np.abs(slope).argmax())
    share = slope / slope[at]
    low, high = at, at
    while low > 0 and share[low - 1] > 0.5:
        low -= 1
    while high < len(share) - 1 and share[high + 1] > 0.5:
        high += 1
    before = (share[low] - 0.5) / (share[low] - share[low - 1]) if low > 0 else 0.0
    after = (share[high] - 0.5) / (share[high] - share[high + 1]) if high < len(share) - 1 else 0.0
    return float((high - low + before + after) * step * 2.56 / 2.35)


def _blur(edges: Edges, mm_per_px: float | None, screens_lpi: Sequence[float]) -> list[FrameWarning]:
    """Return a warning when edges are wider than a pixel's own blur and than the coarsest screen's cell."""
    if edges.width_px is None or edges.width_px <= _SHARP_PX:
        return []
    what = f"edges are {edges.width_px:.0f} pixels wide"
    if mm_per_px is not None:
        cell_mm = _MM_AN_INCH / min(screens_lpi)
        cells = edges.width_px * mm_per_px / cell_mm
        if cells <= 1:
            return []
        what += f", {cells:.1f} cells of a {min(screens_lpi):.0f}-lpi screen"
    return [FrameWarning("blurred", what, "Hold the camera still or use a stand, tap the sheet to focus, shoot again.")]


# Geometry


def _tilt(degrees: float) -> list[FrameWarning]:
    if degrees <= MOST_TILT_DEG:
        return []
    mend = "Hold the camera square above the sheet."
    return [FrameWarning("tilted", f"the camera leans by about {degrees:.0f} degrees", mend)]


def _fineness(mm_per_px: float | None, screens_lpi: Sequence[float]) -> list[FrameWarning]:
    """Return that there are too few pixels an inch for a screen, or that a finer screen's dots may alias."""
    if mm_per_px is None:
        return []
    ppi = _MM_AN_INCH / mm_per_px
    coarse, fine = (PIXELS_A_CELL * lpi for lpi in (min(screens_lpi), max(screens_lpi)))
    if ppi < coarse:
        what = f"{ppi:.0f} pixels an inch are too few for a {min(screens_lpi):.0f}-lpi screen, which needs {coarse:.0f}"
        return [FrameWarning("too_few_pixels", what, "Go nearer, or take the sheet in parts that overlap by a third.")]
    if ppi < fine:
        what = f"{ppi:.0f} pixels an inch: the dots of a {max(screens_lpi):.0f}-lpi screen may show moiré"
        mend = f"Go nearer ({fine:.0f} pixels an inch), or read colours over at least ten cells."
        return [FrameWarning("moire_risk", what, mend)]
    return []


def _percent(share: float) -> str:
    return f"{share * 100:.1f} %" if share < 0.1 else f"{share * 100:.0f} %"
