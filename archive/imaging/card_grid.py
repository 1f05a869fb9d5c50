"""A colour card's grid fitted to the picture: patches to a fraction of a pixel, the card's own edge, and samples.

All is measured in a straightened copy of the card. Positions in it are in card steps: patch (column, row) has its
middle at (column + 0.5, row + 0.5), so that the twenty-four patches lie in 0-6 by 0-4.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from archive.colour.spaces import Floats
from archive.imaging.card_lattice import through

Light = NDArray[np.float32]

MARGIN = 1.4  # card steps round the patches in which the card's edge is looked for
FINENESS = (8, 48)  # pixels a card step of the straightened copy, at least and at most
_CENTRES: Floats = np.array([[column + 0.5, row + 0.5] for row in range(4) for column in range(6)])
_CROSSINGS: Floats = np.array([[x, y] for x in range(1, 6) for y in range(1, 4)], float)  # of the gaps


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Grid:
    """Where the patches lie.

    matrix : homography from card steps to pixels; half : half a patch's side in card steps.
    fitted : patches whose own edges were measured.
    corners : (4, 2), the card's edge in pixels; seen : whether it was seen at top, right, bottom and left.
    """

    matrix: Floats
    half: float
    fitted: int
    corners: Floats
    seen: tuple[bool, bool, bool, bool]


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class _Straight:
    """The card straightened, encoded for the eye; `fine` pixels a card step, `MARGIN` of them all round."""

    pixels: Light
    inside: NDArray[np.bool_]
    fine: int

    def place(self, steps: Floats) -> Floats:
        """Return where card steps lie in it, OpenCV's way of counting."""
        return (steps + MARGIN) * self.fine - 0.5


def steps_to_pixels(matrix: Floats) -> float:
    """Return how many pixels a card step takes at the card's middle."""
    middle = through(matrix, np.array([[3.0, 2], [4, 2], [3, 3]]))
    return float(np.sqrt(abs(np.linalg.det(middle[1:] - middle[0]))))


