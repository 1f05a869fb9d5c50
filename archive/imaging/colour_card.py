"""The 24-patch colour card in a picture: where it lies, which way up, and what its patches read.

Found by lattices of flat areas (`card_lattice`), fitted to the patches' own edges (`card_grid`), believed only when
its colours prove one turn (`card_turns`). The same picture gives the same answer every time.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.spaces import Floats
from archive.errors import InputError
from archive.imaging.card_grid import Samples, fit_grid, sample_patches, steps_to_pixels
from archive.imaging.card_lattice import find_lattices, placements, through
from archive.imaging.card_turns import COVERS, FEWEST, LIKE_A_CARD, TURNS, Proof, prove_turn, quick_residuals

Light = NDArray[np.float32]
Mask = NDArray[np.bool_]

LEVELS = (400, 800, 1600)  # pixels of the long side in which cards are looked for, large cards first
CLIPPED = 0.02  # share of a patch's pixels that may be clipped
UNEVEN = 0.06  # spread of a patch's parts, encoded 0-1, beyond which something lies on it [own choice]
FEWEST_TO_ASK = 16  # patches without which an unproven card is not worth a question
MOST_TRIED = 6  # placements on a lattice, or between four corners by hand, that are fitted to the picture


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class FoundCard:
    """A colour card in a picture.

    Corners and centres are (x, y) in pixels of the picture that was searched, measured from its upper left corner, so
    that the first pixel's centre is (0.5, 0.5). Patches are numbered from 0 in reading order of the card.

    corners : (4, 2), the card's edge, clockwise from the upper left of the card as it is read.
    edges_seen : whether the card's edge was seen at its top, right, bottom and left; where not, it is estimated.
    centres : (24, 2), the patches' middles.
    turn : 0, 90, 180 or 270 degrees by which the card lies turned clockwise, to the nearest right angle; None when
        the colours do not prove it, with the reason in `refusal`. Such a card corrects nothing.
    light, spreads : (24, 3), mean and standard deviation of each patch in linear device light.
    clipped, covered, wrong : (24,) of bool; too bright, something on it, flat but unlike what the others make of it.
    residuals : mean distance from the card's colours in Lab, for each turn; `mirrored` the same in a mirror.
    """

    corners: Floats
    edges_seen: tuple[bool, bool, bool, bool]
    centres: Floats
    patch_px: float
    turn: int | None
    by_hand: bool
    light: Floats = field(repr=False)
    spreads: Floats = field(repr=False)
    clipped: Mask = field(repr=False)
    covered: Mask = field(repr=False)
    wrong: Mask = field(repr=False)
    residuals: dict[int, float]
    mirrored: dict[int, float]
    refusal: str

    @property
    def is_sure(self) -> bool:
        """Whether one turn is proven."""
        return self.turn is not None

    @property
    def usable(self) -> Mask:
        """Which patches may be used for a correction, (24,) of bool; none of a card that is not sure."""
        usable: Mask = ~(self.clipped | self.covered | self.wrong) & self.is_sure
        return usable

    def scaled(self, factor: float) -> FoundCard:
        """Return the card in the pixels of a copy of the picture that is larger by `factor`."""
        return replace(
            self,
            corners=self.corners * factor,
            centres=self.centres * factor,
            patch_px=self.patch_px * factor,
        )


def find_cards(
    light: Light, clipped: Light | None = None, *, leave_out: Collection[int] = (), most: int = 4
) -> list[FoundCard]:
    """Return the colour cards in a picture, the largest first; none is no error.

    Parameters
    ----------
    light : (h, w, 3) float32
        Linear device light, 1 = white of the encoding.
    clipped : (h, w) float32, optional
        Share of each pixel that clipped.
    leave_out : collection of int
        Patches, 0-23, that are known to be wrong; they count as covered.
    most : int
        Cards to look for.

    Notes
    -----
    A card may be partly covered as long as ten patches, two of them grey, are seen. One whose turn is not proven is
    returned too, without a turn, when its colours are near a card's: a person should be asked.
    """
    picture = _encoded(light)
    found: list[FoundCard] = []
    for level in _levels(picture.shape):
        if any(card.is_sure for card in found) and level > 800:
            break  # a second card beside a found one is hardly so much smaller
        _search(_Scene(picture, light, clipped, frozenset(leave_out)), level, found, most)
    return sorted(found, key=lambda card: (not card.is_sure, -card.patch_px))


def read_card(
    light: Light,
    corners: ArrayLike,
    clipped: Light | None = None,
    *,
    leave_out: Collection[int] = (),
) -> FoundCard:
    """Return the card whose four corners a person has pointed at.

    Parameters
    ----------
    light, clipped, leave_out
        See `find_cards`.
    corners : (4, 2) array_like
        The card's corners in pixels, in any order; the colours tell which is the upper left.

    Raises
    ------
    InputError
        They are no four corners of a convex shape, or there is nothing like a colour card within.
    """
    quad = _clockwise(corners)
    scene = _Scene(_encoded(light), light, clipped, frozenset(leave_out))
    best: FoundCard | None = None
    for matrix in _layouts(light, quad):
        card = _judged(scene, matrix, corners=quad)
        if card is not None and (best is None or _worth(card) > _worth(best)):
            best = card
        if best is not None and best.is_sure:
            return best
    if best is None:
        raise InputError(
            "no colour card lies between these corners",
            mend="Give the four outer corners of the card, in pixels of the upright picture.",
        )
    return best


def _worth(card: FoundCard) -> tuple[bool, float]:
    return card.is_sure, -min(card.residuals.values())


def _encoded(light: Light) -> Light:
    """Return the picture encoded 0-1 as for the eye."""
    # A root is a third of the work of sRGB's curve and as even a scale.
    encoded: Light = np.clip(light, 0.0, 1.0)
    return np.sqrt(encoded, out=encoded)


def _levels(shape: tuple[int, ...]) -> list[int]:
    longest = max(shape[:2])
    return [level for level in LEVELS if level < longest] + ([longest] if longest <= LEVELS[-1] else [])


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class _Scene:
    """What is searched: the picture encoded 0-1, its light, what clipped, and patches known to be wrong."""

    encoded: Light
    light: Light
    clipped: Light | None
    leave_out: frozenset[int]


def _search(scene: _Scene, level: int, found: list[FoundCard], most: int) -> None:
    """Add to `found` the cards seen in the picture made `level` pixels long."""
    import cv2

    height, width = scene.encoded.shape[:2]
    scale = level / max(height, width)
    size = round(width * scale), round(height * scale)
    small = cv2.resize(scene.encoded, size, interpolation=cv2.INTER_AREA)
    enlarge = np.diag([width / size[0], height / size[1], 1.0])
    for lattice in find_lattices(np.round(small * 255).astype(np.uint8)):
        if sum(card.is_sure for card in found) >= most:
            return
        if _is_known(found, np.median(lattice.points, axis=0) / scale):
            continue
        for matrix in _likely(small, list(placements(lattice))):
            card = _judged(scene, enlarge @ matrix)
            if card is not None and _add(found, card):
                break


def _is_known(found: list[FoundCard], point: Floats) -> bool:
    return any(card.is_sure and _is_inside(card.corners, point) for card in found)


def _add(found: list[FoundCard], card: FoundCard) -> bool:
    """Add a card unless it lies where one was found; a proven one takes the place of one that was not."""
    middle = card.centres.mean(0)
    over = [one for one in found if _is_inside(one.corners, middle) or _is_inside(card.corners, one.centres.mean(0))]
    if any(other.is_sure or not card.is_sure for other in over):
        return False
    found[:] = [other for other in found if all(other is not one for one in over)]
    found.append(card)
    return card.is_sure


def _is_inside(corners: Floats, point: Floats) -> bool:
    """Return whether a point lies within corners that go clockwise."""
    sides, to = np.roll(corners, -1, axis=0) - corners, point - corners
    return bool((sides[:, 0] * to[:, 1] - sides[:, 1] * to[:, 0] > 0).all())


def _likely(small: Light, matrices: list[Floats]) -> list[Floats]:
    """Return the grids where single pixels at the patches' middles are near a card's colours, the nearest first."""
    off = _distances(small, matrices, (0.0, 0.0)).min(0)
    order = np.argsort(off, kind="stable")[:MOST_TRIED]
    return [matrices[number] for number in order if off[number] < 2 * LIKE_A_CARD]


def _distances(small: Light, matrices: list[Floats], beside: tuple[float, float]) -> Floats:
    """Return the mean distance of pixels from a card's colours for each way of covering and reading it, and grid.

    The pixels lie `beside` the patches' middles by so many card steps; the result is (ways, grids).
    """
    if not matrices:
        return np.zeros((1, 0))
    points = np.floor([through(matrix, _MIDDLES + np.array(beside)) for matrix in matrices]).astype(int)
    inside = np.all((points >= 0) & (points < [small.shape[1], small.shape[0]]), axis=2)
    points = np.clip(points, 0, [small.shape[1] - 1, small.shape[0] - 1])
    rgb = small[points[..., 1], points[..., 0]].astype(float) ** 2
    both = np.concatenate([rgb, rgb[:, ::-1]])[:, None].repeat(len(COVERS), 1)
    kept = np.concatenate([inside, inside[:, ::-1]])[:, None] * COVERS
    off = quick_residuals(both.reshape(-1, 24, 3), kept.reshape(-1, 24)).reshape(2, len(matrices), -1)
    off = np.where(kept.sum(-1).reshape(off.shape) >= FEWEST, off, np.inf)
    return np.asarray(np.moveaxis(off, 2, 1).reshape(-1, len(matrices)))


_MIDDLES: Floats = np.array([[column + 0.5, row + 0.5] for row in range(4) for column in range(6)])


def _judged(scene: _Scene, matrix: Floats, *, corners: Floats | None = None) -> FoundCard | None:
    """Return what lies on a grid as a card, or None when no card is likely there."""
    grid = fit_grid(scene.encoded, matrix)
    if grid is None:
        return None
    matrices = {turn: _turned(grid.matrix, turn) for turn in TURNS}
    samples = {turn: sample_patches(scene.light, scene.clipped, matrix, grid.half) for turn, matrix in matrices.items()}
    proof, usable = _proof(samples, scene.leave_out)
    if proof.residual > LIKE_A_CARD or not (proof.is_proven or usable[proof.best].sum() >= FEWEST_TO_ASK):
        return None
    best = samples[proof.best]
    flat = usable[proof.best]
    wrong = proof.wrong() & flat
    beside = _beside_covered(flat & ~wrong)
    shift = proof.best // 90
    found, seen = np.roll(grid.corners, -shift, axis=0), np.roll(grid.seen, -shift)
    if corners is not None:
        found = _nearest_turn(corners, found)
    return FoundCard(
        corners=found,
        edges_seen=tuple(bool(s) for s in seen & ~beside),  # type: ignore[arg-type]
        centres=through(matrices[proof.best], _MIDDLES),
        patch_px=2 * grid.half * steps_to_pixels(grid.matrix),
        turn=_right_angle(found) if proof.is_proven else None,
        by_hand=corners is not None,
        light=best.means,
        spreads=best.spreads,
        clipped=best.clipped > CLIPPED,
        covered=~flat & (best.clipped <= CLIPPED),
        wrong=wrong,
        residuals=proof.residuals,
        mirrored=proof.mirrored,
        refusal=proof.refusal,
    )


def _proof(samples: dict[int, Samples], leave_out: frozenset[int]) -> tuple[Proof, dict[int, Mask]]:
    """Return the proof of a turn from all flat patches or, should part of the card be covered, from the others."""
    left = np.isin(np.arange(24), list(leave_out))
    means = {turn: np.nan_to_num(each.means) for turn, each in samples.items()}
    flat = {turn: _is_flat(each) & ~left for turn, each in samples.items()}
    whole = prove_turn(means, flat)
    if whole.is_proven:
        return whole, flat
    best = whole, flat
    for cover in COVERS[1:]:
        # The cover lies still while the reading turns: columns at the left are rows at the top of the next turn.
        shown = {turn: flat[turn] & _as_turned(cover, turn) for turn in samples}
        proof = prove_turn(means, shown)
        if proof.is_proven and (not best[0].is_proven or proof.residual < best[0].residual):
            best = proof, shown
    return best


def _as_turned(cover: Floats, turn: int) -> Mask:
    """Return which patches are seen when a card under a cover is read in another turn."""
    points = through(_turned(np.eye(3), turn), _MIDDLES)
    columns, rows = np.clip(points.astype(int), 0, [5, 3]).T
    seen: Mask = cover.astype(bool)[rows * 6 + columns]
    return seen


def _is_flat(samples: Samples) -> Mask:
    flat: Mask = np.isfinite(samples.means).all(1) & (samples.unevenness < UNEVEN) & (samples.clipped <= CLIPPED)
    return flat


def _turned(matrix: Floats, turn: int) -> Floats:
    """Return the homography of a card whose upper left lies `turn` / 90 corners further on, clockwise."""
    import cv2

    field = np.array([[0, 0], [6, 0], [6, 4], [0, 4]], np.float32)
    to = np.roll(through(matrix, field.astype(float)), -(turn // 90), axis=0)
    found: Floats = cv2.getPerspectiveTransform(field, to.astype(np.float32))
    return found


def _beside_covered(seen: Mask) -> Mask:
    """Return at which of top, right, bottom and left most outer patches are not seen."""
    rows = seen.reshape(4, 6)
    return np.array([side.mean() < 0.5 for side in (rows[0], rows[:, -1], rows[-1], rows[:, 0])])


def _nearest_turn(corners: Floats, to: Floats) -> Floats:
    """Return the corners beginning with the one that lies at the first corner of others."""
    turned = [np.roll(corners, -k, axis=0) for k in range(4)]
    return min(turned, key=lambda each: float(np.linalg.norm(each - to)))


def _right_angle(corners: Floats) -> int:
    """Return the turn of a card's upper edge, clockwise, to the nearest right angle."""
    along = corners[1] - corners[0] + corners[2] - corners[3]
    return round(float(np.degrees(np.arctan2(along[1], along[0]))) / 90) % 4 * 90


