"""A poster photographed in several frames: joined on its own plane, or honestly left in parts.

Posters are flat, so neighbouring frames differ by one homography. A join is believed only when neighbours overlap by a
third, when no second placing fits nearly as well (a repeated motif has many), and when small areas that took no part in
the fit, compared by themselves, lie where the fit says, to a fraction of a millimetre. Colours are read in the single
frames and never in the joined picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.errors import InputError
from archive.imaging.plane import MOST_PIXELS, moved

Floats = NDArray[np.float64]
Rgb = NDArray[np.uint8]

LEAST_OVERLAP = 0.28  # of a frame: a third as the rule for a person, less what hands are off by
MOST_RESIDUAL_MM = 1.0  # [own choice: seen at arm's length as one line]

_LONG_SIDE = 1000  # pixels of the copy in which features are looked for
_FEATURES = 2000
_RATIO = 0.8  # a match's distance over that of the second best (Lowe 2004)
_LEAST_MATCHES = 25
_REPEATS = 0.4  # a second placing with this share of the first one's matches makes it a guess
_WITHIN_PX = 2.5  # of the small copy, for a match to belong to a placing
_CHECKS = 48  # pixels: side of the areas compared by themselves
_TIES = 120  # pairs of places that hold one seam
_SEED = 1904


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Joined:
    """Homographies (n, 3, 3) that take each frame's pixels to the first frame's, and how far areas lie off.

    `residual_mm` is the 95th percentile over all neighbours, by areas that took no part in the fit.
    """

    transforms: Floats
    residual_mm: float


@dataclass(frozen=True, slots=True)
class NotJoined:
    """Why the frames stay parts."""

    why: str


@dataclass(frozen=True, slots=True, eq=False)
class _Small:
    grey: NDArray[np.uint8]
    scale: float  # pixels of the frame to one of this copy
    points: Floats
    descriptors: NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class _Link:
    """Where frame `other` lies in frame `one`, both in small pixels."""

    one: int
    other: int
    matrix: Floats
    residual_px: float  # of frame one's own pixels
    places: Floats  # (n, 2) in frame one, in its full pixels ...
    other_places: Floats  # ... and the same in the other


def join_frames(frames: Sequence[Rgb], *, mm_per_px: float) -> Joined | NotJoined:
    """Return how the frames lie to each other, or why they are left as parts; the same on every run.

    Parameters
    ----------
    frames : sequence of (h, w, 3) ndarray of uint8
        Upright; one to two megapixels each are enough.
    mm_per_px : float
        Of the first frame, from its colour card or the sheet's known size.

    Raises
    ------
    InputError
        Fewer than two frames.
    """
    if len(frames) < 2:
        raise InputError("a join needs at least two frames", mend="Name all frames of the sheet.")
    smalls = [_made_small(frame) for frame in frames]
    links, doubts = [], []
    for one in range(len(smalls)):
        for other in range(one + 1, len(smalls)):
            found = _link(smalls, one, other)
            if isinstance(found, _Link):
                links.append(found)
            elif found:
                doubts.append(f"frames {one + 1} and {other + 1} {found}")
    transforms = _chained(smalls, links)
    if transforms is None:
        return NotJoined("; ".join(doubts[:2]) or "no two frames show the same part of the sheet")
    transforms = _settled(transforms, links)
    residual = max(_off_in_first(link, smalls, transforms) for link in links) * mm_per_px
    if residual > MOST_RESIDUAL_MM:
        return NotJoined(f"the frames would be {residual:.1f} mm off where they meet")
    return Joined(transforms, float(residual))


def joined_picture(frames: Sequence[NDArray[Any]], joined: Joined) -> NDArray[Any]:
    """Return the frames laid together in the first one's scale; for looking at, not for reading colours.

    Where frames overlap, the one whose middle is nearer is shown, so that nothing is blurred.

    Raises
    ------
    InputError
        The joined picture would be larger than 400 megapixels.
    """
    import cv2

    corners = [cv2.perspectiveTransform(_outline(frame.shape)[None], matrix)[0]
               for frame, matrix in zip(frames, joined.transforms, strict=True)]  # fmt: skip
    low = np.floor(np.min([each.min(axis=0) for each in corners], axis=0))
    width, height = (int(side) for side in np.ceil(np.max([each.max(axis=0) for each in corners], axis=0) - low))
    if width * height > MOST_PIXELS:
        raise InputError("the joined picture would be too large", mend="Join smaller copies of the frames.")
    picture = np.zeros((height, width, *frames[0].shape[2:]), frames[0].dtype)
    nearest = np.zeros((height, width), np.float32)
    shift = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]])
    for frame, matrix in zip(frames, joined.transforms, strict=True):
        laid = cv2.warpPerspective(frame, shift @ matrix, (width, height), flags=cv2.INTER_LINEAR)
        depth = cv2.warpPerspective(_depth(frame.shape), shift @ matrix, (width, height))
        is_nearer = depth > nearest
        picture[is_nearer] = laid[is_nearer]
        nearest = np.maximum(nearest, depth)
    return picture


def _depth(shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Return for each pixel how far inside a frame it lies, 1 in the middle."""
    y = 1 - np.abs(np.linspace(-1, 1, shape[0], dtype=np.float32))
    x = 1 - np.abs(np.linspace(-1, 1, shape[1], dtype=np.float32))
    return np.asarray(np.minimum(y[:, None], x[None]) + 1e-3, np.float32)


