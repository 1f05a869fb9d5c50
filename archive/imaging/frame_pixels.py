"""A frame decoded once: its light, a small copy to search, and small parts of the original to judge its edges by."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from archive.imaging.decode import Picture, target_size
from archive.imaging.linear import LinearPicture, averaged_squares, read_linear
from archive.imaging.pixels import Decoded, Pixels

Rgb = NDArray[np.uint8]

_HALF_FROM = 3  # a JPEG that is to be this much smaller is read at half size; what stands before a sitting's camera is
# mixed by lens and filter array already, see `decode.reduce_picture`
_NEARLY = 0.9  # of the long side that was asked for is as good
LARGE = 100e6  # pixels, beyond which no array of the whole picture is made


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class FinePixels:
    """The upright original in 8 bits of red, green and blue, of which only small parts are turned into arrays."""

    picture: Picture
    decoded: Decoded = field(repr=False)

    @property
    def shape(self) -> tuple[int, ...]:
        """Height, width and three channels."""
        return self.picture.height, self.picture.width, 3

    def __getitem__(self, at: tuple[slice, slice]) -> Rgb:
        """Return rows and columns, cut off where the picture ends."""
        rows, columns = at
        top, bottom, _ = rows.indices(self.picture.height)
        left, right, _ = columns.indices(self.picture.width)
        return eight_bits(self.picture.part(self.decoded, (left, top, max(right, left), max(bottom, top))))


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class FramePixels:
    """What one decode of a frame gives.

    fine : the upright original, read in parts.
    small : (h, w, 3) uint8, the upright picture as encoded, as long as was asked for.
    light : the same size in linear light.
    """

    fine: FinePixels
    small: Rgb = field(repr=False)
    light: LinearPicture = field(repr=False)


def read_frame_pixels(picture: Picture, longest_px: int) -> FramePixels:
    """Return a frame decoded once.

    Parameters
    ----------
    longest_px : int
        The long side of the small copy and of the light, never enlarged; it may be up to a tenth less.

    Raises
    ------
    InputError
        The pixels are damaged.
    """
    decoded = picture.decoded()
    is_halved = picture.media_type == "image/jpeg" and max(decoded.width, decoded.height) >= _HALF_FROM * longest_px
    coarse = decoded.halved() if is_halved else decoded
    longest = _whole_share(max(coarse.width, coarse.height), longest_px)
    with ThreadPoolExecutor(1) as beside:
        small = beside.submit(_made_small, picture, coarse, target_size((picture.width, picture.height), longest))
        light = read_linear(picture, longest, decoded=coarse)
        return FramePixels(FinePixels(picture, decoded), small.result(), light)


def _whole_share(now: int, wanted: int) -> int:
    """Return a long side a little below the wanted one that divides the present one: averaging is quick then."""
    factor = -(-now // wanted)
    return now // factor if now // factor >= _NEARLY * wanted else wanted


def _made_small(picture: Picture, decoded: Decoded, size: tuple[int, int]) -> Rgb:
    """Return the upright picture in 8 bits, averaged as encoded: for shapes, not for colours."""
    import cv2

    stored = size[::-1] if picture.is_turned else size
    is_large = decoded.width * decoded.height > LARGE
    factor = max(decoded.width // stored[0], 1) if is_large else 1
    strips = [averaged_squares(eight_bits(decoded.rows(*strip)), factor) for strip in decoded.strips(factor)]
    upright = picture.upright(np.concatenate(strips))
    if upright.shape[:2] != size[::-1]:
        upright = cv2.resize(upright, size, interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(upright, np.uint8)


def eight_bits(pixels: Pixels) -> Rgb:
    """Return grey, rgb or cmyk pixels as (h, w, 3) of 8 bits, about as a screen shows them."""
    eight: Rgb = (pixels >> 8).astype(np.uint8) if pixels.dtype == np.uint16 else np.asarray(pixels, np.uint8)
    if eight.ndim == 2:
        return np.repeat(eight[..., None], 3, axis=2)
    if eight.shape[2] == 4:  # amounts of ink
        left, black = 255 - eight[..., :3].astype(np.uint16), 255 - eight[..., 3:].astype(np.uint16)
        return (left * black // 255).astype(np.uint8)
    return eight
