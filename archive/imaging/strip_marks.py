"""The marks of a strip: where the sheet lies in a picture, and how far every drum drifted.

The marks are of a published set of squares. Those of the drum that printed the code place the sheet; those of the
others are looked for near where they should lie, in the channel that shows their ink best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.colour.spaces import Floats
from archive.errors import InputError
from archive.imaging.codes import grey_of

Light = NDArray[np.float32]

_LEAST_MARKS = 3  # of the four: a thumb may lie on one
_SEARCH_MM = 5.0  # how far a drum may have drifted; the next drum's marks lie further away
_ALIKE = 0.6  # correlation from which a mark is a mark [own choice: paper's grain stays under 0.35]
_LEAST_CONTRAST = 0.02  # of the paper's light: paler ink measures nothing [own choice]
_QUIET_MM = 1.5  # of bare paper round a mark that is compared with it
_FAR_MM = 0.8  # how far one mark may lie from where the others put it


@dataclass(frozen=True, slots=True)
class DrumSeen:
    """Where a drum printed, against the drum that printed the code.

    shift_mm : to the right and down, in the middle of the sheet.
    marks : how many of its four corner marks were found.
    contrast : how much of the paper's light its solid takes, in its best channel.
    slope : (2, 2) change of the shift a millimetre along x and y, as the drum is turned or stretched.
    """

    ink: str
    shift_mm: tuple[float, float]
    marks: int
    contrast: float
    slope: tuple[tuple[float, float], tuple[float, float]]
    middle: tuple[float, float]

    def shift_at(self, x: float, y: float) -> tuple[float, float]:
        """Return the shift at a point of the sheet, in millimetres."""
        away_x, away_y = x - self.middle[0], y - self.middle[1]
        (xx, xy), (yx, yy) = self.slope
        return self.shift_mm[0] + xx * away_x + xy * away_y, self.shift_mm[1] + yx * away_x + yy * away_y

    @property
    def drift_mm(self) -> float:
        """How far it drifted, in millimetres."""
        return float(np.hypot(*self.shift_mm))


def place_strip(views: Sequence[NDArray[Any]], layout: dict[str, Any]) -> Floats:
    """Return the 3 × 3 matrix from millimetres on the strip to pixels of the picture.

    Parameters
    ----------
    views : sequence of (h, w) or (h, w, 3) ndarrays
        The same picture in several ways, the first that shows enough marks counts.

    Raises
    ------
    InputError
        Too few of the marks are seen, or marks of two sheets.
    """
    import cv2

    drum = layout["drums"][layout["code_drum"]]
    known = {int(mark["id"]): _square(mark) for mark in drum["marks"]}
    most: list[tuple[int, Floats]] = []
    for view in views:
        found = [each for each in _find_marks(grey_of(view), str(layout["dictionary"])) if each[0] in known]
        most = max(most, found, key=len)
        if len(most) >= len(known):
            break
    if len({number for number, _ in most}) < len(most):
        raise InputError("the picture shows two strips", mend="Photograph one at a time")
    if len(most) < _LEAST_MARKS:
        raise InputError(
            "only {count} of the {all} corner marks that {ink} printed are seen: the strip is cropped or covered, "
            "or that drum is missing or too pale",
            count=len(most),
            all=len(known),
            ink=drum["ink"],
            mend="Photograph the whole sheet, flat and sharp, with nothing on its corners",
        )
    on_sheet = np.concatenate([known[number] for number, _ in most])
    in_photo = np.concatenate([corners for _, corners in most])
    matrix, _ = cv2.findHomography(on_sheet, in_photo, 0)
    return np.asarray(matrix, dtype=np.float64)


def _square(box: dict[str, Any]) -> Floats:
    x, y, size = float(box["x"]), float(box["y"]), float(box["size"])
    return np.array([(x, y), (x + size, y), (x + size, y + size), (x, y + size)])


def _find_marks(grey: NDArray[np.uint8], dictionary: str) -> list[tuple[int, Floats]]:
    import cv2

    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, numbers, _ = cv2.aruco.ArucoDetector(_kind(dictionary), settings).detectMarkers(grey)
    if numbers is None:
        return []
    pairs = zip(np.ravel(numbers), corners, strict=True)
    # pixel centres lie at whole numbers there, and at halves everywhere else in the archive
    return [(int(number), np.asarray(four, dtype=np.float64).reshape(4, 2) + 0.5) for number, four in pairs]


def _kind(dictionary: str) -> Any:
    import cv2

    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{dictionary.upper()}"))


# --- every drum's own marks


def find_drums(xyz: Light, px_per_mm: float, layout: dict[str, Any]) -> tuple[DrumSeen, ...]:
    """Return where each drum printed, in the order of the layout.

    Parameters
    ----------
    xyz : (h, w, 3) light of the squared strip
    px_per_mm : float
        How fine it is.

    Raises
    ------
    InputError
        A drum's marks are missing or too pale, or do not lie as a sheet's.
    """
    return tuple(_drum(xyz, px_per_mm, drum, layout) for drum in layout["drums"])


def _drum(xyz: Light, px_per_mm: float, drum: dict[str, Any], layout: dict[str, Any]) -> DrumSeen:
    found = [_mark(xyz, px_per_mm, mark, str(layout["dictionary"])) for mark in drum["marks"]]
    seen = [(mark, each) for mark, each in zip(drum["marks"], found, strict=True) if each is not None]
    if len(seen) < _LEAST_MARKS:
        raise InputError(
            "the drum with {ink} is missing or too pale: {count} of its {all} corner marks are found",
            ink=drum["ink"],
            count=len(seen),
            all=len(found),
            mend="Look at the sheet: print it again with every drum, or photograph it in better light",
        )
    middle = float(layout["width"]) / 2, float(layout["height"]) / 2
    points = np.array([(mark["x"] + mark["size"] / 2, mark["y"] + mark["size"] / 2) for mark, _ in seen]) - middle
    shifts = np.array([shift for _, (shift, _) in seen])
    terms = np.column_stack([np.ones(len(points)), points])
    plane = np.linalg.lstsq(terms, shifts, rcond=None)[0]  # rows: middle, along x, along y
    off = float(np.hypot(*(shifts - terms @ plane).T).max())
    if off > _FAR_MM:
        raise InputError(
            "the marks of {ink} do not lie as a flat sheet's: one is {off:.1f} mm off",
            ink=drum["ink"],
            off=off,
            mend="Lay the sheet flat and photograph it again",
        )
    contrast = float(np.median([contrast for _, (_, contrast) in seen]))
    slope = ((float(plane[1, 0]), float(plane[2, 0])), (float(plane[1, 1]), float(plane[2, 1])))
    return DrumSeen(str(drum["ink"]), (float(plane[0, 0]), float(plane[0, 1])), len(seen), contrast, slope, middle)


def _mark(
    xyz: Light, px_per_mm: float, mark: dict[str, Any], dictionary: str
) -> tuple[tuple[float, float], float] | None:
    """Return a mark's shift in millimetres and its contrast, or None where it is not."""
    import cv2

    wanted, is_dark = _template(px_per_mm, float(mark["size"]), int(mark["id"]), dictionary)
    reach = round(_SEARCH_MM * px_per_mm)
    x, y = (float(mark[axis]) - _QUIET_MM for axis in ("x", "y"))
    left, top = round(x * px_per_mm) - reach, round(y * px_per_mm) - reach
    side = wanted.shape[0] + 2 * reach
    if left < 0 or top < 0 or top + side > xyz.shape[0] or left + side > xyz.shape[1]:
        pad = reach
        xyz = cv2.copyMakeBorder(xyz, pad, pad, pad, pad, cv2.BORDER_REPLICATE)
        left, top = left + pad, top + pad
    else:
        pad = 0
    part = np.ascontiguousarray(xyz[top : top + side, left : left + side])
    best = max((_best_fit(part[..., channel], wanted) for channel in range(3)), key=lambda fit: fit[0])
    score, column, row = best
    under = part[round(row) : round(row) + wanted.shape[0], round(column) : round(column) + wanted.shape[1]]
    if score < _ALIKE or under.shape[:2] != is_dark.shape:
        return None
    bare, inked = (np.median(under[mask], axis=0) for mask in (~is_dark, is_dark))
    contrast = float((1 - inked / np.maximum(bare, 1e-4)).max())
    if contrast < _LEAST_CONTRAST:
        return None
    shift_x = (left - pad + column) / px_per_mm - x
    shift_y = (top - pad + row) / px_per_mm - y
    return (shift_x, shift_y), contrast


