"""Straight edges in a picture of a table, and how far each looks like the side of a sheet lying on it.

A side of a sheet is a long straight edge with the table outside. Both are weighed: the edge by averaging the
gradient along the line (which finds off-white paper on a pale table, where no single pixel stands out of the noise),
the outside by how much else lies between it and the border of the picture, and by the table's own colour there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Light = NDArray[np.float32]

STEP = 2.0  # pixels between samples along a line

_SMOOTH = 1.2  # pixels: standard deviation of the blur that the gradients are taken of [own choice]
_ALONG = 15  # pixels of a line over which its gradient is averaged [own choice]
_REACH = 6.0  # pixels beside a line where its outside is looked at [own choice]
_LINES = 26  # lines kept; a busy print has hundreds, the outermost come first
_RING = 0.05  # of the picture's sides: what is taken for table at first
_MOST_VOTERS = 15_000  # pixels that vote for lines; of more, every second, third ... is taken
_CELL = 2.0  # pixels of offset that a cell of the Hough table covers
_LEAN = 3  # degrees either way that a pixel votes for
_COS, _SIN = np.cos(np.radians(np.arange(180))), np.sin(np.radians(np.arange(180)))
_SATURATED = 4.0  # times the table's noise: more contrast makes an edge no more certain
_SHADOW = 0.4  # what being darker than the table counts against being lighter or of another hue [own choice]
_LEAST_SPREAD = 0.03  # of encoded lightness: lamps and shadows bend more than a quadratic [own choice]
_BORDER_SUPPORT = 0.4  # of the picture's own border, where a sheet that reaches it ends


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Clues:
    """What one small picture tells: gradients of three channels, what is table, what lies outermost."""

    down: Light  # (h, w, 3) gradient along y
    right: Light  # (h, w, 3) gradient along x
    noise: float  # of a gradient averaged along a line on the table
    outer: Light  # (h, w) 0-1: 1 where nothing lies between here and the picture's border
    table: Light  # (h, w) 0-1: how much this looks like the table


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Straight edges in normal form about the picture's middle, and the support for each along its length.

    `support` is cumulative: (n, 2, samples), for the inside lying against the normal (0) or along it (1).
    """

    angle: Floats  # of the normal, radians in [0, pi)
    offset: Floats
    support: Floats
    start: float  # of the first sample, along the line's direction


def gather_clues(small: NDArray[np.uint8], hidden: NDArray[np.bool_]) -> Clues:
    """Return the clues of a picture about 640 pixels long; what is hidden (a colour card) counts for nothing."""
    import cv2

    opponent = _opponent(small)
    soft = cv2.GaussianBlur(opponent, (0, 0), _SMOOTH)
    right = cv2.Scharr(soft, cv2.CV_32F, 1, 0, scale=1 / 32)
    down = cv2.Scharr(soft, cv2.CV_32F, 0, 1, scale=1 / 32)
    right[hidden] = 0
    down[hidden] = 0
    ring = _ring(small.shape[:2]) & ~hidden
    level = _along_noise(right, down, ring)
    return Clues(down, right, level, _outermost(right, down, ring), _table_likeness(opponent, ring))


def _opponent(small: NDArray[np.uint8]) -> Light:
    """Return lightness and two opponent channels of encoded values, which step evenly to the eye."""
    mix = np.array([[1 / 3, 1 / 3, 1 / 3], [0.5, -0.5, 0], [0.35, 0.35, -0.7]], np.float32)
    import cv2

    opponent: Light = cv2.transform(small.astype(np.float32) / 255, mix)
    return opponent


def _ring(shape: tuple[int, int]) -> NDArray[np.bool_]:
    depth = max(round(max(shape) * _RING), 3)
    ring = np.ones(shape, bool)
    ring[depth:-depth, depth:-depth] = False
    return ring


