"""Lattices of like-sized flat areas in a picture: where a colour card may lie.

Flat areas are what is left when a picture's edges are taken away; one that has neighbours of its size at the same
steps in two directions begins a lattice, which grows from neighbour to neighbour and so follows a tilt.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.colour.spaces import Floats

Encoded = NDArray[np.uint8]

EDGES = (6, 12, 24, 44)  # codes of 255 within three pixels that count as an edge, from clean to noisy pictures
SMALLEST = 16  # pixels of area
WIDEST_SHARE = 0.16  # of the picture's long side: a patch of a card that fills the picture
MOST_AREAS = 900  # of a picture's; more are texture, and the largest are kept
FEWEST_NODES = 6
LONGEST = 12  # nodes: a lattice that is longer is no card
_REACH = 0.3  # of a step, from where a neighbour is expected


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Lattice:
    """Flat areas that lie on a grid: whole steps (n, 2) along two directions, and middles in pixels (n, 2)."""

    steps: NDArray[np.int_]
    points: Floats


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class _Areas:
    points: Floats
    sides: Floats


def find_lattices(picture: Encoded) -> Iterator[Lattice]:
    """Yield the lattices of flat areas, those with the most areas first at each fineness of edges.

    Parameters
    ----------
    picture : (h, w, 3) uint8
        Encoded as for the eye, so that steps between dark colours count.
    """
    import cv2

    square = np.ones((3, 3), np.uint8)
    channels = cv2.split(cv2.subtract(cv2.dilate(picture, square), cv2.erode(picture, square)))
    steps = cv2.max(cv2.max(channels[0], channels[1]), channels[2])
    for edge in EDGES:
        areas = _flat_areas((steps < edge).astype(np.uint8))
        found = sorted(_grow_all(areas), key=lambda lattice: (-len(lattice.steps), *lattice.points[0]))
        yield from found


def _flat_areas(flat: Encoded) -> _Areas:
    import cv2

    _, _, stats, points = cv2.connectedComponentsWithStats(flat, connectivity=4)
    width, height, size = stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT], stats[:, cv2.CC_STAT_AREA]
    longest = np.maximum(width, height)
    likely = (size >= SMALLEST) & (longest < WIDEST_SHARE * 1.5 * max(flat.shape))
    # A square standing on its corner fills half its box, a tilted one less; slivers and frames still less.
    likely &= (size > 0.36 * width * height) & (longest < 3 * np.minimum(width, height))
    likely[0] = False
    kept = np.flatnonzero(likely)
    kept = kept[np.argsort(-size[kept], kind="stable")[:MOST_AREAS]]
    return _Areas(points[kept] + 0.5, np.sqrt(size[kept].astype(float)))


def _grow_all(areas: _Areas) -> Iterator[Lattice]:
    count = len(areas.points)
    if count < FEWEST_NODES:
        return
    gaps = np.linalg.norm(areas.points[:, None] - areas.points[None], axis=2)
    ratio = areas.sides[:, None] / areas.sides[None]
    near = (gaps < 2.8 * areas.sides[:, None]) & (gaps > 0) & (ratio < 1.5) & (ratio > 1 / 1.5)
    in_lattice = np.zeros(count, bool)
    # Areas with many neighbours first: they lie inside a lattice, where both directions are plain.
    for seed in np.argsort(-near.sum(1), kind="stable"):
        if in_lattice[seed] or near[seed].sum() < 2:
            continue
        pair = _directions(areas, gaps[seed], np.flatnonzero(near[seed]), seed)
        if pair is None:
            continue
        nodes = _grow(areas, int(seed), *pair)
        if len(nodes) >= FEWEST_NODES:
            in_lattice[list(nodes.values())] = True
            yield Lattice(np.array(list(nodes)), areas.points[list(nodes.values())])


def _directions(areas: _Areas, gaps: Floats, near: NDArray[Any], seed: int) -> tuple[Floats, Floats] | None:
    """Return the steps to the nearest area and to the nearest one well beside that direction."""
    near = near[np.argsort(gaps[near], kind="stable")]
    first = areas.points[near[0]] - areas.points[seed]
    for other in near[1:]:
        second = areas.points[other] - areas.points[seed]
        sine = abs(first[0] * second[1] - first[1] * second[0]) / (gaps[near[0]] * gaps[other])
        if sine > 0.6 and gaps[other] < 1.9 * gaps[near[0]]:
            return first, second
    return None


def _grow(areas: _Areas, seed: int, first: Floats, second: Floats) -> dict[tuple[int, int], int]:
    """Return the areas met by stepping from neighbour to neighbour, by their steps from the seed."""
    nodes = {(0, 0): seed}
    taken = {seed}
    waiting = [((0, 0), first, second)]
    while waiting:
        at, along, across = waiting.pop(0)
        here = nodes[at]
        for axis, sign in product((0, 1), (1, -1)):
            there = (at[0] + sign * (axis == 0), at[1] + sign * (axis == 1))
            if there in nodes or max(map(abs, there)) > LONGEST:
                continue
            step = along if axis == 0 else across
            met = _nearest(areas, areas.points[here] + sign * step, _REACH * float(np.linalg.norm(step)), here)
            if met is None or met in taken:
                continue
            nodes[there] = met
            taken.add(met)
            seen = (step + sign * (areas.points[met] - areas.points[here])) / 2
            waiting.append((there, seen, across) if axis == 0 else (there, along, seen))
    return nodes


def _nearest(areas: _Areas, point: Floats, reach: float, like: int) -> int | None:
    off = np.hypot(*(areas.points - point).T)
    ratio = areas.sides / areas.sides[like]
    off[(ratio > 1.6) | (ratio < 0.6)] = np.inf
    met = int(off.argmin())
    return met if off[met] < reach else None


# --- where twenty-four patches can lie on a lattice ---------------------------------------------------------


def placements(lattice: Lattice) -> Iterator[Floats]:
    """Yield homographies from card steps to pixels, the likeliest first.

    A card step is the distance between two patches: patch (column, row) has its middle at (column + 0.5, row + 0.5),
    columns 0-5 and rows 0-3. Each placement covers at least three quarters of what the best one covers.
    """
    steps = _reduced(lattice)
    matrix, good = _homography(steps, lattice.points)
    if matrix is None:
        return
    steps = steps[good]
    low, high = steps.min(0), steps.max(0)
    found = []
    for size in ((6, 4), (4, 6)):
        corners = np.array(list(product(*(range(low[k] - size[k] + 2, high[k]) for k in (0, 1)))), int).reshape(-1, 2)
        away = steps - corners[:, None]
        counts = ((away >= 0) & (away < size)).all(2).sum(1)
        found += [(int(n), size, tuple(int(c) for c in corner)) for n, corner in zip(counts, corners, strict=True)]
    if not found:
        return
    most = max(found)[0]
    for inside, size, corner in sorted(found, key=lambda one: (-one[0], one[1:])):
        if inside < max(0.75 * most, FEWEST_NODES - 1):
            return
        yield matrix @ _card_to_steps(size, corner, matrix)


def _reduced(lattice: Lattice) -> NDArray[np.int_]:
    """Return the steps along the two shortest directions, should the lattice have begun along a diagonal."""
    steps = lattice.steps
    for _ in range(4):
        design = np.c_[steps, np.ones(len(steps))]
        along, across = np.linalg.lstsq(design, lattice.points, rcond=None)[0][:2]
        shear = round(float(along @ across / max(along @ along, 1e-9)))
        if not shear:
            shear = round(float(along @ across / max(across @ across, 1e-9)))
            if not shear:
                break
            steps = steps + np.outer(steps[:, 0], [0, shear])
            continue
        steps = steps + np.outer(steps[:, 1], [shear, 0])
    return steps


def _homography(steps: NDArray[np.int_], points: Floats) -> tuple[Floats | None, NDArray[np.bool_]]:
    """Return the homography from lattice steps to pixels, and which areas lie where it says."""
    import cv2

    good = np.ones(len(steps), bool)
    matrix = None
    for _ in range(3):
        if good.sum() < FEWEST_NODES or np.ptp(steps[good], axis=0).min() < 1:
            return None, good
        matrix, _ = cv2.findHomography(steps[good].astype(float), points[good], 0)
        if matrix is None or not np.isfinite(matrix).all():
            return None, good
        at = through(matrix, steps.astype(float))
        size = float(np.median(np.linalg.norm(through(matrix, steps + np.array([1.0, 0.0])) - at, axis=1)))
        good = np.linalg.norm(at - points, axis=1) < 0.2 * size
    return matrix, good


def _card_to_steps(size: tuple[int, int], corner: tuple[int, ...], matrix: Floats) -> Floats:
    """Return the map from card steps to lattice steps that turns the card rather than mirroring it."""
    x, y = corner[0] - 0.5, corner[1] - 0.5
    card = np.array([[1.0, 0, x], [0, 1, y], [0, 0, 1]])
    if size == (4, 6):
        card = np.array([[0.0, -1, x + 4], [1, 0, y], [0, 0, 1]])
    middle = matrix @ card @ np.array([3.0, 2.0, 1.0])
    whole = matrix @ card
    # The sign of the map's area at the card's middle: negative means the lattice counts the other way round.
    if np.linalg.det(whole) * np.sign(middle[2]) < 0:
        card = card @ np.array([[1.0, 0, 0], [0, -1, 4], [0, 0, 1]])
    return card


def through(matrix: Floats, points: Floats) -> Floats:
    """Return (..., 2) points taken through a homography."""
    flat = points @ matrix[:, :2].T + matrix[:, 2]
    result: Floats = flat[..., :2] / flat[..., 2:]
    return result
