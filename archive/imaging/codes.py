"""Finding QR codes in pictures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Code:
    """What a code says, and its corners in pixels: clockwise, from the one that is the upper left of the code."""

    text: str
    corners_px: tuple[Point, Point, Point, Point]


def read_codes(pixels: NDArray[Any], *, thorough: bool = False) -> list[Code]:
    """Return the QR codes of a picture, from the top down.

    Parameters
    ----------
    pixels : (height, width) or (height, width, 3) ndarray of uint8 or uint16
        Grey or RGB, upright.
    thorough : bool
        Where nothing is read, look again with the picture sharpened, then also enlarged: for small or blurred codes,
        at many times the cost.

    Returns
    -------
    list of Code
        Only those that were read without a doubt: a code corrects its own errors or is not read.
    """
    grey = grey_of(pixels)
    for enlarged, seen in _ways_to_look(grey, thorough=thorough):
        if codes := _codes_in(seen, enlarged):
            return sorted(codes, key=lambda code: (code.corners_px[0][1], code.corners_px[0][0]))
    return []


def _ways_to_look(grey: NDArray[np.uint8], *, thorough: bool) -> Iterator[tuple[int, NDArray[np.uint8]]]:
    import cv2

    yield 1, grey
    if thorough:
        yield 1, _sharpened(grey, 2.0)
        yield 2, _sharpened(cv2.resize(grey, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), 4.0)


def _sharpened(grey: Any, radius_px: float) -> NDArray[np.uint8]:
    import cv2

    return np.asarray(cv2.addWeighted(grey, 2.5, cv2.GaussianBlur(grey, (0, 0), radius_px), -1.5, 0), dtype=np.uint8)


def _codes_in(grey: NDArray[np.uint8], enlarged: int) -> list[Code]:
    import zxingcpp

    found = zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode]))
    return [Code(each.text, _corners(each.position, enlarged)) for each in found]


def _corners(position: Any, enlarged: int) -> tuple[Point, Point, Point, Point]:
    upper_left, upper_right, lower_right, lower_left = (
        (point.x / enlarged, point.y / enlarged)
        for point in (position.top_left, position.top_right, position.bottom_right, position.bottom_left)
    )
    return upper_left, upper_right, lower_right, lower_left


def grey_of(pixels: NDArray[Any]) -> NDArray[np.uint8]:
    """Return a picture in grey, 8 bits: enough for shapes, not for colours."""
    import cv2

    eight = (pixels >> 8).astype(np.uint8) if pixels.dtype == np.uint16 else pixels
    grey = cv2.cvtColor(eight, cv2.COLOR_RGB2GRAY) if eight.ndim == 3 else eight
    return np.ascontiguousarray(grey, dtype=np.uint8)