def _along_noise(right: Light, down: Light, ring: NDArray[np.bool_]) -> float:
    """Return the usual size of a gradient averaged along level and upright lines of the table."""
    import cv2

    level = np.median(_squared(cv2.blur(down, (_ALONG, 1)))[ring])
    upright = np.median(_squared(cv2.blur(right, (1, _ALONG)))[ring])
    # A rounding step of 8 bits is the least that can be told.
    return max(float(np.sqrt(max(level, upright))), 0.0006)


def _strength(right: Light, down: Light) -> Light:
    """Return the size of the colour gradient."""
    return np.asarray(np.sqrt(_squared(right) + _squared(down)), np.float32)


def _squared(three: Light) -> Light:
    """Return the sum of the squares of three channels; numpy takes ten times as long over so short an axis."""
    import cv2

    squared: Light = cv2.transform(three * three, np.ones((1, 3), np.float32))
    return squared


def _outermost(right: Light, down: Light, ring: NDArray[np.bool_]) -> Light:
    """Return 1 where no edge lies towards the nearest border, falling where much lies between."""
    import cv2

    strength = _strength(right, down)
    usual = max(float(np.percentile(strength[ring], 75)), 0.002)
    edges = np.clip(strength / usual - 2, 0, 3)
    turned = (edges, edges[:, ::-1], edges.T, edges.T[:, ::-1])
    ways = [np.cumsum(each, axis=1, dtype=np.float32) for each in turned]
    between = np.minimum(np.minimum(ways[0], ways[1][:, ::-1]), np.minimum(ways[2].T, ways[3][:, ::-1].T))
    # The least nearby: an edge must not count as lying before itself.
    between = cv2.erode(np.ascontiguousarray(between), np.ones((9, 9), np.uint8))
    return np.asarray(1 / (1 + between / 12), np.float32)


def _table_likeness(opponent: Light, ring: NDArray[np.bool_]) -> Light:
    """Return how well each pixel fits a table whose light changes smoothly across the picture."""
    import cv2

    height, width = ring.shape
    size = width // 2, height // 2
    half = cv2.resize(opponent, size, interpolation=cv2.INTER_AREA)
    terms = _smooth_terms(size)
    some = np.flatnonzero(cv2.resize(ring.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST))[::3]
    fit, spread = _robust_fit(terms.reshape(-1, 6)[some].astype(float), half.reshape(-1, 3)[some].astype(float))
    rest = cv2.blur(half - cv2.transform(terms, fit.T.astype(np.float32)), (3, 3))
    # A shadow darkens the table and leaves its hue.
    rest[..., 0] *= np.where(rest[..., 0] < 0, np.float32(_SHADOW), np.float32(1))
    likeness = 1 / (1 + _squared(rest) / np.float32(max(4 * spread, _LEAST_SPREAD)) ** 2)
    return np.asarray(cv2.resize(likeness, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)


def _smooth_terms(size: tuple[int, int]) -> Light:
    """Return the six terms of a quadratic in x and y over a picture, (h, w, 6)."""
    width, height = size
    x, y = np.meshgrid(
        np.linspace(-0.5, 0.5, width, dtype=np.float32), np.linspace(-0.5, 0.5, height, dtype=np.float32)
    )
    return np.asarray(np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2))


def _robust_fit(terms: Floats, colour: Floats) -> tuple[Floats, float]:
    """Return (6, 3) coefficients that most of the samples agree on, and how far these usually lie off."""
    weight = 1 / (1 + ((colour - np.median(colour, axis=0)) ** 2).sum(1) / 0.05**2)
    ridge = 1e-6 * len(terms) * np.eye(6)
    for _ in range(6):
        heavy = terms * weight[:, None]
        fit = np.linalg.solve(heavy.T @ terms + ridge, heavy.T @ colour)
        off = np.sqrt(((colour - terms @ fit) ** 2).sum(1))
        spread = max(float(np.median(off)), 0.004)
        weight = 1 / (1 + (off / (2 * spread)) ** 2) ** 2
    return np.asarray(fit), spread


