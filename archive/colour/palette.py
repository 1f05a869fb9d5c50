"""The main colours of a picture, its bare paper apart.

A print is few inks on much paper: a plain clustering returns paper white and muddy means and loses the small
vivid accent that everyone remembers. So halftones are averaged first, blended edges count little, the paper is
looked for before anything is grouped, and a vivid colour is kept from 0.3 % of the area.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.clusters import Floats, Histogram, cluster, lab_histogram, merge_closest, nearest
from archive.colour.spaces import LIGHTEST, WIDEST, lab_to_xyz, xyz_to_lab
from archive.errors import ColourError

MOST_COLOURS = 12
LEAST_ACCENT = 0.003  # of the area: a smaller vivid colour is noise or dirt
LONG_SIDE = 256  # pixels; at A2 one of them covers 2.3 mm, several dots of any screen in use

_LEAST_DULL = 0.008  # of the area, for a colour that is neither vivid nor far from the rest [own choice]
_TOLD_APART = 6.0  # Lab units: nearer clusters are one colour to the eye [own choice]
_ACCENT_APART = 20.0  # Lab units from every other colour [own choice]
_ACCENT_RADIUS = 15.0  # Lab units over which an accent's area is gathered [own choice]
_VIVID = 25.0  # chroma [own choice]
_EDGE_FROM, _EDGE_TO = 5.0, 12.0  # Lab units across 3 pixels: below flat, above an edge [own choice]
_EDGE_TRUST = 0.05  # of a flat pixel's
_BLEND = 8.0  # Lab units off the straight mixture of two colours that still count as their blend [own choice]
_WINDOW = 7  # pixels over which a texture is averaged; a screen's dots at this scale are 2 or 3 wide

_PAPER_RADIUS = 5.0  # Lab units around the paper's commonest colour
_PAPER_DARKEST = 50.0  # L*: ink never lightens, so paper is among the light colours [own choice]
_OFF_WHITE = 20.0  # chroma; a more colourful sheet is believed only at the picture's border [own choice]
_LEAST_PAPER = 0.02  # of the flat area
_AT_BORDER = 0.4  # of the picture's border, for a sheet known by its margin [own choice]
_OUTSHONE = 0.04  # of the flat area may be lighter than paper: glare, a card, an opaque pale ink [own choice]
_PALE = 78.0  # L*: a sheet this light needs no margin to be believed [own choice]


@dataclass(frozen=True, slots=True)
class PaletteColour:
    """One main colour, Lab under D50, and its share of the picture's area."""

    lab: tuple[float, float, float]
    share: float


@dataclass(frozen=True, slots=True)
class Palette:
    """The bare paper, None when none was found, and at most 12 colours, largest first; all shares sum to 1.

    `paper_sure` is False when the paper could as well be a table, a pale tint or a light part of a motif.
    """

    paper: tuple[float, float, float] | None
    paper_share: float
    paper_sure: bool
    colours: tuple[PaletteColour, ...]


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class _Paper:
    lab: Floats
    is_sure: bool


def find_palette(lab: ArrayLike, *, most: int = MOST_COLOURS) -> Palette:
    """Return the main colours of a picture.

    Parameters
    ----------
    lab : (h, w, 3) or (n, 3) array_like
        A picture, larger ones are made small by averaging light; or pixels without an arrangement, of which
        neither texture nor border can be known.
    most : int
        Colours beside the paper, at least 1.

    Returns
    -------
    Palette
        The same for the same pixels, always.

    Raises
    ------
    ColourError
        No pixels, a wrong shape, or numbers that are missing.
    """
    pixels = _checked(lab)
    if pixels.ndim == 3:
        picture = _flattened(_small_xyz(pixels))
        trust = _trust(picture)
        is_border = _border(picture.shape[:2])
    else:
        picture, trust = pixels, np.ones(len(pixels))
        is_border = np.zeros(len(pixels), dtype=bool)
    flat = picture.reshape(-1, 3)
    trust, is_border = trust.ravel(), is_border.ravel()
    histogram = lab_histogram(flat, trust)
    paper = _find_paper(flat[trust > 0.5], flat[is_border])
    return _shared_out(histogram, paper, _find_colours(histogram, paper, most))