def _template(px_per_mm: float, size: float, number: int, dictionary: str) -> tuple[Light, NDArray[np.bool_]]:
    """Return what a mark with some paper round it looks like, and where it is dark, each cell drawn in many pixels."""
    import cv2

    kind = _kind(dictionary)
    cells = cv2.aruco.generateImageMarker(kind, number, kind.markerSize + 2).astype(np.float32) / 255
    quiet = round(_QUIET_MM * 20)
    drawn = cv2.resize(cells, (round(size * 20), round(size * 20)), interpolation=cv2.INTER_NEAREST)
    drawn = np.pad(drawn, quiet, constant_values=1.0)
    side = round((size + 2 * _QUIET_MM) * px_per_mm)
    small = cv2.resize(drawn, (side, side), interpolation=cv2.INTER_AREA)
    dark = cv2.erode((small < 0.5).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    return cv2.GaussianBlur(small, (0, 0), 0.6), dark


def _best_fit(part: Light, wanted: Light) -> tuple[float, float, float]:
    """Return the best correlation and where it lies, column and row, finer than a pixel."""
    import cv2

    scores = cv2.matchTemplate(np.ascontiguousarray(part), wanted, cv2.TM_CCOEFF_NORMED)
    _, score, _, (column, row) = cv2.minMaxLoc(scores)
    across = _vertex(scores[row, max(column - 1, 0) : column + 2])
    down = _vertex(scores[max(row - 1, 0) : row + 2, column])
    return float(score), column + across, row + down


def _vertex(three: NDArray[np.floating[Any]]) -> float:
    """Return where the parabola through three scores is highest, from the middle one; 0 at an edge."""
    if len(three) < 3:
        return 0.0
    before, here, after = (float(each) for each in three)
    bend = before - 2 * here + after
    return 0.5 * (before - after) / bend if bend < 0 else 0.0