def straighten(picture: Light, matrix: Floats) -> _Straight:
    """Return the card of a picture, encoded 0-1, straightened."""
    import cv2

    step = steps_to_pixels(matrix)
    fine = int(np.clip(round(step), *FINENESS))
    if step > 1.5 * fine:  # averaged first, so that noise is and nothing aliases
        scale = fine / step
        box, offset = _around(picture, matrix)
        picture = cv2.resize(box, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        scale_x, scale_y = picture.shape[1] / box.shape[1], picture.shape[0] / box.shape[0]
        matrix = np.diag([scale_x, scale_y, 1]) @ np.array([[1, 0, -offset[0]], [0, 1, -offset[1]], [0, 0, 1]]) @ matrix
    # From the straightened copy's pixels, counted from a centre, to the picture's.
    shift = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]])
    to_steps = np.array([[1 / fine, 0, 0.5 / fine - MARGIN], [0, 1 / fine, 0.5 / fine - MARGIN], [0, 0, 1]])
    size = (round((6 + 2 * MARGIN) * fine), round((4 + 2 * MARGIN) * fine))
    whole, flags = shift @ matrix @ to_steps, cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    pixels = cv2.warpPerspective(picture, whole, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    inside = cv2.warpPerspective(np.ones(picture.shape[:2], np.uint8), whole, size, flags=flags)
    return _Straight(pixels, inside.astype(bool), fine)


def _around(picture: Light, matrix: Floats) -> tuple[Light, tuple[int, int]]:
    points = through(matrix, np.array([[-2.0, -2], [8, -2], [8, 6], [-2, 6]]))
    height, width = picture.shape[:2]
    left, top = np.clip(np.floor(points.min(0)), 0, [width - 1, height - 1]).astype(int)
    right, bottom = np.clip(np.ceil(points.max(0)), [left + 1, top + 1], [width, height]).astype(int)
    return picture[top:bottom, left:right], (int(left), int(top))


# --- patches ------------------------------------------------------------------------------------------------


def fit_grid(picture: Light, matrix: Floats, *, rounds: int = 3) -> Grid | None:
    """Return the grid with its patches' own edges measured, or None when too few are seen where they should be.

    Parameters
    ----------
    picture : (h, w, 3) float32
        Encoded 0-1.
    matrix : (3, 3)
        Homography from card steps to pixels, right to a quarter of a step.
    """
    half, fitted = 0.43, 0
    for _ in range(rounds):
        straight = straighten(picture, matrix)
        centres, halves = _patches(straight)
        good = np.isfinite(centres).all(1)
        if good.sum() < 6:
            return None
        good &= _near_the_median(halves) & (np.abs(centres - _CENTRES).max(1) < 0.25)
        moved = _refit(centres, good)
        if moved is None:
            return None
        matrix, half, fitted = matrix @ moved, float(np.median(halves[good])), int(good.sum())
        matrix = matrix / matrix[2, 2]
    straight = straighten(picture, matrix)
    rows = good.reshape(4, 6)
    # Where no patch is seen, something lies over that side of the card.
    hidden = [not side.any() for side in (rows[0], rows[:, -1], rows[-1], rows[:, 0])]
    corners, seen = _card_edges(straight, half, hidden)
    return Grid(matrix, half, fitted, through(matrix, corners), seen)


def _near_the_median(halves: Floats) -> NDArray[np.bool_]:
    near: NDArray[np.bool_] = np.abs(halves - np.nanmedian(halves)) < 0.06
    return near


def _refit(centres: Floats, good: NDArray[np.bool_]) -> Floats | None:
    """Return the homography that takes the expected middles to the measured ones, outliers left out."""
    import cv2

    for _ in range(3):
        if good.sum() < 6 or np.linalg.matrix_rank(_CENTRES[good] - _CENTRES[good].mean(0)) < 2:
            return None
        found, _ = cv2.findHomography(_CENTRES[good], centres[good], 0)
        if found is None:
            return None
        off = np.linalg.norm(through(found, _CENTRES) - centres, axis=1)
        good = good & (off < max(3 * float(np.median(off[good])), 0.01))
    result: Floats = found
    return result


def _patches(straight: _Straight) -> tuple[Floats, Floats]:
    """Return the middles and half sides of the patches in card steps; NaN where no edges are seen."""
    gap = _gap_colour(straight)
    own = _remap(straight, _CENTRES[:, None, None] + _spots(0.2)).mean((1, 2))
    distances = np.arange(0.2, 0.64 if gap is not None else 0.7, 0.5 / straight.fine)
    ends = np.stack([_edges_out(straight, axis, sign, distances, own, gap) for axis in (0, 1) for sign in (-1, 1)])
    left, right, top, bottom = ends
    centres = _CENTRES + np.stack([right - left, bottom - top], axis=1) / 2
    return centres, ends.mean(0)


def _spots(reach: float) -> Floats:
    """Return a (5, 5, 2) grid of places up to `reach` card steps from nought."""
    return np.stack(np.meshgrid(*[np.linspace(-reach, reach, 5)] * 2), axis=-1)


def _remap(straight: _Straight, steps: Floats) -> Floats:
    """Return the colours (..., 3) at places in card steps (..., 2)."""
    import cv2

    at = straight.place(steps).astype(np.float32)
    flat = at.reshape(at.shape[0], -1, 2)
    found = cv2.remap(straight.pixels, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR)
    return np.asarray(found.reshape(*at.shape[:-1], 3), float)


def _gap_colour(straight: _Straight) -> Floats | None:
    """Return the colour between the patches, or None where they touch one another."""
    colours = _remap(straight, _CROSSINGS[:, None])[:, 0]
    around = _remap(straight, _CROSSINGS[:, None] + np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]]))
    # A sheet over part of the card is of one colour too, but has none other beside it.
    is_between = (np.linalg.norm(around - colours[:, None], axis=2) > 0.05).sum(1) >= 2
    alike = (np.linalg.norm(colours[:, None] - colours[None], axis=2) < 0.06) & is_between
    most = alike[int(np.argmax(alike.sum(1)))]
    return np.asarray(colours[most].mean(0)) if most.sum() >= 4 else None


