"""The sides of a sheet, roughly known, drawn again to parts of a pixel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Light = NDArray[np.float32]

_POSITIONS = 160  # along a side
_WINDOW = 7  # positions averaged before an edge is looked for
_STEP = 0.5  # pixels between samples across the line
_ENDS = 0.03  # of a side left out at its ends, where the other side comes in


def redraw(pixels: NDArray[np.uint8], corners: Floats, known: list[Floats], *, reach: float) -> tuple[Floats, bool]:
    """Return the corners where the four sides, each a straight line through its own edge, cross; and whether all held.

    Parameters
    ----------
    pixels : (h, w, 3) ndarray of uint8
    corners : (4, 2) ndarray
        Roughly, in pixels, in order around the sheet.
    known : list of (4, 2) ndarray
        What hides the edge, such as a colour card.
    reach : float
        Pixels to either side of the rough line where the edge is looked for.
    """
    reach = max(reach, 4.0)
    lines, held = [], True
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        line, is_good = _draw(pixels, start, end, known, reach)
        lines.append(line)
        held = held and is_good
    crossed = [_cross(lines[number - 1], lines[number]) for number in range(4)]
    if any(point is None for point in crossed):
        return corners, False
    drawn = np.array(crossed)
    if np.abs(drawn - corners).max() > 4 * reach:
        return corners, False
    return drawn, held


def _draw(
    pixels: NDArray[np.uint8], start: Floats, end: Floats, known: list[Floats], reach: float
) -> tuple[tuple[Floats, Floats], bool]:
    """Return a point and direction of the straight edge between two rough points, and whether it was found."""
    along = (end - start) / np.linalg.norm(end - start)
    normal = np.array([-along[1], along[0]])
    share = np.linspace(_ENDS, 1 - _ENDS, _POSITIONS)
    points = start + share[:, None] * (end - start)
    out = np.arange(-reach, reach + _STEP, _STEP)
    change = _change(pixels, points, normal, out)
    visible = _visible(points, known, pixels.shape[:2])
    offset, trust = _edge(change, out)
    trust = trust * visible
    a, b, is_good = _straight(share - 0.5, offset, trust)
    middle = start + 0.5 * (end - start) + a * normal
    return (middle, (end - start) + b * normal), is_good


def _change(pixels: NDArray[np.uint8], points: Floats, normal: Floats, out: Floats) -> Light:
    """Return how fast the colour changes across the line, (positions, samples)."""
    import cv2

    where = points[:, None] + out[None, :, None] * normal - 0.5
    strip = cv2.remap(
        pixels,
        where[..., 0].astype(np.float32),
        where[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float32)
    strip = cv2.blur(strip, (1, _WINDOW))
    # A derivative of a Gaussian across: as steep as the lens lets an edge be.
    span = np.arange(-4, 5)
    kernel = (span * np.exp(-(span**2) / (2 * 1.6**2))).astype(np.float32)
    slope = cv2.filter2D(strip, -1, kernel[None] / np.abs(kernel).sum(), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(np.linalg.norm(slope, axis=2), np.float32)


def _visible(points: Floats, known: list[Floats], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Return which points lie in the picture and not under something known."""
    import cv2

    visible = ((points > 1) & (points < np.array([shape[1], shape[0]]) - 1)).all(axis=1)
    for corners in known:
        outline = corners.astype(np.float32)
        visible &= np.array([cv2.pointPolygonTest(outline, (float(x), float(y)), False) < 0 for x, y in points])
    return np.asarray(visible)


def _edge(change: Light, out: Floats) -> tuple[Floats, Floats]:
    """Return where the steepest change lies at each position, to parts of a sample, and how it stands out."""
    at = np.clip(change.argmax(axis=1), 1, change.shape[1] - 2)
    row = np.arange(len(change))
    low, top, high = (change[row, at + step].astype(float) for step in (-1, 0, 1))
    bend = low - 2 * top + high
    part = np.where(np.abs(bend) > 1e-9, 0.5 * (low - high) / np.where(np.abs(bend) > 1e-9, bend, 1), 0.0)
    usual = np.median(change, axis=1) + 1e-3
    return out[at] + np.clip(part, -1, 1) * _STEP, np.clip(top / usual - 1.5, 0, 4)


def _straight(share: Floats, offset: Floats, trust: Floats) -> tuple[float, float, bool]:
    """Return offset and slope of the line most edges lie on (Tukey's weights from the best of many pairs)."""
    good = np.flatnonzero(trust > 0)
    if len(good) < 12:
        return 0.0, 0.0, False
    one, other = good[: len(good) // 2], good[-(len(good) // 2) :]
    first, second = (each.ravel() for each in np.meshgrid(one[::4], other[::4]))
    slope = (offset[second] - offset[first]) / (share[second] - share[first])
    base = offset[first] - slope * share[first]
    off = np.abs(offset[good] - base[:, None] - slope[:, None] * share[good])
    best = int(((off < 1.0) * trust[good]).sum(axis=1).argmax())
    a, b = float(base[best]), float(slope[best])
    near = np.zeros(len(share))
    for width in (2.5, 1.5, 1.2, 1.0):
        off = offset - a - b * share
        near = np.maximum(1 - (off / (2 * width)) ** 2, 0) ** 2 * trust
        if (near > 0).sum() < 8:
            return a, b, False
        b, a = np.polyfit(share, offset, 1, w=np.sqrt(near))
    on_line = float((np.abs(offset - a - b * share) < 1.5)[good].mean())
    return float(a), float(b), on_line > 0.3 and len(good) > 0.25 * len(share)


def _cross(one: tuple[Floats, Floats], other: tuple[Floats, Floats]) -> Floats | None:
    """Return where two lines cross."""
    (p, u), (q, v) = one, other
    area = u[0] * v[1] - u[1] * v[0]
    if abs(area) < 1e-6 * np.linalg.norm(u) * np.linalg.norm(v):
        return None
    rest = q - p
    return np.asarray(p + u * (rest[0] * v[1] - rest[1] * v[0]) / area)