def _checked(lab: ArrayLike) -> Floats:
    pixels = np.asarray(lab, dtype=np.float64)
    if pixels.ndim not in (2, 3) or pixels.shape[-1] != 3 or pixels.size == 0:
        raise ColourError(
            "a palette needs a picture or a list of Lab colours, not shape {shape}",
            shape=pixels.shape,
            mend="Give (height, width, 3) or (n, 3).",
        )
    if not np.isfinite(pixels).all():
        raise ColourError("the picture holds an empty or infinite number", mend="Leave such pixels out.")
    return np.clip(pixels, (0.0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST))


# Halftones and edges


def _small_xyz(lab: Floats) -> NDArray[np.float32]:
    """Return XYZ with a long side of at most 256 pixels, averaged as light."""
    import cv2

    xyz = lab_to_xyz(lab).astype(np.float32)
    height, width = lab.shape[:2]
    scale = LONG_SIDE / max(height, width)
    if scale >= 1:
        return xyz
    size = max(round(width * scale), 1), max(round(height * scale), 1)
    small: NDArray[np.float32] = cv2.resize(xyz, size, interpolation=cv2.INTER_AREA)
    return small


def _flattened(xyz: NDArray[np.float32]) -> Floats:
    """Return Lab in which a fine texture, such as a screen's dots, is averaged and shapes are left alone.

    A texture differs from its surroundings pixel by pixel while its average stays the same from place to place;
    at a shape's edge the average changes.
    """
    import cv2

    sharp = np.asarray(xyz_to_lab(xyz))
    mean = np.asarray(xyz_to_lab(cv2.blur(xyz, (_WINDOW, _WINDOW))))
    squared = cv2.blur(((sharp - mean) ** 2).sum(axis=-1), (_WINDOW, _WINDOW))
    rough = np.sqrt(np.maximum(squared, 0.0))  # its running sums may end a hair below zero
    is_texture = (rough > 2.0) & (_range(mean, _WINDOW) < rough)
    return np.where(is_texture[..., None], mean, sharp)


def _range(lab: Floats, window: int) -> Floats:
    """Return how far Lab ranges within a square window around each pixel."""
    import cv2

    kernel = np.ones((window, window), np.uint8)
    span = cv2.dilate(lab, kernel) - cv2.erode(lab, kernel)
    return np.asarray(np.sqrt((span**2).sum(axis=-1)))


def _trust(lab: Floats) -> Floats:
    """Return 1 for flat pixels, falling to 0.05 for those that an edge blends from two colours."""
    span = _range(lab, 3)
    return np.clip((_EDGE_TO - span) / (_EDGE_TO - _EDGE_FROM), _EDGE_TRUST, 1.0)


