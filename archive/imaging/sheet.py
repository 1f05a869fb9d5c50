"""The printed sheet found on its background.

Works on a small picture: straight edges are gathered (`sheet_lines`), every four of them that could bound a sheet
are weighed, and the best four are drawn again through the finest pixels that were given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.errors import InputError
from archive.imaging.sheet_edges import redraw
from archive.imaging.sheet_growth import grow, is_pale_outside, is_print_like
from archive.imaging.sheet_lines import STEP, Floats, Lines, find_lines, gather_clues

_SIDE = 640  # pixels on the long side of the picture that is searched
_LEAST_SIDE = 0.12  # of the picture's long side: less is no sheet but a thing beside it [own choice]
_LEAST_AREA = 0.05  # of the picture [own choice]
_LEAST_SUPPORT = 0.3  # of a side, for a sheet that is sure [own choice]
_RIVAL = 0.85  # of the best score: two that close and not alike leave it open [own choice]
_ALIKE = 0.93  # overlap of two quadrilaterals that are one and the same
_FILLS = 0.98  # overlap with the whole picture: it is all sheet, or all table
_GAP = 10.0  # pixels beyond a corner that its own sides reach by averaging
_BEYOND = 0.15  # of a side, looked at beyond its corner [own choice]
_GOES_ON = 0.5  # of that stretch [own choice]
_CORNER = 0.1  # of a side, looked at to tell whether it reaches its corner [own choice]
_LACK = 0.6  # what a length of side without an edge costs against one with it [own choice]


@dataclass(frozen=True, slots=True)
class FoundSheet:
    """Where the sheet lies.

    `corners_px` go clockwise from the upper left, in pixels of the upright original, measured from the upper left
    corner of its first pixel. When no sheet was found they are the whole picture's. `why` is empty when it is sure.
    """

    corners_px: tuple[tuple[float, float], ...]
    sure: bool
    why: str = ""
    is_whole: bool = False


def find_sheet(rgb: ArrayLike, *, exclude: Sequence[ArrayLike] = (), size: tuple[int, int] | None = None) -> FoundSheet:
    """Return where the sheet lies in a picture.

    Parameters
    ----------
    rgb : (h, w, 3) array_like of uint8
        The upright picture as encoded; one to two megapixels are enough (a draft of a large JPEG).
    exclude : sequence of (4, 2) array_like
        Corners of what lies beside the sheet and is known, such as a colour card, in pixels of the original.
    size : (int, int), optional
        Width and height of the original, when `rgb` is a smaller copy of it.

    Raises
    ------
    InputError
        Not a picture of 8 bits in three channels, or hardly any pixels.
    """
    pixels = _checked(rgb)
    height, width = pixels.shape[:2]
    scale = np.array(size if size is not None else (width, height)) / (width, height)
    known = [np.asarray(each, float) / scale for each in exclude]
    small, hidden = _made_small(pixels, known)
    clues = gather_clues(small, hidden)
    lines = find_lines(clues)
    found = _weigh(lines, clues.table.shape)
    if not found:
        return _whole(scale * (width, height), "no four straight sides stand out of the background")
    rough, why = clockwise_from_upper_left(found[0].corners), _doubt(found, lines)
    grown = grow(small, hidden, rough) if is_pale_outside(small, rough) else None
    if grown is not None:
        rough, why = clockwise_from_upper_left(grown), ""
    elif not known and is_print_like(small, rough):
        why = why or "it could be a print on a sheet that fills the picture"
    back = np.array([width / small.shape[1], height / small.shape[0]])
    # The print's own edge, much stronger, may lie eight small pixels beside a faint one.
    reach = float(back.max()) * (3.0 if grown is not None else 5.0)
    corners, is_drawn = redraw(pixels, rough * back, known, reach=reach)
    corners = clockwise_from_upper_left(corners)
    why = _at_edge(corners, (width, height)) or why
    if not why and not is_drawn:
        why = "one of its sides is too faint to be drawn exactly"
    if overlap(corners, [[0, 0], [width, 0], [width, height], [0, height]]) > _FILLS:
        return _whole(scale * (width, height), why)
    return FoundSheet(tuple((float(x), float(y)) for x, y in corners * scale), not why, why)


def clockwise_from_upper_left(corners: ArrayLike) -> Floats:
    """Return four corners in clockwise order, first the one that is upper left as the picture stands.

    That is the one whose side to the next corner lies nearest to level.
    """
    corners = np.asarray(corners, float)
    out = corners - corners.mean(axis=0)
    corners = corners[np.argsort(np.arctan2(out[:, 1], out[:, 0]), kind="stable")]
    side = np.roll(corners, -1, axis=0) - corners
    return np.roll(corners, -int(np.argmin(np.abs(np.arctan2(side[:, 1], side[:, 0])))), axis=0)


def _checked(rgb: ArrayLike) -> NDArray[np.uint8]:
    pixels = np.asarray(rgb)
    if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] != 3 or min(pixels.shape[:2]) < 64:
        raise InputError(
            "a sheet is looked for in 8-bit colour of at least 64 x 64 pixels, not {shape} of {kind}",
            shape=pixels.shape,
            kind=str(pixels.dtype),
            mend="Give the picture as it is shown on a screen.",
        )
    return pixels


def _whole(size: Floats, why: str) -> FoundSheet:
    width, height = (float(side) for side in size)
    return FoundSheet(((0.0, 0.0), (width, 0.0), (width, height), (0.0, height)), False, why, True)


def _made_small(pixels: NDArray[np.uint8], known: list[Floats]) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Return the picture about 640 pixels long, and which of its pixels something known covers."""
    import cv2

    height, width = pixels.shape[:2]
    scale = min(_SIDE / max(width, height), 1.0)
    size = max(round(width * scale), 1), max(round(height * scale), 1)
    small = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)) if scale < 1 else pixels
    hidden = np.zeros((size[1], size[0]), np.uint8)
    for corners in known:
        around = corners.mean(axis=0) + (corners - corners.mean(axis=0)) * 1.08  # and its edge's blur
        cv2.fillConvexPoly(hidden, np.round(around / (width, height) * size).astype(np.int32), 1)
    return np.asarray(small, np.uint8), hidden > 0


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class _Quad:
    """Four lines that could bound a sheet: corners in pixels of the small picture, and what speaks for each side."""

    corners: Floats
    lines: tuple[int, int, int, int]  # the side before each corner is the last one's
    score: float
    support: Floats  # share of each side


