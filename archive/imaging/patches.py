"""Colours read from a corrected picture: a patch, the bare paper, and the flat areas worth reading.

Light is averaged, never Lab or encoded values: a screen's dots add up in the eye as light. A patch is kept clear of
its edges by the drift of the drums, must hold ten cells of the screen, and is the median of several small areas, so
that a speck of dust or a cockle shows as spread and not as a wrong colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.colour.difference import delta_e_2000
from archive.colour.palette import find_palette
from archive.colour.spaces import LIGHTEST, WIDEST, Floats, xyz_to_lab
from archive.errors import InputError

Box = tuple[float, float, float, float]  # left, top, right, bottom
Mask = NDArray[np.bool_]

FEWEST_CELLS = 10  # of the screen across a patch [common practice]
LPI = 71.0  # lines an inch, the coarse screen of a stencil duplicator [common practice]
UNEVEN = 1.0  # dE00, mean distance of a patch's small areas from their median [own choice]
FAR_UNEVEN = 4.0  # dE00, from which no single colour can be given [own choice]
HIGH = 0.98  # of full scale: a channel above it may have been cut [common practice]
_SOME = 0.01  # of a patch's pixels
_FEWEST_PIXELS = 6  # across a patch
_ACROSS = 3  # small areas along each side of a patch
_SAME_COLOUR = 2.0  # dE00, two flat areas that are one colour [own choice]
_NOT_PAPER = 3.0  # dE00, what is nearer to the paper is bare [own choice]
_FLAT = 2.5  # Lab units across three cells [own choice]
_WANDERS = 3.0  # Lab units from its middle that one flat area may range [own choice]
_MOST_PARTS = 200  # connected areas looked at
_FEWEST_IN_PART = 9  # cells: anything smaller holds no patch
_LONGEST = 500  # cells along the longer side, when flat areas are looked for


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class LightPicture:
    """A corrected picture to read colours from.

    xyz : (h, w, 3) light under D50, Y = 1 for white, absolute.
    mm_per_px : size of a pixel on the sheet.
    clipped, out_of_range : (h, w) or None, what the file lost; see `lost_in_file`.
    gutter : (h, w) or None, where a book's fold shades the page.
    """

    xyz: NDArray[np.floating[Any]]
    mm_per_px: float
    clipped: Mask | None = None
    out_of_range: Mask | None = None
    gutter: Mask | None = None


@dataclass(frozen=True, slots=True)
class PatchReading:
    """A patch's colour.

    lab : absolute, under D50.
    spread : mean dE00 of the small areas from their median.
    areas : how many they are.
    box : what was read, in pixels.
    flags : of "clipped", "out of range", "uneven", "too small", "gutter".
    usable : False when the colour is not to be kept as a measurement.
    """

    lab: tuple[float, float, float]
    spread: float
    areas: int
    box: Box
    flags: tuple[str, ...]
    usable: bool


@dataclass(frozen=True, slots=True)
class PaperReading:
    """The bare paper: absolute Lab, spread over the sheet (mean dE00), share of the picture, and whether it is sure."""

    lab: tuple[float, float, float]
    spread: float
    share: float
    is_sure: bool


@dataclass(frozen=True, slots=True)
class FlatArea:
    """A flat colour of a picture, read where it is widest.

    region : left, top, right, bottom of the square that was read, as fractions of the picture.
    width_mm, height_mm : of the whole area's bounding box.
    area_mm2 : of this colour in all places together.
    places : in how many places the colour lies.
    """

    region: Box
    width_mm: float
    height_mm: float
    area_mm2: float
    places: int
    reading: PatchReading


def lost_in_file(encoded: NDArray[Any]) -> tuple[Mask, Mask]:
    """Return where a file's pixels are clipped, and where a channel is out of range.

    Parameters
    ----------
    encoded : (h, w, 3) ndarray of uint8 or uint16
        As the file stores them, before any correction.

    Returns
    -------
    clipped : (h, w), a channel at full scale.
    out_of_range : (h, w), a channel above 98 % of it, or at nought: the colour is a bound and no value.
    """
    top = np.iinfo(encoded.dtype).max
    highest, lowest = encoded.max(axis=-1), encoded.min(axis=-1)
    return highest == top, (highest > HIGH * top) | (lowest == 0)


def read_region(picture: LightPicture, box: Box, *, drift_mm: float = 0.0, lpi: float = LPI) -> PatchReading:
    """Return the colour of a patch.

    Parameters
    ----------
    picture : LightPicture
    box : left, top, right, bottom in pixels, the right and bottom ones not included
    drift_mm : float
        How far drums wander: the patch is read that much inside its edges.
    lpi : float
        Lines an inch of the screen; ten of its cells must fit.

    Returns
    -------
    PatchReading

    Raises
    ------
    InputError
        The box is empty or leaves the picture.
    """
    _check(picture, box)
    inset = drift_mm / picture.mm_per_px
    left, top, right, bottom = box
    inner = (left + inset, top + inset, right - inset, bottom - inset)
    least = max(FEWEST_CELLS * 25.4 / lpi / picture.mm_per_px, _FEWEST_PIXELS)
    is_small = min(inner[2] - inner[0], inner[3] - inner[1]) < least * (1 - 1e-9)
    if min(inner[2] - inner[0], inner[3] - inner[1]) < 1:
        inner = box  # nothing is left inside: the number is shown, marked, and not kept
    return _read(picture, inner, cell=25.4 / lpi / picture.mm_per_px, is_small=is_small)


def read_point(
    picture: LightPicture, x: float, y: float, *, radius_mm: float | None = None, lpi: float = LPI
) -> PatchReading:
    """Return the colour around a point, in pixels; of the least square that holds ten cells unless told otherwise.

    Parameters, result and errors as `read_region`; whoever points has kept clear of the edges.
    """
    radius = (FEWEST_CELLS * 25.4 / lpi / 2 if radius_mm is None else radius_mm) / picture.mm_per_px
    if radius_mm is None:
        radius = max(radius, _FEWEST_PIXELS / 2)
    return read_region(picture, (x - radius, y - radius, x + radius, y + radius), lpi=lpi)


def _check(picture: LightPicture, box: Box) -> None:
    height, width = picture.xyz.shape[:2]
    left, top, right, bottom = box
    if not (right > left and bottom > top and picture.mm_per_px > 0):
        raise InputError("the patch {box} is empty", box=box, mend="Give left, top, right, bottom in pixels.")
    if left < -0.5 or top < -0.5 or right > width + 0.5 or bottom > height + 0.5:
        raise InputError(
            "the patch {box} leaves the picture of {width} × {height} pixels",
            box=tuple(round(edge, 1) for edge in box),
            width=width,
            height=height,
            mend="Choose a place further inside, or a smaller one.",
        )


def _read(picture: LightPicture, box: Box, *, cell: float, is_small: bool) -> PatchReading:
    height, width = picture.xyz.shape[:2]
    left, top = max(round(box[0]), 0), max(round(box[1]), 0)
    right, bottom = min(max(round(box[2]), left + 1), width), min(max(round(box[3]), top + 1), height)
    left, top = min(left, right - 1), min(top, bottom - 1)
    whole = slice(top, bottom), slice(left, right)
    labs = _small_areas(picture.xyz[whole], cell)
    lab = np.median(labs, axis=0)
    spread = float(delta_e_2000(labs, lab).mean())
    flags = [
        name
        for name, mask in (
            ("clipped", picture.clipped),
            ("out of range", picture.out_of_range),
            ("gutter", picture.gutter),
        )
        if mask is not None and mask[whole].mean() > _SOME
    ]
    if spread > UNEVEN:
        flags.append("uneven")
    if is_small:
        flags.append("too small")
    usable = spread <= FAR_UNEVEN and not set(flags) - {"uneven"}
    return PatchReading(_triple(lab), spread, len(labs), (left, top, right, bottom), tuple(flags), usable)


def _small_areas(xyz: NDArray[np.floating[Any]], cell: float) -> Floats:
    """Return the Lab of small areas spread over a patch, (n, 3); they overlap where they must hold five cells."""
    rows, columns = (_spans(side, cell) for side in xyz.shape[:2])
    means = [xyz[top:bottom, left:right].mean(axis=(0, 1)) for top, bottom in rows for left, right in columns]
    return _lab(np.array(means))


def _spans(side: int, cell: float) -> list[tuple[int, int]]:
    length = min(max(round(side / _ACROSS), round(FEWEST_CELLS / 2 * cell), 2), side)
    starts = np.unique(np.rint(np.linspace(0, side - length, _ACROSS)).astype(int))
    return [(int(start), int(start) + length) for start in starts]


def _lab(xyz: NDArray[np.floating[Any]]) -> Floats:
    """Return Lab of light that may lie a little off the scale, as corrected noise does."""
    lab = xyz_to_lab(np.minimum(xyz, 2.0))
    return np.clip(lab, (0.0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST))


def _triple(lab: Floats) -> tuple[float, float, float]:
    return float(lab[0]), float(lab[1]), float(lab[2])


# Paper and flat areas


def paper_of(picture: LightPicture) -> PaperReading | None:
    """Return the bare paper of a picture that shows a sheet, or None when none is found.

    Clipped and shaded places are left out; the colour is the median over all flat bare places.
    """
    cells, _ = _in_cells(picture, LPI)
    lab = _lab(cells.xyz)
    palette = find_palette(lab)
    if palette.paper is None:
        return None
    away = np.sqrt(((lab - np.array(palette.paper)) ** 2).sum(axis=-1))
    bare = (away <= 5.0) & _is_flat(lab) & _is_whole(cells)
    if not bare.any():
        return None
    middle = np.median(lab[bare], axis=0)
    spread = float(delta_e_2000(lab[bare], middle).mean())
    return PaperReading(_triple(middle), spread, palette.paper_share, palette.paper_sure)


def flat_areas(
    picture: LightPicture,
    *,
    drift_mm: float = 0.7,
    lpi: float = LPI,
    paper_lab: tuple[float, float, float] | None = None,
    most: int = 24,
) -> tuple[FlatArea, ...]:
    """Return the flat colours of a picture that are wide enough to be read, largest first, one entry a colour.

    Parameters
    ----------
    picture : LightPicture
    drift_mm, lpi : float
        As for `read_region`: the square that is read lies so far inside and holds ten cells.
    paper_lab : optional
        The bare paper, which is left out; what `paper_of` finds, unless given.
    most : int
        How many colours at most.

    Returns
    -------
    tuple of FlatArea
        Only what can be used: clipped, shaded and uneven places are not proposed.
    """
    if paper_lab is None:
        paper = paper_of(picture)
        paper_lab = paper.lab if paper is not None else None
    cells, step = _in_cells(picture, lpi)
    found: list[FlatArea] = []
    for part in _connected(_lab(cells.xyz), cells):
        area = _proposed(picture, part, step, drift_mm, lpi)
        if area is not None and (paper_lab is None or _apart(area, paper_lab) > _NOT_PAPER):
            found.append(area)
    return tuple(_one_a_colour(found)[:most])


def _apart(area: FlatArea, lab: tuple[float, float, float]) -> float:
    return float(delta_e_2000(area.reading.lab, lab))


def _in_cells(picture: LightPicture, lpi: float) -> tuple[LightPicture, tuple[float, float]]:
    """Return the picture averaged over cells of a quarter of the least patch, and a cell's height and width in px."""
    import cv2

    height, width = picture.xyz.shape[:2]
    wanted = max(FEWEST_CELLS * 25.4 / lpi / 4 / picture.mm_per_px, max(height, width) / _LONGEST, 1.0)
    size = max(round(width / wanted), 1), max(round(height / wanted), 1)

    def small(values: NDArray[Any]) -> NDArray[np.float32]:
        shrunk: NDArray[np.float32] = cv2.resize(values.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        return shrunk

    light = cv2.blur(small(picture.xyz), (3, 3))  # seven cells of the screen: its dots are gone
    masks = [
        None if mask is None else small(mask) > _SOME
        for mask in (picture.clipped, picture.out_of_range, picture.gutter)
    ]
    step = height / size[1], width / size[0]
    return LightPicture(light, picture.mm_per_px * wanted, *masks), step


def _is_flat(lab: Floats) -> Mask:
    import cv2

    kernel = np.ones((3, 3), np.uint8)
    span = cv2.dilate(lab, kernel) - cv2.erode(lab, kernel)
    return np.asarray(np.sqrt((span**2).sum(axis=-1)) <= _FLAT)


def _is_whole(cells: LightPicture) -> Mask:
    """Return where nothing was clipped, cut or shaded."""
    whole = np.ones(cells.xyz.shape[:2], dtype=bool)
    for mask in (cells.clipped, cells.out_of_range, cells.gutter):
        if mask is not None:
            whole &= ~mask
    return whole


def _connected(lab: Floats, cells: LightPicture) -> list[Mask]:
    """Return the connected flat areas, each of one colour: a slow gradient is cut to what lies near its middle."""
    import cv2

    flat = (_is_flat(lab) & _is_whole(cells)).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(flat, connectivity=4)
    sizes = stats[1:, cv2.CC_STAT_AREA]
    largest = np.argsort(-sizes, kind="stable")[:_MOST_PARTS]
    parts = []
    for label in largest[sizes[largest] >= _FEWEST_IN_PART] + 1:
        part = labels == label
        middle = np.median(lab[part], axis=0)
        part &= np.sqrt(((lab - middle) ** 2).sum(axis=-1)) <= _WANDERS
        parts.append(part)
    return parts


def _proposed(
    picture: LightPicture, part: Mask, step: tuple[float, float], drift_mm: float, lpi: float
) -> FlatArea | None:
    """Return the reading of a connected area's widest square, or None when nothing in it can be used."""
    import cv2

    rows, columns = np.flatnonzero(part.any(axis=1)), np.flatnonzero(part.any(axis=0))
    if len(rows) == 0:
        return None
    padded = np.pad(part.astype(np.uint8), 1)
    depth = cv2.distanceTransform(padded, cv2.DIST_C, 3)[1:-1, 1:-1]
    y, x = np.unravel_index(int(depth.argmax()), depth.shape)
    half = float(depth[y, x]) - 0.5
    box = (x + 0.5 - half) * step[1], (y + 0.5 - half) * step[0], (x + 0.5 + half) * step[1], (y + 0.5 + half) * step[0]
    reading = read_region(picture, box, drift_mm=drift_mm, lpi=lpi)
    if reading.flags:
        return None
    height, width = picture.xyz.shape[:2]
    left, top, right, bottom = reading.box
    return FlatArea(
        region=(left / width, top / height, right / width, bottom / height),
        width_mm=float((columns[-1] - columns[0] + 1) * step[1] * picture.mm_per_px),
        height_mm=float((rows[-1] - rows[0] + 1) * step[0] * picture.mm_per_px),
        area_mm2=float(part.sum() * step[0] * step[1] * picture.mm_per_px**2),
        places=1,
        reading=reading,
    )


def _one_a_colour(areas: list[FlatArea]) -> list[FlatArea]:
    """Return the largest area of each colour, with what all of its places cover, largest first."""
    kept: list[FlatArea] = []
    for area in sorted(areas, key=lambda a: (-a.area_mm2, a.region)):
        same = next((i for i, k in enumerate(kept) if _apart(area, k.reading.lab) <= _SAME_COLOUR), None)
        if same is None:
            kept.append(area)
            continue
        k = kept[same]
        kept[same] = FlatArea(
            k.region, k.width_mm, k.height_mm, k.area_mm2 + area.area_mm2, k.places + area.places, k.reading
        )
    return sorted(kept, key=lambda a: (-a.area_mm2, a.region))