def _edges_out(straight: _Straight, axis: int, sign: int, distances: Floats, own: Floats, gap: Floats | None) -> Floats:
    """Return how far from their middles the patches end on one side, in card steps; NaN where that is not plain."""
    out = np.stack(np.meshgrid(sign * distances, np.linspace(-0.25, 0.25, 9)), axis=-1)
    places = _CENTRES[:, None, None] + (out if axis == 0 else out[..., ::-1])
    profiles = _remap(straight, places).mean(1) - own[:, None]
    if gap is None:
        change, noise = np.linalg.norm(profiles, axis=2), np.full(24, 0.03)
    else:
        towards = gap - own
        strength = np.linalg.norm(towards, axis=1)
        change = np.einsum("ndc,nc->nd", profiles, towards) / np.maximum(strength, 1e-9)[:, None]
        noise = np.maximum(0.03, 0.3 * strength)
    most = change.max(1)
    return np.where(most >= noise, _crossings(distances, change, most / 2), np.nan)


def _crossings(distances: Floats, change: Floats, levels: Floats) -> Floats:
    """Return where rising profiles (n, d) first reach levels (n,), between samples; NaN where they begin there."""
    reached = change >= levels[:, None]
    after = np.argmax(reached, axis=1)
    rows, before = np.arange(len(change)), np.maximum(after - 1, 0)
    below, above = change[rows, before], change[rows, after]
    share = (levels - below) / np.where(above > below, above - below, np.inf)
    found = distances[before] + share * (distances[after] - distances[before])
    return np.where((after > 0) & reached.any(1), found, np.nan)


# --- the card's edge ----------------------------------------------------------------------------------------

_SIDES = ((1, -1), (0, 1), (1, 1), (0, -1))  # axis and direction of top, right, bottom, left
_SPAN = (6, 4)  # card steps along x and y
_STEEPEST = 0.012  # slope of an edge to the patches: a card is cut straight


def _card_edges(straight: _Straight, half: float, hidden: list[bool]) -> tuple[Floats, tuple[bool, bool, bool, bool]]:
    """Return the card's corners in card steps, and on which sides its edge was seen.

    Where no edge is seen, because a dark card lies on a dark table, the margin is taken from the other sides.
    """
    gap = _gap_plane(straight)
    lines = [
        None if is_hidden else _side_line(straight, half, axis, sign, gap)
        for (axis, sign), is_hidden in zip(_SIDES, hidden, strict=True)
    ]
    seen = tuple(line is not None for line in lines)
    known = [abs(line[1] - (_SPAN[axis] if sign > 0 else 0))
             for line, (axis, sign) in zip(lines, _SIDES, strict=True) if line is not None]  # fmt: skip
    margin = min(known) if known else max(0.5 - half, 0.0)
    full = [line or (0.0, _SPAN[axis] + margin if sign > 0 else -margin)
            for line, (axis, sign) in zip(lines, _SIDES, strict=True)]  # fmt: skip
    top, right, bottom, left = full
    corners = np.array([_meet(left, top), _meet(right, top), _meet(right, bottom), _meet(left, bottom)])
    return corners, seen  # type: ignore[return-value]


def _meet(upright: tuple[float, float], level: tuple[float, float]) -> Floats:
    """Return where x = a y + b and y = c x + d meet."""
    (a, b), (c, d) = upright, level
    x = (a * d + b) / (1 - a * c)
    return np.array([x, c * x + d])


def _gap_plane(straight: _Straight) -> Floats | None:
    """Return what the gaps' colour is anywhere on the card, (3, 3) for 1, x and y; None where there are none."""
    gap = _gap_colour(straight)
    if gap is None:
        return None
    colours, design = _remap(straight, _CROSSINGS[:, None])[:, 0], _plane_terms(_CROSSINGS)
    good = np.linalg.norm(colours - gap, axis=1) < 0.1
    for _ in range(3):
        if good.sum() < 8:  # too few to tell how the light leans
            return np.stack([gap, np.zeros(3), np.zeros(3)])
        plane = np.linalg.lstsq(design[good], colours[good], rcond=None)[0]
        off = np.linalg.norm(design @ plane - colours, axis=1)
        good &= off <= max(2.5 * float(np.median(off[good])), 0.004)
    return np.asarray(plane, float)


def _plane_terms(points: Floats) -> Floats:
    return np.concatenate([np.ones((*points.shape[:-1], 1)), points], axis=-1)


