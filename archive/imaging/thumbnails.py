"""Thumbnails: newly encoded sRGB pictures without camera notes, position or profile."""

from __future__ import annotations

import io
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from archive.colour.spaces import D50_WHITE, xyz_d50_to_srgb
from archive.imaging.decode import Reduced, resize_light
from archive.imaging.profiles import Light, srgb_profile

LONG_SIDES = (320, 1280)  # pixels: in a list, and as a page's picture
_LEVELS = (1 << 16) - 1  # linear levels; the darkest step of 8-bit sRGB spans twenty of them
QUALITY = 85  # of 100, for both encoders [own choice]


def make_thumbnail(reduced: Reduced, long_side: int, *, file_format: Literal["JPEG", "WEBP"] = "JPEG") -> bytes:
    """Return an encoded sRGB thumbnail, upright, with nothing but pixels in it.

    Parameters
    ----------
    reduced : Reduced
        At least as large as the thumbnail; it is never enlarged.
    long_side : int
        Pixels.

    Notes
    -----
    The same picture gives the same bytes with the same version of the encoder. Colours outside sRGB are cut.
    """
    picture = Image.fromarray(srgb_pixels(resize_light(reduced.xyz, long_side)))
    stream = io.BytesIO()
    if file_format == "JPEG":
        # Full chroma: halved chroma greys the small vivid shapes that prints are made of.
        picture.save(stream, "JPEG", quality=QUALITY, subsampling=0, optimize=True)
    else:
        picture.save(stream, "WEBP", quality=QUALITY, method=4)
    return stream.getvalue()


def srgb_pixels(xyz: Light) -> NDArray[np.uint8]:
    """Return (h, w, 3) encoded sRGB, 0-255, of XYZ under D50; colours outside are cut to the gamut."""
    to_linear, encoded = _srgb_tables()
    linear = np.clip(xyz @ to_linear, 0.0, 1.0)
    pixels: NDArray[np.uint8] = encoded[np.round(linear * _LEVELS).astype(np.uint16)]
    return pixels


@cache
def _srgb_tables() -> tuple[Light, NDArray[np.uint8]]:
    """Return XYZ to linear sRGB, and the byte of each 16-bit linear level: a power a level, not a pixel."""
    greys = np.linspace(0.0, 1.0, _LEVELS + 1)[:, None] * D50_WHITE
    encoded = np.round(xyz_d50_to_srgb(greys)[:, 1] * 255).astype(np.uint8)
    return np.linalg.inv(srgb_profile().matrix).astype(np.float32), encoded
