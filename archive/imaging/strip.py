"""Reading a printed strip off a photograph or scan: where each drum printed, and the colour of every patch.

The sheet is laid on its layout by the corner marks of the drum that printed the code. Then every drum's own marks are
looked for: how far they lie from their places is that drum's drift, and patches are read only where all drums of the
sheet lie over each other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.colour.difference import delta_e_2000
from archive.colour.spaces import LIGHTEST, WIDEST, Floats, xyz_to_lab
from archive.errors import InputError
from archive.imaging.codes import Point, read_codes
from archive.imaging.patches import LPI, LightPicture, PatchReading, read_region
from archive.imaging.strip_marks import DrumSeen, find_drums, place_strip

Lab = tuple[float, float, float]

_FINEST = 12.0  # pixels a millimetre of the squared strip; more shows nothing of a patch
_COARSEST = 2.0  # below it a patch of 12 mm holds too few pixels
LEAST_CLEAN_MM = 4.0  # of a patch where all drums lie over each other [common practice]
_EDGE_MM = 0.6  # left out besides the drift: the bend of the paper, the blur of the picture
_LEAST_GAP_MM = 1.0  # of bare paper beside a patch
_LIGHT_TINT, _HEAVY_TINT = 30.0, 70.0  # percent: what may be lost, what may have closed
_SAME_AS_PAPER, _SAME_AS_SOLID = 0.5, 1.0  # dE00 at least [own choice: half of what an eye sees, and that]
_NOISES = 2.0  # differences of bare paper from itself that a tint must exceed [own choice]


@dataclass(frozen=True, slots=True)
class PatchSeen:
    """A patch as it was read.

    tints : percent of the file, an ink each in printing order.
    lab : absolute, D50; spread : mean dE00 of its small areas from it.
    clean_mm : the shorter side of what all drums printed.
    flags : what speaks against it: "too small", "uneven", "clipped", "out of range".
    usable : False when the colour is not to be kept.
    state : "lost" for a tint that equals the paper, "closed" for one that equals its solid, else "".
    """

    number: int
    tints: tuple[float, ...]
    lab: Lab
    spread: float
    clean_mm: float
    flags: tuple[str, ...]
    usable: bool
    state: str


@dataclass(frozen=True, slots=True)
class StripReading:
    """What a strip shows: its drums, its patches by number, how far bare paper differs from itself (dE00)."""

    uid: str
    drums: tuple[DrumSeen, ...]
    patches: tuple[PatchSeen, ...]
    noise: float
    mm_per_px: float
    corners_px: tuple[Point, ...]

    @property
    def rejected(self) -> tuple[str, ...]:
        """The patches that cannot be used, by name and reason."""
        return tuple(f"patch {each.number}: {', '.join(each.flags)}" for each in self.patches if not each.usable)


def strip_codes(pixels: NDArray[Any], *, head: str = "inkchest:strip:") -> tuple[str, ...]:
    """Return what the codes of strips in a picture say, looking also for codes in pale ink.

    Parameters
    ----------
    pixels : (h, w, 3) ndarray of uint8 or uint16
        Upright.
    """
    for seen in (pixels, stretched(pixels)):
        found = [code.text for code in read_codes(seen, thorough=True) if code.text.startswith(head)]
        if found:
            return tuple(dict.fromkeys(found))
    return ()


def stretched(pixels: NDArray[Any]) -> NDArray[np.uint8]:
    """Return the darkest channel of each pixel, its contrast stretched: pale inks show in one channel only."""
    darkest = pixels.min(axis=-1) if pixels.ndim == 3 else pixels
    low, high = np.percentile(darkest[::8, ::8], (0.5, 90))
    scaled = (darkest.astype(np.float32) - low) * (255 / max(float(high - low), 1.0))
    return np.asarray(np.clip(scaled, 0, 255), dtype=np.uint8)


def read_strip(pixels: NDArray[Any], light: LightPicture, layout: dict[str, Any], *, lpi: float = LPI) -> StripReading:
    """Return the drums' drift and the colour of every patch.

    Parameters
    ----------
    pixels : (h, w, 3) ndarray of uint8 or uint16
        The whole upright picture as encoded, for shapes.
    light : LightPicture
        The same picture's light, corrected, at any size of the same shape; its `mm_per_px` is not used.
    layout : dict
        As it was printed, see `planning.strip_layout`.
    lpi : float
        Lines an inch of the screen; ten of its cells must fit in a patch.

    Raises
    ------
    InputError
        Another strip, no strip, a cropped or covered one; a drum that is missing or too pale; a picture too coarse.
    """
    _refuse_another(pixels, layout)
    to_photo = place_strip((pixels, stretched(pixels)), layout)
    _refuse_cropped(to_photo, layout, (pixels.shape[1], pixels.shape[0]))
    scale = light.xyz.shape[1] / pixels.shape[1]
    squared = _squared(light, np.diag([scale, scale, 1.0]) @ to_photo, layout)
    drums = find_drums(squared.xyz, 1 / squared.mm_per_px, layout)
    patches = _patches(squared, layout, drums, lpi)
    width, height = float(layout["width"]), float(layout["height"])
    corners = _moved(to_photo, np.array([(0, 0), (width, 0), (width, height), (0, height)]))
    seen, noise = _with_states(patches, squared, layout, drums)
    return StripReading(
        str(layout["uid"]), drums, seen, noise, squared.mm_per_px, tuple((float(x), float(y)) for x, y in corners)
    )


def _refuse_another(pixels: NDArray[Any], layout: dict[str, Any]) -> None:
    codes = strip_codes(pixels)
    if codes and str(layout["code"]) not in codes:
        raise InputError(
            "the picture shows another strip: {code}",
            code=codes[0].rpartition(":")[2],
            mend="Read it without --strip: its own code names it",
        )
    if len(codes) > 1:
        raise InputError("the picture shows two strips", mend="Photograph one at a time")


def _refuse_cropped(to_photo: Floats, layout: dict[str, Any], size: tuple[int, int]) -> None:
    boxes = [*layout["patches"], *(mark for drum in layout["drums"] for mark in drum["marks"])]
    edges = np.array([(b["x"] + x * b["size"], b["y"] + y * b["size"]) for b in boxes for x in (0, 1) for y in (0, 1)])
    there = _moved(to_photo, edges)
    if (there < 0).any() or (there > np.array(size)).any():
        raise InputError("the strip is cropped: part of it lies outside the picture", mend="Photograph the whole sheet")


def _moved(matrix: Floats, points: Floats) -> Floats:
    flat = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(flat[:, :2] / flat[:, 2:])


def _squared(light: LightPicture, to_light: Floats, layout: dict[str, Any]) -> LightPicture:
    """Return the strip seen straight from above, about as fine as the picture shows it."""
    import cv2

    width, height = float(layout["width"]), float(layout["height"])
    corners = _moved(to_light, np.array([(0, 0), (width, 0), (width, height), (0, height)]))
    x, y = corners[:, 0], corners[:, 1]
    native = float(np.sqrt(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2 / (width * height)))
    if native < _COARSEST:
        raise InputError(
            "the strip is too small in the picture: {fine:.1f} pixels a millimetre",
            fine=native,
            mend="Go nearer, so that the sheet fills the picture",
        )
    fine = min(native, _FINEST)
    half = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])  # OpenCV's pixel centres lie at whole numbers
    matrix = half @ to_light @ np.diag([1 / fine, 1 / fine, 1.0]) @ np.linalg.inv(half)
    size = round(width * fine), round(height * fine)

    def laid(values: NDArray[Any]) -> NDArray[np.float32]:
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        flat = cv2.warpPerspective(
            values.astype(np.float32), matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE
        )
        return np.asarray(flat, np.float32)

    masks = [None if mask is None else laid(mask) > 0.02 for mask in (light.clipped, light.out_of_range)]
    return LightPicture(laid(light.xyz), 1 / fine, *masks)


# --- the patches


def _patches(
    squared: LightPicture, layout: dict[str, Any], drums: tuple[DrumSeen, ...], lpi: float
) -> list[tuple[dict[str, Any], PatchReading, float]]:
    """Return each patch of the layout with its reading, and the shorter side of what all drums printed."""
    found = []
    for patch in layout["patches"]:
        left, top, right, bottom = _clean(patch, drums)
        side = min(right - left, bottom - top)
        if side < 1.0:  # nothing lies over each other: the middle is shown, marked, and not kept
            x, y = patch["x"] + patch["size"] / 2, patch["y"] + patch["size"] / 2
            left, top, right, bottom = x - 1, y - 1, x + 1, y + 1
        box = tuple(edge / squared.mm_per_px for edge in (left, top, right, bottom))
        found.append((patch, read_region(squared, (box[0], box[1], box[2], box[3]), lpi=lpi), max(side, 0.0)))
    return found


def _clean(patch: dict[str, Any], drums: tuple[DrumSeen, ...]) -> tuple[float, float, float, float]:
    """Return left, top, right and bottom in millimetres of what every drum of the sheet printed."""
    x, y, size = float(patch["x"]), float(patch["y"]), float(patch["size"])
    shifts = np.array([drum.shift_at(x + size / 2, y + size / 2) for drum in drums])
    (most_x, most_y), (least_x, least_y) = shifts.max(axis=0), shifts.min(axis=0)
    return (
        x + float(most_x) + _EDGE_MM,
        y + float(most_y) + _EDGE_MM,
        x + size + float(least_x) - _EDGE_MM,
        y + size + float(least_y) - _EDGE_MM,
    )


def _with_states(
    patches: list[tuple[dict[str, Any], PatchReading, float]],
    squared: LightPicture,
    layout: dict[str, Any],
    drums: tuple[DrumSeen, ...],
) -> tuple[tuple[PatchSeen, ...], float]:
    """Return the patches with what was lost and what closed, and how far bare paper differs from itself."""
    beside = [_paper_beside(squared, patch, layout, drums) for patch, _, _ in patches]
    pairs = [labs for labs in beside if len(labs) == 2]
    noise = float(np.median([delta_e_2000(*pair) for pair in pairs])) if pairs else _SAME_AS_PAPER
    solids = {
        tints: reading.lab for patch, reading, _ in patches if max(tints := tuple(patch["tints"]), default=0) == 100
    }
    seen = []
    for (patch, reading, side), papers in zip(patches, beside, strict=True):
        tints = tuple(float(tint) for tint in patch["tints"])
        flags = _flags(reading, side)
        usable = reading.usable and "too small" not in flags
        state = tint_state(tints, reading.lab, papers, solids, noise) if usable else ""
        seen.append(
            PatchSeen(int(patch["number"]), tints, reading.lab, reading.spread, side, flags, usable, state)
        )  # fmt: skip
    return tuple(seen), noise


def _flags(reading: PatchReading, side: float) -> tuple[str, ...]:
    flags = [flag for flag in reading.flags if flag != "too small"]
    return (*flags, "too small") if side < LEAST_CLEAN_MM or "too small" in reading.flags else tuple(flags)


def tint_state(
    tints: tuple[float, ...], lab: Lab, papers: Sequence[Any], solids: Mapping[tuple[float, ...], Lab], noise: float
) -> str:
    """Return "lost" for a light tint of one ink that equals the paper, "closed" for a heavy one that equals its solid.

    Parameters
    ----------
    tints : percent of the file, an ink each
    papers : Lab of the bare paper beside it, one or more
    solids : Lab of the inks' solids, by their tints
    noise : dE00 by which bare paper differs from itself
    """
    printed = [number for number, tint in enumerate(tints) if tint > 0]
    if len(printed) != 1:
        return ""
    tint = tints[printed[0]]
    if tint <= _LIGHT_TINT and len(papers):
        away = float(delta_e_2000(lab, np.mean(np.asarray(papers), axis=0)))
        return "lost" if away <= max(_SAME_AS_PAPER, _NOISES * noise) else ""
    solid = solids.get(tuple(100.0 if number == printed[0] else 0.0 for number in range(len(tints))))
    if _HEAVY_TINT <= tint < 100 and solid is not None:
        return "closed" if float(delta_e_2000(lab, solid)) <= max(_SAME_AS_SOLID, _NOISES * noise) else ""
    return ""


def _paper_beside(
    squared: LightPicture, patch: dict[str, Any], layout: dict[str, Any], drums: tuple[DrumSeen, ...]
) -> list[Floats]:
    """Return the Lab of the bare paper left and right of a patch, clear of what drums that drift printed there."""
    x, y, size = float(patch["x"]), float(patch["y"]), float(patch["size"])
    shifts = np.array([drum.shift_at(x + size / 2, y + size / 2) for drum in drums])
    to_left, to_right = -float(shifts[:, 0].min()), float(shifts[:, 0].max())
    gap = float(layout["gap"])
    found = []
    for edge in (x - gap, x + size):
        left, right = edge + max(to_right, 0.0) + _EDGE_MM, edge + gap - max(to_left, 0.0) - _EDGE_MM
        if right - left >= _LEAST_GAP_MM:
            px = [round(mm / squared.mm_per_px) for mm in (left, y + 2, right, y + size - 2)]
            part = squared.xyz[max(px[1], 0) : px[3], max(px[0], 0) : px[2]]
            if part.size:
                lab = xyz_to_lab(np.clip(part.mean(axis=(0, 1)), 0, 2))
                found.append(np.clip(lab, (0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST)))
    return found