def find_lines(clues: Clues) -> Lines:
    """Return the lines along which most outer edges lie, with their support, and the picture's four borders."""
    angle, offset = _outer_lines(clues)
    height, width = clues.table.shape
    border_angle = np.array([0.0, 0.0, np.pi / 2, np.pi / 2])
    border_offset = np.array([-width / 2, width / 2, -height / 2, height / 2])
    half = np.hypot(width, height) / 2
    along = np.arange(-half, half + STEP, STEP)
    support = _support(clues, angle, offset, along)
    borders = np.full((4, 2, len(along)), _BORDER_SUPPORT)
    both = np.cumsum(np.concatenate([support, borders]), axis=2) * STEP
    angle, offset = np.append(angle, border_angle), np.append(offset, border_offset)
    return Lines(angle, offset, both, float(-half))


@dataclass(slots=True, eq=False)  # arrays inside; weights are used up as lines are found
class _Voters:
    """Edge pixels: where they lie from the picture's middle, which way their edge faces, what they count."""

    x: Floats
    y: Floats
    degree: NDArray[np.int64]
    weight: Floats
    zero: int  # the cell of offset nought

    def cells(self, which: NDArray[np.intp]) -> tuple[NDArray[np.int64], Floats]:
        """Return the cells of the Hough table, 180 x 2 zero, that some pixels vote for, and with what."""
        turned = (self.degree[which, None] + np.arange(-_LEAN, _LEAN + 1)) % 180
        offset = self.x[which, None] * _COS[turned] + self.y[which, None] * _SIN[turned]
        cell = turned * 2 * self.zero + np.floor(offset / _CELL).astype(np.int64) + self.zero
        return cell.ravel(), np.repeat(self.weight[which], 2 * _LEAN + 1)