def _side_line(
    straight: _Straight, half: float, axis: int, sign: int, gap: Floats | None
) -> tuple[float, float] | None:
    """Return slope and offset of one edge of the card, or None where it is not seen."""
    span = _SPAN[1 - axis]
    outer = _SPAN[axis] - 0.5 if sign > 0 else 0.5
    distances = np.arange(half + 0.02, 0.5 + MARGIN - 0.05, 0.5 / straight.fine)
    lines = np.arange(0.5 - half, span - 0.5 + half, 1 / straight.fine)
    points = np.stack(np.meshgrid(outer + sign * distances, lines), axis=-1)
    points = points if axis == 0 else points[..., ::-1]
    strip, inside = _strip(straight, points)
    near = (distances > half + 0.03) & (distances < half + 0.25)
    if gap is None:
        border = np.median(strip[:, near].reshape(-1, 3), axis=0)
        border = np.broadcast_to(border, strip.shape)
    else:
        border = _plane_terms(points) @ gap
    change = np.linalg.norm(strip - border, axis=2)
    shown = change[:, near].min(1) < 0.12
    if gap is not None and shown.mean() < 0.35:  # outside the patches nothing is like the gaps: there is no border
        return 0.0, outer + sign * half
    if gap is not None:  # without the lines over which something lies
        change, strip, border, inside, lines = change[shown], strip[shown], border[shown], inside[shown], lines[shown]
    dip = int(np.argmin(np.median(change[:, near], axis=0)))
    begin = int(np.flatnonzero(near)[dip])
    noise = float(np.median(change[:, begin]))
    seen = np.where(inside, change, 0.0)[:, begin:]
    at = _first_step(seen, distances[begin:], max(0.02, 2.5 * noise))
    if at is None or not inside[:, distances <= at + 0.1].all(0).any():
        return None
    light = np.stack([border.mean(2), strip.mean(2)])
    return _line(change, light, distances, lines, at, outer, sign)


