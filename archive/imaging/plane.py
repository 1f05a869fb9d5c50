"""From pixels to millimetres on the table: squaring a sheet, its true size, how far the camera leans.

Points are (x, y) in pixels measured from the upper left corner of the first pixel, whose centre is (0.5, 0.5).
Corners go clockwise from the upper left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.errors import InputError

Floats = NDArray[np.float64]

PHONE_FOCAL = 0.75  # focal length of a phone's main lens in long sides of its picture (26 mm on 35 mm film)
SIZE_TOLERANCE = 0.02  # of a typed size: what a card's corners, found to 0.5 % of its width, allow
MOST_PIXELS = 400_000_000  # of a squared picture: A0 at 500 pixels an inch

_TWO_EDGES = ((0, 1), (1, 2), (3, 2), (0, 3))  # upper, right, lower, left


@dataclass(frozen=True, slots=True)
class SheetSize:
    """The true size of a sheet in mm, and how fine the picture shows it."""

    width_mm: float
    height_mm: float
    mm_per_px: float

    def differs_from(self, width_mm: float, height_mm: float) -> bool:
        """Return whether a typed size is more than 2 % off on either side."""
        off = abs(self.width_mm / width_mm - 1), abs(self.height_mm / height_mm - 1)
        return max(off) > SIZE_TOLERANCE


def homography(points: ArrayLike, to_points: ArrayLike) -> Floats:
    """Return the (3, 3) matrix that takes four points to four others.

    Raises
    ------
    InputError
        Three of the points lie on a line.
    """
    source, target = _four(points), _four(to_points)
    ones, none = np.ones((4, 1)), np.zeros((4, 3))
    upper = np.hstack([source, ones, none, -target[:, :1] * source])
    lower = np.hstack([none, source, ones, -target[:, 1:] * source])
    try:
        solved = np.linalg.solve(np.vstack([upper, lower]), np.concatenate([target[:, 0], target[:, 1]]))
    except np.linalg.LinAlgError as exc:
        raise _no_rectangle() from exc
    return np.append(solved, 1.0).reshape(3, 3)


def moved(matrix: ArrayLike, points: ArrayLike) -> Floats:
    """Return (n, 2) points taken through a homography."""
    flat = np.column_stack([np.asarray(points, float), np.ones(len(np.asarray(points)))]) @ np.asarray(matrix).T
    return np.asarray(flat[:, :2] / flat[:, 2:])


def size_from_card(sheet_px: ArrayLike, card_px: ArrayLike, card_mm: tuple[float, float]) -> SheetSize:
    """Return a sheet's true size from a colour card of known size that lies in the same plane.

    The large sheet tells how the plane leans, being a rectangle; the small card tells only the scale. So an error in
    the card's corners is not carried across the whole sheet.

    Parameters
    ----------
    sheet_px, card_px : (4, 2) array_like
        Corners clockwise; the card's begin with the upper left of the card as it is read.
    card_mm : (float, float)
        Width and height of the card.

    Raises
    ------
    InputError
        The corners are no rectangle's, or card and sheet contradict each other.
    """
    sheet, card = _four(sheet_px), _four(card_px)
    unit = moved(homography(sheet, [[0, 0], [1, 0], [1, 1], [0, 1]]), card)
    edges = np.array([unit[end] - unit[start] for start, end in _TWO_EDGES])
    lengths = np.array([card_mm[0], card_mm[1], card_mm[0], card_mm[1]], float)
    corners = np.array([edges[0] * edges[3], edges[0] * edges[1], edges[2] * edges[1], edges[2] * edges[3]])
    # In squares of the sheet's sides this is linear: four lengths, and four corners that are right angles.
    rows = np.vstack([edges**2 / lengths[:, None] ** 2, corners / (card_mm[0] * card_mm[1])])
    squares = np.linalg.lstsq(rows, np.append(np.ones(4), np.zeros(4)), rcond=None)[0]
    if not (np.isfinite(squares).all() and (squares > 0).all()):
        raise InputError(
            "the colour card and the sheet do not lie in one plane",
            mend="Lay the card flat beside the sheet, or set its corners by hand.",
        )
    width, height = (float(side) for side in np.sqrt(squares))
    return SheetSize(width, height, _mm_per_px(sheet, width, height))


def size_as_typed(sheet_px: ArrayLike, width_mm: float, height_mm: float) -> SheetSize:
    """Return the size a person gave, with how fine the picture shows it."""
    return SheetSize(width_mm, height_mm, _mm_per_px(_four(sheet_px), width_mm, height_mm))


def _mm_per_px(sheet: Floats, width_mm: float, height_mm: float) -> float:
    x, y = sheet[:, 0], sheet[:, 1]
    area = abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
    if area < 1:
        raise _no_rectangle()
    return float(np.sqrt(width_mm * height_mm / area))


def square(
    picture: NDArray[Any], corners: ArrayLike, width_mm: float, height_mm: float, *, px_per_mm: float
) -> NDArray[Any]:
    """Return the sheet alone, upright and square.

    Parameters
    ----------
    picture : (h, w) or (h, w, n) ndarray of uint8, uint16 or float32
        Light where colours are to be kept: encoded values are averaged as they are.
    corners : (4, 2) array_like
        Of the sheet, in pixels of this picture.
    px_per_mm : float
        Fineness of the result.

    Raises
    ------
    InputError
        The corners are no rectangle's, or the result would be larger than 400 megapixels.
    """
    import cv2

    width, height = max(round(width_mm * px_per_mm), 1), max(round(height_mm * px_per_mm), 1)
    if width * height > MOST_PIXELS:
        raise InputError(
            "the squared picture would have {count} megapixels",
            count=width * height // 1_000_000,
            mend="Ask for fewer pixels a millimetre.",
        )
    native = 1 / _mm_per_px(_four(corners), width_mm, height_mm)
    finer = max(min(round(native / px_per_mm), 8), 1)
    target = [[0, 0], [width * finer, 0], [width * finer, height * finer], [0, height * finer]]
    # OpenCV counts from the centre of the first pixel.
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    matrix = np.linalg.inv(half) @ homography(corners, target) @ half
    laid = cv2.warpPerspective(picture, matrix, (width * finer, height * finer), flags=cv2.INTER_LINEAR,
                               borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    if finer == 1:
        return np.asarray(laid)
    return np.asarray(cv2.resize(laid, (width, height), interpolation=cv2.INTER_AREA))


def tilt_deg(corners: ArrayLike, size: tuple[int, int], *, focal: float = PHONE_FOCAL) -> float:
    """Return by how many degrees the camera leans from square on, judged by how a rectangle's sides converge.

    Parameters
    ----------
    corners : (4, 2) array_like
        Of any rectangle on the table, in pixels.
    size : (int, int)
        Width and height of the picture, whose middle is taken for the lens's axis.
    focal : float
        Focal length in long sides of the picture: millimetres on 35 mm film over 36.

    Source: the vanishing line of a plane and its normal, Hartley and Zisserman, Multiple View Geometry, 8.6
    (from memory).
    """
    points = (_four(corners) - np.array(size) / 2) / (focal * max(size))
    upper_left, upper_right, lower_right, lower_left = np.column_stack([points, np.ones(4)])
    level = np.cross(np.cross(upper_left, upper_right), np.cross(lower_left, lower_right))
    upright = np.cross(np.cross(upper_left, lower_left), np.cross(upper_right, lower_right))
    normal = np.cross(level, upright)
    length = float(np.linalg.norm(normal))
    if length == 0:
        raise _no_rectangle()
    return float(np.degrees(np.arccos(min(abs(normal[2]) / length, 1.0))))


def _four(points: ArrayLike) -> Floats:
    corners = np.asarray(points, dtype=np.float64)
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise InputError("four corners are needed, x and y each", mend="Give them clockwise from the upper left.")
    return corners


def _no_rectangle() -> InputError:
    return InputError("the four corners are not those of a rectangle", mend="Give them clockwise from the upper left.")