def _weigh(lines: Lines, shape: tuple[int, ...], *, most: int = 12) -> list[_Quad]:
    """Return the quadrilaterals for which most speaks, best first."""
    height, width = shape
    place = _crossings(lines)
    one, other = _facing(lines, max(width, height))
    first, second = np.triu_indices(len(one), 1)
    crosses = np.abs(_turn(lines.angle[one[first]] - lines.angle[one[second]])) > np.radians(50)
    first, second = first[crosses], second[crosses]
    # Sides a and c face each other, b and d face each other; the corners are da, ab, bc, cd.
    sides = np.stack([one[first], one[second], other[first], other[second]], axis=1)
    quads = np.stack([_point(lines, place, sides[:, at - 1], sides[:, at]) for at in range(4)], axis=1)
    fits = _may_be_sheet(quads, width, height)
    sides, quads = sides[fits], quads[fits]
    middle = quads.mean(axis=1)
    length, support, ends = np.empty((len(quads), 4)), np.empty((len(quads), 4)), np.empty((len(quads), 4, 2))
    for at in range(4):
        before, after = sides[:, at - 1], sides[:, (at + 1) % 4]
        length[:, at], support[:, at], ends[:, at] = _supported(lines, place, sides[:, at], before, after, middle)
    share = support / length
    corner = (ends[:, :, 0] + np.roll(ends[:, :, 1], 1, axis=1)) / 2
    worst = share.min(axis=1) * np.sort(corner, axis=1)[:, :2].mean(axis=1)
    score = (support - _LACK * (length - support)).sum(axis=1) * np.sqrt(np.maximum(worst, 0))
    best = [at for at in np.argsort(-score, kind="stable")[:most] if score[at] > 0]
    half = np.array([width / 2, height / 2])
    return [_Quad(quads[at] + half, tuple(sides[at].tolist()), float(score[at]), share[at]) for at in best]


def _turn(angle: Floats) -> Floats:
    """Return the difference of two lines' directions, between a quarter turn either way."""
    return (angle + np.pi / 2) % np.pi - np.pi / 2