def _voters(clues: Clues) -> _Voters:
    """Return the pixels on outer edges, thinned to what time allows."""
    import cv2

    height, width = clues.table.shape
    strength = _strength(clues.right, clues.down)
    # A shadow's slope is as steep all around, an edge is not.
    strength -= 1.3 * cv2.blur(strength, (9, 9))
    weight = np.clip(strength / np.float32(1.5 * clues.noise) - 1, 0, 2) * clues.outer
    places = np.flatnonzero(weight > 0.2)
    places = places[:: max(len(places) // _MOST_VOTERS, 1)]
    y, x = np.divmod(places, width)
    right, down = clues.right.reshape(-1, 3)[places], clues.down.reshape(-1, 3)[places]
    # The direction in which all three channels together change most (structure tensor).
    xy, xx, yy = (np.einsum("ij,ij->i", *pair) for pair in ((right, down), (right, right), (down, down)))
    degree = np.round(np.degrees(0.5 * np.arctan2(2 * xy, xx - yy))).astype(np.int64)
    # As a share of all, so that thinning changes nothing.
    share = weight.reshape(-1)[places].astype(float) * (np.count_nonzero(weight > 0.2) / max(len(places), 1))
    zero = int(np.hypot(height, width) / 2 / _CELL) + 2
    return _Voters(x + 0.5 - width / 2, y + 0.5 - height / 2, degree % 180, share, zero)


def _outer_lines(clues: Clues) -> tuple[Floats, Floats]:
    """Return angle and offset of the lines most pixels vote for, each fitted to its own pixels, which are then gone."""
    voters = _voters(clues)
    everyone = np.arange(len(voters.x))
    table = np.bincount(*voters.cells(everyone), minlength=360 * voters.zero)
    angles, offsets = [], []
    least = 0.1 * max(clues.table.shape)
    for _ in range(_LINES):
        best = int(table.argmax())
        if table[best] < least:
            break
        degree, cell = divmod(best, 2 * voters.zero)
        angle, offset, own = _fitted(voters, np.radians(degree), (cell - voters.zero + 0.5) * _CELL)
        if len(own):
            table -= np.bincount(*voters.cells(own), minlength=len(table))
            voters.weight[own] = 0
            angles.append(angle)
            offsets.append(offset)
        table[best] = 0
    return np.array(angles), np.array(offsets)


def _fitted(voters: _Voters, angle: float, offset: float) -> tuple[float, float, NDArray[np.intp]]:
    """Return a line fitted to the pixels that lie along it, and which these are."""
    faces = np.abs((voters.degree - np.degrees(angle) + 90) % 180 - 90) < 12
    own = np.flatnonzero(faces & (voters.weight > 0))
    for reach in (2.5, 2.0):
        off = voters.x[own] * np.cos(angle) + voters.y[own] * np.sin(angle) - offset
        near = own[np.abs(off) < reach]
        if len(near) < 10:
            break
        x, y, weight = voters.x[near], voters.y[near], voters.weight[near]
        mx, my = np.average(x, weights=weight), np.average(y, weights=weight)
        xx, yy, xy = (np.average(part, weights=weight) for part in ((x - mx) ** 2, (y - my) ** 2, (x - mx) * (y - my)))
        angle = float(0.5 * np.arctan2(2 * xy, xx - yy) + np.pi / 2) % np.pi
        offset = float(mx * np.cos(angle) + my * np.sin(angle))
    off = voters.x[own] * np.cos(angle) + voters.y[own] * np.sin(angle) - offset
    return angle, offset, own[np.abs(off) < 2.0]


def _support(clues: Clues, angle: Floats, offset: Floats, along: Floats) -> Floats:
    """Return 0-1 at each sample of each line: (n, 2, samples), 0 for an inside against the normal."""
    import cv2

    if not len(angle):
        return np.zeros((0, 2, len(along)))
    height, width = clues.table.shape
    normal = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    beside = np.array([-1.5, 0.0, 1.5, -5.0, 5.0])
    x, y = _points(normal, offset, along, beside, width, height)
    sample = {"interpolation": cv2.INTER_LINEAR, "borderMode": cv2.BORDER_CONSTANT}
    right = cv2.remap(clues.right, x, y, **sample).reshape(len(angle), 5, len(along), 3)
    down = cv2.remap(clues.down, x, y, **sample).reshape(len(angle), 5, len(along), 3)
    across = right * normal[:, 0, None, None, None] + down * normal[:, 1, None, None, None]
    window = round(_ALONG / STEP)
    flat = np.ascontiguousarray(across, np.float32).reshape(-1, len(along), 3)
    mean = cv2.blur(flat, (window, 1))
    size = np.sqrt(_squared(mean)).reshape(len(angle), 5, len(along))
    # A shadow's slope is as steep five pixels further either way.
    size = size[:, :3].max(axis=1) - size[:, 3:].min(axis=1)
    edge = np.clip((size / clues.noise - 1.5) / (_SATURATED - 1.5), 0, 1)
    out_x, out_y = _points(normal, offset, along, np.array([_REACH, -_REACH]), width, height)
    table = cv2.remap(clues.table, out_x, out_y, **sample).reshape(len(angle), 2, len(along))
    outer = cv2.remap(clues.outer, out_x, out_y, **sample).reshape(len(angle), 2, len(along))
    return np.asarray(edge[:, None] * np.sqrt(outer) * (0.3 + 0.7 * table))


def _points(
    normal: Floats, offset: Floats, along: Floats, beside: Floats, width: int, height: int
) -> tuple[Light, Light]:
    """Return x and y, as OpenCV counts pixels, of samples along lines and beside them: (n * beside, samples)."""
    out = offset[:, None] + beside
    x = normal[:, 0, None, None] * out[..., None] - normal[:, 1, None, None] * along + width / 2 - 0.5
    y = normal[:, 1, None, None] * out[..., None] + normal[:, 0, None, None] * along + height / 2 - 0.5
    rows = len(normal) * len(beside)
    return x.reshape(rows, -1).astype(np.float32), y.reshape(rows, -1).astype(np.float32)