def _strip(straight: _Straight, points: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Return colours (lines, distances, 3) smoothed along the side, and which lie inside the picture."""
    import cv2

    at = straight.place(points).astype(np.float32)
    found = cv2.remap(straight.pixels, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    inside = cv2.remap(straight.inside.astype(np.uint8), at[..., 0], at[..., 1], cv2.INTER_NEAREST)
    reach = 2 * (straight.fine // 8) + 1
    smooth = cv2.blur(found, (1, reach), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(smooth, float), inside.astype(bool)


def _first_step(change: Floats, distances: Floats, least: float) -> float | None:
    """Return where most lines leave the border for good and in one step; a border that merely drifts is still one."""
    usual = np.median(change, axis=0)
    for limit in least * 1.6 ** np.arange(7):
        at = _first_lasting((change > limit).mean(0), distances)
        if at is None:
            return None
        before, beyond = np.interp([at - 0.15, at + 0.15], distances, usual)
        if beyond - before > 0.4 * beyond:
            near = np.flatnonzero(np.abs(distances - at) < 0.2)
            return float(distances[near[int(np.argmax(np.gradient(usual)[near]))]])
    return None


def _first_lasting(share: Floats, distances: Floats) -> float | None:
    """Return the first distance from which on, for a seventh of a step, most lines have left the border."""
    step = distances[1] - distances[0]
    for at in np.flatnonzero(share > 0.6):
        ahead = share[at : at + max(round(0.14 / step), 1)]
        if (ahead > 0.5).all():
            return float(distances[at])
    return None


def _line(
    change: Floats, light: Floats, distances: Floats, lines: Floats, at: float, outer: float, sign: int
) -> tuple[float, float]:
    """Return slope and offset of a straight edge through where each line leaves the border."""
    found = _leavings(change, light, distances, at)
    good = np.abs(found - at) < 0.1  # print on the border is left by fewer lines, and nearer to the patches
    if good.sum() < 5:
        return 0.0, outer + sign * at
    slope, offset = 0.0, outer + sign * float(np.median(found[good]))
    for _ in range(4):
        off = np.abs(slope * lines + offset - (outer + sign * found))
        good = np.isfinite(found) & (off < max(2.5 * float(np.median(off[good])), 0.01))
        slope, offset = np.polyfit(lines[good], outer + sign * found[good], 1)
        if abs(slope) > _STEEPEST:  # a card is cut parallel to its patches
            slope, offset = 0.0, outer + sign * float(np.median(found[good]))
    return float(slope), float(offset)


def _leavings(change: Floats, light: Floats, distances: Floats, at: float) -> Floats:
    """Return where each line leaves the border, near where most do; NaN where nothing changes."""
    near = np.abs(distances - at) < 0.3
    distances, profiles, light = distances[near], change[:, near], light[:, :, near]
    after = max(round(0.12 / (distances[1] - distances[0])), 2)
    rise = np.diff(profiles, axis=1, prepend=profiles[:, :1])
    steepest = np.maximum(rise.max(1, keepdims=True), 0)
    peak = np.argmax(rise - np.abs(distances - at) * steepest, axis=1)
    rows, last = np.arange(len(profiles))[:, None], len(distances) - 1
    ahead = np.minimum(peak[:, None] + np.arange(1, after + 1), last)
    back = np.maximum(peak[:, None] - np.arange(2 * after + 1), 0)
    # The level of what lies beyond each line's own edge: the table is not one colour.
    beyond, table = np.median(profiles[rows, ahead], axis=1), np.median(light[1][rows, ahead], axis=1)
    low = profiles[rows, back].min(1)
    share = _half_light(light[0][rows[:, 0], peak], table)
    return np.where(beyond > 0.02, _crossings(distances, profiles, low + share * (beyond - low)), np.nan)


def _half_light(border: Floats, beyond: Floats) -> Floats:
    """Return where, between two encoded levels, half of the light is reached: blur is of light."""
    low, high = np.maximum(border, 0.0), np.maximum(beyond, 0.0)
    middle = np.sqrt((low**2 + high**2) / 2)
    apart = np.abs(high - low) >= 0.01
    return np.where(apart, (middle - low) / np.where(apart, high - low, 1.0), 0.5)


# --- samples ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Samples:
    """What the patches read.

    means, spreads : (24, 3), mean and standard deviation of linear light; NaN outside the picture.
    unevenness : (24,), how far the parts of a patch differ, as a spread of encoded values 0-1.
    clipped : (24,), share of clipped pixels.
    """

    means: Floats
    spreads: Floats
    unevenness: Floats
    clipped: Floats


def sample_patches(light: Light, clipped: NDArray[np.float32] | None, matrix: Floats, half: float) -> Samples:
    """Return the light of the patches' inner parts, read from the picture's own pixels.

    Parameters
    ----------
    light : (h, w, 3) float32, linear
    clipped : (h, w) float32, optional
        Share of each pixel that clipped.
    matrix, half
        See `Grid`.

    Notes
    -----
    The inner six tenths count. Spreads are those of the robust middle: a speck of dust changes neither.
    """
    import cv2

    # A multiple of four, about a point a pixel.
    count = 4 * int(np.clip(round(0.3 * half * steps_to_pixels(matrix)), 2, 10))
    inner = np.linspace(-1, 1, count) * 0.6 * half
    grid = np.stack(np.meshgrid(inner, inner), axis=-1).reshape(-1, 2)
    points = (through(matrix, _CENTRES[:, None] + grid) - 0.5).astype(np.float32)
    constant = cv2.BORDER_CONSTANT
    found = cv2.remap(
        light, points[..., 0], points[..., 1], cv2.INTER_LINEAR, borderMode=constant, borderValue=(-1,) * 3
    )
    middle = np.median(found, axis=1, keepdims=True)
    spreads = 1.4826 * np.median(np.abs(found - middle), axis=1)
    near = np.abs(found - middle) <= 3 * np.maximum(spreads, 1e-4)[:, None]
    means = np.where(near, found, 0).sum(1) / near.sum(1)
    means[(found < -0.5).any((1, 2))] = np.nan  # outside the picture
    parts = np.sqrt(np.maximum(found, 0)).reshape(24, 4, count // 4, 4, count // 4, 3).mean((2, 4))
    unevenness = np.asarray(parts.std((1, 2)).max(1), float)
    share = np.zeros(24)
    if clipped is not None:
        share = cv2.remap(clipped, points[..., 0], points[..., 1], cv2.INTER_LINEAR).mean(1)
    return Samples(np.asarray(means, float), np.asarray(found.std(1), float), unevenness, np.asarray(share, float))
