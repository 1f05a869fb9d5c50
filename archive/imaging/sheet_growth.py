"""From the edge of a print to the faint edge of its pale sheet on a pale table.

A printed block on off-white paper stands out far more than the paper does from a pale table, all the more where the
sheet's own soft shadow makes the step gradual. So, outside of what was found, each of the four sides is looked along
for a parallel edge, averaged over eight stretches; the larger sheet is believed when its edge is there along the whole
of all four sides.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Light = NDArray[np.float32]

_STRETCHES = 8
_COLOURED = 45.0  # levels between channels: more is a coloured table
_NEAR = 4.0  # pixels outside of what was found, where its own blur and shadow end
_FAR = 0.3  # of the picture's long side: a wider margin is looked for in vain
_AROUND = 10.0  # pixels to either side where a grown side is checked
_LEAST_MARGIN = 3.0  # pixels of paper around a print
_LEAST_GROWN = 2  # sides: a print may touch the others
_LEAST_STEP = 0.3  # levels of 255 a pixel: what averaging leaves of noise and rounding is below
_SKEW = 0.04  # a print lies hardly askew on its sheet
_ALIKE = 1.3  # pixels that stretches of one edge may lie off its line
_INKED = 28.0  # levels that no paper is darker than a pale table
_TINTED = 10.0  # levels that a pale tint darkens paper
_SHADED = 1.0  # levels that even a faint shadow beside a sheet takes of the table's light
_PALE = 165.0  # level of 255; darker tables show paper plainly
_AGED = 140.0  # level of 255 of the darkest old paper


def grow(small: NDArray[np.uint8], hidden: NDArray[np.bool_], quad: Floats) -> Floats | None:
    """Return the larger quadrilateral around a print, or None where no four faint edges surround it.

    Parameters
    ----------
    small : (h, w, 3) ndarray of uint8
    hidden : (h, w) ndarray of bool
        What covers the table, such as a colour card.
    quad : (4, 2) ndarray
        Corners clockwise, in pixels.
    """
    reach = _FAR * max(small.shape[:2])
    outer = [_outer_edge(small, hidden, start, end, _NEAR, reach) for start, end in _sides(quad)]
    if sum(line is not None for line in outer) < _LEAST_GROWN:
        return None
    lines = [line or (start, end - start) for line, (start, end) in zip(outer, _sides(quad), strict=True)]
    grown = _corners(lines)
    if grown is None or not _lies_in(grown, small.shape):
        return None
    # Along the whole of its new sides, corners included, the edge must be there.
    checked = [_outer_edge(small, hidden, start, end, -_AROUND, _AROUND) for start, end in _sides(grown)]
    again = _corners([line for line in checked if line is not None])
    if again is None or np.abs(again - grown).max() > _AROUND:
        return None
    # Not the same edge once more: on two sides at least it must have come outwards.
    around = sum(float(np.linalg.norm(end - start)) for start, end in _sides(quad))
    return again if _area(again) - _area(quad) > _LEAST_MARGIN * around / 2 else None


def _area(quad: Floats) -> float:
    x, y = quad.T
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2


def _lies_in(quad: Floats, shape: tuple[int, ...]) -> bool:
    return bool(((quad > 0) & (quad < np.array([shape[1], shape[0]]))).all())


def is_print_like(small: NDArray[np.uint8], quad: Floats) -> bool:
    """Return whether this could be a print whose paper fills the picture, rather than a sheet on a pale table.

    That is so where it is pale outside and inked inside along all four sides; where the inside is only a little darker,
    which off-white paper on a white table is too, where no shadow lies beside two of the sides.
    """
    shaded, darker = 0, []
    for start, end in _sides(quad):
        inside, beside, outside, far = (_beside(small, start, end, out) for out in (-5.0, 4.0, 9.0, 16.0))
        if outside.mean() < _AGED or np.ptp(outside) > _COLOURED:
            return False
        darker.append(float(outside.mean() - inside.mean()))
        shaded += bool(far.mean() - beside.mean() > _SHADED)
    return min(darker) > (_TINTED if shaded < 2 else _INKED)


def is_pale_outside(small: NDArray[np.uint8], quad: Floats) -> bool:
    """Return whether the table is as light as paper along the sides."""
    beside = [_beside(small, start, end, 9.0) for start, end in _sides(quad)]
    return all(colour.mean() > _PALE and np.ptp(colour) < _COLOURED for colour in beside)


def _sides(quad: Floats) -> list[tuple[Floats, Floats]]:
    return [(quad[at], quad[(at + 1) % 4]) for at in range(4)]


def _outward(start: Floats, end: Floats) -> Floats:
    """Return the unit normal that points out of a quadrilateral whose corners go clockwise, y down."""
    along = (end - start) / np.linalg.norm(end - start)
    return np.array([along[1], -along[0]])


def _strip(small: NDArray[np.uint8], start: Floats, end: Floats, out: Floats, count: int) -> tuple[Light, Floats]:
    """Return colours at `count` places along a side by distances out of it, and the places' shares of the side."""
    import cv2

    share = (np.arange(count) + 0.5) / count
    where = start + share[:, None, None] * (end - start) + out[None, :, None] * _outward(start, end) - 0.5
    x, y = where[..., 0].astype(np.float32), where[..., 1].astype(np.float32)
    return cv2.remap(small, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32), share