def _facing(lines: Lines, long_side: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the pairs of lines that could be opposite sides: nearly parallel and apart."""
    one, other = np.triu_indices(len(lines.angle), 1)
    turn = _turn(lines.angle[other] - lines.angle[one])
    # Angles are kept in half a turn: past it the normal, and with it the offset, changes sign.
    flip = np.where(np.abs(lines.angle[other] - lines.angle[one]) > np.pi / 2, -1.0, 1.0)
    apart = np.abs(lines.offset[other] * flip - lines.offset[one])
    fits = (np.abs(turn) < np.radians(20)) & (apart > _LEAST_SIDE * long_side)
    return one[fits], other[fits]


def _crossings(lines: Lines) -> Floats:
    """Return where along line i it is crossed by line j, (n, n); far away for parallel ones."""
    cos, sin = np.cos(lines.angle), np.sin(lines.angle)
    across = -sin[:, None] * cos[None] + cos[:, None] * sin[None]  # direction of i times normal of j
    rest = lines.offset[None] - lines.offset[:, None] * (cos[:, None] * cos[None] + sin[:, None] * sin[None])
    return np.asarray(np.where(np.abs(across) > 1e-3, rest / np.where(np.abs(across) > 1e-3, across, 1.0), 1e9))


def _point(lines: Lines, place: Floats, i: NDArray[np.intp], j: NDArray[np.intp]) -> Floats:
    """Return where lines i and j cross, (n, 2), from the picture's middle."""
    cos, sin, along = np.cos(lines.angle[i]), np.sin(lines.angle[i]), place[i, j]
    x = cos * lines.offset[i] - sin * along
    return np.stack([x, sin * lines.offset[i] + cos * along], axis=1)


def _may_be_sheet(quads: Floats, width: int, height: int) -> NDArray[np.bool_]:
    """Return which quadrilaterals are convex, lie in the picture and are neither small nor a sliver."""
    side = np.roll(quads, -1, axis=1) - quads
    following = np.roll(side, -1, axis=1)
    cross = side[..., 0] * following[..., 1] - side[..., 1] * following[..., 0]
    length = np.linalg.norm(side, axis=2)
    convex = (cross > 0).all(axis=1) | (cross < 0).all(axis=1)
    inside = (np.abs(quads) <= np.array([width, height]) / 2 + 3).all(axis=(1, 2))
    area = np.abs(cross).sum(axis=1) / 4
    big = (length.min(axis=1) > _LEAST_SIDE * max(width, height)) & (area > _LEAST_AREA * width * height)
    return np.asarray(convex & inside & big)


def _supported(
    lines: Lines,
    place: Floats,
    side: NDArray[np.intp],
    before: NDArray[np.intp],
    after: NDArray[np.intp],
    middle: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Return the lengths of sides, how much of each is supported, and how well its two ends are (n, 2)."""
    ends = np.stack([place[side, before], place[side, after]])
    beyond = (middle[:, 0] * np.cos(lines.angle[side]) + middle[:, 1] * np.sin(lines.angle[side])) > lines.offset[side]
    inside = beyond.astype(int)

    def sums(share: float) -> Floats:
        at = ends[0] + share * (ends[1] - ends[0])
        cell = np.clip(np.round((at - lines.start) / STEP).astype(int), 0, lines.support.shape[2] - 1)
        return np.asarray(lines.support[side, inside, cell])

    length = np.maximum(np.abs(ends[1] - ends[0]), 1e-6)
    first, near, far, last = (sums(share) for share in (0.0, _CORNER, 1 - _CORNER, 1.0))
    corners = np.stack([np.abs(near - first), np.abs(last - far)], axis=1) / (_CORNER * length[:, None])
    return length, np.abs(last - first), corners


def overlap(one: ArrayLike, other: ArrayLike) -> float:
    """Return the area two convex quadrilaterals share over the area of both together, 0 to 1."""
    import cv2

    first, second = np.asarray(one, np.float32), np.asarray(other, np.float32)
    shared = float(cv2.intersectConvexConvex(first, second)[0])
    both = float(cv2.contourArea(first) + cv2.contourArea(second)) - shared
    return shared / both if both > 0 else 0.0


def _at_edge(corners: Floats, size: tuple[int, int]) -> str:
    """Return that a sheet reaches the picture's edge, when it does."""
    margin = 0.004 * max(size)
    is_outside = (corners < margin).any() or (corners > np.array(size) - margin).any()
    return "the sheet reaches the edge of the picture" if is_outside else ""


def _doubt(found: list[_Quad], lines: Lines) -> str:
    """Return what speaks against the best quadrilateral, or nothing."""
    best = found[0]
    if best.support.min() < _LEAST_SUPPORT:
        return "one of its sides hardly stands out of the background"
    if any(quad.score > _RIVAL * best.score and overlap(quad.corners, best.corners) < _ALIKE for quad in found[1:]):
        return "it could as well be another rectangle in the picture"
    if _goes_on(best, lines):
        return "its sides seem to go on beyond one of the corners"
    return ""


def _goes_on(quad: _Quad, lines: Lines) -> bool:
    """Return whether two facing sides both go on beyond the same third one, as those of a larger sheet would."""
    place = _crossings(lines)
    on = np.empty((4, 2))
    for at in range(4):
        side, before, after = (quad.lines[number % 4] for number in (at, at - 1, at + 1))
        start, end = place[side, before], place[side, after]
        along = lines.support[side].max(axis=0)
        ahead = np.sign(end - start)
        stretch = _BEYOND * abs(end - start)
        for way, first in enumerate((start - ahead * _GAP, end + ahead * _GAP)):
            last = first + (ahead if way else -ahead) * stretch
            cells = np.clip(np.round((np.array([first, last]) - lines.start) / STEP).astype(int), 0, len(along) - 1)
            on[at, way] = abs(along[cells[1]] - along[cells[0]]) / stretch
    return any(min(on[at - 1, 1], on[(at + 1) % 4, 0]) > _GOES_ON for at in range(4))