def _border(shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Return which pixels lie in the outer 3 %."""
    depth = max(round(max(shape) * 0.03), 1)
    is_border = np.ones(shape, dtype=bool)
    is_border[depth:-depth, depth:-depth] = False
    return is_border


# The paper


def _find_paper(flat: Floats, border: Floats) -> _Paper | None:
    """Return the commonest light colour that hardly anything outshines, or None.

    Inks on paper darken, so the sheet is the lightest large colour of a picture; a colourful sheet is told from
    a printed flat by reaching the border.
    """
    if len(flat) == 0:
        return None
    cells = lab_histogram(flat, np.ones(len(flat)))
    modes = _light_modes(cells)
    if len(modes) == 0:
        return None
    area = _area_near(cells, modes)
    at_border = _share_near(border, modes)
    is_off_white = np.hypot(modes[:, 1], modes[:, 2]) <= _OFF_WHITE
    may_be_paper = (area >= _LEAST_PAPER) & (is_off_white | (at_border >= _AT_BORDER))
    if not may_be_paper.any():
        return None
    outshone = np.array([cells.area[cells.lab[:, 0] > mode[0] + 6.0].sum() for mode in modes])
    is_lightest = outshone <= _OUTSHONE
    score = area * (modes[:, 0] / 100) ** 2 * (1 + at_border) * np.where(is_lightest, 1.0, 0.2) * may_be_paper
    best = int(score.argmax())
    # A large pale flat within an even paler one is a tint on its paper, or a sheet on a white table: who knows.
    is_pale = is_off_white & (modes[:, 0] >= _PALE)
    is_apart = np.sqrt(((modes - modes[best]) ** 2).sum(axis=1)) > 2 * _PAPER_RADIUS
    has_rival = is_apart & ((score > 0.4 * score[best]) | (is_pale & (area >= 0.25)))
    is_paper_like = is_pale[best] or at_border[best] >= _AT_BORDER
    return _Paper(modes[best], bool(is_lightest[best] and is_paper_like and not has_rival.any()))


def _light_modes(cells: Histogram) -> Floats:
    """Return the light colours around which most area gathers, commonest first, each moved to its middle."""
    light = cells.lab[:, 0] >= _PAPER_DARKEST
    starts = cells.lab[light][np.argsort(-cells.area[light], kind="stable")[:24]]
    modes = [_middle(cells, start) for start in starts]
    kept: list[Floats] = []
    for mode in modes:
        if all(((mode - other) ** 2).sum() > _PAPER_RADIUS**2 for other in kept):
            kept.append(mode)
    return np.array(kept)


def _middle(cells: Histogram, start: Floats) -> Floats:
    """Return the mean colour around a start, followed uphill (mean shift)."""
    middle = start
    for _ in range(8):
        near = ((cells.lab - middle) ** 2).sum(axis=1) <= _PAPER_RADIUS**2
        moved = np.average(cells.lab[near], axis=0, weights=cells.area[near])
        if np.allclose(moved, middle, atol=0.01):
            break
        middle = moved
    return middle


def _area_near(cells: Histogram, modes: Floats) -> Floats:
    squared = ((cells.lab[None] - modes[:, None]) ** 2).sum(axis=-1)
    return np.asarray((cells.area * (squared <= (1.5 * _PAPER_RADIUS) ** 2)).sum(axis=1))


def _share_near(pixels: Floats, modes: Floats) -> Floats:
    if len(pixels) == 0:
        return np.zeros(len(modes))
    squared = ((pixels[None] - modes[:, None]) ** 2).sum(axis=-1)
    return np.asarray((squared <= (1.5 * _PAPER_RADIUS) ** 2).mean(axis=1))


# The colours


def _find_colours(cells: Histogram, paper: _Paper | None, most: int) -> Floats:
    """Return the centres of the printed colours, (k, 3); none on a bare sheet."""
    is_printed = np.ones(len(cells.lab), dtype=bool)
    if paper is not None:
        off = (cells.lab - paper.lab) / (
            6.0,
            4.0,
            4.0,
        )  # uneven light moves paper in lightness more than in hue
        is_printed = (off**2).sum(axis=1) > 1
    if not is_printed.any():
        return np.empty((0, 3))
    weights = (cells.area * cells.trust)[is_printed]
    centres = cluster(cells.lab[is_printed], weights, most)
    while True:
        kept = _without_weakest(cells, paper, centres)
        if len(kept) == len(centres):
            break
        centres = kept
    return _with_accents(cells, paper, centres, most)


def _with_paper(centres: Floats, paper: _Paper | None) -> Floats:
    """Return the centres followed by the paper, so that what is nearer the paper counts as paper."""
    return centres if paper is None else np.concatenate([centres, paper.lab[None]])


def _without_weakest(cells: Histogram, paper: _Paper | None, centres: Floats) -> Floats:
    """Return the centres without the smallest that is no colour of its own, or all of them."""
    everything = _with_paper(centres, paper)
    if len(everything) < 2:
        return centres
    place, _ = nearest(cells.lab, everything)
    area = np.bincount(place, cells.area, minlength=len(everything))
    trusted = np.bincount(place, cells.area * cells.trust, minlength=len(everything))
    for weakest in np.argsort(area[: len(centres)], kind="stable"):
        others = np.delete(everything, weakest, axis=0)
        distance = float(np.sqrt(((others - centres[weakest]) ** 2).sum(axis=1).min()))
        is_own = distance > _ACCENT_APART or np.hypot(*centres[weakest, 1:]) > _VIVID
        is_edge = trusted[weakest] < 0.3 * area[weakest] and _is_blend(centres[weakest], others)
        least = LEAST_ACCENT if is_own else _LEAST_DULL
        if area[weakest] < least or distance < _TOLD_APART or is_edge:
            return np.delete(centres, weakest, axis=0)
    return centres


def _is_blend(lab: Floats, others: Floats) -> bool:
    """Return whether a colour lies between two others as an edge's pixels do, which mix their light."""
    if len(others) < 2:
        return False
    xyz, ends = lab_to_xyz(lab), lab_to_xyz(others)
    one, other = (ends[i] for i in np.triu_indices(len(ends), 1))
    along = other - one
    share = ((xyz - one) * along).sum(axis=1) / np.maximum((along**2).sum(axis=1), 1e-12)
    share = np.clip(share, 0.0, 1.0)
    mixed = xyz_to_lab(one + share[:, None] * along)
    off = np.sqrt(((mixed - lab) ** 2).sum(axis=1))
    return bool(((off < _BLEND) & (share > 0.05) & (share < 0.95)).any())


def _with_accents(cells: Histogram, paper: _Paper | None, centres: Floats, most: int) -> Floats:
    """Return the centres with what they missed: colours far from all of them, from 0.3 % of the area."""
    for _ in range(most):
        everything = _with_paper(centres, paper)
        missed = nearest(cells.lab, everything)[1] > _ACCENT_APART**2 if len(everything) else cells.area > 0
        accent = _largest_accent(cells, missed, everything)
        if accent is None:
            break
        if len(centres) == most:
            place, _ = nearest(cells.lab, centres)
            mass: Floats = np.bincount(place, cells.area, minlength=most).astype(np.float64)
            centres = merge_closest(centres, mass, most - 1)
        centres = np.concatenate([centres, accent[None]])
    return centres


def _largest_accent(cells: Histogram, missed: NDArray[np.bool_], others: Floats) -> Floats | None:
    """Return the colour around which most missed area gathers, when it is enough and no edge's blend."""
    lab, area = cells.lab[missed], cells.area[missed]
    if area.sum() < LEAST_ACCENT:
        return None
    weight = area * cells.trust[missed]
    for start in np.argsort(-weight, kind="stable")[:20]:
        near = ((lab - lab[start]) ** 2).sum(axis=1) <= _ACCENT_RADIUS**2
        accent = np.average(lab[near], axis=0, weights=weight[near])
        if area[near].sum() >= LEAST_ACCENT and not _is_blend(accent, others):
            return np.asarray(accent)
    return None


def _shared_out(cells: Histogram, paper: _Paper | None, centres: Floats) -> Palette:
    """Return the palette with every pixel counted for the nearest of its colours and the paper."""
    everything = _with_paper(centres, paper)
    area = np.bincount(nearest(cells.lab, everything)[0], cells.area, minlength=len(everything))
    area = area / area.sum()
    order = np.lexsort((*centres.T, -area[: len(centres)]))
    colours = tuple(PaletteColour(_triple(centres[i]), float(area[i])) for i in order if area[i] > 0)
    if paper is None:
        return Palette(None, 0.0, False, colours)
    return Palette(_triple(paper.lab), float(area[-1]), paper.is_sure, colours)


def _triple(lab: Floats) -> tuple[float, float, float]:
    return float(lab[0]), float(lab[1]), float(lab[2])