# --- four corners by hand -----------------------------------------------------------------------------------


def _clockwise(corners: ArrayLike) -> Floats:
    """Return the corners clockwise, whatever their order, or say why they are none."""
    points = np.asarray(corners, dtype=float)
    if points.shape == (4, 2) and np.isfinite(points).all():
        middle = points.mean(0)
        points = points[np.argsort(np.arctan2(*(points - middle).T[::-1]), kind="stable")]
        sides = np.roll(points, -1, axis=0) - points
        following = np.roll(sides, -1, axis=0)
        bends = sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0]
        if bends.min() > 0.05 * bends.max() > 0:
            return points
    raise InputError(
        "a card needs four corners that make a four-sided shape",
        mend="Give x and y of its four outer corners, in pixels of the upright picture.",
    )


def _layouts(light: Light, quad: Floats) -> list[Floats]:
    """Return the likeliest grids of patches between four corners: cards differ in how wide their margins are."""
    import cv2

    fine = 240
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    grids = []
    for turn in (0, 1):  # the other two lay the same grid, read backwards
        whole = cv2.getPerspectiveTransform(square, np.roll(quad, -turn, axis=0).astype(np.float32))
        for side, top, bottom in product(_MARGINS, repeat=3):
            wide, high = 6 + 2 * side, 4 + top + bottom
            grids.append(whole @ np.array([[1 / wide, 0, side / wide], [0, 1 / high, top / high], [0, 0, 1]]))
    scale = min(fine / float(np.ptp(quad, axis=0).max()), 1.0)
    small = cv2.resize(light, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    enlarge = np.diag([light.shape[1] / small.shape[1], light.shape[0] / small.shape[0], 1.0])
    encoded, scaled = np.sqrt(np.maximum(small, 0)), [np.linalg.inv(enlarge) @ grid for grid in grids]
    # Inside a patch its colour is the same everywhere, so that a grid which lies askew shows at the patches' corners.
    spots = [(0.0, 0.0), (-0.27, -0.27), (0.27, -0.27), (-0.27, 0.27), (0.27, 0.27)]
    off = np.mean([_distances(encoded, scaled, spot) for spot in spots], axis=0).min(0)
    order = np.argsort(off, kind="stable")[:MOST_TRIED]
    return [grids[number] for number in order if off[number] < 3 * LIKE_A_CARD]


_MARGINS = (
    -0.07,
    0.06,
    0.2,
    0.35,
    0.5,
    0.7,
)  # card steps beside the patches; below nought where the patches end the card