def _made_small(frame: Rgb) -> _Small:
    import cv2

    scale = max(frame.shape[:2]) / _LONG_SIDE
    size = round(frame.shape[1] / scale), round(frame.shape[0] / scale)
    small = cv2.resize(frame, size, interpolation=cv2.INTER_AREA if scale > 1 else cv2.INTER_LINEAR)
    grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    finder = cv2.SIFT.create(_FEATURES, contrastThreshold=0.02)
    points, descriptors = finder.detectAndCompute(grey, None)
    places = np.array([point.pt for point in points], float).reshape(-1, 2)
    return _Small(grey, scale, places, np.zeros((0, 128), np.float32) if descriptors is None else descriptors)


def _link(smalls: list[_Small], one: int, other: int) -> _Link | str:
    """Return where one frame lies in another, or why that cannot be said; nothing when they share nothing."""
    first, second = smalls[one], smalls[other]
    to_points, points = _matches(first, second)
    matrix, own = _placing(points, to_points)
    if matrix is None:
        return "share too little to be placed" if len(points) >= _LEAST_MATCHES else ""
    if not _is_plausible(matrix, second.grey.shape):
        return ""
    _, again = _placing(points[~own], to_points[~own], least=12)
    if again.sum() >= _REPEATS * own.sum():
        return "can be placed in more than one way: what they show repeats"
    share = _overlap(matrix, first.grey.shape, second.grey.shape)
    if share < LEAST_OVERLAP:
        return f"overlap by {share:.0%} only, a third is needed" if share > 0.05 else ""
    off = _areas_off(matrix, first.grey, second.grey)
    if off is None:
        return "do not show the same where they overlap"
    some = np.flatnonzero(own)[:: max(int(own.sum()) // _TIES, 1)]
    return _Link(one, other, matrix, off * first.scale, to_points[some] * first.scale, points[some] * second.scale)


def _matches(first: _Small, second: _Small) -> tuple[Floats, Floats]:
    """Return pairs of places, (n, 2) each, that look alike in both frames and like nothing else."""
    import cv2

    if min(len(first.points), len(second.points)) < 8:
        return np.zeros((0, 2)), np.zeros((0, 2))
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(second.descriptors, first.descriptors, k=2)
    kept = [pair[0] for pair in pairs if len(pair) == 2 and pair[0].distance < _RATIO * pair[1].distance]
    return (
        first.points[[match.trainIdx for match in kept]].reshape(-1, 2),
        second.points[[match.queryIdx for match in kept]].reshape(-1, 2),
    )


def _placing(
    points: Floats, to_points: Floats, *, least: int = _LEAST_MATCHES
) -> tuple[Floats | None, NDArray[np.bool_]]:
    """Return the homography most pairs agree on and which they are; the draw of chance is fixed."""
    import cv2

    none = np.zeros(len(points), bool)
    if len(points) < least:
        return None, none
    cv2.setRNGSeed(_SEED)
    matrix, mask = cv2.findHomography(points, to_points, cv2.RANSAC, _WITHIN_PX, maxIters=5000, confidence=0.9999)
    if matrix is None or mask.sum() < least:
        return None, none
    return np.asarray(matrix, float), mask.ravel() > 0


def _outline(shape: tuple[int, ...]) -> NDArray[np.float64]:
    height, width = shape[:2]
    return np.array([[0, 0], [width, 0], [width, height], [0, height]], float)


def _is_plausible(matrix: Floats, shape: tuple[int, ...]) -> bool:
    """Return whether a camera moved over a table could have done it: no mirror, no fold, about the same scale."""
    import cv2

    quad = cv2.perspectiveTransform(_outline(shape)[None], matrix)[0]
    side = np.roll(quad, -1, axis=0) - quad
    following = np.roll(side, -1, axis=0)
    cross = side[:, 0] * following[:, 1] - side[:, 1] * following[:, 0]
    growth = np.sqrt(abs(float(cv2.contourArea(quad.astype(np.float32)))) / (shape[0] * shape[1]))
    return bool((cross > 0).all() and 0.6 < growth < 1.7)


def _overlap(matrix: Floats, shape: tuple[int, ...], other_shape: tuple[int, ...]) -> float:
    """Return the shared area as a part of the smaller frame."""
    import cv2

    quad = cv2.perspectiveTransform(_outline(other_shape)[None], matrix)[0].astype(np.float32)
    shared = float(cv2.intersectConvexConvex(quad, _outline(shape).astype(np.float32))[0])
    return shared / min(float(cv2.contourArea(quad)), float(shape[0] * shape[1]))


def _areas_off(matrix: Floats, first: NDArray[np.uint8], second: NDArray[np.uint8]) -> float | None:
    """Return how far small areas of both frames lie apart once laid together: the 95th percentile, in small pixels.

    None where most areas do not look alike at all.
    """
    import cv2

    size = (first.shape[1], first.shape[0])
    laid = cv2.warpPerspective(second, matrix, size)
    covered = cv2.erode(cv2.warpPerspective(np.full_like(second, 255), matrix, size), np.ones((9, 9), np.uint8))
    off, unlike, reach = [], 0, 8
    for top in range(reach, first.shape[0] - _CHECKS - reach, _CHECKS):
        for left in range(reach, first.shape[1] - _CHECKS - reach, _CHECKS):
            around = np.s_[top - reach : top + _CHECKS + reach, left - reach : left + _CHECKS + reach]
            part = laid[top : top + _CHECKS, left : left + _CHECKS]
            if covered[around].min() == 0 or part.std() < 12:
                continue
            likeness = cv2.matchTemplate(first[around], part, cv2.TM_CCOEFF_NORMED)
            _, best, _, place = cv2.minMaxLoc(likeness)
            if best < 0.7:
                unlike += 1
            elif _is_fixed(likeness):
                off.append(float(np.hypot(place[0] - reach, place[1] - reach)))
    if len(off) < 4 or unlike > len(off):
        return None
    return max(float(np.percentile(off, 95)), 0.5)  # a pixel's half is the finest this can tell


def _is_fixed(likeness: NDArray[np.float32]) -> bool:
    """Return whether an area fits one place only; along a straight edge it would slide."""
    top = float(likeness.max())
    y, x = np.nonzero(likeness > top - 0.04)
    return bool(np.ptp(y) <= 4 and np.ptp(x) <= 4)


def _chained(smalls: list[_Small], links: list[_Link]) -> Floats | None:
    """Return the homographies to the first frame in full pixels, along the best links, or None where one is loose."""
    transforms: dict[int, Floats] = {0: np.eye(3)}
    while len(transforms) < len(smalls):
        open_links = [link for link in links if (link.one in transforms) != (link.other in transforms)]
        if not open_links:
            return None
        link = min(open_links, key=lambda each: (each.residual_px, each.one, each.other))
        full = _in_full_pixels(link.matrix, smalls[link.one].scale, smalls[link.other].scale)
        if link.one in transforms:
            transforms[link.other] = transforms[link.one] @ full
        else:
            transforms[link.one] = transforms[link.other] @ np.linalg.inv(full)
    return np.array([transforms[at] / transforms[at][2, 2] for at in range(len(smalls))])


def _settled(transforms: Floats, links: list[_Link]) -> Floats:
    """Return the homographies moved a little until all seams fit as well as they can together.

    Four frames have four seams and three links hold them: the fourth would show what the others add up to.
    """
    from scipy.optimize import least_squares

    def off(values: Floats) -> Floats:
        matrices = _with_first(values)
        pairs = [moved(matrices[link.one], link.places) - moved(matrices[link.other], link.other_places)
                 for link in links]  # fmt: skip
        return np.concatenate(pairs).ravel()

    start = transforms[1:].reshape(-1, 9)[:, :8].ravel()
    size = np.tile([1.0, 1.0, 1e3, 1.0, 1.0, 1e3, 1e-3, 1e-3], len(transforms) - 1)
    found = least_squares(off, start, x_scale=size, loss="soft_l1", max_nfev=60)
    return _with_first(found.x)


def _with_first(values: Floats) -> Floats:
    """Return (n, 3, 3) homographies of all frames from the eight numbers of each but the first."""
    rows = np.column_stack([values.reshape(-1, 8), np.ones(len(values) // 8)])
    return np.concatenate([np.eye(3)[None], rows.reshape(-1, 3, 3)])


def _off_in_first(link: _Link, smalls: list[_Small], transforms: Floats) -> float:
    """Return how far two neighbours lie off where they meet, in pixels of the first frame.

    That is what areas lie off by themselves, and what joining all frames has moved their seam.
    """
    first = smalls[link.one]
    size = np.array([first.grey.shape[1], first.grey.shape[0]]) * first.scale
    full = _in_full_pixels(link.matrix, first.scale, smalls[link.other].scale)
    share = np.linspace(0.05, 0.95, 15)
    seen = np.stack(np.meshgrid(*(share * side for side in size)), axis=-1).reshape(-1, 2)
    points = moved(np.linalg.inv(full), seen)
    other = np.array(smalls[link.other].grey.shape[::-1]) * smalls[link.other].scale
    shared = ((points > 0) & (points < other)).all(axis=1)
    apart = moved(transforms[link.one], seen[shared]) - moved(transforms[link.other], points[shared])
    gap = float(np.percentile(np.linalg.norm(apart, axis=1), 95)) if shared.any() else 0.0
    return gap + link.residual_px * _growth(transforms[link.one], first)


def _in_full_pixels(matrix: Floats, scale: float, other_scale: float) -> Floats:
    """Return a homography between small copies as one between the frames themselves."""
    return np.diag([scale, scale, 1.0]) @ matrix @ np.diag([1 / other_scale, 1 / other_scale, 1.0])


def _growth(matrix: Floats, small: _Small) -> float:
    """Return how many of the first frame's pixels one pixel of a frame becomes, at its middle."""
    x, y = small.grey.shape[1] * small.scale / 2, small.grey.shape[0] * small.scale / 2
    at = np.array([[x, y, 1.0], [x + 1, y, 1.0], [x, y + 1, 1.0]]) @ matrix.T
    flat = at[:, :2] / at[:, 2:]
    return float(np.sqrt(abs(np.linalg.det(flat[1:] - flat[0]))))
