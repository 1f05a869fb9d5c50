"""Which way up a colour card lies, proven by its colours.

Twenty-four samples are held against the card's colours in all four turns, and as a mirror would show them. Only a
turn that explains the colours far better than every other one, with the greys where they belong, is believed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from archive.colour.spaces import D50_WHITE, LAB_EPSILON, LAB_KAPPA, Floats, lab_to_xyz

# The card's Lab to the nearest unit, the mean of five editions, row by row: enough to know it again, and known
# without loading the library that holds the editions.
ROUGH_LAB: Floats = np.array([
    (38, 14, 14), (66, 18, 18), (50, -4, -22), (43, -13, 22), (55, 9, -25), (71, -33, 0),
    (63, 35, 57), (40, 11, -45), (51, 48, 16), (30, 23, -22), (72, -24, 58), (72, 19, 68),
    (29, 16, -51), (55, -39, 32), (42, 53, 28), (82, 3, 80), (52, 50, -15), (51, -29, -28),
    (96, 0, 2), (81, -1, 0), (67, -1, 0), (51, 0, 0), (36, 0, -1), (21, 0, -1),
], float)  # fmt: skip
GREYS = slice(18, 24)  # the last row, light to dark
TURNS = (0, 90, 180, 270)
TONES = (0.7, 1.0, 1.35)  # exponents that stand for a camera's unknown tone curve
FEWEST = 10  # patches below which nine numbers of a matrix would explain anything [own choice]
LIKE_A_CARD = 13.0  # mean residual in Lab units below which colours are the card's [own choice, see the bench]
TIMES_BETTER = 1.5  # by which the next best turn must be worse [own choice]
_WRONG_BY = 22.0  # Lab units off, though flat: the patch is not what the card says [own choice]


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class Proof:
    """How well each way of laying the card explains its colours.

    `residuals` are mean distances in Lab by turn, `mirrored` the same for a card seen in a mirror; `off` the
    distance of each patch in the best turn, in the order of the card; `refusal` says why nothing is believed.
    """

    residuals: dict[int, float]
    mirrored: dict[int, float]
    best: int
    off: Floats
    greys_agree: bool
    refusal: str

    @property
    def is_proven(self) -> bool:
        """Whether the best turn may be believed."""
        return not self.refusal

    @property
    def residual(self) -> float:
        """The mean distance of the best turn."""
        return self.residuals[self.best]

    def wrong(self) -> NDArray[np.bool_]:
        """Return which patches are far from what the others make of them."""
        limit = max(_WRONG_BY, 4 * float(np.nanmedian(self.off)))
        return np.asarray(np.nan_to_num(self.off) > limit)


def prove_turn(samples: dict[int, Floats], usable: dict[int, NDArray[np.bool_]]) -> Proof:
    """Return how well the card's colours fit in each turn.

    Parameters
    ----------
    samples : by turn, (24, 3)
        Linear device colours in the order in which a card lying so would be read.
    usable : by turn, (24,) of bool
        Which of them are flat and not clipped.
    """
    mirror = np.arange(24).reshape(4, 6)[:, ::-1].ravel()
    right = {turn: card_residual(samples[turn], usable[turn]) for turn in samples}
    mirrored = {turn: card_residual(samples[turn][mirror], usable[turn][mirror])[0] for turn in samples}
    residuals = {turn: found[0] for turn, found in right.items()}
    best = min(residuals, key=lambda turn: residuals[turn])
    others = [value for turn, value in residuals.items() if turn != best] + list(mirrored.values())
    agree = greys_agree(samples[best], usable[best])
    refusal = _refusal(residuals[best], others, min(mirrored.values()), agree, int(usable[best].sum()))
    return Proof(residuals, mirrored, best, right[best][1], agree, refusal)


def _refusal(best: float, others: list[float], mirrored: float, agree: bool, count: int) -> str:
    # With fewer patches left a wrong turn fits better by chance, so that the right one must stand out more.
    times = TIMES_BETTER + 0.06 * (24 - count)
    if mirrored < best and mirrored < LIKE_A_CARD:
        return "mirrored"
    if best > LIKE_A_CARD:
        return "not the card's colours"
    if min(others) < times * best:
        return "two turns fit alike"
    return "" if agree else "the grey row is not where it should be"


def greys_agree(rgb: Floats, usable: NDArray[np.bool_]) -> bool:
    """Return whether the last row gets darker step by step and keeps one hue."""
    grey = rgb[GREYS][usable[GREYS]]
    if len(grey) < 2:
        return False
    level = np.maximum(grey, 1e-5)
    falls = bool((np.diff(level.mean(1)) < 0).all())
    # The darkest patch is mostly stray light and noise: it has to be dark, not neutral.
    light = level[level.mean(1) > 0.08 * level.mean(1).max()]
    hue = np.log(light / light.mean(1, keepdims=True))
    return falls and bool(np.abs(hue - np.median(hue, axis=0)).max() < 0.3)


def card_residual(rgb: Floats, usable: NDArray[np.bool_]) -> tuple[float, Floats]:
    """Return the mean distance in Lab of samples from the card's colours, and that of each.

    The samples go through the matrix, and one of three tone curves, that suit them best; the worst eighth counts
    for nothing, so that a faulty patch does not hide which way up the card lies.

    Parameters
    ----------
    rgb : (24, 3) linear device colours
    usable : (24,) of bool

    Returns
    -------
    float, (24,) ndarray; infinite when fewer than ten patches are usable
    """
    if usable.sum() < FEWEST:
        return float("inf"), np.full(24, np.nan)
    fits = [_fitted(np.maximum(rgb, 0.0) ** tone, usable) for tone in TONES]
    return min(fits, key=lambda fit: fit[0])


def _fitted(rgb: Floats, usable: NDArray[np.bool_]) -> tuple[float, Floats]:
    kept = usable
    for share in (0.875, 0.875):
        matrix = _matrix(rgb[kept], kept)
        off = np.linalg.norm(_lab(rgb @ matrix) - ROUGH_LAB, axis=1)
        limit = np.sort(off[usable])[max(int(np.ceil(share * usable.sum())), FEWEST - 1) - 1]
        kept = usable & (off <= limit)
    off = np.linalg.norm(_lab(rgb @ _matrix(rgb[kept], kept)) - ROUGH_LAB, axis=1)
    return float(off[kept].mean()), off


def quick_residuals(rgb: Floats, kept: Floats) -> Floats:
    """Return the mean distance in Lab of many sets of samples from the card's colours, none left out.

    Parameters
    ----------
    rgb : (n, 24, 3) linear device colours
    kept : (n, 24) of 0 and 1

    Returns
    -------
    (n,) ndarray, infinite where there is no telling
    """
    share = kept / np.maximum(kept.sum(1, keepdims=True), 1)
    rgb = np.nan_to_num(rgb, posinf=0.0, neginf=0.0)  # what is no number is black, and far from the card
    weights = (_WEIGHTS[:, 0] ** 2 * kept)[..., None]
    rgb = rgb / np.maximum(rgb.mean((1, 2), keepdims=True), 1e-6)
    weighted = np.swapaxes(rgb * weights, 1, 2)
    matrix = np.linalg.solve(weighted @ rgb + 1e-4 * np.eye(3), weighted @ _XYZ)
    off = np.linalg.norm(_lab(rgb @ matrix) - ROUGH_LAB, axis=-1)
    return np.asarray(np.nan_to_num((np.nan_to_num(off, nan=1e6, posinf=1e6) * share).sum(1), nan=np.inf))


# What a sheet, a hand or a shadow leaves to be seen: all, or all but some columns or rows at one side.
def _covers() -> Floats:
    row, column = np.divmod(np.arange(24), 6)
    sides = [column >= 1, column >= 2, column >= 3, column < 5, column < 4, column < 3]
    return np.array([np.ones(24), *sides, row >= 1, row >= 2, row < 3, row < 2], float)


COVERS: Floats = _covers()

_XYZ = lab_to_xyz(ROUGH_LAB)
# A unit of Lab is a larger step of light in a light colour: dY / dL* goes with Y to the two thirds.
_WEIGHTS = 1 / (_XYZ[:, 1:2] + 0.01) ** (2 / 3)


def _matrix(rgb: Floats, kept: NDArray[np.bool_]) -> Floats:
    weights = _WEIGHTS[kept]
    # A little is held back, so that colours of one hue do not blow the matrix up.
    left = np.concatenate([rgb * weights, 1e-3 * np.sqrt(len(rgb)) * max(float(rgb.mean()), 1e-6) * np.eye(3)])
    right = np.concatenate([_XYZ[kept] * weights, np.zeros((3, 3))])
    found: Floats = np.linalg.lstsq(left, right, rcond=None)[0]
    return found


def _lab(xyz: Floats) -> Floats:
    """Return Lab without checks of scale: a wrong turn may ask for any light."""
    ratio = xyz / D50_WHITE
    f = np.where(ratio > LAB_EPSILON, np.cbrt(np.maximum(ratio, LAB_EPSILON)), (LAB_KAPPA * ratio + 16) / 116)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)