def _beside(small: NDArray[np.uint8], start: Floats, end: Floats, out: float) -> Light:
    """Return the usual colour along a side, some pixels out of it."""
    return np.asarray(np.median(_strip(small, start, end, np.array([out]), 48)[0], axis=(0, 1)), np.float32)


def _outer_edge(
    small: NDArray[np.uint8], hidden: NDArray[np.bool_], start: Floats, end: Floats, near: float, far: float, *,
    least: int = 7,
) -> tuple[Floats, Floats] | None:  # fmt: skip
    """Return a point and a direction of the edge outside of a side that most stretches have, or None."""
    out = np.arange(near, far)
    colours, share = _strip(small, start, end, out, _STRETCHES * 16)
    cover = np.asarray(hidden, np.uint8)[..., None].repeat(3, axis=2)
    seen = _strip(cover, start, end, out, _STRETCHES * 16)[0][..., 0] == 0
    inside = _inside(small.shape, start, share, end, out)
    profile = np.median(colours.reshape(_STRETCHES, 16, len(out), 3), axis=1)
    valid = (seen & inside).reshape(_STRETCHES, 16, len(out)).mean(axis=1) > 0.7
    # In a short strip the edge itself is what is usual.
    found = _first_edges(profile, valid, above=3.0 if near > 0 else 0.0)
    middle = share.reshape(_STRETCHES, 16).mean(axis=1) - 0.5
    best: tuple[int, float, float] = (0, 0.0, 0.0)
    for one in range(len(found)):
        for other in range(one + 2, len(found)):
            for first in found[one]:
                for second in found[other]:
                    slope = (second - first) / (middle[other] - middle[one])
                    base = first - slope * middle[one]
                    count = sum(any(abs(p - base - slope * m) < _ALIKE for p in places)
                                for m, places in zip(middle, found, strict=True))  # fmt: skip
                    if count > best[0] and abs(slope) < _SKEW * np.linalg.norm(end - start):
                        best = (count, base, slope)
    if best[0] < min(least, max(int(valid.any(axis=1).sum()) - 1, 5)):
        return None
    normal = _outward(start, end)
    _, base, slope = best
    return (start + end) / 2 + (near + base) * normal, (end - start) + slope * normal


def _inside(shape: tuple[int, ...], start: Floats, share: Floats, end: Floats, out: Floats) -> NDArray[np.bool_]:
    where = start + share[:, None, None] * (end - start) + out[None, :, None] * _outward(start, end)
    return np.asarray(((where > 1) & (where < np.array([shape[1], shape[0]]) - 1)).all(axis=2))


def _first_edges(profile: Light, valid: NDArray[np.bool_], *, above: float) -> list[list[float]]:
    """Return, for each stretch, the few places where its colour changes most and which are no mere slope."""
    import cv2

    span = np.arange(-5, 6)
    kernel = (span * np.exp(-(span**2) / (2 * 1.8**2))).astype(np.float32)
    kernel /= float((kernel * span).sum())
    change = np.linalg.norm(cv2.filter2D(profile, -1, kernel[None], borderType=cv2.BORDER_REPLICATE), axis=2)
    usual = np.median(change, axis=1)
    found = []
    for row, seen, level in zip(change, valid, usual, strict=True):
        peak = (row[1:-1] >= row[:-2]) & (row[1:-1] >= row[2:]) & seen[1:-1]
        places = np.flatnonzero(peak & (row[1:-1] > max(above * level, _LEAST_STEP))) + 1
        found.append([float(place) for place in places[np.argsort(-row[places])][:2]])
    return found


def _corners(lines: list[tuple[Floats, Floats]]) -> Floats | None:
    """Return where each side crosses the one before it."""
    points = []
    if len(lines) != 4:
        return None
    for at in range(4):
        (p, u), (q, v) = lines[at - 1], lines[at]
        area = u[0] * v[1] - u[1] * v[0]
        if abs(area) < 0.1 * np.linalg.norm(u) * np.linalg.norm(v):
            return None
        points.append(p + u * ((q - p)[0] * v[1] - (q - p)[1] * v[0]) / area)
    return np.array(points)
